"""Is this one entry what its field asks for? A checked value, or a fault in the words of data/words/faults.csv."""

import datetime
import math
import re

from kit.errors import nearest
from kit.faults import Cell, hidden_character
from kit.files import number_text
from kit.sheet.amount import EXAMPLES, NUMBER, read_amount
from kit.sheet.draft import MAX_NOTE, MAX_TEXT
from kit.sheet.entries import Field
from kit.units import lone_comma, read

_QUANTITY = re.compile(rf"\s*({NUMBER})\s*(.*?)\s*")
_PRICE = re.compile(rf"\s*({NUMBER})\s*(?:/|\bper\b)\s*([a-zA-Z.#]+)\s*")
_KEY = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.\-]*")


class NotUsable(Exception):
    """This value will not do: the key of a fault, and what its words name beside what `said_of` holds."""

    def __init__(self, key: str, **gaps):
        self.key, self.gaps = key, gaps
        super().__init__(key)


def said_of(field: Field, cell: Cell) -> dict[str, str]:
    """What the words of any fault of this entry can name."""
    value = cell.value
    text = value.strip() if isinstance(value, str) else str(value)
    return {
        "field": field.name,
        "meaning": field.meaning,
        "needs": _needs(field),
        "example": _example(field),
        "choices": ", ".join(field.choices),
        "written": repr(text if len(text) <= 60 else text[:60] + "..."),
        "shown": number_text(value) if isinstance(value, float) else text,
    }


def checked(field: Field, cell: Cell, typed: bool, comma: bool):
    """The value of `cell` as the field's kind: text, a float in the field's unit, or an Amount.

    Raises NotUsable, and KitError with the fault and what to try in one sentence.
    """
    value = cell.value
    if isinstance(value, bool):
        raise NotUsable("yes or no", shown=str(value).lower())
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        raise NotUsable("date in a field")
    if isinstance(value, (dict, list, tuple, set)):
        raise NotUsable("list in a field")
    if not isinstance(value, str):
        value = _plain(value)
    elif field.reads != "note" and "\n" in value.strip():
        raise NotUsable("several lines")
    return _READERS[field.reads](field, value, typed, comma)


def _plain(value):
    """A number as a float (or a pint quantity as it is); anything else is refused."""
    if hasattr(value, "m_as"):
        return value
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise NotUsable("another kind", kind=type(value).__name__) from None
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise NotUsable("not finite", shown=number)
    return number


def _text(field, value, typed, comma):
    if not isinstance(value, str):
        raise NotUsable("number in place of text")
    limit = MAX_NOTE if field.reads == "note" else MAX_TEXT
    if len(value) > limit:
        raise NotUsable("long field", length=len(value), limit=limit)
    if hidden := hidden_character(value):
        raise NotUsable("hidden character", hidden=hidden)
    return value.strip()


def _key(field, value, typed, comma):
    text = _text(field, value, typed, comma)
    if not _KEY.fullmatch(text):
        raise NotUsable("no key")
    return text


def _choice(field, value, typed, comma):
    text = _text(field, value, typed, comma)
    for choice in field.choices:
        if choice.casefold() == text.casefold():
            return choice
    raise NotUsable("unknown choice", near=", ".join(nearest(text, field.choices)))


def _quantity(field, value, typed, comma):
    number = _number(field, value, typed, comma) + 0.0  # a minus zero becomes zero
    if not field.low <= number <= field.high:
        unit = {"1/kg": " per kg", "": ""}.get(field.unit, f" {field.unit}")
        shown = f"{value!r}" if isinstance(value, str) else number_text(number)
        raise NotUsable("out of bounds", shown=shown, low=field.low, high=field.high, unit=unit)
    return number


def _number(field, value, typed, comma) -> float:
    if isinstance(value, float):
        return value
    if not isinstance(value, str):
        return read(value, field.unit, field.name)
    text = _decimal(field, _text(field, value, typed, comma), comma)
    hit = _QUANTITY.fullmatch(text)
    if not hit:
        raise NotUsable("text in place of a number")
    number, unit = float(hit[1]), hit[2]
    if not math.isfinite(number):
        raise NotUsable("too large a number", shown=hit[1])
    if not unit and typed:
        raise NotUsable("quoted number", shown=text)
    if not unit or unit == field.unit:
        return number
    if field.unit in ("", "%"):
        raise NotUsable("takes no unit", but=" other than %" if field.unit else "")
    if field.unit == "1/kg":
        price = _PRICE.fullmatch(text)
        if not price:
            raise NotUsable("no price")
        return float(price[1]) / read(f"1 {price[2]}", "kg", field.name)
    return read(text, field.unit, field.name)


def _amount(field, value, typed, comma):
    if isinstance(value, float):
        raise NotUsable("amount without a unit", examples=EXAMPLES)
    if not isinstance(value, str):
        return read_amount(f"{number_text(read(value, 'kg', 'amount'))} kg")
    return read_amount(_decimal(field, _text(field, value, typed, comma), comma))


def _decimal(field, text: str, comma: bool) -> str:
    """`text` with a decimal point. A file that declares decimal commas may hold no point, and no file a thousands sign."""
    text = text.replace("−", "-")
    if comma:
        if re.search(r"\d\.\d", text):
            raise NotUsable("point beside a comma")
        text = re.sub(r"(?<=\d),(?=\d)", ".", text)
    elif field.reads == "amount":
        text = lone_comma(text)
    if "," in text:
        raise NotUsable("comma in a number")
    return text


_READERS = {
    "text": _text,
    "note": _text,
    "key": _key,
    "choice": _choice,
    "quantity": _quantity,
    "amount": _amount,
}


def _needs(field: Field) -> str:
    kind = {
        "quantity": f"a number in {field.unit}" if field.unit else "a number",
        "amount": "an amount with its unit",
        "choice": "one of: " + ", ".join(field.choices),
    }
    return kind.get(field.reads, "text")


def _example(field: Field) -> str:
    if field.low is not None and field.high is not None and field.reads == "quantity":
        return number_text(field.low if field.low > 0 else min(field.high, 10.0))
    return {"amount": "'25 kg'", "choice": f"'{field.choices[0]}'" if field.choices else ""}.get(
        field.reads, "'text'"
    )

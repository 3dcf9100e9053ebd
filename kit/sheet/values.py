"""Is this one entry what its field asks for? A checked value, or a fault with a remedy."""

import datetime
import math
import re

from kit.errors import KitError, nearest
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
    """This value will not do: why, and what to try."""

    def __init__(self, what: str, remedy: str = ""):
        self.what, self.remedy = what, remedy
        super().__init__(what)


def checked(field: Field, cell: Cell, typed: bool, comma: bool):
    """The value of `cell` as the field's kind: text, a float in the field's unit, or an Amount. Raises NotUsable."""
    value = cell.value
    if isinstance(value, bool):
        raise NotUsable(
            f"{field.name} is {str(value).lower()}, a yes or no; it needs {_needs(field)}"
        )
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        raise NotUsable(
            f"{field.name} is a date or time ({value}); it needs {_needs(field)}",
            "a spreadsheet may have turned the entry into a date: set the cell to text or number and type it again",
        )
    if isinstance(value, (dict, list, tuple, set)):
        raise NotUsable(
            f"{field.name} is a table or list; it needs {_needs(field)}",
            f"write {field.name} = {_example(field)}",
        )
    if not isinstance(value, str):
        value = _plain(field, value)
    elif field.reads != "note" and "\n" in value.strip():
        raise NotUsable(
            f"{field.name} runs over more than one line: {_short(value)}",
            "write it on one line; only a note may be longer",
        )
    return _READERS[field.reads](field, value, typed, comma)


def _plain(field: Field, value):
    """A number as a float (or a pint quantity as it is); anything else is refused."""
    if hasattr(value, "m_as"):
        return value
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise NotUsable(
            f"{field.name} is a {type(value).__name__}; it needs {_needs(field)}"
        ) from None
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise NotUsable(
            f"{field.name} is {number}; it must be a finite number",
            f"write {_example(field)}, or leave it out if it is not known",
        )
    return number


def _text(field, value, typed, comma):
    if not isinstance(value, str):
        shown = number_text(value) if isinstance(value, float) else str(value)
        raise NotUsable(
            f"{field.name} is the number {shown}; it needs text",
            f"put it in quotes or set the cell to text: '{shown}'",
        )
    limit = MAX_NOTE if field.reads == "note" else MAX_TEXT
    if len(value) > limit:
        raise NotUsable(
            f"{field.name} is {len(value)} characters long; the limit is {limit}", "shorten it"
        )
    hidden = hidden_character(value)
    if hidden:
        raise NotUsable(
            f"{field.name} holds a character that cannot be seen ({hidden}) in {_short(value)}",
            "type it again without copying",
        )
    return value.strip()


def _key(field, value, typed, comma):
    text = _text(field, value, typed, comma)
    if not _KEY.fullmatch(text):
        raise NotUsable(
            f"{field.name} is {_short(text)}, which is no key",
            "a key holds letters, digits, '_', '-' and '.', without spaces",
        )
    return text


def _choice(field, value, typed, comma):
    text = _text(field, value, typed, comma)
    for choice in field.choices:
        if choice.casefold() == text.casefold():
            return choice
    raise NotUsable(
        f"{field.name} is {_short(text)}, which is not known; nearest: {', '.join(nearest(text, field.choices))}",
        f"write one of: {', '.join(field.choices)}",
    )


def _quantity(field, value, typed, comma):
    number = _number(field, value, typed, comma) + 0.0  # a minus zero becomes zero
    low, high = _bounds(field)
    if not low <= number <= high:
        unit = {"1/kg": "per kg"}.get(field.unit, field.unit)
        got = f"{value!r}" if isinstance(value, str) else number_text(number)
        raise NotUsable(
            f"{field.name} is {got}; it must lie between {low:g} and {high:g} {unit}".rstrip(),
            f"check the unit and the decimal sign ({field.meaning})",
        )
    return number


def _number(field, value, typed, comma) -> float:
    if isinstance(value, float):
        return value
    try:
        if not isinstance(value, str):
            return read(value, field.unit, field.name)
        text = _decimal(field, _text(field, value, typed, comma), comma)
        hit = _QUANTITY.fullmatch(text)
        if not hit:
            raise NotUsable(
                f"{field.name} is {_short(value)}, text in place of a number",
                f"write {_example(field)}, or leave it out if it is not known",
            )
        number, unit = _finite(field, hit[1]), hit[2]
        if not unit and typed:
            raise NotUsable(
                f"{field.name} is the text {_short(value)} in place of a number",
                f"take the quotes away, or set the cell to number: {text}",
            )
        if not unit or unit == field.unit:
            return number
        if field.unit in ("", "%"):
            raise NotUsable(
                f"{field.name} is {_short(value)}; it takes no unit"
                + (" other than %" if field.unit else ""),
                f"write {_example(field)}",
            )
        price = _PRICE.fullmatch(text)
        if field.unit == "1/kg":
            if not price:
                raise NotUsable(
                    f"{field.name} is {_short(value)}, which is no price per weight",
                    "write '3.20 per kg' or '1.45 per lb'",
                )
            return float(price[1]) / read(f"1 {price[2]}", "kg", field.name)
        return read(text, field.unit, field.name)
    except KitError as cause:
        raise NotUsable(str(cause)) from None


def _bounds(field: Field) -> tuple[float, float]:
    low, high = field.low, field.high
    return -math.inf if low is None else low, math.inf if high is None else high


def _finite(field, token: str) -> float:
    number = float(token)
    if not math.isfinite(number):
        raise NotUsable(
            f"{field.name} is {token}, larger than any number that can be kept",
            f"write {_example(field)}",
        )
    return number


def _amount(field, value, typed, comma):
    if isinstance(value, float):
        raise NotUsable(f"amount {number_text(value)} has no unit", f"write for example {EXAMPLES}")
    try:
        if not isinstance(value, str):
            return read_amount(f"{number_text(read(value, 'kg', 'amount'))} kg")
        return read_amount(_decimal(field, _text(field, value, typed, comma), comma))
    except KitError as cause:
        what, _, remedy = str(cause).partition("; ")
        raise NotUsable(what, remedy) from None


def _decimal(field, text: str, comma: bool) -> str:
    """`text` with a decimal point. A file that declares decimal commas may hold no point, and no file a thousands sign."""
    text = text.replace("−", "-")
    if comma:
        if re.search(r"\d\.\d", text):
            raise NotUsable(
                f"{field.name} is {_short(text)}, with a point in a file that declares decimal = ','",
                "write 1,5 or 1500; no thousands sign",
            )
        text = re.sub(r"(?<=\d),(?=\d)", ".", text)
    elif field.reads == "amount":
        text = lone_comma(text)
    if "," in text:
        raise NotUsable(
            f"{field.name} is {_short(text)}; a comma can mean 1.5 or 1500",
            "write a decimal point and no thousands sign, or declare decimal = ',' for the whole file",
        )
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
    if field.reads == "quantity":
        low, high = _bounds(field)
        return number_text(low if low > 0 else min(high, 10.0))
    return {"amount": "'25 kg'", "choice": f"'{field.choices[0]}'" if field.choices else ""}.get(
        field.reads, "'text'"
    )


def _short(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:60] + "...")

"""What amount did the person write, in which unit? pint, at the door only.

`read` takes "5 lb", "60 °F", "2 oz", "1 lb 4 oz", a pint quantity or a plain number and gives a float in the unit asked
for. `show` is the way out: one value in metric or US customary units. Nothing inside the kit
computes with quantities.
"""

import re
import unicodedata
from functools import cache, lru_cache
from math import floor, isfinite, log10

from kit.errors import OutOfRange, WrongUnit
from kit.tables import rows_by

METRIC, US = "metric", "US"
SYSTEMS = (METRIC, US)

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_AMOUNT = re.compile(rf"\s*({_NUMBER})\s*([^\d\s][^\d]*?)?\s*$")
_TWO_PARTS = re.compile(
    rf"\s*({_NUMBER})\s*(lbs?\.?|pounds?)\s+({_NUMBER})\s*(ozs?\.?|ounces?)\s*$", re.I
)
_COMMA = re.compile(r"(?<![\d.])(\d+),(\d+)(?!\d)")
_FRACTION = re.compile(r"(?<![\d./])(?:(\d{1,6})\s+)?(\d{1,4})/(\d{1,4})(?![\d./])")

_WHY = {
    "DimensionalityError": "is an amount of another kind",
    "UndefinedUnitError": "is in a unit that is not known",
    "AttributeError": "is in a unit that is not known",
}
_FIGURE = r"[-−]?\d[\d,]*(?:\.\d+)?"
_BOTH = re.compile(rf"({_FIGURE} °F) \({_FIGURE} °C\)|{_FIGURE} °C \(({_FIGURE} °F)\)")
_IN_TEXT = re.compile(
    rf"(?<![\w.,])({_FIGURE})(?:( to | or | and )({_FIGURE}))? "
    r"(°C|kJ/kg|kJ per kg|kg/m³|kg|g/kg|g per kg|g|mm|W/\(m² K\)|K/min|K)(?![\w/²³]| kg)"
)
"""one quantity or a range of them; a no-break space before the unit keeps it as it is written"""
_PER_KG = re.compile(r"(?<!g )(?<!mol )per kg\b")
_SHARE_OF_G = re.compile(r"\b100 g\b|\beach g\b|\bml\b")


def of(unit: str, column: str) -> str:
    """What data/words/units.csv says of a unit; '' where it says nothing."""
    return rows_by("unit", "words", "units.csv").get(unit, {}).get(column, "")


@lru_cache(maxsize=1)
def registry():
    """The one pint registry, built when first needed."""
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def read(
    written,
    unit: str,
    field: str = "value",
    *,
    bare: str | None = None,
    decimal_comma: bool = False,
) -> float:
    """A float in `unit` from text, a number or a pint quantity.

    `bare` is the unit that a number without unit stands for; without it a bare number is refused.
    Fractions are read ("1 1/2 lb", "½ oz"), and a lone comma that cannot stand for thousands ("1,8 kg"). Any other comma is refused
    unless `decimal_comma` says what it means, so that 1,250 is never guessed.
    Raises WrongUnit (names the field, what it needs, what it got) or OutOfRange for nan and infinity.
    """
    if isinstance(written, bool) or written is None:
        needs = f"it needs an amount in {unit}, such as {_example(unit)}"
        raise WrongUnit(f"{field} is {written!r}; {needs}")
    if hasattr(written, "m_as"):
        amount, said = written.magnitude, str(written.units)
    elif isinstance(written, (int, float)) or hasattr(written, "dtype"):
        amount, said = float(written), ""
    else:
        amount, said = _split(str(written), unit, field, decimal_comma)
    if not said and bare is None and not hasattr(written, "m_as"):
        example = f"write for example {_example(unit)}"
        raise WrongUnit(f"{field} is {written!r} without a unit; {example}")
    converted = _convert(amount, said or bare or "", unit, field, written)
    if not isfinite(converted):
        raise OutOfRange(f"{field} is {converted}; it must be a finite number")
    return converted


def _split(text: str, unit: str, field: str, decimal_comma: bool) -> tuple[float, str]:
    cleaned = text.strip().replace("\u00a0", " ").replace("\u202f", " ").replace("−", "-")
    cleaned = cleaned if decimal_comma else lone_comma(cleaned)
    if "," in cleaned:
        if not decimal_comma:
            remedy = "write a decimal point, or say that the file uses decimal commas"
            raise WrongUnit(f"{field} is {text!r}; a comma can mean 1.5 or 1500, so {remedy}")
        cleaned = cleaned.replace(".", "").replace(",", ".")
    cleaned = without_fractions(cleaned)
    both = _TWO_PARTS.match(cleaned)
    if both:
        return float(both[1]) + float(both[3]) / 16, "lb"
    hit = _AMOUNT.match(cleaned)
    if not hit:
        remedy = f"write a number and a unit, such as {_example(unit)}"
        raise WrongUnit(f"{field} is {text!r}, which is no amount; {remedy}")
    return float(hit[1]), (hit[2] or "").strip()


def lone_comma(text: str) -> str:
    """`text` with a point for its one comma where that cannot part thousands: '1,8 kg', '0,125 kg'; '1,800 kg' stays."""
    hit = _COMMA.search(text)
    if text.count(",") != 1 or not hit or re.search(r"\d\.\d", text):
        return text
    if len(hit[2]) == 3 and len(hit[1]) <= 3 and not hit[1].startswith("0"):
        return text
    return text.replace(",", ".")


def without_fractions(text: str) -> str:
    """`text` with its proper fractions as decimals: '1 1/2 lb', '1½ lb' and '½ oz'. Others, such as '80/20', stay."""
    flat = "".join(
        f" {unicodedata.normalize('NFKC', c)}"
        if unicodedata.decomposition(c).startswith("<fraction>")
        else c
        for c in text
    ).replace("\u2044", "/")

    def decimal(hit: re.Match) -> str:
        top, below = int(hit[2]), int(hit[3])
        return f"{int(hit[1] or 0) + top / below:.12g}" if top < below else hit[0]

    return _FRACTION.sub(decimal, flat).strip()


def _example(unit: str) -> str:
    return of(unit, "example") or f"'5 {unit}'"


def _pint_name(said: str, unit: str) -> str:
    """pint reads F as farad and C as coulomb; a cook means degrees, where a temperature is asked for or said."""
    key = said.strip().casefold()
    kind = "temperature" if unit in ("°C", "K") or key.startswith(("°", "º", "deg")) else "mass"
    known = rows_by("written", "words", "unit_spellings.csv").get(key, {})
    return known["pint"] if known.get("kind") == kind else said


def _convert(amount: float, said: str, unit: str, field: str, written) -> float:
    name, target = _pint_name(said, unit), of(unit, "pint") or unit
    if name == _pint_name(unit, unit):
        return float(amount)
    # tables of law are full of them, and pint loads for half a second
    if (name, unit) == ("degF", "°C"):
        return (float(amount) - 32) * 5 / 9
    if unit == "K" and name in ("degF", "degC"):
        name = f"delta_{name}"
    try:
        return float(registry().Quantity(amount, name).m_as(target))
    except Exception as cause:
        why = _WHY.get(type(cause).__name__, "could not be read")
        needs = (
            f"it needs {of(unit, 'measures') or f'an amount in {unit}'} such as {_example(unit)}"
        )
        raise WrongUnit(f"{field} is {written!s} and {why}; {needs}") from None


@cache
def _line(unit: str) -> tuple[float, float]:
    """Slope and offset of the straight line from `unit` to its US display unit."""
    ureg, inside, us = registry(), of(unit, "pint"), of(unit, "us_pint")
    zero, one = (float(ureg.Quantity(x, inside).m_as(us)) for x in (0.0, 1.0))
    return one - zero, zero


def to_shown(value, unit: str, system: str = METRIC):
    """`value` (float or array) as a number in the unit that `system` shows; unchanged in metric or where no US unit is usual."""
    if system == METRIC or not of(unit, "us_pint"):
        return value
    slope, offset = _line(unit)
    return value * slope + offset


def from_shown(value, unit: str, system: str = METRIC):
    """The inverse of `to_shown`."""
    if system == METRIC or not of(unit, "us_pint"):
        return value
    slope, offset = _line(unit)
    return (value - offset) / slope


def shown_unit(unit: str, system: str = METRIC) -> str:
    """The unit's label in `system`: 'kg' or 'lb'."""
    return of(unit, "shown" if system == METRIC else "us_shown") or unit


def show(value: float, unit: str, system: str = METRIC, decimals: int | None = None) -> str:
    """'12.00 kg', '26.46 lb', '55.4 °F': a value inside, as text in the chosen system."""
    label = shown_unit(unit, system)
    usual = int(of(unit, "decimals" if system == METRIC else "us_decimals") or 2)
    text = f"{to_shown(value, unit, system):,.{usual if decimals is None else decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return f"{text.replace('-', '−')} {label}".strip()


@lru_cache(maxsize=8192)  # a panel says most of its texts again at each move
def in_text(text: str, system: str = METRIC) -> str:
    """`text` with its quantities in `system`: masses, lengths, temperatures, energies, each to the digits that it is written with.

    A difference is written in K and shown in °C or °F. Where a text holds a temperature in both, the US form keeps the Fahrenheit. Shares ("g of 100 g"), mg/kg and
    % stay as they are.
    """
    if system == METRIC:
        return _IN_TEXT.sub(_difference, text)
    text = _IN_TEXT.sub(_rewritten, _BOTH.sub(lambda hit: hit[1] or hit[2], text))
    return _PER_KG.sub("per lb", text)


def _difference(hit: re.Match) -> str:
    return hit[0].replace("K", "°C") if hit[4][0] == "K" else hit[0]


def _rewritten(hit: re.Match) -> str:
    low, between, high, unit = hit.groups()
    unit = unit.replace(" per ", "/")
    before, after = hit.string[: hit.start()], hit.string[hit.start() :]
    clause = re.split("[;,]", before)[-1] + re.split("[;,]", after)[0]
    if unit == "g" and _SHARE_OF_G.search(clause):
        return hit[0]
    figures = f"{_figure(low, unit)}{between}{_figure(high, unit)}" if high else _figure(low, unit)
    return f"{figures} {shown_unit(unit, US)}"


def _figure(written: str, unit: str) -> str:
    """A written figure in the US unit, to as many digits; a temperature that is a rounded whole °F as that."""
    inside = float(written.replace("−", "-").replace(",", ""))
    value, places = float(to_shown(inside, unit, US)), len(written.partition(".")[2])
    if unit == "°C":
        whole = round(value)
        back = f"{from_shown(whole, unit, US):.{places}f}"
        text = f"{whole}" if places and float(back) == inside else f"{value:.{places}f}"
    else:
        digits = max(2, len(re.sub(r"\D", "", written).lstrip("0")))
        before = int(floor(log10(abs(value)))) + 1 if value else 1
        text = f"{value:,.{max(digits - before, 0)}f}"
    return text.replace("-", "−") if float(text.replace(",", "")) else text.lstrip("-")

"""What amount did the person write, in which unit? pint, at the door only.

`read` takes "5 lb", "60 °F", "2 oz", "1 lb 4 oz", a pint quantity or a plain number and gives a float in the unit asked
for. `show` is the way out: one value in metric or US customary units. Nothing inside the kit
computes with quantities.
"""

import re
from functools import cache, lru_cache
from math import isfinite

from kit.errors import OutOfRange, WrongUnit

METRIC, US = "metric", "US"
SYSTEMS = (METRIC, US)

# pint reads F as farad, C as coulomb, and "t" as a metric ton; a cook means degrees and, for t, a tonne.
_TEMPERATURES = {
    "f": "degF",
    "°f": "degF",
    "degf": "degF",
    "ºf": "degF",
    "fahrenheit": "degF",
    "deg f": "degF",
    "c": "degC",
    "°c": "degC",
    "degc": "degC",
    "ºc": "degC",
    "celsius": "degC",
    "deg c": "degC",
    "k": "kelvin",
    "kelvin": "kelvin",
}
_MASSES = {
    "kg": "kilogram",
    "kgs": "kilogram",
    "kilo": "kilogram",
    "kilos": "kilogram",
    "g": "gram",
    "gr": "gram",
    "gram": "gram",
    "grams": "gram",
    "mg": "milligram",
    "t": "metric_ton",
    "tonne": "metric_ton",
    "lb": "pound",
    "lbs": "pound",
    "lb.": "pound",
    "#": "pound",
    "oz": "ounce",
    "oz.": "ounce",
    "ozs": "ounce",
}
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_AMOUNT = re.compile(rf"\s*({_NUMBER})\s*([^\d\s][^\d]*?)?\s*$")
_TWO_PARTS = re.compile(
    rf"\s*({_NUMBER})\s*(lbs?\.?|pounds?)\s+({_NUMBER})\s*(ozs?\.?|ounces?)\s*$", re.I
)

# unit inside -> (US unit for display, shown metric, shown US, decimals metric, decimals US)
_SHOWN = {
    "kg": ("pound", "kg", "lb", 2, 2),
    "g": ("ounce", "g", "oz", 1, 2),
    "°C": ("degF", "°C", "°F", 1, 1),
    "K": ("delta_degF", "K", "°F", 1, 1),
    "mm": ("inch", "mm", "in", 1, 2),
    "m": ("foot", "m", "ft", 2, 1),
    "kJ/kg": ("Btu/pound", "kJ/kg", "Btu/lb", 1, 1),
    "m/s": ("foot/minute", "m/s", "ft/min", 1, 0),
    "g/m": ("ounce/foot", "g/m", "oz/ft", 0, 2),
    "kg/h": ("pound/hour", "kg/h", "lb/h", 1, 1),
    "g/kg": ("ounce/pound", "g/kg", "oz/lb", 2, 3),
    "L": ("gallon", "L", "gal", 2, 2),
    "kW": ("kW", "kW", "kW", 1, 1),
}
_PINT = {"°C": "degC", "K": "delta_degC", "L": "liter"}


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
    A comma is refused unless `decimal_comma` says what it means, so that 1,250 is never guessed.
    Raises WrongUnit (names the field, what it needs, what it got) or OutOfRange for nan and infinity.
    """
    if isinstance(written, bool) or written is None:
        raise WrongUnit(
            f"{field} is {written!r}; it needs an amount in {unit}, such as {_example(unit)}"
        )
    if hasattr(written, "m_as"):
        return _finite(_convert(written.magnitude, str(written.units), unit, field, written), field)
    if isinstance(written, (int, float)) or hasattr(written, "dtype"):
        amount, said = float(written), ""
    else:
        amount, said = _split(str(written), unit, field, decimal_comma)
        if isinstance(amount, str):
            raise WrongUnit(amount)
    if not said:
        if bare is None:
            raise WrongUnit(
                f"{field} is {written!r} without a unit; write for example {_example(unit)}"
            )
        said = bare
    return _finite(_convert(amount, said, unit, field, written), field)


def _split(text: str, unit: str, field: str, decimal_comma: bool) -> tuple[float, str]:
    cleaned = text.strip().replace("\u00a0", " ").replace("\u202f", " ").replace("−", "-")
    if "," in cleaned:
        if not decimal_comma:
            raise WrongUnit(
                f"{field} is {text!r}; a comma can mean 1.5 or 1500, so write a decimal point, or say that the file uses decimal commas"
            )
        cleaned = cleaned.replace(".", "").replace(",", ".")
    both = _TWO_PARTS.match(cleaned)
    if both:
        return float(both[1]) + float(both[3]) / 16, "lb"
    hit = _AMOUNT.match(cleaned)
    if not hit:
        raise WrongUnit(
            f"{field} is {text!r}, which is no amount; write a number and a unit, such as {_example(unit)}"
        )
    return float(hit[1]), (hit[2] or "").strip()


def _example(unit: str) -> str:
    return {
        "kg": "'5 kg' or '11 lb'",
        "°C": "'2 °C' or '36 °F'",
        "mm": "'26 mm' or '1 in'",
        "s": "'90 s' or '20 min'",
    }.get(unit, f"'5 {unit}'")


def _pint_name(said: str, unit: str) -> str:
    key = said.strip().casefold()
    if unit in ("°C", "K") or key.startswith(("°", "º", "deg")):
        return _TEMPERATURES.get(key, said)
    return _MASSES.get(key, said)


def _convert(amount: float, said: str, unit: str, field: str, written) -> float:
    ureg = registry()
    target = _PINT.get(unit, unit)
    name = _pint_name(said, unit)
    if unit == "K" and name in ("degF", "degC"):
        name = f"delta_{name}"
    try:
        return float(ureg.Quantity(amount, name).m_as(target))
    except Exception as cause:
        kind = type(cause).__name__
        why = (
            "is an amount of another kind"
            if kind == "DimensionalityError"
            else "is in a unit that is not known"
            if kind in ("UndefinedUnitError", "AttributeError")
            else "could not be read"
        )
        raise WrongUnit(
            f"{field} is {written!s} and {why}; it needs {_kind(unit)} such as {_example(unit)}"
        ) from None


def _kind(unit: str) -> str:
    return {
        "kg": "a mass",
        "g": "a mass",
        "°C": "a temperature",
        "K": "a temperature difference",
        "mm": "a length",
        "m": "a length",
        "s": "a time",
        "kJ/kg": "an energy per mass",
        "W": "a power",
    }.get(unit, f"an amount in {unit}")


def _finite(amount: float, field: str) -> float:
    if not isfinite(amount):
        raise OutOfRange(f"{field} is {amount}; it must be a finite number")
    return amount


@cache
def _line(unit: str) -> tuple[float, float]:
    """Slope and offset of the straight line from `unit` to its US display unit."""
    ureg, us = registry(), _SHOWN[unit][0]
    zero, one = (float(ureg.Quantity(x, _PINT.get(unit, unit)).m_as(us)) for x in (0.0, 1.0))
    return one - zero, zero


def to_shown(value, unit: str, system: str = METRIC):
    """`value` (float or array) as a number in the unit that `system` shows; unchanged in metric or where no US unit is usual."""
    if system == METRIC or unit not in _SHOWN:
        return value
    slope, offset = _line(unit)
    return value * slope + offset


def from_shown(value, unit: str, system: str = METRIC):
    """The inverse of `to_shown`."""
    if system == METRIC or unit not in _SHOWN:
        return value
    slope, offset = _line(unit)
    return (value - offset) / slope


def shown_unit(unit: str, system: str = METRIC) -> str:
    """The unit's label in `system`: 'kg' or 'lb'."""
    if unit not in _SHOWN:
        return unit
    return str(_SHOWN[unit][1 if system == METRIC else 2])


def show(value: float, unit: str, system: str = METRIC, decimals: int | None = None) -> str:
    """'12.00 kg', '26.46 lb', '55.4 °F': a value inside, as text in the chosen system."""
    label = shown_unit(unit, system)
    places = (
        decimals
        if decimals is not None
        else (_SHOWN[unit][3 if system == METRIC else 4] if unit in _SHOWN else 2)
    )
    text = f"{to_shown(value, unit, system):.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{text.replace('-', '−')} {label}".strip()

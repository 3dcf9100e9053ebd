"""An amount of cure as a person writes it. Weights are read; spoons are refused, with the spread they hide."""

import re

from kit import units
from kit.cure.dose import CureLine, nitrite_ppm
from kit.cure.premix import Premix
from kit.errors import OutOfRange, WrongUnit, need_between
from kit.tables import value

_SPOON = re.compile(
    r"\b(tea\s*spoons?|table\s*spoons?|spoon(?:ful)?s?|tsps?|tbsps?|cups?|pinch(?:es)?|dash(?:es)?|heaped|level|scoops?|"
    r"handfuls?|TL|EL|ml|millilit(?:er|re)s?)\b\.?",
    re.I,
)
_COUNT = re.compile(r"\s*(\d+(?:\.\d+)?)?\s*(?:/\s*(\d+))?")
_TABLESPOON = re.compile(r"table|tbsp|\bEL\b", re.I)


def spoon_range_g(teaspoons: float = 1.0) -> tuple[float, float]:
    """What that many teaspoons of a cure may weigh: level and loose to heaped and packed (densities are teaching figures)."""
    need_between("teaspoons", teaspoons, 0, 1000)
    volume = teaspoons * value("teaspoon_ml")
    heaped = volume * value("spoon_heap_factor")
    return volume * value("cure_bulk_density_loose_g_per_ml"), heaped * value(
        "cure_bulk_density_packed_g_per_ml"
    )


def spoon_ppm(teaspoons: float, mix: Premix, meat_kg: float) -> tuple[float, float]:
    """(low, high) ppm NaNO2 of the meat that those spoons may give."""
    light, heavy = spoon_range_g(teaspoons)
    low, high = (float(nitrite_ppm(g / 1000, mix.strength_pct, meat_kg)) for g in (light, heavy))
    return low, high


def cure_line(mix: Premix, written, meat_kg: float | None = None, via: str = "cure") -> CureLine:
    """A CureLine from text such as '250 g' or '4 oz'. A bare number or a volume is refused.

    Raises OutOfRange for a spoon measure (with the ppm it may give, if meat_kg is known), WrongUnit for no unit or the wrong kind.
    """
    field = f"weight of {mix.name!r}"
    if isinstance(written, str) and _SPOON.search(written):
        raise OutOfRange(_refusal(mix, written, meat_kg, field))
    if isinstance(written, (int, float)) and not isinstance(written, bool):
        raise WrongUnit(
            f"{field} is {written!r} without a unit; grams, ounces and kilograms differ up to a thousandfold, "
            f"so write '{written} g' or '{written} oz'"
        )
    return CureLine(mix, units.read(written, "kg", field), via)


def _refusal(mix: Premix, written: str, meat_kg: float | None, field: str) -> str:
    count = _COUNT.match(written)
    whole, parts = (float(part or 1) for part in (count.groups() if count else (1, 1)))
    spoons = whole / parts if parts else 1.0
    spoons *= 3 if _TABLESPOON.search(written) else 1
    low, high = spoon_range_g(spoons)
    says = f"{field} is {written!r}: cure is never measured by volume. Grain, packing and heaping scatter the weight"
    if not re.search(r"tea|tsp|table|tbsp|\bTL\b|\bEL\b", written, re.I):
        return f"{says} by a factor of two and more; weigh it in grams"
    says += f"; that could weigh {low:.2g} to {high:.2g} g (teaching assumption)"
    if meat_kg and mix.assayed:
        a, b = spoon_ppm(spoons, mix, meat_kg)
        says += f", which is {a:.0f} to {b:.0f} ppm NaNO2 of {meat_kg:g} kg of meat"
    return f"{says}; weigh it in grams"

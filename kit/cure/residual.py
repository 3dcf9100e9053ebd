"""How much nitrite is left? Only ranges, from surveys of products: nothing here predicts a residual.

Nitrite is lost to pigment, protein, nitrate, gas and more, faster with ascorbate, heat and low pH. No rate constant for a chopped batter
could be read.
"""

from dataclasses import dataclass
from typing import NamedTuple

from kit.errors import need_between
from kit.tables import number, value
from kit.working import Result, steps_from


class Survey(NamedTuple):
    """Nitrite found in cured cooked sausage, mg/kg of product. A mean alone has low and high alike."""

    what: str
    low_ppm: float
    high_ppm: float


_SURVEYS = (
    ("early 1970s, mean", "1970s_ppm", "1970s_ppm"),
    ("committee, about 1980", "1980s_low_ppm", "1980s_high_ppm"),
    ("1997", "1997_low_ppm", "1997_high_ppm"),
    ("2009, group means", "2009_low_ppm", "2009_high_ppm"),
    ("2009, cooked sausage, mean", "2009_ppm", "2009_ppm"),
)


@dataclass(frozen=True)
class Residual(Result):
    """What is left of a dose, mg/kg: after cooking as a range, after storage as a bound."""

    after_cook_low_ppm: float
    after_cook_high_ppm: float
    after_storage_below_ppm: float
    surveys: tuple[Survey, ...]


def residual(ingoing_ppm: float) -> Residual:
    """The published range of what is left of a dose: no prediction.

    ingoing_ppm: the dose, mg/kg, 0 to 1e6.
    Raises OutOfRange beyond.
    """
    need_between("ingoing_ppm", ingoing_ppm, 0, 1e6)
    rows = tuple(number(f"residual_after_cook_{end}_pct") for end in ("low", "high"))
    stored = number("residual_stored_high_ppm")
    low, high = (ingoing_ppm * row.value / 100 for row in rows)
    known = {
        "low": low,
        "high": high,
        "ingoing": (ingoing_ppm, "mg/kg"),
        "low_share": (rows[0].value, "%"),
        "high_share": (rows[1].value, "%"),
    }
    work = steps_from(
        known,
        ("left after cooking, low end", "low = ingoing × low_share / 100", "mg/kg"),
        ("left after cooking, high end", "high = ingoing × high_share / 100", "mg/kg"),
    )
    found = []
    for what, *ends in _SURVEYS:
        least, most = (number(f"residual_survey_{end}") for end in ends)
        found.append(Survey(what, least.value, most.value))
        rows += (least,)
    recovered = [value(f"nitrogen_recovered_{end}_pct") for end in ("low", "high")]
    notes = (
        f"of the nitrogen added as nitrite, {recovered[0]:g} to {recovered[1]:g} % was found again in all forms together",
        "no rate constant for emulsified batter could be read, so no time course is given",
    )
    sources = (*rows, stored, number("nitrogen_recovered_low_pct"))
    return Residual(
        low,
        high,
        stored.value,
        tuple(found),
        own_notes=notes,
        own_sources=tuple(row.cite() for row in sources),
        own_working=work,
    )

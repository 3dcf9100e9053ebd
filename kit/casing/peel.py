"""How much does the casing that is peeled off weigh?"""

from dataclasses import dataclass
from math import pi

from kit.casing.geometry import fill_g_per_m
from kit.errors import need_between
from kit.tables import number
from kit.working import Result, working_of


@dataclass(frozen=True)
class PeeledCasing(Result):
    """Weight of the peeled casing in percent of the weight into peeling; `low_pct` and `high_pct` from the bounds of its wall and its water."""

    pct: float
    low_pct: float
    high_pct: float


def peeled_casing(
    diameter_mm: float, density_kg_per_m3: float, chilled_yield_pct: float = 100.0
) -> PeeledCasing:
    """Cellulose casing, wet as it comes off: the wall round a metre of link over the weight of that metre.

    diameter_mm: stuffed, 8 to 250. density_kg_per_m3: of the raw batter, 500 to 1300. chilled_yield_pct: left of the raw link when it is peeled, 20 to 110.
    """
    D = need_between("diameter_mm", diameter_mm, 8, 250)
    density = need_between("density_kg_per_m3", density_kg_per_m3, 500, 1300)
    left = need_between("chilled_yield_pct", chilled_yield_pct, 20, 110)
    wall, wet = number("casing_cellulose_wall_g_per_m2"), number("casing_cellulose_wet_g_per_g")
    raw = float(fill_g_per_m(D, density))

    def share(dry: float, water: float) -> tuple[float, float]:
        peel = pi * D / 1000 * dry * (1 + water)
        return peel, 100 * peel / (peel + raw * left / 100)

    peel, pct = share(wall.value, wet.value)
    known = {"k": peel, "c": pi * D, "g": wall.value, "d": wet.value, "p": pct, "m": raw, "y": left}
    return PeeledCasing(
        pct,
        share(wall.low, wet.low)[1],
        share(wall.high, wet.high)[1],
        own_sources=(wall.cite(), wet.cite()),
        own_working=working_of("peeled casing", **known),
    )

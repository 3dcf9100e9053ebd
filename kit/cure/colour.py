"""How much nitrite does the colour need, and how much is left? Published ranges alone: nothing here predicts a residual.

Nitrite is lost to pigment, protein, nitrate, gas and more, faster with ascorbate, heat and low pH. No rate constant for a chopped batter
could be read.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kit.cure.salts import molar_mass
from kit.errors import UnknownName, need_between
from kit.tables import number, value
from kit.working import Result

MEATS = ("pork", "veal", "calf", "young beef", "old beef", "lamb", "average")
_SURVEYS = {
    "early 1970s, mean": ("1970s", "1970s"),
    "committee, about 1980": ("1980s_low", "1980s_high"),
    "1997": ("1997_low", "1997_high"),
    "2009, group means": ("2009_low", "2009_high"),
    "2009, cooked sausage, mean": ("2009", "2009"),
}
"""what was surveyed -> the rows of its lowest and highest"""


class Survey(NamedTuple):
    """Nitrite found in cured cooked sausage, mg/kg of product. A mean alone has low and high alike."""

    what: str
    low_ppm: float
    high_ppm: float


@dataclass(frozen=True)
class Colour(Result):
    """What the colour of a meat needs of its dose, ppm NaNO2 of the meat, and what is left of it in the product.

    `after_cook_ppm`: (least, most) commonly left.
    """

    needed_ppm_of_meat: float
    after_cook_ppm: tuple[float, float]
    surveys: tuple[Survey, ...]


def myoglobin_mg_per_g(meat: str) -> float:
    """Published myoglobin of a muscle, one of MEATS. UnknownName otherwise."""
    name = meat.casefold().strip()
    if name not in MEATS:
        raise UnknownName("meat with a published myoglobin", meat, MEATS)
    return value(f"myoglobin_{name.replace(' ', '_')}_mg_per_g")


def nitrite_for_pigment_ppm(myoglobin):
    """ppm NaNO2 of the meat for one NO on each haem, from myoglobin in mg per g of meat; arrays allowed.

    A floor: most nitrite goes elsewhere.
    """
    return np.multiply(myoglobin, molar_mass("NaNO2") * 1000 / value("myoglobin_g_per_mol"))


def colour(myoglobin: float, nitrite_ppm_of_meat: float) -> Colour:
    """What the colour of a meat needs of nitrite, and the published range of what is left of a dose.

    myoglobin: mg per g of meat, 0.05 to 30.
    nitrite_ppm_of_meat: the dose, mg NaNO2 per kg of meat, 0 to 1e6.
    Raises OutOfRange beyond.
    """
    remedy = "poultry breast is lowest, old beef near 18"
    need_between("myoglobin, mg per g of meat", myoglobin, 0.05, 30, remedy)
    need_between("nitrite_ppm_of_meat", nitrite_ppm_of_meat, 0, 1e6)
    wanted = float(nitrite_for_pigment_ppm(myoglobin))
    shares = [number(f"residual_after_cook_{end}_pct") for end in ("low", "high")]
    low, high = (nitrite_ppm_of_meat * row.value / 100 for row in shares)
    rows = {end: number(f"residual_survey_{end}_ppm") for pair in _SURVEYS.values() for end in pair}
    surveys = (Survey(of, *(rows[end].value for end in ends)) for of, ends in _SURVEYS.items())
    masses = map(number, ("nano2_g_per_mol", "myoglobin_g_per_mol"))
    cited = (*masses, *shares, *rows.values(), number("residual_stored_high_ppm"))
    own_sources = tuple(row.cite() for row in cited)
    return Colour(wanted, (low, high), tuple(surveys), own_sources=own_sources)

"""The same nitrite as sodium salt, potassium salt or bare ion: which one does a figure mean?

One molecule of any of them carries one NO2 (or NO3), so amounts convert by molar mass.
"""

import numpy as np

from kit.errors import UnknownName, need_known
from kit.rules.limits import NITRATES, NITRITES
from kit.tables import number, value
from kit.working import Step, working_of


def molar_mass(salt: str) -> float:
    """g/mol of one of NITRITES or NITRATES. UnknownName otherwise."""
    if salt not in NITRITES + NITRATES:
        raise UnknownName("nitrite or nitrate form", salt, NITRITES + NITRATES)
    return value(f"{salt.lower()}_g_per_mol")


def convert(amount, given_as: str, wanted_as: str):
    """`amount` (kg, ppm, ..., float or array) counted as `given_as`, counted as `wanted_as`.

    Nitrite is never turned into nitrate: UnknownName if the two belong to different families.
    """
    given, wanted = molar_mass(given_as), molar_mass(wanted_as)
    family = NITRITES if given_as in NITRITES else NITRATES
    need_known("form to count as", wanted_as, family)
    return np.multiply(amount, wanted / given) if np.ndim(amount) else amount * wanted / given


def convert_step(amount: float, given_as: str, wanted_as: str) -> Step:
    """The conversion of mg/kg as a step for a pencil."""
    wanted, masses = convert(amount, given_as, wanted_as), map(molar_mass, (wanted_as, given_as))
    known = dict(zip(("M_wanted", "M_given"), masses), given_as=given_as, wanted_as=wanted_as)
    return working_of("salt form", wanted=wanted, given=amount, **known)[0]


def molar_sources(*salts: str) -> tuple[str, ...]:
    """Source lines for the molar masses used."""
    return tuple(dict.fromkeys(number(f"{salt.lower()}_g_per_mol").cite() for salt in salts))

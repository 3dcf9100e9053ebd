"""The same cure chopped in, pumped in, or left to soak in from a pickle: what is under the line each time?

Chopped in, all of it stays with the meat. Soaked, it spreads over meat and pickle alike. Pumped, only the pickle that goes in counts.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kit.cure.dose import need_hand_dosable, nitrite_ppm
from kit.cure.premix import Premix
from kit.errors import need, need_between
from kit.rules.limits import Limit, limit
from kit.tables import cite
from kit.working import Result, steps_from


def immersion_ppm(nitrite_kg, meat_kg, pickle_kg):
    """Whole meat left in pickle to equilibrium: the nitrite spreads over meat and pickle. ppm of (meat + pickle)."""
    return nitrite_kg * 1e6 / (np.add(meat_kg, pickle_kg))


def injection_ppm(nitrite_kg, pump_pct, pickle_kg):
    """Whole meat pumped with `pump_pct` (% of green weight) of a pickle that holds nitrite_kg in pickle_kg. ppm of green meat."""
    return nitrite_kg * np.divide(pump_pct, 100) * 1e6 / pickle_kg


class AdditionMethod(NamedTuple):
    """One method of bringing cure into meat. `ppm`: NaNO2 per `base`; `limit`: the US figure for that method."""

    name: str
    ppm: float
    base: str
    base_kg: float
    formula: str
    limit: Limit
    source: str


@dataclass(frozen=True)
class AdditionMethods(Result):
    nitrite_kg: float
    pumped_kg: float
    methods: tuple[AdditionMethod, ...]


# name, formula, key of the US figure for it, place of the formula in the handbook and how it was read
_METHODS = (
    ("chopped in", "nitrite / meat", "us_nitrite_ingoing", "p. 12 and 15", "quoted"),
    ("pumped", "nitrite × pump % / 100 / pickle", "us_nitrite_pickle", "p. 19", "memory"),
    (
        "left in pickle to the end",
        "nitrite / (meat + pickle)",
        "us_nitrite_pickle",
        "p. 22",
        "quoted",
    ),
)


def addition_methods(
    mix: Premix, cure_kg: float, meat_kg: float, pickle_kg: float, pump_pct: float
) -> AdditionMethods:
    """One weight of cure chopped in, pumped in as pickle, and left in pickle to equilibrium.

    mix: the premix.
    cure_kg: its weight, kg.
    meat_kg: the meat, green, kg.
    pickle_kg: the pickle made of it, the cure counted, kg.
    pump_pct: pickle pumped in, % of the green weight, 0 to 100.
    Raises OutOfRange for impossible weights, more pickle pumped than was made, or pure nitrite by hand.
    Mass balances of FSIS Handbook 7620.3; equilibrium takes days to weeks and is assumed.
    """
    need_between("cure_kg", cure_kg, 0, 1e6)
    need_between("meat_kg", meat_kg, 1e-6, 1e6, "the green weight of the meat")
    remedy = "the pickle holds the cure, so it weighs more than the cure"
    need_between("pickle_kg", pickle_kg, max(cure_kg, 1e-6), 1e7, remedy)
    need_between("pump_pct", pump_pct, 0, 100, "pickle pumped, % of the green weight")
    need_hand_dosable(mix, meat_kg)
    nitrite, pumped = cure_kg * mix.strength_pct / 100, meat_kg * pump_pct / 100
    need(
        pumped <= pickle_kg * (1 + 1e-9),
        f"pumping {pump_pct:g} % of {meat_kg:g} kg takes {pumped:g} kg of pickle and {pickle_kg:g} kg were made; make more pickle or pump less",
    )
    found = (
        float(nitrite_ppm(cure_kg, mix.strength_pct, meat_kg)),
        float(injection_ppm(nitrite, pump_pct, pickle_kg)),
        float(immersion_ppm(nitrite, meat_kg, pickle_kg)),
    )
    bases = (("meat", meat_kg), ("green meat", meat_kg), ("meat and pickle", meat_kg + pickle_kg))
    methods = tuple(
        AdditionMethod(name, ppm, *base, formula, limit(key), cite("fsis_7620_3", place, status))
        for ppm, base, (name, formula, key, place, status) in zip(found, bases, _METHODS)
    )
    known = {
        "cure": (cure_kg, "kg"),
        "strength": (mix.strength_pct, "%"),
        "N": (nitrite, "kg"),
        "meat": (meat_kg, "kg"),
        "pump": (pump_pct, "%"),
        "pickle": (pickle_kg, "kg"),
        **dict(zip(("chopped", "pumped", "soaked"), found)),
    }
    work = steps_from(
        known,
        ("nitrite in the cure", "N = cure × strength / 100", "kg NaNO2"),
        ("chopped in", "chopped = N × 1000000 / meat", "mg/kg"),
        ("pumped", "pumped = N × pump / 100 × 1000000 / pickle", "mg/kg of green meat"),
        (
            "left in pickle to equilibrium",
            "soaked = N × 1000000 / (meat + pickle)",
            "mg/kg of meat and pickle",
        ),
    )
    notes = (
        "to equilibrium takes days to weeks in whole pieces and is assumed, not predicted; what drips from pumped meat is not counted",
        "a cooked sausage is chopped: the other two are here to show what is under the line",
    )
    sources = (*(one.source for one in methods), *(one.limit.cite() for one in methods))
    return AdditionMethods(
        nitrite, pumped, methods, own_notes=notes, own_sources=sources, own_working=work
    )

"""How warm does the batter end; how much ice?

One enthalpy balance of everything in the bowl: meats each at its own temperature (frozen or not), ice, water, dry goods, salt, and the
energy of the knives. It says where a mixed bowl ends; it does not say whether the batter holds.
"""

from kit.chop.bowl import Bowl
from kit.chop.charge import Charge, ice, of_material, salt, water
from kit.chop.fit import EnergyFit, fit_energy
from kit.chop.inverse import (
    EnergyAnswer,
    Goes,
    IceAnswer,
    MeatAnswer,
    Part,
    Split,
    WithoutIce,
    colder_meat,
    energy_to_reach,
    ice_for,
    in_goes,
    split_batch,
    water_instead_of_ice,
)
from kit.chop.machines import (
    Guide,
    Machine,
    energy_from_power,
    guides,
    machine,
    machines,
    minutes_for_energy,
    usual_minutes,
)
from kit.chop.path import (
    EnergyPath,
    Surroundings,
    TimePath,
    end_after_C,
    path_by_energy,
    path_by_time,
)
from kit.chop.result import Chopped, EndRange, chop, end_range

__all__ = [
    "Bowl",
    "Charge",
    "Chopped",
    "EndRange",
    "EnergyAnswer",
    "EnergyFit",
    "EnergyPath",
    "Goes",
    "Guide",
    "IceAnswer",
    "Machine",
    "MeatAnswer",
    "Part",
    "Split",
    "Surroundings",
    "TimePath",
    "WithoutIce",
    "chop",
    "colder_meat",
    "end_after_C",
    "end_range",
    "energy_from_power",
    "energy_to_reach",
    "fit_energy",
    "guides",
    "ice",
    "ice_for",
    "in_goes",
    "machine",
    "machines",
    "minutes_for_energy",
    "of_material",
    "path_by_energy",
    "path_by_time",
    "salt",
    "split_batch",
    "usual_minutes",
    "water",
    "water_instead_of_ice",
]

"""What is one link, as heat sees it?"""

from dataclasses import dataclass, field

import numpy as np

from kit.cook.moist_air import Floats
from kit.errors import need_all_between
from kit.properties import Makeup
from kit.properties.makeup import makeup_from_pct
from kit.tables import number, value

COLDEST_START_C = -1.5
_THAWING = "batters measure 2850 to 3380, and with the thawing of a frozen one spread over it up to twice that"
_DRYING = "meat products have 0.5e-10 to 2e-10; inf is a skin that never dries"
_FIELDS = {  # name: (row of its usual value, low, high, what to try); outside is refused, because the method has nothing to say there
    "diameter_mm": ("cook_diameter", 3, 400, "give the stuffed diameter in mm"),
    "conductivity_W_per_mK": ("cook_conductivity", 0.1, 1.0, "batters measure 0.26 to 0.48"),
    "density_kg_per_m3": ("cook_density", 600, 1300, "batters measure 970 to 1070"),
    "heat_capacity_J_per_kgK": ("cook_heat_capacity", 1500, 7000, _THAWING),
    "start_C": ("cook_start_C", COLDEST_START_C, 90, "a frozen core needs another method"),
    "water_activity": ("cook_water_activity", 0.5, 1.0, "fresh batters have 0.97 to 0.98"),
    "moisture_diffusivity_m2_per_s": ("cook_moisture_diffusivity", 1e-12, np.inf, _DRYING),
}
_UNCHECKED = ("start_C", "moisture_diffusivity_m2_per_s")
"""of all others the row holds the range that was checked or measured"""


def _usual(name: str):
    return field(default_factory=lambda: value(_FIELDS[name][0]))


def _usual_batter() -> Makeup:
    water, protein = value("cook_batter_water_pct"), value("cook_batter_protein_pct")
    return makeup_from_pct(water=water, protein=protein, fat=100 - water - protein)


@dataclass(frozen=True)
class Link:
    """A long cylinder of one batter with constant properties. Every field but the batter may be an array over links.

    Constant properties at the mean temperature move the come-up by a few per cent at most in air, where the surface decides.
    """

    diameter_mm: Floats
    conductivity_W_per_mK: Floats = _usual("conductivity_W_per_mK")
    density_kg_per_m3: Floats = _usual("density_kg_per_m3")
    heat_capacity_J_per_kgK: Floats = _usual("heat_capacity_J_per_kgK")
    start_C: Floats = _usual("start_C")
    water_activity: Floats = _usual("water_activity")
    """of the fresh batter"""
    moisture_diffusivity_m2_per_s: Floats = _usual("moisture_diffusivity_m2_per_s")
    """for water through the drying skin; inf keeps the surface as wet as the fresh batter"""
    batter: Makeup = field(default_factory=_usual_batter)
    """asked for its water, and below the freezing point for the heat of the ice"""

    def __post_init__(self):
        for name, (_, low, high, remedy) in _FIELDS.items():
            need_all_between(name, getattr(self, name), low, high, remedy)

    @property
    def radius_m(self):
        return np.asarray(self.diameter_mm, float)[()] / 2000

    @property
    def diffusivity_m2_per_s(self):
        return self.conductivity_W_per_mK / (
            self.density_kg_per_m3 * np.asarray(self.heat_capacity_J_per_kgK, float)[()]
        )

    @property
    def kg_per_m(self):
        return self.density_kg_per_m3 * np.pi * self.radius_m**2

    def pct_lost(self, water_kg_per_m2):
        """Water through each m² of skin as per cent of the start weight (ends left out)."""
        return 100 * water_kg_per_m2 * 2 / (self.density_kg_per_m3 * self.radius_m)

    @property
    def notes(self) -> tuple[str, ...]:
        """Where a field lies outside what was checked or measured."""
        said = []
        for name, (row, *_) in _FIELDS.items():
            tested, values = number(row), np.atleast_1d(np.asarray(getattr(self, name), float))
            far = values[(values < tested.low) | (values > tested.high)]
            if far.size and name not in _UNCHECKED:
                word = row.removeprefix("cook_").replace("_", " ")
                more = f" and {far.size - 1} more" if far.size > 1 else ""
                said.append(
                    f"{word} {far[0]:g} {tested.unit}".rstrip()
                    + f"{more} outside {tested.low:g} to {tested.high:g}, the range that was checked or measured; read the answer with care"
                )
        return tuple(said)

    @property
    def sources(self) -> tuple[str, ...]:
        """Sources of the fields that stand at their usual values."""
        return tuple(
            number(row).cite()
            for name, (row, *_) in _FIELDS.items()
            if name != "diameter_mm" and np.all(getattr(self, name) == value(row))
        )

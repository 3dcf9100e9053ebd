"""What goes in the bowl, how cold, and what heat does it bring?"""

from dataclasses import dataclass
from functools import cached_property

from kit.errors import need_all_between
from kit.properties import Makeup, heat_kJ_per_kg
from kit.properties.components import ice_heat_kJ_per_kg
from kit.properties.freezing import bound_water_fraction, enthalpy_kJ_per_kg
from kit.properties.makeup import makeup_from_pct
from kit.tables import value

COLDEST_C, WARMEST_C = -35.0, 60.0
LIKE_MEAT = ("meat", "rework")
DRY_SALT = ("salt", "cure")
WATER = Makeup(water_fraction=1.0)
_OTHER_STATE = {
    "ice": "melted ice is water: enter it as water",
    "water": "frozen water is ice: enter it as ice",
}


@dataclass(frozen=True)
class Charge:
    """One thing put in the bowl: kg and °C (floats or arrays), what it is made of, and the minute at which it goes in.

    kind: "meat", "rework", "ice", "water", "salt", "cure", "sugar" or any other word for dry goods. Meat and rework freeze at
    `freezing_C` (default: lean meat) and are taken as frozen in part below it; ice enters dry, at 0 °C or below.
    `salt_fraction` is NaCl by mass.
    """

    name: str
    kind: str
    kg: float
    temperature_C: float
    makeup: Makeup
    salt_fraction: float = 0.0
    freezing_C: float | None = None
    minute: float = 0.0

    def __post_init__(self):
        low = 0.0 if self.kind == "water" else COLDEST_C
        top = 0.0 if self.kind == "ice" else WARMEST_C
        hint = _OTHER_STATE.get(self.kind, "check °C and °F")
        for what, given, least, most, remedy in (
            ("weight in kg", self.kg, 0, 1e9, ""),
            ("temperature in °C", self.temperature_C, low, top, hint),
            ("salt fraction", self.salt_fraction, 0, 1, ""),
            ("minute", self.minute, 0, 1e6, "the clock starts at 0"),
            ("initial freezing point in °C", self.first_freezing_C, -10, -1e-6, "near −2 for meat"),
        ):
            need_all_between(f"{self.name}: {what}", given, least, most, remedy)

    @property
    def first_freezing_C(self):
        return value("freezing_C_meat") if self.freezing_C is None else self.freezing_C

    @cached_property
    def heat_in_kJ_per_kg(self):
        """Enthalpy as it goes in, against everything thawed and liquid at 0 °C."""
        return self.heat_kJ_per_kg(self.temperature_C)

    def heat_kJ_per_kg(self, t_C):
        """Enthalpy by itself at `t_C`: ice as ice, meat frozen in part below its freezing point, the rest as it is."""
        if self.kind == "ice":
            return ice_heat_kJ_per_kg(t_C)
        if self.kind in LIKE_MEAT:
            return enthalpy_kJ_per_kg(self.makeup, t_C, self.first_freezing_C)
        return heat_kJ_per_kg(self.makeup, t_C)

    @property
    def particles_mol_per_kg(self):
        """Dissolved particles it brings to the water: its own juices by its freezing point, salt and sugar by weight."""
        own = 0.0
        if self.kind in LIKE_MEAT:
            own = (
                -self.first_freezing_C
                * (self.makeup.all_water_fraction - bound_water_fraction(self.makeup))
                / value("water_freezing_constant")
            )
        salt_mol = self.salt_fraction * 1000 / value("nacl_g_per_mol")
        salt = 2 * value("salt_osmotic_coefficient") * salt_mol
        sugar = 1 / value("sugar_molar_mass") if self.kind == "sugar" else 0.0
        return own + salt + sugar


def ice(kg, temperature_C=None) -> Charge:
    """Dry ice of water; −5 °C unless said."""
    t_C = value("ice_temperature_usual") if temperature_C is None else temperature_C
    return Charge("ice", "ice", kg, t_C, WATER)


def water(kg, temperature_C=None) -> Charge:
    """Water; 2 °C unless said."""
    t_C = value("water_temperature_usual") if temperature_C is None else temperature_C
    return Charge("water", "water", kg, t_C, WATER)


def salt(kg, temperature_C=None) -> Charge:
    """Dry salt, all of it NaCl; at the dry store's 15 °C unless said."""
    t_C = value("dry_temperature_usual") if temperature_C is None else temperature_C
    return Charge("salt", "salt", kg, t_C, Makeup(ash_fraction=1.0), salt_fraction=1.0)


def of_material(material, kg, temperature_C) -> Charge:
    """A Charge from anything with the fields of a material: kind, name and moisture, protein, fat, carbohydrate, ash, salt in %.

    What is missing to 100 % counts as carbohydrate (by difference), as laboratories do; OutOfRange above 103 %.
    """
    parts = {
        part: getattr(material, f"{part}_pct") for part in ("protein", "fat", "carbohydrate", "ash")
    }
    known = material.moisture_pct + sum(parts.values())
    parts["carbohydrate"] += max(100 - known, 0)
    added = material.kind in ("ice", "water")
    makeup = WATER if added else makeup_from_pct(water=material.moisture_pct, **parts)
    salt_fraction = material.salt_pct / 100
    return Charge(material.name, material.kind, kg, temperature_C, makeup, salt_fraction)

"""A mix written as a sum: portion(40, "meat", 69.5, 20, 10) + 30 * ICE. Percentages of the ingredient as bought; the rest is carbohydrate."""

from dataclasses import dataclass

import numpy as np

from kit.materials import Material, material
from kit.materials.composition import GROUP_1, KINDS
from kit.meat_block import Composition, compose
from kit.rules.facts import facts_of


@dataclass(frozen=True)
class Portions:
    lines: tuple[tuple[Material, object], ...] = ()

    def __add__(self, other):
        return Portions((*self.lines, *other.lines))

    def __rmul__(self, times):
        return Portions(tuple((m, times * kg) for m, kg in self.lines))

    __array_ufunc__ = None

    @property
    def mix(self) -> Composition:
        together: dict[Material, object] = {}
        for m, kg in self.lines:
            together[m] = together.get(m, 0.0) + kg
        return compose(tuple(together), np.stack(np.broadcast_arrays(*together.values()), axis=-1))

    @property
    def material(self) -> Material:
        return self.lines[0][0]

    def facts(self, cook_yield_pct=100.0):
        return facts_of(self.mix, cook_yield_pct)

    def parts(self, cook_yield_pct=100.0):
        return self.mix.parts_kg(cook_yield_pct)


ICE = Portions(((material("ice"), 1.0),))


def portion(kg, rule_class, water=0.0, protein=0.0, fat=0.0, *, salt_pct=None, collagen=None):
    meat = rule_class in GROUP_1 and rule_class not in KINDS
    kind = rule_class if rule_class in KINDS else "meat" if meat else "other"
    salt = (
        (100.0 - water - protein - fat if rule_class == "salt" else 0.0)
        if salt_pct is None
        else salt_pct
    )
    made = Material(
        f"some {rule_class}",
        kind,
        "",
        rule_class,
        water,
        protein,
        fat,
        salt,
        max(100 - water - protein - fat - salt, 0),
        salt,
        collagen,
    )
    return Portions(((made, kg),))

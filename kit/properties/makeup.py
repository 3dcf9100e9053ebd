"""What is the food made of, as mass fractions that a property can be calculated from?"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from kit.errors import OutOfRange, need_all_between
from kit.faults import need_said, said

_PARTS = ("water", "protein", "fat", "carbohydrate", "ash", "fibre", "ice")
_CLOSES_WITHIN = 1e-6
_PCT_CLOSES_WITHIN = 3.0


@dataclass(frozen=True)
class Makeup:
    """Mass fractions (0 to 1) that sum to 1; each a float or an array, all broadcast together.

    `water_fraction` is liquid water only; frozen water is `ice_fraction`. Build one from percentages with
    `makeup_from_pct` or from weights with `makeup_from_kg`, which bring the sum to 1.
    """

    water_fraction: float = 0.0
    protein_fraction: float = 0.0
    fat_fraction: float = 0.0
    carbohydrate_fraction: float = 0.0
    ash_fraction: float = 0.0
    fibre_fraction: float = 0.0
    ice_fraction: float = 0.0

    def __post_init__(self):
        most, total = 1 + _CLOSES_WITHIN, 0.0
        for name, share in self.parts():
            total = total + need_all_between(f"{name} fraction", share, 0, most)
        closes = bool(np.abs(total - 1).max() <= _CLOSES_WITHIN)
        need_said(closes, "fractions do not close", total=np.ravel(total)[0])

    def parts(self) -> tuple[tuple[str, float], ...]:
        """(component, fraction) for all seven."""
        return tuple((name, getattr(self, f"{name}_fraction")) for name in _PARTS)

    @property
    def all_water_fraction(self):
        """Liquid and frozen water."""
        return self.water_fraction + self.ice_fraction

    @property
    def solids_fraction(self):
        """Everything but water and ice: fat counts as solids here, as in Chen's rules."""
        return 1 - self.all_water_fraction

    @property
    def thawed(self) -> "Makeup":
        """The same food with no water frozen."""
        return self.with_ice(0.0) if np.any(self.ice_fraction) else self

    def with_ice(self, ice_fraction) -> "Makeup":
        """The same food with `ice_fraction` of its mass frozen; OutOfRange when there is less water than that."""
        water = self.all_water_fraction
        liquid = water - ice_fraction
        enough = bool(np.min(liquid) >= 0 and np.min(ice_fraction) >= 0)
        need_said(enough, "ice past the water", ice=np.max(ice_fraction), water=np.min(water))
        return replace(self, water_fraction=liquid, ice_fraction=ice_fraction)


def makeup_from_kg(
    *, water=0.0, protein=0.0, fat=0.0, carbohydrate=0.0, ash=0.0, fibre=0.0, ice=0.0
) -> Makeup:
    """A Makeup from weights (any unit of mass, all the same); raises OutOfRange for a negative or an empty food."""
    given = (water, protein, fat, carbohydrate, ash, fibre, ice)  # in the order of _PARTS
    kg = [np.asarray(part, dtype=float) for part in given]
    total = np.asarray(sum(kg))
    if any(not np.isfinite(part).all() or (part < 0).any() for part in kg) or (total <= 0).any():
        raise OutOfRange(said("no makeup"))
    shares: list[Any] = [part / total if total.ndim else float(part / total) for part in kg]
    return Makeup(*shares)


def makeup_from_pct(**pct) -> Makeup:
    """A Makeup from percentages, named as in `makeup_from_kg`, that sum to 100 within 3 percentage points (as laboratory values do), brought to exactly 1."""
    total = sum(np.asarray(part, dtype=float) for part in pct.values())
    closes = bool(np.abs(total - 100).max() <= _PCT_CLOSES_WITHIN)
    ends = {"total": np.ravel(total)[0], "within": _PCT_CLOSES_WITHIN}
    need_said(closes, "percentages do not close", **ends)
    return makeup_from_kg(**pct)

"""What a person can turn: each factor takes a batter to another value of one thing and lets all else follow.

Fat, salt, phosphate and what is stirred in change the whole by dilution, so the batter stays 100 g of something. Ice here is
water only: how much colder it makes the batter is a question for the chopper's heat balance.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from kit import tables
from kit.emulsion.batter import Batter
from kit.errors import look_up


@dataclass(frozen=True)
class Factor:
    """`here` reads the value, `at` gives the batter at other values (arrays too). Step and bounds come from its rows."""

    name: str
    label: str
    unit: str
    here: Callable[[Batter], float]
    at: Callable[[Batter, Any], Batter]
    down: str
    """the change in words when the value falls"""
    up: str
    field: str = ""
    """the batter field whose tried range bounds a map; empty: the factor's own bounds"""
    bounds: tuple[float, float] | None = None
    """where this factor can go for this batch; None: the row's bounds"""

    @property
    def row(self) -> tables.Number:
        return tables.number(f"emulsion_factor_{self.name}")

    @property
    def unit_step(self) -> float:
        return tables.value(f"emulsion_step_{self.name}")

    @property
    def map_range(self) -> tuple[float, float]:
        row = tables.number(f"emulsion_base_{self.field}") if self.field else self.row
        return row.low, row.high

    def action_range(self, batter: Batter) -> tuple[float, float]:
        """Where a remedy may go: the row's bounds, and never further out than the batter already is."""
        here, (low, high) = float(self.here(batter)), self.bounds or (self.row.low, self.row.high)
        if self.name == "ice_g":
            low = max(low, -batter.water_pct)
        return min(low, here), max(high, here)


def _factor(name: str, field: str, how: str, **words: Any) -> Factor:
    def here(b: Batter):
        return getattr(b, field) if field else 0.0

    return Factor(name, here=here, at=_changes(name, how, field), field=field, **words)


def _changes(name: str, how: str, field: str) -> Callable[[Batter, Any], Batter]:
    """How a batter gets another value: the field set, the pure thing stirred in until it is x %, or x grams stirred into 100 g."""
    if how == "set":
        return lambda b, x: b.but(**{field: x})
    if how == "diluted":

        def diluted(b: Batter, x):
            x = np.asarray(x, dtype=float)
            return b.mixed_with((x - getattr(b, field)) / (1 - x / 100), **{field: 100.0})

        return diluted
    pct = {part: tables.value(row) if row else 100.0 for part, row in _STIRRED[name].items()}
    return lambda b, x: b.mixed_with(np.asarray(x, dtype=float), **pct)


_STIRRED = {
    "ice_g": {"water_pct": ""},
    "lean_g": {"water_pct": "emulsion_lean_water_pct", "protein_pct": "emulsion_lean_protein_pct"},
    "binder_g": {"nonmeat_protein_pct": "emulsion_binder_protein_pct"},
}
"""what is stirred in -> its parts and the rows that hold their share; 100 % where none does"""
FACTORS = {row["name"]: _factor(**row) for row in tables.read_rows("emulsion", "factors.csv")}


def factor(name: str) -> Factor:
    """The factor of this name; UnknownName with the nearest three otherwise."""
    return look_up("factor", name, FACTORS)

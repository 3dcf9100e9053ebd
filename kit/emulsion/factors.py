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
from kit.errors import UnknownName


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


def _set(name: str) -> dict:
    return {
        "here": lambda b: getattr(b, name),
        "at": lambda b, x: b.but(**{name: x}),
        "field": name,
    }


def _brought(name: str) -> dict:
    """Stir in, or take out, the pure thing until it is x % of the batter."""

    def at(b: Batter, x):
        x = np.asarray(x, dtype=float)
        return b.mixed_with((x - getattr(b, name)) / (1 - x / 100), **{name: 100.0})

    return {"here": lambda b: getattr(b, name), "at": at, "field": name}


def _stirred(**pct_rows: float | str) -> dict:
    """x grams of something into 100 g of batter."""

    def at(b: Batter, x):
        pct = {
            name: tables.value(given) if isinstance(given, str) else given
            for name, given in pct_rows.items()
        }
        return b.mixed_with(np.asarray(x, dtype=float), **pct)

    return {"here": lambda b: 0.0, "at": at}


_LEAN = {"water_pct": "emulsion_lean_water_pct", "protein_pct": "emulsion_lean_protein_pct"}
_BINDER = {"nonmeat_protein_pct": "emulsion_binder_protein_pct"}
_G, _PCT = "g per 100 g", "% of batter"
FACTORS = {
    name: Factor(name, label, unit, down=down, up=up, **how)
    for name, label, unit, (down, up), how in (
        (
            "end_C",
            "end temperature of chopping",
            "°C",
            ("end the chopping colder", "end the chopping warmer"),
            _set("end_C"),
        ),
        ("fat_pct", "fat", _PCT, ("less fat", "more fat"), _brought("fat_pct")),
        ("ice_g", "ice or water added", _G, ("less ice", "more ice"), _stirred(water_pct=100.0)),
        ("lean_g", "lean meat added", _G, ("less lean meat", "more lean meat"), _stirred(**_LEAN)),
        ("salt_pct", "salt", _PCT, ("less salt", "more salt"), _brought("salt_pct")),
        (
            "phosphate_pct",
            "phosphate",
            _PCT,
            ("less phosphate", "more phosphate"),
            _brought("phosphate_pct"),
        ),
        (
            "binder_g",
            "protein isolate added",
            _G,
            ("less binder", "more binder"),
            _stirred(**_BINDER),
        ),
        (
            "collagen_pct",
            "collagen share of the meat protein",
            "% of protein",
            ("less collagen-rich meat", "more collagen-rich meat"),
            _set("collagen_pct_of_protein"),
        ),
        ("drop_um", "fat drop size", "µm", ("chop finer", "chop coarser"), _set("drop_um")),
        (
            "core_C",
            "core temperature of the cook",
            "°C",
            ("cook less hot", "cook hotter"),
            _set("core_C"),
        ),
    )
}


def factor(name: str) -> Factor:
    """The factor of this name; UnknownName with the nearest three otherwise."""
    try:
        return FACTORS[name]
    except KeyError:
        raise UnknownName("factor", name, FACTORS) from None

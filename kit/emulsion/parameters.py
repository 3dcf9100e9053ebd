"""Which numbers does the model use, and with what uncertainty? One field per row of data/reference/emulsion.csv."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np

from kit import tables
from kit.emulsion.batter import FAT_KINDS


@dataclass(frozen=True)
class Fat:
    """What the model asks of one kind of fat."""

    best_end_C: float
    cold_width_C: float
    hot_width_C: float
    most_lost: float


@dataclass(frozen=True)
class Parameters:
    """Every number of the model; floats, or arrays with one value per draw. Names as in the rows, without `emulsion_`."""

    dissolved_share_salt: float
    dissolved_share_phosphate: float
    half_salt_mol_per_kg: float
    salt_steepness: float
    myofibrillar_share: float
    film_mg_per_m2: float
    intact_cell_share: float
    fat_density_kg_per_L: float
    fat_load_limit: float
    fat_load_width: float
    margin_cap: float
    blend_sharpness: float
    fat_steepness: float
    fat_level: float
    melted_share_10C: float
    melted_share_40C: float
    water_level: float
    water_per_10C: float
    salt_gain: float
    salt_scale_pct: float
    phosphate_gain: float
    phosphate_scale_pct: float
    pH_gain: float
    pH_reference: float
    core_reference_C: float
    ratio_gain: float
    ratio_reference: float
    nonmeat_worth: float
    nonmeat_film_share: float
    nonmeat_gain: float
    nonmeat_scale_pct: float
    starch_gain: float
    starch_scale_pct: float
    fibre_gain: float
    fibre_scale_pct: float
    collagen_gain: float
    collagen_reference_pct: float
    denature_C: float
    denature_width_C: float
    solids_share: float
    water_edge_share: float
    fats: Mapping[str, Fat]

    def but(self, **changes) -> "Parameters":
        return replace(self, **changes)


PLAIN = tuple(f.name for f in fields(Parameters) if f.name != "fats")
CHOSEN = (
    "margin_cap",
    "pH_reference",
    "core_reference_C",
    "ratio_reference",
    "collagen_reference_pct",
    "water_edge_share",
)
"""where a scale begins or a line is drawn: a choice without uncertainty, so the samples leave these alone"""
PER_FAT = tuple(f.name for f in fields(Fat))


def row_name(name: str, kind: str = "") -> str:
    """The name of the row that holds a parameter: ('best_end_C', 'pork back') -> 'emulsion_best_end_C_pork_back'."""
    return f"emulsion_{name}" + (f"_{kind.replace(' ', '_')}" if kind else "")


def _build(pick) -> Parameters:
    return Parameters(
        **{name: pick(row_name(name)) for name in PLAIN},
        fats={kind: Fat(*(pick(row_name(name, kind)) for name in PER_FAT)) for kind in FAT_KINDS},
    )


@lru_cache(maxsize=1)
def defaults() -> Parameters:
    """The value of every row."""
    return _build(tables.value)


def drawn(count: int, rng: np.random.Generator, ndim: int = 0) -> Parameters:
    """`count` draws of every parameter, each triangular between the row's low and high with its value as the mode.

    Low and high of the slopes are what a new laboratory's own slope may be. Draws lie along a new first axis before `ndim` axes of scenarios. Each number is drawn by itself, which the truth need not be;
    the numbers of CHOSEN stay.
    """
    shape, chosen = (count,) + (1,) * ndim, {row_name(name) for name in CHOSEN}

    def pick(name: str):
        row = tables.number(name)
        uncertain = row.low < row.high and name not in chosen
        return rng.triangular(row.low, row.value, row.high, shape) if uncertain else row.value

    return _build(pick)


def spread_of(name: str) -> float:
    """Standard deviation of the triangular distribution of one row."""
    row = tables.number(name)
    a, b, c = row.low, row.high, row.value
    return float(np.sqrt((a * a + b * b + c * c - a * b - a * c - b * c) / 18))

"""How well does the model agree with tables in print? Every table held, what it helped to set, and what the model gets wrong."""

import re
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from typing import Any

import numpy as np
from scipy.stats import spearmanr

from kit import tables
from kit.emulsion.batter import NUMBERS, Batter
from kit.emulsion.model import work_out
from kit.emulsion.parameters import Parameters, defaults
from kit.errors import UnknownName

_FOLDER = ("open", "published_batters")
SET_ASIDE = "C"
"""grade of a table that was read and is not compared; its note says why"""
LEVEL_SEARCH = 6.0
"""log-odds on either side within which one level per table is looked for: a factor of e^6 covers every table"""


@dataclass(frozen=True, eq=False)
class PublishedTable:
    """One table in print. `helped_to_set` names the parameters that were set with its help; empty: it set none."""

    key: str
    title: str
    citation: str
    file: str
    helped_to_set: tuple[str, ...]
    composition: str
    """'published', 'worked back' from what is published, or 'assumed'"""
    emulsified: bool
    varies: str
    """what its rows differ in"""
    note: str
    labels: tuple[str, ...]
    batters: tuple[Batter, ...]
    assumed: tuple[str, ...]
    """inputs of the model that the paper does not print"""

    @cached_property
    def stacked(self) -> Batter:
        """All rows as one batter with arrays."""
        arrays: dict[str, Any] = {
            name: np.array([getattr(b, name) for b in self.batters]) for name in NUMBERS
        }
        kinds = self.batters[0].fat_shares
        shares: Any = {kind: np.array([b.fat_shares[kind] for b in self.batters]) for kind in kinds}
        return Batter(**arrays, fat_kind=shares)

    def column(self, name: str) -> np.ndarray:
        """A printed column as numbers."""
        return np.array([float(row[name]) for row in read_open(self.file)])


@dataclass(frozen=True, eq=False)
class ComparedColumn:
    """One measured column of one table against the model, in points of raw weight."""

    of: PublishedTable
    quantity: str
    measured_pct: np.ndarray
    modelled_pct: np.ndarray
    shifted_pct: np.ndarray
    """modelled with one level moved for the whole table"""
    level: str
    shift: float
    spearman: float

    @property
    def n(self) -> int:
        return len(self.measured_pct)

    @property
    def error_points(self) -> float:
        """Mean absolute difference with the numbers that this table did not help to set."""
        return float(np.mean(np.abs(self.modelled_pct - self.measured_pct)))

    @property
    def error_shifted_points(self) -> float:
        """The same after the one level moved."""
        return float(np.mean(np.abs(self.shifted_pct - self.measured_pct)))

    @property
    def flat_error_points(self) -> float:
        """The same of a model that says the table's own median for every row: what one number alone would get."""
        return float(np.mean(np.abs(self.measured_pct - np.median(self.measured_pct))))

    @property
    def used(self) -> bool:
        return bool(self.of.helped_to_set)


@dataclass(frozen=True)
class Pooled:
    """Agreement over several comparisons."""

    which: str
    values: int
    spearman_median: float
    error_points: float
    error_shifted_points: float
    flat_error_points: float
    within_factor_2_pct: float


@cache
def read_open(file: str) -> tuple[dict[str, str], ...]:
    return tuple(tables.read_rows(*_FOLDER, file))


@lru_cache(maxsize=1)
def published() -> dict[str, PublishedTable]:
    """Every table held, by its letter."""
    found = {}
    for row in read_open("tables.csv"):
        if row["grade"] == SET_ASIDE:
            continue
        mine = [line for line in read_open("batters.csv") if line["table"] == row["key"]]
        batters = tuple(
            Batter(
                **{name: float(line[name]) for name in NUMBERS}, fat_kind=_fats(line["fat_kind"])
            )
            for line in mine
        )
        found[row["key"]] = PublishedTable(
            row["key"],
            row["title"],
            tables.cite(row["source"], row["where"], row["status"]),
            row["file"],
            tuple(row["helped_to_set"].split()),
            row["composition"],
            row["emulsified"] == "yes",
            row["varies"],
            row["note"],
            tuple(line["label"] for line in mine),
            batters,
            tuple(mine[0]["assumed"].split()),
        )
    return found


def _fats(text: str) -> dict[str, float]:
    """'pork back' or 'pork back:0.775 oil:0.225' as shares."""
    pairs = re.findall(r"([a-z ]+?):([0-9.]+)", text)
    return {kind.strip(): float(share) for kind, share in pairs} or {text: 1.0}


def table(key: str) -> PublishedTable:
    """The table of this letter; UnknownName otherwise."""
    try:
        return published()[key]
    except KeyError:
        raise UnknownName("published table", key, published()) from None


@cache
def unseen(key: str) -> Parameters:
    """The default numbers, and in place of those that this table helped to set what all other tables say (left_out.csv)."""
    return defaults().but(
        **{
            row["parameter"]: float(row["value"])
            for row in read_open("left_out.csv")
            if row["table"] == key
        }
    )


def _measured(of: PublishedTable, column: str, reads_as: str) -> np.ndarray:
    """The printed column as grams lost from 100 g of raw batter."""
    printed = of.column(column)
    if reads_as == "left":
        return 100 - printed
    if reads_as == "lost of meat":
        parts = sum(
            of.column(name)
            for name in ("meat_parts", "water_parts", "fat_tissue_parts", "salt_parts")
        )
        return printed * of.column("meat_parts") / parts
    return printed


def compare(
    key: str,
    column: str,
    reads_as: str,
    output: str,
    level: str,
    parameters: Parameters | None = None,
) -> ComparedColumn:
    """One column against one output of the model, with the default level and with one level for the table.

    Without `parameters` the model has the numbers of `unseen`: none that this table helped to set.
    """
    p, of = parameters or unseen(key), table(key)
    batter, measured = of.stacked, _measured(of, column, reads_as)

    def modelled(shift) -> np.ndarray:
        """One row for each shift."""
        return np.atleast_2d(
            getattr(
                work_out(batter, p.but(**{level: getattr(p, level) + np.reshape(shift, (-1, 1))})),
                output,
            )
        )

    def error(shift) -> np.ndarray:
        return np.abs(modelled(shift) - measured).mean(axis=1)

    shift, reach = 0.0, LEVEL_SEARCH
    for _ in range(3):
        tried = shift + np.linspace(-reach, reach, 61)
        shift, reach = float(tried[np.argmin(error(tried))]), reach / 30
    plain, moved = modelled(0.0)[0], modelled(shift)[0]
    rank = _rank(measured, plain)
    return ComparedColumn(of, column, measured, plain, moved, level, shift, rank)


def _rank(a, b) -> float:
    return float(spearmanr(a, b).statistic) if np.ptp(a) > 0 and np.ptp(b) > 0 else float("nan")


def comparisons(parameters: Parameters | None = None) -> tuple[ComparedColumn, ...]:
    """Every column that can be compared."""
    return tuple(
        compare(
            row["table"], row["column"], row["reads_as"], row["output"], row["level"], parameters
        )
        for row in read_open("comparisons.csv")
    )


def pool(which: str, rows) -> Pooled:
    """Means over the values of several comparisons, so that a table counts by its rows."""
    n = np.array([r.n for r in rows])
    measured, modelled = (
        np.concatenate([getattr(r, name) for r in rows])
        for name in ("measured_pct", "modelled_pct")
    )
    both = measured > 0
    near = np.abs(np.log(modelled[both] / measured[both])) <= np.log(2)
    plain, shifted, flat = (
        float(np.average([getattr(r, name) for r in rows], weights=n))
        for name in ("error_points", "error_shifted_points", "flat_error_points")
    )
    rank, within = float(np.nanmedian([r.spearman for r in rows])), float(100 * np.mean(near))
    return Pooled(which, int(n.sum()), rank, plain, shifted, flat, within)

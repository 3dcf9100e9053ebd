"""The emulsion model against every published table held: rows, directions, by what a table varies, and what was moved after seeing which table.

Outside checks, and tests/tools/emulsion_evidence.py, which writes the summary that lesson 04 shows (data/emulsion).
"""

import csv
import re
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import spearmanr

from kit import tables
from kit.emulsion.batter import NUMBERS, Batter
from kit.emulsion.model import work_out
from kit.emulsion.parameters import Parameters, defaults
from kit.errors import UnknownName

_FOLDER = Path(__file__).parent / "published" / "data" / "published_batters"
SET_ASIDE = "C"
"""grade of a table that was read and is not compared; its note says why"""
LEVEL_SEARCH = 6.0
"""log-odds on either side within which one level per table is looked for: a factor of e^6 covers every table"""


def base_batter() -> Batter:
    """The example frankfurter of the lessons (rows emulsion_base_*)."""
    return Batter(**{name: tables.value(f"emulsion_base_{name}") for name in NUMBERS})


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
    with (_FOLDER / file).open(encoding="utf-8", newline="") as rows:
        return tuple(csv.DictReader(rows))


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


@dataclass(frozen=True)
class Direction:
    """A claim in print that something rises, falls or stays, and what the model does."""

    key: str
    claim: str
    output: str
    expected: str
    """'up', 'down', 'same' or 'not down'"""
    reproduced: bool
    known_missed: str
    """why the model is known to miss it; empty where it does not"""
    citation: str


@dataclass(frozen=True)
class Moved:
    """A number of the model that was set or moved after a published table had been seen."""

    parameter: str
    what_moved: str
    after_seeing: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Factor:
    """Agreement over the tables whose rows differ in one thing, and what the model may therefore claim of it."""

    tables: tuple[str, ...]
    pooled: Pooled
    """with one level for each column; `which` is what the tables vary"""
    claim: str
    """'size', 'order' or 'none'"""


@dataclass(frozen=True)
class Agreement:
    """The model against every table held: rows, pooled by used and not used to set numbers, by factor, and directions.

    Every figure of a table is of a model whose numbers that table did not help to set.
    """

    rows: tuple[ComparedColumn, ...]
    pooled: tuple[Pooled, ...]
    factors: tuple[Factor, ...]
    directions: tuple[Direction, ...]


def directions(parameters: Parameters | None = None) -> tuple[Direction, ...]:
    """Every claim held, with the default numbers unless others are given."""
    p = parameters or defaults()
    return tuple(_direction(row, p) for row in read_open("directions.csv"))


def _direction(row: dict[str, str], p: Parameters) -> Direction:
    start, end = (_batter(row[which], row["fat_kind"]) for which in ("start", "end"))
    before, after = (float(getattr(work_out(b, p), row["output"])) for b in (start, end))
    change, tolerance = after - before, float(row["tolerance_points"])
    holds = {
        "up": change > 0,
        "down": change < 0,
        "same": abs(change) <= tolerance,
        "not down": change >= 0,
    }[row["expected"]]
    return Direction(
        row["key"],
        row["claim"],
        row["output"],
        row["expected"],
        holds,
        row["known_missed"],
        tables.cite(row["source"], row["where"], row["status"]),
    )


def _batter(text: str, fat_kind: str) -> Batter:
    """'fat_pct=30 salt_pct=1.5' on top of the example frankfurter."""
    given = dict(pair.split("=") for pair in text.split())
    return base_batter().but(
        **{name: float(value) for name, value in given.items()}, fat_kind=fat_kind
    )


@lru_cache(maxsize=1)
def moved() -> tuple[Moved, ...]:
    """The record of what was moved after seeing a table."""
    return tuple(
        Moved(row["parameter"], row["what_moved"], tuple(row["after_seeing"].split()), row["why"])
        for row in read_open("moved.csv")
    )


def factors(rows) -> tuple[Factor, ...]:
    """The batters of `rows` by what their tables vary; a table that varies two things counts in both."""
    of: dict[str, list[ComparedColumn]] = {}
    for row in (r for r in rows if r.of.emulsified):
        for varies in row.of.varies.split("; "):
            of.setdefault(varies, []).append(row)
    return tuple(_factor(varies, group) for varies, group in of.items())


def _factor(varies: str, rows) -> Factor:
    """Size is claimed of two tables or more whose error falls to a share of a constant's; order where the rank is high."""
    found, keys = pool(varies, rows), tuple(dict.fromkeys(r.of.key for r in rows))
    share = found.error_shifted_points / found.flat_error_points
    claim = "none"
    if share <= tables.value("emulsion_claim_size_share") and len(keys) > 1:
        claim = "size"
    elif found.spearman_median >= tables.value("emulsion_claim_order_rank"):
        claim = "order"
    return Factor(keys, found, claim)


@lru_cache(maxsize=4)
def agreement(parameters: Parameters | None = None) -> Agreement:
    """The model against every table and claim held."""
    rows, claims = comparisons(parameters), directions(parameters)
    batters = [r for r in rows if r.of.emulsified]
    groups = {
        "tables that helped to set numbers": [r for r in batters if r.used],
        "tables that set none": [r for r in batters if not r.used],
        "not a batter at all (cubes, mixes, patties)": [r for r in rows if not r.of.emulsified],
    }
    pooled = tuple(pool(which, group) for which, group in groups.items())
    return Agreement(rows, pooled, factors(rows), claims)

"""The agreement page: sizes table by table and by what a table varies, directions, and what was moved after seeing which table."""

from dataclasses import dataclass
from functools import lru_cache

from kit import tables
from kit.emulsion.batter import Batter, base_batter
from kit.emulsion.model import work_out
from kit.emulsion.parameters import Parameters, defaults
from kit.emulsion.published import (
    SET_ASIDE,
    ComparedColumn,
    Pooled,
    comparisons,
    pool,
    published,
    read_open,
)
from kit.working import Result


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
class Agreement(Result):
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
    unused, by_factor = pooled[1], factors(rows)
    claimed = {
        claim: [
            f"{f.pooled.which} ({f.pooled.error_shifted_points:.2g} against {f.pooled.flat_error_points:.2g})"
            for f in by_factor
            if f.claim == claim
        ]
        for claim in ("size", "order", "none")
    }
    holds = {
        name: tables.value(f"emulsion_band_80_holds_{name}_pct")
        for name in ("water_uncalibrated", "fat_uncalibrated", "water_one_row", "fat_one_row")
    }
    missed = [d for d in claims if not d.reproduced]
    notes = (
        "No table is a blind test: all had been seen when the numbers were settled; 'set none' means that no value was read off that table.",
        "Levels differ between laboratories by a factor of 2 to 10 for fat and 2 to 5 for water. Read directions and margins, not grams, until a "
        "tube test of your own has set the two levels.",
        f"On the batters that set no number, the model with one level per column leaves {unused.error_shifted_points:.2f} percentage points and a constant for "
        f"each column {unused.flat_error_points:.2f}; the median rank is {unused.spearman_median:.2g}. It depends on what a table varies (model against constant). "
        f"Size may be claimed for {'; '.join(claimed['size'])}. Order only for {'; '.join(claimed['order'])}. Nothing for {'; '.join(claimed['none'])}.",
        "A table that helped to set a number is judged with that number set by all other tables. The form of the water pull was chosen after seeing all tables.",
        f"The 80 % bands hold {holds['water_uncalibrated']:.0f} % of the published water and total losses and {holds['fat_uncalibrated']:.0f} % of the fat losses without a "
        f"calibration, {holds['water_one_row']:.0f} and {holds['fat_one_row']:.0f} % once one row of the table has set the level, each table left out in turn.",
        f"Read and set aside, with the reason in tables.csv: {', '.join(row['key'] for row in read_open('tables.csv') if row['grade'] == SET_ASIDE)}.",
        f"{len(claims) - len(missed)} of {len(claims)} printed directions come out; missed: "
        + "; ".join(d.claim for d in missed)
        + ".",
        "Each number was tried anew, chosen on all tables but one and judged on that one: none gained enough to be moved.",
        "Time of chopping is no input; drop size stands in for it, and print disagrees on its sign.",
        "Where the composition is assumed, size says little; only the order can be compared.",
    )
    cited = (*(t.citation for t in published().values()), *(d.citation for d in claims))
    return Agreement(rows, pooled, by_factor, claims, own_notes=notes, own_sources=cited)

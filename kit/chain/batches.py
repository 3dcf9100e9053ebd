"""From a person's batch records to the table of batches, and all that the batches room says of it.

table_of(records)                      weights, labels and process columns as arrays, with what had to be understood
analysis_of("records.csv", "map.toml") read, arrange, analyse
analysis_of(..., recipes={"A": "a.toml", "B": "b.toml"}) the same, each batch beside what the chain expects of its recipe
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from kit import tables
from kit.batches import Analysis, BatchTable, analyse
from kit.chain.yardstick import Yardstick, judged_by
from kit.emulsion.calibrate import Calibration
from kit.errors import need
from kit.reading.records import Records, read_records
from kit.reading.records.summary import SEVERAL
from kit.reading.records.words import plain
from kit.sheet import Sheet, read_sheet
from kit.stages import STAGES
from kit.working import Step

MOST_BATCHES = 2500
"""compared at once: 2000 take a quarter of a minute and just under 1 GB"""
ROLES = ("lot", "operator", "cooker")
SIDES = {
    "addition": "added_kg",
    "rework in": "rework_in_kg",
    "rework out": "rework_out_kg",
    "sample": "sample_kg",
}
FAHRENHEIT, CELSIUS = ("f", "degf", "fahrenheit"), ("c", "degc", "celsius")
_LABEL_WORDS = {
    "supplier": "supplier",
    "vendor": "supplier",
    "farm": "supplier",
    "line": "line",
    "machine": "line",
    "shift": "operator",
    "crew": "operator",
    "house": "cooker",
    "smokehouse": "cooker",
    "recipe": "recipe",
    "formula": "recipe",
    "formulation": "recipe",
    "product": "recipe",
    "sheet": "recipe",
}
"""what a carried column of text may stand for, where the mapping names no column of that role"""


@dataclass(frozen=True)
class Arranged:
    """`table` in the order of the dates; `notes` say what was understood, filled or left out on the way."""

    table: BatchTable
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Analysed:
    """One file of records, read and analysed. `notes` are those of arranging and of the analysis; `yardsticks` one for each recipe whose sheet was given."""

    name: str
    records: Records
    table: BatchTable
    analysis: Analysis
    yardsticks: tuple[Yardstick, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def working(self) -> tuple[Step, ...]:
        return (
            *getattr(self.records, "working", ()),
            *(s for one in self.yardsticks for s in one.working),
            *self.analysis.working,
        )


def table_of(records: Records) -> BatchTable:
    """The BatchTable of these records; `arranged` gives the notes as well."""
    return arranged(records).table


def arranged(records: Records) -> Arranged:
    """Weights by stage and side, batches by their first time; carried columns become facts (numbers) and labels (texts).

    A stage weighed on one side only borrows the weight next to it, and a note says so: what is lost on the way then counts there.
    Faulty where fewer than two batches or no stage is left.
    """
    wide, notes = records.weights(), []
    if wide.left_out:
        notes.append(
            f"{len(wide.left_out)} batches are left out, because their sums would mislead: "
            + _listed(f"{batch} ({why})" for batch, why in wide.left_out)
        )
    order = _order(wide.per_batch["first"].to_numpy(), notes)
    n = len(wide.batches)
    grid = {
        name: np.full((n, len(STAGES)), np.nan) for name in ("in_kg", "out_kg", *SIDES.values())
    }
    for (stage, kind), kg in wide.weights.items():
        name = {"in": "in_kg", "out": "out_kg", **SIDES}.get(kind)
        if name:
            grid[name][:, list(STAGES).index(stage)] = kg[order]
    apart = sorted({kind for _, kind in wide.weights if kind not in ("in", "out", *SIDES)})
    if apart:
        notes.append(
            f"weights of {' and '.join(apart)} are part of what is lost at their stage; they are not shown apart"
        )
    poured, lacking = np.isfinite(grid["added_kg"]), np.isnan(grid["added_kg"])
    for j in np.flatnonzero(poured.any(axis=0) & lacking.any(axis=0)):
        notes.append(
            f"no addition is written at {list(STAGES)[j]} for {int(lacking[:, j].sum())} of {n} batches; none is counted there, so a forgotten one shows as weight gained"
        )
    for name in ("in_kg", "out_kg"):
        nothing = grid[name] <= 0
        if nothing.any():
            notes.append(f"{int(nothing.sum())} weights of 0 kg are taken as not weighed")
        grid[name] = np.where(nothing, np.nan, grid[name])
    keep = _along_the_line(grid, notes)
    labels, facts = _beside(
        wide.per_batch.iloc[order], {column: kind for column, kind in records.mapping.carry}, notes
    )
    table = BatchTable(
        tuple(wide.batches[i] for i in order),
        tuple(list(STAGES)[j] for j in keep),
        **{name: held[:, keep] for name, held in grid.items()},
        dates=wide.per_batch["first"].to_numpy()[order],
        labels=labels,
        facts=facts,
        scales=_scales(records, keep),
    )
    return Arranged(table, tuple(notes))


def analysis_of(
    source,
    mapping=None,
    prices: Mapping[str, float] | None = None,
    *,
    name: str = "",
    currency: str = "",
    baseline: int | None = None,
    recipes: Mapping[str, Sheet | str] | None = None,
    calibration: Calibration | None = None,
) -> Analysed:
    """Read records (path, bytes with `name`, DataFrame) by a mapping (drafted if None) and analyse them.

    `prices`: the person's own, {stage: per kg lost}. `recipes`: {as the records' column Recipe calls it: its sheet}; then the chain's expected yield is the
    yardstick of cook and chill. Faulty where the mapping leaves questions open or too little is left; rows with faults are set aside and listed in `records`.
    """
    records = read_records(source, mapping, name=name)
    shown = name or (
        str(source).replace("\\", "/").rsplit("/", 1)[-1]
        if not hasattr(source, "columns") and not isinstance(source, (bytes, list, tuple))
        else "records"
    )
    return analysed(
        records,
        shown,
        prices,
        currency=currency,
        baseline=baseline,
        recipes=recipes,
        calibration=calibration,
    )


def analysed(
    records: Records,
    name: str,
    prices: Mapping[str, float] | None = None,
    *,
    currency: str = "",
    baseline: int | None = None,
    recipes: Mapping[str, Sheet | str] | None = None,
    calibration: Calibration | None = None,
) -> Analysed:
    """The same for records that were read already, small or large. KitError beyond MOST_BATCHES: time grows as their number squared and more."""
    order = arranged(records)
    need(
        order.table.n <= MOST_BATCHES,
        f"{order.table.n:,} batches; at most {MOST_BATCHES:,} are compared at once. Take one product or one year at a time",
    )
    table, sticks, said = (
        judged_by(order.table, recipes, calibration) if recipes else (order.table, (), ())
    )
    result = analyse(table, price_per_kg=prices, currency=currency, baseline=baseline)
    return Analysed(
        name,
        records,
        table,
        result,
        sticks,
        (*records.notes, *order.notes, *said, *result.notes),
        tuple(
            dict.fromkeys(
                (
                    *records.sources,
                    *(line for one in sticks for line in one.sources),
                    *result.sources,
                )
            )
        ),
    )


def _order(first, notes) -> np.ndarray:
    """By first time; a batch without a time stays behind the one before it."""
    time, known = np.asarray(first, "datetime64[s]"), ~np.isnat(np.asarray(first, "datetime64[s]"))
    if not known.any():
        notes.append("the records hold no dates: batches are taken in the order of the file")
        return np.arange(len(time))
    if not known.all():
        notes.append(
            f"{int((~known).sum())} batches hold no date; they stay where they stand in the file"
        )
    last = np.maximum.accumulate(np.where(known, np.arange(len(time)), -1))
    filled = np.where(last >= 0, time[last], time[known].min())
    return np.argsort(filled, kind="stable")


def _along_the_line(grid, notes) -> list[int]:
    """Places of the stages to keep. A side that was never weighed takes the weight next to it along the line."""
    into, out = grid["in_kg"], grid["out_kg"]
    used = [
        j
        for j in range(into.shape[1])
        if any(np.isfinite(held[:, j]).any() for held in grid.values())
    ]
    need(bool(used), "no weight is left; see the report of the records")
    names = list(STAGES)
    for before, j in zip(used, used[1:]):
        if not np.isfinite(into[:, j]).any() and np.isfinite(out[:, before]).any():
            into[:, j] = out[:, before]
            notes.append(
                f"nothing was weighed into {names[j]}: what left {names[before]} is taken, so a loss between the two counts at {names[j]}"
            )
    for j, after in zip(used[-2::-1], used[:0:-1]):
        if not np.isfinite(out[:, j]).any() and np.isfinite(into[:, after]).any():
            out[:, j] = into[:, after]
            notes.append(
                f"nothing was weighed out of {names[j]}: what went into {names[after]} is taken, so a loss between the two counts at {names[j]}"
            )
    keep = [j for j in used if np.isfinite(into[:, j]).any() and np.isfinite(out[:, j]).any()]
    if len(keep) < len(used):
        notes.append(
            f"{_listed(names[j] for j in used if j not in keep)}: weighed on one side only, with nothing beside it to compare with; left out"
        )
    need(
        bool(keep),
        "no stage has a weight on both sides, so no loss can be worked out; give a weight in and a weight out of at least one stage",
    )
    return keep


def _beside(per_batch, carry, notes) -> tuple[dict, dict]:
    """Labels and facts of each batch. 'several' means that its weighings differ: unknown."""
    labels, facts, unclear = {}, {}, 0
    for column in per_batch.columns:
        values = per_batch[column].to_numpy()
        if column in ROLES or carry.get(column) == "text":
            text = np.array(["" if str(v) == SEVERAL else str(v) for v in values])
            unclear += int((values == SEVERAL).sum())
            if (text != "").any():
                role = column if column in ROLES else _LABEL_WORDS.get(plain(column), column)
                # the mapping's own columns come first, and are not written over
                labels[column if role in labels else role] = text
        elif carry.get(column) == "number":
            name, factor, said = _fact(column, np.asarray(values, float))
            if said:
                notes.append(said)
            facts[name] = factor(np.asarray(values, float))
    if unclear:
        notes.append(f"{unclear} labels differ within one batch; they are taken as unknown")
    return labels, facts


@lru_cache(maxsize=1)
def _fact_words() -> dict[str, str]:
    return {row["word"]: row["column"] for row in tables.read_rows("batches", "fact_words.csv")}


def _fact(column: str, values):
    """(name of the fact, what to do with its numbers, note). A temperature without its unit is not guessed."""
    words = plain(column).split()
    unit = next((w for w in words[::-1] if w in (*FAHRENHEIT, *CELSIUS)), "")
    bare = " ".join(
        w for w in words if w not in (*FAHRENHEIT, *CELSIUS, "deg", "pct", "percent", "mm")
    )
    known = _fact_words().get(bare)
    if known is None:
        return column, _same, ""
    if known.endswith("_C"):
        if not unit:
            return (
                column,
                _same,
                f"{column!r} could be {known[:-2].replace('_', ' ')}, but its unit is not written; write °C or °F into its header to have it searched",
            )
        return known, (_celsius if unit in FAHRENHEIT else _same), ""
    if known.endswith("_pct") and np.nanmax(values, initial=0) <= 1:
        return (
            column,
            _same,
            f"{column!r} looks like a share of 1, not per cent; it is not searched",
        )
    return known, _same, ""


def _same(x):
    return x


def _celsius(x):
    return (x - 32) / 1.8


def _scales(records: Records, keep) -> dict[tuple[str, str], str]:
    """The scale of each stage and side, where the records name just one."""
    names, found = [list(STAGES)[j] for j in keep], {}
    for stage, side, scale in _named_scales(records):
        if stage in names and side in ("in", "out") and scale:
            found.setdefault((stage, side), set()).add(scale)
    return {place: scales.pop() for place, scales in found.items() if len(scales) == 1}


def _named_scales(records: Records) -> list[tuple[str, str, str]]:
    """Every (stage, kind, scale) that occurs once or more."""
    names = ["stage", "kind", "scale"]
    tidy = (
        pd.read_parquet(records.weighings, columns=names)
        if isinstance(records.weighings, Path)
        else records.tidy
    )
    return list(tidy[names].astype("str").drop_duplicates().itertuples(index=False, name=None))


def _listed(items, most: int = 6) -> str:
    items = list(items)
    return ", ".join(items[:most]) + (f" and {len(items) - most} more" if len(items) > most else "")


@lru_cache(maxsize=1)
def demo_recipes() -> dict[str, Sheet]:
    """The two recipes of the invented demo records."""
    return {
        name: read_sheet(tables.data_path("demo", file))
        for name, file in (("A", "demo_frankfurter.toml"), ("B", "demo_less_milk.toml"))
    }


@lru_cache(maxsize=2)
def demo_analysis(by_recipe: bool = True) -> Analysed:
    """The invented demo records with their mapping, analysed once; `by_recipe`: beside what the chain expects of each recipe."""
    return analysis_of(
        tables.data_path("demo", "demo_records.csv"),
        tables.data_path("demo", "demo_records.toml"),
        name="demo_records.csv",
        recipes=demo_recipes() if by_recipe else None,
    )

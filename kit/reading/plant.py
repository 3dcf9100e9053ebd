"""From a person's batch records to the table of batches, and all that the batches room says of it.

arranged(records)                      weights, labels and process columns as arrays, with what had to be understood
analysis_of("records.csv", "map.toml") read, arrange, analyse
analysis_of(..., recipes={"A": "a.toml", "B": "b.toml"}) the same, each batch beside what the batch model expects of its recipe,
                                       so that a change of recipe is not taken for a change of process
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from kit import tables
from kit.batches import BatchTable
from kit.batches.analysis import Analysis, analyse
from kit.batches.patterns import acts_on
from kit.errors import need
from kit.reading import read_sheet
from kit.reading.cells import as_text
from kit.reading.records import Mapping as RecordMapping
from kit.reading.records import Records, read_records
from kit.reading.records.summary import SEVERAL
from kit.reading.words import ATTRIBUTES, LABELS, first_few, note, plain, read_header
from kit.reading.yardstick import Yardstick, judged_by
from kit.sheet import Sheet
from kit.stages import STAGES
from kit.working import Result

ROLES = ("lot", "operator", "smokehouse", *LABELS)
SIDES = {
    "in": "in_kg",
    "out": "out_kg",
    "addition": "added_kg",
    "rework in": "rework_in_kg",
    "rework out": "rework_out_kg",
    "sample": "sample_kg",
}
"""kind of weight -> its array in a BatchTable"""
FAHRENHEIT, CELSIUS = ("f", "degf", "fahrenheit"), ("c", "degc", "celsius")


@dataclass(frozen=True)
class Analysed(Result):
    """One file of records, read and analysed. `yardsticks`: one for each recipe whose sheet was given; `understood`: notes on how it was arranged."""

    records: Records
    table: BatchTable
    yardsticks: tuple[Yardstick, ...]
    analysis: Analysis
    understood: tuple[str, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """Those of reading, arranging and analysing, in that order."""
        said = (*self.records.notes, *self.understood, *self.analysis.notes)
        return tuple(dict.fromkeys(said))


def arranged(records: Records) -> tuple[BatchTable, tuple[str, ...]]:
    """Weights by stage and side, batches by their first time; carried columns become facts (numbers) and labels (texts). Also what was understood, filled or left out.

    A stage weighed on one side only borrows the weight next to it, and a note says so: what is lost on the way then counts there.
    Faulty where fewer than two batches or no stage is left.
    """
    wide = records.weights()
    notes: list[str] = []
    if records.left_out:
        left = first_few(f"{batch} ({why})" for batch, why in records.left_out.items())
        notes.append(note("left out", count=len(records.left_out), batches=left))
    order = _order(wide.per_batch["first"].to_numpy(), notes)
    stages, nothing = list(STAGES), np.full(len(order), np.nan)
    grid = {
        name: np.column_stack([wide.weights.get((stage, kind), nothing)[order] for stage in stages])
        for kind, name in SIDES.items()
    }
    apart = sorted({kind for _, kind in wide.weights if kind not in SIDES})
    if apart:
        notes.append(note("apart", kinds=" and ".join(apart)))
    lacking = np.isnan(grid["added_kg"]).sum(axis=0)
    for j in np.flatnonzero((lacking > 0) & (lacking < len(order))):
        said = {"stage": stages[j], "count": lacking[j], "batches": len(order)}
        notes.append(note("no addition", **said))
    for name in ("in_kg", "out_kg"):
        empty = grid[name] <= 0
        if empty.any():
            notes.append(note("nothing weighed", count=empty.sum()))
        grid[name][empty] = np.nan
    keep = _along_the_line(grid, notes)
    kept = tuple(stages[j] for j in keep)
    per_batch = wide.per_batch.iloc[order]
    labels, facts = _beside(per_batch, records.mapping, notes)
    weights: dict[str, Any] = {name: held[:, keep] for name, held in grid.items()}
    scales = records.summary.scales.items()
    table = BatchTable(
        tuple(wide.batches[i] for i in order),
        kept,
        **weights,
        dates=per_batch["first"].to_numpy(),
        labels=labels,
        facts=facts,
        scales={at: scale for at, scale in scales if at[0] in kept and at[1] in ("in", "out")},
    )
    return table, tuple(notes)


def analysis_of(
    source,
    mapping=None,
    prices: Mapping[str, float] | None = None,
    *,
    name: str = "",
    recipes: Mapping[str, Sheet | str] | None = None,
) -> Analysed:
    """Read records and analyse them.

    source: path, bytes with `name`, or DataFrame. mapping: Mapping, path or TOML; drafted if None. prices: the person's own,
    {stage: per kg lost}. recipes: as in `analysed`. Raises Faulty where the mapping leaves questions open or too little is
    left; rows with faults are set aside and listed in `records`.
    """
    return analysed(read_records(source, mapping, name=name), prices, recipes)


def analysed(
    records: Records,
    prices: Mapping[str, float] | None = None,
    recipes: Mapping[str, Sheet | str] | None = None,
    *,
    product: str = "",
    first: date | None = None,
    last: date | None = None,
) -> Analysed:
    """The same for records that were read already, small or large.

    recipes: {as the records call it in a column Recipe or, without one, Product: its sheet}; then the batch model's expected yield is the yardstick of cook and
    chill. product: only its batches. first, last: only batches from and to these days. OutOfRange where fewer than two batches are chosen.
    """
    table, understood = arranged(records)
    table, sticks, said = judged_by(table, recipes) if recipes else (table, (), ())
    table = chosen(table, product, first, last)
    analysis = analyse(table, price_per_kg=prices)
    notes = (*understood, *said)
    return Analysed(records, table, sticks, analysis, notes, own_sources=records.sources)


def chosen(
    table: BatchTable, product: str = "", first: date | None = None, last: date | None = None
) -> BatchTable:
    """The batches of one product, from and to a day. OutOfRange where fewer than two are left, or days are asked for and there are none."""
    keep = np.ones(table.n, bool)
    if product:
        need(product in table.made, note("no product", product=product))
        keep &= table.made == product
    if first or last:
        days = np.array("NaT" if table.dates is None else table.dates, "datetime64[D]")
        need(not np.isnat(days).all(), note("no days"))
        start, end = (np.datetime64(day) for day in (first or date.min, last or date.max))
        # a batch without a date is in no period
        keep &= (start <= days) & (days <= end)
    need(keep.sum() >= 2, note("few chosen", count=keep.sum(), batches=table.n))
    return table if keep.all() else table.at(np.flatnonzero(keep))


def _order(first: np.ndarray, notes: list[str]) -> np.ndarray:
    """By first time; a batch without a time stays behind the one before it."""
    time = pd.Series(first)
    if time.isna().any():
        key = "no dates" if time.isna().all() else "some dates"
        notes.append(note(key, count=time.isna().sum()))
    return np.argsort(time.ffill().fillna(time.min()).to_numpy(), kind="stable")


def _along_the_line(grid: dict[str, np.ndarray], notes: list[str]) -> list[int]:
    """Places of the stages to keep. A side that was never weighed takes the weight next to it along the line."""
    weighed = {name: np.isfinite(held).any(axis=0) for name, held in grid.items()}
    used = np.flatnonzero(np.any(list(weighed.values()), axis=0)).tolist()
    need(bool(used), note("no weight"))
    names = list(STAGES)

    def borrow(j: int, side: str, beside: int, other: str) -> None:
        into, out_of = f"{side}_kg", f"{other}_kg"
        if not weighed[into][j] and weighed[out_of][beside]:
            grid[into][:, j] = grid[out_of][:, beside]
            weighed[into][j] = True
            notes.append(note(f"borrowed {side}", stage=names[j], other=names[beside]))

    for before, j in pairwise(used):
        borrow(j, "in", before, "out")
    for after, j in pairwise(reversed(used)):
        borrow(j, "out", after, "in")
    keep = [j for j in used if weighed["in_kg"][j] and weighed["out_kg"][j]]
    if len(keep) < len(used):
        notes.append(note("one side", stages=first_few(names[j] for j in used if j not in keep)))
    need(bool(keep), note("no loss"))
    return keep


def _beside(per_batch: pd.DataFrame, mapping: RecordMapping, notes: list[str]) -> tuple:
    """Labels and facts of each batch, labels by what their header says, whatever code stands in them. 'several' means that its weighings differ: unknown."""
    labels, facts, unclear, carry = {}, {}, 0, dict(mapping.carry)
    named = {c: read_header(c).role for c in carry}
    named = {c: role if role in (*ATTRIBUTES, *LABELS) else "" for c, role in named.items()}
    for column in (c for c in per_batch if c in ROLES or carry.get(c) == "text" or named.get(c)):
        text = as_text(pa.array(per_batch[column])).to_numpy(zero_copy_only=False).astype(str)
        unclear += int((text == SEVERAL).sum())
        text = np.where(text == SEVERAL, "", text)
        if (text != "").any():
            role = column if column in ROLES else named[column] or column
            # the mapping's own columns come first, and are not written over
            labels[column if role in labels else role] = text
    if "shift" in labels and "operator" not in labels:  # searched alike
        labels["operator"] = labels.pop("shift")
    known = dict(mapping.facts)
    for column in per_batch:
        if carry.get(column) == "number" and not named[column]:
            values = per_batch[column].to_numpy(dtype=float)
            name, values = _fact(column, values, notes, known.get(column, ""))
            facts[name] = values
    if unclear:
        notes.append(note("unclear", count=unclear))
    aside = [name for name in (*labels, *facts) if name not in acts_on()]
    if aside:
        notes.append(note("not searched", columns=first_few(map(repr, aside), 8)))
    return labels, facts


def _fact(
    column: str, values: np.ndarray, notes: list[str], told: str = ""
) -> tuple[str, np.ndarray]:
    """(name of the fact, its numbers in °C or %). A temperature without its unit is not guessed, unless the mapping says what it is."""
    words = plain(column).split()
    unit = next((w for w in words[::-1] if w in (*FAHRENHEIT, *CELSIUS)), "")
    aside = (*FAHRENHEIT, *CELSIUS, "deg", "pct", "percent", "mm")
    bare = " ".join(w for w in words if w not in aside)
    facts = tables.rows_by("word", "batches", "fact_words.csv")
    known = facts[bare]["column"] if bare in facts else column
    if told:
        known = told
    elif known.endswith("_C") and not unit:
        if known != column:
            fact = known[:-2].replace("_", " ")
            notes.append(note("no degrees", column=column, fact=fact))
        return column, values
    elif known.endswith("_pct") and known != column and np.nanmax(values, initial=0) <= 1:
        notes.append(note("share", column=column))
        return column, values
    fahrenheit = known.endswith("_C") and unit in FAHRENHEIT and (told or known != column)
    return known, (values - 32) / 1.8 if fahrenheit else values


@lru_cache(maxsize=1)
def demo_recipes() -> dict[str, Sheet]:
    """The two recipes of the invented demo records."""
    return {
        name: read_sheet(tables.data_path("demo", file))
        for name, file in (("A", "demo_frankfurter.toml"), ("B", "demo_less_milk.toml"))
    }


@lru_cache(maxsize=2)
def demo_analysis(by_recipe: bool = True) -> Analysed:
    """The invented demo records with their mapping, analysed once; `by_recipe`: beside what the batch model expects of each recipe."""
    if not by_recipe:
        return analysed(demo_analysis().records)
    return analysis_of(
        tables.data_path("demo", "demo_records.csv"),
        tables.data_path("demo", "demo_records.toml"),
        name="demo_records.csv",
        recipes=demo_recipes(),
    )

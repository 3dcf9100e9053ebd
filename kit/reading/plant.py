"""From a person's batch records to the table of batches, and all that the batches room says of it.

arranged(records)                      weights, labels and process columns as arrays, with what had to be understood
analysis_of("records.csv", "map.toml") read, arrange, analyse
analysis_of(..., recipes={"A": "a.toml", "B": "b.toml"}) the same, each batch beside what the chain expects of its recipe,
                                       so that a change of recipe is not taken for a change of process
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import tables
from kit.batches import BatchTable
from kit.batches.analysis import Analysis, analyse
from kit.errors import need
from kit.reading import read_sheet
from kit.reading.records import Records, read_records
from kit.reading.records.summary import SEVERAL
from kit.reading.words import meaning, plain
from kit.reading.yardstick import Yardstick, judged_by
from kit.sheet import Sheet
from kit.stages import STAGES
from kit.working import Result

MOST_BATCHES = 2500
"""compared at once: 2000 take a quarter of a minute and just under 1 GB"""
ROLES = ("lot", "operator", "cooker")
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
    """One file of records, read and analysed. `yardsticks`: one for each recipe whose sheet was given."""

    records: Records
    table: BatchTable
    analysis: Analysis
    yardsticks: tuple[Yardstick, ...]

    def parts(self) -> Iterator[Result]:
        """Its notes are those of reading, arranging and analysing, in that order; they are its own."""
        yield from ()


def arranged(records: Records) -> tuple[BatchTable, tuple[str, ...]]:
    """Weights by stage and side, batches by their first time; carried columns become facts (numbers) and labels (texts). Also what was understood, filled or left out.

    A stage weighed on one side only borrows the weight next to it, and a note says so: what is lost on the way then counts there.
    Faulty where fewer than two batches or no stage is left.
    """
    wide = records.weights()
    notes: list[str] = []
    if wide.left_out:
        left = _listed(f"{batch} ({why})" for batch, why in wide.left_out)
        notes.append(
            f"{len(wide.left_out)} batches are left out, because their sums would mislead: {left}"
        )
    order = _order(wide.per_batch["first"].to_numpy(), notes)
    n, stages = len(wide.batches), list(STAGES)
    grid = {name: np.full((n, len(stages)), np.nan) for name in SIDES.values()}
    for (stage, kind), kg in wide.weights.items():
        if kind in SIDES:
            grid[SIDES[kind]][:, stages.index(stage)] = kg[order]
    apart = sorted({kind for _, kind in wide.weights if kind not in SIDES})
    if apart:
        notes.append(
            f"weights of {' and '.join(apart)} are part of what is lost at their stage; they are not shown apart"
        )
    poured, lacking = np.isfinite(grid["added_kg"]), np.isnan(grid["added_kg"])
    for j in np.flatnonzero(poured.any(axis=0) & lacking.any(axis=0)):
        notes.append(
            f"no addition is written at {stages[j]} for {int(lacking[:, j].sum())} of {n} batches; none is counted there, so a forgotten one shows as weight gained"
        )
    for name in ("in_kg", "out_kg"):
        nothing = grid[name] <= 0
        if nothing.any():
            notes.append(f"{int(nothing.sum())} weights of 0 kg are taken as not weighed")
        grid[name] = np.where(nothing, np.nan, grid[name])
    keep = _along_the_line(grid, notes)
    kept = {name: held[:, keep] for name, held in grid.items()}
    per_batch = wide.per_batch.iloc[order]
    labels, facts = _beside(per_batch, dict(records.mapping.carry), notes)
    table = BatchTable(
        tuple(wide.batches[i] for i in order),
        tuple(stages[j] for j in keep),
        kept["in_kg"],
        kept["out_kg"],
        added_kg=kept["added_kg"],
        rework_in_kg=kept["rework_in_kg"],
        rework_out_kg=kept["rework_out_kg"],
        sample_kg=kept["sample_kg"],
        dates=per_batch["first"].to_numpy(),
        labels=labels,
        facts=facts,
        scales={
            (stage, side): scale
            for (stage, side), scale in records.summary.scales.items()
            if side in ("in", "out") and list(STAGES).index(stage) in keep
        },
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
) -> Analysed:
    """The same for records that were read already, small or large.

    recipes: {as the records' column Recipe calls it: its sheet}; then the chain's expected yield is the yardstick of cook and
    chill. Raises KitError beyond MOST_BATCHES: time grows as their number squared and more.
    """
    table, understood = arranged(records)
    need(
        table.n <= MOST_BATCHES,
        f"{table.n:,} batches; at most {MOST_BATCHES:,} are compared at once. Take one product or one year at a time",
    )
    table, sticks, said = judged_by(table, recipes) if recipes else (table, (), ())
    result = analyse(table, price_per_kg=prices)
    return Analysed(
        records,
        table,
        result,
        sticks,
        own_notes=(*records.notes, *understood, *said, *result.notes),
        own_sources=(
            *records.sources,
            *(s for one in sticks for s in one.sources),
            *result.sources,
        ),
        own_working=(*(line for one in sticks for line in one.working), *result.working),
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

    def borrow(side, j: int, other, beside: int, what: str) -> None:
        if not np.isfinite(side[:, j]).any() and np.isfinite(other[:, beside]).any():
            side[:, j] = other[:, beside]
            notes.append(f"{what} is taken, so a loss between the two counts at {names[j]}")

    for before, j in zip(used, used[1:]):
        what = f"nothing was weighed into {names[j]}: what left {names[before]}"
        borrow(into, j, out, before, what)
    for j, after in zip(used[-2::-1], used[:0:-1]):
        what = f"nothing was weighed out of {names[j]}: what went into {names[after]}"
        borrow(out, j, into, after, what)
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
                role = column if column in ROLES else meaning("label", column) or column
                # the mapping's own columns come first, and are not written over
                labels[column if role in labels else role] = text
        elif carry.get(column) == "number":
            name, facts_there, said = _fact(column, np.asarray(values, float))
            notes += [said] if said else []
            facts[name] = facts_there
    if unclear:
        notes.append(f"{unclear} labels differ within one batch; they are taken as unknown")
    return labels, facts


@lru_cache(maxsize=1)
def _fact_words() -> dict[str, str]:
    return {row["word"]: row["column"] for row in tables.read_rows("batches", "fact_words.csv")}


def _fact(column: str, values: np.ndarray) -> tuple[str, np.ndarray, str]:
    """(name of the fact, its numbers in °C or %, note). A temperature without its unit is not guessed."""
    words = plain(column).split()
    unit = next((w for w in words[::-1] if w in (*FAHRENHEIT, *CELSIUS)), "")
    aside = (*FAHRENHEIT, *CELSIUS, "deg", "pct", "percent", "mm")
    known = _fact_words().get(" ".join(w for w in words if w not in aside), column)
    if known == column:
        return column, values, ""
    if known.endswith("_C") and not unit:
        said = f"{column!r} could be {known[:-2].replace('_', ' ')}, but its unit is not written; write °C or °F into its header to have it searched"
        return column, values, said
    if known.endswith("_C") and unit in FAHRENHEIT:
        return known, (values - 32) / 1.8, ""
    if known.endswith("_pct") and np.nanmax(values, initial=0) <= 1:
        return (
            column,
            values,
            f"{column!r} looks like a share of 1, not per cent; it is not searched",
        )
    return known, values, ""


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

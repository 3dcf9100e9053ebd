"""What does each batch hold? Sums, counts and places per batch, stage and kind."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
import pyarrow as pa

from kit.reading.words import ALONG, ATTRIBUTES, SIGN
from kit.stages import STAGES
from kit.tables import value

SEVERAL = "several"
KEYS = tuple((stage, kind) for stage in STAGES for kind in ALONG)
"""(stage, kind) along the line"""
_ADDED = [n for n, (_, kind) in enumerate(KEYS) if SIGN.get(kind, 0) > 0]
CARRY = "carry: "
_MOST_PARTS = 60
_HALF_DAY = pd.Timedelta(hours=12)


@dataclass(frozen=True)
class Summary:
    """Arrays of (batches, keys); kg is nan, and `row` -1, where a batch has no such weight."""

    batches: np.ndarray
    keys: tuple[tuple[str, str], ...]
    kg: np.ndarray
    row: np.ndarray
    """the row of the first weighing"""
    count: np.ndarray
    """weighings"""
    per_batch: pd.DataFrame
    """first and last time, weighings, and what all weighings of the batch agree on ('several' where they do not; numbers as means)"""
    part_keys: tuple[tuple[str, str, str], ...]
    """(stage, kind, name) of additions and rework put in, for names that several batches have"""
    part_kg: np.ndarray
    part_row: np.ndarray
    repeats: pd.DataFrame
    """batch (its place), key, name, kg, count, first_row, last_row of weighings that nothing tells apart; `fixed`: a batch's own column, filled twice"""
    scales: dict[tuple[str, str], str]
    """the scale of each (stage, kind) of which the records name just one"""


def in_order(whole: pa.Table) -> pd.DataFrame:
    """The tidy table by batch (first met first) and along the line; texts as categories; `key`: the place in KEYS."""
    frame = whole.to_pandas(strings_to_categorical=True)
    stage, kind = (
        frame[role].map({word: n for n, word in enumerate(known)}).astype("int64")
        for role, known in (("stage", STAGES), ("kind", ALONG))
    )
    frame["key"] = stage * len(ALONG) + kind
    return frame.sort_values(["batch", "key"], ignore_index=True)


def past_midnight(frame: pd.DataFrame) -> tuple[pd.DataFrame, int, list[str]]:
    """The frame with a clock that falls back on one date moved to the day after, how many, and whose."""
    clocked = frame.loc[frame["clocked"], ["batch", "time"]]
    day = [clocked["batch"], clocked["time"].dt.normalize()]
    falls = clocked["time"].groupby(day, observed=True).diff() < -_HALF_DAY
    days = falls.groupby(day, observed=True).cumsum()
    days = days[days > 0]
    time = frame["time"].copy()
    time[days.index] += days.to_numpy().astype("timedelta64[D]")
    return frame.assign(time=time), len(days), list(clocked["batch"][days.index].unique())


@dataclass(frozen=True)
class Pieces:
    """What some batches hold, before it is known which keys and names occur in the others."""

    weights: pd.DataFrame
    """batch, key, name, kg, count, row: one entry for each that occurs"""
    per_batch: pd.DataFrame
    repeats: pd.DataFrame
    scales: pd.DataFrame


def pieces(frame: pd.DataFrame) -> Pieces:
    """Of a table from `in_order`, which holds whole batches."""
    by = frame.groupby(["batch", "key", "name"], observed=True, sort=False)
    weights = by.agg(kg=("kg", "sum"), count=("kg", "size"), row=("row", "min")).reset_index()
    scales = frame[["stage", "kind", "scale"]].drop_duplicates()
    return Pieces(weights, _per_batch(frame), _repeats(frame), scales)


def summary(found: Sequence[Pieces], order: dict[str, int]) -> Summary:
    """One Summary of pieces that share no batch; batches in `order`, only keys that occur have a column."""
    places = range(len(order))
    weights, per_batch, repeats, scales = (
        _joined([getattr(piece, part.name) for piece in found], order) for part in fields(Pieces)
    )
    cells = weights.groupby(["key", "batch"]).agg({"kg": "sum", "row": "min", "count": "sum"})
    kg, row, count = (
        cells[what].unstack("key", fill_value=empty).reindex(places)
        for what, empty in (("kg", np.nan), ("row", -1), ("count", 0))
    )
    parts = weights[weights["key"].isin(_ADDED)]
    usual = _usual_parts(parts)
    part_kg, part_row = (
        parts.pivot(index="batch", columns=["key", "name"], values=what).reindex(
            index=places, columns=usual
        )
        for what in ("kg", "row")
    )
    named = scales[scales["scale"] != ""].drop_duplicates()
    alone = named.drop_duplicates(["stage", "kind"], keep=False)
    names = np.array(list(order), dtype=object)
    return Summary(
        names,
        tuple(KEYS[key] for key in kg.columns),
        kg.to_numpy(),
        row.to_numpy(),
        count.to_numpy(),
        per_batch.sort_values("batch", ignore_index=True).assign(batch=names),
        tuple((*KEYS[key], name) for key, name in usual),
        part_kg.to_numpy(),
        part_row.to_numpy(),
        repeats.sort_values("batch", kind="stable"),
        {(stage, kind): scale for stage, kind, scale in alone.to_numpy()},
    )


def _joined(frames: list[pd.DataFrame], order: dict[str, int]) -> pd.DataFrame:
    """Frames of several pieces, categories written out; batches by their place in `order`."""
    placed = (
        frame.assign(batch=frame["batch"].map(order).astype("int64")) if "batch" in frame else frame
        for frame in frames
    )
    whole = pd.concat(placed, ignore_index=True)
    return whole.astype(dict.fromkeys(whole.select_dtypes("category").columns, object))


def _usual_parts(parts: pd.DataFrame) -> pd.MultiIndex:
    """(key, name) that enough batches have, the commonest _MOST_PARTS of them."""
    held = parts.groupby(["key", "name"]).size()
    held = held[held >= value("records_usual_batches")]
    return held.sort_values(ascending=False, kind="stable")[:_MOST_PARTS].sort_index().index


def _per_batch(frame: pd.DataFrame) -> pd.DataFrame:
    by = frame.groupby("batch", observed=True, sort=False)
    held = by.agg(first=("time", "min"), last=("time", "max"), weighings=("time", "size"))
    for title in (*ATTRIBUTES, *(name for name in frame.columns if name.startswith(CARRY))):
        said = _agreed(frame, title) if frame[title].dtype == "category" else by[title].mean()
        held[title.removeprefix(CARRY)] = said
    return held.reset_index()


def _agreed(frame: pd.DataFrame, title: str) -> pd.Series:
    """The word that all filled cells of each batch hold; SEVERAL where they differ."""
    said = frame[["batch", title]].drop_duplicates().astype(object)
    filled = said[said[title] != ""]
    said.loc[filled.index[filled["batch"].duplicated(keep=False)], title] = SEVERAL
    # words stand before the empty cell of the same batch
    said = said.sort_values(title, key=lambda words: words == "", kind="stable")
    return said.drop_duplicates("batch").set_index("batch")[title]


def _repeats(frame: pd.DataFrame) -> pd.DataFrame:
    """Weighings alike in batch, stage, kind, name, lot, time and kg; or, in columns that stand for one weight of a batch, filled twice."""
    cell = ["batch", "key", "name"]
    part = frame[frame.duplicated(cell, keep=False)]
    apart = part[["lot", "time", "kg"]].mask(part["fixed"])
    alike = [*(part[title] for title in cell), *(apart[title].rename(None) for title in apart)]
    found = part.groupby(alike, observed=True, sort=False, dropna=False).agg(
        kg=("kg", "min"),
        count=("kg", "size"),
        first_row=("row", "min"),
        last_row=("row", "max"),
        fixed=("fixed", "first"),
    )
    return found[found["count"] > 1].reset_index(cell).reset_index(drop=True)

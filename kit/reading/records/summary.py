"""What does each batch hold? Sums, counts and places per batch, stage and kind, from a sorted table in memory."""

from dataclasses import dataclass

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
_CARRY = "carry: "
_MOST_PARTS = 60
_HALF_DAY = np.timedelta64(12, "h")


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
    """batch, stage, kind, name, kg, count, first_row, last_row of weighings that nothing tells apart; `fixed`: a batch's own column, filled twice"""


def in_order(whole: pa.Table) -> pd.DataFrame:
    """The tidy table sorted by batch (first met first), stage, kind, name and row; texts as categories."""
    columns = {title: _category(whole[title]) for title in whole.column_names}
    batch, stage, kind, name = (columns[title] for title in ("batch", "stage", "kind", "name"))
    place = np.array([[KEYS.index((s, k)) for k in kind.categories] for s in stage.categories])
    cell = batch.codes.astype("int64") * len(KEYS)
    if len(cell):
        cell += place[stage.codes, kind.codes]
    rank = np.argsort(np.argsort(np.array(list(name.categories), dtype=object)))
    several = len(name.categories) > 1
    order = np.lexsort((rank[name.codes], cell)) if several else np.argsort(cell, kind="stable")
    frame = pd.DataFrame(columns | {"cell": cell})
    return frame if (order[1:] > order[:-1]).all() else frame.take(order).reset_index(drop=True)


def _category(column):
    """Texts as categories, each word once; other columns as arrays."""
    column = column.combine_chunks()
    if pa.types.is_string(column.type):
        column = column.dictionary_encode()
    if not pa.types.is_dictionary(column.type):
        return column.to_numpy(zero_copy_only=False)
    if len(column.dictionary.unique()) != len(column.dictionary):
        column = column.dictionary_decode().dictionary_encode()
    return pd.Categorical.from_codes(
        column.indices.to_numpy(zero_copy_only=False), column.dictionary.to_pandas()
    )


def past_midnight(frame: pd.DataFrame) -> tuple[pd.DataFrame, int, list[str]]:
    """The frame with a clock that falls back on one date moved to the day after, how many, and whose."""
    at = np.flatnonzero(frame["clocked"].to_numpy())
    if not at.size:
        return frame, 0, []
    time = frame["time"].to_numpy().astype("datetime64[s]")
    t, batch = time[at], frame["batch"].cat.codes.to_numpy()[at]
    day = t.astype("datetime64[D]")
    same = (batch[1:] == batch[:-1]) & (day[1:] == day[:-1])
    falls = np.append(0, np.cumsum(same & (t[1:] - t[:-1] < -_HALF_DAY)))
    start = np.maximum.accumulate(np.where(np.append(True, ~same), np.arange(at.size), 0))
    days = falls - falls[start]
    time[at] = t + days.astype("timedelta64[D]")
    touched = pd.unique(frame["batch"].iloc[at[days > 0]].astype(str))
    return frame.assign(time=time), int((days > 0).sum()), list(touched)


@dataclass(frozen=True)
class Pieces:
    """What some batches hold, before it is known which keys and names occur in the others."""

    cells: pd.DataFrame
    """batch, key, kg, count, row: one entry for each batch and key"""
    per_batch: pd.DataFrame
    repeats: pd.DataFrame
    parts: pd.DataFrame
    """each named addition of each batch: batch, key, name, kg and row"""


def pieces(frame: pd.DataFrame) -> Pieces:
    """Of a table from `in_order`, which holds whole batches."""
    cell = frame["cell"].to_numpy()
    starts = _starts(cell)
    key = frame["cell"].to_numpy() % len(KEYS)
    names = frame["name"].cat.codes.to_numpy()
    added = frame[np.isin(key, _ADDED)]
    code = added["cell"].to_numpy() * (int(names.max(initial=0)) + 1)
    parts = _summed(added, _starts(code + added["name"].cat.codes.to_numpy()))
    return Pieces(
        _summed(frame, starts).drop(columns="name"), _per_batch(frame), _repeats(frame), parts
    )


def _summed(frame: pd.DataFrame, starts: np.ndarray) -> pd.DataFrame:
    """One entry for each run of rows that begins at `starts`."""
    first, some = frame.iloc[starts], bool(starts.size)
    kg, row = frame["kg"].to_numpy(), frame["row"].to_numpy()
    return pd.DataFrame(
        {
            "batch": first["batch"],
            "key": first["cell"] % len(KEYS),
            "name": first["name"],
            "kg": np.add.reduceat(kg, starts) if some else kg,
            "count": np.diff(np.append(starts, len(frame))),
            "row": np.minimum.reduceat(row, starts) if some else row,
        }
    )


def summary(found: list[Pieces], order: dict[str, int]) -> Summary:
    """One Summary of pieces that share no batch; batches in `order`, only keys that occur have a column."""

    def joined(which: str) -> pd.DataFrame:
        return pd.concat([getattr(p, which) for p in found], ignore_index=True)

    per_batch = joined("per_batch")
    rank = np.argsort([order[name] for name in per_batch["batch"]], kind="stable")
    per_batch = per_batch.iloc[rank].reset_index(drop=True)
    names = per_batch["batch"].to_numpy(dtype=object)
    at = pd.Series(np.arange(names.size), index=names)
    cells, parts = joined("cells"), joined("parts")
    used = np.unique(cells["key"].to_numpy(dtype="int64"))
    shape = (names.size, used.size)
    slot = (_mapped(cells["batch"], at), np.searchsorted(used, cells["key"]))
    usual = _usual_parts(parts)
    pairs = zip(parts["key"], parts["name"])
    part = np.array([usual.get(pair, -1) for pair in pairs], dtype="int64")
    held = parts[part >= 0]
    part_slot = (_mapped(held["batch"], at), part[part >= 0])
    repeats = joined("repeats")
    keys = [KEYS.index(pair) for pair in zip(repeats["stage"], repeats["kind"])]
    placed = repeats.assign(b=repeats["batch"].map(at), k=keys)
    by = ["b", "k", "name", "first_row", "last_row", "kg"]
    return Summary(
        names,
        tuple(KEYS[k] for k in used),
        _grid(cells["kg"], slot, shape, np.nan),
        _grid(cells["row"], slot, shape, -1),
        _grid(cells["count"], slot, shape, 0),
        per_batch,
        tuple((*KEYS[k], name) for k, name in usual),
        _grid(held["kg"], part_slot, (names.size, len(usual)), np.nan),
        _grid(held["row"], part_slot, (names.size, len(usual)), -1),
        placed.sort_values(by, kind="stable", ignore_index=True).drop(columns=["b", "k"]),
    )


def _mapped(batch: pd.Series, at: pd.Series) -> np.ndarray:
    return batch.map(at).to_numpy(dtype="int64")


def _grid(entries: pd.Series, slot, shape, empty) -> np.ndarray:
    """An array of (batches, columns), `empty` where there is no entry."""
    grid = np.full(shape, empty)
    grid[slot] = entries
    return grid


def _usual_parts(parts: pd.DataFrame) -> dict[tuple[int, str], int]:
    """(key, name) that enough batches have -> its column, the commonest _MOST_PARTS of them."""
    held = parts.groupby(["key", "name"], observed=True).size()
    held = held[held >= value("records_usual_batches")]
    held = held.sort_values(ascending=False, kind="stable")[:_MOST_PARTS].sort_index()
    return {pair: n for n, pair in enumerate(held.index)}


def _starts(codes: np.ndarray) -> np.ndarray:
    """Where runs of equal codes begin."""
    return (
        np.flatnonzero(np.append(True, codes[1:] != codes[:-1])) if codes.size else np.zeros(0, int)
    )


def _per_batch(frame: pd.DataFrame) -> pd.DataFrame:
    starts = _starts(frame["batch"].cat.codes.to_numpy())
    if not starts.size:
        return pd.DataFrame(columns=["batch", "first", "last", "weighings", *ATTRIBUTES])
    time = frame["time"].to_numpy().astype("datetime64[s]")
    held = {
        "batch": frame["batch"].iloc[starts].to_numpy(dtype=object),
        "first": np.fmin.reduceat(time, starts),
        "last": np.fmax.reduceat(time, starts),
        "weighings": np.diff(np.append(starts, len(frame))),
    }
    for title in (*ATTRIBUTES, *(name for name in frame.columns if name.startswith(_CARRY))):
        column, name = frame[title], title.removeprefix(_CARRY)
        if column.dtype == "category":
            held[name] = _agreed(column, starts)
        else:
            x = column.to_numpy()
            n = np.add.reduceat(np.isfinite(x).astype(float), starts)
            total = np.add.reduceat(np.nan_to_num(x), starts)
            held[name] = np.where(n > 0, total / np.maximum(n, 1), np.nan)
    return pd.DataFrame(held)


def _agreed(column: pd.Series, starts: np.ndarray) -> np.ndarray:
    """The word that all filled cells of each run hold; SEVERAL where they differ."""
    codes, words = column.cat.codes.to_numpy().astype("int64"), list(column.cat.categories)
    if "" in words:
        codes = np.where(codes == words.index(""), -1, codes)
    high = np.maximum.reduceat(codes, starts)
    low = np.minimum.reduceat(np.where(codes < 0, np.iinfo("int64").max, codes), starts)
    said = np.array([*words, ""], dtype=object)[high]
    return np.where((high < 0) | (low == high), said, SEVERAL)


def _repeats(frame: pd.DataFrame) -> pd.DataFrame:
    """Weighings alike in batch, stage, kind, name, lot, time and kg; or, in columns that stand for one weight of a batch, filled twice."""
    texts, named = ["batch", "stage", "kind", "name"], ["cell", "name"]
    again = frame["cell"].duplicated(keep=False)
    part = frame.loc[again, [*texts, "row", "cell", "lot", "time", "kg", "fixed"]]
    out = []
    for alike, among in (
        ([*named, "lot", "time", "kg"], part[~part["fixed"]]),
        (named, part[part["fixed"]]),
    ):
        codes = among.assign(name=among["name"].cat.codes, lot=among["lot"].cat.codes)
        twice = codes[codes.duplicated(alike, keep=False)]
        said = part.loc[twice.index, texts].astype("str")
        by = [twice[name].rename(f"by {name}") for name in alike]
        groups = twice.assign(**said).groupby(by, sort=False, dropna=False)
        found = groups.agg(
            **{name: (name, "first") for name in texts},
            kg=("kg", "min"),
            count=("kg", "size"),
            first_row=("row", "min"),
            last_row=("row", "max"),
            fixed=("fixed", "first"),
        )
        out.append(found.reset_index(drop=True))
    return pd.concat(out, ignore_index=True)

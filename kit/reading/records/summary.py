"""What does each batch hold? Sums, counts and places per batch, stage and kind, from a sorted table in memory."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from kit.reading.records.weighings import ATTRIBUTES
from kit.reading.records.words import KINDS, PLACE, SIGN
from kit.stages import STAGES
from kit.tables import value

SEVERAL = "several"
KEYS = tuple(
    (stage, kind)
    for stage in STAGES
    for kind in sorted(KINDS, key=lambda kind: (PLACE[kind], KINDS.index(kind)))
)
"""(stage, kind) along the line"""
ADDED = tuple(n for n, (_, kind) in enumerate(KEYS) if SIGN.get(kind, 0) > 0)
CARRY = "carry: "
_MOST_PARTS = 60
_HALF_DAY = np.timedelta64(12, "h")


@dataclass(frozen=True)
class Summary:
    """Arrays of (batches, keys); kg is nan, and `place` -1, where a batch has no such weight."""

    batches: np.ndarray
    keys: tuple[tuple[str, str], ...]
    kg: np.ndarray
    row: np.ndarray
    """the row of the first weighing"""
    per_batch: pd.DataFrame
    """first and last time, weighings, and what all weighings of the batch agree on ('several' where they do not; numbers as means)"""
    part_keys: tuple[tuple[str, str, str], ...]
    """(stage, kind, name) of additions and rework put in, for names that several batches have"""
    part_kg: np.ndarray
    part_row: np.ndarray
    repeats: pd.DataFrame
    """batch, stage, kind, name, kg, count, first_row, last_row of weighings that nothing tells apart; `fixed`: a batch's own column, filled twice"""
    count: np.ndarray
    """weighings"""


def in_order(whole: pa.Table) -> pd.DataFrame:
    """The tidy table sorted by batch (first met first), stage, kind, name and row; texts as categories."""
    batch = whole["batch"].combine_chunks().dictionary_encode()
    cell = batch.indices.to_numpy().astype("int64") * len(KEYS) + keys_of(whole)
    name = _coded(whole["name"])
    rank = (
        np.argsort(np.argsort(np.array(list(name.categories), dtype=object)))
        if len(name.categories)
        else np.zeros(0, dtype="int64")
    )
    columns = {
        "batch": pd.Categorical.from_codes(batch.indices.to_numpy(), batch.dictionary.to_pandas())
    }
    for title in whole.column_names[1:]:
        column = whole[title]
        columns[title] = _coded(column) if _is_text(column) else column.to_numpy()
    order = (
        np.lexsort((rank[name.codes], cell))
        if len(name.categories) > 1
        else np.argsort(cell, kind="stable")
    )
    frame = pd.DataFrame(columns | {"cell": cell})
    return frame if (order[1:] > order[:-1]).all() else frame.take(order).reset_index(drop=True)


def keys_of(whole: pa.Table) -> np.ndarray:
    """The place of each weighing's stage and kind in KEYS."""
    stage, kind = (_coded(whole[name]) for name in ("stage", "kind"))
    place = np.array(
        [[KEYS.index((s, k)) for k in kind.categories] for s in stage.categories], dtype="int64"
    ).reshape(len(stage.categories), len(kind.categories))
    return place[stage.codes, kind.codes] if len(stage) else np.zeros(0, dtype="int64")


def _is_text(column) -> bool:
    return pa.types.is_string(column.type) or pa.types.is_dictionary(column.type)


def _coded(column) -> pd.Categorical:
    column = column.combine_chunks()
    column = column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
    found = pd.unique(column.dictionary.to_pandas()) if len(column.dictionary) else []
    if len(found) != len(column.dictionary):
        column = column.dictionary_decode().dictionary_encode()
    return pd.Categorical.from_codes(
        column.indices.to_numpy(zero_copy_only=False), column.dictionary.to_pandas()
    )


def past_midnight(frame: pd.DataFrame) -> tuple[pd.DataFrame, int, list[str]]:
    """Where date and clock stand apart and the clock falls back by more than half a day along one batch on one date, the rest is the day after.

    The frame with those times moved on, how many weighings and which batches.
    """
    time, clocked = frame["time"].to_numpy(), frame["clocked"].to_numpy()
    if not clocked.any():
        return frame, 0, []
    batch = frame["batch"].cat.codes.to_numpy()
    at = np.flatnonzero(clocked)
    t, b = time[at].astype("datetime64[s]"), batch[at]
    step = (
        (b[1:] == b[:-1])
        & (t[1:].astype("datetime64[D]") == t[:-1].astype("datetime64[D]"))
        & (t[1:] - t[:-1] < -_HALF_DAY)
    )
    same = (b[1:] == b[:-1]) & (t[1:].astype("datetime64[D]") == t[:-1].astype("datetime64[D]"))
    falls = np.concatenate([[0], np.cumsum(step)])
    start = np.maximum.accumulate(np.where(np.concatenate([[True], ~same]), np.arange(at.size), 0))
    days = falls - falls[start]
    moved = time.astype("datetime64[s]").copy()
    moved[at] = t + days.astype("timedelta64[D]")
    touched = pd.unique(frame["batch"].iloc[at[days > 0]].astype(str))
    return frame.assign(time=moved), int((days > 0).sum()), list(touched)


@dataclass(frozen=True)
class Pieces:
    """What some batches hold, before it is known which keys and names occur in the others."""

    names: np.ndarray
    cells: pd.DataFrame
    """place of the batch among `names`, key, kg, count, row: one entry for each batch and key"""
    per_batch: pd.DataFrame
    repeats: pd.DataFrame
    parts: pd.DataFrame


def pieces(frame: pd.DataFrame) -> Pieces:
    """Of a table from `in_order`, which holds whole batches."""
    cell, batch = frame["cell"].to_numpy(), frame["batch"].cat.codes.to_numpy()
    starts, ends = _starts(cell), _starts(batch)
    kg, row = frame["kg"].to_numpy(), frame["row"].to_numpy()
    some = bool(cell.size)
    names = (
        frame["batch"].cat.categories.to_numpy()[batch[ends]] if some else np.zeros(0, dtype=object)
    )
    place = np.cumsum(np.concatenate([[0], np.diff(batch) != 0])) if some else np.zeros(0, int)
    none = np.zeros(0, int)
    cells = pd.DataFrame(
        {
            "place": place[starts],
            "key": cell[starts] % len(KEYS),
            "kg": np.add.reduceat(kg, starts) if some else none.astype(float),
            "count": np.diff(np.append(starts, cell.size)) if some else none,
            "row": np.minimum.reduceat(row, starts) if some else none,
        }
    )
    return Pieces(
        np.asarray(names, dtype=object),
        cells,
        _per_batch(frame, ends, names),
        _repeats(frame, cell),
        _parts(frame, cell, place),
    )


def summary(found: list[Pieces], order: dict[str, int]) -> Summary:
    """One Summary of pieces that share no batch; batches in `order`, only keys that occur have a column."""
    names = np.concatenate([p.names for p in found])
    rank = np.argsort([order[name] for name in names], kind="stable")
    names, at = names[rank], np.argsort(rank)
    first = np.cumsum([0, *(len(p.names) for p in found)])

    def joined(which: str) -> pd.DataFrame:
        return pd.concat([getattr(p, which) for p in found], ignore_index=True)

    def placed(which: str) -> pd.DataFrame:
        of_piece = np.repeat(first[:-1], [len(getattr(p, which)) for p in found])
        whole = joined(which)
        return whole.assign(place=at[whole["place"].to_numpy() + of_piece])

    cells, parts = placed("cells"), placed("parts")
    used = np.unique(cells["key"])
    slot = (cells["place"].to_numpy(), np.searchsorted(used, cells["key"]))
    count = np.zeros((len(names), used.size), dtype="int64")
    count[slot] = cells["count"]
    part = _usual_parts(parts)
    index = [part.get(pair, -1) for pair in zip(parts["key"], parts["name"], strict=True)]
    parts = parts.assign(part=np.array(index, dtype="int64"))
    parts = parts[parts["part"] >= 0]
    part_slot = (parts["place"].to_numpy(), parts["part"].to_numpy())
    return Summary(
        names,
        tuple(KEYS[k] for k in used),
        *_grids(cells, slot, count.shape),
        joined("per_batch").iloc[rank].reset_index(drop=True),
        tuple((*KEYS[k], name) for k, name in part),
        *_grids(parts, part_slot, (len(names), len(part))),
        _in_place(joined("repeats"), names),
        count,
    )


def _grids(entries: pd.DataFrame, slot, shape) -> tuple[np.ndarray, np.ndarray]:
    """kg (nan where none) and row (-1 where none) of (batches, columns)."""
    kg, row = np.full(shape, np.nan), np.full(shape, -1, dtype="int64")
    kg[slot], row[slot] = entries["kg"], entries["row"]
    return kg, row


def _usual_parts(parts: pd.DataFrame) -> dict[tuple[int, str], int]:
    """(key, name) that enough batches have -> its column, the commonest _MOST_PARTS of them."""
    held = parts.groupby(["key", "name"]).size()
    held = held[held >= value("records_usual_batches")]
    held = held.sort_values(ascending=False, kind="stable")[:_MOST_PARTS].sort_index()
    return {pair: n for n, pair in enumerate(held.index)}


def _in_place(repeats: pd.DataFrame, names) -> pd.DataFrame:
    """By batch, along the line."""
    place = {batch: n for n, batch in enumerate(names)} if len(repeats) else {}
    keys = [KEYS.index(pair) for pair in zip(repeats["stage"], repeats["kind"], strict=True)]
    by = ["b", "k", "name", "first_row", "last_row", "kg"]
    ordered = repeats.assign(b=repeats["batch"].map(place), k=keys)
    return ordered.sort_values(by, kind="stable", ignore_index=True).drop(columns=["b", "k"])


def _parts(frame: pd.DataFrame, cell: np.ndarray, place: np.ndarray) -> pd.DataFrame:
    """Each named addition of each batch: place, key, name, kg and first row."""
    at = np.flatnonzero(np.isin(cell % len(KEYS), ADDED))
    names = frame["name"].cat.codes.to_numpy()[at]
    starts = _starts(cell[at] * (names.max(initial=0) + 1) + names) if at.size else at
    words = frame["name"].cat.categories.to_numpy(dtype=object)
    return pd.DataFrame(
        {
            "place": place[at][starts],
            "key": cell[at][starts] % len(KEYS),
            "name": words[names[starts]] if at.size else np.zeros(0, dtype=object),
            "kg": np.add.reduceat(frame["kg"].to_numpy()[at], starts) if at.size else np.zeros(0),
            "row": np.minimum.reduceat(frame["row"].to_numpy()[at], starts) if at.size else at,
        }
    )


def _starts(codes: np.ndarray) -> np.ndarray:
    return (
        np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
        if codes.size
        else np.zeros(0, dtype="int64")
    )


def _per_batch(frame: pd.DataFrame, starts: np.ndarray, names) -> pd.DataFrame:
    if not starts.size:
        return pd.DataFrame(columns=["batch", "first", "last", "weighings", *ATTRIBUTES])
    time = frame["time"].to_numpy().astype("datetime64[s]").astype("int64")
    missing = np.isnat(frame["time"].to_numpy())
    big = np.iinfo("int64").max
    first = np.minimum.reduceat(np.where(missing, big, time), starts)
    last = np.maximum.reduceat(np.where(missing, -big, time), starts)
    known = first < big

    def stamp(found):
        at = np.where(known, found, 0).astype("datetime64[s]")
        return np.where(known, at, np.datetime64("NaT", "s"))

    held = {
        "batch": names,
        "first": stamp(first),
        "last": stamp(last),
        "weighings": np.diff(np.append(starts, len(frame))),
    }
    for title in (*ATTRIBUTES, *(name for name in frame.columns if name.startswith(CARRY))):
        column = frame[title]
        if column.dtype == "category":
            held[title.removeprefix(CARRY)] = _agreed(column, starts)
        else:
            x = column.to_numpy()
            n = np.add.reduceat(np.isfinite(x).astype(float), starts)
            with np.errstate(invalid="ignore"):
                held[title.removeprefix(CARRY)] = np.where(
                    n > 0, np.add.reduceat(np.nan_to_num(x), starts) / np.where(n > 0, n, 1), np.nan
                )
    return pd.DataFrame(held)


def _agreed(column: pd.Series, starts: np.ndarray) -> np.ndarray:
    codes, words = column.cat.codes.to_numpy().astype("int64"), column.cat.categories.to_numpy()
    if "" in words:
        codes = np.where(codes == list(words).index(""), -1, codes)
    high = np.maximum.reduceat(codes, starts)
    low = np.minimum.reduceat(np.where(codes < 0, np.iinfo("int64").max, codes), starts)
    words = np.append(words.astype(object), "")
    return np.where(
        high < 0,
        "",
        np.where(low == high, words[np.where(high < 0, len(words) - 1, high)], SEVERAL),
    )


def _repeats(frame: pd.DataFrame, cell: np.ndarray) -> pd.DataFrame:
    """Weighings alike in batch, stage, kind, name, lot, time and kg; or, in columns that stand for one weight of a batch, filled twice."""
    starts = _starts(cell)
    counts = np.diff(np.append(starts, cell.size)) if cell.size else np.zeros(0, int)
    several = np.repeat(counts > 1, counts)
    texts, named = ["batch", "stage", "kind", "name"], ["cell", "name"]
    part = frame.loc[several, [*texts, "row", "cell", "lot", "time", "kg", "fixed"]]
    out = []
    for alike, among in (
        ([*named, "lot", "time", "kg"], part[~part["fixed"]]),
        (named, part[part["fixed"]]),
    ):
        codes = among.assign(name=among["name"].cat.codes, lot=among["lot"].cat.codes)
        again = codes[codes.duplicated(alike, keep=False)]
        if not len(again):
            continue
        by = [again[name].rename(f"by {name}") for name in alike]
        said = part.loc[again.index, texts].astype("str")
        groups = again.assign(**said).groupby(by, sort=False, dropna=False)
        found = groups.agg(
            **{name: (name, "first") for name in texts},
            kg=("kg", "min"),
            count=("kg", "size"),
            first_row=("row", "min"),
            last_row=("row", "max"),
            fixed=("fixed", "first"),
        )
        out.append(found.reset_index(drop=True))
    figures = ["kg", "count", "first_row", "last_row", "fixed"]
    return pd.concat(out, ignore_index=True) if out else pd.DataFrame(columns=[*texts, *figures])

"""What does each batch hold? Sums, counts and places per batch, stage and kind."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa

from kit.reading.cells import each_text
from kit.reading.words import ALONG, ATTRIBUTES, LABELS
from kit.stages import STAGES
from kit.tables import value
from kit.yields.ledger import SIGN

SEVERAL = "several"
KEYS = tuple((stage, kind) for stage in STAGES for kind in ALONG)
"""(stage, kind) along the line"""
_ADDED = [n for n, (_, kind) in enumerate(KEYS) if SIGN.get(kind, 0) > 0]
CARRY = "carry: "
_MOST_PARTS = 60
_HALF_DAY_S, _DAY_S = 43_200, 86_400


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

    @property
    def weights(self) -> dict[tuple[str, str], np.ndarray]:
        """(stage, kind) -> kg of each batch, names added up, nan where missing."""
        return {k: kg for k, kg in zip(self.keys, self.kg.T) if np.isfinite(kg).any()}

    def of(self, keep: np.ndarray) -> "Summary":
        """The batches to `keep`, without their repeats."""
        arrays = ("batches", "kg", "row", "count", "part_kg", "part_row")
        kept = {name: getattr(self, name)[keep] for name in arrays}
        per_batch = self.per_batch[keep].reset_index(drop=True)
        return replace(self, **kept, per_batch=per_batch, repeats=self.repeats[:0])


def in_order(whole: pa.Table) -> tuple[pa.Table, int, list[str]]:
    """The weighings by batch (first met first) and along the line, `key` their place in KEYS; how many of whose clocks fall back on one date, and so are moved to the day after."""
    named = whole["batch"].unify_dictionaries().combine_chunks()
    codes, met = pd.factorize(named.indices.to_numpy())
    batch = pa.DictionaryArray.from_arrays(codes, named.dictionary.take(pa.array(met)))
    stage, kind = (_places(whole[r], among) for r, among in (("stage", STAGES), ("kind", ALONG)))
    key = stage * len(ALONG) + kind
    whole = whole.set_column(0, "batch", batch).append_column("key", pa.array(key))
    at, cell = np.arange(len(key)), batch.indices.to_numpy() * len(KEYS) + key
    if (np.diff(cell) < 0).any():
        at = np.argsort(cell, kind="stable")
        whole = whole.take(pa.array(at))
    time = whole["time"].to_numpy().astype("datetime64[s]")
    batches = _codes(whole["batch"])
    moved = _past_midnight(batches, time, np.flatnonzero(whole["clocked"].to_numpy()))
    fallen = np.flatnonzero(moved)
    names = batch.dictionary.take(pa.array(np.unique(batches[fallen]))).to_pylist()
    if names:
        time = pa.array(time + moved.astype("timedelta64[D]"))
        whole = whole.set_column(whole.column_names.index("time"), "time", time)
    return whole, fallen.size, names


def _codes(column) -> np.ndarray:
    return column.combine_chunks().indices.to_numpy().astype("int64")


def _places(column, known) -> np.ndarray:
    return each_text(column.unify_dictionaries().combine_chunks(), list(known).index, int)


def _past_midnight(batch: np.ndarray, time: np.ndarray, clocked: np.ndarray) -> np.ndarray:
    """Days by which each time is moved: one for each fall of half a day and more between weighings of a batch on one date."""
    moved = np.zeros(len(time), dtype=int)
    seconds = time[clocked].astype("int64")
    day = batch[clocked] * 10**6 + seconds // _DAY_S
    at = np.argsort(day, kind="stable")
    fell = np.append(False, (np.diff(day[at]) == 0) & (np.diff(seconds[at]) < -_HALF_DAY_S))
    falls = np.cumsum(fell)
    _, first, counts = np.unique(day[at], return_index=True, return_counts=True)
    moved[clocked[at]] = falls - np.repeat(falls[first], counts)
    return moved


def summary(whole: pa.Table) -> Summary:
    """Of a table from `in_order`."""
    encoded = whole["batch"].combine_chunks()
    batch, key, row = _codes(whole["batch"]), whole["key"].to_numpy(), whole["row"].to_numpy()
    name, kg = whole["name"].unify_dictionaries().combine_chunks(), whole["kg"].to_numpy()
    names, batches = name.dictionary.to_pylist(), len(encoded.dictionary)
    there = np.flatnonzero(np.bincount(key))
    sums, rows, count = _grid(batch, np.searchsorted(there, key), kg, row, (batches, len(there)))
    added = np.flatnonzero(np.isin(key, _ADDED))
    part, own = np.unique(
        key[added] * len(names) + name.indices.to_numpy()[added], return_inverse=True
    )
    part_kg, part_row, held = _grid(batch[added], own, kg[added], row[added], (batches, len(part)))
    held = (held > 0).sum(axis=0)
    usual = np.flatnonzero(held >= value("records_usual_batches"))
    usual = np.sort(usual[np.argsort(-held[usual], kind="stable")][:_MOST_PARTS])
    parts = [divmod(int(code), len(names)) for code in part[usual]]
    return Summary(
        np.array(encoded.dictionary.to_pylist(), dtype=object),
        tuple(KEYS[n] for n in there),
        sums,
        rows,
        count,
        _per_batch(whole, batch),
        tuple((*KEYS[n], names[at]) for n, at in parts),
        part_kg[:, usual],
        part_row[:, usual],
        _repeats(whole, batch, (batch * len(KEYS) + key) * len(names) + name.indices.to_numpy()),
        _scales(whole, key),
    )


def _grid(batch, column, kg, row, shape) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(kg, row of the first, count) of each batch and column."""
    cell = batch * shape[1] + column
    count = np.bincount(cell, minlength=shape[0] * shape[1])
    sums = np.where(count, np.bincount(cell, kg, len(count)), np.nan)
    first = np.full(len(count), -1)
    first[cell[::-1]] = row[::-1]
    return sums.reshape(shape), first.reshape(shape), count.reshape(shape)


def _per_batch(whole: pa.Table, batch: np.ndarray) -> pd.DataFrame:
    """A row for each batch; the weighings of a batch stand together."""
    starts = np.flatnonzero(np.diff(batch, prepend=-1))
    time = whole["time"].to_numpy().astype("datetime64[s]")
    held = {"batch": np.array(whole["batch"].combine_chunks().dictionary.to_pylist(), object)}
    held |= {"first": np.fmin.reduceat(time, starts), "last": np.fmax.reduceat(time, starts)}
    held |= {"weighings": np.diff(starts, append=len(batch))}
    for title in whole.column_names:
        if title not in (*ATTRIBUTES, *LABELS) and not title.startswith(CARRY):
            continue
        column, own = whole[title], title.removeprefix(CARRY)
        if pa.types.is_floating(column.type):
            x = column.to_numpy()
            there = np.add.reduceat(np.isfinite(x).astype(float), starts)
            total = np.add.reduceat(np.nan_to_num(x), starts)
            held[own] = np.divide(total, there, np.full(len(there), np.nan), where=there > 0)
        else:
            held[own] = _agreed(column, starts)
    return pd.DataFrame(held)


def _agreed(column, starts: np.ndarray) -> np.ndarray:
    """The word that all filled cells of each batch hold; SEVERAL where they differ."""
    column = column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
    column = column.unify_dictionaries().combine_chunks()
    words = np.array([*column.dictionary.to_pylist(), SEVERAL, ""], object)
    codes = column.indices.to_numpy().astype("int64")
    blank = (words == "")[codes]
    least = np.minimum.reduceat(np.where(blank, len(words), codes), starts)
    most = np.maximum.reduceat(np.where(blank, -1, codes), starts)
    return words[np.where(least == most, most, np.where(most < 0, -1, -2))]


def _repeats(whole: pa.Table, batch: np.ndarray, cell: np.ndarray) -> pd.DataFrame:
    """Weighings alike in batch, stage, kind, name, lot, time and kg; or, in columns that stand for one weight of a batch, filled twice."""
    again = np.diff(batch * len(KEYS) + whole["key"].to_numpy()) == 0
    several = np.flatnonzero(np.append(False, again) | np.append(again, False))
    several = several[pd.Series(cell[several]).duplicated(keep=False).to_numpy()]
    titles = ["key", "name", "lot", "time", "kg", "row", "fixed"]
    part = whole.select(titles).take(pa.array(several)).to_pandas()
    part["batch"] = batch[several]
    own = part[["lot", "time", "kg"]].astype(object).mask(part["fixed"]).add_prefix("own_")
    alike = ["batch", "key", "name", *own]
    by = part.join(own).groupby(alike, observed=True, dropna=False, sort=False)
    found = by.agg(
        kg=("kg", "min"),
        count=("kg", "size"),
        first_row=("row", "min"),
        last_row=("row", "max"),
        fixed=("fixed", "first"),
    )
    return found.query("count > 1").reset_index()


def _scales(whole: pa.Table, key: np.ndarray) -> dict[tuple[str, str], str]:
    scale = whole["scale"].unify_dictionaries().combine_chunks()
    words = scale.dictionary.to_pylist()
    named = {divmod(int(x), len(words)) for x in np.unique(key * len(words) + scale.indices)}
    found: dict[int, list[str]] = {}
    for n, at in sorted(named):
        found.setdefault(n, []).extend([words[at]] if words[at] else [])
    return {KEYS[n]: said[0] for n, said in found.items() if len(said) == 1}

"""Which readings share a clock? Channels of one file may be read at different times: each then keeps its own.

Three layouts are known: a time column before each channel or group of channels; one time column and rows in which only some channels have a
reading; one column of temperatures with another that names the channel. Nothing is filled in between.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit.reading.columns import Table
from kit.reading.logs.clock import DAY_S, HALF_DAY_S, Clock, counts_time, read_clock
from kit.reading.logs.table import ask

_LABEL = re.compile(
    r"^\W*(channel|kanal|ch|sensor|probe|f.hler|input|location|place|position|name)\b", re.I
)
_NAMES = re.compile(r"\d{0,3}$|.*[^\W\d]")
"""a label is a word or a small whole number; a reading such as 12.5 names nothing"""
_MOST_LABELS, _SPARSE, _WHOLE_ROWS = 64, 0.25, 0.5


@dataclass(frozen=True)
class Part:
    """Channels that share a clock: their names, their columns, and the places in the table that are theirs."""

    names: tuple[str, ...]
    columns: tuple[int, ...]
    clock: Clock
    rows: np.ndarray


def names_channels(name: str) -> bool:
    """Could a column of this name say which channel a row belongs to?"""
    return bool(_LABEL.match(name))


def parts_of(
    table: Table,
    kinds,
    texts,
    clock: Clock,
    chosen: Sequence[int],
    raw: np.ndarray,
    one_clock: bool,
    **written,
) -> tuple[list[Part], list[str], set[int]]:
    """(parts of a file, what was understood of them, columns used for it); one part where all channels share their times.

    `one_clock`: the person named the time column."""
    every = np.arange(len(table.row))
    whole = [Part(tuple(table.names[i] for i in chosen), tuple(chosen), clock, every)]
    runs = [] if one_clock else _runs(table, kinds, chosen)
    if len(runs) > 1 and sum(len(channels) for _, channels in runs) == len(chosen):
        return _own_clocks(table, kinds, texts, runs, written)
    label = _label_column(table, texts, clock, chosen)
    if label is not None:
        codes = texts[label].dictionary_encode()
        found = codes.dictionary.to_pylist()
        names = [
            text
            if re.search(r"[^\W\d]", text)
            else f"{table.names[label]} {text or 'without a name'}"
            for text in found
        ]
        at = codes.indices.to_numpy(zero_copy_only=False)
        return (
            [Part((name,), tuple(chosen), clock, every[at == n]) for n, name in enumerate(names)],
            [f"column {table.names[label]!r} names the channel of each row: {', '.join(names)}"],
            {label},
        )
    held = np.isfinite(raw)
    if (
        len(chosen) > 1
        and (1 - held.mean(axis=0) > _SPARSE).sum() > 1
        and held.all(axis=1).mean() < _WHOLE_ROWS
        and held.any(axis=1).all()
    ):
        filled = [~_blank(texts[i]) for i in chosen]
        return (
            [
                Part((table.names[i],), (i,), clock, every[mine])
                for i, mine in zip(chosen, filled, strict=True)
            ],
            [
                "the channels were read at different times: each keeps its own, "
                + ", ".join(
                    f"{table.names[i]} in {int(mine.sum())} of {mine.size} rows"
                    for i, mine in zip(chosen, filled, strict=True)
                )
            ],
            set(),
        )
    return whole, [], set()


def on_one_axis(
    seconds: Sequence[np.ndarray], clocks: Sequence[Clock], table: Table
) -> list[np.ndarray]:
    """Seconds of all parts from the earliest reading. A clock without a date that starts just past midnight is a day on. Faulty where two never run together."""
    first = seconds[0][0]
    seconds = [
        t
        if clock.dated or not clock.colons
        else t + DAY_S * ((first - t[0] > HALF_DAY_S) - float(t[0] - first > HALF_DAY_S))
        for t, clock in zip(seconds, clocks, strict=True)
    ]
    start = min(t[0] for t in seconds)
    if (
        len(seconds) > 1
        and len({clock.columns for clock in clocks}) > 1
        and max(t[0] for t in seconds) > min(t[-1] for t in seconds)
    ):
        names = " and ".join(repr(table.names[clock.columns[-1]]) for clock in clocks)
        raise ask(
            table,
            f"the time columns {names} never run together",
            remedy="name the one that holds for all channels: time_column='...'",
        )
    return [t - start for t in seconds]


def merged(seconds, temperature, usable, row):
    """All parts on the union of their times: (seconds, °C with nan where a channel has no reading, usable, file row)."""
    if len(seconds) == 1:
        return seconds[0], temperature[0], usable[0], row[0]
    union = np.unique(np.concatenate(seconds))
    width = sum(x.shape[1] for x in temperature)
    all_C, all_usable, rows = (
        np.full((union.size, width), np.nan),
        np.zeros((union.size, width), dtype=bool),
        np.zeros(union.size, dtype=int),
    )
    first = 0
    for t, x, good, at in zip(seconds, temperature, usable, row, strict=True):
        place, mine = np.searchsorted(union, t), slice(first, first + x.shape[1])
        all_C[place, mine], all_usable[place, mine], rows[place] = x, good, at
        first += x.shape[1]
    return union, all_C, all_usable, rows


def _runs(table: Table, kinds, chosen) -> list[tuple[list[int], list[int]]]:
    """(time columns, channels after them) from left to right; empty where a channel stands before any time."""
    runs: list[tuple[list[int], list[int]]] = []
    for i, kind in enumerate(kinds):
        if i in chosen:
            if not runs:
                return []
            runs[-1][1].append(i)
        elif kind == "time" or kind == "number" and counts_time(table.names[i]):
            if not runs or runs[-1][1]:
                runs.append(([], []))
            runs[-1][0].append(i)
    return [run for run in runs if run[1]]


def _own_clocks(table, kinds, texts, runs, written) -> tuple[list[Part], list[str], set[int]]:
    parts, said = [], []
    for timed, channels in runs:
        clock = read_clock(table, kinds, texts, among=timed, **written)
        mine = ~np.logical_and.reduce([_blank(texts[i]) for i in (*clock.columns, *channels)])
        parts.append(
            Part(
                tuple(table.names[i] for i in channels),
                tuple(channels),
                clock,
                np.flatnonzero(mine),
            )
        )
        said.append(
            f"{', '.join(parts[-1].names)} by {'their' if len(channels) > 1 else 'its'} own clock, "
            f"column {' and '.join(repr(table.names[i]) for i in clock.columns)}"
        )
    if len({part.clock.colons for part in parts}) > 1:
        raise ask(
            table,
            "one time column holds a clock and another counts from zero",
            remedy="name the one that holds for all channels: time_column='...'",
        )
    if not parts[0].clock.colons:
        said.append("the counts of all time columns are taken to start at the same moment")
    return parts, said, set().union(*(part.clock.columns for part in parts))


def _label_column(table: Table, texts, clock: Clock, chosen) -> int | None:
    """The column that names the channel of each row, where one column holds all temperatures: it changes from row to row, or time starts anew with it."""
    if len(chosen) != 1:
        return None
    for i, name in enumerate(table.names):
        if i in chosen or i in clock.columns or not names_channels(name):
            continue
        codes = texts[i].dictionary_encode()
        labels = codes.dictionary.to_pylist()
        change = np.flatnonzero(np.diff(codes.indices.to_numpy(zero_copy_only=False)))
        anew = change.size == len(labels) - 1 and bool((np.diff(clock.seconds)[change] < 0).all())
        if (
            2 <= len(labels) <= _MOST_LABELS
            and all(_NAMES.match(text) for text in labels)
            and (anew or 2 * change.size >= len(table.row) - 1)
        ):
            return i
    return None


def _blank(column: pa.Array) -> np.ndarray:
    return pc.equal(pc.binary_length(column), 0).to_numpy(zero_copy_only=False)

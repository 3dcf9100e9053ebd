"""Which readings share a clock? Channels of one file may be read at different times.

Each channel then keeps its own times. Three layouts are known: a time column before each channel or
group of channels; one time column and rows in which only some channels have a reading; one column of
temperatures with another that names the channel. Nothing is filled in between.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from kit.reading.cells import empty_cells
from kit.reading.logs.clock import DAY_S, HALF_DAY_S, Clock, counts_time, read_clock
from kit.reading.logs.table import Answers, LogTable

_LABEL = re.compile(
    r"^\W*(channel|kanal|ch|sensor|probe|f.hler|input|location|place|position|name)\b", re.I
)
_NAMES = re.compile(r"\d{0,3}$|.*[^\W\d]")
"""a label is a word or a small whole number; a reading such as 12.5 names nothing"""
_MOST_LABELS, _SPARSE, _WHOLE_ROWS = 64, 0.25, 0.5


@dataclass
class ChannelGroup:
    """Channels that share a clock: their names, their columns, and their rows of the table; what they read is filled in step by step."""

    names: tuple[str, ...]
    columns: tuple[int, ...]
    clock: Clock
    rows: np.ndarray
    seconds: np.ndarray = field(default_factory=lambda: np.empty(0))
    degrees: np.ndarray = field(default_factory=lambda: np.empty(0))
    """°C, a column for each channel"""
    usable: np.ndarray = field(default_factory=lambda: np.empty(0, bool))


def parts_of(
    table: LogTable, clock: Clock, chosen: Sequence[int], raw: np.ndarray, answers: Answers
) -> tuple[list[ChannelGroup], list[str], set[int]]:
    """The parts of a log, what was understood of them, and the columns used; `raw`: °C of each chosen column."""
    every = np.arange(len(table.row))
    runs = [] if answers.time_column else _runs(table, chosen)
    if len(runs) > 1 and sum(len(channels) for _, channels in runs) == len(chosen):
        return _own_clocks(table, runs, answers)
    label = _label_column(table, clock, chosen)
    if label is not None:
        title, codes = table.names[label], table.columns[label].dictionary_encode()
        named = {
            text: text if re.search(r"[^\W\d]", text) else f"{title} {text or 'without a name'}"
            for text in codes.dictionary.to_pylist()
        }
        at = codes.indices.to_numpy(zero_copy_only=False)
        parts = [
            ChannelGroup((name,), tuple(chosen), clock, every[at == n])
            for n, name in enumerate(named.values())
        ]
        said = f"column {title!r} names the channel of each row: {', '.join(named.values())}"
        return parts, [said], {label}
    if _read_in_turn(np.isfinite(raw)):
        filled = {i: every[~empty_cells(table.columns[i])] for i in chosen}
        parts = [ChannelGroup((table.names[i],), (i,), clock, filled[i]) for i in chosen]
        counts = (f"{part.names[0]} in {part.rows.size} of {every.size} rows" for part in parts)
        said = "the channels were read at different times: each keeps its own, " + ", ".join(counts)
        return parts, [said], set()
    names = tuple(table.names[i] for i in chosen)
    return [ChannelGroup(names, tuple(chosen), clock, every)], [], set()


def _read_in_turn(held: np.ndarray) -> bool:
    """Several channels with many holes, few whole rows, and no row without a reading."""
    sparse = (1 - held.mean(axis=0) > _SPARSE).sum() > 1
    return bool(sparse and held.all(axis=1).mean() < _WHOLE_ROWS and held.any(axis=1).all())


def put_on_one_axis(table: LogTable, parts: Sequence[ChannelGroup]) -> None:
    """Seconds of all parts from the earliest reading; a bare clock just past midnight is a day on."""
    first = parts[0].seconds[0]
    for part in parts:
        ahead = part.seconds[0] - first
        if part.clock.colons and not part.clock.dated:
            days = float(ahead < -HALF_DAY_S) - float(ahead > HALF_DAY_S)
            part.seconds = part.seconds + DAY_S * days
    start = min(part.seconds[0] for part in parts)
    several = len({part.clock.columns for part in parts}) > 1
    if several and max(p.seconds[0] for p in parts) > min(p.seconds[-1] for p in parts):
        names = " and ".join(repr(table.names[part.clock.columns[-1]]) for part in parts)
        table.stop("apart clocks", names=names)
    for part in parts:
        part.seconds = part.seconds - start


def merged(
    table: LogTable, parts: Sequence[ChannelGroup]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """All parts on the union of their times: (seconds, °C, usable, file row); °C is nan without a reading."""
    union = np.unique(np.concatenate([part.seconds for part in parts]))
    shape = union.size, sum(len(part.names) for part in parts)
    degrees, usable = np.full(shape, np.nan), np.zeros(shape, dtype=bool)
    rows, first = np.zeros(union.size, dtype=int), 0
    for part in parts:
        place = np.searchsorted(union, part.seconds)
        mine = slice(first, first := first + len(part.names))
        degrees[place, mine], usable[place, mine] = part.degrees, part.usable
        rows[place] = table.row[part.rows]
    return union, degrees, usable, rows


def _runs(table: LogTable, chosen: Sequence[int]) -> list[tuple[list[int], list[int]]]:
    """(time columns, channels after them) from left to right; none where a channel stands before any time."""
    runs: list[tuple[list[int], list[int]]] = []
    for i, kind in enumerate(table.kinds):
        if i in chosen:
            if not runs:
                return []
            runs[-1][1].append(i)
        elif kind == "time" or kind == "number" and counts_time(table.names[i]):
            if not runs or runs[-1][1]:
                runs.append(([], []))
            runs[-1][0].append(i)
    return [run for run in runs if run[1]]


def _own_clocks(
    table: LogTable, runs, answers: Answers
) -> tuple[list[ChannelGroup], list[str], set[int]]:
    parts, said = [], []
    for timed, channels in runs:
        clock = read_clock(table, answers, timed)
        empty = [empty_cells(table.columns[i]) for i in (*clock.columns, *channels)]
        mine = np.flatnonzero(~np.logical_and.reduce(empty))
        names = tuple(table.names[i] for i in channels)
        parts.append(ChannelGroup(names, tuple(channels), clock, mine))
        whose = "their" if len(channels) > 1 else "its"
        column = " and ".join(repr(table.names[i]) for i in clock.columns)
        said.append(f"{', '.join(names)} by {whose} own clock, column {column}")
    if len({part.clock.colons for part in parts}) > 1:
        table.stop("clock and count")
    if not parts[0].clock.colons:
        said.append("the counts of all time columns are assumed to start at the same moment")
    return parts, said, set().union(*(part.clock.columns for part in parts))


def _label_column(table: LogTable, clock: Clock, chosen: Sequence[int]) -> int | None:
    """The column that names the channel of each row; it changes row by row, or time starts anew with it."""
    for i, name in enumerate(table.names if len(chosen) == 1 else ()):
        if i in chosen or i in clock.columns or not _LABEL.match(name):
            continue
        codes = table.columns[i].dictionary_encode()
        labels = codes.dictionary.to_pylist()
        change = np.flatnonzero(np.diff(codes.indices.to_numpy(zero_copy_only=False)))
        anew = change.size == len(labels) - 1 and (np.diff(clock.seconds)[change] < 0).all()
        often = 2 * change.size >= len(table.row) - 1
        known = 2 <= len(labels) <= _MOST_LABELS and all(map(_NAMES.match, labels))
        if known and (anew or often):
            return i
    return None

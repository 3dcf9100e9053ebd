"""Which column is the time, how is it written, and how many seconds is that?"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from kit.errors import need_known
from kit.reading import cells, dates
from kit.reading.logs.table import Answers, LogTable, comma_of, unnumbered
from kit.reading.words import meaning, note

_COUNTED = {
    "ms": (1e-3, r"\bms\b|millisec"),
    "s": (1.0, r"\bs\b|\bsec|\bsek|second"),
    "min": (60.0, r"\bmins?\b|minute"),
    "h": (3600.0, r"\bh\b|\bhrs?\b|hour|stunde"),
    "days": (86400.0, r"\bdays?\b"),
}
"""unit in which time is counted -> its seconds, and how a header says so"""
TIME_WRITTEN = (*_COUNTED, "min:s", "h:min", "h:min:s")
_TIME_WORD = re.compile(
    r"time|elapsed|second|minute|hour|zeit|dauer|\bsec|\bmins?\b|\bs\b|^t\b(?!.*°)"
)
_MIN_S = re.compile(r"mm:ss|m:ss|min:s|m:s\b|elapsed|timer|dauer|stopwatch")
_H_MIN = re.compile(r"hh:mm|h:mm|h:min|clock|time of day|uhrzeit")
HALF_DAY_S, DAY_S = 43_200.0, dates.DAY_S


@dataclass(frozen=True)
class Clock:
    """Seconds of every row, nan where unreadable, and what was understood."""

    seconds: np.ndarray
    columns: tuple[int, ...]
    dated: bool
    """a date fixes the day, or time counts from zero"""
    colons: bool
    written: tuple[pa.Array, ...]
    """the cells of those columns"""
    understood: tuple[str, ...]

    def stamp(self, at: int) -> str:
        """What the file writes as the time of one row of the table."""
        return " ".join(column[int(at)].as_py() for column in self.written)


def read_clock(table: LogTable, answers: Answers, among: Iterable[int] | None = None) -> Clock:
    """The clock of the log, or the one of the columns `among`; Faulty with the question where it cannot tell."""
    if answers.time is not None:
        need_known("way of writing time", answers.time, TIME_WRITTEN)
    named = answers.time_column if among is None else None
    wanted = range(len(table.names)) if among is None else among
    if named is not None:
        need_known("column", named, table.names)
        wanted = [table.names.index(named)]
    timed = [i for i in wanted if table.kinds[i] == "time"]
    if timed:
        return _colon_clock(table, timed, answers)
    counted = [i for i in wanted if table.kinds[i] == "number"]
    counted = [i for i in counted if named or counts_time(table.names[i])]
    if not counted:
        table.stop("no time column", names=", ".join(table.names))
    return _number_clock(table, counted[0], answers)


def counts_time(name: str) -> bool:
    """Does a column of numbers with this name count time? 't' may; 'T' is a temperature."""
    name = unnumbered(name).strip()
    if meaning("role", name) == "clock":
        return True
    return name != "T" and bool(_TIME_WORD.search(name.casefold()))


def _number_clock(table: LogTable, i: int, answers: Answers) -> Clock:
    name = table.names[i]
    said = [u for u, (_, pattern) in _COUNTED.items() if re.search(pattern, name.casefold())]
    unit = answers.time or (said[0] if said else "")
    if unit not in _COUNTED:
        table.stop("no unit of time", name, title=name)
    style = comma_of(table, [table.columns[i]], answers, f"column {name!r}")
    seconds = cells.numbers(table.columns[i], style) * _COUNTED[unit][0]
    return Clock(seconds, (i,), True, False, (), (f"time: column {name!r}, counted in {unit}",))


def _colon_clock(table: LogTable, timed: Sequence[int], answers: Answers) -> Clock:
    shapes = {i: _shape(cells.sample(table.columns[i], 200)) for i in timed}
    stamps, days_only, clocks = (
        [i for i in timed if shapes[i] == shape] for shape in ("stamp", "date", "clock")
    )
    used = [*stamps[:1]] or [*days_only[:1], *clocks[:1]]
    if not stamps and not clocks:
        table.stop("no time of day", title=table.names[timed[0]])
    written = tuple(table.columns[i] for i in used)
    days_text, clock_text = written[0], written[-1]
    if stamps:
        days_text, clock_text = dates.split_stamp(written[0])
    has_date = bool(stamps or days_only)
    names = [table.names[i] for i in used]
    clock_text, offset_s = dates.without_zone(clock_text)
    two = _two_fields(table, names[-1], cells.sample(clock_text), has_date, answers.time)
    seconds = dates.clock_seconds(clock_text, two)
    how = "date and clock" if has_date else "written with colons"
    fields = f", two fields read as {two}" if two else ""
    said = [f"time: column {' and '.join(map(repr, names))}, {how}{fields}"]
    if has_date:
        plain, lacks = dates.in_digits(days_text, answers.months, answers.year)
        if lacks:
            table.stop(f"no {lacks}", names[0], text=_short(days_text[0].as_py()))
        order, ordered = _date_order(table, plain, answers.day_first)
        days = dates.day_numbers(plain, order)
        if answers.year is not None:
            said.append(note("year told", year=answers.year))
        seconds = seconds + days * DAY_S
        said.append(ordered)
    if offset_s is not None:
        seconds = seconds - offset_s
        said.append(note("offsets"))
    return Clock(seconds, tuple(used), has_date, True, written, tuple(said))


def _short(text: str) -> str:
    return text if len(text) < 40 else text[:40] + " …"


def _shape(found: list[str]) -> str:
    dated = sum(map(dates.dated, found)) * 2 > len(found)
    timed = sum(":" in cell for cell in found) * 2 > len(found)
    return "stamp" if dated and timed else "date" if dated else "clock"


def _two_fields(
    table: LogTable, name: str, found: list[str], dated: bool, written: str | None
) -> str:
    """'h:min' or 'min:s' for cells with one colon, '' without such; asks where nothing tells."""
    two = [cell for cell in found if cell.count(":") == 1]
    if not two:
        return ""
    if written in ("h:min", "min:s"):
        return str(written)
    halves = any(re.search(r"[ap]\.?m", cell, re.I) for cell in two)
    if dated or halves or _H_MIN.search(name.casefold()):
        return "h:min"
    first = [int(cell.split(":")[0]) for cell in two if re.match(r"[0-9]{1,4}:", cell)]
    parts = any(mark in cell for cell in two for mark in ".,")
    if not (parts or max(first, default=0) > 23 or _MIN_S.search(name.casefold())):
        table.stop("two fields", name, text=_short(two[0]))
    return "min:s"


def _date_order(table: LogTable, days: pa.Array, day_first: bool | None) -> tuple[str, str]:
    unique = [text for text in days.unique().to_pylist() if text]
    order = dates.day_order(unique)
    if order == "both":
        table.stop("both orders")
    if order == "either" and day_first is not None:
        order = "dmy" if day_first else "mdy"
    if order in dates.ORDERS:
        return order, f"dates read as {dates.ORDERS[order]}"
    if len(unique) > 1:
        table.stop("either order", text=_short(unique[0]))
    return "dmy", note("one date")

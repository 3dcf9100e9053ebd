"""Which column is the time, how is it written, and how many seconds is that?"""

import re
from calendar import isleap
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from kit.errors import UnknownName
from kit.reading import cells
from kit.reading.columns import Table
from kit.reading.logs.table import ask, looks_like, unnumbered

TIME_WRITTEN = ("s", "min", "h", "ms", "days", "min:s", "h:min", "h:min:s")
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 1e-3, "days": 86400.0}
_UNITS = (
    ("ms", r"\bms\b|millisec"),
    ("s", r"\bs\b|\bsec|\bsek|second"),
    ("min", r"\bmins?\b|minute"),
    ("h", r"\bh\b|\bhrs?\b|hour|stunde"),
    ("days", r"\bdays?\b"),
)
_TIME_WORD = re.compile(
    r"time|elapsed|second|minute|hour|zeit|dauer|\bsec|\bmins?\b|\bs\b|^t\b(?!.*°)"
)
_MIN_S = re.compile(r"mm:ss|m:ss|min:s|m:s\b|elapsed|timer|dauer|stopwatch")
_H_MIN = re.compile(r"hh:mm|h:mm|h:min|clock|time of day|uhrzeit")
HALF_DAY_S, DAY_S, HALF_YEAR = 43_200.0, 86_400.0, 180


@dataclass(frozen=True)
class Clock:
    """Seconds of every row (nan where unreadable), the columns used, whether a date fixes the day, and what was understood."""

    seconds: np.ndarray
    columns: tuple[int, ...]
    dated: bool
    colons: bool
    written: tuple[pa.Array, ...]
    """the cells of those columns"""
    understood: tuple[str, ...]

    def stamp(self, at: int) -> str:
        """What the file writes as the time of one row of the table."""
        return " ".join(column[int(at)].as_py() for column in self.written)


def read_clock(
    table: Table,
    kinds,
    texts,
    *,
    written: str | None,
    day_first: bool | None,
    column: str | None = None,
    decimal_comma: bool | None,
    months=None,
    year: int | None = None,
    among=None,
) -> Clock:
    """The clock of the file, or the one of the columns `among`. Raises Faulty with the question where it cannot tell."""
    if written is not None and written not in TIME_WRITTEN:
        raise UnknownName("way of writing time", written, TIME_WRITTEN)
    if column is not None and column not in table.names:
        raise UnknownName("column", column, table.names)
    wanted = (
        [table.names.index(column)]
        if column
        else range(len(table.names))
        if among is None
        else among
    )
    timed = [i for i in wanted if kinds[i] == "time"]
    if timed:
        return _colon_clock(table, texts, timed, written, day_first, months, year)
    numeric = [
        i for i in wanted if kinds[i] == "number" and (column or counts_time(table.names[i]))
    ]
    if not numeric:
        raise ask(
            table,
            "no column is known as the time",
            f"name it: time_column='...'; there are {', '.join(table.names)}",
        )
    return _number_clock(table, texts, numeric[0], written, decimal_comma)


def counts_time(name: str) -> bool:
    """Does a column of numbers with this name count time?"""
    name = unnumbered(name)
    return (
        bool(
            _TIME_WORD.search(
                name.strip() if name.strip() in ("t", "T") else name.strip().casefold()
            )
        )
        and name.strip() != "T"
    )


def _number_clock(table, texts, i, written, decimal_comma) -> Clock:
    name = table.names[i]
    said = [unit for unit, pattern in _UNITS if re.search(pattern, name.casefold())]
    unit = written or (said[0] if said else None)
    if unit not in _SECONDS:
        raise ask(
            table,
            f"column {name!r} counts time in numbers, but not in which unit",
            "say time='s', 'min' or 'h'",
            name,
        )
    style = cells.comma_style([texts[i]], decimal_comma)
    if style in ("mixed", "unclear"):
        raise ask(
            table,
            f"commas in column {name!r} can be decimals or thousands",
            "say decimal_comma=True or False",
            name,
        )
    seconds = cells.numbers(texts[i], style) * _SECONDS[unit]
    return Clock(seconds, (i,), True, False, (), (f"time: column {name!r}, counted in {unit}",))


def _colon_clock(table, texts, timed, written, day_first, months, year) -> Clock:
    shapes = {i: _shape(cells.sample(texts[i], 200)) for i in timed}
    stamps, dates, clocks = (
        [i for i in timed if shapes[i] == shape] for shape in ("stamp", "date", "clock")
    )
    if stamps:
        used = (stamps[0],)
        days_text, clock_text = cells.split_stamp(texts[used[0]])
    elif clocks:
        used = (dates[0], clocks[0]) if dates else (clocks[0],)
        days_text, clock_text = (texts[dates[0]] if dates else None), texts[clocks[0]]
    else:
        raise ask(
            table,
            f"column {table.names[timed[0]]!r} holds dates without a time of day",
            "a log needs the time of each reading",
        )
    name = " and ".join(repr(table.names[i]) for i in used)
    clock_text, offset_s = cells.without_zone(clock_text)
    two = _two_fields(
        table, table.names[used[-1]], cells.sample(clock_text, 2000), days_text is not None, written
    )
    seconds = cells.clock_seconds(clock_text, two)
    how_written = "written with colons" if days_text is None else "date and clock"
    said = [f"time: column {name}, {how_written}" + (f", two fields read as {two}" if two else "")]
    if days_text is not None:
        plain = _in_numbers(table, days_text, months, year, table.names[used[0]])
        order, how = _date_order(table, plain, day_first)
        days = cells.date_days(plain, order)
        if year is not None:
            days = _through_new_year(days, year)
            said.append(f"dates without a year begin in {year}, as told")
        seconds = seconds + days * DAY_S
        said.append(how)
    if offset_s is not None:
        seconds = seconds - offset_s
        said.append(
            "offsets from UTC are written and taken off, so that a change of the clock moves nothing"
        )
    return Clock(
        seconds, used, days_text is not None, True, tuple(texts[i] for i in used), tuple(said)
    )


def _in_numbers(table, days_text, months, year, name):
    """Dates without names of months and with a year; asks for what is in none of them."""
    plain, lacks = cells.dates_in_numbers(days_text, months, year)
    if lacks == "month":
        raise ask(
            table,
            f"the month is written by a name that is not known, as in {_short(days_text[0].as_py())}",
            "say how the twelve begin, from January on: months='jan feb mar apr may jun jul aug sep oct nov dec'",
            name,
        )
    if lacks == "year":
        raise ask(
            table,
            f"dates such as {_short(days_text[0].as_py())} have no year",
            "say the year of the first row: year=2024",
            name,
        )
    return plain


def _through_new_year(days, year: int):
    """A year that was told holds until the dates jump from December to January, forward in the file or back."""
    known = np.flatnonzero(np.isfinite(days))
    jump = np.diff(days[known])
    days = days.copy()
    days[known[1:]] += np.cumsum(
        np.where(jump < -HALF_YEAR, 1, 0) - np.where(jump > HALF_YEAR, 1, 0)
    ) * (365.0 + isleap(year))
    return days


def _short(text) -> str:
    return repr(text if len(text) < 40 else text[:40] + " …")


def _shape(found: list[str]) -> str:
    dated = sum(map(cells.dated, found)) * 2 > len(found)
    timed = sum(":" in cell for cell in found) * 2 > len(found)
    return "stamp" if dated and timed else "date" if dated else "clock"


def _two_fields(table, name, found, dated, written) -> str:
    """ "h:min" or "min:s" for cells with one colon, "" when there are none; asks where nothing tells."""
    two = [cell for cell in found if cell.count(":") == 1]
    if not two:
        return ""
    if written in ("h:min", "min:s"):
        return written
    if (
        dated
        or any(re.search(r"[ap]\.?m", cell, re.I) for cell in two)
        or _H_MIN.search(name.casefold())
    ):
        return "h:min"
    first = [int(cell.split(":")[0]) for cell in two if re.match(r"[0-9]{1,4}:", cell)]
    if (
        _MIN_S.search(name.casefold())
        or max(first, default=0) > 23
        or any(mark in cell for cell in two for mark in ".,")
    ):
        return "min:s"
    raise ask(
        table,
        f"times such as {_short(two[0])} can be hours and minutes or minutes and seconds",
        "say time='h:min' or time='min:s'",
        name,
    )


def _date_order(table, days_text, day_first) -> tuple[str, str]:
    unique = [text for text in pa.array(days_text).unique().to_pylist() if text]
    hits = [hit.groups() for text in unique if (hit := cells.DATE.match(text))]
    if hits and all(len(first) == 4 for first, _, _ in hits):
        return "ymd", "dates read as year, month, day"
    if unique and all("." in text for text in unique):
        return "dmy", "dates read as day.month.year"
    day, month = (
        any(int(first) > 12 for first, _, _ in hits),
        any(int(second) > 12 for _, second, _ in hits),
    )
    if day and month:
        raise ask(
            table,
            "dates are written day first in some rows and month first in others",
            "make them alike, best as 2024-05-31",
        )
    if day or month or day_first is not None:
        first = day or (not month and bool(day_first))
        return (
            ("dmy", "dates read as day, month, year")
            if first
            else ("mdy", "dates read as month, day, year")
        )
    if len(unique) <= 1:
        return (
            "dmy",
            "one date only, so the order of day and month makes no difference to elapsed time",
        )
    raise ask(
        table,
        f"dates such as {_short(unique[0])} can be day/month or month/day",
        "say day_first=True or False",
    )


def column_kind(column: pa.Array) -> str:
    """The commonest kind of a column's cells."""
    kinds = [looks_like(cell) for cell in cells.sample(column, 200)]
    return max(("time", "number", "text"), key=kinds.count) if kinds else ""

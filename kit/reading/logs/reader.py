"""From a file to a LogReading: says what it understood, asks what it cannot tell, drops nothing silently."""

import re
from collections.abc import Sequence

import numpy as np

from kit.errors import need, need_between, need_known
from kit.logs import Issue, LogReading
from kit.reading import cells
from kit.reading.logs.clock import counts_time, read_clock
from kit.reading.logs.judge import judge, need_one_unit, put_in_order
from kit.reading.logs.parts import ChannelGroup, merged, parts_of, put_on_one_axis
from kit.reading.logs.table import Answers, LogTable, comma_of, read_table, unnumbered

UNITS = ("°C", "°F")
_UNIT_WORDS = {
    "°C": r"[°º] ?C\b|\bdeg\.? ?C\b|celsius|[\[(] ?C ?[\])]|(?:\btemp\w*|\bT|_)[ _.]*C$",
    "°F": r"[°º] ?F\b|\bdeg\.? ?F\b|fahrenheit|[\[(] ?F ?[\])]|(?:\btemp\w*|\bT|_)[ _.]*F$",
}
_TEMPERATURE = re.compile(
    r"temp(?!s\b|o\b)|core|kern|probe|batter|meat|product|house|oven|smoke|\bair\b|water|dry.?bulb|wet.?bulb|sensor|f.hler|"
    r"channel|kanal|\bch ?\d|\bT\d*\b|\bT_",
    re.I,
)
_OTHER = re.compile(
    r"humid|humed|humidit|umidit|vocht|wilgot|fugt|\brh\b|feuchte|%|\brpm\b|speed|\bkw\b|power|amp|volt|batter(?:y|ie)|\bbar\b|pressure|weight|\bkg\b|"
    r"^no\.?$|^nr\.?$|#|index|record|count|^id$|^row$|lethality",
    re.I,
)
_COMMAS = {"decimal": "decimal commas", "thousands": "commas group thousands"}
_ONLY_LABEL = re.compile(r"^\W*(channel|kanal|ch|\w+\W*(no|nr|number|id|name))\W*$", re.I)


def read_log(
    source,
    *,
    unit: str | None = None,
    time: str | None = None,
    decimal_comma: bool | None = None,
    day_first: bool | None = None,
    channels: Sequence[str] | None = None,
    time_column: str | None = None,
    sheet: str | None = None,
    months: str | None = None,
    year: int | None = None,
) -> LogReading:
    """Read a temperature log.

    source: a path, bytes, text with line breaks, or a DataFrame
    unit: "°C" or "°F", where the file does not say
    time: "s", "min", "h", "ms", "days", "min:s" or "h:min", where the file does not say
    decimal_comma: whether a comma is a decimal sign
    day_first: whether the day stands before the month
    channels: names of the columns wanted
    time_column: name of the column of times
    sheet: of a workbook
    months: how the twelve names begin, from January on, with blanks between
    year: where dates have none, 1970 to 2200; such a log is split at the new year
    Returns LogReading: seconds and °C of every channel, and what was understood.
    Raises Faulty with the question where it cannot tell, UnknownName, or OutOfRange.
    Source: the file.
    """
    if unit is not None:
        need_known("temperature unit", unit, UNITS)
    names = None if months is None else re.findall(r"[^\W\d]+", months)
    need(
        names is None or len(names) == 12,
        f"months names {len(names or ())}; give how the twelve begin, from January on, with blanks between",
    )
    if year is not None:
        remedy = "give the year of the first row in four digits"
        year = int(need_between("year", year, 1970, 2200, remedy))
    answers = Answers(unit, time, decimal_comma, day_first, channels, time_column, names, year)
    table = read_table(source, sheet)
    clock = read_clock(table, answers)
    chosen = _temperature_columns(table, clock.columns, channels)
    raw, turned, measured_in, style = _channels(table, chosen, answers)
    parts, said, used = parts_of(table, clock, chosen, raw, answers)

    issues = [Issue("torn row", np.array([n for n, _ in table.torn]))] if table.torn else []
    for part in parts:
        issues += _cell_issues(table, part, chosen, raw, turned)
    for part in parts:
        put_in_order(table, part, issues, said)
        part.degrees = raw[part.rows][:, [chosen.index(i) for i in part.columns]]
        need_one_unit(table, part)
    put_on_one_axis(table, parts)
    for part in parts:
        judge(table, part, issues, own_clock=len(parts) > 1)

    aside = set(range(len(table.names))) - {*chosen, *clock.columns, *used}
    left = [table.names[i] for i in sorted(aside)]
    first = min(parts, key=lambda part: part.seconds[0])
    said = [*table.notes, *clock.understood, *dict.fromkeys(said)]
    for i, one in zip(chosen, measured_in):
        how = ", turned to °C" if one == "°F" else ""
        said.append(f"temperature: column {table.names[i]!r} in {one}{how}")
    said += [_COMMAS[style]] if style in _COMMAS else []
    said += [f"left aside: {', '.join(left)}"] if left else []
    said += [_span_said(part, own_clock=len(parts) > 1) for part in parts]
    return LogReading(
        *merged(table, parts),
        channels=tuple(name for part in parts for name in part.names),
        first_stamp=first.clock.stamp(first.rows[0]),
        understood=tuple(said),
        issues=tuple(issues),
        file=table.file,
    )


def _span_said(part: ChannelGroup, own_clock: bool) -> str:
    whose, t = f"of {part.names[0]} " if own_clock else "", part.seconds
    usual = np.median(np.diff(t))
    return f"{t.size} readings {whose}over {(t[-1] - t[0]) / 60:.1f} min, usually {usual:g} s apart"


# --- columns and units ---


def _temperature_columns(
    table: LogTable, timed: Sequence[int], channels: Sequence[str] | None
) -> list[int]:
    if channels is not None:
        for name in channels:
            need_known("column", name, table.names)
        if not channels:
            table.stop("no channel", names=", ".join(table.names))
        return [table.names.index(name) for name in channels]
    written = {
        i: unnumbered(name)
        for i, name in enumerate(table.names)
        if table.kinds[i] == "number" and i not in timed and not counts_time(name)
    }
    with_unit = [i for i, name in written.items() if _units_in(name)]
    others = [i for i, name in written.items() if not _OTHER.search(name)]
    named = [
        i
        for i, name in written.items()
        if i in with_unit
        or i in others
        and _TEMPERATURE.search(name)
        and not (with_unit and _ONLY_LABEL.search(name))
    ]
    if not named and len(others) != 1:
        key = "no known temperature" if others else "no temperature"
        table.stop(key, names=", ".join(table.names))
    return named or others


def _units_in(name: str) -> list[str]:
    return [unit for unit, pattern in _UNIT_WORDS.items() if re.search(pattern, name, re.I)]


def _channels(
    table: LogTable, chosen: Sequence[int], answers: Answers
) -> tuple[np.ndarray, np.ndarray, list[str], str]:
    """The chosen columns in °C where they can be read; which cells write the other unit; the unit most of each is in; how commas were read."""
    bare = [cells.without_unit(table.columns[i]) for i in chosen]
    style = comma_of(table, [text for text, _, _ in bare], answers, "the temperatures")
    degrees, other, units = [], [], []
    for i, (text, with_C, with_F) in zip(chosen, bare, strict=True):
        units.append(_unit(table, table.names[i], with_C, with_F, answers.unit))
        fahrenheit = with_F | (~with_C & (units[-1] == "°F"))
        numbers = cells.numbers(text, style)
        degrees.append(np.where(fahrenheit, (numbers - 32) / 1.8, numbers))
        other.append(with_F if units[-1] == "°C" else with_C)
    return np.column_stack(degrees), np.column_stack(other), units, style


def _unit(table: LogTable, name: str, with_C, with_F, declared: str | None) -> str:
    written = _units_in(unnumbered(name))
    written = written or [u for u, mask in zip(UNITS, (with_C, with_F)) if mask.any()]
    if len(written) == 2:
        written = [UNITS[int(with_F.sum() > with_C.sum())]]
    if not written:
        above = {u: rf"(?im){p}|\bunit\w*\W+{u[1]}\b" for u, p in _UNIT_WORDS.items()}
        written = [u for u, pattern in above.items() if re.search(pattern, table.above)]
    if declared and written and written[0] != declared:
        table.stop("other unit", name, written=written[0], declared=declared)
    if not declared and len(written) != 1:
        table.stop("no unit of temperature", name, title=name)
    return declared or written[0]


def _cell_issues(
    table: LogTable, part: ChannelGroup, chosen: Sequence[int], raw: np.ndarray, turned: np.ndarray
) -> list[Issue]:
    issues = []
    for name, i in zip(part.names, part.columns):
        lost, empty = np.isnan(raw[:, chosen.index(i)]), cells.empty_cells(table.columns[i])
        for kind, mask in (
            ("no reading", lost & empty),
            ("unreadable", lost & ~empty),
            ("unit change", turned[:, chosen.index(i)]),
        ):
            if mask[part.rows].any():
                issues.append(Issue(kind, table.row[part.rows[mask[part.rows]]], name))
    return issues

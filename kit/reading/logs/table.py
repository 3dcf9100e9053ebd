"""Where is the table in this log: separator, header rows, and columns as text?

A log is known by its rows of data, for its header is in any language or missing.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import pyarrow as pa

from kit.reading.cells import ColumnTable, as_text, comma_style, sample
from kit.reading.columns import only_table
from kit.reading.dates import dated
from kit.reading.shapes import FileLimits, Form, FoundTable, unique_names
from kit.tables import value

WHAT = "temperature log"
LIMITS = FileLimits((), 1_000_000_000, "split the log into several files")
_NUMBER = re.compile(
    r"[+\-−]?\d[\d.,]*(?:[eE][+-]?\d+)?\s*(?:[°º]?\s*(?:[CFK]|deg ?[CF])|%)?$", re.I
)
_TIME = re.compile(r"\d{1,4}:\d{2}")
_NUMBERED = re.compile(r" \(\d+\)$")


@dataclass(frozen=True)
class LogTable(ColumnTable):
    """Columns of text with their kinds."""

    kinds: tuple[str, ...] = ()
    """commonest kind of each column's cells: number, time, text, or '' without any"""


@dataclass(frozen=True)
class Answers:
    """What a person said of a log where it does not say it itself; see `read_log`."""

    unit: str | None = None
    time: str | None = None
    decimal_comma: bool | None = None
    day_first: bool | None = None
    channels: Sequence[str] | None = None
    time_column: str | None = None
    months: Sequence[str] | None = None
    year: int | None = None


def read_table(source, sheet: str | None = None) -> LogTable:
    """The table of a path, bytes, text, or a table in memory; Faulty where there is none."""
    if hasattr(source, "to_csv"):
        source = source.to_csv(index=bool(source.index.name))
    sheets = () if sheet is None else (sheet,)
    longest = int(value("log_longest_cell"))
    form = Form(LIMITS, _find, "no log", WHAT, 80, "\t;|, ", sheets, typed=False, longest=longest)
    table = only_table(source, "", form, torn=True)
    columns = tuple(map(as_text, table.columns))
    kinds = tuple(map(_column_kind, columns))
    return LogTable(**{**vars(table), "columns": columns}, kinds=kinds)


def comma_of(table: LogTable, columns: Sequence[pa.Array], answers: Answers, where: str) -> str:
    """How these columns use commas, as cells.numbers takes it; asks where they do not tell."""
    style = comma_style(columns, answers.decimal_comma)
    if style in ("mixed", "unclear"):
        table.stop(f"{style} commas", where=where)
    return style


def _column_kind(column: pa.Array) -> str:
    kinds = [looks_like(cell) for cell in sample(column, 200)]
    return max(("time", "number", "text"), key=kinds.count) if kinds else ""


def unnumbered(name: str) -> str:
    """The column's name as the file writes it, where equal names were numbered."""
    return _NUMBERED.sub("", name)


def looks_like(cell: str) -> str:
    """'number', 'time' (clock, elapsed or date), 'text' or ''."""
    cell = cell.strip()
    if not cell:
        return ""
    if _TIME.search(cell) or dated(cell):
        return "time"
    return "number" if _NUMBER.match(cell) else "text"


# --- header and first row of data ---


def _find(rows: Sequence[Sequence[str]]) -> FoundTable | None:
    """The table of the most rows of data: two numbers or times and more, in as many cells."""
    kinds = [[looks_like(cell) for cell in row] for row in rows]
    data = [n for n, row in enumerate(kinds) if row.count("number") + row.count("time") >= 2]
    if not data:
        return None
    width = Counter(len(rows[n]) for n in data).most_common(1)[0][0]
    data = [n for n in data if len(rows[n]) == width]
    steady = (n for n, after in pairwise(data) if _alike(kinds[n], kinds[after]))
    first = next(steady, data[-1])
    names, header = _header(rows, first, width)
    twice = (
        f"{n} columns are called {name!r}: numbered from the left, none is left out"
        for name, n in Counter(names).items()
        if n > 1
    )
    return FoundTable((len(data),), first, unique_names(names), (header, *twice))


def _alike(one: list[str], other: list[str]) -> bool:
    """No cell against its kind, and two of a kind; one is enough where blanks stand."""
    pairs = list(zip(one, other, strict=True))
    same = sum(a == b != "" for a, b in pairs)
    fits = all(a == b or "" in (a, b) or "text" in (a, b) for a, b in pairs)
    return fits and same >= 2 - ("" in one or "" in other)


def _header(rows: Sequence[Sequence[str]], first: int, width: int) -> tuple[tuple[str, ...], str]:
    """Column names from the one or two text rows above the data, as many cells wide."""
    above: list[list[str]] = []
    for cells in reversed(rows[:first]):
        row = [cell.strip() for cell in cells]
        kinds = [looks_like(cell) for cell in row if cell]
        if not kinds and not above:
            continue
        texts = kinds.count("text")
        wide = abs(len(row) - width) <= 1 and len(kinds) >= min(2, width)
        wide = wide or (len(row) == width and texts == len(kinds))
        mostly_text = texts == len(kinds) if above else texts * 2 >= len(kinds)
        if len(above) == 2 or not wide or "time" in kinds or not mostly_text:
            break
        above.insert(0, row)
    parts = [[row[n] for row in above if n < len(row) and row[n]] for n in range(width)]
    names = tuple(" ".join(part) or f"column {n}" for n, part in enumerate(parts, 1))
    said = f"header above row {first + 1}: {' | '.join(names)}" if above else "no header row"
    return names, said

"""Where is the table in this log: separator, header rows, and columns as text?

A log is known by its rows of data, for its header is in any language or missing.
"""

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import pyarrow as pa

from kit.errors import Fault, Faulty
from kit.faults import Cell, Faults
from kit.reading.cells import sample
from kit.reading.columns import parse_rows
from kit.reading.opener import is_workbook, load, pages_of, utf8
from kit.reading.shapes import Layout, Limits, Page, Table
from kit.reading.workbook import cell_text
from kit.tables import value

WHAT = "temperature log"
LIMITS = Limits((), 1_000_000_000, "split the log into several files")
SEPARATORS = {"\t": "tab", ";": "semicolon", "|": "bar", ",": "comma", " ": "space"}
_SAMPLE_LINES, _SAMPLE_BYTES = 80, 200_000
_NUMBER = re.compile(
    r"[+\-−]?\d[\d.,]*(?:[eE][+-]?\d+)?\s*(?:[°º]?\s*(?:[CFK]|deg ?[CF])|%)?$", re.I
)
_TIME = re.compile(r"\d{1,4}:\d{2}")
_MONTH = r"(?:jan|ene|feb|mar|mär|mrz|apr|abr|may|mai|jun|jul|aug|ago|sep|oct|okt|nov|dec|dez|dic)[^\W\d]{0,7}\.?"
_DATE = re.compile(
    r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}(?!\d)|\d{1,2}(/\d{1,2}|\.\d{1,2}\.)$|"
    r"\d{1,2}[-. /]{1,2}[^\W\d]{3,12}\.?[-, /]{1,2}\d{2,4}(?!\d)|[^\W\d]{3,12}\.? \d{1,2},? \d{4}(?!\d)|"
    rf"\d{{1,2}}[-. ]{{1,2}}{_MONTH}$|{_MONTH} \d{{1,2}}$",
    re.I,
)
_NUMBERED = re.compile(r" \(\d+\)$")


@dataclass(frozen=True)
class LogTable(Table):
    """Columns of text with their kinds, and the lines above them."""

    preamble: str = ""
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


def ask(table: Table, what: str, remedy: str, column: str = "", row: int | None = None) -> Faulty:
    """The error that asks for what a log does not say, or says what is wrong in it."""
    fault = Fault(what, column=column, row=row, file=table.file, sheet=table.sheet, remedy=remedy)
    return Faulty(WHAT, [fault])


def read_table(source, sheet: str | None = None) -> LogTable:
    """The table of a path, bytes, text or pandas DataFrame.

    Faulty where there is no table of times and temperatures.
    """
    if hasattr(source, "to_csv"):
        source = source.to_csv(index=bool(source.index.name))
    whole, name = load(source, "", LIMITS)
    faults, title = Faults(name, WHAT), ""
    if is_workbook(whole):
        page = _page(pages_of(whole, faults, LIMITS), sheet, faults)
        body, notes, title = _as_text(page), (f"sheet {page.title}", *page.notes), page.title
    else:
        body, notes = utf8(whole, faults)
    if not body.strip():
        what = "the log is empty: there is nothing in it"
        faults.stop(what, Cell(None, sheet=title), remedy="export it again from the logger")
    layout, preamble = _layout(body, faults, title)
    if layout.separator == " ":
        body = re.sub(rb"(?m)^ +| +$", b"", re.sub(rb" +", b" ", body))
    first = layout.header_row + 1
    table = parse_rows(_from_row(body, first), layout, name, first)
    table = replace(table, sheet=title, notes=(*notes, *layout.notes))
    kinds = tuple(_column_kind(column) for column in table.columns)
    return LogTable(**vars(table), preamble=preamble, kinds=kinds)


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
    if _TIME.search(cell) or _DATE.match(cell):
        return "time"
    return "number" if _NUMBER.match(cell) else "text"


# --- workbooks ---


def _page(pages: list[Page], sheet: str | None, faults: Faults) -> Page:
    filled = {page.title: page for page in pages if len(page.rows) > 1}
    names = ", ".join(filled)
    if sheet is None and len(filled) != 1:
        what = f"the workbook has {len(filled)} filled sheets: {names}"
        faults.stop(what, remedy="say which one: sheet='...'")
    title = sheet or next(iter(filled))
    if title not in filled:
        faults.stop(f"there is no filled sheet {title!r}", remedy=f"there are: {names}")
    return filled[title]


def _as_text(page: Page) -> bytes:
    width = max(len(row) for row in page.rows)
    text = io.StringIO()
    writer = csv.writer(text, delimiter="\t", lineterminator="\n")
    for row in page.rows:
        cells = [cell_text(value).replace("\t", " ") for value in row]
        writer.writerow([*cells, *[""] * (width - len(cells))])
    return text.getvalue().encode()


# --- separator, header and first row of data ---


def _layout(body: bytes, faults: Faults, sheet: str) -> tuple[Layout, str]:
    """The layout that fits most of the first rows, and the lines above the data."""
    lines = body[:_SAMPLE_BYTES].decode("utf-8", "replace").split("\n")[:_SAMPLE_LINES]
    longest = int(value("log_longest_cell"))
    for number, line in enumerate(lines, 1):
        if len(line) > longest and max(map(len, re.split(r"[\t;|,]", line))) > longest:
            what = f"a cell of this row holds more than {longest:,} characters"
            remedy = "look for an unclosed quotation mark, or text pasted into a cell"
            faults.stop(what, Cell(None, number, sheet=sheet), remedy=remedy)
    found = []
    for order, separator in enumerate(SEPARATORS):
        rows = [_split(line, separator) for line in lines]
        hit = _data_start(rows)
        if hit:
            score, first, width = hit
            found.append((score, -order, separator, first, width, rows))
    if not found:
        faults.stop(
            "no table of times and temperatures was found in the first rows",
            Cell(None, sheet=sheet),
            remedy="one row per reading, a time and at least one temperature, separated by ; tab or comma",
        )
    # a stamp such as 2031-03-04 07:42:00 holds a space of its own: spaces part the columns only
    # where no mark does it for half as many rows
    most = max(score for score, *_ in found)
    marked = [hit for hit in found if hit[2] != " " and hit[0] * 2 >= most]
    _, _, separator, first, width, rows = max(marked or found)
    names, header = _header(rows, first, width)
    names, twice = _told_apart(names)
    notes = (f"columns separated by {SEPARATORS[separator]}", header, *twice)
    return Layout(separator, first, names, 0, notes), "\n".join(lines[:first])


def _from_row(body: bytes, row: int) -> bytes:
    start = 0
    for _ in range(row - 1):
        start = body.index(b"\n", start) + 1
    return body[start:]


def _split(line: str, separator: str) -> list[str]:
    if separator == " ":
        return line.split()
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:  # a bare return or a sign that no table holds
        return line.split(separator)


def _data_start(rows: list[list[str]]) -> tuple[int, int, int] | None:
    """(rows of data in the sample, first of them, cells per row), or None.

    Data: at least two numbers or times, in the same number of cells.
    """
    kinds = [[looks_like(cell) for cell in row] for row in rows]
    data = [n for n, row in enumerate(kinds) if row.count("number") + row.count("time") >= 2]
    if not data:
        return None
    width = Counter(len(rows[n]) for n in data).most_common(1)[0][0]
    data = [n for n in data if len(rows[n]) == width]
    steady = (n for n, after in pairwise(data) if _alike(kinds[n], kinds[after]))
    return len(data), next(steady, data[-1]), width


def _alike(one: list[str], other: list[str]) -> bool:
    """No cell against its kind, and two of a kind.

    One is enough where blanks stand, as in rows that hold now one channel and now another.
    """
    pairs = list(zip(one, other, strict=True))
    same = sum(a == b != "" for a, b in pairs)
    fits = all(a == b or "" in (a, b) or "text" in (a, b) for a, b in pairs)
    return fits and same >= 2 - ("" in one or "" in other)


def _header(rows: list[list[str]], first: int, width: int) -> tuple[tuple[str, ...], str]:
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
        if not wide or "time" in kinds or not mostly_text:
            break
        above.insert(0, row)
        if len(above) == 2:
            break
    if not above:
        return tuple(f"column {n}" for n in range(1, width + 1)), "no header row"
    names = []
    for n in range(width):
        parts = [row[n] for row in above if n < len(row) and row[n]]
        names.append(" ".join(parts) or f"column {n + 1}")
    return tuple(names), f"header above row {first + 1}: {' | '.join(names)}"


def _told_apart(names: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Equal names numbered from the left, and a line for each."""
    count, seen = Counter(names), Counter[str]()
    found: list[str] = []
    for name in names:
        new = name
        while new in found or count[new] > 1 or new != name and new in count:
            seen[name] += 1
            new = f"{name} ({seen[name]})"
        found.append(new)
    twice = (
        f"{n} columns are called {name!r}: numbered from the left, none is left out"
        for name, n in count.items()
        if n > 1
    )
    return tuple(found), tuple(twice)

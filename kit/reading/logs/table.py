"""Where is the table in this file: encoding, separator, header row, columns as text?"""

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from kit.errors import Fault, Faulty
from kit.tables import value

SEPARATORS = {"\t": "tab", ";": "semicolon", "|": "bar", ",": "comma", " ": "space"}
_SAMPLE_LINES = 80
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
class TextTable:
    """Columns of text as they stand in the file; `row` is the file's own row number of each (first row 1)."""

    names: tuple[str, ...]
    columns: tuple[pa.Array, ...]
    row: np.ndarray
    preamble: str
    torn: tuple[tuple[int, str], ...]
    understood: tuple[str, ...]
    file: str = ""
    sheet: str = ""
    separator: str = ""


def read_table(source, sheet: str | None = None) -> TextTable:
    """A TextTable from a path (.csv .tsv .txt .xlsx), bytes, text with line breaks, or a pandas DataFrame. Faulty when there is none."""
    if hasattr(source, "to_csv"):
        return _from_text(source.to_csv(index=bool(source.index.name)), "table")
    if isinstance(source, bytes):
        return _from_bytes(source, "", sheet)
    if isinstance(source, str) and ("\n" in source or "\r" in source):
        return _from_text(source, "")
    path = Path(source)
    if not path.is_file():
        raise Faulty(
            "temperature log",
            [
                Fault(
                    f"there is no file {path.name!r}",
                    file=path.name,
                    remedy="check the name and the folder",
                )
            ],
        )
    return _from_bytes(path.read_bytes(), path.name, sheet)


def unnumbered(name: str) -> str:
    """The column's name as the file writes it, where equal names were numbered."""
    return _NUMBERED.sub("", name)


def looks_like(cell: str) -> str:
    """ "number", "time" (clock, elapsed or date), "text" or ""."""
    cell = cell.strip()
    if not cell:
        return ""
    if _TIME.search(cell) or _DATE.match(cell):
        return "time"
    return "number" if _NUMBER.match(cell) else "text"


def _from_bytes(raw: bytes, name: str, sheet: str | None) -> TextTable:
    if raw[:4] == b"PK\x03\x04":
        return _from_workbook(raw, name, sheet)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _from_text(raw.decode("utf-16"), name)
    try:
        return _from_text(raw.decode("utf-8-sig"), name)
    except UnicodeDecodeError:
        return _from_text(
            raw.decode("cp1252", errors="replace"), name, ("letters read as Windows Western text",)
        )


def _from_workbook(raw: bytes, name: str, sheet: str | None) -> TextTable:
    from openpyxl import load_workbook

    try:
        book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
    except Exception as cause:
        raise Faulty(
            "temperature log",
            [
                Fault(
                    f"the workbook cannot be opened ({type(cause).__name__})",
                    file=name,
                    remedy="save it again as .xlsx or .csv",
                )
            ],
        ) from None
    pages = {
        page.title: [[_cell(cell) for cell in row] for row in page.iter_rows(values_only=True)]
        for page in book.worksheets
    }
    filled = {title: rows for title, rows in pages.items() if len(rows) > 1}
    if sheet is None and len(filled) != 1:
        raise Faulty(
            "temperature log",
            [
                Fault(
                    f"the workbook has {len(filled)} filled sheets: {', '.join(filled)}",
                    file=name,
                    remedy="say which one: sheet='...'",
                )
            ],
        )
    title = sheet or next(iter(filled))
    if title not in filled:
        raise Faulty(
            "temperature log",
            [
                Fault(
                    f"there is no filled sheet {title!r}",
                    file=name,
                    remedy=f"there are: {', '.join(filled)}",
                )
            ],
        )
    text = io.StringIO()
    csv.writer(text, delimiter="\t", lineterminator="\n").writerows(filled[title])
    return _from_text(text.getvalue(), name, (f"sheet {title}",), title)


def _cell(value) -> str:
    if value is None:
        return ""
    if hasattr(value, "isoformat"):
        return (
            value.isoformat(sep=" ")
            if hasattr(value, "hour") and hasattr(value, "year")
            else value.isoformat()
        )
    if hasattr(value, "total_seconds"):
        seconds = value.total_seconds()
        return f"{int(seconds // 3600)}:{int(seconds % 3600 // 60):02d}:{seconds % 60:06.3f}"
    return repr(value) if isinstance(value, float) else str(value).replace("\t", " ")


def _from_text(
    text: str, name: str, understood: tuple[str, ...] = (), sheet: str = ""
) -> TextTable:
    if not text or text.isspace():
        raise Faulty(
            "temperature log",
            [
                Fault(
                    "the log is empty: there is nothing in it",
                    file=name,
                    sheet=sheet,
                    remedy="export it again from the logger",
                )
            ],
        )
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text[:200_000].split("\n")[:_SAMPLE_LINES]
    longest = int(value("log_longest_cell"))
    for number, line in enumerate(lines, 1):
        if len(line) > longest and max(map(len, re.split(r"[\t;|,]", line))) > longest:
            raise Faulty(
                "temperature log",
                [
                    Fault(
                        f"a cell of this row holds more than {longest:,} characters",
                        row=number,
                        file=name,
                        sheet=sheet,
                        remedy="look for an unclosed quotation mark, or text pasted into a cell",
                    )
                ],
            )
    found = [
        (score, -order, separator, first, width)
        for order, separator in enumerate(SEPARATORS)
        if (hit := _data_start(lines, separator))
        for score, first, width in [hit]
    ]
    if not found:
        raise Faulty(
            "temperature log",
            [
                Fault(
                    "no table of times and temperatures was found in the first rows",
                    file=name,
                    sheet=sheet,
                    remedy="one row per reading, a time and at least one temperature, separated by ; tab or comma",
                )
            ],
        )
    _, _, separator, first, width = max(_without_spaces_of_stamps(found))
    names, header = _header(lines, separator, first, width)
    names, twice = _told_apart(names)
    if separator == " ":
        text = re.sub(r"(?m)^ +| +$", "", re.sub(r" +", " ", text))
    torn: list[tuple[int, str]] = []
    columns = _columns(text, separator, first, width, torn)
    row = np.arange(first + 1, first + 1 + len(columns[0]) + len(torn))
    if torn:
        row = np.setdiff1d(row, [number for number, _ in torn], assume_unique=True)
    columns, row = _without_blank_rows(columns, row)
    said = (*understood, f"columns separated by {SEPARATORS[separator]}", header, *twice)
    return TextTable(
        names,
        columns,
        row,
        "\n".join(lines[:first]),
        tuple((n, t) for n, t in torn if t.strip(separator + " \r\n")),
        said,
        name,
        sheet,
        separator,
    )


def _told_apart(names: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Equal names numbered from the left, and a line for each."""
    count, seen, found = Counter(names), Counter(), []
    for name in names:
        new = name
        while new in found or count[new] > 1 or new != name and new in count:
            seen[name] += 1
            new = f"{name} ({seen[name]})"
        found.append(new)
    return tuple(found), tuple(
        f"{n} columns are called {name!r}: numbered from the left, none is left out"
        for name, n in count.items()
        if n > 1
    )


def _without_spaces_of_stamps(found):
    """A stamp such as 2031-03-04 07:42:00 holds a space of its own: spaces part the columns only where no mark does it for half as many rows."""
    most = max(score for score, *_ in found)
    marked = [hit for hit in found if hit[2] != " " and hit[0] * 2 >= most]
    return marked or found


def _columns(text, separator, first, width, torn):
    """All rows from `first` on as text columns. Rows of another width go to `torn` with their row number."""
    names = [str(i) for i in range(width)]
    seen = 0

    def keep(row):
        nonlocal seen
        torn.append((row.number, row.text or ""))
        return "skip"

    body = text.encode()
    start = 0
    for _ in range(first):
        start = body.index(b"\n", start) + 1
    body = body[start:] if body.endswith(b"\n") else body[start:] + b"\n"
    try:
        table = pacsv.read_csv(
            io.BytesIO(body),
            read_options=pacsv.ReadOptions(
                column_names=names, use_threads=False, block_size=1 << 24
            ),
            parse_options=pacsv.ParseOptions(
                delimiter=separator, ignore_empty_lines=False, invalid_row_handler=keep
            ),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid as cause:
        raise Faulty(
            "temperature log",
            [
                Fault(
                    f"the table cannot be read: {str(cause)[:200]}",
                    remedy="look for an unclosed quotation mark or a very long cell",
                )
            ],
        ) from None
    torn[:] = [(number + first, line) for number, line in torn]
    return tuple(table.column(i).combine_chunks() for i in range(width))


def _without_blank_rows(columns, row):
    blank = np.ones(row.size, dtype=bool)
    for column in columns:
        blank &= pc.equal(pc.binary_length(column), 0).to_numpy(zero_copy_only=False)
        if not blank.any():
            return columns, row
    keep = pa.array(~blank)
    return tuple(column.filter(keep) for column in columns), row[~blank]


def _split(line: str, separator: str) -> list[str]:
    if separator == " ":
        return line.split()
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:  # a bare return or a sign that no table holds
        return line.split(separator)


def _data_start(lines, separator) -> tuple[int, int, int] | None:
    """(rows of data in the sample, first of them, cells per row), or None. Data: at least two numbers or times, in the same number of cells."""
    cells = [_split(line, separator) for line in lines]
    kinds = [[looks_like(cell) for cell in row] for row in cells]
    data = [
        i for i, row in enumerate(kinds) if sum(kind in ("number", "time") for kind in row) >= 2
    ]
    if not data:
        return None
    width = Counter(len(cells[i]) for i in data).most_common(1)[0][0]
    data = [i for i in data if len(cells[i]) == width]
    steady = [
        i for n, i in enumerate(data) if n + 1 == len(data) or _alike(kinds[i], kinds[data[n + 1]])
    ]
    return len(data), steady[0], width


def _alike(one, other) -> bool:
    """No cell against its kind, and two of a kind; one is enough where blanks stand, as in rows that hold now one channel and now another."""
    pairs = list(zip(one, other, strict=True))
    return all(a == b or "" in (a, b) or "text" in (a, b) for a, b in pairs) and sum(
        a == b != "" for a, b in pairs
    ) >= 2 - ("" in one or "" in other)


def _header(lines, separator, first, width) -> tuple[tuple[str, ...], str]:
    """Column names from the one or two text rows above the data, as many cells wide."""
    above, at = [], first - 1
    while at >= 0 and len(above) < 2:
        row = [cell.strip() for cell in _split(lines[at], separator)]
        kinds = [looks_like(cell) for cell in row if cell]
        if not kinds and not above:
            at -= 1
            continue
        texts = kinds.count("text")
        wide = (abs(len(row) - width) <= 1 and len(kinds) >= min(2, width)) or (
            len(row) == width and texts == len(kinds)
        )
        if not wide or "time" in kinds or texts * 2 < len(kinds) or (above and texts < len(kinds)):
            break
        above.insert(0, row)
        at -= 1
    if not above:
        return tuple(f"column {i + 1}" for i in range(width)), "no header row"
    names = [
        " ".join(row[i] for row in above if i < len(row) and row[i]) or f"column {i + 1}"
        for i in range(width)
    ]
    return tuple(names), f"header above row {first + 1}: {' | '.join(names)}"

"""Where are the rows in this file? CSV, workbook, Parquet or DataFrame become columns with the file's own row numbers."""
import csv
import io
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from kit.errors import Fault, Faulty, KitError
from kit.records.words import read_header
from kit.sheet.encoding import text_of
from kit.sheet.records import Faults

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".parquet")
MAX_BYTES, MAX_WORKBOOK_BYTES, MAX_UNPACKED, MAX_COLUMNS = 2_000_000_000, 100_000_000, 1_000_000_000, 500
LOOKED_AT = 40
"""rows searched for the header"""


@dataclass(frozen=True)
class Table:
    """Columns of text, numbers or time stamps. `row` is each row's number as the person counts it (Parquet: as if under a header)."""

    file: str
    sheet: str
    names: tuple[str, ...]
    columns: tuple[pa.Array, ...]
    row: np.ndarray
    header_row: int
    torn: tuple[tuple[int, str], ...] = ()
    """(row, its text) with another number of cells than the header"""
    blank: int = 0
    covered: tuple[tuple[int, str, str], ...] = ()
    """(row, column, area) hidden under a merged cell"""
    unsaved: tuple[tuple[int, str], ...] = ()
    """(row, column) of formulas whose value was never saved"""
    notes: tuple[str, ...] = ()

    def column(self, name: str) -> pa.Array:
        return self.columns[self.names.index(name)]


def open_tables(source, name: str = "", header_row: int | None = None, sheets: tuple[str, ...] = (), decimal: str | None = None) -> list[Table]:
    """The tables of a path, bytes or text (with the file's `name`), or a DataFrame. Raises Faulty where there is none."""
    if hasattr(source, "to_parquet"):
        return [_typed(_arrow(source), name or "table")]
    if isinstance(source, str) and "\n" in source:
        source = source.encode("utf-8", "surrogatepass")
    if isinstance(source, (bytes, bytearray, memoryview)):
        return _from_bytes(bytes(source), name, header_row, sheets, decimal)
    if not isinstance(source, (str, Path)):
        raise KitError(f"records cannot be read from a {type(source).__name__}; give a path, text, bytes with a file name, or a DataFrame")
    path, faults = Path(source), Faults(Path(source).name)
    need_suffix(path, faults)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            faults.stop(f"the file holds {size:,} bytes; the limit here is {MAX_BYTES:,}", remedy="read it with read_large, which keeps only a part in memory")
        return _from_bytes(path.read_bytes(), path.name, header_row, sheets, decimal)
    except OSError as cause:
        return faults.stop(f"the file cannot be opened ({cause.strerror})", remedy="check the name and the folder")
    except ValueError as cause:
        if isinstance(cause, KitError):
            raise
        return faults.stop("the path holds a character that no file name can hold", remedy="check the name and the folder")


def need_suffix(path: Path, faults: Faults) -> None:
    if path.suffix.lower() not in SUFFIXES:
        faults.stop(f"{path.name[:80]!r} ends in {path.suffix[:20]!r}; records are read from {', '.join(SUFFIXES)}", remedy="save it as one of these")


def _from_bytes(whole: bytes, name: str, header_row, sheets, decimal) -> list[Table]:
    if whole.startswith(b"PK\x03\x04"):
        return _from_workbook(whole, name, header_row, sheets, decimal)
    if whole.startswith(b"PAR1"):
        return [_from_parquet(whole, name)]
    return [_from_csv(whole, name, header_row)]


# --- CSV ---

@dataclass(frozen=True)
class Layout:
    """How the rows of a CSV are to be taken apart."""

    separator: str
    header_row: int
    names: tuple[str, ...]
    start: int
    """bytes before the first row below the header"""
    notes: tuple[str, ...]


def _from_csv(whole: bytes, name: str, header_row) -> Table:
    faults = Faults(name)
    text_of(whole, MAX_BYTES, faults)
    whole = whole.removeprefix(b"\xef\xbb\xbf")
    if b"\n" not in whole:
        whole = whole.replace(b"\r", b"\n")
    layout = csv_layout(whole[:1_000_000], faults, header_row)
    return parse_rows(whole[layout.start:], layout, name, layout.header_row + 1)


def csv_layout(head: bytes, faults: Faults, header_row: int | None = None) -> Layout:
    """Separator, header and names from the first bytes of a file."""
    ends = list(_row_ends(head, LOOKED_AT if header_row is None else max(LOOKED_AT, header_row)))
    text = head[:ends[-1] if ends else None].decode("utf-8", "replace")
    found = []
    for order, separator in enumerate(SEPARATORS):
        try:
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        except csv.Error:
            continue
        at = header_row - 1 if header_row else find_header(rows)
        if at is not None and at < len(rows) and len(rows[at]) > 1:
            usual = Counter(map(len, rows[at:])).most_common(1)[0][0]
            found.append((len(rows[at]) == usual, _known(rows[at]), len(rows[at]), -order, separator, at, rows[at]))
    if not found:
        faults.stop("no table was found in the first rows", remedy="one row of headers, and below it one row for each weighing or each batch; or say header_row")
    *_, separator, at, header = max(found)
    if at >= len(ends) and at > 0:
        faults.stop("there are no rows below the header", remedy="check that the file is the entire table")
    start = ends[at] if at < len(ends) else len(head)
    if len(header) > MAX_COLUMNS:
        faults.stop(f"the table has {len(header)} columns; the limit is {MAX_COLUMNS}", remedy="take out what is not needed")
    notes = (f"columns separated by {SEPARATORS[separator]}, headers in row {at + 1}",)
    return Layout(separator, at + 1, _unique(header), start, notes)


def parse_rows(body: bytes, layout: Layout, name: str, first_row: int) -> Table:
    """Rows of a CSV as text columns; the first of them is row `first_row` of the file."""
    columns = [str(n) for n in range(len(layout.names))]
    torn: list[tuple[int, str]] = []

    def keep(row):
        torn.append((row.number + first_row - 1, row.text or ""))
        return "skip"

    if not body.endswith(b"\n"):
        body += b"\n"
    quoted = b'"' in body
    try:
        read = pacsv.read_csv(pa.BufferReader(body), read_options=pacsv.ReadOptions(column_names=columns, use_threads=False, block_size=1 << 24),
                              parse_options=pacsv.ParseOptions(delimiter=layout.separator, ignore_empty_lines=False, newlines_in_values=quoted,
                                                               invalid_row_handler=keep),
                              convert_options=pacsv.ConvertOptions(column_types=dict.fromkeys(columns, pa.string()), strings_can_be_null=False))
    except pa.ArrowInvalid as cause:
        if "Empty CSV" not in str(cause):
            raise Faulty(f"{name or 'The file'} cannot be read",
                         [Fault(f"the table cannot be taken apart: {str(cause)[:200]}", file=name, remedy="look for a quotation mark that is never closed")]) from None
        read = pa.table({column: pa.array([], pa.string()) for column in columns})
    row = np.arange(first_row, first_row + read.num_rows + len(torn))
    if torn:
        row = np.setdiff1d(row, [number for number, _ in torn], assume_unique=True)
    columns = tuple(_as_written(pc.utf8_trim_whitespace(read.column(n).combine_chunks())) for n in range(len(columns)))
    columns, row, blank = _without_blank(columns, row)
    full = tuple((n, text) for n, text in torn if text.strip(layout.separator + ' \r\n"'))
    return Table(name, "", layout.names, columns, row, layout.header_row, full, blank + len(torn) - len(full), notes=layout.notes)


def _as_written(column: pa.Array) -> pa.Array:
    """Without the apostrophe that the kit, and others, set before what a spreadsheet could run."""
    if pc.any(pc.starts_with(column, "'")).as_py():
        return pc.replace_substring_regex(column, r"^'([=+\-@\t\r'])", r"\1")
    return column


def _row_ends(body: bytes, count: int) -> Iterator[int]:
    """Where each of the first `count` rows ends; a line end inside quotes ends no row."""
    at = quotes = 0
    for _ in range(count):
        while True:
            end = body.find(b"\n", at)
            if end < 0:
                return
            quotes += body.count(b'"', at, end)
            at = end + 1
            if quotes % 2 == 0:
                break
        yield at


def blocks(handle, size: int, faults: Faults) -> Iterator[bytes]:
    """The rest of a binary file in blocks of whole rows, each about `size` bytes; a line end inside quotes ends no row."""
    rest = b""
    while piece := handle.read(size):
        rest += piece
        cut, odd = rest.rfind(b"\n") + 1, 0
        odd = rest.count(b'"', 0, cut) % 2
        while cut and odd:
            before = rest.rfind(b"\n", 0, cut - 1) + 1
            odd = (odd + rest.count(b'"', before, cut)) % 2
            cut = before
        if cut:
            yield rest[:cut]
            rest = rest[cut:]
        elif len(rest) > 4 * size:
            faults.stop("a quotation mark is opened and never closed", remedy="look for text with a single quotation mark in it")
    if rest:
        yield rest


def _without_blank(columns, row):
    blank = np.ones(row.size, dtype=bool)
    for column in columns:
        empty = pc.is_null(column)
        if pa.types.is_string(column.type):
            empty = pc.or_(empty, pc.equal(pc.binary_length(pc.fill_null(column, "")), 0))
        blank &= empty.to_numpy(zero_copy_only=False)
        if not blank.any():
            return columns, row, 0
    keep = pa.array(~blank)
    return tuple(column.filter(keep) for column in columns), row[~blank], int(blank.sum())


# --- headers ---

def find_header(rows: list[list[str]]) -> int | None:
    """The row with the most headers that are known; failing that, the first full row of texts."""
    scores = [_known(row) for row in rows]
    if scores and max(scores) >= 2:
        return scores.index(max(scores))
    width = max((sum(bool(cell.strip()) for cell in row) for row in rows), default=0)
    full = [n for n, row in enumerate(rows) if width > 1 and sum(bool(cell.strip()) for cell in row) == width and not any(_numeric(cell) for cell in row)]
    return full[0] if full else None


def _known(row: Iterable[str]) -> int:
    heads = [read_header(cell.strip()[:100]) for cell in row if cell.strip() and not _numeric(cell)]
    return sum(bool(head.role or head.measure) for head in heads)


def _numeric(cell: str) -> bool:
    return cell.strip().replace(".", "").replace(",", "").lstrip("-").isdigit()


def _unique(header: Iterable) -> tuple[str, ...]:
    """Names without doubles: a second 'Weight' becomes 'Weight (2)', a column without a header 'column 7'."""
    names: list[str] = []
    for n, cell in enumerate(header, 1):
        name = stem = " ".join(str(cell).split()) or f"column {n}"
        count = 1
        while name in names:
            count += 1
            name = f"{stem} ({count})"
        names.append(name)
    return tuple(names)


# --- Parquet and DataFrame ---

def _arrow(frame) -> pa.Table:
    try:
        return pa.Table.from_pandas(frame, preserve_index=False)
    except (pa.ArrowException, ValueError, TypeError):  # a column of mixed objects is read as it would be shown
        return pa.Table.from_pandas(frame.astype({name: "str" for name, kind in frame.dtypes.items() if kind == object}), preserve_index=False)


def _from_parquet(whole: bytes, name: str) -> Table:
    import pyarrow.parquet as pq

    try:
        return _typed(pq.read_table(pa.BufferReader(whole)), name)
    except Faulty:
        raise
    except Exception as cause:  # damaged Parquet fails in many ways, and each means the same to the person
        raise Faulty(f"{name or 'The file'} cannot be read",
                     [Fault(f"the Parquet file is damaged ({type(cause).__name__})", file=name, remedy="write it again")]) from None


def _typed(table: pa.Table, name: str, first_row: int = 2) -> Table:
    """Columns as numbers (float64), time stamps (seconds) or text; row 2 is the first, as under a header."""
    columns = []
    for title, column in zip(table.column_names, table.columns, strict=True):
        try:
            column.validate(full=True)
        except pa.ArrowInvalid:
            raise Faulty(f"{name or 'The table'} cannot be read", [Fault("the column is damaged", column=title, file=name, remedy="write the file again")]) from None
        try:
            columns.append(plain_type(column))
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
            raise Faulty(f"{name or 'The table'} cannot be read", [Fault(f"the column is of the kind {column.type}, which holds no plain values", column=title, file=name,
                                                                         remedy="write numbers, dates or text")]) from None
    if not columns:
        raise Faulty(f"{name or 'The table'} cannot be read", [Fault("the table has no columns", file=name)])
    columns, row, blank = _without_blank(tuple(columns), np.arange(first_row, first_row + table.num_rows))
    return Table(name, "", _unique(table.column_names), columns, row, 1, blank=blank)


def plain_type(column) -> pa.Array:
    column = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    kind = column.type
    if pa.types.is_dictionary(kind):
        return plain_type(column.dictionary_decode())
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return pc.cast(column, pa.float64(), safe=False)
    if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
        if pa.types.is_timestamp(kind) and kind.tz:
            column = pc.local_timestamp(column)
        return pc.cast(pc.cast(column, pa.timestamp("us"), safe=False), pa.timestamp("s"), safe=False)
    return pc.utf8_trim_whitespace(pc.fill_null(pc.cast(column, pa.string()), ""))


# --- workbook ---

def _from_workbook(whole: bytes, name: str, header_row, sheets, decimal) -> list[Table]:
    faults = Faults(name)
    if len(whole) > MAX_WORKBOOK_BYTES:
        faults.stop(f"the workbook holds {len(whole):,} bytes; the limit is {MAX_WORKBOOK_BYTES:,}", remedy="save the table as CSV or Parquet")
    try:
        with zipfile.ZipFile(io.BytesIO(whole)) as archive:
            size = sum(part.file_size for part in archive.infolist())
        if size <= MAX_UNPACKED:
            return _sheets(whole, name, header_row, sheets, decimal, faults)
    except KitError:
        raise
    except Exception as cause:  # a damaged workbook fails in anything from KeyError to zlib.error
        return faults.stop(f"the workbook cannot be read ({type(cause).__name__})", remedy="open it in a spreadsheet and save it again as .xlsx, or as CSV UTF-8")
    return faults.stop(f"the workbook unpacks to {size:,} bytes; the limit is {MAX_UNPACKED:,}", remedy="save the table as CSV or Parquet")


def _sheets(whole, name, header_row, sheets, decimal, faults) -> list[Table]:
    from kit.records.workbook import grids

    found = grids(whole, name, header_row, sheets, decimal, faults)
    if not found:
        faults.stop("no sheet of the workbook holds a table", remedy="one row of headers, and below it one row for each weighing or each batch; or say header_row")
    return found

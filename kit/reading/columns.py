"""Files of any length as columns: separator, header, and rows in blocks."""

import codecs
import csv
import io
import os
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from kit.errors import KitError
from kit.faults import Cell, Faults, fault_words
from kit.reading.cells import ColumnTable, each_once, is_coded
from kit.reading.opener import is_workbook, load, need_suffix, utf8
from kit.reading.shapes import SEPARATORS, Form, FoundTable, unique_names
from kit.reading.workbook import workbook_tables

HEAD_BYTES = 1_000_000
BLOCK_BYTES = 16_000_000
FRAME_ROWS = 250_000
"""of the result of a query taken at a time"""


# --- which row is the header? ---


def headed(known: Callable[[str], bool], header_row: int | None = None):
    """For a Form: the row with the most headers that are `known`, else the first row of texts.

    header_row: as the person counts, where it is said.
    """

    def find(rows: Sequence[Sequence[str]]) -> FoundTable | None:
        counts = [_count(row, known) for row in rows]
        at = header_row - 1 if header_row else _header_at(rows, counts)
        if at is None or at >= len(rows) or len(rows[at]) < 2 or not any(map(str.strip, rows[at])):
            return None
        width = len(rows[at])
        usual = Counter(map(len, rows[at:])).most_common(1)[0][0]
        note = f"headers in row {at + 1}"
        return FoundTable(
            (width == usual, counts[at], width), at + 1, unique_names(rows[at]), (note,)
        )

    return find


def _header_at(rows: Sequence[Sequence[str]], counts: list[int]) -> int | None:
    if max(counts, default=0) >= 2:
        return counts.index(max(counts))
    filled = [sum(bool(cell.strip()) for cell in row) for row in rows]
    width = max(filled, default=0)
    for n, row in enumerate(rows):
        if filled[n] == width > 1 and not any(map(_numeric, row)):
            return n
    return None


def _count(row: Sequence[str], known: Callable[[str], bool]) -> int:
    cells = (cell.strip() for cell in row if cell.strip() and not _numeric(cell))
    return sum(known(cell) for cell in cells)


def _numeric(cell: str) -> bool:
    return cell.strip().replace(".", "").replace(",", "").lstrip("-").isdigit()


# --- files of any length: columns ---


def tables(source, name: str, form: Form) -> list[ColumnTable]:
    """The tables of a path, bytes or text with the file's `name`, or of a table in memory, whole."""
    return list(table_blocks(source, name, form, None))


def only_table(source, name: str, form: Form, torn: bool = False) -> ColumnTable:
    """The one table of a source. Faulty where several sheets of a workbook hold one, and, but for `torn`, where a row or cell of it cannot be taken as it stands."""
    table, *others = tables(source, name, form)
    faults = Faults(table.file, form.what)
    if others:
        sheets = [one.sheet for one in (table, *others)]
        faults.stop("many sheets", count=len(sheets), sheets=", ".join(sheets))
    if not torn:
        table.say(faults)
        faults.stop_if_any()
    return table


def table_blocks(
    source, name: str, form: Form, block_bytes: int | None = BLOCK_BYTES
) -> Iterator[ColumnTable]:
    """The tables of a path, bytes or text with the file's `name`, or of a table in memory.

    A table in memory is a pandas frame or anything that speaks the Arrow interface. A text or Parquet
    file on the disk of more than `block_bytes` comes in blocks of whole rows, whose row numbers go on;
    a text file that is not UTF-8 is taken whole. Raises Faulty where there is no table.
    """
    if is_frame(source):
        row, faults = 2, _faults(name or "table", form)
        for part in arrow(source) if block_bytes else [pa.concat_tables(arrow(source))]:
            yield typed_table(part, faults, row)
            row += part.num_rows
        return
    text = isinstance(source, str) and "\n" not in source and "\r" not in source
    path = Path(source) if block_bytes and (text or isinstance(source, os.PathLike)) else None
    if path is None or not path.is_file() or path.stat().st_size <= (block_bytes or 0):
        whole, name = load(source, name, form.limits)
        yield from _read(io.BytesIO(whole), name, form, None)
        return
    need_suffix(path.name, form.limits, _faults(path.name, form))
    with path.open("rb") as handle:
        yield from _read(handle, path.name, form, block_bytes)


def _faults(name: str, form: Form) -> Faults:
    return Faults(name, form.what or f"{name or 'The file'} cannot be read")


def _read(file: BinaryIO, name: str, form: Form, size: int | None) -> Iterator[ColumnTable]:
    """The tables of an open file in blocks of about `size` bytes, or whole."""
    faults, head = _faults(name, form), file.read(HEAD_BYTES)
    notes: tuple[str, ...] = ()
    if head.startswith(b"PAR1"):
        yield from _parquet(file, faults, size)
        return
    if is_workbook(head):
        yield from workbook_tables(head + file.read(), faults, form)
        return
    mark = len(codecs.BOM_UTF8) if head.startswith(codecs.BOM_UTF8) else 0
    cut = head.rfind(b"\n") + 1
    if not size or not cut or b"\x00" in head or not _is_utf8(head[:cut]):
        head, notes = utf8(head + file.read(), faults)
        file, size, mark, cut = io.BytesIO(head), None, 0, len(head)
    layout = layout_of(head[mark:cut], form, faults)
    if layout.separator == " ":
        file.seek(mark)
        head = b"\n".join(b" ".join(line.split()) for line in file.read().split(b"\n"))
        file, size, mark = io.BytesIO(head), None, 0
        layout = layout_of(head, form, faults)
    layout = layout._replace(notes=(*notes, *layout.notes))
    file.seek(mark + layout.start)
    yield from _rows(file, layout, faults, size, bool(size) and form.typed)


def _is_utf8(part: bytes) -> bool:
    try:
        part.decode()
    except UnicodeDecodeError:
        return False
    return True


def layout_of(body: bytes, form: Form, faults: Faults) -> FoundTable:
    """Separator, header and names from the first bytes of a text table."""
    text = body[:HEAD_BYTES].decode("utf-8", "replace")
    _need_cells(text, form, faults)
    lines = io.StringIO(text, newline="").readlines()
    if not text.strip():
        faults.stop("empty", remedy=fault_words(form.missing)[1])
    found: list[tuple[tuple, str, FoundTable, list[int], list[list[str]]]] = []
    for order, separator in enumerate(form.separators):
        try:
            rows, ends = _first_rows(lines, separator, form.rows)
        except csv.Error:
            continue
        hit = form.find(rows)
        if hit:
            found.append(((*hit.score, -order), separator, hit, ends, rows))
    if not found:
        faults.stop(form.missing)
    # a space may stand inside a cell: spaces part the columns only where no mark does it half as well
    marked = [one for one in found if one[1] != " " and one[0][0] * 2 >= max(found)[0][0]]
    _, separator, hit, ends, rows = max(marked or found)
    if len(hit.names) > form.limits.columns:
        faults.stop("many columns", count=len(hit.names), limits=form.limits)
    above = "".join(lines[: ends[hit.at - 1]]) if hit.at else ""
    notes = (f"columns separated by {SEPARATORS[separator]}", *hit.notes)
    whole = [row for row in rows[hit.at :] if len(row) == len(hit.names)]
    few = tuple(n for n, cells in enumerate(zip(*whole)) if 2 * len(set(cells)) < len(whole))
    start = len(above.encode())
    return hit._replace(notes=notes, separator=separator, start=start, above=above, repeating=few)


def _need_cells(text: str, form: Form, faults: Faults) -> None:
    for number, line in enumerate(text.split("\n")[: form.rows], 1):
        if len(line) > form.longest and max(map(len, re.split(r"[\t;|,]", line))) > form.longest:
            faults.stop("long cell", Cell(None, number), most=form.longest)


def _first_rows(lines: list[str], separator: str, most: int) -> tuple[list[list[str]], list[int]]:
    """The first rows taken apart, and after how many lines each ends; spaces part as many as there are."""
    if separator == " ":
        return [line.split() for line in lines[:most]], list(range(1, most + 1))
    reader, rows, ends = csv.reader(lines, delimiter=separator), [], []
    for row in islice(reader, most):
        rows.append(row)
        ends.append(reader.line_num)
    return rows, ends


def _rows(
    file: BinaryIO, layout: FoundTable, faults: Faults, size: int | None, coded: bool
) -> Iterator[ColumnTable]:
    """The rows of a text table as columns of text, in blocks of about `size` bytes, or whole."""
    names = [str(n) for n in range(len(layout.names))]
    torn: list[tuple[int, str]] = []

    def keep(row):
        torn.append((row.number + layout.at, row.text or ""))
        return "skip"

    read = pacsv.ReadOptions(column_names=names, use_threads=False, block_size=size or BLOCK_BYTES)
    parse = pacsv.ParseOptions(
        delimiter=layout.separator,
        ignore_empty_lines=False,
        newlines_in_values=True,
        invalid_row_handler=keep,
    )
    kinds = dict.fromkeys(names, pa.string())
    if coded:
        kinds |= {names[n]: pa.dictionary(pa.int32(), pa.string()) for n in layout.repeating}
    convert = pacsv.ConvertOptions(column_types=kinds, strings_can_be_null=False)
    none = pa.table({name: pa.array([], pa.string()) for name in names})
    row = layout.at + 1
    try:
        reader = pacsv.open_csv(file, read, parse, convert)
        blocks = (pa.Table.from_batches([block]) for block in reader)
        for block in blocks if size else [reader.read_all()]:
            found = np.arange(row, row + block.num_rows + len(torn))
            if torn:
                found = np.setdiff1d(found, [number for number, _ in torn])[: block.num_rows]
            row = int(found[-1]) + 1 if found.size else row
            # the reader is ahead of the block that it hands out
            ahead = [one for one in torn if size and one[0] >= row]
            own = torn[: len(torn) - len(ahead)]
            torn[:] = ahead
            yield _table(block, found, own, layout, faults)
    except pa.ArrowInvalid as cause:
        if "Empty CSV" not in str(cause):
            faults.stop("not apart", Cell(None, row), why=str(cause)[:200])
        yield _table(none, np.arange(0), [], layout, faults)
    if torn:
        yield _table(none, np.arange(0), torn, layout, faults)


def _table(
    block: pa.Table, row: np.ndarray, torn, layout: FoundTable, faults: Faults
) -> ColumnTable:
    cells = tuple(_as_written(column.combine_chunks()) for column in block.columns)
    empty = layout.separator + ' \r\n"'
    full = tuple((n, text) for n, text in torn if text.strip(empty))
    blank = len(torn) - len(full)
    return ColumnTable.of(faults, layout, cells, row, blank=blank, torn=full)


def _as_written(column: pa.Array) -> pa.Array:
    """Without blanks around it, and without the apostrophe set before what a spreadsheet could run."""
    if is_coded(column):
        return each_once(column.indices, _as_written(column.dictionary))
    column = pc.utf8_trim_whitespace(column)
    if pc.any(pc.starts_with(column, "'")).as_py():
        return pc.replace_substring_regex(column, r"^'([=+\-@\t\r'])", r"\1")
    return column


# --- tables in memory, and Parquet ---


def is_frame(source) -> bool:
    """Is it a table in memory, or the result of a query? Anything that speaks the Arrow interface."""
    return hasattr(source, "__arrow_c_stream__") or hasattr(source, "to_parquet")


def arrow(frame) -> Iterator[pa.Table]:
    """A table in memory, or the result of a query part by part, as Arrow holds it."""
    if type(frame).__module__.split(".")[0] != "pandas":
        reader, rows = pa.RecordBatchReader.from_stream(frame), 0
        held: list[pa.RecordBatch] = []
        for batch in reader:
            held, rows = [*held, batch], rows + batch.num_rows
            if rows > FRAME_ROWS:
                yield pa.Table.from_batches(held)
                held, rows = [], 0
        yield pa.Table.from_batches(held, reader.schema)
        return
    try:
        yield pa.Table.from_pandas(frame, preserve_index=False)
    except (pa.ArrowException, ValueError, TypeError):
        # a column of mixed objects is read as it would be shown
        mixed = {name: "str" for name, kind in frame.dtypes.items() if kind is np.dtype(object)}
        yield pa.Table.from_pandas(frame.astype(mixed), preserve_index=False)


def _parquet(source, faults: Faults, block_bytes: int | None) -> Iterator[ColumnTable]:
    """A Parquet file in blocks of rows, or whole."""
    import pyarrow.parquet as pq

    try:
        file, row = pq.ParquetFile(source), 2
        if block_bytes is None:
            yield typed_table(file.read(), faults)
            return
        rows = max(block_bytes // (12 * max(file.metadata.num_columns, 1)), 1)
        for batch in file.iter_batches(batch_size=rows):
            yield typed_table(pa.Table.from_batches([batch]), faults, row)
            row += batch.num_rows
    except (KitError, OSError):
        raise
    except Exception as cause:  # damaged Parquet fails in many ways, all the same to the person
        faults.stop("damaged Parquet", why=type(cause).__name__)


def typed_table(table: pa.Table, faults: Faults, first_row: int = 2) -> ColumnTable:
    """Columns as numbers, time stamps (seconds) or text; row 2 is the first, as under a header."""
    columns = []
    for title, column in zip(table.column_names, table.columns, strict=True):
        at = Cell(None, column=title)
        try:
            column.validate(full=True)
            columns.append(_plain_type(column))
        except pa.ArrowNotImplementedError:
            faults.stop("no plain values", at, kind=column.type)
        except pa.ArrowInvalid:
            faults.stop("damaged column", at)
    if not columns:
        faults.stop("no columns")
    row = np.arange(first_row, first_row + table.num_rows)
    found = FoundTable((), 1, unique_names(table.column_names))
    return ColumnTable.of(faults, found, tuple(columns), row)


def _plain_type(column) -> pa.Array:
    if isinstance(column, pa.ChunkedArray):
        column = column.unify_dictionaries().combine_chunks()
    kind = column.type
    if pa.types.is_dictionary(kind) and str(kind.value_type) in ("string", "large_string"):
        return each_once(column.indices, column.dictionary)
    if pa.types.is_dictionary(kind):
        return _plain_type(column.dictionary_decode())
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return pc.cast(column, pa.float64(), safe=False)
    if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
        if pa.types.is_timestamp(kind) and kind.tz:
            column = pc.local_timestamp(column)
        fine = pc.cast(column, pa.timestamp("us"), safe=False)
        return pc.cast(fine, pa.timestamp("s"), safe=False)
    return pc.utf8_trim_whitespace(pc.fill_null(pc.cast(column, pa.string()), ""))

"""Files of any length as columns: separator, header, and rows in blocks."""

import codecs
import csv
import io
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from kit.errors import Fault, Faulty, KitError
from kit.faults import Cell, Faults
from kit.reading.headers import NO_TABLE, Known, count_known, find_header, unique_names
from kit.reading.opener import is_workbook, load, need_suffix, utf8
from kit.reading.shapes import (
    HEAD_BYTES,
    LOOKED_AT,
    SEPARATORS,
    Layout,
    Limits,
    Table,
    without_blank,
)
from kit.reading.workbook import workbook_tables

_AGAIN = "write it again"


# --- files of any length: columns ---


def tables(
    source,
    name: str,
    limits: Limits,
    known: Known,
    header_row: int | None = None,
    sheets: tuple[str, ...] = (),
    decimal: str | None = None,
) -> list[Table]:
    """The tables of a path, bytes or text with the file's `name`, or of a table in memory.

    A table in memory is a pandas frame or anything that speaks the Arrow interface. `header_row`:
    as the person counts; found where left out. `sheets` of a workbook: those that hold a table.
    Raises Faulty where there is none.
    """
    if hasattr(source, "__arrow_c_stream__") or hasattr(source, "to_parquet"):
        return [typed_table(_arrow(source), name or "table")]
    whole, name = load(source, name, limits)
    faults = Faults(name, f"{name or 'The file'} cannot be read")
    if is_workbook(whole):
        return workbook_tables(whole, faults, limits, known, header_row, sheets, decimal)
    if whole.startswith(b"PAR1"):
        return [_from_parquet(whole, name)]
    body, notes = utf8(whole, faults)
    layout = layout_of(body[:HEAD_BYTES], known, faults, header_row, limits.columns)
    layout = replace(layout, notes=(*notes, *layout.notes))
    return [parse_rows(body[layout.start :], layout, name, layout.header_row + 1)]


def table_blocks(
    source,
    name: str,
    limits: Limits,
    known: Known,
    header_row: int | None = None,
    sheets: tuple[str, ...] = (),
    decimal: str | None = None,
    block_bytes: int = 16_000_000,
) -> Iterator[Table]:
    """As `tables`, but a text or Parquet file on the disk comes in blocks of whole rows.

    Row numbers go on from block to block; a text file that is not UTF-8 is taken whole.
    """
    path = Path(source) if isinstance(source, os.PathLike) or _is_path(source) else None
    if path is None or not path.is_file() or path.stat().st_size <= block_bytes:
        yield from tables(source, name, limits, known, header_row, sheets, decimal)
        return
    faults = Faults(path.name, f"{path.name} cannot be read")
    need_suffix(path.name, limits, faults)
    with path.open("rb") as handle:
        head = handle.read(HEAD_BYTES)
        if is_workbook(head):
            yield from tables(path, name, limits, known, header_row, sheets, decimal)
            return
        if head.startswith(b"PAR1"):
            yield from _parquet_blocks(path, block_bytes)
            return
        mark = len(codecs.BOM_UTF8) if head.startswith(codecs.BOM_UTF8) else 0
        cut = head.rfind(b"\n") + 1
        if not cut or b"\x00" in head or not _is_utf8(head[:cut]):
            yield from tables(path, name, limits, known, header_row, sheets, decimal)
            return
        layout = layout_of(head[mark:cut], known, faults, header_row, limits.columns)
        handle.seek(mark + layout.start)
        row = layout.header_row + 1
        for block in blocks(handle, block_bytes, faults):
            if not _is_utf8(block):
                what = "the letters turn to another encoding than UTF-8 in this block"
                faults.stop(what, Cell(None, row), remedy="save the file again as CSV UTF-8")
            table = parse_rows(block, layout, path.name, row)
            yield table
            row += table.row.size + table.blank + len(table.torn)


def _is_path(source) -> bool:
    return isinstance(source, str) and "\n" not in source and "\r" not in source


def _is_utf8(part: bytes) -> bool:
    try:
        part.decode()
    except UnicodeDecodeError:
        return False
    return True


def layout_of(
    head: bytes,
    known: Known,
    faults: Faults,
    header_row: int | None = None,
    most_columns: int = 500,
) -> Layout:
    """Separator, header and names from the first bytes of a text table."""
    count = LOOKED_AT if header_row is None else max(LOOKED_AT, header_row)
    ends = list(_row_ends(head, count))
    text = head[: ends[-1] if ends else None].decode("utf-8", "replace")
    found = []
    for order, separator in enumerate(SEPARATORS):
        try:
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        except csv.Error:
            continue
        at = header_row - 1 if header_row else find_header(rows, known)
        if at is not None and at < len(rows) and len(rows[at]) > 1:
            usual = Counter(map(len, rows[at:])).most_common(1)[0][0]
            fits = (len(rows[at]) == usual, count_known(rows[at], known), len(rows[at]), -order)
            found.append((*fits, separator, at, rows[at]))
    if not found:
        faults.stop("no table was found in the first rows", remedy=NO_TABLE)
    *_, separator, at, header = max(found)
    if at >= len(ends) and at > 0:
        what = "there are no rows below the header"
        faults.stop(what, remedy="check that the file is the entire table")
    if len(header) > most_columns:
        what = f"the table has {len(header)} columns; the limit is {most_columns}"
        faults.stop(what, remedy="take out what is not needed")
    start = ends[at] if at < len(ends) else len(head)
    notes = (f"columns separated by {SEPARATORS[separator]}, headers in row {at + 1}",)
    return Layout(separator, at + 1, unique_names(header), start, notes)


def parse_rows(body: bytes, layout: Layout, name: str, first_row: int) -> Table:
    """Rows of a text table as columns of text; the first of them is row `first_row` of the file."""
    columns = [str(n) for n in range(len(layout.names))]
    torn: list[tuple[int, str]] = []

    def keep(row):
        torn.append((row.number + first_row - 1, row.text or ""))
        return "skip"

    if not body.endswith(b"\n"):
        body += b"\n"
    read = pacsv.ReadOptions(column_names=columns, use_threads=False, block_size=1 << 24)
    parse = pacsv.ParseOptions(
        delimiter=layout.separator,
        ignore_empty_lines=False,
        newlines_in_values=b'"' in body,
        invalid_row_handler=keep,
    )
    kinds = dict.fromkeys(columns, pa.string())
    convert = pacsv.ConvertOptions(column_types=kinds, strings_can_be_null=False)
    try:
        whole = pacsv.read_csv(
            pa.BufferReader(body), read_options=read, parse_options=parse, convert_options=convert
        )
    except pa.ArrowInvalid as cause:
        if "Empty CSV" not in str(cause):
            what = f"the table cannot be taken apart: {str(cause)[:200]}"
            raise _unreadable(
                name, what, "look for a quotation mark that is never closed"
            ) from None
        whole = pa.table({column: pa.array([], pa.string()) for column in columns})
    row = np.arange(first_row, first_row + whole.num_rows + len(torn))
    if torn:
        row = np.setdiff1d(row, [number for number, _ in torn], assume_unique=True)
    made = (whole.column(n).combine_chunks() for n in range(len(columns)))
    cells = tuple(_as_written(pc.utf8_trim_whitespace(column)) for column in made)
    cells, row, blank = without_blank(cells, row)
    empty = layout.separator + ' \r\n"'
    full = tuple((n, text) for n, text in torn if text.strip(empty))
    blank += len(torn) - len(full)
    return Table(
        name, "", layout.names, cells, row, layout.header_row, full, blank, notes=layout.notes
    )


def _as_written(column: pa.Array) -> pa.Array:
    """Without the apostrophe set before what a spreadsheet could run."""
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
    """The rest of a binary file in blocks of whole rows, each about `size` bytes.

    A line end inside quotes ends no row.
    """
    rest = b""
    while piece := handle.read(size):
        rest += piece
        cut = rest.rfind(b"\n") + 1
        odd = rest.count(b'"', 0, cut) % 2
        while cut and odd:
            before = rest.rfind(b"\n", 0, cut - 1) + 1
            odd = (odd + rest.count(b'"', before, cut)) % 2
            cut = before
        if cut:
            yield rest[:cut]
            rest = rest[cut:]
        elif len(rest) > 4 * size:
            what = "a quotation mark is opened and never closed"
            faults.stop(what, remedy="look for text with a single quotation mark in it")
    if rest:
        yield rest


# --- tables in memory, and Parquet ---


def _arrow(frame) -> pa.Table:
    if not hasattr(frame, "dtypes") or not hasattr(frame, "to_parquet"):
        return pa.table(frame)
    try:
        return pa.Table.from_pandas(frame, preserve_index=False)
    except (pa.ArrowException, ValueError, TypeError):
        # a column of mixed objects is read as it would be shown
        mixed = {name: "str" for name, kind in frame.dtypes.items() if kind is np.dtype(object)}
        return pa.Table.from_pandas(frame.astype(mixed), preserve_index=False)


def _from_parquet(whole: bytes, name: str) -> Table:
    import pyarrow.parquet as pq

    try:
        return typed_table(pq.read_table(pa.BufferReader(whole)), name)
    except Faulty:
        raise
    except Exception as cause:  # damaged Parquet fails in many ways, all the same to the person
        what = f"the Parquet file is damaged ({type(cause).__name__})"
        raise _unreadable(name, what, _AGAIN) from None


def _parquet_blocks(path: Path, block_bytes: int) -> Iterator[Table]:
    import pyarrow.parquet as pq

    try:
        file, row = pq.ParquetFile(path), 2
        rows = max(block_bytes // (12 * max(file.metadata.num_columns, 1)), 1)
        for batch in file.iter_batches(batch_size=rows):
            yield typed_table(pa.Table.from_batches([batch]), path.name, row)
            row += batch.num_rows
    except (KitError, OSError):
        raise
    except Exception as cause:  # damaged Parquet fails in many ways, all the same to the person
        what = f"the Parquet file is damaged ({type(cause).__name__})"
        raise _unreadable(path.name, what, _AGAIN) from None


def typed_table(table: pa.Table, name: str, first_row: int = 2) -> Table:
    """Columns as numbers, time stamps (seconds) or text; row 2 is the first, as under a header."""
    columns = []
    for title, column in zip(table.column_names, table.columns, strict=True):
        try:
            column.validate(full=True)
            columns.append(_plain_type(column))
        except pa.ArrowNotImplementedError:
            what = f"the column is of the kind {column.type}, which holds no plain values"
            raise _unreadable(name, what, "write numbers, dates or text", title) from None
        except pa.ArrowInvalid:
            raise _unreadable(name, "the column is damaged", _AGAIN, title) from None
    if not columns:
        raise _unreadable(name, "the table has no columns", "")
    row = np.arange(first_row, first_row + table.num_rows)
    kept, row, blank = without_blank(tuple(columns), row)
    return Table(name, "", unique_names(table.column_names), kept, row, 1, blank=blank)


def _plain_type(column) -> pa.Array:
    column = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    kind = column.type
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


def _unreadable(name: str, what: str, remedy: str, column: str = "") -> Faulty:
    fault = Fault(what, column=column, file=name, remedy=remedy)
    return Faulty(f"{name or 'The table'} cannot be read", [fault])

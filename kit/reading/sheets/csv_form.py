"""The sheet as CSV: commas, header in row 1, one row per ingredient (see grid.py for the columns).

Semicolons and decimal commas, as some countries' spreadsheets save them, are read when a row says
so: batch;decimal;, under part;name;value. Text that a spreadsheet could run as a formula is written
behind an apostrophe, which reading takes away again.
"""

import csv
import io
from collections.abc import Mapping

from kit.faults import Cell, Faults
from kit.files import guarded, number_text
from kit.reading.opener import column_letter, separator_of, text_rows, utf8
from kit.reading.shapes import Limits
from kit.reading.sheets.grid import MAX_COLUMNS, MAX_ROWS, columns, records, table
from kit.sheet.draft import Draft
from kit.sheet.entries import PARTS

LIMITS = Limits((".csv",), 1_000_000, "a sheet is one batch; split it", MAX_ROWS, MAX_COLUMNS)
_DECLARE = (
    ", or, if the file uses decimal commas, add the row 'batch;decimal;,' under the columns "
    "part;name;value"
)


def draft(whole: bytes, faults: Faults) -> Draft:
    """The entries of a CSV file."""
    body, notes = utf8(whole, faults)
    text = body.decode("utf-8", "surrogatepass")
    separator = separator_of(text)
    rows = [
        [Cell(value, number, column_letter(n)) for n, value in enumerate(row, 1)]
        for number, row in enumerate(text_rows(text, separator, faults, LIMITS), 1)
    ]
    if separator != "," and not (separator == ";" and _declares_comma(rows)):
        sign = {";": "semicolons", "\t": "tabs", "|": "bars"}[separator]
        what = f"the columns are separated by {sign}, not by commas"
        remedy = "save it with commas" + (_DECLARE if separator == ";" else "")
        faults.stop(what, Cell(None, 1), remedy=remedy)
    return Draft(records(rows, "", faults), typed=False, notes=list(notes))


def _declares_comma(rows: list[list[Cell]]) -> bool:
    header = [str(cell.value).strip().casefold() for cell in rows[0]] if rows else []
    if not {"part", "name", "value"} <= set(header):
        return False
    at = [header.index(name) for name in ("part", "name", "value")]
    filled = (row for row in rows[1:] if len(row) > max(at))
    said = [[str(row[n].value).strip().casefold() for n in at] for row in filled]
    return ["batch", "decimal", ","] in said


def written(data: Mapping) -> bytes:
    """The CSV of `Sheet.as_dict()`: typed rows, only the columns that are used."""
    rows = [{"part": part, **row} for part in PARTS for row in table(data, part, lambda _: True)]
    used = {name for row in rows for name in row}
    every = dict.fromkeys(("part", *(name for part in PARTS for name in columns(part))))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, [name for name in every if name in used], lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        cells = {k: guarded(v) if isinstance(v, str) else number_text(v) for k, v in row.items()}
        writer.writerow(cells)
    return out.getvalue().encode()

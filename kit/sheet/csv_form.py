"""The sheet as CSV: UTF-8, commas, header in row 1, one row per ingredient (see grid.py for the columns).

Semicolons and decimal commas, as some countries' spreadsheets save them, are read when a row says so: batch;decimal;, under part;name;value.
Text that a spreadsheet could run as a formula is written behind an apostrophe, which reading takes away again.
"""
import csv
import io
from collections.abc import Mapping

from kit.files import guarded, unguarded
from kit.sheet.encoding import text_of
from kit.sheet.fields import PARTS
from kit.sheet.grid import MAX_COLUMNS, MAX_ROWS, columns, records, table
from kit.sheet.records import Cell, Draft, Faults
from kit.sheet.values import number_text

MAX_BYTES = 1_000_000
_DECLARE = ", or, if the file uses decimal commas, add the row 'batch;decimal;,' under the columns part;name;value"


def draft(whole: bytes, faults: Faults) -> Draft:
    text = text_of(whole, MAX_BYTES, faults)
    first = next((line for line in text.split("\n") if line.strip()), "")
    separator = max(",;\t|", key=lambda sign: (first.count(sign), sign == ","))
    rows = _rows(text, separator, faults)
    if separator != "," and not (separator == ";" and _declares_comma(rows)):
        sign = {";": "semicolons", "\t": "tabs", "|": "bars"}[separator]
        faults.stop(f"the columns are separated by {sign}, not by commas", Cell(None, 1),
                    remedy="save it with commas" + (_DECLARE if separator == ";" else ""))
    return Draft(records(rows, "", faults), typed=False)


def _rows(text: str, separator: str, faults: Faults) -> list[list[Cell]]:
    rows = []
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True), 1):
            if number > MAX_ROWS or len(row) > MAX_COLUMNS:
                faults.stop(f"the table goes on beyond row {MAX_ROWS} or column {MAX_COLUMNS}",
                            Cell(None, number), remedy="a sheet is one batch; split it")
            rows.append([Cell(unguarded(value.replace("\r\n", "\n")), number, _letter(n)) for n, value in enumerate(row)])
    except csv.Error as cause:
        faults.stop(f"the table cannot be taken apart: {cause}", Cell(None, len(rows) + 1),
                    remedy='check the quotes: text with a comma stands in "quotes", a quote in it is doubled')
    return rows


def _letter(n: int) -> str:
    return chr(65 + n) if n < 26 else chr(64 + n // 26) + chr(65 + n % 26)


def _declares_comma(rows: list[list[Cell]]) -> bool:
    header = [cell.value.strip().casefold() for cell in rows[0]] if rows else []
    if not {"part", "name", "value"} <= set(header):
        return False
    at = [header.index(name) for name in ("part", "name", "value")]
    said = [[row[n].value.strip().casefold() for n in at] for row in rows[1:] if len(row) > max(at)]
    return ["batch", "decimal", ","] in said


def written(data: Mapping) -> bytes:
    """The CSV of `Sheet.as_dict()`: typed rows, only the columns that are used."""
    rows = [{"part": part, **row} for part in PARTS for row in table(data, part, lambda number: True)]
    used = {name for row in rows for name in row}
    header = [name for name in dict.fromkeys(("part", *(name for part in PARTS for name in columns(part)))) if name in used]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, header, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({key: guarded(value) if isinstance(value, str) else number_text(value) for key, value in row.items()} for row in rows)
    return out.getvalue().encode()

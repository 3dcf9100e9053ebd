"""The sheets of a workbook as tables. Nothing is run: a formula gives the value it was last saved with, and one never saved is named."""
import io
import warnings
import zipfile
from datetime import date, datetime, time, timedelta
from itertools import islice

import numpy as np
import pyarrow as pa

from kit.logs import cells
from kit.records.table import LOOKED_AT, MAX_COLUMNS, Table, _unique, _without_blank, find_header
from kit.sheet.records import Faults
from kit.sheet.xlsx_form import _covered as covered_places
from kit.sheet.xlsx_form import _merged as merged_areas

MAX_ROWS = 1_048_576


def grids(whole: bytes, name: str, header_row: int | None, sheets: tuple[str, ...], decimal: str | None, faults: Faults) -> list[Table]:
    """A Table for each sheet that holds one: the sheets named, or every sheet with a header."""
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and extensions that openpyxl passes over hold no entries
        book = load_workbook(io.BytesIO(whole), read_only=True, data_only=True)
        titles = [page.title for page in book.worksheets]
        for title in sheets:
            if title not in titles:
                faults.add(f"there is no sheet {title!r}", remedy=f"there are: {', '.join(titles)}")
        faults.stop_if_any()
        pages = [page for page in book.worksheets if not sheets or page.title in sheets]
        raw = {page.title: _values(page) for page in pages}
        areas = {page.title: merged_areas(whole, page) for page in pages}
        written = _written(whole, [page for page in pages if _has_formulas(whole, page)])
    sign = decimal or _sign([value for rows in raw.values() for row in rows[:2000] for value in row if isinstance(value, str) and "," in value])
    found = []
    for title, rows in raw.items():
        top = [["" if value is None else str(value) for value in row] for row in rows[:max(LOOKED_AT, header_row or 0)]]
        at = header_row - 1 if header_row else find_header(top)
        if at is None or at >= len(top) or not any(cell.strip() for cell in top[at]):
            continue
        found.append(_table(name, title, rows, at, areas[title], written.get(title, []), sign))
    return found


def _values(page) -> list[tuple]:
    page.reset_dimensions()  # a stated size is not believed
    return list(islice(page.iter_rows(values_only=True, max_col=MAX_COLUMNS), MAX_ROWS))


def _has_formulas(whole: bytes, page) -> bool:
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        text = archive.read(page._worksheet_path)
    return any(mark in text for mark in (b"<f>", b"<f ", b"<f/", b":f>", b":f "))


def _written(whole: bytes, pages) -> dict[str, list[tuple]]:
    from openpyxl import load_workbook

    titles = [page.title for page in pages]
    return {page.title: _values(page) for page in load_workbook(io.BytesIO(whole), read_only=True).worksheets if page.title in titles} if titles else {}


def _table(name, title, rows, at, areas, written, sign) -> Table:
    width = max((n for n, value in enumerate(rows[at], 1) if value is not None and str(value).strip()), default=0)
    width = max([width, *(n for row in rows[at + 1:] for n in range(len(row), width, -1) if row[n - 1] is not None)])
    padded = [tuple(row[:width]) + (None,) * (width - len(row)) for row in rows[at:]]
    names = _unique("" if value is None else value for value in padded[0])
    body = padded[1:]
    columns, notes = [], []
    for n in range(width):
        columns.append(_column([row[n] for row in body], sign))
    formulas = [(number, n) for number, row in enumerate(written[at + 1:], at + 2) for n, value in enumerate(row[:width]) if isinstance(value, str) and value.startswith("=")]
    unsaved = tuple((number, names[n]) for number, n in formulas if number - at - 2 < len(body) and body[number - at - 2][n] is None)
    if len(formulas) > len(unsaved):
        notes.append(f"sheet {title}: {len(formulas) - len(unsaved)} cells hold formulas; the values they were last saved with were read")
    hidden = sorted((row, n) for row, n in covered_places(areas) if row > at + 1 and n <= width)
    area_of = {place: area for area in areas for place in covered_places([area])}
    kept, row, blank = _without_blank(tuple(columns), np.arange(at + 2, at + 2 + len(body)))
    if not row.size:
        notes.append(f"sheet {title}: no rows below the header")
    return Table(name, title, names, kept, row, at + 1, (), blank, tuple((r, names[n - 1], area_of[r, n]) for r, n in hidden), unsaved, tuple(notes))


def _column(values: list, sign: str) -> pa.Array:
    """Numbers or time stamps where all filled cells are such; else text, numbers with the file's decimal sign."""
    filled = [value for value in values if value is not None]
    if filled and all(isinstance(value, (int, float)) and not isinstance(value, bool) for value in filled):
        return pa.array([None if value is None else float(value) for value in values], pa.float64())
    if filled and all(isinstance(value, datetime) for value in filled):
        return pa.array(values, pa.timestamp("us")).cast(pa.timestamp("s"), safe=False)
    return pa.array([_text(value, sign) for value in values], pa.string())


def _text(value, sign: str) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        text = repr(value)
        return (text[:-2] if text.endswith(".0") else text).replace(".", sign)
    if isinstance(value, datetime):
        return value.isoformat(" ")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, timedelta):
        seconds = round(value.total_seconds())
        return f"{seconds // 3600}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}"
    return str(value).strip()


def _sign(texts: list[str]) -> str:
    return "," if cells.comma_style([pa.array(texts, pa.string())], None) == "decimal" else "."

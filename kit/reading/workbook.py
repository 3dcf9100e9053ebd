"""The sheets of a workbook. Nothing in it is run or calculated: a formula gives the value it was
last saved with, and one that was never saved is named. Macros are not read."""

import io
import re
import warnings
import zipfile
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import islice

import numpy as np
import pyarrow as pa

from kit.errors import KitError
from kit.faults import Cell, Faults, fault_words
from kit.reading.cells import ColumnTable, comma_style
from kit.reading.opener import need_no_old_workbook
from kit.reading.shapes import FileLimits, Form, FoundTable, Page, unique_names
from kit.reading.words import note

ERRORS = ("#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!")
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z0-9:]{1,30})[\"']")
_BLANK_ROW = re.compile(
    rb"<(?:\w+:)?row\b[^>]*(?:/>|>(?:<(?:\w+:)?c\b[^>]*/>|\s)*</(?:\w+:)?row>)\s*"
)
_MANY_ROWS = 1000
_HIDDEN_ROW = re.compile(rb"<(?:\w+:)?row\b[^>]*\bhidden=[\"'](?:1|true)[\"']")
_FORMULA = (b"<f>", b"<f ", b"<f/", b":f>", b":f ")


def workbook_pages(
    whole: bytes, faults: Faults, limits: FileLimits, wanted: Iterable[str] = ()
) -> list[Page]:
    """Every sheet of a workbook, or the `wanted` ones, cell by cell."""
    need_no_old_workbook(whole, faults)
    try:
        with zipfile.ZipFile(io.BytesIO(whole)) as archive:
            size = sum(part.file_size for part in archive.infolist())
    except Exception:  # a damaged archive fails in many ways, each the same to the person
        faults.stop("no workbook")
    if size > limits.unpacked_bytes:
        faults.stop("unpacked", size=size, limits=limits)
    try:
        return _pages(whole, faults, limits, tuple(wanted))
    except KitError:
        raise
    except Exception as cause:  # a damaged file fails in anything from KeyError to zlib.error
        faults.stop("damaged workbook", why=type(cause).__name__)


def _pages(whole: bytes, faults: Faults, limits: FileLimits, wanted: tuple[str, ...]) -> list[Page]:
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        # styles and extensions that are passed over hold no entries
        warnings.simplefilter("ignore")
        whole = _without_stray_rows(whole)
        values = load_workbook(io.BytesIO(whole), read_only=True, data_only=True)
        sheets = values.worksheets
        titles = [sheet.title for sheet in sheets]
        charts = [title for title in values.sheetnames if title not in titles]
        for title in wanted:
            if title not in titles:
                faults.say("no sheet", sheet=title, titles=", ".join(titles))
        faults.stop_if_any()
        chosen = [sheet for sheet in sheets if not wanted or sheet.title in wanted]
        with zipfile.ZipFile(io.BytesIO(whole)) as archive:
            inside = {sheet.title: archive.read(sheet._worksheet_path) for sheet in chosen}
        written = {}
        if any(mark in text for text in inside.values() for mark in _FORMULA):
            book = load_workbook(io.BytesIO(whole), read_only=True)
            written = {sheet.title: sheet for sheet in book.worksheets}
        pages = [_page(s, inside[s.title], written.get(s.title), faults, limits) for s in chosen]
        return [*pages, *(Page(title, ()) for title in charts if not wanted)]


def _without_stray_rows(whole: bytes) -> bytes:
    """The workbook without rows in which nothing stands, where they are many: a format on all rows of a sheet would cost minutes."""
    with zipfile.ZipFile(io.BytesIO(whole)) as old:
        parts = {part: old.read(part) for part in old.infolist() if not part.is_dir()}
    sheets = {p: _BLANK_ROW.subn(b"", text) for p, text in parts.items() if b"sheetData" in text}
    if sum(count for _, count in sheets.values()) < _MANY_ROWS:
        return whole
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as new:
        for part, text in parts.items():
            new.writestr(part, sheets[part][0] if part in sheets else text)
    return made.getvalue()


def _page(sheet, inside: bytes, written, faults: Faults, limits: FileLimits) -> Page:
    rows, shares = [], set()
    for number, row in enumerate(_raw(sheet, limits), 1):
        if number > limits.rows or any(c.value is not None for c in row[limits.columns :]):
            faults.stop("sheet too large", Cell(None, sheet=sheet.title), limits=limits)
        rows.append([cell.value for cell in row[: limits.columns]])
        for n, cell in enumerate(row, 1):
            number_shown = isinstance(cell.value, (int, float)) and not isinstance(cell.value, bool)
            if number_shown and "%" in str(cell.number_format or ""):
                shares.add((number, n))
    # openpyxl's sparing reader passes merged areas over, and its full one can be made to build
    # millions of cells by a forged file
    merged = tuple(area.decode() for area in _MERGED.findall(inside))[:20]
    found = set()
    if written is not None and any(mark in inside for mark in _FORMULA):
        for number, row in enumerate(_raw(written, limits), 1):
            found |= {(number, n) for n, cell in enumerate(row, 1) if cell.data_type == "f"}
    hidden, notes = len(_HIDDEN_ROW.findall(inside)), []
    if sheet.sheet_state != "visible":
        notes.append(note("hidden sheet", sheet=sheet.title))
    if hidden:
        notes.append(note("hidden rows", sheet=sheet.title, count=hidden))
    return Page(sheet.title, rows, merged, frozenset(found), frozenset(shares), tuple(notes))


def _raw(sheet, limits: FileLimits) -> Iterable[tuple]:
    """Rows of cells from row 1, one beyond the limit; a stated size is not believed."""
    sheet.reset_dimensions()
    return islice(sheet.iter_rows(min_row=1), limits.rows + 1)


def covered_places(areas: Iterable[str], limits: FileLimits) -> dict[tuple[int, int], str]:
    """(row, column) inside the limits that a merged area hides, with that area."""
    from openpyxl.utils import range_boundaries

    hidden = {}
    for area in areas:
        left, top, right, bottom = range_boundaries(area)
        for row in range(top, min(bottom, limits.rows) + 1):
            for n in range(left, min(right, limits.columns) + 1):
                if (row, n) != (top, left):
                    hidden[row, n] = area
    return hidden


# --- columns ---


def workbook_tables(whole: bytes, faults: Faults, form: Form) -> list[ColumnTable]:
    """A ColumnTable for each sheet that holds one: the sheets named, or every one where it is found."""
    found = workbook_pages(whole, faults, form.limits, form.sheets)
    texts = (value for page in found for row in page.rows[:2000] for value in row)
    commas = [value for value in texts if isinstance(value, str) and "," in value]
    style = comma_style([pa.array(commas, pa.string())])
    sign = form.decimal or ("," if style == "decimal" else ".")
    made, bare = [], []
    for page in found:
        top = [[cell_text(value) for value in row] for row in page.rows[: form.rows]]
        hit = form.find(top)
        if hit:
            made.append(page_table(page, hit, faults, form, sign))
        else:
            bare.append(page.title)
    if not made:
        faults.stop("no filled sheet", remedy=fault_words(form.missing)[1])
    if bare:
        said = note("bare sheets", sheets=", ".join(bare))
        made[0] = replace(made[0], notes=(*made[0].notes, said))
    return made


def page_table(page: Page, hit: FoundTable, faults: Faults, form: Form, sign: str) -> ColumnTable:
    """The columns of a page from the first row of data on.

    Numbers and dates stay such where all filled cells of a column are; else text, numbers in it
    written with the decimal `sign`.
    """
    head, rows = page.rows[max(hit.at - 1, 0) : hit.at], page.rows[hit.at :]
    filled = [n for row in (*head, *rows) for n, cell in enumerate(row, 1) if not _empty(cell)]
    width = max(filled, default=0)
    names = unique_names([*hit.names, *[""] * (width - len(hit.names))][:width])
    body, first = [[*row[:width], *[None] * (width - len(row))] for row in rows], hit.at + 1
    columns = tuple(_column([row[n] for row in body], sign, form.typed) for n in range(width))
    notes = list(page.notes)
    formulas = sorted((row, n) for row, n in page.formulas if row >= first and n <= width)
    unsaved = [(row, n) for row, n in formulas if body[row - first][n - 1] is None]
    if len(formulas) > len(unsaved):
        count = len(formulas) - len(unsaved)
        notes.append(note("formulas", sheet=page.title, count=count))
    hidden = covered_places(page.merged, form.limits)
    lost = [
        ("merged cells", row, names[n - 1], area)
        for (row, n), area in sorted(hidden.items())
        if row >= first and n <= width
    ]
    lost += [("formula", row, names[n - 1], "") for row, n in unsaved]
    if all(_empty(cell) for row in rows for cell in row):
        notes.append(note("only a header", sheet=page.title))
    above = "\n".join("\t".join(cell_text(v) for v in row) for row in page.rows[: hit.at])
    notes = [*notes, *hit.notes] if not form.typed else notes
    found = FoundTable((), hit.at, names, tuple(notes), above=above)
    row = np.arange(first, first + len(body))
    return ColumnTable.of(faults, found, columns, row, page.title, lost=tuple(lost))


def _empty(value) -> bool:
    return value is None or isinstance(value, str) and not value.strip()


def _column(values: list, sign: str, typed: bool) -> pa.Array:
    filled = [value for value in values if value is not None and typed]
    numbers = (isinstance(v, (int, float)) and not isinstance(v, bool) for v in filled)
    if filled and all(numbers):
        return pa.array([None if v is None else float(v) for v in values], pa.float64())
    if filled and all(isinstance(value, datetime) for value in filled):
        return pa.array(values, pa.timestamp("us")).cast(pa.timestamp("s"), safe=False)
    return pa.array([cell_text(value, sign) for value in values], pa.string())


def cell_text(value, sign: str = ".") -> str:
    """A cell as a person would read it: whole numbers without a point, dates as ISO writes them."""
    if value is None:
        return ""
    if isinstance(value, float):
        return (repr(value)[:-2] if repr(value).endswith(".0") else repr(value)).replace(".", sign)
    if isinstance(value, datetime):
        return value.isoformat(" ")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, timedelta):
        ms = round(1000 * value.total_seconds())
        seconds, part = divmod(ms, 1000)
        clock = f"{seconds // 3600}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}"
        return f"{clock}.{part:03d}" if part else clock
    return str(value).strip()

"""The sheet as a workbook: one sheet each for batch, line, process, cook and weighing, or all in one sheet as in CSV.

Nothing in a workbook is ever run or worked out: a formula gives the value it was last saved with, and a note says so; a formula never
saved is a fault. Macros are not read.
"""
import io
import re
import warnings
import zipfile
from collections.abc import Mapping
from itertools import islice

from kit.files import RISKY
from kit.sheet.fields import PARTS
from kit.sheet.grid import MAX_COLUMNS, MAX_ROWS, columns, records, table
from kit.sheet.records import REFUSED, Cell, Draft, Faults
from kit.sheet.values import number_text

MAX_BYTES = 5_000_000
MAX_UNPACKED = 20_000_000
MAX_SHEETS = 20
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z0-9:]{1,30})[\"']")
_REMEDY = "open it in a spreadsheet and save it again as .xlsx, or as CSV UTF-8"


def draft(whole: bytes, faults: Faults) -> Draft:
    _check_container(whole, faults)
    grids, notes = _grids(whole, faults)
    filled = {title: rows for title, rows in grids.items() if any(cell.value is not None for row in rows for cell in row)}
    parts = {title: title.strip().casefold() for title in filled}
    if len(filled) == 1 and next(iter(parts.values())) not in PARTS:
        title, rows = next(iter(filled.items()))
        return Draft(records(rows, "", faults), notes=notes)
    found = []
    for title, part in parts.items():
        if part not in PARTS:
            faults.add(f"sheet {title!r} is not known; the sheets are {', '.join(PARTS)}", Cell(None, sheet=title), remedy="rename or delete it")
        elif list(parts.values()).index(part) != list(parts).index(title):
            faults.add(f"there are two sheets for {part}", Cell(None, sheet=title), remedy="put them together")
        else:
            found += records(filled[title], part, faults)
    return Draft(found, notes=notes)


def _check_container(whole: bytes, faults: Faults) -> None:
    if len(whole) > MAX_BYTES:
        faults.stop(f"the workbook holds {len(whole):,} bytes; the limit is {MAX_BYTES:,}", remedy="take pictures and other tables out")
    if whole.startswith(b"\xd0\xcf\x11\xe0"):
        faults.stop("the file is a workbook of the old binary kind, or is locked by a password",
                    remedy="save it without a password as .xlsx, or as CSV UTF-8")
    try:
        with zipfile.ZipFile(io.BytesIO(whole)) as archive:
            size = sum(part.file_size for part in archive.infolist())
    except Exception:  # a damaged archive fails in many ways, and each means the same to the person
        faults.stop("the file is no workbook, or is damaged", remedy=_REMEDY)
    if size > MAX_UNPACKED:
        faults.stop(f"the workbook unpacks to {size:,} bytes; the limit is {MAX_UNPACKED:,}", remedy="keep only the used rows and columns")


def _grids(whole: bytes, faults: Faults) -> tuple[dict[str, list[list[Cell]]], list[str]]:
    """Cells of each sheet, by title, and notes about saved values of formulas."""
    from openpyxl import load_workbook
    from openpyxl.utils import get_column_letter

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions that openpyxl passes over hold no entries
            book = load_workbook(io.BytesIO(whole), read_only=True)
            if len(book.worksheets) > MAX_SHEETS:
                faults.stop(f"the workbook has {len(book.worksheets)} sheets; the limit is {MAX_SHEETS}", remedy="keep only this batch's sheets")
            raw = {sheet.title: (_merged(whole, sheet), _raw(sheet)) for sheet in book.worksheets}
            saved = {}
            if any(cell.data_type == "f" for _, rows in raw.values() for row in rows for cell in row):
                saved = {sheet.title: _raw(sheet) for sheet in load_workbook(io.BytesIO(whole), read_only=True, data_only=True).worksheets}
    except Exception as cause:  # openpyxl raises anything from KeyError to zlib.error on a damaged file
        faults.stop_if_any()
        faults.stop(f"the workbook cannot be read ({type(cause).__name__})", remedy=_REMEDY)
    notes: list[str] = []
    grids = {}
    for title, (merged, rows) in raw.items():
        for area in merged:
            faults.add(f"cells {area} are merged, which hides what belongs to which row", Cell(None, sheet=title),
                       remedy="unmerge them and fill each cell")
        if len(rows) > MAX_ROWS or any(len(row) > MAX_COLUMNS for row in rows):
            faults.stop(f"the sheet goes on beyond row {MAX_ROWS} or column {MAX_COLUMNS}", Cell(None, sheet=title),
                        remedy="delete what stands far out")
        values = _by_place(saved.get(title, []))
        covered = _covered(merged)

        def read(cell, number, n):
            hidden = (number, n) in covered
            return Cell(REFUSED, number, get_column_letter(n), title) if hidden else _cell(cell, title, number, n, values, faults, notes)

        grids[title] = [[read(cell, number, n) for n, cell in enumerate(row, 1)] for number, row in enumerate(rows, 1)]
    return grids, notes


def _raw(sheet) -> list[tuple]:
    """Rows of openpyxl's cells, from row 1; a stated size is not believed, and one row beyond the limit is kept to show that it is passed."""
    sheet.reset_dimensions()
    return [row[:MAX_COLUMNS + 1] if any(cell.value is not None for cell in row[MAX_COLUMNS:]) else row[:MAX_COLUMNS]
            for row in islice(sheet.iter_rows(min_row=1), MAX_ROWS + 1)]


def _by_place(rows: list[tuple]) -> dict[tuple[int, int], object]:
    return {(number, n): cell.value for number, row in enumerate(rows, 1) for n, cell in enumerate(row, 1)}


def _merged(whole: bytes, sheet) -> list[str]:
    # openpyxl's sparing reader passes merged areas over, and its full one can be made to build millions of cells by a forged file
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        return [area.decode() for area in _MERGED.findall(archive.read(sheet._worksheet_path))][:20]


def _covered(areas: list[str]) -> set[tuple[int, int]]:
    """Places inside the limits that a merged area hides."""
    from openpyxl.utils import range_boundaries

    hidden = set()
    for area in areas:
        left, top, right, bottom = range_boundaries(area)
        hidden |= {(row, n) for row in range(top, min(bottom, MAX_ROWS) + 1) for n in range(left, min(right, MAX_COLUMNS) + 1)} - {(top, left)}
    return hidden


def _cell(cell, title: str, row: int, n: int, saved: Mapping, faults: Faults, notes: list[str]) -> Cell:
    from openpyxl.utils import get_column_letter

    at = Cell(REFUSED, row, get_column_letter(n), title)
    value = cell.value
    if cell.data_type == "f":
        value = saved.get((row, n))
        if value is None:
            faults.add("the cell holds a formula whose value was never saved; formulas are not worked out here", at,
                       remedy="open and save the workbook in a spreadsheet, or type the value in")
            return at
        notes.append(f"{title}!{at.column}{row} holds a formula; the value it was last saved with ({value}) was read")
    if cell.data_type == "e" or isinstance(value, str) and value in ("#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"):
        faults.add(f"the cell holds the error {value}", at, remedy="correct it or empty the cell")
        return at
    if isinstance(value, (int, float)) and not isinstance(value, bool) and "%" in str(cell.number_format or ""):
        faults.add(f"the cell is shown as a percentage but holds {value:g}, a hundred times less", at,
                   remedy=f"set the cell to plain number and write {100 * value:g}; a share goes in the column unit as '% of meat' or '% of batch'")
        return at
    return Cell(value, row, at.column, title)


def written(data: Mapping) -> bytes:
    """The workbook of `Sheet.as_dict()`: a sheet for each part that holds something."""
    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.active)
    for part in PARTS:
        rows = table(data, part, lambda number: number_text(float(number)) == number)
        if not rows:
            continue
        sheet = book.create_sheet(part)
        header = [name for name in columns(part) if any(name in row for row in rows)]
        for n, name in enumerate(header, 1):
            put_cell(sheet.cell(1, n), name)
            sheet.cell(1, n).font = Font(bold=True)
            sheet.column_dimensions[get_column_letter(n)].width = 2 + min(40, max(len(str(row.get(name, ""))) for row in [*rows, {name: name}]))
            for number, row in enumerate(rows, 2):
                if name in row:
                    put_cell(sheet.cell(number, n), float(row[name]) if name == "amount" and "unit" in row else row[name])
        sheet.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def put_cell(cell, value) -> None:
    if isinstance(value, str):
        cell.value = value
        cell.data_type = "s"  # openpyxl would turn '=...' into a formula
        cell.quotePrefix = value.startswith((*RISKY, "'"))
    else:
        # openpyxl writes 16 digits; a float needs up to 17 to come back the same
        cell._value, cell.data_type = number_text(value), "n"

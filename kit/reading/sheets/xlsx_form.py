"""The sheet as a workbook: one sheet for each part, or all in one sheet as in CSV."""

import io
from collections.abc import Mapping

from kit.faults import REFUSED, Cell, Faults
from kit.files import number_text
from kit.reading.opener import column_letter
from kit.reading.shapes import Limits, Page
from kit.reading.sheets.grid import MAX_COLUMNS, MAX_ROWS, columns, records, table
from kit.reading.workbook import ERRORS, covered_places, put_cell, workbook_pages
from kit.sheet.draft import Draft
from kit.sheet.entries import PARTS

LIMITS = Limits(
    (".xlsx",),
    5_000_000,
    "a sheet is one batch; take pictures and other tables out",
    MAX_ROWS,
    MAX_COLUMNS,
    unpacked_bytes=20_000_000,
    workbook_bytes=5_000_000,
    sheets=20,
)


def draft(whole: bytes, faults: Faults) -> Draft:
    """The entries of a workbook."""
    notes: list[str] = []
    found = {p.title: _cells(p, faults, notes) for p in workbook_pages(whole, faults, LIMITS)}
    filled = {
        t: rows for t, rows in found.items() if any(c.value is not None for r in rows for c in r)
    }
    parts = {title: title.strip().casefold() for title in filled}
    if len(filled) == 1 and next(iter(parts.values())) not in PARTS:
        return Draft(records(next(iter(filled.values())), "", faults), notes=notes)
    entries = []
    for title, part in parts.items():
        at = Cell(None, sheet=title)
        if part not in PARTS:
            what = f"sheet {title!r} is not known; the sheets are {', '.join(PARTS)}"
            faults.add(what, at, remedy="rename or delete it")
        elif list(parts.values()).index(part) != list(parts).index(title):
            faults.add(f"there are two sheets for {part}", at, remedy="put them together")
        else:
            entries += records(filled[title], part, faults)
    return Draft(entries, notes=notes)


def _cells(page: Page, faults: Faults, notes: list[str]) -> list[list[Cell]]:
    """The cells of a page; what cannot be taken as it stands is refused and said."""
    for area in page.merged:
        what = f"cells {area} are merged, which hides what belongs to which row"
        faults.add(what, Cell(None, sheet=page.title), remedy="unmerge them and fill each cell")
    covered = covered_places(page.merged, LIMITS)
    return [
        [_cell(page, covered, row, n, value, faults, notes) for n, value in enumerate(values, 1)]
        for row, values in enumerate(page.rows, 1)
    ]


def _cell(page: Page, covered, row: int, n: int, value, faults: Faults, notes: list[str]) -> Cell:
    at = Cell(REFUSED, row, column_letter(n), page.title)
    if (row, n) in covered:
        return at
    if (row, n) in page.formulas:
        if value is None:
            what = "the cell holds a formula whose value was never saved; formulas are not worked out here"
            remedy = "open and save the workbook in a spreadsheet, or type the value in"
            faults.add(what, at, remedy=remedy)
            return at
        place = f"{page.title}!{at.column}{row}"
        notes.append(
            f"{place} holds a formula; the value it was last saved with ({value}) was read"
        )
    if isinstance(value, str) and value in ERRORS:
        faults.add(f"the cell holds the error {value}", at, remedy="correct it or empty the cell")
        return at
    if (row, n) in page.shares:
        what = f"the cell is shown as a percentage but holds {value:g}, a hundred times less"
        remedy = (
            f"set the cell to plain number and write {100 * value:g}; a share goes in the column unit "
            "as '% of meat' or '% of batch'"
        )
        faults.add(what, at, remedy=remedy)
        return at
    return Cell(value, row, at.column, page.title)


def written(data: Mapping) -> bytes:
    """The workbook of `Sheet.as_dict()`: a sheet for each part that holds something."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

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
            widest = max(len(str(row.get(name, ""))) for row in [*rows, {name: name}])
            sheet.column_dimensions[column_letter(n)].width = 2 + min(40, widest)
            for number, row in enumerate(rows, 2):
                if name in row:
                    split = name == "amount" and "unit" in row
                    put_cell(sheet.cell(number, n), float(row[name]) if split else row[name])
        sheet.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()

"""A batch sheet as a workbook, blank or filled: a tab for each part, a list of choices where there is one, and each field's meaning as a note."""

import io
from collections.abc import Mapping

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from kit.files import RISKY, number_text
from kit.materials.composition import offered
from kit.reading.sheet_grid import LISTS, PAIRS, columns, table_rows
from kit.rules.rule_sets import rule_sets
from kit.sheet.entries import PARTS, Field, fields

ROWS = 40
"""empty rows with choices below what is filled in"""


def written_xlsx(data: Mapping) -> bytes:
    """The workbook of `Sheet.as_dict()`; of {} a blank one. Everything may be left out but a name and an amount for each line; the tab of lists is hidden."""
    book = Workbook()
    book.remove(book.active)
    lists = book.create_sheet(LISTS)
    for part in PARTS:
        rows = table_rows(data, part, lambda number: number_text(float(number)) == number)
        (_pairs if part in PAIRS else _grid)(book.create_sheet(part), part, rows, lists)
    lists.sheet_state = "hidden"
    book.move_sheet(lists, len(PARTS))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _pairs(tab: Worksheet, part: str, rows: list[dict], lists: Worksheet) -> None:
    """A row for each entry: its name, and its value, blank where there is none."""
    _head(tab, ("name", "value"))
    values = {row["name"]: row["value"] for row in rows}
    for row, (name, field) in enumerate(fields(part).items(), 2):
        cell = tab.cell(row, 1, name)
        cell.comment = _note(field)
        _put_cell(tab.cell(row, 2), values.get(name))
        _offer(tab, lists, field, f"B{row}")
    tab.column_dimensions["A"].width, tab.column_dimensions["B"].width = 28, 34


def _grid(tab: Worksheet, part: str, rows: list[dict], lists: Worksheet) -> None:
    """A column for each field, a row for each entry."""
    names, about = columns(part), fields(part)
    _head(tab, names)
    for n, name in enumerate(names, 1):
        letter = get_column_letter(n)
        tab.column_dimensions[letter].width = max(12, len(name) + 2)
        for at, entry in enumerate(rows, 2):
            value = entry.get(name)
            if name == "amount" and "unit" in entry:
                value = float(entry["amount"])
            _put_cell(tab.cell(at, n), value)
        if name in about:
            tab.cell(1, n).comment = _note(about[name])
            _offer(tab, lists, about[name], f"{letter}2:{letter}{len(rows) + ROWS + 1}")
    tab.freeze_panes = "A2"


def _put_cell(cell, value) -> None:
    """Write text as text, never as a formula, and a float so that it comes back the same."""
    if value is None or value == "":
        return
    if isinstance(value, str):
        cell.value = value
        cell.data_type = "s"  # openpyxl would turn '=...' into a formula
        cell.quotePrefix = value.startswith((*RISKY, "'"))
    else:
        # openpyxl writes 16 digits; a float needs up to 17
        cell._value, cell.data_type = number_text(value), "n"


def _head(tab: Worksheet, names) -> None:
    for n, name in enumerate(names, 1):
        cell = tab.cell(1, n, name)
        cell.font, cell.fill = Font(bold=True), PatternFill("solid", start_color="E4E6EB")


def _note(field: Field) -> Comment:
    ends = ""
    if field.low is not None:
        ends = f"; between {field.low:g} and {field.high:g} {field.unit}".rstrip()
    comment = Comment(f"{field.meaning}{ends}", "Cold Batter")
    comment.width, comment.height = 320, 110
    return comment


def _offer(tab: Worksheet, lists: Worksheet, field: Field, cells: str) -> None:
    """A list of choices beside these cells; what is typed instead is checked when the sheet is read."""
    choices = field.choices
    if field.name == "rule":
        choices = tuple(rule_sets())
    elif field.name == "material":
        choices = tuple(offered())
    if not choices:
        return
    column = lists.max_column + 1 if lists["A1"].value else 1
    for row, choice in enumerate(choices, 1):
        lists.cell(row, column, choice)
    letter = get_column_letter(column)
    rule = DataValidation(
        type="list", formula1=f"{LISTS}!${letter}$1:${letter}${len(choices)}", allow_blank=True
    )
    rule.showErrorMessage = False
    rule.add(cells)
    tab.add_data_validation(rule)

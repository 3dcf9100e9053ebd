"""A blank batch sheet as a workbook: a tab for each part, a list of choices where there is one, and each field's meaning as a note."""

import io

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from kit.materials.composition import offered
from kit.reading.sheet_grid import LISTS, PAIRS, columns
from kit.rules.rule_sets import rule_sets
from kit.sheet.entries import PARTS, Field, fields

ROWS = 40


def blank_workbook() -> bytes:
    """The workbook. Everything may be left out but a name and an amount for each line; the tab of lists is for the choices alone and is hidden."""
    book = Workbook()
    book.remove(book.active)
    lists = book.create_sheet(LISTS)
    for part in PARTS:
        (_pairs if part in PAIRS else _grid)(book.create_sheet(part), part, lists)
    lists.sheet_state = "hidden"
    book.move_sheet(lists, len(PARTS))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _pairs(tab: Worksheet, part: str, lists: Worksheet) -> None:
    """A row for each entry: its name, and a blank value."""
    _head(tab, ("name", "value"))
    for row, (name, field) in enumerate(fields(part).items(), 2):
        cell = tab.cell(row, 1, name)
        cell.comment = _note(field)
        _offer(tab, lists, field, f"B{row}")
    tab.column_dimensions["A"].width, tab.column_dimensions["B"].width = 28, 34


def _grid(tab: Worksheet, part: str, lists: Worksheet) -> None:
    """A column for each field."""
    names, about = columns(part), fields(part)
    _head(tab, names)
    for n, name in enumerate(names, 1):
        letter = get_column_letter(n)
        tab.column_dimensions[letter].width = max(12, len(name) + 2)
        if name not in about:
            continue
        tab.cell(1, n).comment = _note(about[name])
        _offer(tab, lists, about[name], f"{letter}2:{letter}{ROWS + 1}")
    tab.freeze_panes = "A2"


def _head(tab: Worksheet, names) -> None:
    for n, name in enumerate(names, 1):
        cell = tab.cell(1, n, name)
        cell.font, cell.fill = Font(bold=True), PatternFill("solid", start_color="E4E6EB")


def _note(field: Field) -> Comment:
    ends = (
        f"; between {field.low:g} and {field.high:g} {field.unit}".rstrip()
        if field.low is not None
        else ""
    )
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

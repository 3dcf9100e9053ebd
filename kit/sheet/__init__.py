"""What is planned? One batch sheet, every field checked.

A sheet says what goes into the bowl, how it is to be made, and what each stage weighed. `sheet_of`
makes one of plain data, `kit.read_sheet` of a file. Every fault is reported at once, with its place
and a remedy; nothing is repaired in silence. All entries and their bounds: data/sheet/fields.csv.
"""

from kit.sheet.amount import Amount
from kit.sheet.entries import CookStep, Line, Process, Weighing
from kit.sheet.sheet import Sheet

__all__ = ["Amount", "CookStep", "Line", "Process", "Sheet", "Weighing"]

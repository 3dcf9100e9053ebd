"""What is planned? One batch sheet, every field checked.

A sheet says what goes into the bowl, how it is to be made, and what each stage weighed. `sheet_of`
makes one of plain data, `kit.read_sheet` of a file. Every fault is reported at once, with its place
and a remedy; nothing is repaired in silence. All entries and their bounds: entries.py.
"""

from kit.sheet.amount import Amount, read_amount
from kit.sheet.entries import CookStep, Field, Line, Process, Weighing, fields
from kit.sheet.sheet import Sheet, sheet_of

__all__ = [
    "Amount",
    "CookStep",
    "Field",
    "Line",
    "Process",
    "Sheet",
    "Weighing",
    "fields",
    "read_amount",
    "sheet_of",
]

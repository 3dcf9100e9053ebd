"""What is planned? Reads and writes batch sheets, and checks every field.

A sheet says what goes into the bowl, how it is to be made, and what each stage weighed. It is read from TOML (toml_form.py), CSV or a
workbook (grid.py says the columns), and written back without loss. Every fault of a file is reported at once, with its place and a
remedy; nothing is repaired in silence. All entries and their bounds stand in data/sheet/fields.csv.
"""

from kit.sheet.amount import Amount, read_amount
from kit.sheet.fields import Field, fields
from kit.sheet.files import read_sheet, write_sheet
from kit.sheet.model import CookStep, Line, Process, Sheet, Weighing

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
    "read_sheet",
    "write_sheet",
]

"""The workbook that a station fills in: what is known stands in locked cells, the rest is open, and no cell holds a formula."""

import io
import re
import zipfile

from openpyxl import Workbook
from openpyxl.styles import Protection
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from kit.classroom.plan import ClassPlan
from kit.errors import need
from kit.reading.template import _head, _put_cell
from kit.trial.rows import BOUNDS, FIELDS, words_of

TUBES, BATTERS, STATION, READ_ME = "tubes", "batters", "station", "read me"
KNOWN = ("plan", "code", "station", "batter", "tube", "fill_target_g")
KNOWN_OF_BATTER = ("plan", "station", "batter")
ENTRIES, ENTRIES_OF_BATTER = (
    {row["key"]: BOUNDS[row["key"]][:2] for row in FIELDS if row["table"] == tab}
    for tab in (TUBES, BATTERS)
)
"""column -> lowest and highest entry"""
NOTE = "note"
_STAMP = (1980, 1, 1, 0, 0, 0)
_DAY = b"1980-01-01T00:00:00Z"


def station_book(plan: ClassPlan, station: int) -> bytes:
    """The workbook of one station, the same bytes each time."""
    units = [u for u in plan.design.units if u.station == station]
    need(bool(units), f"station {station} is not in this plan; it has 1 to {plan.stations}")
    book = Workbook()
    book.remove(book.active)
    mark = plan.fingerprint
    tubes = [(mark, text, station, *its) for text, *its in plan.tubes_of(station)]
    _grid(book.create_sheet(TUBES), KNOWN, ENTRIES, tubes)
    batters = [(mark, station, u.batter) for u in units]
    _grid(book.create_sheet(BATTERS), KNOWN_OF_BATTER, ENTRIES_OF_BATTER, batters)
    tab = book.create_sheet(STATION)
    _head(tab, ("name", "value"))
    about: dict[str, int | None] = {"class": plan.class_number, "station": station}
    about |= dict.fromkeys(("balance", "thermometer", "roles"))
    for row, (name, value) in enumerate(about.items(), 2):
        _put_cell(tab.cell(row, 1), name)
        _put_cell(tab.cell(row, 2), value)
        tab.cell(row, 2).protection = Protection(locked=value is not None)
    tab.protection.sheet = True
    words = book.create_sheet(READ_ME)
    for row, (_, line, _) in enumerate(words_of("workbook"), 1):
        _put_cell(words.cell(row, 1), line)
    words.column_dimensions["A"].width = 110
    out = io.BytesIO()
    book.save(out)
    return _undated(out.getvalue())


def _grid(tab, known, entries, rows) -> None:
    names = (*known, *entries, NOTE)
    _head(tab, names)
    for at, row in enumerate(rows, 2):
        for n, value in enumerate(row, 1):
            _put_cell(tab.cell(at, n), value)
        for n in range(len(known) + 1, len(names) + 1):
            tab.cell(at, n).protection = Protection(locked=False)
            if n < len(names):
                tab.cell(at, n).number_format = "General"
    for n, name in enumerate(names, 1):
        letter = get_column_letter(n)
        tab.column_dimensions[letter].width = 30 if name == NOTE else max(11, len(name) + 2)
        if name not in entries:
            continue
        low, high = entries[name]
        rule = DataValidation(
            type="whole" if name == "fold" else "decimal",
            operator="between",
            formula1=f"{low:g}",
            formula2=f"{high:g}",
            allow_blank=True,
            showErrorMessage=True,
            error=f"a number from {low:g} to {high:g}",
        )
        rule.add(f"{letter}2:{letter}{len(rows) + 1}")
        tab.add_data_validation(rule)
    tab.freeze_panes = "A2"
    tab.protection.sheet = True


def _undated(whole: bytes) -> bytes:
    """The same workbook without the time at which it was made."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", _DAY, part)
            info = zipfile.ZipInfo(name, _STAMP)
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, part)
    return out.getvalue()

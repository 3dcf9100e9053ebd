"""What stands in which place? The common shape of every form of a sheet, before it is checked."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from kit.errors import nearest
from kit.faults import Cell, Faults
from kit.sheet.entries import PARTS, fields

MAX_LINES = 200
MAX_TEXT, MAX_NOTE = 200, 4000
MANY = ("line", "cook", "weighing")
_KINDS = {
    bool: "a yes or no",
    str: "text",
    int: "a number",
    float: "a number",
    dict: "a single table",
    list: "a list",
}


Wrong = tuple[str, str, dict[str, Any]]
"""the field, the key of what is wrong with it, and what its words name"""


@dataclass
class DraftEntry:
    """One entry of one part of a sheet: field name -> Cell. `place` is the entry as a whole."""

    part: str
    place: Cell
    cells: dict[str, Cell] = field(default_factory=dict)

    def note(self, wrong: Iterable[Wrong], faults: Faults) -> None:
        """Each fault at its field, or at the whole entry where the field is not written."""
        for name, key, gaps in wrong:
            faults.say(key, self.cells.get(name, self.place), name, **gaps)


@dataclass
class Draft:
    """A file taken apart. `typed`: it tells numbers from text, so that a number in text is a fault."""

    records: list[DraftEntry]
    typed: bool = True
    notes: list[str] = field(default_factory=list)


Rows = Mapping[tuple[str, int, str], int]
"""row of each header and key of a file: (table, number of the table, key) -> row"""


def draft_of(data: Mapping, faults: Faults, rows: Rows | None = None) -> Draft:
    """A Draft of nested data. `rows`: where its entries stand in the file it came from."""
    rows = rows or {}
    known = {*fields("batch"), *PARTS} - {"batch"}
    for key in data:
        if key not in known:
            name, at = str(key)[:60], Cell(None, rows.get(("", 0, str(key))))
            faults.say("unknown entry", at, name, entry=name, near=near(str(key), known))
    head = {key: value for key, value in data.items() if key in fields("batch")}
    records = [_record("batch", head, 0, rows, "")]
    process = data.get("process", {})
    if isinstance(process, Mapping):
        records.append(_record("process", process, 0, rows, "process"))
    else:
        at = Cell(None, rows.get(("", 0, "process")))
        faults.say("not one table", at, "process", kind=_kind(process))
    for part in MANY:
        records += _many(part, data.get(part, []), rows, faults)
    return Draft(records)


def _many(part: str, entries, rows: Rows, faults: Faults) -> list[DraftEntry]:
    if not isinstance(entries, (list, tuple)):
        row = rows.get((part, 0, ""), rows.get(("", 0, part)))
        faults.lost = True
        faults.say("not a list of tables", Cell(None, row), part, part=part, kind=_kind(entries))
        return []
    records = []
    for n, entry in enumerate(entries):
        if isinstance(entry, Mapping):
            records.append(_record(part, entry, n, rows, f"{part} {n + 1}"))
        else:
            faults.lost = True
            at, gaps = Cell(None, rows.get(("", 0, part))), {"part": part, "kind": _kind(entry)}
            faults.say("not a table", at, part, n=n + 1, **gaps)
    return records


def _record(part: str, entry: Mapping, n: int, rows: Rows, label: str) -> DraftEntry:
    table = "" if part == "batch" else part
    place = Cell(None, rows.get((table, n, "")), label=label)
    cells = {
        str(key): Cell(value, rows.get((table, n, str(key)), place.row), label=label)
        for key, value in entry.items()
    }
    return DraftEntry(part, place, cells)


def _kind(value) -> str:
    return _KINDS.get(type(value), "of another kind")


def near(name: str, known: Iterable[str]) -> str:
    """The three nearest names for a message; long nonsense is cut, since likeness costs time."""
    return ", ".join(nearest(name[:80], known))

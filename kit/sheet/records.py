"""What stands in which place of the file? The common shape of all three forms, before anything is checked."""

from dataclasses import dataclass, field

from kit.reading.faults import Cell

MAX_LINES = 200
MAX_TEXT, MAX_NOTE = 200, 4000


@dataclass
class Record:
    """One entry of one part of a sheet: field name -> Cell. `place` stands for the entry as a whole."""

    part: str
    place: Cell
    cells: dict[str, Cell] = field(default_factory=dict)


@dataclass
class Draft:
    """A file taken apart. `typed`: the form tells numbers from text, so a number written as text is a fault."""

    records: list[Record]
    typed: bool = True
    notes: list[str] = field(default_factory=list)

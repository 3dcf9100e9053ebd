"""What stands in which place of the file? The common shape of all three forms, before anything is checked."""
import unicodedata
from dataclasses import dataclass, field

from kit.errors import Fault, Faulty

MAX_LINES = 200
MAX_TEXT, MAX_NOTE = 200, 4000
REFUSED = object()
"""stands for a value that is faulty already, so that nothing more is said about it"""


@dataclass(frozen=True)
class Cell:
    """One value and its place. `row` counts as the person does; `label` says which entry, where there are no columns."""

    value: object
    row: int | None = None
    column: str = ""
    sheet: str = ""
    label: str = ""


def blank(cell: Cell | None) -> bool:
    """Nothing there, or nothing but spaces."""
    return cell is None or cell.value is None or isinstance(cell.value, str) and not cell.value.strip(" \t\r\n\u00a0")


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


class Faults:
    """Collects what is wrong with one file, and raises it all at once."""

    def __init__(self, file: str):
        self.file: str = file
        self.found: dict[Fault, None] = {}
        self.lost = False
        """whole entries could not be read, so nothing can be said about what is missing"""

    def add(self, what: str, at: Cell = Cell(None), name: str = "", remedy: str = "") -> None:
        place = " ".join(part for part in (at.label, name if name != at.column else "") if part)
        self.found[Fault(what, place, at.row, at.column, self.file, at.sheet, remedy)] = None

    def stop_if_any(self) -> None:
        if self.found:
            raise Faulty(f"{self.file or 'The sheet'} cannot be used",
                         sorted(self.found, key=lambda fault: (fault.sheet, fault.row if fault.row is not None else 0)))

    def stop(self, what: str, at: Cell = Cell(None), name: str = "", remedy: str = "") -> None:
        self.add(what, at, name, remedy)
        self.stop_if_any()


def hidden_character(text: str) -> str:
    """The first character that cannot be seen on paper (control, direction mark, unassigned), as 'U+0007'; '' if there is none.

    Line ends and the two joiners that some scripts need are let through.
    """
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") and character not in "\n\u200c\u200d":
            return f"U+{ord(character):04X}"
    return ""

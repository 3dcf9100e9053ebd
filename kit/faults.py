"""Where in the file, and what is wrong there? One list of faults for every reader."""

import unicodedata
from dataclasses import dataclass
from typing import NoReturn

from kit.errors import Fault, Faulty, KitError, OutOfRange
from kit.tables import rows_by

REFUSED = object()
"""stands for a value that is faulty already, so that nothing more is said about it"""


@dataclass(frozen=True)
class Cell:
    """One value and its place.

    `row` counts as the person does; `label` says which entry, where there are no columns.
    """

    value: object
    row: int | None = None
    column: str = ""
    sheet: str = ""
    label: str = ""


NOWHERE = Cell(None)


def blank(cell: Cell | None) -> bool:
    """Nothing there, or nothing but spaces."""
    if cell is None or cell.value is None:
        return True
    return isinstance(cell.value, str) and not cell.value.strip(" \t\r\n\u00a0")


def fault_words(key: str, **gaps) -> tuple[str, str]:
    """What is said of the fault `key` of data/words/faults.csv, and what to try ('' for nothing), the gaps in its words filled."""
    row = rows_by("key", "words", "faults.csv")[key]
    return row["what"].format(**gaps), row["remedy"].format(**gaps)


def said(key: str, **gaps) -> str:
    """The same in one sentence."""
    return "; ".join(filter(None, fault_words(key, **gaps)))


def need_said(holds: bool, key: str, error: type[KitError] = OutOfRange, /, **gaps) -> None:
    """Raise `error` in the words of the fault `key` unless `holds`."""
    if not holds:
        raise error(said(key, **gaps))


class Faults:
    """Collects what is wrong with one file, and raises it all at once."""

    def __init__(self, file: str, what: str = ""):
        self.file = file
        self.what = what or f"{file or 'The file'} cannot be used"
        self.found: dict[Fault, None] = {}
        self.lost = False
        """whole entries could not be read, so nothing can be said about what is missing"""

    def add(self, what: str, at: Cell = NOWHERE, name: str = "", remedy: str = "") -> None:
        """Note one fault at a place."""
        place = " ".join(part for part in (at.label, name if name != at.column else "") if part)
        self.found[Fault(what, place, at.row, at.column, self.file, at.sheet, remedy)] = None

    def say(self, key: str, at: Cell = NOWHERE, name: str = "", **gaps) -> None:
        """Note the fault `key` of data/words/faults.csv at a place, the gaps in its words filled."""
        what, remedy = fault_words(key, **gaps)
        self.add(what, at, name, remedy)

    def refuse(self, cause: KitError, at: Cell = NOWHERE, name: str = "") -> None:
        """Note why something was refused: the fault, and after its first semicolon what to try."""
        what, _, remedy = str(cause).partition("; ")
        self.add(what, at, name, remedy)

    def stop_if_any(self) -> None:
        """Raise Faulty with everything noted so far."""
        if self.found:
            ordered = sorted(self.found, key=lambda fault: (fault.sheet, fault.row or 0))
            raise Faulty(self.what, ordered)

    def stop(self, key: str, at: Cell = NOWHERE, name: str = "", **gaps) -> NoReturn:
        """Note one fault as `say` does, and raise."""
        self.say(key, at, name, **gaps)
        self.stop_if_any()
        raise AssertionError("a fault was just added")


def hidden_character(text: str) -> str:
    """The first character that cannot be seen on paper, as 'U+0007'; '' if there is none.

    Such are control characters, direction marks and unassigned ones. Line ends and the two joiners
    that some scripts need are let through.
    """
    hidden = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
    for character in text:
        if unicodedata.category(character) in hidden and character not in "\n\u200c\u200d":
            return f"U+{ord(character):04X}"
    return ""

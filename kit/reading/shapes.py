"""What a file may be, where the table stands in it, and a page of its cells."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", " ": "spaces"}


@dataclass(frozen=True)
class FileLimits:
    """What one kind of file may be; `split` says what to do with a larger one.

    No suffixes: any is read.
    """

    suffixes: tuple[str, ...]
    bytes: int
    split: str
    rows: int = 1_048_576
    columns: int = 500
    unpacked_bytes: int = 1_000_000_000


class FoundTable(NamedTuple):
    """A table among the first rows of a page, and how the rows of a text are to be taken apart."""

    score: tuple
    """how well it fits"""
    at: int
    """rows above the first one of data"""
    names: tuple[str, ...]
    notes: tuple[str, ...] = ()
    separator: str = ""
    start: int = 0
    """bytes before the first row of data"""
    above: str = ""
    repeating: tuple[int, ...] = ()
    """columns of which the first rows hold few distinct cells"""


@dataclass(frozen=True)
class Form:
    """What one reader says of its tables; where they are and how they are written is found out."""

    limits: FileLimits
    find: Callable[[Sequence[Sequence[str]]], FoundTable | None]
    """the table among the first cells of a page, taken apart by one separator"""
    missing: str
    """the fault where there is none"""
    what: str = ""
    """how the reader calls such a file"""
    rows: int = 40
    """first rows in which the table is looked for"""
    separators: str = ",;\t|"
    sheets: tuple[str, ...] = ()
    """of a workbook; none named: every one that holds a table"""
    decimal: str | None = None
    """sign for the numbers of a workbook that stand in a column of texts"""
    typed: bool = True
    """numbers and dates of a workbook stay such"""
    longest: int = 1_000_000
    """the most characters of one cell among the first rows"""


@dataclass(frozen=True)
class Page:
    """The cells of one sheet of a workbook, or of one text file, as they stand: row 1 first."""

    title: str
    rows: Sequence[Sequence[object]]
    merged: tuple[str, ...] = ()
    """areas of merged cells, such as 'A2:A5'"""
    formulas: frozenset[tuple[int, int]] = frozenset()
    """(row, column) of formulas; the value is the one last saved, None where none was"""
    shares: frozenset[tuple[int, int]] = frozenset()
    """(row, column) of numbers shown as a percentage"""
    notes: tuple[str, ...] = ()
    separator: str = ""
    """of a text file"""


def unique_names(header) -> tuple[str, ...]:
    """Names without doubles: a second 'Weight' is 'Weight (2)', one without a header 'column 7'."""
    names: list[str] = []
    for n, cell in enumerate(header, 1):
        name = stem = " ".join(str(cell).split()) or f"column {n}"
        count = 1
        while name in names:
            count += 1
            name = f"{stem} ({count})"
        names.append(name)
    return tuple(names)

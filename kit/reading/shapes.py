"""What every reader of files passes on: pages of cells, tables of columns, and their limits."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
LOOKED_AT = 40
"""rows searched for the header"""
HEAD_BYTES = 1_000_000
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
OLD_WORDS = "the file is a workbook of the old binary kind, or is locked by a password"
OLD_REMEDY = "save it without a password as .xlsx, or as CSV UTF-8"


@dataclass(frozen=True)
class Limits:
    """What one kind of file may be; `split` says what to do with a larger one.

    No suffixes: any is read.
    """

    suffixes: tuple[str, ...]
    bytes: int
    split: str
    rows: int = 1_048_576
    columns: int = 500
    unpacked_bytes: int = 1_000_000_000
    workbook_bytes: int = 100_000_000
    sheets: int = 200


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


@dataclass(frozen=True)
class Layout:
    """How the rows of a text table are to be taken apart, and how well that fits."""

    separator: str
    header_row: int
    names: tuple[str, ...]
    start: int
    """bytes before the first row below the header"""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """Columns of text, numbers or time stamps.

    `row` is each row's number as the person counts it (Parquet: as if under a header).
    """

    file: str
    sheet: str
    names: tuple[str, ...]
    columns: tuple[pa.Array, ...]
    row: np.ndarray
    header_row: int
    torn: tuple[tuple[int, str], ...] = ()
    """(row, its text) with another number of cells than the header"""
    blank: int = 0
    covered: tuple[tuple[int, str, str], ...] = ()
    """(row, column, area) hidden under a merged cell"""
    unsaved: tuple[tuple[int, str], ...] = ()
    """(row, column) of formulas whose value was never saved"""
    notes: tuple[str, ...] = field(default=(), compare=False)

    def column(self, name: str) -> pa.Array:
        """The column of this name."""
        return self.columns[self.names.index(name)]


def without_blank(columns, row):
    """(columns, row numbers, how many) without the rows in which nothing stands."""
    blank = np.ones(row.size, dtype=bool)
    for column in columns:
        empty = pc.is_null(column)
        if pa.types.is_string(column.type):
            empty = pc.or_(empty, pc.equal(pc.binary_length(pc.fill_null(column, "")), 0))
        blank &= empty.to_numpy(zero_copy_only=False)
        if not blank.any():
            return columns, row, 0
    keep = pa.array(~blank)
    return tuple(column.filter(keep) for column in columns), row[~blank], int(blank.sum())

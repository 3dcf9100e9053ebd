"""Tables of columns, and text columns that become numbers, whole columns at a time; what cannot be read becomes nan."""

import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit.faults import Cell, Faults
from kit.reading.shapes import FoundTable

NOTHING = pa.nulls(1, pa.string())[0]  # `pa.scalar` would load pandas, 30 MB, in every lesson
"""a cell in which nothing stands"""
_PLAIN = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_COMMAS_GROUP = r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$"
_MARKS = "[ \u00a0\u202f\u2009'’]"
"""signs that group thousands and cannot be a decimal sign"""
_GROUPED = rf"^[+\-−]?\d{{1,3}}({_MARKS}\d{{3}})+([.,]\d+)?\s*[A-Za-z#\"]*\.?$"
_UNIT = re.compile(r"\s*[A-Za-z#\"]+\.?$")
_DOTS_GROUP = r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$"


@dataclass(frozen=True)
class ColumnTable:
    """Columns of text, whole or coded, numbers or time stamps.

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
    lost: tuple[tuple[str, int, str, str], ...] = ()
    """(why, row, column, area) of cells that hold no value: 'merged cells', hidden under that area; 'formula', whose value was never saved"""
    notes: tuple[str, ...] = ()
    above: str = ""
    """the text above the rows of data"""
    what: str = ""
    """how the reader calls such a file"""

    @classmethod
    def of(
        cls, faults: Faults, found: FoundTable, columns, row, sheet: str = "", blank=0, **more
    ) -> "ColumnTable":
        """A table as it was found in a file, without the rows in which nothing stands; `blank`: of others that are counted with them."""
        columns, row, gone = without_blank(columns, row)
        more |= {"blank": blank + gone, "notes": found.notes, "above": found.above}
        return cls(
            faults.file, sheet, found.names, columns, row, found.at, what=faults.what, **more
        )

    def column(self, name: str) -> pa.Array:
        """The column of this name: text, numbers or time stamps."""
        column = self.columns[self.names.index(name)]
        return as_text(column) if is_coded(column) else column

    def coded(self, name: str) -> pa.DictionaryArray:
        """The column of this name as text, each distinct cell held once."""
        return coded(self.columns[self.names.index(name)])

    def say(self, faults: Faults) -> None:
        """Note every cell and row that cannot be taken as it stands."""
        for row, text in self.torn:
            at, shown = Cell(None, row, sheet=self.sheet), text.strip()[:60]
            faults.say("torn row", at, columns=len(self.names), text=shown)
        for why, row, column, area in self.lost:
            faults.say(why, Cell(None, row, column, self.sheet), area=area)

    def stop(self, key: str, column: str = "", row: int | None = None, **gaps) -> NoReturn:
        """Raise the fault `key` of data/words/faults.csv at a place of this table."""
        Faults(self.file, self.what).stop(key, Cell(None, row, column, self.sheet), **gaps)


def is_text(column: pa.Array) -> bool:
    return pa.types.is_string(column.type)


def is_coded(column: pa.Array) -> bool:
    """Is it text of which each distinct cell is held once?"""
    return pa.types.is_dictionary(column.type)


def coded(column: pa.Array) -> pa.DictionaryArray:
    """The column as text, each distinct cell held once."""
    return column if is_coded(column) else as_text(column).dictionary_encode()


def each_once(codes: pa.Array, distinct: pa.Array) -> pa.DictionaryArray:
    """Coded text without blanks around it; where no code stands, nothing does."""
    distinct = pc.utf8_trim_whitespace(pc.fill_null(pc.cast(distinct, pa.string()), ""))
    if codes.null_count:
        codes = pc.fill_null(codes, len(distinct))
        distinct = pa.concat_arrays([distinct, pa.array([""])])
    made = pa.DictionaryArray.from_arrays(codes, distinct)
    double = len(distinct.unique()) < len(distinct)
    return made.dictionary_decode().dictionary_encode() if double else made


def as_text(column: pa.Array) -> pa.Array:
    """The column as the person would see it: whole numbers without a point, days without a clock."""
    if is_coded(column):
        return column.dictionary_decode()
    if is_text(column):
        return column
    tail = " 00:00:00$" if pa.types.is_timestamp(column.type) else r"\.0$"
    text = pc.replace_substring_regex(pc.cast(column, pa.string()), tail, "")
    return pc.fill_null(text, "")


def empty_cells(column: pa.Array) -> np.ndarray:
    if is_coded(column):
        return of_each(column, empty_cells(column.dictionary))
    gone = pc.equal(pc.binary_length(column), 0) if is_text(column) else pc.is_null(column)
    return gone.to_numpy(zero_copy_only=False).astype(bool)


def without_blank(columns, row):
    """(columns, row numbers, how many) without the rows in which nothing stands."""
    blank = np.ones(row.size, dtype=bool)
    for column in columns:
        blank &= empty_cells(column)
        if not blank.any():
            return columns, row, 0
    keep = pa.array(~blank)
    return tuple(column.filter(keep) for column in columns), row[~blank], int(blank.sum())


def of_each(column: pa.DictionaryArray, distinct: np.ndarray) -> np.ndarray:
    """For each row, what stands for its distinct cell."""
    codes = column.indices.to_numpy(zero_copy_only=False)
    return distinct[codes] if distinct.any() else np.zeros(codes.size, distinct.dtype)


def each_text(
    text: pa.Array, read: Callable, dtype: type | str = bool, rough: str = ""
) -> np.ndarray:
    """What `read` makes of each cell; each distinct text is read once, and of those in plain letters only what holds the pattern `rough`."""
    found = text if is_coded(text) else pc.fill_null(text, "").dictionary_encode()
    cells = found.dictionary
    if rough:
        hit = pc.match_substring_regex(cells, rough, ignore_case=True)
        at = np.flatnonzero(pc.or_(hit, pc.invert(pc.string_is_ascii(cells))))
        each = np.zeros(len(cells), dtype)
        each[at] = [read(cell) for cell in cells.take(pa.array(at)).to_pylist()]
    else:
        each = np.array([read(cell) for cell in cells.to_pylist()], dtype=dtype)
    return of_each(found, each)


def sample(column: pa.Array, count: int = 2000) -> list[str]:
    """Up to `count` cells, spread over the column, blanks left out."""
    step = max(len(column) // count, 1)
    return [cell for cell in column[::step].to_pylist() if cell]


def ungrouped(column: pa.Array) -> pa.Array:
    """Numbers without the blanks or apostrophes between their thousands: '1 234,5' and "1'234.5"."""
    good = pc.match_substring_regex(column, _GROUPED)
    if not pc.any(good).as_py():
        return column
    bare = column
    for _ in range(2):  # a match takes the digits that the next one would need
        bare = pc.replace_substring_regex(bare, rf"(\d){_MARKS}(\d{{3}})", r"\1\2")
    return pc.if_else(good, bare, column)


def matches(text: pa.Array, pattern: str) -> np.ndarray:
    """Which cells hold what the pattern describes?"""
    return pc.match_substring_regex(text, pattern).to_numpy(zero_copy_only=False).astype(bool)


def any_has(column: pa.Array, part: str, ignore_case: bool = False) -> bool:
    return bool(pc.any(pc.match_substring(column, part, ignore_case=ignore_case)).as_py())


# --- numbers ---


def numbers(column: pa.Array, comma: str) -> np.ndarray:
    """Floats; `comma` is "decimal", "thousands" or "" (none expected), and cells that do not fit that are nan."""
    text = pc.if_else(pc.equal(pc.binary_length(column), 0), NOTHING, column)
    if comma != "decimal":
        with suppress(pa.ArrowInvalid):  # the usual case, read at once
            return _finite(pc.cast(text, pa.float64()))
    text = ungrouped(text)
    text = pc.replace_substring(text, "−", "-") if any_has(text, "−") else text
    if comma == "decimal":
        text = _only(text, ".", _DOTS_GROUP)
        text = pc.replace_substring(text, ".", "") if any_has(text, ".") else text
        text = pc.replace_substring(text, ",", ".")
    elif comma == "thousands":
        text = pc.replace_substring(_only(text, ",", _COMMAS_GROUP), ",", "")
    return floats(text)


def _only(text, mark: str, pattern: str):
    """Cells that hold `mark` but do not match `pattern` become null."""
    if not any_has(text, mark):
        return text
    good = pc.or_(
        pc.invert(pc.match_substring(text, mark)), pc.match_substring_regex(text, pattern)
    )
    return pc.if_else(good, text, NOTHING)


def floats(text) -> np.ndarray:
    """Plain numbers; what is none, or is not finite, is nan."""
    try:
        cast = pc.cast(text, pa.float64())
    except pa.ArrowInvalid:
        good = pc.match_substring_regex(text, _PLAIN)
        cast = pc.cast(pc.if_else(good, text, NOTHING), pa.float64())
    return _finite(cast)


def _finite(column: pa.Array) -> np.ndarray:
    found = column.to_numpy(zero_copy_only=False)
    return found if np.isfinite(found).all() else np.where(np.isfinite(found), found, np.nan)


def comma_style(columns, declared: bool | None = None) -> str:
    """How the numeric columns of a file use commas, all of them together, units taken off.

    "decimal", "thousands", "" (no commas), "mixed", or "unclear".
    """
    cells = [_UNIT.sub("", c) for column in columns for c in sample(ungrouped(column))]
    commas = [cell for cell in cells if "," in cell]
    if declared is not None or not commas:
        return "" if not commas else "decimal" if declared else "thousands"
    groups = {cell for cell in commas if re.match(_COMMAS_GROUP, cell)}
    grouped = any("." in cell or cell.count(",") > 1 for cell in groups)
    decimal = any(c not in groups or c.lstrip("+-").startswith("0") for c in commas)
    points = any(
        "." in cell and re.match(_PLAIN, cell) and not re.match(_DOTS_GROUP, cell)
        for cell in cells
        if "," not in cell
    )
    if decimal and (grouped or points):
        return "mixed"
    return "decimal" if decimal else "thousands" if grouped or points else "unclear"


def without_unit(column: pa.Array) -> tuple[pa.Array, np.ndarray, np.ndarray]:
    """The cells without a trailing °C or °F, and which rows said C and which F."""
    if not (any_has(column, "C", True) or any_has(column, "F", True)):
        nowhere = np.zeros(len(column), dtype=bool)
        return column, nowhere, nowhere
    folded = pc.utf8_upper(column)
    with_C, with_F = (matches(folded, rf"\d\s*(°|º|DEG)?\s*{letter}$") for letter in "CF")
    bare = pc.replace_substring_regex(folded, r"(\d)\s*(°|º|DEG)?\s*[CF]$", r"\1")
    return pc.utf8_trim_whitespace(bare), with_C, with_F

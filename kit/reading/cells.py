"""Text columns become numbers, whole columns at a time; what cannot be read becomes nan."""

import re
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

_PLAIN = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_COMMAS_GROUP = r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$"
_MARKS = "[ \u00a0\u202f\u2009'’]"
"""signs that group thousands and cannot be a decimal sign"""
_GROUPED = rf"^[+\-−]?\d{{1,3}}({_MARKS}\d{{3}})+([.,]\d+)?\s*[A-Za-z#\"]*\.?$"
_UNIT = re.compile(r"\s*[A-Za-z#\"]+\.?$")
_DOTS_GROUP = r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$"


def trimmed(column: pa.Array) -> pa.Array:
    return pc.utf8_trim_whitespace(column)


def nothing() -> pa.Scalar:
    """A cell in which nothing stands."""
    return pa.scalar(None, pa.string())


def is_text(column: pa.Array) -> bool:
    return pa.types.is_string(column.type)


def as_text(column: pa.Array) -> pa.Array:
    """The column as the person would see it: whole numbers without a point, days without a clock."""
    if is_text(column):
        return column
    tail = " 00:00:00$" if pa.types.is_timestamp(column.type) else r"\.0$"
    text = pc.replace_substring_regex(pc.cast(column, pa.string()), tail, "")
    return pc.fill_null(text, "")


def empty_cells(column: pa.Array) -> np.ndarray:
    gone = pc.equal(pc.binary_length(column), 0) if is_text(column) else pc.is_null(column)
    return gone.to_numpy(zero_copy_only=False).astype(bool)


def each_text(
    text: pa.Array, read: Callable, dtype: type | str = bool, rough: str = ""
) -> np.ndarray:
    """What `read` makes of each cell; each distinct text is read once, and of those in plain letters only what holds the pattern `rough`."""
    coded = (pc.fill_null(text, "") if text.null_count else text).dictionary_encode()
    cells = coded.dictionary
    if rough:
        hit = pc.match_substring_regex(cells, rough, ignore_case=True)
        at = np.flatnonzero(pc.or_(hit, pc.invert(pc.string_is_ascii(cells))))
        each = np.zeros(len(cells), dtype)
        each[at] = [read(cell) for cell in cells.take(pa.array(at)).to_pylist()]
    else:
        each = np.array([read(cell) for cell in cells.to_pylist()], dtype=dtype)
    return each[coded.indices.to_numpy(zero_copy_only=False)] if each.size else each


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


def any_has(column: pa.Array, part: str, ignore_case: bool = False) -> bool:
    return bool(pc.any(pc.match_substring(column, part, ignore_case=ignore_case)).as_py())


# --- numbers ---


def numbers(column: pa.Array, comma: str) -> np.ndarray:
    """Floats; `comma` is "decimal", "thousands" or "" (none expected), and cells that do not fit that are nan."""
    text = ungrouped(column)
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
    return pc.if_else(good, text, nothing())


def floats(text) -> np.ndarray:
    """Plain numbers; what is none, or is not finite, is nan."""
    try:
        cast = pc.cast(text, pa.float64())
    except pa.ArrowInvalid:
        good = pc.match_substring_regex(text, _PLAIN)
        cast = pc.cast(pc.if_else(good, text, nothing()), pa.float64())
    found = cast.to_numpy(zero_copy_only=False)
    return np.where(np.isfinite(found), found, np.nan)


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
    patterns = (rf"\d\s*(°|º|DEG)?\s*{letter}$" for letter in "CF")
    with_C, with_F = (
        pc.match_substring_regex(folded, pattern).to_numpy(zero_copy_only=False)
        for pattern in patterns
    )
    bare = pc.replace_substring_regex(folded, r"(\d)\s*(°|º|DEG)?\s*[CF]$", r"\1")
    return trimmed(bare), with_C, with_F

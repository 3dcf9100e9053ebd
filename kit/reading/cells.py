"""Text columns become numbers, whole columns at a time; what cannot be read becomes nan."""

import re
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
_COMMAS_GROUP = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?$")
_DOTS_GROUP = re.compile(r"[+-]?\d{1,3}(\.\d{3})+(,\d*)?$")
_UNIT = re.compile(r"\s*[°º]?\s*[A-Za-z#\"]+\.?$")
_LONGEST = 60


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


def each_text(text: pa.Array, read: Callable, dtype: type | str = bool) -> np.ndarray:
    """What `read` makes of each cell; each distinct text is read once."""
    coded = (pc.fill_null(text, "") if text.null_count else text).dictionary_encode()
    each = np.array([read(cell) for cell in coded.dictionary.to_pylist()], dtype=dtype)
    return each[coded.indices.to_numpy(zero_copy_only=False)] if each.size else each


def sample(column: pa.Array, count: int = 2000) -> list[str]:
    """Up to `count` cells, spread over the column, blanks left out."""
    step = max(len(column) // count, 1)
    return [cell for cell in column[::step].to_pylist() if cell]


# --- numbers ---


def numbers(column: pa.Array, comma: str) -> np.ndarray:
    """Floats; `comma` is "decimal", "thousands" or "" (none expected), and cells that do not fit that are nan."""
    return each_text(column, lambda text: number(text, comma), float)


def number(text: str, comma: str) -> float:
    """One plain number, or nan."""
    text = text.replace("−", "-")
    if comma == "decimal":
        if "." in text and not _DOTS_GROUP.match(text):
            return np.nan
        text = text.replace(".", "").replace(",", ".")
    elif comma == "thousands" and _COMMAS_GROUP.match(text):
        text = text.replace(",", "")
    found = float(text) if len(text) <= _LONGEST and _PLAIN.match(text) else np.nan
    return found if np.isfinite(found) else np.nan


def comma_style(columns, declared: bool | None = None) -> str:
    """How the numeric columns of a file use commas, all of them together, units taken off.

    "decimal", "thousands", "" (no commas), "mixed", or "unclear".
    """
    cells = [_UNIT.sub("", cell) for column in columns for cell in sample(column)]
    commas = [cell for cell in cells if "," in cell]
    if declared is not None or not commas:
        return "" if not commas else "decimal" if declared else "thousands"
    groups = {cell for cell in commas if _COMMAS_GROUP.match(cell)}
    grouped = any("." in cell or cell.count(",") > 1 for cell in groups)
    decimal = any(c not in groups or c.lstrip("+-").startswith("0") for c in commas)
    points = any(
        "." in cell and _PLAIN.match(cell) and not _DOTS_GROUP.match(cell)
        for cell in cells
        if "," not in cell
    )
    if decimal and (grouped or points):
        return "mixed"
    return "decimal" if decimal else "thousands" if grouped or points else "unclear"

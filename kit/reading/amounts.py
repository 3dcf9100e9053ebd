"""Columns of numbers with or without units become amounts in one unit; what cannot be read is told apart from what is empty."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit import units
from kit.errors import KitError
from kit.reading import cells
from kit.reading.cells import coded, each_text, empty_cells, is_text
from kit.reading.words import words

AMOUNT = r"^(?P<number>[+\-−]?[\d.,]+)\s*(?P<unit>[A-Za-z#\"]+\.?)$"


@dataclass(frozen=True)
class Read:
    """Values of a column; `unread` are cells that hold something else, `empty` those that hold nothing."""

    values: np.ndarray
    unread: np.ndarray
    empty: np.ndarray
    no_unit: np.ndarray
    """among the unread: numbers without a unit, or in one of another kind"""
    notes: tuple[str, ...] = ()


def numbers(column: pa.Array, decimal: str) -> Read:
    """Plain numbers; a comma is a decimal or groups thousands as `decimal` ("," or ".") says."""
    empty = empty_cells(column)
    if is_text(column):
        found = cells.numbers(column, "decimal" if decimal == "," else "thousands")
    elif pa.types.is_timestamp(column.type):
        found = np.full(len(column), np.nan)
    else:
        found = pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False)
        found = np.where(np.isfinite(found), found, np.nan)
    return Read(found, np.isnan(found) & ~empty, empty, np.zeros(empty.size, bool))


def amounts(
    column: pa.Array, unit: str, decimal: str, unit_cells: pa.Array | None = None, into: str = "kg"
) -> Read:
    """Amounts in `into`; a unit in the cell goes before `unit`, and that before the row's own in `unit_cells`."""
    plain = numbers(column, decimal)
    per: np.ndarray | float
    if unit_cells is not None and not unit:
        per = each_text(coded(unit_cells), lambda said: factor(said, into), float)
    else:
        per = factor(unit, into)
    found = plain.values * per
    unread = np.isnan(found) & ~plain.empty
    no_unit = unread & ~plain.unread
    notes: tuple[str, ...] = ()
    if plain.unread.any() and is_text(column):
        at = np.flatnonzero(plain.unread)
        own = _with_units(cells.ungrouped(column.take(pa.array(at))), decimal, into)
        found[at], unread[at] = own, np.isnan(own)
        count = int(np.isfinite(own).sum())
        if count:
            notes = (f"cells with a unit of their own, which was used: {count}",)
    return Read(np.where(unread, np.nan, found), unread, plain.empty, no_unit, notes)


def factor(unit: str, into: str = "kg") -> float:
    """How many of `into` one `unit` is; nan where it is of another kind."""
    said = unit.strip().rstrip(".")
    said = "in" if said == '"' else words()["unit"].get(said.casefold(), said)
    if said == into:
        return 1.0
    try:
        return units.read(f"1 {said}", into, "unit")
    except KitError:
        return np.nan


def _with_units(column: pa.Array, decimal: str, into: str) -> np.ndarray:
    """'12.5 lb' and '1 lb 4 oz'; nan where a cell is neither."""
    parts = pc.extract_regex(column, AMOUNT)
    unit = pc.fill_null(pc.struct_field(parts, "unit"), "")
    found = numbers(pc.fill_null(pc.struct_field(parts, "number"), ""), decimal).values
    found = found * each_text(unit, lambda said: factor(said, into), float)
    left = np.flatnonzero(np.isnan(found))
    found[left] = each_text(column.take(pa.array(left)), lambda t: amount(t, decimal, into), float)
    return found


def amount(text: str, decimal: str, into: str = "kg") -> float:
    """An amount in words such as '1 lb 4 oz'; nan where it is none."""
    if len(text) > 40 or not any(letter.isalpha() for letter in text):
        return np.nan
    try:
        return units.read(text, into, "amount", decimal_comma=decimal == ",")
    except KitError:
        return np.nan

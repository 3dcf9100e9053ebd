"""Columns of weights become kilograms; what cannot be read is told apart from what is empty."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit import units
from kit.errors import KitError
from kit.reading import cells
from kit.reading.cells import as_text, each_text, empty_cells, is_text
from kit.reading.words import words

AMOUNT = r"^(?P<number>[+\-−]?[\d.,]+)\s*(?P<unit>[A-Za-z#]+\.?)$"


@dataclass(frozen=True)
class Read:
    """Values of a column; `unread` are cells that hold something else, `empty` those that hold nothing."""

    values: np.ndarray
    unread: np.ndarray
    empty: np.ndarray
    no_unit: np.ndarray
    """among the unread: numbers without a unit, or in one that is no mass"""
    notes: tuple[str, ...] = ()


def numbers(column: pa.Array, decimal: str) -> Read:
    """Plain numbers; a comma is a decimal or groups thousands as the mapping says."""
    empty = empty_cells(column)
    if is_text(column):
        found = cells.numbers(column, "decimal" if decimal == "," else "thousands")
    elif pa.types.is_timestamp(column.type):
        found = np.full(len(column), np.nan)
    else:
        found = pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False)
        found = np.where(np.isfinite(found), found, np.nan)
    return Read(found, np.isnan(found) & ~empty, empty, np.zeros(empty.size, bool))


def kilograms(
    column: pa.Array, unit: str, decimal: str, unit_cells: pa.Array | None = None
) -> Read:
    """Kilograms from a column in `unit`, or in the unit of `unit_cells`.

    A unit written in the cell goes before both; a cell without any unit is unread.
    """
    plain = numbers(column, decimal)
    by_row = unit_cells is not None and not unit
    kg = plain.values * (each_text(as_text(unit_cells), factor, float) if by_row else factor(unit))
    unread = np.isnan(kg) & ~plain.empty
    no_unit = unread & ~plain.unread
    notes: tuple[str, ...] = ()
    if plain.unread.any() and is_text(column):
        at = np.flatnonzero(plain.unread)
        own = _with_units(column.take(pa.array(at)), decimal)
        kg[at], unread[at] = own, np.isnan(own)
        count = int(np.isfinite(own).sum())
        if count:
            notes = (f"cells with a unit of their own, which was used: {count}",)
    return Read(np.where(unread, np.nan, kg), unread, plain.empty, no_unit, notes)


def factor(unit: str) -> float:
    """Kilograms in one `unit`; nan where it is no mass."""
    said = unit.strip()
    try:
        return units.read(f"1 {words()['unit'].get(said.casefold(), said)}", "kg", "unit")
    except KitError:
        return np.nan


def _with_units(column: pa.Array, decimal: str) -> np.ndarray:
    """'12.5 lb' and '1 lb 4 oz' in kg; nan where a cell is neither."""
    parts = pc.extract_regex(column, AMOUNT)
    comma = "decimal" if decimal == "," else "thousands"
    unit = each_text(pc.fill_null(pc.struct_field(parts, "unit"), ""), factor, float)
    found = cells.numbers(pc.struct_field(parts, "number"), comma) * unit
    left = np.flatnonzero(np.isnan(found))
    found[left] = each_text(column.take(pa.array(left)), lambda text: amount(text, decimal), float)
    return found


def amount(text: str, decimal: str) -> float:
    """An amount in words such as '1 lb 4 oz' in kg; nan where it is none."""
    if len(text) > 40 or not any(letter.isalpha() for letter in text):
        return np.nan
    try:
        return units.read(text, "kg", "weight", decimal_comma=decimal == ",")
    except KitError:
        return np.nan

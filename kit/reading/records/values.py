"""Whole columns become kilograms, time stamps and codes; what cannot be read is told apart from what is empty."""

import contextlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit import units
from kit.errors import KitError
from kit.reading import cells
from kit.reading.records.words import words

EXCEL_DAY_0 = np.datetime64("1899-12-30", "s")
"""day 0 of a spreadsheet's serial dates, as they run since March 1900"""
NO_TIME = np.datetime64("NaT", "s")
_ISO = r"^\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2})?)?$"
_PARTS = r"^(?P<date>\d{1,4}[-./]\d{1,2}[-./]\d{1,4})(?:[,;T ]+(?P<clock>[\d:.]+(?:\s*[AaPp]\.?[Mm]\.?)?))?$"
MONTHS = {
    name: n
    for n, name in enumerate(
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"], 1
    )
}
_NAMED = (
    re.compile(
        r"(?:[A-Za-z]{3,9},?\s+)?(?P<d>\d{1,2})[\s.\-/]*(?P<m>[A-Za-z]{3,9})\.?[\s,.\-/]*(?P<y>\d{4}|\d{2})(?P<rest>[\sT,].*)?$"
    ),
    re.compile(
        r"(?:[A-Za-z]{3,9},?\s+)?(?P<m>[A-Za-z]{3,9})\.?\s+(?P<d>\d{1,2})(?:st|nd|rd|th)?,?\s+(?P<y>\d{4})(?P<rest>[\sT,].*)?$"
    ),
)
AMOUNT = r"^(?P<number>[+\-−]?[\d.,]+)\s*(?P<unit>[A-Za-z#]+\.?)$"
SERIAL_DAYS = (20_000.0, 80_000.0)
"""what a number in a column of dates must lie between to be a serial date: 1954 to 2119"""


@dataclass(frozen=True)
class Read:
    """Values of a column; `unread` are cells that hold something else, `empty` those that hold nothing."""

    values: np.ndarray
    unread: np.ndarray
    empty: np.ndarray
    notes: tuple[str, ...] = ()
    no_unit: np.ndarray | None = None
    """among the unread: numbers without a unit, or in one that is no mass"""


def is_text(column: pa.Array) -> bool:
    return pa.types.is_string(column.type)


def as_text(column: pa.Array) -> pa.Array:
    """The column as the person would see it: whole numbers without a point, days without a clock."""
    if is_text(column):
        return column
    if pa.types.is_timestamp(column.type):
        text = pc.replace_substring_regex(pc.cast(column, pa.string()), " 00:00:00$", "")
    else:
        text = pc.replace_substring_regex(pc.cast(column, pa.string()), r"\.0$", "")
    return pc.fill_null(text, "")


def empty_cells(column: pa.Array) -> np.ndarray:
    gone = pc.equal(pc.binary_length(column), 0) if is_text(column) else pc.is_null(column)
    return gone.to_numpy(zero_copy_only=False).astype(bool)


def each_text(text: pa.Array, read: Callable, dtype: type | str = bool) -> np.ndarray:
    """What `read` makes of each cell; each distinct text is read once."""
    coded = text.dictionary_encode()
    each = np.array([read(cell or "") for cell in coded.dictionary.to_pylist()], dtype=dtype)
    return (
        each[coded.indices.to_numpy(zero_copy_only=False)]
        if each.size
        else np.zeros(len(text), dtype)
    )


def numbers(column: pa.Array, decimal: str) -> Read:
    """Plain numbers; a comma is a decimal or groups thousands as the mapping says."""
    empty = empty_cells(column)
    if not is_text(column):
        if pa.types.is_timestamp(column.type):
            return Read(np.full(len(column), np.nan), ~empty, empty)
        found = pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False)
        return Read(
            np.where(np.isfinite(found), found, np.nan), ~np.isfinite(found) & ~empty, empty
        )
    found = cells.numbers(column, "decimal" if decimal == "," else "thousands")
    return Read(found, np.isnan(found) & ~empty, empty)


def kilograms(
    column: pa.Array, unit: str, decimal: str, unit_cells: pa.Array | None = None
) -> Read:
    """Kilograms from a column in `unit`, or in the unit of `unit_cells`, or in the unit written in each cell, which goes before both.

    A cell without any unit is unread.
    """
    plain = numbers(column, decimal)
    kg = plain.values * (
        _factors(as_text(unit_cells)) if unit_cells is not None and not unit else factor(unit)
    )
    unread = np.isnan(kg) & ~plain.empty
    no_unit = unread & ~plain.unread
    notes: tuple[str, ...] = ()
    if plain.unread.any() and is_text(column):
        at = np.flatnonzero(plain.unread)
        own = _with_units(column.take(pa.array(at)), decimal)
        kg[at], unread[at] = own, np.isnan(own)
        if not np.isnan(own).all():
            notes = (
                f"cells with a unit of their own, which was used: {int((~np.isnan(own)).sum())}",
            )
    return Read(np.where(unread, np.nan, kg), unread, plain.empty, notes, no_unit)


def factor(unit: str) -> float:
    """Kilograms in one `unit`; nan where it is no mass."""
    if not unit.strip():
        return np.nan
    try:
        return units.read(
            f"1 {words()['unit'].get(unit.strip().casefold(), unit.strip())}", "kg", "unit"
        )
    except KitError:
        return np.nan


def _factors(column: pa.Array) -> np.ndarray:
    return each_text(column, factor, float)


def _with_units(column: pa.Array, decimal: str) -> np.ndarray:
    """'12.5 lb' and '1 lb 4 oz' in kg; nan where a cell is neither."""
    parts = pc.extract_regex(column, AMOUNT)
    found = cells.numbers(
        pc.struct_field(parts, "number"), "decimal" if decimal == "," else "thousands"
    ) * _factors(pc.fill_null(pc.struct_field(parts, "unit"), ""))
    left = np.flatnonzero(np.isnan(found))
    if left.size:
        cells_left = column.take(pa.array(left))
        found[left] = each_text(cells_left, lambda text: amount(text, decimal), float)
    return found


def amount(text: str, decimal: str) -> float:
    if len(text) > 40 or not any(letter.isalpha() for letter in text):
        return np.nan
    try:
        return units.read(text, "kg", "weight", decimal_comma=decimal == ",")
    except KitError:
        return np.nan


# --- dates ---


def stamps(column: pa.Array, order: str) -> Read:
    """Time stamps (datetime64[s], local) from dates with or without a clock; `order` of day and month is the mapping's."""
    empty = empty_cells(column)
    if pa.types.is_timestamp(column.type):
        return Read(
            column.to_numpy(zero_copy_only=False).astype("datetime64[s]"),
            np.zeros(len(column), bool),
            empty,
        )
    if not is_text(column):
        found = _serial(pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False))
        return Read(
            found,
            np.isnat(found) & ~empty,
            empty,
            ("numbers in the column of dates were read as a spreadsheet's serial days",),
        )
    found, notes = np.full(len(column), NO_TIME), []
    with contextlib.suppress(pa.ArrowInvalid):  # the usual case, read at once
        found = _iso(column) if not empty.any() else found
    left = np.flatnonzero(np.isnat(found) & ~empty)
    for reader in (_iso_cells, lambda text: _ordered(text, order), _odd):
        if left.size:
            found[left] = reader(column.take(pa.array(left)))
            if reader is _odd and not np.isnat(found[left]).all():
                notes.append(
                    f"{int((~np.isnat(found[left])).sum())} dates were written as words, as eight digits, or as a spreadsheet's serial day"
                )
            left = left[np.isnat(found[left])]
    return Read(found, np.isnat(found) & ~empty, empty, tuple(notes))


def _iso(text: pa.Array) -> np.ndarray:
    return pc.cast(text, pa.timestamp("s")).to_numpy(zero_copy_only=False).astype("datetime64[s]")


def _iso_cells(text: pa.Array) -> np.ndarray:
    try:
        return _iso(
            pc.if_else(pc.match_substring_regex(text, _ISO), text, pa.scalar(None, pa.string()))
        )
    except pa.ArrowInvalid:  # a 31 February among them: each distinct cell on its own
        return _each(
            text, lambda cell: np.datetime64(cell, "s") if re.match(_ISO, cell) else NO_TIME
        )


def _ordered(text: pa.Array, order: str) -> np.ndarray:
    """'31.05.2026 22:10', '5/31/26 10:10 PM'; a date that begins with four digits is year, month, day."""
    parts = pc.extract_regex(
        pc.replace_substring_regex(
            text, r"(\d:\d{2}(:\d{2})?(\.\d+)?)(Z|[+-]\d{2}:?\d{2})$", r"\1"
        ),
        _PARTS,
    )
    days, clock = (
        pc.fill_null(pc.struct_field(parts, "date"), ""),
        pc.fill_null(pc.struct_field(parts, "clock"), ""),
    )
    first = pc.match_substring_regex(days, r"^\d{4}").to_numpy(zero_copy_only=False).astype(bool)
    day = np.where(first, cells.date_days(days, "ymd"), cells.date_days(days, order))
    no_clock = empty_cells(clock)
    seconds = np.where(no_clock, 0.0, np.nan)
    if not no_clock.all():
        at = np.flatnonzero(~no_clock)
        seconds[at] = _day_clock(clock.take(pa.array(at)))
    return _joined(day - date(1970, 1, 1).toordinal(), seconds)


def _odd(text: pa.Array) -> np.ndarray:
    return _each(text, odd_day)


def odd_day(cell: str) -> np.datetime64:
    if re.fullmatch(r"(19|20)\d{6}", cell):
        try:
            return np.datetime64(f"{cell[:4]}-{cell[4:6]}-{cell[6:]}", "s")
        except ValueError:
            return NO_TIME
    if re.fullmatch(r"\d{5}([.,]\d+)?", cell):
        return _serial(np.array([float(cell.replace(",", "."))]))[0]
    for pattern in _NAMED:
        hit = pattern.match(cell)
        month = MONTHS.get(hit["m"][:3].casefold()) if hit else None
        if hit and month:
            year = int(hit["y"]) + (2000 if len(hit["y"]) == 2 else 0)
            clock = (hit["rest"] or "").strip(" T,")
            day = f"{year}-{month:02d}-{int(hit['d']):02d} {clock}".strip()
            return _ordered(pa.array([day]), "ymd")[0]
    return NO_TIME


def _each(text: pa.Array, read) -> np.ndarray:
    def one(cell):
        try:
            return read(cell)
        except ValueError:
            return NO_TIME

    return each_text(text, one, "datetime64[s]")


def _serial(days: np.ndarray) -> np.ndarray:
    sound = (days >= SERIAL_DAYS[0]) & (days <= SERIAL_DAYS[1])
    whole = np.round(np.where(sound, days, 0) * 86_400).astype("int64")
    return np.where(sound, EXCEL_DAY_0 + whole.astype("timedelta64[s]"), NO_TIME)


def _joined(days: np.ndarray, seconds: np.ndarray) -> np.ndarray:
    total = days * 86_400 + seconds
    sound = np.isfinite(total)
    return np.where(
        sound, np.where(sound, total, 0).astype("int64").astype("datetime64[s]"), NO_TIME
    )


def clock_times(column: pa.Array) -> Read:
    """Seconds since midnight from '22:10', '10:10:30 PM', a spreadsheet's fraction of a day, or a full stamp's clock."""
    empty = empty_cells(column)
    if pa.types.is_timestamp(column.type):
        whole = column.to_numpy(zero_copy_only=False).astype("datetime64[s]")
        found = (whole - whole.astype("datetime64[D]")).astype("timedelta64[s]").astype(float)
        return Read(np.where(empty, np.nan, found), np.zeros(len(column), bool), empty)
    if not is_text(column):
        found = pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False)
        found = np.where((found >= 0) & (found < 1), np.round(found * 86_400), np.nan)
        return Read(found, np.isnan(found) & ~empty, empty)
    found = _day_clock(column)
    return Read(found, np.isnan(found) & ~empty, empty)


def _day_clock(text: pa.Array) -> np.ndarray:
    """Seconds since midnight; a clock shows less than 24 hours."""
    found = cells.clock_seconds(text, "h:min")
    return np.where((found >= 0) & (found < 86_400), found, np.nan)

"""Text columns become days and seconds, whole columns at a time; what cannot be read is nan or NaT.

One home for dates and clocks, for records and temperature logs alike. Names of months are rows of
data/records/words.csv: how a name begins, and which month that is.
"""

import contextlib
import re
from collections.abc import Iterable, Sequence
from datetime import date
from functools import lru_cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit.reading.cells import NOTHING, any_has, each_text, empty_cells, floats, matches
from kit.reading.words import words

NO_TIME = np.datetime64("NaT", "s")
DAY_S = 86_400.0
EXCEL_DAY_0 = np.datetime64("1899-12-30", "s")
"""day 0 of a spreadsheet's serial dates, as they run since March 1900"""
SERIAL_DAYS = (20_000.0, 80_000.0)
"""what a number in a column of dates must lie between to be a serial date: 1954 to 2119"""
ORDERS = {"ymd": "year, month, day", "dmy": "day, month, year", "mdy": "month, day, year"}
_CLOCK = r"^\d{1,4}:\d{1,2}(:\d{1,2}(\.\d*)?)?$"
_ZONE = r"\s*(?:Z|(?:UTC|GMT)?[+\-−]\d{1,2}(?::?\d{2})?|UTC|GMT)$"
_STAMP = r"^(?P<day>.*?)[ T,;]*(?P<clock>\d{1,4}:\d{2}.*)?$"
_ISO = r"^\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2})?)?$"
_DIGITS = re.compile(r"(?:[^\W\d]{2,12}[.,]* +)?(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})$")
_NAMED = re.compile(
    r"(?:[^\W\d]{2,10}\.?,? +)?(?:(?P<d>\d{1,2})(?:st|nd|rd|th)?[-. /]*(?P<m>(?!days?\b)[^\W\d]{3,})|"
    r"(?P<m2>[^\W\d]{3,})[-. ]*(?P<d2>\d{1,2})(?:st|nd|rd|th)?\b)[-.,/ ]*(?P<y>\d{4}|\d{2})?$"
)
_YEARLESS = re.compile(r"(\d{1,2})([-./])(\d{1,2})\.?$")
_EIGHT = re.compile(r"((?:19|20)\d\d)(\d\d)(\d\d)$")


# --- days ---


@lru_cache(maxsize=1)
def months() -> tuple[tuple[str, ...], ...]:
    """How the names of each month begin, from January on, in the languages that are known."""
    known = words()["month"]
    return tuple(tuple(w for w, n in known.items() if int(n) == m) for m in range(1, 13))


def dated(cell: str) -> bool:
    """Does a date stand in this cell, alone or before a clock?"""
    hit = re.match(_STAMP, cell) if len(cell) < 60 else None
    if not hit:
        return False
    day, clock = hit["day"].strip(), bool(hit["clock"])
    named, bare = _NAMED.match(day), _YEARLESS.match(day)
    if named:
        return bool(named["y"]) or clock or _month(named, months()) > 0
    if bare:
        return clock or bare[2] == "/" or day.endswith(".")
    return bool(_DIGITS.match(day))


def _month(named, known: Sequence[Sequence[str]]) -> int:
    """1 to 12, or 0 for a name that is not known."""
    name = (named["m"] or named["m2"]).casefold()
    return next((n for n, begins in enumerate(known, 1) if name.startswith(tuple(begins))), 0)


def split_stamp(column: pa.Array) -> tuple[pa.Array, pa.Array]:
    """The date and the clock of each cell; a part that is missing is ''."""
    even = pc.min_max(pc.binary_length(column)).as_py() == {"min": 19, "max": 19}
    if even and set(pc.utf8_slice_codeunits(column, 10, 11).unique().to_pylist()) <= {" ", "T"}:
        return pc.utf8_slice_codeunits(column, 0, 10), pc.utf8_slice_codeunits(column, 11, 19)
    parts = pc.extract_regex(column, _STAMP)
    day, clock = (
        pc.fill_null(pc.utf8_trim_whitespace(pc.struct_field(parts, [part])), "")
        for part in ("day", "clock")
    )
    return day, clock


def in_digits(
    column: pa.Array, names: Sequence[str] | None = None, year: int | None = None
) -> tuple[pa.Array, str]:
    """Dates without names of months and with a year, and what the first lacks: 'month' or 'year'.

    names: how the twelve begin, where they are in another language; year: where none is written.
    """
    known = [tuple(begins.casefold().split()) for begins in names] if names else months()
    coded = column.dictionary_encode()
    plain, lacks = [], ""
    for text in coded.dictionary.to_pylist():
        named, bare, eight = (form.match(text or "") for form in (_NAMED, _YEARLESS, _EIGHT))
        if named:
            month, y = _month(named, known), named["y"] or year
            lacks = lacks or ("month" if not month else "" if y else "year")
            if month and y:
                full = int(y) + (2000 if int(y) < 100 else 0)
                text = f"{full:04d}-{month:02d}-{int(named['d'] or named['d2']):02d}"
        elif bare:
            lacks = lacks or ("" if year else "year")
            text = f"{bare[1]}{bare[2]}{bare[3]}{bare[2]}{year:04d}" if year else text
        elif eight:
            text = "-".join(eight.groups())
        plain.append(text)
    return pa.array(plain, pa.string()).take(coded.indices), lacks


def day_order(texts: Iterable[str]) -> str:
    """The order of day and month that all dates in digits agree with: 'ymd', 'dmy' or 'mdy'.

    'both' where some can only be day first and others only month first, 'either' where none tells,
    '' without any such date.
    """
    hits = [hit for text in texts if (hit := _DIGITS.match(text))]
    if not hits:
        return ""
    if all(len(hit[1]) == 4 for hit in hits):
        return "ymd"
    years, days = ({hit[n] for hit in hits} for n in (1, 3))
    short = all(len(h[1]) < 3 > len(h[3]) and int(h[2]) < 13 and int(h[3]) < 32 for h in hits)
    if short and "." not in hits[0][0] and len(years) <= len(days):
        # '26-06-01' and its like: the year is what stays the same
        return "ymd" if len(years) < len(days) else "either"
    if all("." in hit[0].split()[-1] for hit in hits):
        return "dmy"
    day, month = (any(int(hit[n]) > 12 and len(hit[1]) < 3 for hit in hits) for n in (1, 2))
    return "both" if day and month else "dmy" if day else "mdy" if month else "either"


def day_numbers(column: pa.Array, order: str) -> np.ndarray:
    """Day numbers from dates in digits; what begins with four digits is year, month, day."""
    return each_text(column, lambda text: _day(text, order), float)


def _day(text: str, order: str) -> float:
    hit = _DIGITS.match(text)
    if not hit:
        return float("nan")
    four = "ymd" if len(hit[1]) == 4 else order
    parts = dict(zip(four, (int(part) for part in hit.groups()), strict=True))
    year = parts["y"] + (2000 if parts["y"] < 100 else 0)
    try:
        return float(date(year, parts["m"], parts["d"]).toordinal())
    except ValueError:
        return float("nan")


# --- clocks ---


def without_zone(clock: pa.Array) -> tuple[pa.Array, np.ndarray | None]:
    """The clock without its offset from UTC, and that in seconds; None where no cell writes one."""
    if not pc.any(pc.match_substring_regex(clock, r":\d\d(\.\d+)?" + _ZONE)).as_py():
        return clock, None
    zone = pc.struct_field(pc.extract_regex(clock, "(?P<zone>" + _ZONE[:-1] + ")$"), ["zone"])
    offsets = each_text(pc.fill_null(zone, ""), _offset_s, float)
    return pc.replace_substring_regex(clock, _ZONE, ""), offsets


def _offset_s(text: str) -> float:
    if not text:
        return float("nan")
    sign = -1.0 if "-" in text or "−" in text else 1.0
    digits = re.sub(r"\D", "", text)
    hours, minutes = (digits[:-2], digits[-2:]) if len(digits) > 2 else (digits, "")
    return sign * (3600.0 * int(hours or 0) + 60.0 * int(minutes or 0))


def clock_seconds(column: pa.Array, two_fields: str = "h:min") -> np.ndarray:
    """Seconds from h:min:s, h:min ("h:min") or min:s ("min:s"), AM and PM heeded."""
    with contextlib.suppress(pa.ArrowInvalid):  # the usual case, read at once
        found = pc.strptime(column, format="%H:%M:%S", unit="s")
        return pc.cast(pc.cast(found, pa.time32("s")), pa.int32()).to_numpy() * 1.0
    text = pc.replace_substring(column, ",", ".") if any_has(column, ",") else column
    shift = np.zeros(len(text))
    if any_has(text, "M", True):
        folded = pc.replace_substring(pc.utf8_upper(text), ".M.", "M")
        afternoon, morning = (matches(folded, rf"{letter}M$") for letter in "PA")
        text = pc.utf8_trim_whitespace(pc.replace_substring_regex(folded, r"\s*[AP]M$", ""))
        twelve = matches(text, "^12:")
        shift = np.where(afternoon & ~twelve, 43200.0, 0.0) - np.where(morning & twelve, 43200.0, 0)
    out, good = np.full(len(text), np.nan), matches(text, _CLOCK)
    three = matches(text, ":.*:")
    two = (3600.0, 60.0) if two_fields == "h:min" else (60.0, 1.0)
    for mask, weights in ((good & three, (3600.0, 60.0, 1.0)), (good & ~three, two)):
        if mask.any():
            whole = text if mask.all() else text.filter(pa.array(mask))
            flat = floats(pc.list_flatten(pc.split_pattern(whole, ":"))).reshape(-1, len(weights))
            sound = (flat[:, 1:] < 60).all(axis=1)
            out[mask] = np.where(sound, flat @ np.array(weights), np.nan)
    return out + shift


# --- columns of records: typed, or text in any of the forms above ---


def stamps(column: pa.Array, order: str) -> tuple[np.ndarray, tuple[str, ...]]:
    """Time stamps (datetime64[s], local) of dates with or without a clock, and notes; `order`: of day and month."""
    if pa.types.is_timestamp(column.type):
        return column.to_numpy(zero_copy_only=False).astype("datetime64[s]"), ()
    if not pa.types.is_string(column.type):
        found = _serial(pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False))
        return found, ("numbers in the column of dates were read as a spreadsheet's serial days",)
    with contextlib.suppress(pa.ArrowInvalid):  # the usual case, read at once
        return _iso(column), ()
    found, notes = np.full(len(column), NO_TIME), []
    good = pc.match_substring_regex(column, _ISO)
    with contextlib.suppress(pa.ArrowInvalid):  # a 31 February among them: read as the others are
        found = _iso(pc.if_else(good, column, NOTHING))
    left = np.flatnonzero(np.isnat(found) & ~empty_cells(column))
    if left.size:
        text = column.take(pa.array(left))
        days, clock = split_stamp(text)
        plain, _ = in_digits(days)
        day = day_numbers(plain, order) - date(1970, 1, 1).toordinal()
        seconds = np.where(empty_cells(clock), 0.0, day_clock(without_zone(clock)[0]))
        total = day * DAY_S + seconds
        sound = np.isfinite(total)
        whole = np.where(sound, total, 0).astype("int64").astype("datetime64[s]")
        serial = _serial(each_text(text, _serial_day, float))
        found[left] = np.where(sound, whole, serial)
        odd = sound & pc.not_equal(plain, days).to_numpy(zero_copy_only=False) | ~np.isnat(serial)
        if odd.any():
            how = "as words, as eight digits, or as a spreadsheet's serial day"
            notes.append(f"{int(odd.sum())} dates were written {how}")
    return found, tuple(notes)


def _iso(text: pa.Array) -> np.ndarray:
    return pc.cast(text, pa.timestamp("s")).to_numpy(zero_copy_only=False).astype("datetime64[s]")


def _serial_day(cell: str) -> float:
    return float(cell.replace(",", ".")) if re.fullmatch(r"\d{5}([.,]\d+)?", cell) else np.nan


def _serial(days: np.ndarray) -> np.ndarray:
    sound = (days >= SERIAL_DAYS[0]) & (days <= SERIAL_DAYS[1])
    whole = np.round(np.where(sound, days, 0) * DAY_S).astype("int64")
    return np.where(sound, EXCEL_DAY_0 + whole.astype("timedelta64[s]"), NO_TIME)


def clock_times(column: pa.Array) -> np.ndarray:
    """Seconds since midnight from '22:10', '10:10:30 PM', a fraction of a day, or a full stamp."""
    if pa.types.is_timestamp(column.type):
        whole = column.to_numpy(zero_copy_only=False).astype("datetime64[s]")
        seconds = (whole - whole.astype("datetime64[D]")).astype("timedelta64[s]").astype(float)
        return np.where(np.isnat(whole), np.nan, seconds)
    if not pa.types.is_string(column.type):
        found = pc.fill_null(column, np.nan).to_numpy(zero_copy_only=False)
        return np.where((found >= 0) & (found < 1), np.round(found * DAY_S), np.nan)
    return day_clock(column)


def day_clock(text: pa.Array) -> np.ndarray:
    """Seconds since midnight; a clock shows less than 24 hours. All written '14.30' are hours and minutes."""
    if not any_has(text, ":") and all(matches(text, r"^(\d{1,2}\.\d{2})?$")):
        text = pc.replace_substring(text, ".", ":")
    found = clock_seconds(text)
    return np.where((found >= 0) & (found < DAY_S), found, np.nan)

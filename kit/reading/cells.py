"""Text columns become numbers and seconds, whole columns at a time; what cannot be read becomes nan."""

import re
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

_PLAIN = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_CLOCK = r"^\d{1,4}:\d{1,2}(:\d{1,2}(\.\d*)?)?$"
_COMMAS_GROUP = r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$"
_DOTS_GROUP = r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$"
_ZONE = r"\s*(?P<zone>Z|(?:UTC|GMT)?[+\-−]\d{1,2}(?::?\d{2})?|UTC|GMT)$"
_STAMP = r"^(?P<day>.*?)[ T,]*(?P<clock>\d{1,4}:\d{2}.*)?$"
DATE = re.compile(r"(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})$")
_NAMED = re.compile(
    r"(?:[^\W\d]{2,10}\.?,? +)?(?:(?P<d>\d{1,2})[-. /]*(?P<m>(?!days?\b)[^\W\d]{3,})|(?P<m2>[^\W\d]{3,})[-. ]*(?P<d2>\d{1,2}))\.?(?:[-, /]+(?P<y>\d{4}|\d{2}))?$"
)
_YEARLESS = re.compile(r"(\d{1,2})([-./])(\d{1,2})\.?$")
MONTHS = (
    "jan ene",
    "feb",
    "mar mär mrz",
    "apr abr",
    "may mai",
    "jun",
    "jul",
    "aug ago",
    "sep set",
    "oct okt",
    "nov",
    "dec dez dic",
)
"""how the names of the months begin in English, German and Spanish"""


def trimmed(column: pa.Array) -> pa.Array:
    return pc.utf8_trim_whitespace(column)


def sample(column: pa.Array, count: int = 2000) -> list[str]:
    """Up to `count` cells, spread over the column, blanks left out."""
    step = max(len(column) // count, 1)
    return [
        text for text in column.take(pa.array(np.arange(0, len(column), step))).to_pylist() if text
    ]


def numbers(column: pa.Array, comma: str) -> np.ndarray:
    """Floats; `comma` is "decimal", "thousands" or "" (none expected). Cells that do not fit that reading are nan."""
    text = pc.replace_substring(column, "−", "-") if _any(column, "−") else column
    if comma == "decimal":
        text = _only(text, ".", _DOTS_GROUP)
        text = pc.replace_substring(
            pc.replace_substring(text, ".", "") if _any(text, ".") else text, ",", "."
        )
    elif comma == "thousands":
        text = pc.replace_substring(_only(text, ",", _COMMAS_GROUP), ",", "")
    return _floats(text)


def comma_style(columns, declared: bool | None) -> str:
    """ "decimal", "thousands", "" (no commas), "mixed" or "unclear" for the file's numeric columns together."""
    cells = [cell for column in columns for cell in sample(column)]
    commas = [cell for cell in cells if "," in cell]
    if declared is not None or not commas:
        return "" if not commas else "decimal" if declared else "thousands"
    groups = [cell for cell in commas if re.match(_COMMAS_GROUP, cell)]
    surely_groups = [cell for cell in groups if "." in cell or cell.count(",") > 1]
    surely_decimal = [
        cell for cell in commas if cell not in groups or cell.lstrip("+-").startswith("0")
    ]
    points = [
        cell
        for cell in cells
        if "," not in cell
        and re.match(_PLAIN, cell)
        and "." in cell
        and not re.match(_DOTS_GROUP, cell)
    ]
    if surely_decimal and (surely_groups or points):
        return "mixed"
    return "decimal" if surely_decimal else "thousands" if surely_groups or points else "unclear"


def _only(text, mark: str, pattern: str):
    """Cells that hold `mark` but do not match `pattern` become null: 12.5 in a file of decimal commas is not 125."""
    if not _any(text, mark):
        return text
    good = pc.or_(
        pc.invert(pc.match_substring(text, mark)), pc.match_substring_regex(text, pattern)
    )
    return pc.if_else(good, text, pa.scalar(None, pa.string()))


def _any(column, part: str, ignore_case: bool = False) -> bool:
    return bool(pc.any(pc.match_substring(column, part, ignore_case=ignore_case)).as_py())


def _floats(text) -> np.ndarray:
    try:
        found = pc.cast(text, pa.float64()).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:
        good = pc.match_substring_regex(text, _PLAIN)
        found = pc.cast(
            pc.if_else(good, text, pa.scalar(None, pa.string())), pa.float64()
        ).to_numpy(zero_copy_only=False)
    return np.where(np.isfinite(found), found, np.nan)


def without_unit(column: pa.Array) -> tuple[pa.Array, np.ndarray, np.ndarray]:
    """The cells without a trailing °C or °F, and which rows said C and which F."""
    if not (_any(column, "C", True) or _any(column, "F", True)):
        nowhere = np.zeros(len(column), dtype=bool)
        return column, nowhere, nowhere
    folded = pc.utf8_upper(column)
    with_C, with_F = (
        pc.match_substring_regex(folded, rf"\d\s*(°|º|DEG)?\s*{letter}$").to_numpy(
            zero_copy_only=False
        )
        for letter in "CF"
    )
    return (
        trimmed(pc.replace_substring_regex(folded, r"(\d)\s*(°|º|DEG)?\s*[CF]$", r"\1")),
        with_C,
        with_F,
    )


def clock_seconds(column: pa.Array, two_fields: str) -> np.ndarray:
    """Seconds from h:min:s, h:min ("h:min") or min:s ("min:s"), AM and PM heeded. Unreadable cells are nan."""
    even = _even_clock(column)
    if even is not None:
        return even
    text = pc.replace_substring(column, ",", ".") if _any(column, ",") else column
    shift = np.zeros(len(text))
    if _any(text, "M", True):
        folded = pc.replace_substring(pc.utf8_upper(text), ".M.", "M")
        afternoon, morning = (
            pc.match_substring_regex(folded, rf"{letter}M$").to_numpy(zero_copy_only=False)
            for letter in "PA"
        )
        text = trimmed(pc.replace_substring_regex(folded, r"\s*[AP]M$", ""))
        twelve = pc.match_substring_regex(text, "^12:").to_numpy(zero_copy_only=False)
        shift = np.where(afternoon & ~twelve, 43200.0, 0.0) + np.where(
            morning & twelve, -43200.0, 0.0
        )
    out = np.full(len(text), np.nan)
    good = pc.match_substring_regex(text, _CLOCK).to_numpy(zero_copy_only=False).astype(bool)
    three = pc.greater(pc.count_substring(text, ":"), 1).to_numpy(zero_copy_only=False)
    for mask, weights in (
        (good & three, (3600.0, 60.0, 1.0)),
        (good & ~three, (3600.0, 60.0) if two_fields == "h:min" else (60.0, 1.0)),
    ):
        if not mask.any():
            continue
        whole = text if mask.all() else text.filter(pa.array(mask))
        flat = _floats(pc.list_flatten(pc.split_pattern(whole, ":"))).reshape(-1, len(weights))
        sound = (flat[:, 1:] < 60).all(axis=1)
        out[mask] = np.where(sound, flat @ np.array(weights), np.nan)
    return out + shift


def letters(column: pa.Array) -> np.ndarray | None:
    """The cells as rows of byte codes when all have the same length, else None."""
    ends = pc.min_max(pc.binary_length(column)).as_py() if len(column) else {"min": None}
    if ends["min"] is None or ends["min"] != ends["max"] or ends["min"] == 0 or column.null_count:
        return None
    width, (_, _, data) = ends["min"], column.buffers()
    first = np.frombuffer(column.buffers()[1], dtype=np.int32)[column.offset]
    return np.frombuffer(data, dtype=np.uint8, count=width * len(column), offset=first).reshape(
        -1, width
    )


def _even_clock(column: pa.Array) -> np.ndarray | None:
    """Seconds when every cell is exactly hh:mm:ss, else None: the usual case, read at once."""
    codes = letters(column)
    if codes is None or codes.shape[1] != 8 or not (codes[:, [2, 5]] == ord(":")).all():
        return None
    tens, ones = (codes[:, at] - np.uint8(48) for at in ([0, 3, 6], [1, 4, 7]))
    if (tens > 9).any() or (ones > 9).any() or (tens[:, 1:] > 5).any():
        return None
    return (tens * np.array([36_000.0, 600.0, 10.0]) + ones * np.array([3600.0, 60.0, 1.0])).sum(
        axis=1
    )


def date_days(column: pa.Array, order: str) -> np.ndarray:
    """Day numbers from dates written in `order` ("ymd", "dmy" or "mdy"). Unreadable cells are nan."""
    coded = column.dictionary_encode()
    days = np.array([_day(text, order) for text in coded.dictionary.to_pylist()], dtype=float)
    codes = coded.indices.to_numpy(zero_copy_only=False)
    return days[codes] if days.size else np.full(len(column), np.nan)


def _day(text: str | None, order: str) -> float:
    hit = DATE.match(text or "")
    if not hit:
        return float("nan")
    parts = dict(zip(order, (int(part) for part in hit.groups()), strict=True))
    year = parts["y"] + (2000 if parts["y"] < 100 else 0)
    try:
        return float(date(year, parts["m"], parts["d"]).toordinal())
    except ValueError:
        return float("nan")


def dated(cell: str) -> bool:
    """Does a date stand in this cell, alone or before a clock?"""
    day = (re.match(_STAMP, cell) or {"day": ""})["day"].strip()
    return any(pattern.match(day) for pattern in (DATE, _NAMED, _YEARLESS))


def dates_in_numbers(column: pa.Array, months, year: int | None) -> tuple[pa.Array, str]:
    """The dates with the months' names as numbers and `year` where they have none, and "" or the first that lacks a "month" or a "year"."""
    coded = column.dictionary_encode()
    plain, lacks = [], ""
    for text in coded.dictionary.to_pylist():
        named, bare = _NAMED.match(text or ""), _YEARLESS.match(text or "")
        if named:
            d, m, y = (
                (named["d"] or named["d2"]),
                (named["m"] or named["m2"]).casefold(),
                named["y"] or year,
            )
            at = next(
                (
                    n
                    for n, starts in enumerate(months or MONTHS, 1)
                    if m.startswith(tuple(starts.casefold().split()))
                ),
                None,
            )
            lacks = lacks or ("month" if at is None else "" if y else "year")
            text = (
                f"{int(y) + (2000 if int(y) < 100 else 0):04d}-{at:02d}-{int(d):02d}"
                if at and y
                else text
            )
        elif bare:
            lacks = lacks or ("" if year else "year")
            text = f"{bare[1]}{bare[2]}{bare[3]}{bare[2]}{year:04d}" if year else text
        plain.append(text)
    return pa.array(plain, pa.string()).take(coded.indices), lacks


def split_stamp(column: pa.Array) -> tuple[pa.Array, pa.Array]:
    """ "2024-05-01 08:00:00", with a T, or with the month's name: the date and the clock part; a part that is missing is ''."""
    codes = letters(column)
    if (
        codes is not None
        and codes.shape[1] == 19
        and np.isin(codes[:, 10], (ord(" "), ord("T"))).all()
    ):
        return pc.utf8_slice_codeunits(column, 0, 10), pc.utf8_slice_codeunits(column, 11, 19)
    parts = pc.extract_regex(column, _STAMP)
    return tuple(
        pc.fill_null(trimmed(pc.struct_field(parts, [name])), "") for name in ("day", "clock")
    )


def without_zone(clock: pa.Array) -> tuple[pa.Array, np.ndarray | None]:
    """The clock without its offset from UTC, and the offset in seconds (nan where it is not written); None where no cell writes one."""
    if not bool(
        pc.any(
            pc.match_substring_regex(clock, r":\d\d(\.\d+)?" + _ZONE.replace("?P<zone>", ""))
        ).as_py()
    ):
        return clock, None
    coded = pc.fill_null(
        pc.struct_field(pc.extract_regex(clock, _ZONE), ["zone"]), ""
    ).dictionary_encode()
    offsets = np.array([_offset_s(text) for text in coded.dictionary.to_pylist()])
    return pc.replace_substring_regex(clock, _ZONE.replace("?P<zone>", ""), ""), offsets[
        coded.indices.to_numpy(zero_copy_only=False)
    ]


def _offset_s(text: str) -> float:
    if not text:
        return float("nan")
    sign = -1.0 if "-" in text or "−" in text else 1.0
    digits = re.sub(r"\D", "", text)
    hours, minutes = (digits[:-2], digits[-2:]) if len(digits) > 2 else (digits, "")
    return sign * (3600.0 * int(hours or 0) + 60.0 * int(minutes or 0))

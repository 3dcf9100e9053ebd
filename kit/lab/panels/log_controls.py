"""What a panel asks beside a temperature log: the controls for what the file does not say itself, and the log read with the answers."""

import re
from collections.abc import Mapping
from functools import lru_cache

from kit import reading
from kit.lab.panels.controls import controls_of
from kit.logs import LogReading

_AS_FILE = ("as the file says", "")
UNITS = (_AS_FILE, ("°C", "°C"), ("°F", "°F"))
_OPTIONS = {
    "unit": UNITS,
    "time": (
        _AS_FILE,
        ("h:min", "h:min"),
        ("min:s", "min:s"),
        ("seconds", "s"),
        ("minutes", "min"),
        ("hours", "h"),
    ),
    "comma": (_AS_FILE, ("decimal comma", "decimal"), ("thousands separator", "thousands")),
    "day": (_AS_FILE, ("day", "day"), ("month", "month")),
}
_LOG = controls_of("log", options=_OPTIONS)
LOG_FILE, ASKED = _LOG[:2], _LOG[2:]


def names_in(written: str) -> tuple[str, ...]:
    """Names of columns, with a comma or a semicolon between them."""
    return tuple(name.strip() for name in re.split("[;,]", written) if name.strip())


def no_workbook(values: Mapping) -> dict[str, str]:
    """The question about a workbook's sheet has no effect where the log is none; said once the log was read."""
    workbook = values["log"] and values["log"][1].startswith(b"PK")
    return {} if workbook else {"tab": "the log is no workbook"}


def log_of(content: bytes, values: Mapping, channels: tuple[str, ...] = ()) -> LogReading:
    """The log with the person's answers in `values`. Faulty with what the reader must ask."""
    answers = (
        ("unit", values["unit"] or None),
        ("time", values["time"] or None),
        ("decimal_comma", {"decimal": True, "thousands": False}.get(values["comma"])),
        ("day_first", {"day": True, "month": False}.get(values["day"])),
        ("time_column", values["time_column"].strip() or None),
        ("sheet", values["tab"].strip() or None),
        ("months", values["months"].strip() or None),
        ("year", values["year"].strip() or None),
    )
    return _read(content, answers, channels)


@lru_cache(maxsize=8)
def _read(
    content: bytes, answers: tuple[tuple[str, object], ...], channels: tuple[str, ...]
) -> LogReading:
    return reading.read_log(content, **dict(answers), channels=list(channels) or None)

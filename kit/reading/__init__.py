"""Readers: files that people hand in become plain tables, with every fault named.

Each call is loaded when it is first used, so that reading a sheet loads nothing that reads records.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kit.reading.logs import read_log
    from kit.reading.measured import read_measured
    from kit.reading.records import read_records
    from kit.reading.sheets import read_sheet

__all__ = ["read_log", "read_measured", "read_records", "read_sheet"]
_HOMES = dict(zip(__all__, ("logs", "measured", "records", "sheets")))


def __getattr__(name: str):
    if name in _HOMES:
        return getattr(import_module(f"kit.reading.{_HOMES[name]}"), name)
    raise AttributeError(f"kit.reading has no {name!r}; it has {', '.join(__all__)}")

"""Readers: files that people hand in become plain tables, with every fault named."""

from kit.reading.sheets.files import read_sheet, write_sheet

__all__ = ["read_sheet", "write_sheet"]

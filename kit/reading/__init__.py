"""Readers: files that people hand in become plain tables, with every fault named."""

from kit.reading.rules import read_rule_set, read_rule_sets
from kit.reading.sheets import read_sheet, write_sheet

__all__ = ["read_rule_set", "read_rule_sets", "read_sheet", "write_sheet"]

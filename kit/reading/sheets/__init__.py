"""Batch sheets as files: TOML by hand, CSV or a workbook (grid.py says the columns)."""

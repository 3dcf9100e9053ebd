"""A sheet in each of its forms, as a file: whole or not at all, and nothing in it that a spreadsheet would run."""

from collections.abc import Mapping
from pathlib import Path

from kit.files import csv_text, put, toml_text
from kit.reading.sheet_grid import columns, table_rows
from kit.sheet import Sheet
from kit.sheet.draft import MANY
from kit.sheet.entries import PARTS


def write_sheet(sheet: Sheet, path, overwrite: bool = False) -> Path:
    """Write a sheet into a new .toml, .csv or .xlsx file; reading it back gives an equal sheet. KitError if it cannot be."""
    forms = {".toml": written_toml, ".csv": written_csv, ".xlsx": _written_xlsx}
    written = forms.get(Path(path).suffix.lower())
    return put(path, written(sheet.as_dict()) if written else b"", forms, overwrite)


def _written_xlsx(data: Mapping) -> bytes:
    from kit.reading.template import written_xlsx  # loads what writes workbooks

    return written_xlsx(data)


def written_toml(data: Mapping) -> bytes:
    """The TOML of `Sheet.as_dict()`, with the process before what comes more than once."""
    last = {part: data[part] for part in MANY if part in data}
    return toml_text({key: data[key] for key in data if key not in last} | last).encode()


def written_csv(data: Mapping) -> bytes:
    """The CSV of `Sheet.as_dict()`: typed rows, only the columns that are used."""
    rows = [
        {"part": part, **row} for part in PARTS for row in table_rows(data, part, lambda _: True)
    ]
    used = {name for row in rows for name in row}
    every = dict.fromkeys(("part", *(name for part in PARTS for name in columns(part))))
    return csv_text((name for name in every if name in used), rows).encode()

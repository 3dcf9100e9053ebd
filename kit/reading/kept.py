"""Batches kept as sheets in a folder, as one table of weighings that lesson 09 reads like any plant's records."""

import re
from pathlib import Path

from kit.errors import KitError
from kit.files import csv_text, put
from kit.reading.sheets import read_sheet
from kit.sheet.entries import fields

RECORDS = "records.csv"
_DATED = re.compile(r"(\d{4}-\d\d-\d\d)_.+")
_WEIGHTS = tuple(
    name for name, about in fields("weighing").items() if about.unit == "kg" and name != "sd_kg"
)


def write_kept_records(folder) -> tuple[Path, int, tuple[str, ...]]:
    """Write `records.csv` of every batch sheet in a folder, a row for each stage weighed.

    A sheet is named YYYY-MM-DD_name.toml; another file does not count. Returns the path, the number of batches, and why a sheet was left out.
    Raises KitError where the file cannot be written.
    """
    place, rows, left_out, batches = Path(folder), list[dict[str, str | float]](), list[str](), 0
    for path in sorted(place.glob("*.toml")):
        dated = _DATED.fullmatch(path.stem)
        if dated is None:
            continue
        try:
            sheet = read_sheet(path)
        except KitError as error:
            left_out.append(str(error))
            continue
        first = {"batch": path.stem, "date": dated[1], "product": sheet.name}
        batches += bool(sheet.weighings)
        if not sheet.weighings:
            left_out.append(f"{path.name} holds no weight yet")
        for one in sheet.weighings:
            weights = {name: getattr(one, name) for name in _WEIGHTS}
            told = {name: kg for name, kg in weights.items() if kg is not None}
            rows.append(first | {"stage": one.stage} | told)
    used = [name for name in _WEIGHTS if any(name in row for row in rows)]
    written = csv_text(("batch", "date", "product", "stage", *used), rows)
    return put(place / RECORDS, written, (".csv",), True), batches, tuple(left_out)

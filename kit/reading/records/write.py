"""Records back into files: never over another, whole or not at all, and nothing in them that a spreadsheet would run."""

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd

from kit.errors import KitError
from kit.files import guarded, number_text, put
from kit.reading.records.model import Records
from kit.reading.words import ATTRIBUTES
from kit.reading.workbook import written_book

_SUFFIXES = (".csv", ".xlsx", ".parquet")


def write_set_aside(records: Records, path) -> Path:
    """The rows set aside as CSV, as they stood in the file, with file, sheet, row, why and what to try.

    Corrected there, the file can be read with the same mapping. KitError if it exists, or if nothing was set aside.
    """
    if not len(records.set_aside):
        raise KitError("no row was set aside, so there is nothing to write")
    return put(path, csv_bytes(records.set_aside), (".csv",), overwrite=None)


def write_records(records: Records, path) -> Path:
    """The weighings used, in kg, one row each, as .csv, .xlsx or .parquet.

    Reading the file back gives the same tidy table. KitError if the file exists.
    """
    frame = records.tidy.drop(columns=["file", "sheet", "row", "column"])
    frame = frame.rename(columns={"time": "date", "kg": "weight (kg)"})
    first = ["batch", "date", "stage", "kind", "name", "weight (kg)", *ATTRIBUTES]
    frame = frame[[*first, *(name for name in frame.columns if name not in first)]]
    empty = [n for n in ("date", "name", *ATTRIBUTES) if _nothing(frame[n])]
    frame = frame.drop(columns=empty)
    suffix = Path(path).suffix.lower()
    if suffix == ".parquet":
        out = io.BytesIO()
        frame.to_parquet(out, index=False)
        whole = out.getvalue()
    elif suffix == ".xlsx":
        names = list(frame.columns)
        whole = written_book({"records": (names, zip(*(_plain(frame[n]) for n in names)))})
    else:
        whole = csv_bytes(frame)
    return put(path, whole, _SUFFIXES, overwrite=None)


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """UTF-8 with commas; text that a spreadsheet could run stands behind an apostrophe."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([guarded(str(name)) for name in frame.columns])
    for row in zip(*(_plain(frame[name]) for name in frame.columns)):
        writer.writerow([_text(cell) for cell in row])
    return out.getvalue().encode("utf-8", "replace")


def _text(cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return number_text(cell)
    return guarded(cell) if isinstance(cell, str) else cell.isoformat(" ")


def _plain(column: pd.Series) -> list:
    """Floats, texts, days with their clock, and None where nothing stands."""
    if pd.api.types.is_float_dtype(column):
        return [None if np.isnan(x) else float(x) for x in column.to_numpy()]
    if pd.api.types.is_datetime64_any_dtype(column):
        return [None if pd.isna(x) else x.to_pydatetime() for x in column]
    return [None if x is None or x != x else str(x) for x in column.astype(object)]


def _nothing(column: pd.Series) -> bool:
    return bool(column.isna().all() or (column.astype("str") == "").all())

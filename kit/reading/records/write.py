"""Rows set aside into a file: never over another, whole or not at all, and nothing in them that a spreadsheet would run."""

from pathlib import Path

import pandas as pd

from kit.errors import KitError
from kit.files import guarded, put
from kit.reading.records.model import Records


def write_set_aside(records: Records, path) -> Path:
    """The rows set aside as CSV, as they stood in the file, with file, sheet, row, why and what to try.

    Corrected there, the file can be read with the same mapping. KitError if it exists, or if nothing was set aside.
    """
    if not len(records.set_aside):
        raise KitError("no row was set aside, so there is nothing to write")
    return put(path, csv_bytes(records.set_aside), (".csv",), overwrite=None)


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """UTF-8 with commas; text that a spreadsheet could run stands behind an apostrophe."""
    safe = frame.map(lambda cell: guarded(cell) if isinstance(cell, str) else cell)
    safe.columns = [guarded(str(name)) for name in frame.columns]
    return safe.to_csv(index=False, lineterminator="\r\n").encode("utf-8", "replace")

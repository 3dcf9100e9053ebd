"""Records back into files: never over another, whole or not at all, and nothing in them that a spreadsheet would run."""

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd

from kit.errors import KitError, UnknownName
from kit.files import guarded, number_text, put
from kit.reading.records.model import Records
from kit.reading.records.summary import KEYS
from kit.reading.records.weighings import ATTRIBUTES
from kit.reading.workbook import put_cell

SHAPES = ("long", "wide")
_SUFFIXES = (".csv", ".xlsx", ".parquet")


def write_set_aside(records: Records, path) -> Path:
    """The rows set aside as CSV, as they stood in the file, with file, sheet, row, why and what to try.

    Corrected there, the file can be read with the same mapping. KitError if it exists, or if nothing was set aside.
    """
    if not len(records.set_aside):
        raise KitError("no row was set aside, so there is nothing to write")
    return put(path, csv_bytes(records.set_aside), (".csv",), overwrite=None)


def write_records(records: Records, path, shape: str = "long") -> Path:
    """The weighings used, in kg, as .csv, .xlsx or .parquet: "long" one row per weighing, "wide" one row per batch.

    Reading the file back gives the same tidy table; wide keeps one time per batch, and so only what holds for a whole batch.
    KitError if the file exists, or if a batch of the wide form holds a weight twice.
    """
    if shape not in SHAPES:
        raise UnknownName("shape", shape, SHAPES)
    suffix = Path(path).suffix.lower()
    frame = _long(records.tidy) if shape == "long" else _wide(records)
    if suffix == ".parquet":
        out = io.BytesIO()
        frame.to_parquet(out, index=False)
        return put(path, out.getvalue(), _SUFFIXES, overwrite=None)
    return put(
        path, _workbook(frame) if suffix == ".xlsx" else csv_bytes(frame), _SUFFIXES, overwrite=None
    )


def csv_bytes(frame: pd.DataFrame, header: bool = True) -> bytes:
    """UTF-8 with commas; text that a spreadsheet could run stands behind an apostrophe."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    if header:
        writer.writerow([guarded(str(name)) for name in frame.columns])
    writer.writerows(zip(*(_cells(frame[name]) for name in frame.columns), strict=True))
    return out.getvalue().encode("utf-8", "replace")


def _cells(column: pd.Series) -> list[str]:
    if pd.api.types.is_float_dtype(column):
        return ["" if np.isnan(x) else number_text(x) for x in column.to_numpy()]
    if pd.api.types.is_datetime64_any_dtype(column):
        return ["" if pd.isna(x) else x.isoformat(" ") for x in column]
    return ["" if x is None or x != x else guarded(str(x)) for x in column.astype(object)]


def _workbook(frame: pd.DataFrame) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    page = book.active
    page.title = "records"
    for n, name in enumerate(frame.columns, 1):
        put_cell(page.cell(1, n), str(name))
        for number, value in enumerate(frame[name].astype(object), 2):
            cell = page.cell(number, n)
            if isinstance(value, pd.Timestamp):
                cell.value = value.to_pydatetime()
            elif isinstance(value, float):
                if not np.isnan(value):
                    put_cell(cell, value)
            elif value is not None and value is not pd.NaT and value != "":
                put_cell(cell, str(value))
    page.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _long(tidy: pd.DataFrame) -> pd.DataFrame:
    """batch, date, stage, kind, name, weight (kg), and the attributes that some row has."""
    frame = tidy.drop(columns=["file", "sheet", "row", "column"])
    texts = [name for name in frame.columns if isinstance(frame[name].dtype, pd.CategoricalDtype)]
    texts += ["batch", "stage", "kind", "name"]
    frame = frame.astype(dict.fromkeys(texts, "str"))
    frame = frame.rename(columns={"time": "date", "kg": "weight (kg)"})
    first = ["batch", "date", "stage", "kind", "name", "weight (kg)", *ATTRIBUTES]
    frame = frame[[*first, *(name for name in frame.columns if name not in first)]]
    return frame.drop(columns=[n for n in ("date", "name", *ATTRIBUTES) if _nothing(frame[n])])


def _nothing(column: pd.Series) -> bool:
    return bool(column.isna().all() or (column.astype("str") == "").all())


def _wide(records: Records) -> pd.DataFrame:
    """batch, date, a column '<stage> <kind> <name> (kg)' for each weight, and what holds for the whole batch."""
    tidy = records.tidy
    stage, kind, name = (tidy[column].astype("str") for column in ("stage", "kind", "name"))
    title = stage + " " + kind + (" " + name).where(name != "", "") + " (kg)"
    again = tidy[["batch"]].assign(title=title).duplicated()
    if again.any():
        first = tidy[again].iloc[0]
        raise KitError(
            f"batch {first['batch']} holds {title[again].iloc[0]!r} more than once, which one row per batch cannot say; write it long"
        )
    whole = pd.DataFrame(
        {
            "batch": tidy["batch"].astype("str"),
            "title": title,
            "kg": tidy["kg"],
            "place": [KEYS.index(pair) for pair in zip(stage, kind, strict=True)],
            "name": name,
        }
    )
    line = whole.drop_duplicates("title").sort_values(["place", "name", "title"])["title"]
    kg = whole.pivot(index="batch", columns="title", values="kg")
    batches = records.summary.per_batch
    kg = kg.loc[batches["batch"].astype("str"), line].reset_index(drop=True)
    head = batches.drop(columns=["last", "weighings"]).rename(columns={"first": "date"})
    head = head.drop(columns=[n for n in ("date", *ATTRIBUTES) if _nothing(head[n])])
    return pd.concat([head.reset_index(drop=True), kg], axis=1)

"""What is wrong, row by row, as columns; data/records/faults.csv says in which words, and what it does."""

from collections.abc import Iterable

import numpy as np
import pandas as pd
import pyarrow as pa

from kit.errors import Fault
from kit.files import guarded
from kit.reading.cells import ColumnTable, as_text
from kit.tables import rows_by

COLUMNS = ("file", "sheet", "row", "column", "value", "kind", "why", "remedy", "sets_aside")
HARMLESS = ("total row", "header again", "left out")
"""kinds that take nothing away from a batch"""
ASIDE = "set aside: "
"""how the kit's own columns in a file of set-aside rows begin"""
_LONGEST = 200


class Log:
    """Collects what the tables of one reading hold, table by table: weighings, faults, rows set aside, and batches that lost a row.

    Of the table at hand `aside` marks every row set aside, `out` those that are no records, `lost` those that leave a batch incomplete.
    """

    def __init__(self) -> None:
        self.tidy: list[pa.Table] = []
        self.found: list[pd.DataFrame] = []
        self.asides: list[pd.DataFrame] = []
        self.counts = np.zeros(4, int)
        """rows read, used, set aside and blank"""
        self.incomplete: set[str] = set()
        self.notes: list[str] = []
        self.last: dict[str, str] = {}
        """the last filled cells of the block before, by column"""

    def open(self, table: ColumnTable) -> None:
        """Take up the next table, with the rows of it that could not be taken apart."""
        self.table, self.begun = table, len(self.found)
        self.aside, self.out, self.lost = (np.zeros(table.row.size, bool) for _ in range(3))
        self.notes += table.notes
        if table.torn:
            key = "torn long" if any("\n" in text for _, text in table.torn) else "torn"
            texts = [text[:_LONGEST] for _, text in table.torn]
            self._put(key, np.array([n for n, _ in table.torn]), "", texts, {})

    def close(self, weighings: pa.Table, batch: pa.DictionaryArray) -> None:
        """Keep the weighings of the table, and the rows of it that were set aside."""
        self.tidy.append(weighings)
        self.asides.append(set_aside(self.table, self.aside, joined(self.found[self.begun :])))
        torn, aside = len(self.table.torn), int(self.aside.sum())
        read = self.aside.size
        self.counts += (read + torn, read - aside, aside + torn, self.table.blank)
        self.incomplete |= {*batch.filter(pa.array(self.lost)).unique().to_pylist()} - {""}
        del self.table

    def add(self, key: str, mask: np.ndarray, column: str, value: str | None = None, **said):
        """The fault `key` in every row of `mask` that is not out already. `value`: what stands in the cell; `said`: fills the gaps in its words."""
        at = np.flatnonzero(mask & ~self.out)
        if not at.size:
            return
        values = self._values(column, at) if value is None else value
        self._put(key, self.table.row[at], column, values, said)
        fault = rows_by("key", "records", "faults.csv")[key]
        if fault["effect"] != "used":
            self.aside[at] = True
            self.lost[at] |= fault["kind"] not in HARMLESS
        if fault["effect"] == "no record":
            self.out[at] = True

    def _values(self, column: str, at: np.ndarray):
        if column not in self.table.names:
            return self.table.sheet if column == "sheet name" else ""
        cells = as_text(self.table.column(column).take(pa.array(at)))
        return [text[:_LONGEST] for text in cells.to_pylist()]

    def _put(self, key, rows, column, values, said) -> None:
        fault = rows_by("key", "records", "faults.csv")[key]
        words = {name: fault[name].format(**said) for name in ("kind", "why", "remedy")}
        place = {"file": self.table.file, "sheet": self.table.sheet, "row": rows}
        place |= {"column": column, "value": values, **words}
        self.found.append(pd.DataFrame(place | {"sets_aside": fault["effect"] != "used"}))


def joined(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Faults in the order of the rows of their table."""
    frames = [frame for frame in frames if len(frame)]
    if not frames:
        kinds = {"row": "int64", "sets_aside": "bool"}
        return pd.DataFrame({name: pd.Series(dtype=kinds.get(name, "str")) for name in COLUMNS})
    whole = pd.concat(frames, ignore_index=True)
    return whole.sort_values("row", kind="stable", ignore_index=True)[list(COLUMNS)]


def as_fault(row) -> Fault:
    """One row of the frame of faults, as the kit's own Fault."""
    shown = f": {row.value!r}" if row.value else ""
    return Fault(
        f"{row.why}{shown}", row.kind, int(row.row), row.column, row.file, row.sheet, row.remedy
    )


def set_aside(table: ColumnTable, aside: np.ndarray, faults: pd.DataFrame) -> pd.DataFrame:
    """The rows set aside, whole, with every reason: what the file of set-aside rows holds."""
    stops = faults[faults["sets_aside"]]
    if not len(stops):
        return pd.DataFrame()
    head = stops[["row", "why", "remedy"]].drop_duplicates()
    if head["row"].duplicated().any():
        head = head.groupby("row", as_index=False, sort=False).agg(
            {"why": "; ".join, "remedy": lambda said: "; ".join(dict.fromkeys(said))}
        )
    head = head.rename(columns=lambda name: f"{ASIDE}{name}")
    keep, own = pa.array(aside), {f"{ASIDE}row": table.row[aside]}
    for name, column in zip(table.names, table.columns, strict=True):
        own[name] = as_text(column.filter(keep)).to_numpy(zero_copy_only=False)
    rows = pd.DataFrame(own)
    if table.torn:
        torn = [(n, text.rstrip("\r\n")) for n, text in table.torn]
        names = [f"{ASIDE}row", f"{ASIDE}as written"]
        rows = pd.concat([rows, pd.DataFrame(torn, columns=names)], ignore_index=True)
    whole = head.merge(rows, on=f"{ASIDE}row", how="left")
    whole.insert(0, f"{ASIDE}sheet", table.sheet)
    whole.insert(0, f"{ASIDE}file", table.file)
    return whole.sort_values(f"{ASIDE}row", kind="stable", ignore_index=True)


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """UTF-8 with commas; text that a spreadsheet could run stands behind an apostrophe."""
    safe = frame.apply(_guarded)
    safe.columns = [guarded(str(name)) for name in frame.columns]
    return safe.to_csv(index=False, lineterminator="\r\n").encode("utf-8", "replace")


def _guarded(column: pd.Series) -> pd.Series:
    """Each distinct text is looked at once."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        return column.cat.rename_categories(list(map(guarded, column.cat.categories)))
    if pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_dtype(column):
        return column
    return column.map(lambda cell: guarded(cell) if isinstance(cell, str) else cell)

"""What is wrong, row by row: kept as columns, so that a million faults cost no more than a million rows."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from kit.errors import Fault
from kit.reading.columns import Table

COLUMNS = ("file", "sheet", "row", "column", "value", "kind", "why", "remedy", "sets_aside")
HARMLESS = ("total row", "header again", "left out")
"""reasons that take nothing away from a batch"""


@dataclass
class Log:
    """Collects the faults of one table; `aside` marks every row set aside, `out` those that are no records, `lost` those that leave a batch incomplete."""

    table: Table
    found: list[pd.DataFrame] = field(default_factory=list)

    def __post_init__(self):
        self.aside = np.zeros(self.table.row.size, dtype=bool)
        self.out = np.zeros(self.table.row.size, dtype=bool)
        self.lost = np.zeros(self.table.row.size, dtype=bool)

    def add(
        self,
        kind: str,
        mask: np.ndarray,
        column: str,
        why: str,
        remedy: str,
        values=None,
        keeps: bool = False,
        out: bool = False,
    ) -> None:
        """A fault in every row of `mask` that is not out already. `keeps`: the row is used all the same."""
        at = np.flatnonzero(mask & ~self.out)
        if not at.size:
            return
        self._put(
            kind,
            self.table.row[at],
            column,
            why,
            remedy,
            self._values(column, at) if values is None else np.asarray(values)[at],
            not keeps,
        )
        if not keeps:
            self.aside[at] = True
            self.lost[at] |= kind not in HARMLESS
        if out:
            self.out[at] = True

    def torn(self, rows: Iterable[tuple[int, str]]) -> None:
        rows = list(rows)
        if rows:
            many = any("\n" in text for _, text in rows)
            self._put(
                "torn row",
                np.array([n for n, _ in rows]),
                "",
                "the row has another number of cells than the header",
                "put text that holds the separator in quotes"
                + ("; look for a quotation mark that is never closed" if many else ""),
                [text[:200] for _, text in rows],
                True,
            )

    def _values(self, column: str, at: np.ndarray):
        if column not in self.table.names:
            return self.table.sheet if column == "sheet name" else ""
        import pyarrow as pa

        from kit.reading.records.values import as_text

        return [
            text[:200] for text in as_text(self.table.column(column).take(pa.array(at))).to_pylist()
        ]

    def _put(self, kind, rows, column, why, remedy, values, sets_aside) -> None:
        self.found.append(
            pd.DataFrame(
                {
                    "file": self.table.file,
                    "sheet": self.table.sheet,
                    "row": rows,
                    "column": column,
                    "value": values,
                    "kind": kind,
                    "why": why,
                    "remedy": remedy,
                    "sets_aside": sets_aside,
                }
            )
        )

    def frame(self) -> pd.DataFrame:
        return joined(self.found)


def joined(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Faults of several tables, in the order of the rows of each."""
    frames = [frame for frame in frames if len(frame)]
    if not frames:
        return pd.DataFrame(
            {
                name: pd.Series(dtype={"row": "int64", "sets_aside": "bool"}.get(name, "str"))
                for name in COLUMNS
            }
        )
    return pd.concat(frames, ignore_index=True).sort_values(
        "row", kind="stable", ignore_index=True
    )[list(COLUMNS)]


def as_fault(row) -> Fault:
    """One row of the frame of faults, as the kit's own Fault."""
    shown = f": {row.value!r}" if row.value else ""
    return Fault(
        f"{row.why}{shown}", row.kind, int(row.row), row.column, row.file, row.sheet, row.remedy
    )

"""The records as read: the tidy table, the report that adds up, the faults, the findings, and the sums of the mass balance."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from kit.errors import Fault, KitError, need
from kit.files import put
from kit.reading.records.faults import as_fault, csv_bytes
from kit.reading.records.findings import COUNTED_TWICE, RecordFinding
from kit.reading.records.mapping import Mapping
from kit.reading.records.summary import CARRY, Summary
from kit.tables import numbers

INCOMPLETE = "incomplete"
_SHOWN = 20


@dataclass(frozen=True)
class ReadReport:
    """Counts of rows below the headers. `rows_read` is always `rows_used` + `rows_set_aside`; blank rows are not read."""

    rows_read: int
    rows_used: int
    rows_set_aside: int
    rows_blank: int
    weighings: int
    batches: int
    by_reason: tuple[tuple[str, int], ...]
    """(reason, rows), each row under the first reason met; they add up to `rows_set_aside`"""
    coverage: tuple[tuple[str, str, int], ...]
    """(stage, kind, batches that have it): what is missing where"""

    def __str__(self) -> str:
        why = ", ".join(f"{reason} {count:,}" for reason, count in self.by_reason)
        lines = [
            f"{self.rows_read:,} rows read: {self.rows_used:,} used, {self.rows_set_aside:,} set aside"
            + (f" ({why})" if why else "")
            + (f"; {self.rows_blank:,} blank rows passed over" if self.rows_blank else ""),
            f"{self.weighings:,} weighings of {self.batches:,} batches",
        ]
        for stage, kind, there in self.coverage:
            if kind in ("in", "out") and there < self.batches:
                lines.append(
                    f"{self.batches - there:,} of {self.batches:,} batches have no {kind} weight at {stage}"
                )
        return "\n".join(lines)


@dataclass(frozen=True)
class Records:
    """What was read. Nothing in it was repaired: `tidy` holds the rows used as they are written, in kg."""

    mapping: Mapping
    weighings: pa.Table
    """the tidy table as Arrow holds it"""
    summary: Summary
    report: ReadReport
    fault_table: pd.DataFrame
    """file, sheet, row, column, value, kind, why, remedy, sets_aside"""
    set_aside: pd.DataFrame
    """the rows set aside, as in the file, with every reason"""
    findings: tuple[RecordFinding, ...]
    incomplete: frozenset[str]
    """batches that lost a row to a fault"""
    notes: tuple[str, ...] = ()

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the numbers come from by which records are judged."""
        own = (row.cite() for name, row in numbers().items() if name.startswith("records_"))
        return tuple(dict.fromkeys(own))

    @cached_property
    def tidy(self) -> pd.DataFrame:
        """batch, time, stage, kind, name, kg, lot, operator, smokehouse, scale, carried columns, file, sheet, row, column."""
        table = self.weighings.to_pandas(strings_to_categorical=True)
        return table.rename(columns=lambda title: title.removeprefix(CARRY))

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault, in the order of the rows. Large files are quicker through `fault_table`."""
        return tuple(as_fault(row) for row in self.fault_table.itertuples())

    @cached_property
    def left_out(self) -> dict[str, str]:
        """batch -> why its sums would mislead: rows missing, or counted twice."""
        why = {batch: INCOMPLETE for batch in self.summary.batches if batch in self.incomplete}
        for finding in self.findings:
            if finding.kind in COUNTED_TWICE:
                why.setdefault(finding.batch, finding.kind)
        return why

    def weights(self) -> Summary:
        """The sums of the batches that are not left out."""
        keep = np.array([batch not in self.left_out for batch in self.summary.batches], dtype=bool)
        need(bool(keep.any()), "no batch is left; see the report of the records")
        return self.summary.of(keep)

    def __str__(self) -> str:
        lines = [str(self.report), *self.notes]
        faults = (as_fault(row) for row in self.fault_table.head(_SHOWN).itertuples())
        for title, shown, total in (
            ("fault", faults, len(self.fault_table)),
            ("finding", self.findings[:_SHOWN], len(self.findings)),
        ):
            if total:
                first = f", the first {_SHOWN}:" if total > _SHOWN else ":"
                lines.append(f"{total:,} {title}{'s' if total != 1 else ''}{first}")
                lines += [f"  {entry}" for entry in shown]
        return "\n".join(lines)


def write_set_aside(records: Records, path) -> Path:
    """The rows set aside as CSV, as they stood in the file, with file, sheet, row, why and what to try.

    Corrected there, the file can be read with the same mapping. KitError if it exists, or if nothing was set aside.
    """
    if not len(records.set_aside):
        raise KitError("no row was set aside, so there is nothing to write")
    return put(path, csv_bytes(records.set_aside), (".csv",), overwrite=None)

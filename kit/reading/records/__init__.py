"""What do a person's batch records say, and what is wrong with them?

Records come long (a row per weighing), wide (a row per batch) or between, as CSV, workbook or Parquet, under any headers. A mapping (a small
TOML file: drafted by `draft_mapping` with reasons, edited by the person) says once what the columns mean. `read_records` uses each row whole or
sets it aside whole, with file, sheet, row, column, value, why and what to try; it repairs nothing. What can be read but looks wrong (written
twice, swapped, grown, a unit error) is a finding with its evidence. Files are read in blocks, and
weighings held as codes.
"""

from kit.reading.records.draft import draft_mapping
from kit.reading.records.findings import KINDS_OF_FINDING, RecordFinding
from kit.reading.records.mapping import (
    Mapping,
    Question,
    WeightColumn,
    read_mapping,
    write_mapping,
)
from kit.reading.records.model import ReadReport, Records, write_set_aside
from kit.reading.records.read import read_records

__all__ = [
    "KINDS_OF_FINDING",
    "RecordFinding",
    "Mapping",
    "Records",
    "Question",
    "ReadReport",
    "WeightColumn",
    "draft_mapping",
    "read_mapping",
    "read_records",
    "write_mapping",
    "write_set_aside",
]

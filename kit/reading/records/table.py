"""Where are the rows of these records? The opener of every reader, told which headers records know."""

from kit.reading.columns import tables
from kit.reading.records.words import read_header
from kit.reading.shapes import Limits, Table

LIMITS = Limits(
    (".csv", ".tsv", ".txt", ".xlsx", ".parquet"),
    2_000_000_000_000,
    "read it in parts",
)


def known_header(text: str) -> bool:
    """Is this header one of a batch, date, stage, kind, weight or another role?"""
    head = read_header(text)
    return bool(head.role or head.measure)


def open_tables(
    source,
    name: str = "",
    header_row: int | None = None,
    sheets: tuple[str, ...] = (),
    decimal: str | None = None,
) -> list[Table]:
    """The tables of one file of records; see `kit.reading.opener.tables`."""
    return tables(source, name, LIMITS, known_header, header_row, sheets, decimal)

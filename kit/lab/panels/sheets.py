"""Sheets that panels start from: the invented demo batch, and a person's own file."""

from functools import lru_cache

from kit.errors import Faulty
from kit.lab.panels.view import Row, Table, View
from kit.reading import read_sheet
from kit.sheet import Sheet
from kit.tables import data_path


@lru_cache(maxsize=1)
def demo_sheet() -> Sheet:
    """The invented demo batch."""
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


def read_uploaded(name: str, content: bytes) -> Sheet:
    """A sheet from an uploaded file's name and bytes. Faulty with every fault, as for a file on disk."""
    return read_sheet(content, name)


def faults_table(error: Faulty) -> Table:
    """Every fault of a file or of typed values, with its place and what to try."""
    rows = tuple(Row((f.where or "the file", f.what, f.remedy), "fails") for f in error.faults)
    return Table("What to mend", ("where", "what is wrong", "what to try"), rows)


def faults_view(error: Faulty, what: str = "file") -> View:
    """The whole panel where a file cannot be used yet: how much is to mend, and each fault."""
    count = len(error.faults)
    return View(
        f"This {what} cannot be used yet: {count} thing{'s' if count > 1 else ''} to mend, listed "
        "below. Nothing was changed in the file.",
        tables=(faults_table(error),),
    )

"""Sheets that panels start from: the invented demo batch, and a person's own file."""

from functools import lru_cache

from kit.errors import Faulty
from kit.lab.panels.view import Table, View, row
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


def faults_view(
    error: Faulty, what: str = "This sheet", cautions: tuple[str, ...] = (), more: tuple = ()
) -> View:
    """The whole panel where something cannot be used yet: how many problems, and each with its place and what to try.

    what: "This sheet", "These records", ... more: tables to show below the problems.
    """
    rows = tuple(row(f.where or "the file", f.what, f.remedy, mark="fails") for f in error.faults)
    count = "1 problem or question" if len(rows) == 1 else f"{len(rows)} problems or questions"
    return View(
        f"{what} cannot be used yet: {count}, listed below. Your file was not changed.",
        tables=(Table("Problems", ("where", "what is wrong", "what to try"), rows), *more),
        cautions=cautions,
    )

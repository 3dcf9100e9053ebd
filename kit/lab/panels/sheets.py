"""Sheets that panels start from: the invented demo batches, the person's current batch, and a file of their own."""

import os
from functools import lru_cache
from math import isfinite, nan
from pathlib import Path

from kit import units
from kit.errors import Faulty, KitError
from kit.files import put
from kit.lab.panels.view import Table, View, row
from kit.reading import read_sheet
from kit.reading.written import write_sheet
from kit.sheet import Sheet
from kit.tables import data_path


@lru_cache(maxsize=1)
def demo_sheet() -> Sheet:
    """The invented demo batch."""
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


@lru_cache(maxsize=1)
def kitchen_sheet() -> Sheet:
    """The invented small batch of a teaching kitchen."""
    return read_sheet(data_path("demo", "teaching_kitchen.toml"))


def batches_folder() -> Path:
    """Where a person's batches are kept: `my_batches` beside the notebooks, or as COLD_BATTER_BATCHES says."""
    return Path(os.environ.get("COLD_BATTER_BATCHES", "my_batches"))


def made_folder() -> Path:
    """That folder, made where it is missing; KitError where it cannot be."""
    folder = batches_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        why = cause.strerror or cause
        raise KitError(
            f"folder {folder.name} could not be made ({why}); open the lessons in a folder that may be written to"
        ) from None
    return folder


def current_sheet() -> Sheet | None:
    """The batch that was last handed to the lessons; None where none was. Faulty where its file was spoilt since."""
    path = batches_folder() / "current.toml"
    return read_sheet(path) if path.is_file() else None


def starting_sheet() -> Sheet:
    """The sheet that a panel works on where none is given: the current batch, else the invented demo."""
    return current_sheet() or demo_sheet()


def current_system() -> str:
    """The unit system handed to the lessons with the current batch; metric where none was."""
    path = batches_folder() / "units.txt"
    said = path.read_text(encoding="utf-8").strip() if path.is_file() else ""
    return said if said in units.SYSTEMS else units.METRIC


def use_in_lessons(sheet: Sheet, system: str) -> Path:
    """Keep a batch as the current one and the units that it is shown in, each file whole or not at all."""
    folder = made_folder()
    put(folder / "units.txt", f"{system}\n", overwrite=True)
    (folder / STOP).unlink(missing_ok=True)
    return write_sheet(sheet, folder / "current.toml", overwrite=True)


STOP = "stopped_at_C.txt"


def stopped_C() -> float | None:
    """The final chopping temperature at which the person stopped in lesson 03; None before that decision, or where its file was spoilt."""
    path = batches_folder() / STOP
    try:
        found = float(path.read_text(encoding="utf-8")) if path.is_file() else nan
    except ValueError:
        return None
    return found if isfinite(found) else None


def keep_stop(end_C: float) -> Path:
    """Keep that decision for lesson 04."""
    return put(made_folder() / STOP, f"{end_C:.6g}\n", overwrite=True)


def read_uploaded(name: str, content: bytes) -> Sheet:
    """A sheet from an uploaded file's name and bytes. Faulty with every fault, as for a file on disk."""
    return read_sheet(content, name)


def faults_view(error: Faulty, what: str, *cautions: str, more: tuple[Table, ...] = ()) -> View:
    """The whole panel where something cannot be used yet: how many problems, and each with its place and what to try.

    what: "This sheet", "These records", ... more: tables to show below the problems.
    """
    rows = tuple(row(f.where or "the file", f.what, f.remedy, mark="fails") for f in error.faults)
    count = "1 problem or question" if len(rows) == 1 else f"{len(rows)} problems or questions"
    return View(
        f"{what} cannot be used yet: {count}, listed below. Your file was not changed.",
        tables=(Table("Problems", ("where", "fault", "remedy"), rows), *more),
        cautions=cautions,
    )

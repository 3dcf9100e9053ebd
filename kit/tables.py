"""Which number, with which source and status? Reads data/ once.

A number with a meaning lives in one row of data/reference/*.csv; the papers, rules and tables they
come from live in data/reference/sources.csv. `number("name")` gives the row, with its provenance.
"""

import csv
from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from kit.errors import look_up

STATUSES = {
    "read": "read in the source",
    "quoted": "second-hand: read where another text quotes the source",
    "memory": "from memory, not checked against the source",
    "practice": "common practice",
    "teaching": "teaching assumption",
    "computed": "computed from rows with a source",
}


@dataclass(frozen=True, kw_only=True)
class Cited:
    """What a row of data says of where it comes from: a key of the sources, the place in it, and one of STATUSES."""

    source: str
    where: str
    status: str
    note: str = ""

    @property
    def status_in_words(self) -> str:
        return STATUSES[self.status]

    def cite(self) -> str:
        """Source, place and status in one line, as shown beside a result."""
        return cite(self.source, self.where, self.status)


@dataclass(frozen=True, kw_only=True)
class Number(Cited):
    """One figure with a meaning. `low` and `high` bound it from outside the value itself."""

    name: str
    value: float
    unit: str
    basis: str
    low: float
    high: float


def cite(source_key: str, where: str = "", status: str = "read") -> str:
    """One line naming a source: citation, place, and the status unless it was read."""
    text = look_up("source", source_key, sources()) + (f", {where}" if where else "")
    return text if status == "read" else f"{text} ({STATUSES[status]})"


def computed(what: str) -> str:
    """One line naming what the kit itself calculated."""
    return cite("kit", what, "computed")


def data_path(*parts: str) -> Path:
    """A file under data/: inside the installed package, or beside it in a checkout."""
    packed = Path(__file__).with_name("_data")
    root = packed if packed.is_dir() else Path(__file__).resolve().parent.parent / "data"
    return root.joinpath(*parts)


def read_rows(*parts: str) -> list[dict[str, str]]:
    """The rows of a CSV of ours as dicts of text."""
    with data_path(*parts).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@cache
def rows_by(column: str, *parts: str) -> dict[str, dict[str, str]]:
    """The rows of a CSV of ours, read once, each by what stands in its `column`."""
    return {row[column]: row for row in read_rows(*parts)}


def day_of(text: str, last: bool = False) -> date | None:
    """The first (or last) day of '2024', '2024-07' or '2024-07-01'; None for ''."""
    if not text:
        return None
    if len(text) == 10:
        return date.fromisoformat(text)
    year, month = int(text[:4]), int(text[5:] or (12 if last else 1))
    return date(year, month, monthrange(year, month)[1] if last else 1)


def dated(row: Mapping[str, str]) -> dict[str, Any]:
    """A row of law with its two dates read."""
    ends = {"date_from": day_of(row["date_from"]), "date_to": day_of(row["date_to"], last=True)}
    return {**row, **ends}


def today() -> date:
    """The day whose law holds where nobody names another."""
    return date.today()


def in_force(date_from: date | None, date_to: date | None, on: date | None = None) -> bool:
    """Does a dated row hold `on` that day (today where left out)? Both ends belong to it; an end that is missing is open."""
    day = on or today()
    return (date_from is None or date_from <= day) and (date_to is None or day <= date_to)


@lru_cache(maxsize=1)
def sources() -> dict[str, str]:
    """{key: citation} of every paper, rule, table or data set."""
    return {row["key"]: row["citation"] for row in read_rows("reference", "sources.csv")}


@lru_cache(maxsize=1)
def numbers() -> dict[str, Number]:
    """Every number of data/reference, by name. Files that hold other shapes of row live in their own folders."""
    found: dict[str, Number] = {}
    for path in sorted(data_path("reference").glob("*.csv")):
        if path.name == "sources.csv":
            continue
        for row in read_rows("reference", path.name):
            figures: dict[str, Any] = {key: float(row[key]) for key in ("value", "low", "high")}
            found[row["name"]] = Number(**row | figures)
    return found


def number(name: str) -> Number:
    """The row named `name`. UnknownName with the nearest three if there is none."""
    return look_up("number", name, numbers())


def value(name: str) -> float:
    """Only the value of `number(name)`."""
    return number(name).value

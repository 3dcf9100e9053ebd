"""What the class experiments read from data/trial: words of papers and findings, and what the fields of a plan may hold."""

from functools import cache
from typing import NamedTuple

from kit import tables
from kit.errors import need, need_between


@cache
def words_of(part: str) -> tuple[tuple[str, str, str], ...]:
    """(name, text, caution) of every row of a part, in the order of the file; name and caution may be empty."""
    rows = tables.read_rows("trial", "words.csv")
    return tuple((row["name"], row["text"], row["caution"]) for row in rows if row["part"] == part)


class FieldBounds(NamedTuple):
    """Lowest and highest value, in the unit that the field's name ends in; whether it is a whole number."""

    low: float
    high: float
    whole: bool


FIELDS = tables.read_rows("trial", "plan.csv")
"""of plan.toml, table by table in the order in which they are written; then of a hand-in, and of the workbook of a station"""
BOUNDS = {
    row["key"]: FieldBounds(float(row["low"]), float(row["high"]), row["holds"] != "number")
    for row in FIELDS
    if row["high"]
}
"""field -> its bounds"""


def need_bounded(name: str, value: float) -> None:
    """OutOfRange where a field lies beyond its bounds, or is no whole number where it should be one."""
    low, high, whole = BOUNDS[name]
    number = need_between(name, value, low, high)
    need(not whole or number == int(number), f"{name} is {value}; give a whole number")

"""Which entries can a sheet hold, and between which bounds? One table: data/sheet/fields.csv.

`low` and `high` catch a slip of the pen (a wrong unit, a shifted decimal). They are not limits of science or law; those live in the
rooms that use the value.
"""

from dataclasses import dataclass
from functools import cache, lru_cache

from kit.errors import nearest
from kit.tables import read_rows

PARTS = ("batch", "line", "process", "cook", "weighing")
NEEDED = {
    "line": ("name", "amount"),
    "cook": ("kind", "duration_min", "dry_bulb_C"),
    "weighing": ("stage",),
}


@dataclass(frozen=True)
class Field:
    """One entry of one part. `reads`: text, note (text of many lines), key, choice, quantity or amount."""

    part: str
    name: str
    reads: str
    unit: str
    low: float | None
    high: float | None
    choices: tuple[str, ...]
    meaning: str


@lru_cache(maxsize=1)
def table() -> tuple[Field, ...]:
    """Every field, in the order in which a sheet is written."""

    def bound(text):
        return float(text) if text else None

    return tuple(
        Field(
            row["part"],
            row["name"],
            row["reads"],
            row["unit"],
            bound(row["low"]),
            bound(row["high"]),
            _choices(row["choices"]),
            row["meaning"],
        )
        for row in read_rows("sheet", "fields.csv")
    )


def _choices(written: str) -> tuple[str, ...]:
    """'a|b|c', or '@rules/classes.csv rule_class': the values of that column of another table, each once."""
    if not written.startswith("@"):
        return tuple(written.split("|")) if written else ()
    path, column = written[1:].split()
    return tuple(dict.fromkeys(row[column] for row in read_rows(*path.split("/"))))


@cache
def fields(part: str) -> dict[str, Field]:
    """The fields of 'batch', 'line', 'process', 'cook' or 'weighing', by name."""
    return {field.name: field for field in table() if field.part == part}


class Entry:
    """What a person wrote for one part, as `given`; every field of the part is an attribute, None where nothing was written."""

    part = ""

    def __getattr__(self, name):
        known = fields(type(self).part)
        if name in known:
            return dict(self.__dict__.get("given", ())).get(name)
        raise AttributeError(
            f"a {type(self).part} entry has no field {name!r}; nearest: {', '.join(nearest(name, known))}"
        )

    def __dir__(self):
        return sorted({*super().__dir__(), *fields(type(self).part)})

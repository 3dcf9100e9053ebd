"""The files of a class in TOML, read with every fault at once, its row and what to try."""

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from math import isfinite
from typing import Any, NamedTuple

from kit.errors import Faulty, KitError, nearest
from kit.faults import Cell, Faults
from kit.reading.opener import load, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.sheets import _rows

LIMITS = FileLimits((".toml",), 400_000, "a file is of one class; keep one for each")
_MOST = 50
"""parts of a list"""


class MayHold(NamedTuple):
    """What one key may hold: whether a value `fits`, what to write where it does not, and what the kit makes of one that does."""

    fits: Callable[[Any], bool]
    remedy: str
    made: Callable[[Any], Any] = lambda value: value


def _plain(value) -> bool:
    """Is it a number that can be calculated with?"""
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return number and isfinite(value) and abs(value) < 1e10


def number(low: float, high: float, whole: bool = False) -> MayHold:
    """One number from `low` to `high`."""

    def fits(value):
        return _plain(value) and low <= value <= high and not (whole and value != int(value))

    remedy = f"give {'a whole number' if whole else 'a number'}, {low:g} to {high:g}"
    return MayHold(fits, remedy, int if whole else float)


def numbers(kind: type, example: str) -> MayHold:
    """A list of numbers."""

    def fits(value):
        return isinstance(value, list) and len(value) <= _MOST and all(map(_plain, value))

    remedy = f"give a list of numbers, such as {example}"
    return MayHold(fits, remedy, lambda value: tuple(map(kind, value)))


def one_of(*known: Any, remedy: str = "") -> MayHold:
    """One of the values, of their own kind."""

    def fits(value):
        return any(value is one or type(value) is type(one) and value == one for one in known)

    return MayHold(fits, remedy or f"write one of: {', '.join(filter(None, known))}")


def is_text(value) -> bool:
    return isinstance(value, str)


TEXT = MayHold(is_text, 'write a text in "quotes"')
TEXTS = MayHold(
    lambda value: isinstance(value, list) and all(map(is_text, value)),
    'write a list of texts, such as ["1.5", "2"]',
    tuple,
)
FLAG = one_of(True, False, remedy="write true or false")


class ClassToml:
    """One file, taken apart: its `data`, and what is wrong in it with its rows. `remedy`: of every fault, where nobody corrects such a file by hand."""

    def __init__(
        self,
        source,
        name: str,
        what: str,
        kind: str,
        limits: FileLimits = LIMITS,
        remedy: str = "",
    ):
        whole, name = load(source, name or "the given text", limits)
        self.faults = Faults(name, f"The {what} {name} cannot be used")
        self.data, text, _ = toml_of(whole, self.faults)
        self.rows, self.remedy = _rows(text), remedy
        said = self.data.pop("kind", None)
        if said != kind:
            self.add("", "kind", f"this is no {kind}: kind is {said!r:.60}", f'begin with kind = "{kind}"')  # fmt: skip
            self.faults.stop_if_any()

    def add(self, table: str, key: str, what: str, remedy: str = "", at: int = 0) -> None:
        """Note a fault of a key of a table, of its entry number `at`."""
        row = self.rows.get((table, at, key), self.rows.get((table, at, "")))
        name = ".".join(filter(None, (table, key)))
        self.faults.add(what, Cell(None, row), name, remedy or self.remedy)

    def mapping(self, table: str, held) -> Mapping:
        """What a table holds; nothing, with a fault, where it is none."""
        if isinstance(held, Mapping):
            return held
        what = "is missing" if held is None else f"is {str(held)[:60]!r}, no table"
        self.add(table, "", f"[{table}] {what}", f"write [{table}] and its keys below it")
        return {}

    def table(
        self,
        table: str,
        held,
        checks: Mapping[str, MayHold],
        needed: Collection[str] = (),
        at: int = 0,
    ) -> dict[str, Any]:
        """The values of a table that its checks take, by key; a fault for each that is `needed` and not there."""
        found, its = {}, self.mapping(table, held)
        for key, value in its.items():
            check = checks.get(key)
            if check is None:
                near = f"nearest: {', '.join(nearest(str(key), checks))}"
                said = f"{str(key)[:60]!r} is not known"
                self.add(table, str(key)[:60], said, self.remedy or near, at)
            elif check.fits(value):
                found[key] = check.made(value)
            else:
                said = f"{key} is {value!r:.60}"
                self.add(table, key, said, self.remedy or check.remedy, at)
        for key in needed:
            if key not in its:
                remedy = f"write {key}; keys: {', '.join(checks)}"
                self.add(table, key, f"{key} is missing", self.remedy or remedy, at)
        return found

    def top(
        self, checks: Mapping[str, MayHold], tables: Collection[str], needed: Collection[str] = ()
    ) -> dict[str, Any]:
        """The values that stand above all tables."""
        own = {key: value for key, value in self.data.items() if key not in tables}
        return self.table("", own, checks, needed)

    def list(
        self, table: str, checks: Mapping[str, MayHold], needed: Collection[str] = ()
    ) -> list[dict[str, Any]]:
        """The entries of [[table]]."""
        held = self.data.get(table, [])
        if not isinstance(held, list) or len(held) > 10 * _MOST:
            self.add(table, "", f"{table} is no list of entries", f"write [[{table}]] for each")
            return []
        return [self.table(table, one, checks, needed, n) for n, one in enumerate(held)]

    @contextmanager
    def caught(self, table: str, at: int = 0, key: str = "") -> Iterator[None]:
        """Notes what the library refuses as a fault of a table, or of a key of it."""
        try:
            yield
        except Faulty as error:
            for one in error.faults:
                self.add(table, key, f"{one.where}: {one.what}".lstrip(": "), one.remedy, at)
        except KitError as error:
            self.add(table, key, str(error), at=at)

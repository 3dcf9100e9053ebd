"""The files of a class in TOML: written key by key, read with every fault at once, its row and what to try."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from math import isfinite
from typing import Any, NamedTuple, NoReturn

from kit.errors import Faulty, KitError, nearest
from kit.faults import Cell, Faults
from kit.reading.opener import load, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.sheets import _rows

LIMITS = FileLimits((".toml",), 400_000, "a file is of one class; keep one for each")
_MOST = 50
"""parts of a list"""


class MayHold(NamedTuple):
    """What one key may hold: `read` gives the value, or raises ValueError where it is another; `remedy` says what to write."""

    read: Callable[[Any], Any]
    remedy: str


def _plain(value) -> bool:
    """Is it a number that can be calculated with?"""
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return number and isfinite(value) and abs(value) < 1e10


def number(low: float, high: float, whole: bool = False) -> MayHold:
    """One number from `low` to `high`."""

    def read(value):
        if not _plain(value) or not low <= value <= high or whole and value != int(value):
            raise ValueError
        return int(value) if whole else float(value)

    return MayHold(read, f"give {'a whole number' if whole else 'a number'}, {low:g} to {high:g}")


def numbers(kind: type, example: str, nested: bool = False) -> MayHold:
    """A list of numbers, or with `nested` a list of such lists too."""

    def read(value):
        if nested and isinstance(value, list) and value and isinstance(value[0], list):
            return tuple(map(read_flat, value))
        return read_flat(value)

    def read_flat(value):
        if not isinstance(value, list) or len(value) > _MOST or not all(map(_plain, value)):
            raise ValueError
        return tuple(map(kind, value))

    return MayHold(read, f"give a list of numbers, such as {example}")


def one_of(*known: Any, remedy: str = "") -> MayHold:
    """One of the values, of their own kind."""

    def read(value):
        if not any(value is one or type(value) is type(one) and value == one for one in known):
            raise ValueError
        return value

    return MayHold(read, remedy or f"write one of: {', '.join(filter(None, known))}")


def _text(value):
    if not isinstance(value, str):
        raise ValueError
    return value


def _texts(value):
    if not isinstance(value, list):
        raise ValueError
    return tuple(map(_text, value))


TEXT = MayHold(_text, 'write a text in "quotes"')
TEXTS = MayHold(_texts, 'write a list of texts, such as ["1.5", "2"]')
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
        said = self.data.get("kind")
        if said != kind:
            self.stop("", "kind", f"this is no {kind}: kind is {said!r:.60}", f'begin with kind = "{kind}"')  # fmt: skip

    def add(self, table: str, key: str, what: str, remedy: str = "", at: int = 0) -> None:
        """Note a fault of a key of a table, of its entry number `at`."""
        row = self.rows.get((table, at, key), self.rows.get((table, at, "")))
        name = ".".join(filter(None, (table, key)))
        self.faults.add(what, Cell(None, row), name, remedy or self.remedy)

    def stop(self, table: str, key: str, what: str, remedy: str = "") -> NoReturn:
        """Note a fault, and raise."""
        self.add(table, key, what, remedy)
        self.faults.stop_if_any()
        raise AssertionError("a fault was just added")

    def mapping(self, table: str, held) -> Mapping:
        """What a table holds; nothing, with a fault, where it is none."""
        if isinstance(held, Mapping):
            return held
        what = "is missing" if held is None else f"is {str(held)[:60]!r}, no table"
        self.add(table, "", f"[{table}] {what}", f"write [{table}] and its keys below it")
        return {}

    def table(self, table: str, held, checks: Mapping[str, MayHold], at: int = 0) -> dict[str, Any]:
        """The values of a table that its checks take, by key."""
        found = {}
        for key, value in self.mapping(table, held).items():
            check = checks.get(key)
            if check is None:
                near = f"nearest: {', '.join(nearest(str(key), checks))}"
                said = f"{str(key)[:60]!r} is not known"
                self.add(table, str(key)[:60], said, self.remedy or near, at)
                continue
            try:
                found[key] = check.read(value)
            except ValueError:
                said = f"{key} is {value!r:.60}"
                self.add(table, key, said, self.remedy or check.remedy, at)
        return found

    def list(self, table: str, checks: Mapping[str, MayHold]) -> list[dict[str, Any]]:
        """The entries of [[table]]; one that lacks a key that all need is for the caller to name."""
        held = self.data.get(table, [])
        if not isinstance(held, list) or len(held) > 10 * _MOST:
            self.add(table, "", f"{table} is no list of entries", f"write [[{table}]] for each")
            return []
        return [self.table(table, one, checks, n) for n, one in enumerate(held)]

    @contextmanager
    def caught(self, table: str, at: int = 0) -> Iterator[None]:
        """Notes what the library refuses as a fault of a table."""
        try:
            yield
        except Faulty as error:
            for one in error.faults:
                self.add(table, "", f"{one.where}: {one.what}".lstrip(": "), one.remedy, at)
        except KitError as error:
            self.add(table, "", str(error), at=at)

"""What is wrong with this input, and what should the person try next?"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from math import isfinite
from typing import TypeVar

Answer = TypeVar("Answer")


class KitError(ValueError):
    """Something a person gave cannot be used. The message says what, where, the limit and what to try."""


class OutOfRange(KitError):
    """A value lies outside what is possible, or outside what the method can answer."""


class UnknownName(KitError):
    """A name that the kit does not hold. The message offers the nearest three; nothing is guessed."""

    def __init__(self, what: str, name: str, known: Iterable[str]):
        self.name, self.near = name, nearest(name, known)
        offer = f"; nearest: {', '.join(self.near)}" if self.near else ""
        super().__init__(f"{what} {name!r} is not known{offer}")


class UnknownStrength(KitError):
    """A cure whose strength is not written. The message asks for it; none is guessed and no other salt is offered."""


class WrongUnit(KitError):
    """An amount in a unit of another kind, or in no unit where one is needed."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong in something a person wrote or a file holds."""

    what: str
    """the fault in one sentence, with the offending value"""
    field: str = ""
    row: int | None = None
    """row as the person counts it: the header is row 1"""
    column: str = ""
    file: str = ""
    sheet: str = ""
    remedy: str = ""

    @property
    def where(self) -> str:
        row = f"row {self.row}" if self.row is not None else ""
        column = f"column {self.column}" if self.column else ""
        sheet = f"sheet {self.sheet}" if self.sheet else ""
        return ", ".join(part for part in (self.file, sheet, row, column, self.field) if part)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.what}" + (f" — {self.remedy}" if self.remedy else "")


class Faulty(KitError):
    """Everything wrong with one file or one form, reported at once as `faults`."""

    def __init__(self, what: str, faults: Sequence[Fault]):
        self.what, self.faults = what, tuple(faults)
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        numbered = (f"  {n}. {fault}" for n, fault in enumerate(self.faults, 1))
        super().__init__("\n".join((f"{what}: {count}", *numbered)))


def attempt(ask: Callable[[], Answer]) -> tuple[Answer | None, str]:
    """What `ask` answers, and ''; where it cannot, None and why."""
    try:
        return ask(), ""
    except KitError as error:
        return None, str(error)


def need_known(what: str, name: object, known: Iterable) -> None:
    """Raise UnknownName, with the nearest three of `known`, unless `name` is one of them."""
    if name not in known:
        raise UnknownName(what, str(name), known)


def look_up(what: str, name: str, table: Mapping[str, Answer]) -> Answer:
    """The entry of a table by its name. UnknownName, with the nearest three, where there is none."""
    need_known(what, name, table)
    return table[name]


def need(holds: bool, message: str, kind: type[KitError] = OutOfRange) -> None:
    """Raise `kind(message)` unless `holds`."""
    if not holds:
        raise kind(message)


def need_between(name: str, value: float, low: float, high: float, remedy: str = "") -> float:
    """`value` as a float, if it is finite and low <= value <= high; else OutOfRange naming all four."""
    remedy = f"; {remedy}" if remedy else ""
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise OutOfRange(f"{name} is {value!r}, which is no number{remedy}") from None
    if not (isfinite(number) and low <= number <= high):
        ends = f"it must lie between {low:g} and {high:g}"
        raise OutOfRange(f"{name} is {number:g}; {ends}{remedy}")
    return number


def need_all_between(name: str, given, low: float, high: float, remedy: str = ""):
    """One number or many as a float array, if low <= each <= high; else OutOfRange naming the first that is not."""
    import numpy as np

    if isinstance(given, float) and low <= given <= high:  # quick, for one number is the rule
        return np.asarray(given)
    remedy = f"; {remedy}" if remedy else ""
    try:
        values = np.asarray(given, dtype=float)
    except (TypeError, ValueError):
        raise OutOfRange(f"{name} is {given!r}, which is no number{remedy}") from None
    outside = ~((values >= low) & (values <= high))
    if outside.any():
        wrong = values[outside].flat[0]
        raise OutOfRange(f"{name} is {wrong:g}; it must lie between {low:g} and {high:g}{remedy}")
    return values


def nearest(name: str, known: Iterable[str]) -> tuple[str, ...]:
    """The three names most like `name`, best first; ignores case and the order of words."""

    def likeness(candidate: str) -> float:
        a, b = name.casefold().strip(), candidate.casefold()
        direct = SequenceMatcher(None, a, b).ratio()
        a_words, b_words = set(a.replace("_", " ").split()), set(b.replace("_", " ").split())
        shared = len(a_words & b_words) / max(len(a_words | b_words), 1)
        return max(direct, shared) + 0.25 * min(direct, shared)

    return tuple(sorted(dict.fromkeys(known), key=lambda c: (-likeness(c), c))[:3])

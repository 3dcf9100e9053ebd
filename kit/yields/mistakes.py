"""What does one mistake do to the mass balance, and which weight looks like a unit error?

The first four simulate a mistake in a ledger and leave every other loss as it is, in kilograms;
`unit_slips` looks the other way.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from kit import tables, units
from kit.errors import UnknownName, need_known
from kit.faults import need_said
from kit.yields.ledger import (
    IN,
    ORDER,
    OUT,
    REWORK_OUT,
    SCRAP,
    SIGN,
    WeightEntry,
    checked,
    place_of,
    points,
)
from kit.yields.sections import sections

POUNDS, OUNCES = (1000 / tables.value(name) for name in ("pound_g", "ounce_g"))
"""what a weight is multiplied by when its pounds or ounces are typed as kilograms; both are defined so"""
UNITS = (
    (POUNDS, "lb typed where kg were meant"),
    (1 / POUNDS, "kg typed where lb were meant"),
    (1000.0, "g typed where kg were meant"),
    (0.001, "t typed where kg were meant"),
)
"""(how many times the right figure is written, what happened)"""
SLIPS = (
    *UNITS,
    (10.0, "a digit too many"),
    (0.1, "a digit missing"),
    (OUNCES, "oz typed where kg were meant"),
    (100.0, "two digits too many"),
    (0.01, "two digits missing"),
)
"""the same with the decimal point; of one ledger the units alone are looked for"""


@dataclass(frozen=True)
class UnitSlip:
    """A weight that fits between its neighbours only in another unit. It stays as it is written."""

    weight: str
    written_kg: float
    meant_kg: float
    what: str

    def words(self, system: str = units.METRIC) -> str:
        written, meant = (units.show(kg, "kg", system) for kg in (self.written_kg, self.meant_kg))
        return f"{self.weight}: {written} fits nothing beside it; {meant} would: {self.what}?"


def leaked(entries: Iterable[WeightEntry], where: str, kg: float) -> tuple[WeightEntry, ...]:
    """`kg` leave unrecorded at a stage, or on the way, "chop to stuff": later weights are less.

    Below 0 it comes in. Raises OutOfRange where a weight would fall below 0.
    """
    start, to, end = where.partition(" to ")
    for stage in (start, end) if to else (start,):
        if stage not in ORDER:
            ways = (f"{a} to {b}" for a, b in zip(ORDER, list(ORDER)[1:]))
            raise UnknownName("stage or transfer", where, (*ORDER, *ways))
    after = place_of(start, OUT if to else IN)
    return _main_stream(entries, lambda mark: place_of(*mark) > after, -kg)


def misread(entries: Iterable[WeightEntry], weight: str, kg: float) -> tuple[WeightEntry, ...]:
    """One weight reads `kg` too high: "out of cook", or a side weight such as "scrap at trim"."""
    entries = checked(entries)
    marks = {p.label: (p.stage, p.kind) for p in points(entries)}
    if weight in marks:
        return _main_stream(entries, lambda mark: mark == marks[weight], kg)
    sides = [e.label for e in entries if e.kind not in (IN, OUT)]
    if weight not in (e.label for e in entries):
        raise UnknownName("weight", weight, (*marks, *sides))
    return tuple(
        replace(e, kg=_need_left(e.kg + kg, e.label)) if e.label == weight else e for e in entries
    )


def with_side(
    entries: Iterable[WeightEntry], stage: str, kind: str, kg: float, sd_kg: float | None = None
) -> tuple[WeightEntry, ...]:
    """The same batch with `kg` put in or taken out at a stage, and recorded: later weights follow.

    Named parts keep their shares; 0 takes the side weight away.
    """
    need_known("kind of side weight", kind, SIGN)
    entries = checked(entries)
    held = [e for e in entries if (e.stage, e.kind) == (stage, kind)]
    before = sum(e.kg for e in held)
    now: tuple[WeightEntry, ...] = ()
    if kg and before:
        now = tuple(replace(e, kg=kg * e.kg / before) for e in held)
    elif kg:
        now = (WeightEntry(stage, kind, kg, sd_kg=sd_kg),)
    rest = tuple(e for e in entries if e not in held)
    place, change = place_of(stage, kind), SIGN[kind] * (kg - before)
    return _main_stream((*rest, *now), lambda mark: place_of(*mark) > place, change)


def counted_twice(entries: Iterable[WeightEntry]) -> tuple[WeightEntry, ...]:
    """Rework that went back is written as scrap as well."""
    entries = checked(entries)
    again = [
        replace(e, kind=SCRAP, name=f"{e.name or 'ends'}, written again")
        for e in entries
        if e.kind == REWORK_OUT
    ]
    need_said(bool(again), "no rework sent back")
    return checked((*entries, *again))


def unit_slips(entries: Iterable[WeightEntry]) -> tuple[UnitSlip, ...]:
    """Weights that make the ledger impossible as written, and possible once read in another unit.

    Possible: lost between a small gain and what the stage may lose (data rows yields_slip_*).
    Weights are tried one at a time.
    """
    entries = checked(entries)
    if not _impossible(entries):
        return ()
    weights = [(p.label, p.kg) for p in points(entries)]
    weights += [(e.label, e.kg) for e in entries if e.kind in SIGN]
    return tuple(
        UnitSlip(label, kg, kg / factor, what)
        for label, kg in weights
        for factor, what in UNITS
        if not _impossible(misread(entries, label, kg / factor - kg))
    )


def _impossible(entries: tuple[WeightEntry, ...]) -> bool:
    gain, loss, cook = (
        tables.value(f"yields_slip_{name}_pct") for name in ("gain", "loss", "cook")
    )
    for line in sections(entries):
        most = cook if "cook" in (*line.stages, *line.skipped) else loss
        if not -gain * line.all_in_kg <= 100 * line.lost_kg <= most * line.all_in_kg:
            return True
    return False


def _main_stream(
    entries: Iterable[WeightEntry], chosen: Callable[[tuple[str, str]], bool], kg: float
) -> tuple[WeightEntry, ...]:
    """`kg` more in every chosen main-stream weight; parts of one weight share it."""
    entries = checked(entries)
    total = {(p.stage, p.kind): p.kg for p in points(entries)}

    def moved(e: WeightEntry) -> WeightEntry:
        mark = (e.stage, e.kind)
        if mark not in total or not chosen(mark):
            return e
        parts = sum((o.stage, o.kind) == mark for o in entries)
        share = e.kg / total[mark] if total[mark] else 1 / parts
        return replace(e, kg=_need_left(e.kg + kg * share, e.label))

    return tuple(moved(e) for e in entries)


def _need_left(kg: float, label: str) -> float:
    need_said(kg > 0, "nothing left", label=label, kg=kg)
    return kg

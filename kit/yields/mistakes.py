"""What does one mistake do to the books, and which weight looks like a slip of unit?

The first four plant something in a ledger and leave every other loss as it is, in kilograms; `unit_slips` looks the other way.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from kit import tables, units
from kit.errors import UnknownName, need
from kit.yields.ledger import (
    IN,
    ORDER,
    OUT,
    REWORK_OUT,
    SCRAP,
    SIGN,
    Entry,
    checked,
    place_of,
    points,
)
from kit.yields.spans import layout

POUNDS = 1000 / tables.value("pound_g")
"""what a weight is multiplied by when its pounds are typed as kilograms; the pound is defined so"""
SLIPS = {
    "pounds typed where kilograms were meant": POUNDS,
    "kilograms typed where pounds were meant": 1 / POUNDS,
    "grams typed where kilograms were meant": 1000.0,
    "tonnes typed where kilograms were meant": 0.001,
}


@dataclass(frozen=True)
class UnitSlip:
    """A weight that fits between its neighbours only in another unit. It stays as it is written."""

    weight: str
    written_kg: float
    meant_kg: float
    what: str

    def words(self, system: str = units.METRIC) -> str:
        return (
            f"{self.weight}: {units.show(self.written_kg, 'kg', system)} fits nothing beside it; {units.show(self.meant_kg, 'kg', system)} would: "
            f"{self.what}?"
        )


def leaked(entries: Iterable[Entry], where: str, kg: float) -> tuple[Entry, ...]:
    """`kg` leave at a stage, or at a hand-over written 'chop to stuff', and nobody writes it down: every later weight is that much less.

    Below 0 it comes in. OutOfRange where a weight would fall below 0.
    """
    after = _after(where)
    return _main_stream(entries, lambda stage, kind: place_of(stage, kind) > after, -kg)


def misread(entries: Iterable[Entry], weight: str, kg: float) -> tuple[Entry, ...]:
    """One weight reads `kg` too high: 'out of cook', 'into stuff', or a side weight such as 'scrap at trim'."""
    entries = checked(entries)
    labels = {p.label: (p.stage, p.kind) for p in points(entries)}
    if weight in labels:
        return _main_stream(entries, lambda stage, kind: (stage, kind) == labels[weight], kg)
    if weight not in [e.label for e in entries]:
        raise UnknownName(
            "weight", weight, (*labels, *(e.label for e in entries if e.kind not in (IN, OUT)))
        )
    return tuple(
        replace(e, kg=_left(e.kg + kg, e.label)) if e.label == weight else e for e in entries
    )


def with_side(
    entries: Iterable[Entry], stage: str, kind: str, kg: float, sd_kg: float | None = None
) -> tuple[Entry, ...]:
    """The same batch with this much put in or taken out at a stage, written down: later weights follow. Named parts keep their shares; 0 takes it away."""
    if kind not in SIGN:
        raise UnknownName("kind of side weight", kind, SIGN)
    entries = checked(entries)
    held = [e for e in entries if (e.stage, e.kind) == (stage, kind)]
    before = sum(e.kg for e in held)
    kept = tuple(e for e in entries if e not in held)
    now = (
        ()
        if not kg
        else tuple(replace(e, kg=kg * e.kg / before) for e in held)
        if before
        else (Entry(stage, kind, kg, sd_kg=sd_kg),)
    )
    place = place_of(stage, kind)
    return _main_stream(
        (*kept, *now), lambda s, k: place_of(s, k) > place, SIGN[kind] * (kg - before)
    )


def counted_twice(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Rework that went back is written as scrap as well."""
    entries = checked(entries)
    again = [
        replace(e, kind=SCRAP, name=f"{e.name or 'ends'}, written again")
        for e in entries
        if e.kind == REWORK_OUT
    ]
    need(bool(again), "no rework was sent back in this ledger, so none can be counted twice")
    return checked((*entries, *again))


def mended(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Every hand-over closed, as if nothing had gone astray on the way: later weights are raised by what was missing."""
    entries = checked(entries)
    stream = points(entries)
    for span in layout([(p.stage, p.kind) for p in stream]):
        if span.is_handover:
            out, into = (
                next(p.kg for p in points(entries) if (p.stage, p.kind) == mark)
                for mark in (span.start, span.end)
            )
            entries = leaked(entries, f"{span.start[0]} to {span.end[0]}", into - out)
    return entries


def unit_slips(entries: Iterable[Entry]) -> tuple[UnitSlip, ...]:
    """Weights that make a stage or a hand-over impossible as written, and possible on both sides once read in another unit.

    Possible: lost between a small gain and what that stage may lose (data rows yields_slip_*). Weights are tried one at a time.
    """
    entries = checked(entries)
    if not _impossible(entries):
        return ()
    found = []
    for point in points(entries):
        for what, factor in SLIPS.items():
            tried = _main_stream(
                entries,
                lambda s, k, p=point: (s, k) == (p.stage, p.kind),
                point.kg / factor - point.kg,
            )
            if not _impossible(tried):
                found.append(UnitSlip(point.label, point.kg, point.kg / factor, what))
    for n, entry in enumerate(entries):
        for what, factor in SLIPS.items() if entry.kind in SIGN else ():
            if not _impossible(
                (*entries[:n], replace(entry, kg=entry.kg / factor), *entries[n + 1 :])
            ):
                found.append(UnitSlip(entry.label, entry.kg, entry.kg / factor, what))
    return tuple(found)


def _impossible(entries: tuple[Entry, ...]) -> bool:
    stream = points(entries)
    sides = [e for e in entries if e.kind in SIGN]
    least, most, cook = (
        tables.value(f"yields_slip_{name}_pct") for name in ("gain", "loss", "cook")
    )
    for span, start, end in zip(
        layout([(p.stage, p.kind) for p in stream], {e.stage for e in sides}), stream, stream[1:]
    ):
        held = (
            [] if span.is_handover else [e for e in sides if span.holds(place_of(e.stage, e.kind))]
        )
        put_in = start.kg + sum(e.kg for e in held if SIGN[e.kind] > 0)
        lost = put_in - sum(e.kg for e in held if SIGN[e.kind] < 0) - end.kg
        if (
            not -least * put_in
            <= 100 * lost
            <= (cook if "cook" in (*span.stages, *span.skipped) else most) * put_in
        ):
            return True
    return False


def _after(where: str) -> float:
    start, to, end = where.partition(" to ")
    for stage in (start, end) if to else (start,):
        if stage not in ORDER:
            raise UnknownName(
                "stage or hand-over",
                where,
                (*ORDER, *(f"{a} to {b}" for a, b in zip(ORDER, list(ORDER)[1:]))),
            )
    return place_of(start, OUT if to else IN)


def _main_stream(
    entries: Iterable[Entry], chosen: Callable[[str, str], bool], kg: float
) -> tuple[Entry, ...]:
    """`kg` more in every chosen main-stream weight; parts of one weight share it. Giveaway is part of pack and stays."""
    entries = checked(entries)
    total = {(p.stage, p.kind): p.kg for p in points(entries)}

    def moved(e):
        whole = total[e.stage, e.kind]
        share = (
            e.kg / whole
            if whole
            else 1 / sum((o.stage, o.kind) == (e.stage, e.kind) for o in entries)
        )
        return replace(e, kg=_left(e.kg + kg * share, e.label))

    return tuple(
        moved(e) if e.kind in (IN, OUT) and chosen(e.stage, e.kind) else e for e in entries
    )


def _left(kg: float, label: str) -> float:
    need(
        kg > 0,
        f"{label} would be {kg:.4g} kg; less than is there must leave, and something must stay",
    )
    return kg

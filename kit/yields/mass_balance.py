"""Where did every kilogram of one batch go?

    in at the start + additions + rework in
        = end + rework out + samples + scrap + lost in stages + unrecorded loss

Lost is what disappears inside a stage (vapour, drip, what sticks to the machine); unrecorded is what
disappears between stages, or appears where nothing was added. Rework is a return flow, never lost.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import hypot

import scipy as sp

from kit import tables
from kit.errors import Fault, look_up
from kit.faults import need_said
from kit.stages import STAGES
from kit.working import Result, Step, notes_of, working_of
from kit.yields.ledger import (
    ADDITION,
    GIVEAWAY,
    IN,
    OUT,
    REWORK_IN,
    REWORK_OUT,
    SAMPLE,
    SCRAP,
    SIGN,
    WeightEntry,
    checked,
    place_of,
    points,
    root_sum,
)
from kit.yields.sections import Section, sections

UNRECORDED = "unrecorded"
PRACTICE = "yields as out over in, rework as a return flow"
AFTER = {
    "receive": "received",
    "thaw": "thawed",
    "trim": "trimmed",
    "grind": "ground",
    "chop": "batter",
    "stuff": "stuffed",
    "rest": "rested",
    "cook": "cooked",
    "chill": "chilled",
    "peel": "peeled",
    "pack": "packed",
    "grill": "grilled",
}


@dataclass(frozen=True)
class Yield:
    """`of` as a percentage of `base`."""

    of: str
    base: str
    kg: float
    base_kg: float
    pct: float
    sd_pct: float | None
    place: float
    """of the base along the line"""


@dataclass(frozen=True)
class WaterfallRow:
    """One bar of the waterfall: a change of `kg` from `from_kg` to `to_kg`."""

    label: str
    kind: str
    """start, a kind of side flow, lost, unrecorded, end or giveaway"""
    stage: str
    kg: float
    from_kg: float
    to_kg: float


@dataclass(frozen=True)
class MassBalance(Result):
    """One batch's kilograms."""

    sections: tuple[Section, ...]
    giveaway_kg: float | None
    yields: tuple[Yield, ...]
    rows: tuple[WaterfallRow, ...]
    faults: tuple[Fault, ...]
    """gains with nothing added"""

    @property
    def start(self) -> WeightEntry:
        return self.sections[0].start

    @property
    def end(self) -> WeightEntry:
        return self.sections[-1].end

    @property
    def stages(self) -> tuple[Section, ...]:
        """One stage each, or several where a weight between them is missing."""
        return tuple(line for line in self.sections if not line.is_transfer)

    @property
    def transfers(self) -> tuple[Section, ...]:
        return tuple(line for line in self.sections if line.is_transfer)

    def kg_of(self, *kinds: str) -> float:
        """Kilograms of the side flows of these kinds."""
        return sum(line.kg_of(*kinds) for line in self.sections)

    @property
    def added_kg(self) -> float:
        return self.kg_of(ADDITION)

    @property
    def all_in_kg(self) -> float:
        return self.start.kg + self.kg_of(ADDITION, REWORK_IN)

    @property
    def lost_kg(self) -> float:
        """Lost inside stages, gains left out."""
        return sum(line.lost_kg for line in self.sections if not line.is_unrecorded)

    @property
    def unrecorded_kg(self) -> float:
        """Signed sum of the transfers and of gains with no addition."""
        return sum(line.lost_kg for line in self.sections if line.is_unrecorded)

    @property
    def sold_kg(self) -> float | None:
        """Packed less given away: the weight on the labels."""
        return None if self.giveaway_kg is None else self.end.kg - self.giveaway_kg

    def stage(self, name: str) -> Section:
        """The section that holds this stage. Raises UnknownName."""
        held = {stage: line for line in self.stages for stage in line.stages}
        return look_up("weighed stage", name, held)

    def yield_on(self, base: str) -> Yield:
        """The end of the line, as a percentage of the named base. Raises UnknownName."""
        return look_up("base", base, {line.base: line for line in self.yields})


def mass_balance(entries: Iterable[WeightEntry]) -> MassBalance:
    """The mass balance of one batch; any weight may be missing, and every bridge is stated.

    entries: weights in kg, 0 or more, from `at`; at least two of the main stream.
    Returns MassBalance: losses of stages and unrecorded losses (kg), yields (% of every base), rows
    of a waterfall. Gains with no addition are listed in `faults` and left as they are.
    Raises Faulty for entries that cannot be used, OutOfRange with fewer than two weights.
    Source: common practice (yield as out over in, rework as a return flow).
    """
    entries = checked(entries)
    stream = points(entries)
    need_said(len(stream) >= 2, "one main weight", label=stream[0].label)
    lines = sections(entries)
    for line in lines:
        empty = line.stages and line.all_in_kg <= 0
        need_said(not empty, "yield of nothing", stage=line.stage)
    given = [e.kg for e in entries if e.kind == GIVEAWAY]
    giveaway = sum(given) if given else None
    yields = tuple(_yields(entries, stream, lines))
    faults, covered = _gains(lines)
    return MassBalance(
        lines,
        giveaway,
        yields,
        _rows(lines, giveaway),
        faults,
        own_notes=(
            *_outside(entries, stream),
            *(line.bridge for line in lines if line.bridge),
            *covered,
            *notes_of("short packs", {"short": (giveaway or 0) < 0}),
        ),
        own_sources=(tables.cite("common_practice", PRACTICE, "practice"),),
        own_working=_working(lines, yields),
    )


def _gains(lines: Sequence[Section]) -> tuple[tuple[Fault, ...], tuple[str, ...]]:
    """Weight that came from nowhere: a fault, or a note where the scales explain it."""
    faults: list[Fault] = []
    notes: list[str] = []
    limit = -sp.special.ndtri(tables.value("yields_alpha") / 2)
    remedy = (
        "look for an addition not written down, swapped in and out, a tare, a unit, "
        "or water taken up"
    )
    for line in sorted((one for one in lines if one.gained), key=lambda one: one.is_transfer):
        what, sd = line.gain_in_words(), line.lost_sd_kg
        if sd is not None and -line.lost_kg <= limit * sd:
            notes += notes_of("scales explain a gain", {}, stage=line.stage, gain=what, sd=sd)
        else:
            faults.append(Fault(what, line.stage, remedy=remedy))
    return tuple(faults), tuple(notes)


def _outside(entries: Sequence[WeightEntry], stream: Sequence[WeightEntry]) -> tuple[str, ...]:
    start, end = stream[0], stream[-1]
    sides = [e for e in entries if e.kind in SIGN]
    told = {
        "early": ", ".join(e.label for e in sides if e.place < start.place),
        "late": ", ".join(e.label for e in sides if e.place > end.place),
    }
    return notes_of("ledger", told, start=start.label, end=end.label, **told)


def _bases(
    entries: Sequence[WeightEntry], stream: Sequence[WeightEntry], lines: Sequence[Section]
) -> Iterator[tuple[str, float, float | None, float]]:
    """(name, kg, sd, place) of every weight with a trade name.

    Where a stage was not weighed out, the weight into the next stage stands for it.
    """
    by_mark = {(p.stage, p.kind): p for p in stream}
    next_in = {line.start.stage: line.end for line in lines if line.end.kind == IN}
    chopped = (line.start for line in lines if line.stages[:1] == ("chop",))
    meat = next(chopped, by_mark.get(("chop", IN)))
    for stage in STAGES:
        into, out = by_mark.get((stage, IN)), by_mark.get((stage, OUT))
        door = into or out
        if stage == "receive" and door:
            yield "received", door.kg, door.sd_kg, door.place
            continue
        if stage == "chop" and meat is not None:
            put_in = [e for e in entries if e.stage == "chop" and SIGN.get(e.kind) == 1]
            sd = root_sum((meat.sd_kg, *(e.sd_kg for e in put_in)))
            yield "meat block", meat.kg, meat.sd_kg, place_of("chop", IN)
            yield "bowl", meat.kg + sum(e.kg for e in put_in), sd, place_of("chop", ADDITION)
        stands = out or (next_in.get(stage) if into else None)
        if stands is not None:
            yield AFTER[stage], stands.kg, stands.sd_kg, place_of(stage, OUT)


def _end_name(end: WeightEntry) -> str:
    return AFTER[end.stage] if end.kind == OUT else end.label


def _yields(
    entries: Sequence[WeightEntry], stream: Sequence[WeightEntry], lines: Sequence[Section]
) -> Iterator[Yield]:
    end = stream[-1]
    for name, base_kg, base_sd, place in _bases(entries, stream, lines):
        if place >= end.place or base_kg == 0:
            continue
        pct, sd = 100 * end.kg / base_kg, None
        if end.sd_kg is not None and base_sd is not None:
            sd = hypot(100 * end.sd_kg, pct * base_sd) / base_kg
        yield Yield(_end_name(end), name, end.kg, base_kg, pct, sd, place)


def _rows(lines: Sequence[Section], giveaway: float | None) -> tuple[WaterfallRow, ...]:
    start, end = lines[0].start, lines[-1].end
    level = start.kg
    rows = [WaterfallRow(start.label, "start", start.stage, level, 0.0, level)]
    for line in lines:
        kind, label = "lost", f"lost in {line.stage}"
        if line.is_transfer:
            kind, label = UNRECORDED, f"unrecorded, {line.stage}"
        elif line.gained:
            kind, label = UNRECORDED, f"gained in {line.stage}, nothing added"
        for change in (
            *((e.label, e.kind, e.stage, SIGN[e.kind] * e.kg) for e in line.sides),
            (label, kind, line.stage, -line.lost_kg),
        ):
            rows.append(WaterfallRow(*change, level, level + change[-1]))
            level = rows[-1].to_kg
    rows.append(WaterfallRow(_end_name(end), "end", end.stage, end.kg, 0.0, end.kg))
    if giveaway is not None:
        sold = end.kg - giveaway
        rows += [
            WaterfallRow("giveaway", GIVEAWAY, "pack", -giveaway, end.kg, sold),
            WaterfallRow("on the labels", "end", "pack", sold, 0.0, sold),
        ]
    return tuple(rows)


def _working(lines: Sequence[Section], yields: Sequence[Yield]) -> tuple[Step, ...]:
    """Keys: 'lost in cook', 'yield of cook', 'unrecorded, chop to stuff', 'packed on bowl'."""
    steps: list[Step] = []
    for line in (one for one in lines if not one.is_transfer):
        sides = {"A": ADDITION, "R": REWORK_IN, "B": REWORK_OUT, "S": SAMPLE, "W": SCRAP}
        known = {symbol: line.kg_of(kind) for symbol, kind in sides.items()}
        ins = " + ".join(["I", *(s for s in "AR" if known[s])])
        words = {
            "stage": line.stage,
            "ins": ins,
            "outs": " − ".join([*(s for s in "BSW" if known[s]), "O"]),
            "base": f"({ins})" if "+" in ins else ins,
        }
        known |= {"I": line.in_kg, "O": line.out_kg, "L": line.lost_kg, "Y": line.yield_pct}
        steps += working_of("stage of a ledger", **words, **known)
    for line in (one for one in lines if one.is_transfer):
        words = {"stage": line.stage, "start": line.start.stage, "end": line.end.stage}
        kg = {"U": line.lost_kg, "O": line.in_kg, "I": line.out_kg}
        steps += working_of("transfer of a ledger", **words, **kg)
    for y in yields:
        steps += working_of("yield of a ledger", of=y.of, base=y.base, Y=y.pct, P=y.kg, B=y.base_kg)
    return tuple(steps)

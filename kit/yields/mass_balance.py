"""Where did every kilogram of one batch go?

    in at the start + additions + rework in
        = end + rework out + samples + scrap + lost in stages + unrecorded

Lost is what disappears inside a stage (vapour, drip, what sticks to the machine); unrecorded is what
disappears between stages, or appears where nothing was added. Rework is a return flow, never lost.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any

from scipy.special import ndtri

from kit import tables
from kit.errors import Fault, need
from kit.stages import STAGES
from kit.working import Step, step
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
    Point,
    WeightEntry,
    checked,
    place_of,
    points,
    root_sum,
)
from kit.yields.results import Base, MassBalance, StageLoss, Transfer, WaterfallRow, Yield
from kit.yields.spans import Span, layout

ROUNDING = 1e-9
"""differences smaller than this share of the weights are binary rounding, not kilograms"""

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
}


@dataclass(frozen=True)
class _Piece:
    """One span with its weights and its line of the balance."""

    span: Span
    start: Point
    end: Point
    held: tuple[WeightEntry, ...]
    line: StageLoss | Transfer

    @property
    def missing(self) -> tuple[float, float | None]:
        """(kg gone, its standard deviation)"""
        if isinstance(self.line, Transfer):
            return self.line.unrecorded_kg, self.line.sd_kg
        return self.line.lost_kg, self.line.lost_sd_kg

    @property
    def gained(self) -> bool:
        line = self.line
        through = line.out_kg if isinstance(line, Transfer) else line.all_in_kg
        return self.missing[0] < -ROUNDING * through

    @property
    def open(self) -> bool:
        """Nobody wrote down where it went: a transfer, or a gain in a stage."""
        return isinstance(self.line, Transfer) or self.gained


def mass_balance(entries: Iterable[WeightEntry]) -> MassBalance:
    """The mass balance of one batch; any weight may be missing, and every bridge is said.

    entries: weights in kg, from `kit.yields.ledger.at`
    Returns MassBalance: losses of stages, unrecorded kg, yields in % of every base, rows of a waterfall.
    Raises Faulty for entries that cannot be used, OutOfRange with one weight.
    Gains with no addition are listed in `faults` and left as they are.
    Source: mass balance, exact.
    """
    entries = checked(entries)
    stream = points(entries)
    need(
        len(stream) >= 2,
        f"only the weight {stream[0].label} is known; a yield needs two main-stream weights, "
        "such as what came in and what was packed",
    )
    sides = tuple(e for e in entries if e.kind in SIGN)
    pieces = _pieces(stream, sides)
    inside = [e for piece in pieces for e in piece.held]
    total = {kind: sum(e.kg for e in inside if e.kind == kind) for kind in SIGN}
    given = [e.kg for e in entries if e.kind == GIVEAWAY]
    giveaway = sum(given) if given else None
    stages = tuple(p.line for p in pieces if isinstance(p.line, StageLoss))
    bases = _bases(entries, stream, pieces)
    yields = _yields(bases, stream[-1], sides)
    faults, covered = _gains(pieces)
    return MassBalance(
        stages,
        tuple(p.line for p in pieces if isinstance(p.line, Transfer)),
        stream[0],
        stream[-1],
        total[ADDITION],
        total[REWORK_IN],
        total[REWORK_OUT],
        total[SAMPLE],
        total[SCRAP],
        sum(p.missing[0] for p in pieces if not p.open),
        sum(p.missing[0] for p in pieces if p.open),
        giveaway,
        bases,
        yields,
        _rows(pieces, stream, giveaway),
        faults,
        own_notes=(
            *_outside(sides, stream),
            *(p.line.bridge for p in pieces if p.line.bridge),
            *covered,
            *_short_weight(giveaway),
        ),
        own_sources=(
            tables.cite(
                "common_practice", "yields as out over in, rework as a return flow", "practice"
            ),
        ),
        own_working=_working(pieces, yields),
    )


def _pieces(stream: Sequence[Point], sides: Sequence[WeightEntry]) -> tuple[_Piece, ...]:
    spans = layout([(p.stage, p.kind) for p in stream], {e.stage for e in sides})
    found = []
    for span, start, end in zip(spans, stream, stream[1:]):
        held = tuple(e for e in sides if not span.is_transfer and span.holds(e.place))
        line = _transfer(span, start, end) if span.is_transfer else _loss(span, start, end, held)
        found.append(_Piece(span, start, end, held, line))
    return tuple(found)


def _transfer(span: Span, start: Point, end: Point) -> Transfer:
    sd = root_sum((start.sd_kg, end.sd_kg))
    ends = (start.stage, end.stage, start.kg, end.kg)
    return Transfer(*ends, start.kg - end.kg, sd, span.bridge())


def _loss(span: Span, start: Point, end: Point, held: Sequence[WeightEntry]) -> StageLoss:
    kg = {kind: sum(e.kg for e in held if e.kind == kind) for kind in SIGN}
    put_in = start.kg + kg[ADDITION] + kg[REWORK_IN]
    need(put_in > 0, f"nothing went into {span.name}; a yield of nothing cannot be stated")
    return StageLoss(
        span.name,
        span.stages,
        start.kg,
        kg[ADDITION],
        kg[REWORK_IN],
        kg[REWORK_OUT],
        kg[SAMPLE],
        kg[SCRAP],
        end.kg,
        start.kg + sum(SIGN[kind] * kg[kind] for kind in SIGN) - end.kg,
        root_sum((start.sd_kg, end.sd_kg, *(e.sd_kg for e in held))),
        span.bridge(),
    )


def _gains(pieces: Sequence[_Piece]) -> tuple[tuple[Fault, ...], tuple[str, ...]]:
    """Weight that came from nowhere: a fault, or a note where the scales explain it."""
    faults, notes = [], []
    limit = -ndtri(tables.value("yields_alpha") / 2)
    remedy = (
        "look for an addition not written down, swapped in and out, a tare, a unit, "
        "or water taken up"
    )
    for piece in sorted((p for p in pieces if p.gained), key=lambda p: p.span.is_transfer):
        line, (kg, sd) = piece.line, piece.missing
        if isinstance(line, StageLoss):
            through = f"({line.all_in_kg:.6g} kg in)"
            what = f"{line.stage}: {-kg:.4g} kg more came out than went in {through}"
        else:
            went = f"{line.in_kg:.6g} kg came in where {line.out_kg:.6g} kg went out"
            what = f"{line.name}: {went}, {-kg:.4g} kg more"
        if sd is not None and -kg <= limit * sd:
            notes.append(f"{what}; the uncertainty of the scales (sd {sd:.3g} kg) covers it")
        else:
            faults.append(Fault(what, piece.span.name, remedy=remedy))
    return tuple(faults), tuple(notes)


def _outside(sides: Sequence[WeightEntry], stream: Sequence[Point]) -> Iterator[str]:
    start, end = stream[0], stream[-1]
    early = ", ".join(e.label for e in sides if e.place < start.place)
    late = ", ".join(e.label for e in sides if e.place > end.place)
    if early:
        yield f"the balance starts {start.label}: {early} came before it and is not counted again"
    if late:
        yield f"the balance ends {end.label}: {late} came after it and is not counted"


def _short_weight(giveaway: float | None) -> Iterator[str]:
    if giveaway is not None and giveaway < 0:
        yield (
            f"packs weigh {-giveaway:.4g} kg less than their labels together: check the entry; "
            "short weight is a matter for the local weights-and-measures rules"
        )


def _bases(
    entries: Sequence[WeightEntry], stream: Sequence[Point], pieces: Sequence[_Piece]
) -> tuple[Base, ...]:
    """Every weight with a trade name; where it was not weighed out, the weight into the next stage."""
    by_mark = {(p.stage, p.kind): p for p in stream}
    next_in = {p.start.stage: p.end for p in pieces if p.end.kind == IN}
    meat = next(
        (p.start for p in pieces if p.span.stages[:1] == ("chop",)), by_mark.get(("chop", IN))
    )
    found = []

    def add(name: str, point: Point, place: float) -> None:
        found.append(Base(name, point.kg, point.sd_kg, point.label, place))

    for stage in STAGES:
        into, out = by_mark.get((stage, IN)), by_mark.get((stage, OUT))
        door = into or out
        if stage == "receive" and door:
            add("received", door, door.place)
            continue
        if stage == "chop" and meat is not None:
            add("meat block", meat, place_of("chop", IN))
            put_in = [e for e in entries if e.stage == "chop" and SIGN.get(e.kind) == 1]
            kg = meat.kg + sum(e.kg for e in put_in)
            sd = root_sum((meat.sd_kg, *(e.sd_kg for e in put_in)))
            label = f"{meat.label}, and all that was put in"
            found.append(Base("bowl", kg, sd, label, place_of("chop", ADDITION)))
        stands = out or (next_in.get(stage) if into else None)
        if stands is not None:
            add(AFTER[stage], stands, place_of(stage, OUT))
    return tuple(found)


def _end_name(end: Point) -> str:
    return AFTER[end.stage] if end.kind == OUT else end.label


def _yields(bases: Sequence[Base], end: Point, sides: Sequence[WeightEntry]) -> tuple[Yield, ...]:
    found = []
    for base in bases:
        if base.place >= end.place or base.kg == 0:
            continue
        later = [e for e in sides if base.place < e.place < end.place]
        sent_back = sum(e.kg for e in later if e.kind == REWORK_OUT)
        taken_in = sum(e.kg for e in later if e.kind == REWORK_IN)
        pct, sd = 100 * end.kg / base.kg, None
        if end.sd_kg is not None and base.sd_kg is not None:
            sd = hypot(100 * end.sd_kg, pct * base.sd_kg) / base.kg
        good = 100 * (end.kg + (sent_back - taken_in)) / base.kg
        found.append(Yield(_end_name(end), base.name, end.kg, base.kg, pct, sd, good))
    return tuple(found)


def _rows(
    pieces: Sequence[_Piece], stream: Sequence[Point], giveaway: float | None
) -> tuple[WaterfallRow, ...]:
    start, end = stream[0], stream[-1]
    level = start.kg
    rows = [WaterfallRow(start.label, "start", start.stage, level, 0.0, level, start.sd_kg)]

    def change(label: str, kind: str, stage: str, kg: float, sd: float | None) -> None:
        nonlocal level
        rows.append(WaterfallRow(label, kind, stage, kg, level, level + kg, sd))
        level += kg

    for piece in pieces:
        for e in piece.held:
            change(e.label, e.kind, e.stage, SIGN[e.kind] * e.kg, e.sd_kg)
        name, (kg, sd) = piece.span.name, piece.missing
        if piece.span.is_transfer:
            change(f"unexplained, {name}", "unexplained", name, -kg, sd)
        elif piece.gained:
            change(f"gained in {name}, nothing added", "unexplained", name, -kg, sd)
        else:
            change(f"lost in {name}", "lost", name, -kg, sd)
    rows.append(WaterfallRow(_end_name(end), "end", end.stage, end.kg, 0.0, end.kg, end.sd_kg))
    if giveaway is not None:
        sold = end.kg - giveaway
        rows += [
            WaterfallRow("giveaway", GIVEAWAY, "pack", -giveaway, end.kg, sold, None),
            WaterfallRow("on the labels", "end", "pack", sold, 0.0, sold, None),
        ]
    return tuple(rows)


def _working(pieces: Sequence[_Piece], yields: Sequence[Yield]) -> tuple[Step, ...]:
    """Keys: 'lost in cook', 'yield of cook', 'unrecorded, chop to stuff', 'packed on bowl'."""
    steps: list[Step] = []
    for line in (p.line for p in pieces if isinstance(p.line, StageLoss)):
        put_in: dict[str, tuple[float, str, str]] = {
            "I": (line.in_kg, "kg", "into the stage"),
            "A": (line.added_kg, "kg", "added"),
            "R": (line.rework_in_kg, "kg", "rework in"),
            "B": (line.rework_out_kg, "kg", "rework sent back"),
            "S": (line.samples_kg, "kg", "samples"),
            "W": (line.scrap_kg, "kg", "scrap"),
            "O": (line.out_kg, "kg", "out of the stage"),
        }
        used: dict[str, Any] = {s: term for s, term in put_in.items() if s in "IO" or term[0]}
        ins, outs = [s for s in "IAR" if s in used], [s for s in "BSWO" if s in used]
        plus = " + ".join(ins)
        lost, gone = f"lost in {line.stage}", f"L = {plus} − {' − '.join(outs)}"
        steps.append(step(lost, gone, line.lost_kg, "kg", key=lost, **used))
        share, base = f"yield of {line.stage}", plus if len(ins) == 1 else f"({plus})"
        terms = {s: used[s] for s in (*ins, "O")}
        steps.append(step(share, f"Y = 100 × O / {base}", line.yield_pct, "%", key=share, **terms))
    for way in (p.line for p in pieces if isinstance(p.line, Transfer)):
        steps.append(
            step(
                f"unexplained, {way.name}",
                "U = O − I",
                way.unrecorded_kg,
                "kg",
                key=f"unrecorded, {way.name}",
                O=(way.out_kg, "kg", f"out of {way.from_stage}"),
                I=(way.in_kg, "kg", f"into {way.to_stage}"),
            )
        )
    for y in yields:
        name, of, base_kg = f"{y.of} on {y.base}", (y.kg, "kg", y.of), (y.base_kg, "kg", y.base)
        steps.append(step(name, "Y = 100 × P / B", y.pct, "%", key=name, P=of, B=base_kg))
    return tuple(steps)

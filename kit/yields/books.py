"""Where did every kilogram of one batch go?

    in at the start + additions + rework in = end + rework out + samples + scrap + lost in stages + unexplained

Lost is what disappears inside a stage (vapour, drip, what sticks to the machine); unexplained is what disappears between
stages, or appears where nothing was added. Rework is a return flow: it is never counted as lost.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import hypot

from scipy.special import ndtri

from kit import tables
from kit.errors import Fault, OutOfRange, UnknownName, need
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
    Entry,
    Point,
    checked,
    place_of,
    points,
    root_sum,
)
from kit.yields.results import Base, Books, Compared, HandOver, Row, StageLine, Yield
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


def books(
    entries: Iterable[Entry],
    predicted_loss_kg: Mapping[str, float | tuple[float, float]] | None = None,
) -> Books:
    """The books of one batch from its weights; any weight may be missing, and every bridge is said.

    `predicted_loss_kg` gives the expected loss of stages, alone or with its standard deviation: {"cook": (130, 8)}.
    Raises Faulty for entries that cannot be used, OutOfRange with a single weight. Gains with no addition are
    listed in `faults` and left as they are.
    """
    entries = checked(entries)
    stream = points(entries)
    need(
        len(stream) >= 2,
        f"only the weight {stream[0].label} is known; a yield needs two main-stream weights, "
        "such as what came in and what was packed",
    )
    sides = tuple(e for e in entries if e.kind in SIGN)
    spans = layout([(p.stage, p.kind) for p in stream], {e.stage for e in sides})
    lines, handovers, order = [], [], []
    for span, start, end in zip(spans, stream, stream[1:]):
        line = (
            _hand_over(span, start, end)
            if span.is_handover
            else _stage_line(span, start, end, [e for e in sides if span.holds(_place(e))])
        )
        (handovers if span.is_handover else lines).append(line)
        order.append(
            (line, start, [e for e in sides if not span.is_handover and span.holds(_place(e))])
        )
    inside = [e for _, _, held in order for e in held]
    gains = [line for line in lines if _is_gain(line.lost_kg, line.all_in_kg)]
    open_ends = handovers + gains
    total = {kind: sum(e.kg for e in inside if e.kind == kind) for kind in SIGN}
    given = [e.kg for e in entries if e.kind == GIVEAWAY]
    giveaway = sum(given) if given else None
    bases = _bases(entries, stream, spans)
    yields = _yields(bases, stream[-1], sides)
    faults, doubts = _gains(lines, handovers)
    compared, not_compared = _compare(lines, predicted_loss_kg or {})
    notes = (
        *_outside(sides, stream),
        *(line.bridge for line, _, _ in order if line.bridge),
        *doubts,
        *not_compared,
        *_giveaway_note(giveaway),
    )
    return Books(
        tuple(lines),
        tuple(handovers),
        stream[0],
        stream[-1],
        total[ADDITION],
        total[REWORK_IN],
        total[REWORK_OUT],
        total[SAMPLE],
        total[SCRAP],
        sum(line.lost_kg for line in lines if line not in gains),
        sum(_open_kg(x) for x in open_ends),
        _together(
            [
                (line, start, end, held)
                for (line, start, held), end in zip(order, stream[1:])
                if line in open_ends
            ]
        ),
        giveaway,
        bases,
        yields,
        compared,
        _rows(order, stream, giveaway, gains),
        faults,
        notes,
        (
            tables.cite(
                "common_practice", "yields as out over in, rework as a return flow", "practice"
            ),
        ),
        _working(lines, handovers, yields),
    )


def _place(entry: Entry) -> float:
    return place_of(entry.stage, entry.kind)


def _open_kg(line) -> float:
    return line.unexplained_kg if isinstance(line, HandOver) else line.lost_kg


def _is_gain(kg: float, throughput_kg: float) -> bool:
    return kg < -ROUNDING * throughput_kg


def _together(open_ends) -> float | None:
    """Doubt of the summed open ends; a weight that ends one and starts the next cancels."""
    share: dict[Point | Entry, int] = {}
    for _, start, end, held in open_ends:
        for weight, sign in ((start, 1), (end, -1), *((e, SIGN[e.kind]) for e in held)):
            share[weight] = share.get(weight, 0) + sign
    return root_sum(weight.sd_kg for weight, sign in share.items() if sign)


def _hand_over(span: Span, start: Point, end: Point) -> HandOver:
    return HandOver(
        start.stage,
        end.stage,
        start.kg,
        end.kg,
        start.kg - end.kg,
        root_sum((start.sd_kg, end.sd_kg)),
        span.bridge(),
    )


def _stage_line(span: Span, start: Point, end: Point, held: Sequence[Entry]) -> StageLine:
    kg = {kind: sum(e.kg for e in held if e.kind == kind) for kind in SIGN}
    all_in = start.kg + kg[ADDITION] + kg[REWORK_IN]
    need(all_in > 0, f"nothing went into {span.name}; a yield of nothing cannot be stated")
    lost = start.kg + sum(SIGN[kind] * kg[kind] for kind in SIGN) - end.kg
    return StageLine(
        span.name,
        span.stages,
        start.kg,
        kg[ADDITION],
        kg[REWORK_IN],
        kg[REWORK_OUT],
        kg[SAMPLE],
        kg[SCRAP],
        end.kg,
        lost,
        root_sum((start.sd_kg, end.sd_kg, *(e.sd_kg for e in held))),
        100 * end.kg / all_in,
        100 * (end.kg + kg[REWORK_OUT] + kg[SAMPLE]) / all_in,
        span.bridge(),
    )


def _gains(lines, handovers) -> tuple[tuple[Fault, ...], tuple[str, ...]]:
    """Weight that came from nowhere: a fault, or a note where the scales' doubt covers it."""
    faults, notes = [], []
    limit = -ndtri(tables.value("yields_alpha") / 2)
    for line in (*lines, *handovers):
        stage = isinstance(line, StageLine)
        kg, sd = (line.lost_kg, line.lost_sd_kg) if stage else (line.unexplained_kg, line.sd_kg)
        if not _is_gain(kg, line.all_in_kg if stage else line.out_kg):
            continue
        what = (
            f"{line.stage}: {-kg:.4g} kg more came out than went in ({line.all_in_kg:.6g} kg in)"
            if stage
            else f"{line.name}: {line.in_kg:.6g} kg came in where {line.out_kg:.6g} kg went out, {-kg:.4g} kg more"
        )
        if sd is not None and -kg <= limit * sd:
            notes.append(f"{what}; the scales' doubt (sd {sd:.3g} kg) covers it")
            continue
        faults.append(
            Fault(
                what,
                field=line.stage if stage else line.name,
                remedy="look for an addition not written down, swapped in and out, a tare, a unit, or water taken up",
            )
        )
    return tuple(faults), tuple(notes)


def _outside(sides: Sequence[Entry], stream: Sequence[Point]) -> tuple[str, ...]:
    early = [e.label for e in sides if _place(e) < stream[0].place]
    late = [e.label for e in sides if _place(e) > stream[-1].place]
    return tuple(
        text
        for text in (
            f"the books start {stream[0].label}: {', '.join(early)} came before it and is not counted again"
            if early
            else "",
            f"the books end {stream[-1].label}: {', '.join(late)} came after it and is not counted"
            if late
            else "",
        )
        if text
    )


def _giveaway_note(giveaway: float | None) -> tuple[str, ...]:
    if giveaway is None or giveaway >= 0:
        return ()
    return (
        f"packs weigh {-giveaway:.4g} kg less than their labels together: check the entry; "
        "short weight is a matter for the local weights-and-measures rules",
    )


def _bases(entries, stream, spans) -> tuple[Base, ...]:
    """Every weight with a trade name. Where it was not weighed out, the weight into the next stage stands for it, and says so."""
    by_mark = {(p.stage, p.kind): p for p in stream}
    next_in = {span.start[0]: by_mark[span.end] for span in spans if span.end[1] == IN}
    meat = next(
        (by_mark[span.start] for span in spans if span.stages[:1] == ("chop",)),
        by_mark.get(("chop", IN)),
    )
    found = []

    def add(name, point, place):
        found.append(Base(name, point.kg, point.sd_kg, point.label, place))

    for stage in STAGES:
        into, out = by_mark.get((stage, IN)), by_mark.get((stage, OUT))
        if stage == "receive" and (into or out):
            add("received", into or out, (into or out).place)
            continue
        if stage == "chop" and meat is not None:
            add("meat block", meat, place_of("chop", IN))
            put_in = [e for e in entries if e.stage == "chop" and SIGN.get(e.kind) == 1]
            found.append(
                Base(
                    "bowl",
                    meat.kg + sum(e.kg for e in put_in),
                    root_sum((meat.sd_kg, *(e.sd_kg for e in put_in))),
                    f"{meat.label}, and all that was put in",
                    place_of("chop", ADDITION),
                )
            )
        stands = out or (next_in.get(stage) if into else None)
        if stands is not None:
            add(AFTER[stage], stands, place_of(stage, OUT))
    return tuple(found)


def _yields(bases: Sequence[Base], end: Point, sides: Sequence[Entry]) -> tuple[Yield, ...]:
    name = AFTER[end.stage] if end.kind == OUT else end.label
    found = []
    for base in bases:
        if base.place >= end.place or base.kg == 0:
            continue
        later = [e for e in sides if base.place < _place(e) < end.place]
        rework = sum(e.kg for e in later if e.kind == REWORK_OUT) - sum(
            e.kg for e in later if e.kind == REWORK_IN
        )
        pct = 100 * end.kg / base.kg
        sd = (
            None
            if None in (end.sd_kg, base.sd_kg)
            else hypot(100 * end.sd_kg, pct * base.sd_kg) / base.kg
        )
        found.append(
            Yield(name, base.name, end.kg, base.kg, pct, sd, 100 * (end.kg + rework) / base.kg)
        )
    return tuple(found)


def _compare(lines: Sequence[StageLine], predicted) -> tuple[tuple[Compared, ...], tuple[str, ...]]:
    for stage in predicted:
        if stage not in STAGES:
            raise UnknownName("stage", stage, STAGES)
    table, notes = {s: p if isinstance(p, tuple) else (p, None) for s, p in predicted.items()}, []
    for stage, (kg, sd) in table.items():
        if not (kg >= 0 and kg < float("inf")) or (sd is not None and not 0 <= sd < float("inf")):
            raise OutOfRange(
                f"the predicted loss of {stage} is {kg!r} (sd {sd!r}); it must be a finite number of kg, 0 or more"
            )
    found = []
    for line in lines:
        known = [s for s in line.stages if s in table]
        if known and len(known) < len(line.stages):
            others = ", ".join(s for s in line.stages if s not in known)
            notes.append(
                f"{', '.join(known)}: predicted, but weighed only together with {others}; not compared"
            )
        elif known:
            kg, sds = sum(table[s][0] for s in known), [table[s][1] for s in known]
            sd = line.lost_sd_kg if set(sds) == {None} else root_sum((line.lost_sd_kg, *sds))
            found.append(Compared(line.stage, kg, line.loss_kg, line.loss_kg - kg, sd))
    weighed = {s for line in lines for s in line.stages}
    notes += [f"{s}: predicted, but not weighed; not compared" for s in table if s not in weighed]
    return tuple(found), tuple(notes)


def _rows(order, stream, giveaway, gains) -> tuple[Row, ...]:
    start, end = stream[0], stream[-1]
    rows, level = (
        [Row(start.label, "start", start.stage, start.kg, 0.0, start.kg, start.sd_kg)],
        start.kg,
    )

    def change(label, kind, stage, kg, sd):
        nonlocal level
        rows.append(Row(label, kind, stage, kg, level, level + kg, sd))
        level += kg

    for line, _, held in order:
        for e in held:
            change(e.label, e.kind, e.stage, SIGN[e.kind] * e.kg, e.sd_kg)
        if isinstance(line, HandOver):
            change(
                f"unexplained, {line.name}",
                "unexplained",
                line.name,
                -line.unexplained_kg,
                line.sd_kg,
            )
        elif line in gains:
            change(
                f"gained in {line.stage}, nothing added",
                "unexplained",
                line.stage,
                -line.lost_kg,
                line.lost_sd_kg,
            )
        else:
            change(f"lost in {line.stage}", "lost", line.stage, -line.lost_kg, line.lost_sd_kg)
    rows.append(
        Row(
            AFTER[end.stage] if end.kind == OUT else end.label,
            "end",
            end.stage,
            end.kg,
            0.0,
            end.kg,
            end.sd_kg,
        )
    )
    if giveaway is not None:
        rows += [
            Row("giveaway", GIVEAWAY, "pack", -giveaway, end.kg, end.kg - giveaway, None),
            Row("on the labels", "end", "pack", end.kg - giveaway, 0.0, end.kg - giveaway, None),
        ]
    return tuple(rows)


def _working(lines, handovers, yields) -> tuple[Step, ...]:
    steps = []
    for line in lines:
        put_in = {
            "I": (line.in_kg, "kg", "into the stage"),
            "A": (line.added_kg, "kg", "added"),
            "R": (line.rework_in_kg, "kg", "rework in"),
            "B": (line.rework_out_kg, "kg", "rework sent back"),
            "S": (line.samples_kg, "kg", "samples"),
            "W": (line.scrap_kg, "kg", "scrap"),
            "O": (line.out_kg, "kg", "out of the stage"),
        }
        used = {symbol: term for symbol, term in put_in.items() if symbol in "IO" or term[0]}
        ins, outs = [s for s in "IAR" if s in used], [s for s in "BSWO" if s in used]
        plus = " + ".join(ins)
        steps += [
            step(
                f"lost in {line.stage}",
                f"L = {plus} − {' − '.join(outs)}",
                line.lost_kg,
                "kg",
                **used,
            ),
            step(
                f"yield of {line.stage}",
                f"Y = 100 × O / {plus if len(ins) == 1 else f'({plus})'}",
                line.yield_pct,
                "%",
                **{s: used[s] for s in (*ins, "O")},
            ),
        ]
    steps += [
        step(
            f"unexplained, {line.name}",
            "U = O − I",
            line.unexplained_kg,
            "kg",
            O=(line.out_kg, "kg", f"out of {line.from_stage}"),
            I=(line.in_kg, "kg", f"into {line.to_stage}"),
        )
        for line in handovers
    ]
    steps += [
        step(
            f"{y.of} on {y.base}",
            "Y = 100 × P / B",
            y.pct,
            "%",
            P=(y.kg, "kg", y.of),
            B=(y.base_kg, "kg", y.base),
        )
        for y in yields
    ]
    return tuple(steps)

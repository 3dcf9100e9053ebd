"""From a sheet to the mass balance of its batch: each loss and yield beside what was expected."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from math import hypot, nan

from kit.chain.cook_yield import Expected, cook_yield, usual, usual_loss
from kit.chain.expected_loss import (
    COOK_WAYS,
    MODEL,
    calculated_losses,
    one_after_other,
)
from kit.chain.follow import Followed, balance_of, follow, ledger_of
from kit.errors import OutOfRange, look_up, need_known
from kit.faults import need_said
from kit.sheet import Sheet
from kit.sheet.entries import GRILL
from kit.stages import STAGES
from kit.working import Result, Step, notes_of, working_of
from kit.yields import MassBalance, WeightEntry, flows_of, mass_balance, reconcile
from kit.yields.ledger import ADDITION, GIVEAWAY, IN, OUT, REWORK_OUT, SCRAP, SIGN, at, points
from kit.yields.mass_balance import Yield
from kit.yields.mistakes import UnitSlip, unit_slips
from kit.yields.reconcile import Reconciled

LOSS, RETURN = "loss", "rework"


@dataclass(frozen=True)
class LossCompared:
    """One loss, return or giveaway: weighed, usual, and as a model or the sheet says; None if unknown.

    Losses are percent of all that went into the stage, scrap counted as lost; giveaway of what was
    packed.
    """

    what: str
    kind: str
    stage: str
    kg: float | None = None
    of_kg: float = 0.0
    sd_kg: float | None = None
    usual: Expected | None = None
    model: Expected | None = None

    @property
    def pct(self) -> float | None:
        return None if self.kg is None else 100 * self.kg / self.of_kg

    @property
    def expected(self) -> Expected | None:
        return self.model or self.usual

    @property
    def outside(self) -> Expected | None:
        """The expectation, where the weighed figure misses its range by two standard deviations."""
        pct, expected = self.pct, self.expected
        if pct is None or expected is None:
            return None
        slack = 2 * 100 * (self.sd_kg or 0) / self.of_kg
        inside = expected.low_pct - slack <= pct <= expected.high_pct + slack
        return None if inside else expected


@dataclass(frozen=True)
class YieldCompared:
    """The end of the line in percent of one base: weighed, and expected with its range."""

    base: str
    weighed: Yield | None
    expected: Yield | None
    """None where nothing is expected of the stages after the base"""
    low_pct: float
    high_pct: float

    @property
    def of(self) -> str:
        named = self.weighed or self.expected
        return named.of if named else ""


@dataclass(frozen=True)
class SheetBalance(Result):
    """The mass balance of one sheet, weighed and expected."""

    entries: tuple[WeightEntry, ...]
    weighed: MassBalance | None
    """None for a sheet with fewer than two weighings"""
    expected: MassBalance
    """what sheet, models and usual losses make of the same start, additions, rework and samples"""
    expected_entries: tuple[WeightEntry, ...]
    compared: tuple[LossCompared, ...]
    yields: tuple[YieldCompared, ...]
    slips: tuple[UnitSlip, ...]
    pack_g: float | None

    def parts(self) -> Iterator[Result]:
        yield self.weighed or self.expected

    def yield_on(self, base: str) -> YieldCompared:
        lines = {line.base: line for line in self.yields}
        return look_up("base", base, lines)

    @property
    def giveaway_g_per_pack(self) -> float | None:
        """Mean net weight of a pack less its label."""
        found = self.weighed
        if self.pack_g is None or found is None or found.giveaway_kg is None or not found.sold_kg:
            return None
        return found.giveaway_kg * self.pack_g / found.sold_kg


def mass_balance_of(
    sheet: Sheet,
    followed: Followed | None = None,
    *,
    cook_by: str = MODEL,
    entries: Iterable[WeightEntry] | None = None,
) -> SheetBalance:
    """The mass balance of the sheet's weighings, or of `entries` in their place.

    sheet: without weighings it gets the balance to expect from its plan.
    followed: the sheet already followed, with its own calibration.
    cook_by: one of COOK_WAYS; the first that the sheet allows from there on is taken.
    entries: weights in kg, 0 or more.
    Returns SheetBalance. Raises UnknownName for another way, OutOfRange for impossible weights.
    """
    need_known("way to expect the cook", cook_by, COOK_WAYS)
    followed = followed or _followed(sheet)
    entries = ledger_of(sheet) if entries is None else tuple(entries)
    written, entries = entries, _ice_apart(sheet, entries)
    weighed = balance_of(entries)
    told, mute = calculated_losses(followed, cook_by)
    pairs = {stage: (usual_loss(sheet, stage), told.get(stage)) for stage in STAGES}
    best = {stage: e for stage, (trade, model) in pairs.items() if (e := model or trade)}
    start_kg, plan = _weighed_plan(entries) if weighed else _planned(sheet)
    ledger, steps = _expected_ledger(start_kg, plan, best)
    expected = mass_balance(ledger)
    compared = tuple(_compared(weighed, pairs))
    at_cook = (line.expected for line in compared if (line.kind, line.stage) == (LOSS, "cook"))
    rests_on = tuple(expected.rests_on for expected in at_cook if expected)
    unknown = ", ".join(stage for stage in plan if stage not in best)
    holds = {"one weight": entries is not written, "no usual": unknown, "planned": not weighed}
    said = notes_of("balance of a sheet", holds, unknown=unknown)
    return SheetBalance(
        entries,
        weighed,
        expected,
        ledger,
        compared,
        _yields(weighed, expected, best),
        unit_slips(entries) if weighed else (),
        sheet.process.pack_g,
        own_notes=(*mute, *rests_on, *said),
        own_sources=tuple(s for b in compared for e in (b.usual, b.model) if e for s in e.sources),
        own_working=steps,
    )


def _followed(sheet: Sheet) -> Followed:
    """The sheet followed; by the planned cook yield where the weighed one is impossible (a slip)."""
    try:
        return follow(sheet)
    except OutOfRange:
        return follow(sheet, cook_yield(sheet).pct)


# the ledger to expect: the weight at the start, and the side flows of each stage that happens

_Plan = tuple[float, dict[str, tuple[WeightEntry, ...]]]


def _planned(sheet: Sheet) -> _Plan:
    rework_kg = sheet.kg_of("rework")
    additions = {name: kg for name, kg in _put_in(sheet).items() if kg}
    sides = at("chop", additions_kg=additions, rework_in_kg=rework_kg or None)
    process = sheet.process
    happens = {
        "chill": process.chill_medium,
        "peel": process.is_peeled,
        "rest": process.rests,
        GRILL: process.finish,
    }
    line = ("chop", "stuff", "rest", "cook", "chill", "peel", "pack", GRILL)
    stages = (stage for stage in line if happens.get(stage, True))
    return sheet.meat_kg, {s: sides if s == "chop" else () for s in stages}


def _put_in(sheet: Sheet) -> dict[str, float]:
    """Ice and dry goods, kg, as the sheet plans them."""
    dry_kg = sheet.batch_kg - sheet.kg_of("meat", "ice", "water", "rework")
    return {"ice": sheet.kg_of("ice", "water"), "dry goods": dry_kg}


def _ice_apart(sheet: Sheet, entries: tuple[WeightEntry, ...]) -> tuple[WeightEntry, ...]:
    """One weight of all that was put in at chop is shown as ice and dry goods, as the sheet plans."""
    planned = _put_in(sheet)
    whole = [e for e in entries if (e.stage, e.kind) == ("chop", ADDITION)]
    if len(whole) != 1 or whole[0].name or not all(planned.values()):
        return entries
    one, parts = whole[0], []
    for name, kg in planned.items():
        share = kg / sum(planned.values())
        sd_kg = one.sd_kg and one.sd_kg * share**0.5
        parts.append(replace(one, name=name, kg=one.kg * share, sd_kg=sd_kg))
    return (*(e for e in entries if e is not one), *parts)


def _weighed_plan(entries: tuple[WeightEntry, ...]) -> _Plan:
    """The stages between the first and the last weight."""
    stream, order = points(entries), list(STAGES)
    first, last = stream[0], stream[-1]
    written = {e.stage for e in entries} | {"cook"}
    between = order[order.index(first.stage) : order.index(last.stage) + 1]
    doing = [s for s in between if s in written]
    if first.kind == OUT:
        doing.remove(first.stage)
    if last.kind == IN:
        doing.remove(last.stage)
    need_said(bool(doing), "only a transfer", first=first, last=last)
    sides = [replace(e, sd_kg=None) for e in entries if e.kind in SIGN and e.kind != SCRAP]
    return first.kg, {s: tuple(e for e in sides if e.stage == s) for s in doing}


def _expected_ledger(
    start_kg: float, plan: Mapping[str, tuple[WeightEntry, ...]], best: Mapping[str, Expected]
) -> tuple[tuple[WeightEntry, ...], tuple[Step, ...]]:
    found: list[WeightEntry] = []
    steps: list[Step] = []
    kg = start_kg
    for stage, sides in plan.items():
        all_in = kg + sum(e.kg for e in sides if SIGN[e.kind] > 0)
        aside = sum(e.kg for e in sides if SIGN[e.kind] < 0)
        pct = best[stage].pct if stage in best else 0.0
        out = all_in * (1 - pct / 100) - aside
        need_said(out > 0, "more leaves than goes in", stage=stage, all_in=all_in)
        found += [*at(stage, kg, out), *sides]
        flows = {"O": out, "I": all_in, "p": pct, "R": aside}
        less = " − R" if aside else ""
        steps += working_of("expected ledger", stage=stage, less=less, **flows)
        kg = out
    return tuple(found), tuple(steps)


# side by side


def _compared(
    weighed: MassBalance | None, pairs: Mapping[str, tuple[Expected | None, Expected | None]]
) -> Iterator[LossCompared]:
    """A line per stage, or per section where a weight is missing; after it what went back."""
    if not weighed:
        for stage, (trade, model) in pairs.items():
            if trade or model:
                yield LossCompared(f"lost in {stage}", LOSS, stage, usual=trade, model=model)
        return
    for line in weighed.stages:
        name, base, sd = line.stage, line.all_in_kg, line.lost_sd_kg
        each = (model or trade for trade, model in (pairs[stage] for stage in line.stages))
        known = [e for e in each if e]
        trade, model = pairs.get(name, (None, one_after_other(known)))
        yield LossCompared(f"lost in {name}", LOSS, name, line.loss_kg, base, sd, trade, model)
        if sent_back := line.kg_of(REWORK_OUT):
            what, trade = f"sent back at {name}", usual(f"yields_rework_{name}_pct")
            yield LossCompared(what, RETURN, name, sent_back, base, sd, trade)
    given, packed = weighed.giveaway_kg, weighed.end.kg
    if given is not None and packed:
        trade = usual("yields_giveaway_pct")
        yield LossCompared(GIVEAWAY, GIVEAWAY, "pack", given, packed, usual=trade)


def _yields(
    weighed: MassBalance | None, expected: MassBalance, best: Mapping[str, Expected]
) -> tuple[YieldCompared, ...]:
    """Every base that either knows, in the order of the line.

    Ranges of the stages after the base add in quadrature, up and down apart.
    """
    mine = {y.base: y for y in weighed.yields} if weighed else {}
    theirs = {y.base: y for y in expected.yields}
    found, order = [], list(STAGES)
    for base, first in sorted((theirs | mine).items(), key=lambda item: item[1].place):
        told = theirs.get(base)
        names = [s.stage for s in expected.stages if order.index(s.stage) + 0.75 > first.place]
        after = [best[name] for name in names if name in best]
        if not told or not after or told.of != first.of:
            found.append(YieldCompared(base, mine.get(base), None, nan, nan))
            continue
        up = hypot(*((e.pct - e.low_pct) / (100 - e.pct) for e in after))
        down = hypot(*((e.high_pct - e.pct) / (100 - e.pct) for e in after))
        reach = (told.pct * max(1 - down, 0.0), told.pct * (1 + up))
        found.append(YieldCompared(base, mine.get(base), told, *reach))
    return tuple(found)


def reconciliation_of(
    entries: Iterable[WeightEntry],
    sheet: Sheet,
    scale_sd_kg: float | None = None,
    *,
    usual_losses: bool = True,
) -> Reconciled:
    """Reconcile one ledger and look for what keeps its mass balance open.

    entries: weights in kg, 0 or more. sheet: says how the batch is cooked and chilled.
    scale_sd_kg: standard deviation, kg, where an entry has none of its own.
    usual_losses: puts in the usual loss of each stage whose loss nobody weighed, with the uncertainty
    of its range; without it such a stage closes by definition.
    Returns Reconciled. Raises as `mass_balance`, `flows_of` and `reconcile`.
    """
    entries = tuple(entries)
    predicted = {}
    for line in mass_balance(entries).stages if usual_losses else ():
        row = usual_loss(sheet, line.stages[0]) if len(line.stages) == 1 else None
        if row and not line.bridge and not line.kg_of(SCRAP):
            kg_per_pct = line.all_in_kg / 100
            predicted[line.stage] = (row.pct * kg_per_pct, row.sd_pct * kg_per_pct)
    weighed = flows_of(entries, scale_sd_kg, predicted)
    found = reconcile(weighed.graph, weighed.kg, weighed.sd_kg)
    return replace(found, own_notes=(*weighed.notes, *found.own_notes))

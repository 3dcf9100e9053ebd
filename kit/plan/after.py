"""What was the result of the batch beside its plan, and what to change next time?"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from kit.chain.chop import MEASURED, ChopAnswer
from kit.chain.cook import core_rows_of
from kit.chain.cook_yield import BASE
from kit.chain.follow import Followed, follow
from kit.chain.mass_balance import SheetBalance, mass_balance_of
from kit.errors import attempt
from kit.lethality.rows_met import RowsMet
from kit.plan.batch_plan import MEASURED_FIELDS, BatchPlan
from kit.sheet import Sheet
from kit.working import Result, notes_of

MOST_SENTENCES = 3
AS_EXPECTED = "Nothing measured lies outside what was expected: change nothing, and measure the next batch too."
LOOK_AT = {
    "grind": "weigh what stays in the grinder",
    "chop": "scrape and weigh what stays in the bowl",
    "stuff": "weigh the last batter and broken links, and give them to the next batch",
    "rest": "cover part of the links, and weigh both parts",
    "cook": "measure the wet bulb, and look for fat under the links before the time is changed",
    "chill": "weigh before and after the bath, drained for the same time",
    "peel": "weigh the peeled casing and what sticks to it",
    "pack": "weigh the trimmings and torn pieces",
}
"""stage -> the one measurement to start with; common practice"""


@dataclass(frozen=True)
class Beside:
    """One figure of the plan beside what was measured; `outside`: beyond the range that was expected."""

    what: str
    unit: str
    expected: float | None
    low: float | None
    high: float | None
    measured: float | None
    outside: bool


@dataclass(frozen=True)
class AfterBatch(Result):
    """`next_time`: at most three sentences, each with its number. `next_sheet`: the same plan, with what this batch taught."""

    rows: tuple[Beside, ...]
    balance: SheetBalance | None
    """the mass balance of what was weighed; None where fewer than two weights were"""
    next_time: tuple[str, ...]
    next_sheet: Sheet
    learned: tuple[str, ...]
    """what `next_sheet` takes over from this batch"""
    core: RowsMet | None
    """the published rows that the measured core and its holding time meet; None where none was written"""


def after_batch(plan: BatchPlan, sheet: Sheet) -> AfterBatch | None:
    """What was measured beside the plan. None where the sheet holds nothing that was weighed or measured.

    plan: the batch as planned. sheet: the same batch, with `chop_end_measured_C` and weighings.
    """
    made = as_made(plan, sheet)
    core = core_rows_of(made, on=plan.followed.on)
    if not made.weighings and made.process.chop_end_measured_C is None and core is None:
        return None
    followed = follow(made, on=plan.followed.on)
    found = attempt(lambda: mass_balance_of(made, followed))[0]
    balance = found if found and found.weighed else None
    chop = attempt(lambda: followed.chop)[0]
    chop = chop if chop and chop.end_from == MEASURED else None
    rows = (*_chop_rows(plan, chop), *(_balance_rows(balance) if balance else ()))
    sentences = tuple(_sentences(plan, chop, balance))[:MOST_SENTENCES] or (AS_EXPECTED,)
    learned = _next(plan, followed, chop)
    return AfterBatch(rows, balance, sentences, *learned, core, own_notes=followed.notes)


def as_made(plan: BatchPlan, sheet: Sheet) -> Sheet:
    """The planned sheet with what the other one weighed and measured."""
    measured = {name: getattr(sheet.process, name) for name in MEASURED_FIELDS}
    process = replace(plan.sheet.process, **measured)
    return replace(plan.sheet, process=process, weighings=sheet.weighings)


def _chop_rows(plan: BatchPlan, chop: ChopAnswer | None) -> Iterator[Beside]:
    if chop is None:
        return
    low, high = plan.chop.guide.low_C if plan.chop else None, plan.upper_C
    warm = high is not None and chop.end_C > high
    cold = low is not None and chop.end_C < low
    expected = plan.chop.end_C if plan.chop else None
    yield Beside("final chopping temperature", "°C", expected, low, high, chop.end_C, warm or cold)


def _balance_rows(balance: SheetBalance) -> Iterator[Beside]:
    """Losses, then yields."""
    for line in balance.compared:
        if line.pct is not None:
            e = line.expected
            expected, low, high = (e.pct, e.low_pct, e.high_pct) if e else (None, None, None)
            yield Beside(line.what, "%", expected, low, high, line.pct, line.outside is not None)
    for y in balance.yields:
        if y.weighed and y.expected:
            off = not y.low_pct <= y.weighed.pct <= y.high_pct
            range_pct = (y.expected.pct, y.low_pct, y.high_pct)
            yield Beside(f"{y.of}, on {y.base}", "%", *range_pct, y.weighed.pct, off)


def _sentences(
    plan: BatchPlan, chop: ChopAnswer | None, balance: SheetBalance | None
) -> Iterator[str]:
    low_C, upper_C = plan.chop.guide.low_C if plan.chop else None, plan.upper_C
    if chop:
        over_K = 0.0 if upper_C is None else chop.end_C - upper_C
        under_K = 0.0 if low_C is None or over_K > 0 else low_C - chop.end_C
        holds = {"warm, ice": over_K > 0 and chop.ice, "warm": over_K > 0 and not chop.ice}
        holds["cold"] = under_K > 0
        known = {"over_K": over_K, "under_K": under_K}
        yield from notes_of("chopping after a batch", holds, chop=chop, **known)
    if balance is None or balance.weighed is None:
        return
    for slip in balance.slips:
        yield f"Look first at one weight. {slip.words()}"
    off = [line for line in balance.compared if line.outside and line.kg is not None]
    for line in sorted(off, key=lambda line: -_beyond_kg(line)):
        e = line.outside
        if e is None or line.pct is None:
            continue
        more, first = line.pct > e.high_pct, "check both weights of that stage"
        if more:
            first = LOOK_AT.get(line.stage, "weigh that stage in two parts")
        yield (
            f"{line.what[:1].upper()}{line.what[1:]}: {line.pct:.1f} % where {e.low_pct:.1f} to {e.high_pct:.1f} % was expected, "
            f"{_beyond_kg(line):.2f} kg {'more' if more else 'less'} than the range; {first}."
        )
    lost = balance.weighed.unrecorded_kg
    if abs(lost) > 0.005 * balance.weighed.all_in_kg:
        yield f"{lost:.2f} kg of unrecorded loss between two weighed stages: weigh into and out of each stage between them."


def _beyond_kg(line) -> float:
    e, pct = line.outside, line.pct
    end = e.high_pct if pct > e.high_pct else e.low_pct
    return abs(pct - end) / 100 * line.of_kg


def _next(
    plan: BatchPlan, followed: Followed, chop: ChopAnswer | None
) -> tuple[Sheet, tuple[str, ...]]:
    """The plan with the energy and the cook yield that this batch had in place of usual ones."""
    learned, fields = [], {}
    if chop and chop.energy_kJ_per_kg > 0:
        energy = round(chop.energy_kJ_per_kg, 1)
        fields["chop_energy_kJ_per_kg"] = energy
        learned.append(
            f"specific mechanical energy {energy:g} kJ/kg, from the measured final chopping temperature"
        )
    weighed = followed.cook_yield.weighed_pct
    if weighed is not None and 40 <= weighed <= 100:
        fields["cook_yield_pct"] = round(weighed, 2)
        learned.append(f"cook yield {weighed:.1f} % ({BASE}), as weighed")
    return plan.asked.with_process(**fields), tuple(learned)

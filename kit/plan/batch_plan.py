"""The plan of one batch: the mix, the weigh sheet, the limits, the batter, the links, the cook, the yield and the cost, each from its own room."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np

from kit.casing import LinkPlan
from kit.chain.chop import ChopAnswer
from kit.chain.cook import CookAnswer
from kit.chain.emulsion import EmulsionAnswer
from kit.chain.follow import Followed, follow
from kit.chain.mass_balance import SheetBalance, mass_balance_of
from kit.emulsion.model import LIMIT_WORDS, work_out
from kit.errors import attempt
from kit.plan.mix import MeatMix, mix_for_fat
from kit.plan.weigh import WeighRow, weigh_rows
from kit.rules.verdicts import Verdict
from kit.sheet import Sheet
from kit.sheet.entries import GRILL
from kit.working import PRINTED_LINES, Result, notes_of

WARMEST_C, COLDEST_C, STEPS = 30.0, 0.0, 301
MEASURED_FIELDS = ("chop_end_measured_C", "core_measured_C", "core_held_min")
SAME_BATCH = 0.005
"""part of the batch by which the lines may miss what is wanted"""


@dataclass(frozen=True)
class Cost:
    """Cost of the weighed ingredients at the sheet's own prices; `unpriced` names what has none and counts as nothing."""

    batch: float
    packed_kg: float
    links: int | None
    unpriced: tuple[str, ...]
    currency: str

    @property
    def per_kg(self) -> float:
        return self.batch / self.packed_kg

    @property
    def per_link(self) -> float | None:
        return self.batch / self.links if self.links else None


@dataclass(frozen=True)
class BatchPlan(Result):
    """One batch before it is made. `sheet` holds the mix; what a room cannot answer is None, and `unanswered` says why."""

    asked: Sheet
    sheet: Sheet
    mix: MeatMix | None
    followed: Followed
    weigh: tuple[WeighRow, ...]
    withheld: str
    """why cure, accelerator and phosphate have no reading; '' where they have"""
    chop: ChopAnswer | None
    model_C: float | None
    """the warmest end that the emulsion model allows"""
    emulsion: EmulsionAnswer | None
    links: LinkPlan | None
    cook: CookAnswer | None
    balance: SheetBalance | None
    """the mass balance to expect"""
    unanswered: tuple[str, ...]

    @property
    def upper_C(self) -> float | None:
        """How warm this batch may get: the end of the published range for its fat, or the model's if that is lower; None where the bowl cannot be calculated."""
        if self.chop is None:
            return None
        high_C = self.chop.guide.high_C
        return high_C if self.model_C is None else min(high_C, self.model_C)

    @property
    def weighed_kg(self) -> float:
        return sum(row.grams for row in self.weigh) / 1000

    @property
    def broken_limits(self) -> tuple[Verdict, ...]:
        """The limits of law that do not hold."""
        return (*self.followed.broken, *self.followed.cure.broken)

    @property
    def stop(self) -> bool:
        """The cure calculation says stop: nothing of this plan may be weighed."""
        return self.followed.cure.findings.stop

    @property
    def packed_kg(self) -> float | None:
        """Expected out of the last stage but a grill."""
        if self.balance is None:
            return None
        return [line.out_kg for line in self.balance.expected.stages if line.stage != GRILL][-1]

    @property
    def packed_range_kg(self) -> tuple[float, float] | None:
        """The same over the range of every stage."""
        ends = self.balance.yields[0] if self.balance and self.packed_kg else None
        if not self.packed_kg or ends is None or ends.expected is None or np.isnan(ends.low_pct):
            return None
        each = self.packed_kg / ends.expected.pct
        return each * ends.low_pct, each * ends.high_pct

    @cached_property
    def cost(self) -> Cost | None:
        """None where no ingredient has a price or no packed weight is expected."""
        priced = [line for line in self.sheet.lines if line.price_per_kg is not None]
        if not priced or not self.packed_kg:
            return None
        bought = (line for line in self.sheet.lines if line.kind not in ("ice", "water"))
        bare = tuple(line.name for line in bought if line.price_per_kg is None)
        batch = sum((line.price_per_kg or 0.0) * line.kg for line in priced)
        links = self.links.links if self.links else None
        return Cost(batch, self.packed_kg, links, bare, self.sheet.currency)

    @property
    def sentence(self) -> str:
        """The plan in one breath: what stops it, else how much it makes, and whether law and batter hold."""
        if self.stop:
            return f"STOP: {self.withheld}. Nothing of this plan may be weighed."
        parts = [f"{self.sheet.meat_kg:.2f} kg of meat make {self.sheet.batch_kg:.2f} kg of batter"]
        if self.links:
            parts.append(f"{self.links.links} links of {self.links.link_weight_g:.0f} g")
        if self.packed_kg:
            parts.append(f"about {self.packed_kg:.2f} kg packed")
        said = [", ".join(parts) + ".", *_off_wanted(self.asked)]
        if self.mix and not self.mix.reached:
            said.insert(0, self.mix.words)
        if self.broken_limits:
            names = ", ".join(dict.fromkeys(v.limit.title for v in self.broken_limits))
            said.append(f"NOT within the law applied: {names}.")
        if self.emulsion:
            held, spread = self.emulsion.held, self.emulsion.spread
            margin = held.margins[held.fails_first]
            low, _, high = (float(q) for q in spread.total_out_g)
            state = "limit of the model exceeded" if margin < 0 else "within the limit of the model"
            at = f"{margin:+.2f}".replace("-", "−")
            known = {"held": held, "limit": LIMIT_WORDS[held.fails_first], "at": at}
            said += notes_of("plan in words", {}, state=state, low=low, high=high, **known)
        if self.upper_C is not None:
            said.append(f"Stop the chopper by {self.upper_C:.1f} °C.")
        return " ".join(said)

    def __str__(self) -> str:
        lines = [f"{self.sheet.name}: {self.sentence}"]
        lines += [f"  {row.when}: {row.name}  {row.grams:,.6g} g" for row in self.weigh]
        if self.withheld:
            lines.append(f"  withheld: {self.withheld}")
        lines += str(self.followed).splitlines()[1:]
        lines += [f"not computed: {why}" for why in self.unanswered]
        return "\n".join(lines[:PRINTED_LINES])


def plan_batch(sheet: Sheet, on: date | None = None) -> BatchPlan:
    """Plan one batch from a sheet.

    sheet: what is on hand and wanted; its meats are shared out to meet `fat_target_pct`, where it has one. What it says was measured is left out

    on: day whose law is applied; today where left out
    Returns BatchPlan: the mix, the weigh sheet, legal limits, the batter's margins, how warm it may get, links and casing, cook, packed weight, cost.
    Raises OutOfRange or UnknownName where composition or cure cannot be calculated; what a later room cannot answer stands in `unanswered`.
    Valid as far as each room's notes say. It certifies nothing.
    Source: that of each room; see `sources`.
    """
    asked = unmeasured(sheet)
    mix = mix_for_fat(asked)
    planned = mix.sheet if mix else asked
    followed = follow(planned, on=on)
    cure = followed.cure
    missing: list[str] = []

    def ask(what: str, room: Callable):
        found, why = attempt(room)
        missing.extend([f"{what}: {why}"] if why else [])
        return found

    chop = ask("chopping", lambda: followed.chop)
    emulsion = ask("batter", lambda: followed.emulsion)
    links = ask("links", lambda: followed.links)
    cooked = ask("cook", lambda: followed.cook)
    balance = ask("yield", lambda: mass_balance_of(planned, followed))
    return BatchPlan(
        asked,
        planned,
        mix,
        followed,
        weigh_rows(planned, cure),
        cure.withheld,
        chop,
        model_limit_C(emulsion) if emulsion else None,
        emulsion,
        links,
        cooked,
        balance,
        tuple(missing),
        own_notes=(*_off_wanted(asked), *followed.notes, *cure.notes),
        own_sources=(*followed.sources, *cure.sources),
        own_working=followed.working,
    )


def _off_wanted(sheet: Sheet) -> tuple[str, ...]:
    """Lines that do not add up to the batter that is wanted are named, not repaired; with a fat target the mix is made for it."""
    wanted = sheet.process.batch_target_kg
    if wanted is None or sheet.process.fat_target_pct is not None:
        return ()
    if abs(sheet.batch_kg - wanted) <= SAME_BATCH * wanted:
        return ()
    return (
        f"The lines add up to {sheet.batch_kg:.2f} kg, not to the {wanted:g} kg that are wanted; nothing was changed.",
    )


def unmeasured(sheet: Sheet) -> Sheet:
    """The sheet as it was before the batch: without weighings and without what was measured."""
    nothing: dict[str, Any] = dict.fromkeys(MEASURED_FIELDS)
    process = replace(sheet.process, **nothing)
    return replace(sheet, process=process, weighings=())


def model_limit_C(emulsion: EmulsionAnswer) -> float | None:
    """The warmest end at which the emulsion model's margin of temperature is not below 0; None where it is below at every end."""
    ends_C = np.linspace(COLDEST_C, WARMEST_C, STEPS)
    held = emulsion.held
    margin = work_out(held.batter.but(end_C=ends_C), held.parameters).margins["temperature"]
    holds = np.broadcast_to(margin, ends_C.shape) >= 0
    return float(ends_C[holds].max()) if holds.any() else None

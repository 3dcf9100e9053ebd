"""The list that goes to the scale: every dry good scaled to this batch, rounded to its scale, with the ppm the rounded weights really give.

What a limit counts on is rounded to the safe side of that limit, so that rounding alone withholds no list. Above a published ceiling
there is no list: the result holds the reason instead.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from kit.cure.dose import CureLine, Dose
from kit.cure.findings import DosingFindings, find_dosing_errors
from kit.cure.limits import ADDITIVES, judge
from kit.cure.plan import Plan
from kit.cure.premix import Premix
from kit.cure.scale import Scale, ppm_interval
from kit.errors import UnknownName, need_between
from kit.faults import need_said
from kit.rules.limits import ACCELERATORS, REPLACERS, Limit, rounding_fraction
from kit.rules.verdicts import Verdict
from kit.tables import value
from kit.working import Result, notes_of


@dataclass(frozen=True)
class Item:
    """One thing to weigh, g from 0. `premix` marks a cure; `quantity` names an additive that a rule limits ("sodium erythorbate", "phosphate", ...)."""

    name: str
    grams: float
    premix: Premix | None = None
    quantity: str | None = None

    def __post_init__(self):
        need_between(f"weight of {self.name!r}, g", self.grams, 0, 1e7)
        need_said(self.premix is None or self.quantity is None, "cure and additive", one=self)
        if self.quantity is not None and self.quantity not in ADDITIVES:
            raise UnknownName("additive", self.quantity, ADDITIVES)


@dataclass(frozen=True)
class Weight:
    """One row of the list: an item, and what the scale is to show."""

    item: Item
    reading_g: float
    plan: Plan = field(repr=False)

    @property
    def name(self) -> str:
        return self.item.name

    @property
    def exact_g(self) -> float:
        """As calculated."""
        return self.item.grams

    @property
    def change_pct(self) -> float:
        """The relative change that rounding made."""
        return 100 * (self.reading_g / self.exact_g - 1) if self.exact_g else 0.0

    @property
    def per_kg_of_meat_g(self) -> float:
        return self.reading_g / self.plan.meat_kg

    @property
    def pct_of_batch(self) -> float:
        return self.reading_g / self.plan.batch_kg / 10

    @cached_property
    def ppm_of_meat(self) -> tuple[float, float] | None:
        """What a cure so weighed may really give, least and most; None for all else."""
        mix = self.item.premix
        if mix is None or not mix.assayed:
            return None
        ends = ppm_interval(self.reading_g, mix.strength_pct, self.plan.meat_kg, self.plan.weigher)
        return float(ends[0]), float(ends[1])

    @cached_property
    def rounding(self) -> str:
        """Says so where a limit, not the nearest reading, decided which way it was rounded."""
        scale, reading = self.plan.weigher, self.reading_g
        nearest = float(scale.round_g(self.exact_g))
        if abs(reading - nearest) <= scale.step_g / 2:
            return ""
        why = "down to stay within its limit" if reading < nearest else "up to reach its minimum"
        return f"rounded {why}"

    @cached_property
    def note(self) -> str:
        """Is the scale too coarse for it?"""
        scale, wanted, tolerance = self.plan.weigher, self.exact_g, value("dose_tolerance_pct")
        off_g = abs(self.reading_g - wanted)
        off_g += scale.half_width_g if self.ppm_of_meat else 0.0
        if not wanted or 100 * off_g / wanted <= tolerance:
            return ""
        said = {"wanted": wanted, "tolerance": tolerance, "step": scale.step_g}
        holds = {"cure": self.ppm_of_meat, "other": not self.ppm_of_meat}
        return "".join(notes_of("coarse scale", holds, change=self.change_pct, **said))


@dataclass(frozen=True)
class WeighList(Result):
    """`rows` is empty when `withheld` says why. `findings` and `verdicts` are for the rounded weights."""

    rows: tuple[Weight, ...]
    withheld: str
    findings: DosingFindings
    verdicts: tuple[Verdict, ...]

    @property
    def dose(self) -> Dose:
        return self.findings.dose


def weigh_list(items: Iterable[Item], plan: Plan) -> WeighList:
    """The list of what to weigh for a batch.

    items: what is to be weighed, g, each name once
    plan: the batch, its limits and target, and the scale; its cure lines are taken from the items
    Returns WeighList: a reading of the scale for every item, or the reason why it is withheld.
    Raises OutOfRange for a name that appears twice or a plan without a scale.
    Curing salt takes the nearest reading between floor and ceiling; where there is none, the reading
    below the ceiling. An additive with a maximum is rounded down, one with a minimum alone is rounded
    up, all else to the nearest reading. Withheld when the rounded dose passes a published ceiling, when
    another limit is passed, when an alarm says stop, or when no reading gives a dose of the curing salt.
    Source: limits of data/rules/cure.csv.
    """
    items = tuple(items)
    twice = sorted(name for name, n in Counter(item.name for item in items).items() if n > 1)
    need_said(not twice, "weighed twice", names=", ".join(twice))
    rows, found = _cures(_additives(items, plan), plan)
    additives: defaultdict[str, float] = defaultdict(float)
    for row in rows:
        if row.item.quantity:
            additives[row.item.quantity] += row.reading_g / 1000
    verdicts = judge(found.dose, plan.limits, additives)
    over = (v for v in verdicts if v.holds is False and v.limit.comparison == "max")
    others = (v for v in over if not v.limit.quantity.startswith("nitrite"))
    outside = (f"{v.value:.4g} {v.limit.unit} is outside {v.limit.in_words}" for v in others)
    withheld = "; ".join((*_stops(rows, found, plan.weigher), *outside))
    notes = [f"{row.name}: {words}" for row in rows for words in (row.rounding, row.note) if words]
    notes += [alarm.what for alarm in found.alarms if alarm.severity != "stop"]
    return WeighList(
        () if withheld else tuple(rows), withheld, found, verdicts, own_notes=tuple(notes)
    )


def _additives(items: tuple[Item, ...], plan: Plan) -> list[Weight]:
    """Readings of all items, additives on the safe side of their limits; curing salts to the nearest for now."""
    read, scale, limits = [], plan.weigher, plan.limits
    for item in items:
        counted: tuple[str | None, ...] = (item.quantity,)
        if item.quantity == "sodium acid pyrophosphate":
            counted += ("phosphate",)
        bounds = {row.comparison for row in limits if item.quantity and row.quantity in counted}
        to = np.floor if "max" in bounds else np.ceil if bounds else np.round
        read.append(Weight(item, float(scale.round_g(item.grams, to)), plan))
    shared = [n for n, item in enumerate(items) if item.quantity in ACCELERATORS + REPLACERS]
    shares = {
        row.quantity: row.limit / (100 - row.limit)
        for row in limits
        if row.basis == "accelerators" and row.comparison == "max" and row.limit < 100
    }
    # a share of accelerator and citrate together: what replaces falls with what it replaces, unless the recipe itself has too much of it
    lower = True
    while lower:
        lower = False
        for n in shared:
            share = shares.get(items[n].quantity or "")
            if share is None:
                continue
            rest_g = sum(items[m].grams for m in shared if m != n)
            rest_read_g = sum(read[m].reading_g for m in shared if m != n)
            most_g = float(scale.round_g(share * rest_read_g, np.floor))
            within = items[n].grams <= share * rest_g * (1 + 2 * rounding_fraction())
            if most_g < read[n].reading_g and within:
                read[n], lower = replace(read[n], reading_g=most_g), True
    return read


def _cures(loads: list[Weight], plan: Plan) -> tuple[list[Weight], DosingFindings]:
    """Curing salts at the nearest reading between floor and ceiling, else below the ceiling; and what is then found."""

    def rounded(to: Callable) -> list[Weight]:
        read = ((one, float(plan.weigher.round_g(one.exact_g, to))) for one in loads)
        return [replace(one, reading_g=g) if one.item.premix else one for one, g in read]

    def found_in(loads: list[Weight]) -> DosingFindings:
        held = ((one.item.premix, one) for one in loads if one.item.grams > 0)
        cures = tuple(CureLine(mix, one.reading_g / 1000) for mix, one in held if mix)
        return find_dosing_errors(replace(plan, cure=cures))

    found = found_in(loads)
    if _over(found, plan.limits):
        less = rounded(np.floor)
        return less, found_in(less)
    exact = [replace(one, reading_g=one.exact_g) for one in loads]
    if _under(found) and not _under(found_in(exact)):
        more = rounded(np.ceil)
        raised = found_in(more)
        if not _over(raised, plan.limits):
            return more, raised
    return loads, found


def _over(found: DosingFindings, limits: tuple[Limit, ...]) -> bool:
    ceilings = (row for row in limits if row.comparison == "max")
    nitrate = judge(found.dose, [row for row in ceilings if row.quantity.startswith("nitrate")])
    over = any(alarm.key == "over_ceiling" for alarm in found.alarms)
    return over or any(verdict.holds is False for verdict in nitrate)


def _under(found: DosingFindings) -> bool:
    return any(alarm.key in ("under_floor", "forgotten") for alarm in found.alarms)


def _stops(rows: list[Weight], found: DosingFindings, scale: Scale) -> list[str]:
    """Why no list is given: the alarms, or a scale too coarse for the only cure."""
    missed = [
        f"no reading of {scale.name!r} doses {row.name!r}: {row.exact_g:.3g} g are needed and its step is {scale.step_g:.3g} g; "
        "use a finer scale, make a larger batch, or dilute in two steps"
        for row in rows
        if row.item.premix and row.exact_g and not row.reading_g
    ]
    if missed and not found.dose.nitrite_kg:
        return [alarm.what for alarm in found.stops if alarm.key != "forgotten"] + missed
    return [alarm.what for alarm in found.stops]

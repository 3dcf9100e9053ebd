"""The list that goes to the scale: every dry good scaled to this batch, rounded to its scale, with the ppm the rounded weights really give.

What a limit counts on is rounded to the safe side of that limit, so that rounding alone withholds no list. Above a published ceiling
there is no list: the result holds the reason instead.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from kit.cure.dose import Bases, CureLine, Dose
from kit.cure.findings import DosingFindings, find_dosing_errors
from kit.cure.limits import ADDITIVES, judge
from kit.cure.plan import Plan
from kit.cure.premix import Premix
from kit.cure.scale import Scale, ppm_interval
from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.rules.limits import ACCELERATORS, REPLACERS, Limit, rounding_fraction
from kit.rules.verdicts import Verdict
from kit.tables import value
from kit.working import Result


@dataclass(frozen=True)
class Item:
    """One thing to weigh, g from 0. `premix` marks a cure; `quantity` names an additive that a rule limits ("sodium erythorbate", "phosphate", ...)."""

    name: str
    grams: float
    premix: Premix | None = None
    quantity: str | None = None

    def __post_init__(self):
        need_between(f"weight of {self.name!r}, g", self.grams, 0, 1e7)
        need(
            self.premix is None or self.quantity is None,
            f"{self.name!r} cannot be both a cure and the additive {self.quantity!r}; "
            "make two items",
        )
        if self.quantity is not None and self.quantity not in ADDITIVES:
            raise UnknownName("additive", self.quantity, ADDITIVES)


@dataclass(frozen=True)
class Weight:
    """One row of the list. Grams: as calculated, and as the scale shows it; the relative change that rounding made.

    `rounding` says so where a limit, not the nearest reading, decided which way it was rounded.
    """

    name: str
    exact_g: float
    reading_g: float
    change_pct: float
    per_kg_of_meat_g: float
    pct_of_batch: float
    ppm_low_of_meat: float | None
    ppm_high_of_meat: float | None
    rounding: str
    note: str


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


class _Load(NamedTuple):
    """One item and what the scale is to show."""

    item: Item
    reading_g: float


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
    need(
        not twice,
        f"{', '.join(twice)} appears more than once on the list; give each line its own name or join them",
    )
    if plan.scale is None:
        raise OutOfRange("a weigh list needs a scale; give the smallest step it shows")
    scale = plan.scale
    loads, found = _cures(_additives(items, scale, plan.limits), plan, scale)
    additives: defaultdict[str, float] = defaultdict(float)
    for item, reading_g in loads:
        if item.quantity:
            additives[item.quantity] += reading_g / 1000
    verdicts = judge(found.dose, plan.limits, additives)
    over = (v for v in verdicts if v.holds is False and v.limit.comparison == "max")
    others = (v for v in over if not v.limit.quantity.startswith("nitrite"))
    outside = (f"{v.value:.4g} {v.limit.unit} is outside {v.limit.in_words}" for v in others)
    withheld = "; ".join((*_stops(loads, found, scale), *outside))
    rows = tuple(_row(load, plan, scale) for load in loads)
    notes = [f"{row.name}: {words}" for row in rows for words in (row.rounding, row.note) if words]
    notes += [alarm.what for alarm in found.alarms if alarm.severity != "stop"]
    return WeighList(() if withheld else rows, withheld, found, verdicts, own_notes=tuple(notes))


def _additives(items: tuple[Item, ...], scale: Scale, limits: tuple[Limit, ...]) -> list[_Load]:
    """Readings of all items, additives on the safe side of their limits; curing salts to the nearest for now."""
    read = []
    for item in items:
        counted: tuple[str | None, ...] = (item.quantity,)
        if item.quantity == "sodium acid pyrophosphate":
            counted += ("phosphate",)
        bounds = {row.comparison for row in limits if item.quantity and row.quantity in counted}
        to = np.floor if "max" in bounds else np.ceil if bounds else np.round
        read.append(_Load(item, float(scale.round_g(item.grams, to))))
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
                read[n], lower = _Load(items[n], most_g), True
    return read


def _cures(loads: list[_Load], plan: Plan, scale: Scale) -> tuple[list[_Load], DosingFindings]:
    """Curing salts at the nearest reading between floor and ceiling, else below the ceiling; and what is then found."""

    def rounded(to: Callable) -> list[_Load]:
        read = ((one, float(scale.round_g(one.item.grams, to))) for one in loads)
        return [_Load(one.item, g) if one.item.premix else one for one, g in read]

    def found_in(loads: list[_Load]) -> DosingFindings:
        held = ((one.item.premix, one) for one in loads if one.item.grams > 0)
        cures = tuple(CureLine(mix, one.reading_g / 1000) for mix, one in held if mix)
        return find_dosing_errors(replace(plan, cure=cures))

    found = found_in(loads)
    if _over(found, plan.limits):
        less = rounded(np.floor)
        return less, found_in(less)
    exact = [_Load(one.item, one.item.grams) for one in loads]
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


def _stops(loads: list[_Load], found: DosingFindings, scale: Scale) -> list[str]:
    """Why no list is given: the alarms, or a scale too coarse for the only cure."""
    missed = [
        f"no reading of {scale.name!r} doses {item.name!r}: {item.grams:.3g} g are needed and its step is {scale.step_g:.3g} g; "
        "use a finer scale, make a larger batch, or dilute in two steps"
        for item, reading_g in loads
        if item.premix and item.grams and not reading_g
    ]
    if missed and not found.dose.nitrite_kg:
        return [alarm.what for alarm in found.stops if alarm.key != "forgotten"] + missed
    return [alarm.what for alarm in found.stops]


def _row(load: _Load, bases: Bases, used: Scale) -> Weight:
    wanted, reading = load.item.grams, load.reading_g
    change = 100 * (reading / wanted - 1) if wanted else 0.0
    nearest, rounding = float(used.round_g(wanted)), ""
    if abs(reading - nearest) > used.step_g / 2:
        why = "down to stay within its limit" if reading < nearest else "up to reach its minimum"
        rounding = f"rounded {why}"
    low = high = None
    notes, tolerance = [], value("dose_tolerance_pct")
    mix = load.item.premix
    if mix is not None and mix.assayed:
        ends = ppm_interval(reading, mix.strength_pct, bases.meat_kg, used)
        low, high = (float(ppm) for ppm in ends)
        if wanted and 100 * (abs(reading - wanted) + used.half_width_g) / wanted > tolerance:
            notes.append(
                f"this scale cannot dose {wanted:.3g} g within ± {tolerance:g} %: use a finer one, "
                "a larger batch, or dilute in two steps"
            )
    elif wanted and abs(change) > tolerance:
        notes.append(
            f"rounding to the scale's step of {used.step_g:g} g changes it by {change:.0f} %"
        )
    return Weight(
        load.item.name,
        wanted,
        reading,
        change,
        reading / bases.meat_kg,
        reading / bases.batch_kg / 10,
        low,
        high,
        rounding,
        "; ".join(notes),
    )

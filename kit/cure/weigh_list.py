"""The list that goes to the scale: every dry good scaled to this batch, rounded to its scale, with the ppm the rounded weights really give.

What a limit counts on is rounded to the safe side of that limit, so that rounding alone withholds no list. Above a published ceiling
there is no list: the result holds the reason instead.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from kit.cure.dose import Bases, CureLine, Dose
from kit.cure.findings import Findings, find_dosing_errors
from kit.cure.limits import Addition, judge
from kit.cure.plan import Plan
from kit.cure.premix import Premix
from kit.cure.scale import Scale, ppm_interval
from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.rules import Limit, Verdict
from kit.rules.limits import ACCELERATORS, REPLACERS, rounding_fraction
from kit.tables import value
from kit.working import Result, Step, steps_from

RATE_BASES = {
    "g_per_kg_of_meat": ("meat", 1.0),
    "pct_of_meat": ("meat", 10.0),
    "ppm_of_meat": ("meat", 0.001),
    "g_per_kg_of_batch": ("batch", 1.0),
    "pct_of_batch": ("batch", 10.0),
    "ppm_of_batch": ("batch", 0.001),
    "g": ("", 1.0),
}
"""rate -> (what it counts on, g per kg of it)"""


@dataclass(frozen=True)
class Item:
    """One thing to weigh: `amount` in `rate` (a key of RATE_BASES; the basis is in its name). `premix` marks a cure; `quantity` names
    an additive that a rule limits ("sodium erythorbate", "phosphate", ...)."""

    name: str
    amount: float
    rate: str
    premix: Premix | None = None
    quantity: str | None = None
    scale: Scale | None = None

    def __post_init__(self):
        if self.rate not in RATE_BASES:
            raise UnknownName(f"rate of {self.name!r}", self.rate, RATE_BASES)
        need_between(f"amount of {self.name!r}, {self.rate}", self.amount, 0, 1e7)
        need(
            self.premix is None or self.quantity is None,
            f"{self.name!r} cannot be both a cure and the additive {self.quantity!r}; "
            "make two items",
        )
        need(
            self.premix is None or not self.rate.startswith("ppm"),
            f"{self.name!r} is a cure at {self.amount:g} {self.rate}: ppm of the "
            "mix or of its nitrite? Give g_per_kg_of_meat; `cure_for` turns ppm of nitrite into grams",
        )
        if self.quantity is not None:
            Addition(self.quantity, 0.0)

    def known(self, bases: Bases) -> dict[str, tuple]:
        """The symbols of its weight for a batch: g = amount × per × base."""
        basis, per_kg = RATE_BASES[self.rate]
        base_kg = bases.need_base_kg(basis) if basis else 1.0
        return {
            "g": (self.amount * per_kg * base_kg, "g"),
            "amount": (self.amount, self.rate),
            "per": (per_kg, "g/kg"),
            "base": (base_kg, "kg"),
        }


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
    findings: Findings
    verdicts: tuple[Verdict, ...]

    @property
    def dose(self) -> Dose:
        return self.findings.dose


@dataclass(frozen=True)
class _Load:
    """One item on its scale."""

    item: Item
    scale: Scale
    exact_g: float
    reading_g: float = 0.0


def weigh_list(items: Iterable[Item], plan: Plan) -> WeighList:
    """The list for a batch.

    items: what is to be weighed, each name once.
    plan: the batch, its limits and target, and the scale that weighs what names none of its own; its cure lines are taken from the items.
    Raises OutOfRange for a name that appears twice or a plan without a scale.

    Curing salt takes the nearest reading between floor and ceiling; where there is none, the reading below the ceiling. An additive with a
    maximum is rounded down, one with a minimum alone is rounded up, all else to the nearest reading. Withheld when the rounded dose passes a
    published ceiling (of the chosen rows; without one, of the loosest row held), when another published limit is passed, when any alarm
    says stop, or when no reading of the scale gives a dose of the curing salt.
    """
    items = tuple(items)
    names = [item.name for item in items]
    twice = sorted({name for name in names if names.count(name) > 1})
    need(
        not twice,
        f"{', '.join(twice)} appears more than once on the list; give each line its own name or join them",
    )
    if plan.scale is None:
        raise OutOfRange("a weigh list needs a scale; give the smallest step it shows")
    known = [item.known(plan) for item in items]
    loads = [
        _Load(item, item.scale or plan.scale, symbols["g"][0])
        for item, symbols in zip(items, known)
    ]
    loads, found = _cures(_additives(loads, plan.limits), plan)
    additions = tuple(
        Addition(load.item.quantity, load.reading_g / 1000) for load in loads if load.item.quantity
    )
    verdicts = judge(found.dose, plan.limits, additions)
    reasons = [*_stops(loads, found)]
    reasons += [
        f"{v.value:.4g} {v.limit.unit} is outside {v.limit.in_words}"
        for v in verdicts
        if v.holds is False
        and v.limit.comparison == "max"
        and not v.limit.quantity.startswith("nitrite")
    ]
    rows = tuple(_row(load, plan) for load in loads)
    notes = [f"{row.name}: {words}" for row in rows for words in (row.rounding, row.note) if words]
    notes += [alarm.what for alarm in found.alarms if alarm.severity != "stop"]
    work: tuple[Step, ...] = ()
    for item, symbols in zip(items, known):
        work += steps_from(symbols, (f"{item.name} for this batch", "g = amount × per × base", "g"))
    return WeighList(
        () if reasons else rows,
        "; ".join(reasons),
        found,
        verdicts,
        own_notes=tuple(notes),
        own_working=() if reasons else work,
    )


def _additives(loads: Sequence[_Load], limits: tuple[Limit, ...]) -> list[_Load]:
    """Readings of all items, additives on the safe side of their limits; curing salts to the nearest for now."""
    read = []
    for load in loads:
        counted: tuple[str | None, ...] = (load.item.quantity,)
        if load.item.quantity == "sodium acid pyrophosphate":
            counted += ("phosphate",)
        bounds = {
            row.comparison for row in limits if load.item.quantity and row.quantity in counted
        }
        read.append(
            _rounded(load, "down" if "max" in bounds else "up" if bounds else "to the nearest")
        )
    shared = [n for n, load in enumerate(read) if load.item.quantity in ACCELERATORS + REPLACERS]
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
            load = read[n]
            share = shares.get(load.item.quantity or "")
            if share is None:
                continue
            rest_g = sum(read[m].exact_g for m in shared if m != n)
            rest_read_g = sum(read[m].reading_g for m in shared if m != n)
            most_g = load.scale.round_down_g(share * rest_read_g)
            within = load.exact_g <= share * rest_g * (1 + 2 * rounding_fraction())
            if most_g < load.reading_g and within:
                read[n], lower = replace(load, reading_g=most_g), True
    return read


def _rounded(load: _Load, way: str) -> _Load:
    rounding = {"down": load.scale.round_down_g, "up": load.scale.round_up_g}
    return replace(load, reading_g=float(rounding.get(way, load.scale.round_g)(load.exact_g)))


def _cures(loads: list[_Load], plan: Plan) -> tuple[list[_Load], Findings]:
    """Curing salts at the nearest reading between floor and ceiling, else below the ceiling; and what is then found."""

    def rounded(way: str) -> list[_Load]:
        return [_rounded(load, way) if load.item.premix else load for load in loads]

    def found_in(loads: list[_Load]) -> Findings:
        return find_dosing_errors(replace(plan, cure=_cure_lines(loads)))

    found = found_in(loads)
    if _over(found, plan.limits):
        less = rounded("down")
        return less, found_in(less)
    exact = [replace(load, reading_g=load.exact_g) for load in loads]
    if _under(found) and not _under(found_in(exact)):
        more = rounded("up")
        raised = found_in(more)
        if not _over(raised, plan.limits):
            return more, raised
    return loads, found


def _cure_lines(loads: list[_Load]) -> tuple[CureLine, ...]:
    return tuple(
        CureLine(load.item.premix, load.reading_g / 1000)
        for load in loads
        if load.item.premix and load.item.amount > 0
    )


def _over(found: Findings, limits: tuple[Limit, ...]) -> bool:
    nitrate = [
        row for row in limits if row.quantity.startswith("nitrate") and row.comparison == "max"
    ]
    return any(alarm.key == "over_ceiling" for alarm in found.alarms) or any(
        verdict.holds is False for verdict in judge(found.dose, nitrate)
    )


def _under(found: Findings) -> bool:
    return any(alarm.key in ("under_floor", "forgotten") for alarm in found.alarms)


def _stops(loads: list[_Load], found: Findings) -> list[str]:
    """Why no list is given: the alarms, or a scale too coarse for the only cure."""
    missed = [
        f"no reading of {load.scale.name!r} doses {load.item.name!r}: {load.exact_g:.3g} g are needed and its step is {load.scale.step_g:.3g} g; "
        "use a finer scale, make a larger batch, or dilute in two steps"
        for load in loads
        if load.item.premix and load.exact_g and not load.reading_g
    ]
    if missed and not found.dose.nitrite_kg:
        return [alarm.what for alarm in found.stops if alarm.key != "forgotten"] + missed
    return [alarm.what for alarm in found.stops]


def _row(load: _Load, bases: Bases) -> Weight:
    used, wanted, reading = load.scale, load.exact_g, load.reading_g
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
    if used.most_g is not None and reading > used.most_g:
        notes.append(f"more than {used.name!r} carries ({used.most_g:g} g): weigh in parts")
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

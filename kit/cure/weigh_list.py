"""The list that goes to the scale: every dry good scaled to this batch, rounded to its scale, with the ppm the rounded weights really give.

What a limit counts on is rounded to the safe side of that limit, so that rounding alone withholds no list. Above a published ceiling
there is no list: the result holds the reason instead.
"""

from dataclasses import dataclass, replace

from kit.cure.cautions import LAW, NITRITE, STRENGTH, WEIGH
from kit.cure.dose import CureLine, Dose, need_bases
from kit.cure.limits import Addition, judge
from kit.cure.premix import Premix
from kit.cure.scale import Scale, ppm_interval
from kit.cure.traps import Findings, Plan, find_traps
from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.rules import Limit, Verdict
from kit.rules.limits import ACCELERATORS, REPLACERS, rounding_fraction
from kit.tables import value
from kit.working import Step, step

RATE_BASES = {
    "g_per_kg_of_meat": ("meat", 1.0),
    "pct_of_meat": ("meat", 10.0),
    "ppm_of_meat": ("meat", 0.001),
    "g_per_kg_of_batch": ("batch", 1.0),
    "pct_of_batch": ("batch", 10.0),
    "ppm_of_batch": ("batch", 0.001),
    "g": ("", 1.0),
}


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
class WeighList:
    """`rows` is empty when `withheld` says why. `dose` and `verdicts` are for the rounded weights."""

    rows: tuple[Weight, ...]
    withheld: str
    dose: Dose
    verdicts: tuple[Verdict, ...]
    findings: Findings
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def exact_g(item: Item, meat_kg: float, batch_kg: float) -> float:
    """Grams of an item for this batch."""
    basis, per_kg = RATE_BASES[item.rate]
    return item.amount * per_kg * {"meat": meat_kg, "batch": batch_kg, "": 1.0}[basis]


def weigh_list(
    items,
    meat_kg: float,
    batch_kg: float,
    limits: tuple[Limit, ...],
    scale: Scale,
    finished_kg: float | None = None,
    cured: bool = True,
    by_hand: bool = True,
    target_ppm: float | None = None,
    target_basis: str = "meat",
    target_as: str = "NaNO2",
) -> WeighList:
    """The list for a batch. `scale` weighs what names no scale of its own.

    Curing salt takes the nearest reading between floor and ceiling; where there is none, the reading below the ceiling. An additive with a
    maximum is rounded down, one with a minimum alone is rounded up, all else to the nearest reading. Withheld when the rounded dose passes a
    published ceiling (of the chosen rows; without one, of the loosest row held), when another published limit is passed, when any trap
    says stop, or when no reading of the scale gives a dose of the curing salt.
    """
    need_bases(meat_kg, batch_kg, finished_kg)
    items = tuple(items)
    twice = {item.name for item in items if sum(other.name == item.name for other in items) > 1}
    need(
        not twice,
        f"{', '.join(sorted(twice))} appears more than once on the list; give each line its own name or join them",
        OutOfRange,
    )
    exact = [exact_g(item, meat_kg, batch_kg) for item in items]
    readings = _additives(items, exact, limits, scale)
    plan = Plan(
        meat_kg,
        batch_kg,
        _cure(items, readings),
        finished_kg,
        tuple(limits),
        target_ppm,
        target_basis,
        target_as,
        cured=cured,
        by_hand=by_hand,
        scale=scale,
    )
    readings, found = _cures(items, exact, readings, plan, scale)
    additions = tuple(
        Addition(item.quantity, g / 1000) for item, g in zip(items, readings) if item.quantity
    )
    verdicts = judge(found.dose, limits, additions)
    reasons = [alarm.what for alarm in found.alarms if alarm.severity == "stop"]
    missed = [
        _too_coarse(item, grams, scale)
        for item, grams, reading in zip(items, exact, readings)
        if item.premix and grams and not reading
    ]
    if missed and not found.dose.nitrite_kg:
        reasons = [
            alarm.what
            for alarm in found.alarms
            if alarm.severity == "stop" and alarm.key != "forgotten"
        ] + missed
    reasons += [
        f"{v.value:.4g} {v.limit.unit} is outside {v.limit.in_words}"
        for v in verdicts
        if v.holds is False
        and v.limit.comparison == "max"
        and not v.limit.quantity.startswith("nitrite")
    ]
    rows = tuple(_row(item, g, meat_kg, batch_kg, scale) for item, g in zip(items, readings))
    notes = [
        *found.notes,
        *(f"{row.name}: {words}" for row in rows for words in (row.rounding, row.note) if words),
    ]
    notes += [alarm.what for alarm in found.alarms if alarm.severity != "stop"]
    work = tuple(
        step(
            f"{item.name} for this batch",
            "g = amount × per × base",
            exact_g(item, meat_kg, batch_kg),
            "g",
            amount=(item.amount, item.rate),
            per=(RATE_BASES[item.rate][1], "g/kg"),
            base=({"meat": meat_kg, "batch": batch_kg, "": 1.0}[RATE_BASES[item.rate][0]], "kg"),
        )
        for item in items
    )
    return WeighList(
        () if reasons else rows,
        "; ".join(reasons),
        found.dose,
        verdicts,
        found,
        (NITRITE, STRENGTH, WEIGH, LAW),
        tuple(notes),
        found.sources,
        found.dose.working if reasons else (*work, *found.dose.working),
    )


def _additives(items, exact, limits, scale: Scale) -> list[float]:
    """Readings of all items, additives on the safe side of their limits; curing salts to the nearest for now."""
    readings = []
    for item, grams in zip(items, exact):
        used, counted = (
            item.scale or scale,
            (item.quantity, "phosphate")
            if item.quantity == "sodium acid pyrophosphate"
            else (item.quantity,),
        )
        bounds = {row.comparison for row in limits if item.quantity and row.quantity in counted}
        readings.append(
            used.round_down_g(grams)
            if "max" in bounds
            else used.round_up_g(grams)
            if bounds
            else float(used.round_g(grams))
        )
    shared = [n for n, item in enumerate(items) if item.quantity in ACCELERATORS + REPLACERS]
    shares = {
        row.quantity: row.limit / (100 - row.limit)
        for row in limits
        if row.basis == "accelerators" and row.comparison == "max" and row.limit < 100
    }
    lower = True
    while lower:  # a share of accelerator and citrate together: what replaces falls with what it replaces, unless the recipe itself has too much of it
        lower = False
        for n in (n for n in shared if items[n].quantity in shares):
            rest, rest_read = (
                sum(grams[m] for m in shared if m != n) for grams in (exact, readings)
            )
            most = (items[n].scale or scale).round_down_g(shares[items[n].quantity] * rest_read)
            if most < readings[n] and exact[n] <= shares[items[n].quantity] * rest * (
                1 + 2 * rounding_fraction()
            ):
                readings[n], lower = most, True
    return readings


def _cures(items, exact, readings, plan: Plan, scale: Scale) -> tuple[list[float], Findings]:
    """Curing salts at the nearest reading between floor and ceiling, else below the ceiling; and what is then found."""

    def rounded(way: str) -> list[float]:
        return [
            getattr(item.scale or scale, way)(grams) if item.premix else reading
            for item, grams, reading in zip(items, exact, readings)
        ]

    def found_at(grams) -> Findings:
        return find_traps(replace(plan, cure=_cure(items, grams)))

    found = found_at(readings)
    if _over(found, plan.limits):
        readings = rounded("round_down_g")
        return readings, found_at(readings)
    if _under(found) and not _under(found_at(exact)):
        more = rounded("round_up_g")
        raised = found_at(more)
        if not _over(raised, plan.limits):
            return more, raised
    return readings, found


def _over(found: Findings, limits) -> bool:
    nitrate = judge(
        found.dose,
        (row for row in limits if row.quantity.startswith("nitrate") and row.comparison == "max"),
    )
    return any(alarm.key == "over_ceiling" for alarm in found.alarms) or any(
        verdict.holds is False for verdict in nitrate
    )


def _under(found: Findings) -> bool:
    return any(alarm.key in ("under_floor", "forgotten") for alarm in found.alarms)


def _too_coarse(item: Item, grams: float, scale: Scale) -> str:
    used = item.scale or scale
    return (
        f"no reading of {used.name!r} doses {item.name!r}: {grams:.3g} g are needed and its step is {used.step_g:.3g} g; "
        "use a finer scale, make a larger batch, or dilute in two steps"
    )


def _cure(items, readings) -> tuple[CureLine, ...]:
    return tuple(
        CureLine(item.premix, g / 1000)
        for item, g in zip(items, readings)
        if item.premix and item.amount > 0
    )


def _row(item: Item, reading: float, meat_kg: float, batch_kg: float, scale: Scale) -> Weight:
    used, wanted = item.scale or scale, exact_g(item, meat_kg, batch_kg)
    change, nearest, rounding = (
        100 * (reading / wanted - 1) if wanted else 0.0,
        float(used.round_g(wanted)),
        "",
    )
    if abs(reading - nearest) > used.step_g / 2:
        rounding = f"rounded {'down to stay within its limit' if reading < nearest else 'up to reach its minimum'}"
    low = high = None
    note, tolerance = "", value("dose_tolerance_pct")
    if item.premix is not None and item.premix.assayed:
        low, high = (
            float(x) for x in ppm_interval(reading, item.premix.strength_pct, meat_kg, used)
        )
        if wanted and 100 * (abs(reading - wanted) + used.half_width_g) / wanted > tolerance:
            note = (
                f"this scale cannot dose {wanted:.3g} g within ± {tolerance:g} %: use a finer one, "
                "a larger batch, or dilute in two steps"
            )
    elif wanted and abs(change) > tolerance:
        note = f"rounding to the scale's step of {used.step_g:g} g changes it by {change:.0f} %"
    if used.most_g is not None and reading > used.most_g:
        note = "; ".join(
            part
            for part in (
                note,
                f"more than {used.name!r} carries ({used.most_g:g} g): weigh in parts",
            )
            if part
        )
    return Weight(
        item.name,
        wanted,
        reading,
        change,
        reading / meat_kg,
        reading / batch_kg / 10,
        low,
        high,
        rounding,
        note,
    )

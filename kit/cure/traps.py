"""Is this dose a slip, and which one? Looked at before anything is weighed.

First the dose is held against what the rules leave for this batch and against the sheet's own target. Inside both, nothing is said:
an ordinary dose raises no alarm. Outside, every known slip that would turn an ordinary dose into this one is listed, best fit
first. Several usually fit; the kit lists them all and says which further input decides, and never picks one.
"""

from dataclasses import dataclass, field
from datetime import date
from math import exp, log

from kit.cure.cautions import TOO_LITTLE
from kit.cure.dose import CureLine, Dose, dose, need_bases, need_hand_dosable
from kit.cure.limits import Band, band
from kit.cure.salts import convert, convert_step
from kit.cure.scale import Scale
from kit.cure.slips import SLIPS, Given, other_rules, slip
from kit.errors import KitError, UnknownName, need, need_between
from kit.rules.limits import rounding_fraction
from kit.tables import number, value
from kit.working import Step, step


@dataclass(frozen=True)
class Plan:
    """One cure sheet. Only the first three are needed; each further input makes more slips visible.

    limits: rows the dose is held against. target_ppm (of target_basis, counted as target_as): what the sheet says it wants.
    scale: the one that weighs the cure. bowl_kg: the batch as weighed after mixing. unread_blends: seasoning blends whose label nobody
    read for cure. cured False: a product meant to go without. on: the day whose law stands in where `limits` hold no ceiling (today where left out).
    """

    meat_kg: float
    batch_kg: float
    cure: tuple[CureLine, ...] = ()
    finished_kg: float | None = None
    limits: tuple = ()
    target_ppm: float | None = None
    target_basis: str = "meat"
    target_as: str = "NaNO2"
    scale: Scale | None = None
    bowl_kg: float | None = None
    unread_blends: tuple[str, ...] = ()
    cured: bool = True
    by_hand: bool = True
    on: date | None = None

    def __post_init__(self):
        need_bases(self.meat_kg, self.batch_kg, self.finished_kg)
        if self.target_basis not in ("meat", "batch", "finished"):
            raise UnknownName("target_basis", self.target_basis, ("meat", "batch", "finished"))
        need(
            self.target_basis != "finished" or self.finished_kg is not None,
            "a target on the finished product needs finished_kg",
        )
        if self.target_ppm is not None:
            need_between("target_ppm", self.target_ppm, 0, 1e6)
            convert(self.target_ppm, self.target_as, "NaNO2")
        if self.bowl_kg is not None:
            need_between("bowl_kg", self.bowl_kg, 1e-6, 1e7)

    @property
    def target_kg(self) -> float | None:
        """Nitrite (kg as NaNO2) that the sheet's target stands for."""
        if self.target_ppm is None:
            return None
        base = {"meat": self.meat_kg, "batch": self.batch_kg, "finished": self.finished_kg}[
            self.target_basis
        ]
        return convert(self.target_ppm, self.target_as, "NaNO2") * base / 1e6


@dataclass(frozen=True)
class Alarm:
    """One thing that is wrong for certain. `severity`: "stop" (do not weigh) or "check". `gives_ppm_of_meat`: NaNO2 of the meat that the sheet
    as written would give (None: unknown); `should_be`: what it should be, in words."""

    key: str
    severity: str
    what: str
    do: str
    gives_ppm_of_meat: float | None = None
    should_be: str = ""


@dataclass(frozen=True)
class Explanation:
    """One slip that fits. `intended_ppm_of_meat`: what the dose would have been without it; `factor` is the dose over that."""

    key: str
    name: str
    detail: str
    factor: float
    ppm_of_meat: float
    intended_ppm_of_meat: float
    misfit_pct: float
    do: str
    tell: str

    def __str__(self) -> str:
        return (
            f"{self.name}: {self.detail}; it turns {self.intended_ppm_of_meat:.0f} into {self.ppm_of_meat:.0f} ppm of the meat; "
            f"{self.do}; "
            f"to tell: {self.tell}"
        )


@dataclass(frozen=True)
class Findings:
    """`alarms` are certain, `explanations` are all slips that fit (best first). `ok`: there is no alarm, and no more is claimed."""

    alarms: tuple[Alarm, ...]
    explanations: tuple[Explanation, ...]
    dose: Dose | None
    band: Band
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...] = field(default=())

    @property
    def ok(self) -> bool:
        return not self.alarms

    @property
    def stop(self) -> bool:
        return any(alarm.severity == "stop" for alarm in self.alarms)


def find_traps(plan: Plan) -> Findings:
    """Every alarm and every slip that fits. Never raises for a wrong dose, only for an impossible plan."""
    alarms = [*_contents(plan), *_rules_mixed(plan), *_bowl(plan)]
    known = tuple(line for line in plan.cure if line.premix.assayed)
    found = dose(known, plan.meat_kg, plan.batch_kg, plan.finished_kg)
    ratio = found.nitrite_as_used_kg / found.nitrite_kg if found.nitrite_kg else 1.0
    allowed = band(plan.limits, plan.meat_kg, plan.batch_kg, plan.finished_kg, ratio, plan.on)
    unassayed = len(known) < len(plan.cure)
    alarms += _amount(plan, found, allowed, unassayed)
    bad = any(alarm.key in ("over_ceiling", "under_floor", "off_target") for alarm in alarms)
    fits = _explain(plan, found, allowed, alarms) if bad and found.nitrite_kg else ()
    notes = [*allowed.notes, *found.notes]
    if bad and found.nitrite_kg and not fits:
        notes.append("no known slip gives this dose; do the whole sum again from the label")
    if len(fits) > 1:
        notes.append(
            f"{len(fits)} slips fit these numbers; the numbers alone cannot tell them apart"
        )
    if plan.target_ppm is None:
        notes.append(
            "no target is on the sheet: a slip that lands inside the allowed range cannot be seen"
        )
    work = (*found.working, *_band_working(allowed))
    if plan.target_ppm is not None and plan.target_as != "NaNO2":
        work += (convert_step(plan.target_ppm, plan.target_as, "NaNO2"),)
    rows = (number("dose_tolerance_pct"), number("ordinary_dose_low_ppm_of_meat"))
    sources = dict.fromkeys(
        (*found.sources, *(row.cite() for row in plan.limits), *(row.cite() for row in rows))
    )
    return Findings(tuple(alarms), fits, found, allowed, tuple(notes), tuple(sources), work)


def _band_working(allowed: Band) -> tuple[Step, ...]:
    row = allowed.high_limit
    return (
        ()
        if row is None
        else (
            step(
                "room between ceiling and floor",
                "room = ceiling − floor",
                allowed.high_kg - allowed.low_kg,
                "kg NaNO2",
                ceiling=(allowed.high_kg, "kg", row.in_words),
                floor=(allowed.low_kg, "kg", allowed.low_why),
            ),
        )
    )


def _contents(plan: Plan) -> list[Alarm]:
    """What the lines and labels say by themselves."""
    alarms = []
    for line in plan.cure:
        mix = line.premix
        if not mix.assayed:
            alarms.append(
                Alarm(
                    "unknown_content",
                    "stop",
                    f"{mix.name!r} brings an unknown amount of nitrite and nitrate",
                    f"ask for the assay of this lot, mg/kg nitrite and nitrate; each 1 % of nitrite (as NaNO2) in it would bring "
                    f"{line.kg * 1e4 / plan.meat_kg:.4g} ppm of the meat",
                    None,
                    "known by assay",
                )
            )
            continue
        if plan.by_hand and line.kg > 0:
            try:
                need_hand_dosable(mix, plan.batch_kg)
            except KitError as refused:
                alarms.append(
                    Alarm(
                        "pure_by_hand",
                        "stop",
                        str(refused),
                        "use a premix in salt",
                        line.nitrite_kg * 1e6 / plan.meat_kg,
                        "from a premix",
                    )
                )
        if _another_bag(line):
            real = (
                convert(line.kg * line.label_nitrite_pct / 100, mix.nitrite_salt, "NaNO2")
                * 1e6
                / plan.meat_kg
            )
            alarms.append(
                Alarm(
                    "bag_is_another",
                    "stop",
                    f"the sheet reckons with {mix.nitrite_pct:g} % nitrite and the bag says {line.label_nitrite_pct:g} %: "
                    f"{line.kg * 1000:g} g of it would give {real:.4g} ppm of the meat",
                    "reckon the weight for the bag at hand",
                    real,
                    f"{line.nitrite_kg * 1e6 / plan.meat_kg:.4g}, as the sheet reckons",
                )
            )
    for name in plan.unread_blends:
        alarms.append(
            Alarm(
                "unknown_content",
                "check",
                f"nobody has read whether the blend {name!r} already carries cure",
                "read its label; if it does, enter it as a cure line",
                None,
                "read on the label",
            )
        )
    return alarms


def _another_bag(line: CureLine) -> bool:
    """Does the bag at the bench differ from the sheet's strength by more than the tolerance?"""
    meant, read = line.premix.nitrite_pct, line.label_nitrite_pct
    return read is not None and abs(read - meant) > meant * value("dose_tolerance_pct") / 100


def _rules_mixed(plan: Plan) -> list[Alarm]:
    places = tuple(
        dict.fromkeys(f"{row.jurisdiction} ({row.edition})" for row in plan.limits if row.published)
    )
    if len(places) < 2:
        return []
    rows = "; ".join(row.in_words for row in plan.limits if row.quantity == "nitrite ingoing")
    ceilings = {
        place: min(kg) * 1e6 / plan.meat_kg
        for place in places
        if (
            kg := [
                _limit_kg(row, plan)
                for row in plan.limits
                if f"{row.jurisdiction} ({row.edition})" == place
                and row.quantity == "nitrite ingoing"
                and row.comparison == "max"
                and (row.basis != "finished" or plan.finished_kg)
            ]
        )
    }
    each = ", ".join(f"{place} {ppm:.4g}" for place, ppm in ceilings.items())
    return [
        Alarm(
            "mixed_rules",
            "check",
            f"limits of {' and '.join(places)} are mixed: they count on different bases and forms ({rows}); as ppm of the meat of "
            f"this batch their ceilings are {each}",
            "choose the rule that holds where the product is sold; until then the tightest ceiling and the highest floor are used",
            _written_ppm(plan),
            f"by one rule: {each}",
        )
    ]


def _limit_kg(row, plan: Plan) -> float:
    """A ceiling as kg NaNO2 for this batch; a figure for "the salt used" is taken as that of the sodium salt."""
    base = {"meat": plan.meat_kg, "batch": plan.batch_kg, "finished": plan.finished_kg}[row.basis]
    return (
        convert(row.limit, "NaNO2" if row.as_salt == "as used" else row.as_salt, "NaNO2")
        * base
        / 1e6
    )


def _written_ppm(plan: Plan) -> float:
    """NaNO2 of the meat that the assayed lines bring as written."""
    return sum(line.nitrite_kg for line in plan.cure if line.premix.assayed) * 1e6 / plan.meat_kg


def _bowl(plan: Plan) -> list[Alarm]:
    if plan.bowl_kg is None:
        return []
    ratio, tolerance = plan.bowl_kg / plan.batch_kg, value("bowl_tolerance_pct") / 100
    if abs(ratio - 1) <= tolerance:
        return []
    pound = value("pound_g") / 1000
    guess = "a line is missing or wrong"
    if abs(ratio / pound - 1) <= tolerance:
        guess = "the meat may be written in pounds"
    elif abs(ratio * pound - 1) <= tolerance:
        guess = "the meat may be in kilograms where pounds are written"
    return [
        Alarm(
            "bowl_differs",
            "stop",
            f"the bowl weighs {plan.bowl_kg:g} kg and the sheet says {plan.batch_kg:g} kg: {guess}, "
            "so every ppm on the sheet is off by that ratio",
            "weigh the meat again and correct the sheet",
            _written_ppm(plan) / ratio,
            f"{_written_ppm(plan):.4g}, as the sheet reckons",
        )
    ]


def _amount(plan: Plan, found: Dose, allowed: Band, unassayed: bool) -> list[Alarm]:
    if found.nitrite_kg == 0:
        return (
            []
            if unassayed or not plan.cured
            else [
                Alarm(
                    "forgotten",
                    "stop",
                    "no nitrite is on the sheet of a product meant to be cured: 0 ppm, grey colour and no protection",
                    "add the cure line, or say that the product is not cured",
                    0.0,
                    _asked(plan, allowed),
                )
            ]
        )
    if not plan.cured:
        return [
            Alarm(
                "not_wanted",
                "stop",
                f"the product is meant to go without cure, and its lines bring {found.ppm_of_meat:.4g} ppm "
                "of the meat",
                "take the source out, or call the product cured",
                found.ppm_of_meat,
                "0",
            )
        ]
    alarms = [
        *_outside(plan, found, allowed, unassayed),
        *([] if unassayed else _off_target(plan, found)),
    ]
    sources = [line for line in plan.cure if line.premix.assayed and line.nitrite_kg > 0]
    slack = rounding_fraction()
    enough = any(
        allowed.low_kg * (1 - slack) <= line.nitrite_kg <= allowed.high_kg * (1 + slack)
        for line in sources
    )
    if alarms and len(sources) > 1 and enough:
        names = ", ".join(line.premix.name for line in sources)
        alarms.append(
            Alarm(
                "two_sources",
                "check",
                f"{len(sources)} lines bring nitrite ({names}), and one alone would do",
                "take one out",
                found.ppm_of_meat,
                " or ".join(f"{line.nitrite_kg * 1e6 / plan.meat_kg:.4g}" for line in sources),
            )
        )
    return alarms


def _asked(plan: Plan, allowed: Band) -> str:
    """What the sheet or the rule asks for, as ppm NaNO2 of the meat."""
    if plan.target_kg:
        return f"{plan.target_kg * 1e6 / plan.meat_kg:.4g}, the target"
    return (
        f"{allowed.low_kg * 1e6 / plan.meat_kg:.4g} to {allowed.high_kg * 1e6 / plan.meat_kg:.4g}"
    )


def _outside(plan: Plan, found: Dose, allowed: Band, unassayed: bool) -> list[Alarm]:
    """Above the ceiling, or below the floor (not judged while a source of unknown content is on the sheet)."""
    slack, per_meat = rounding_fraction(), 1e6 / plan.meat_kg
    has = f"{found.ppm_of_meat:.4g} ppm NaNO2 of the meat ({found.nitrite_kg * 1000:.4g} g)"
    if found.nitrite_kg > allowed.high_kg * (1 + slack):
        return [
            Alarm(
                "over_ceiling",
                "stop",
                f"{has} is above the ceiling, {allowed.high_kg * per_meat:.5g} ppm of the meat for this "
                f"batch, from {allowed.high_why}",
                _nudge(plan, found.nitrite_kg - allowed.high_kg, -1)
                or "do not weigh it; find the slip first",
                found.ppm_of_meat,
                f"at most {allowed.high_kg * per_meat:.5g}",
            )
        ]
    if found.nitrite_kg < allowed.low_kg * (1 - slack) and not unassayed:
        return [
            Alarm(
                "under_floor",
                "check",
                f"{has} is below {allowed.low_kg * per_meat:.5g} ppm of the meat for this batch, "
                f"from {allowed.low_why}: {TOO_LITTLE}",
                _nudge(plan, allowed.low_kg - found.nitrite_kg, 1)
                or "find the slip, or raise the dose",
                found.ppm_of_meat,
                f"at least {allowed.low_kg * per_meat:.5g}",
            )
        ]
    return []


def _nudge(plan: Plan, excess_kg: float, way: int) -> str:
    """What to do where no more than the rounding to the scale's step carries one line over a limit; "" elsewhere."""
    if (
        plan.scale is None
        or len(plan.cure) != 1
        or excess_kg * 1e5 / plan.cure[0].premix.strength_pct > plan.scale.step_g / 2 * (1 + 1e-9)
    ):
        return ""
    step_g = plan.scale.step_g
    return (
        f"no more than the scale's step of {step_g:g} g: weigh one step {'more' if way > 0 else 'less'}, {plan.cure[0].kg * 1000 + way * step_g:g} g, "
        "if the sum behind it is right"
    )


def _off_target(plan: Plan, found: Dose) -> list[Alarm]:
    if not plan.target_kg or abs(found.nitrite_kg / plan.target_kg - 1) <= _tolerance(plan):
        return []
    return [
        Alarm(
            "off_target",
            "check",
            f"the sheet asks for {plan.target_ppm:.5g} ppm as {plan.target_as} of the {plan.target_basis}, "
            f"which is {plan.target_kg * 1000:.4g} g NaNO2, and its lines bring {found.nitrite_kg * 1000:.4g} g "
            f"({100 * found.nitrite_kg / plan.target_kg:.0f} % of that)",
            "do the sum again from the target",
            found.ppm_of_meat,
            f"{plan.target_kg * 1e6 / plan.meat_kg:.4g}, the target",
        )
    ]


def _tolerance(plan: Plan) -> float:
    """What a dose may miss its target by: the tolerance, or the scale's own interval if that is wider."""
    tolerance = value("dose_tolerance_pct") / 100
    if plan.scale is None or not plan.cure:
        return tolerance
    weights = [line.kg * 1000 for line in plan.cure if line.kg > 0]
    return (
        max(tolerance, *(plan.scale.half_width_g / grams for grams in weights))
        if weights
        else tolerance
    )


def _explain(plan: Plan, found: Dose, allowed: Band, alarms) -> tuple[Explanation, ...]:
    """Every slip whose removal lands on the target, or (no target) inside the band; sorted by misfit from the usual doses."""
    lines = tuple(line for line in plan.cure if line.premix.assayed and line.nitrite_kg > 0)
    aimed = (
        plan.target_kg if any(alarm.key == "off_target" for alarm in alarms) else None
    )  # a target that was met explains nothing
    rule_bases = tuple(
        dict.fromkeys(
            row.basis
            for row in plan.limits
            if row.quantity == "nitrite ingoing" and row.comparison == "max"
        )
    )
    given = Given(
        plan.meat_kg,
        plan.batch_kg,
        plan.finished_kg,
        tuple(line.nitrite_kg for line in lines),
        tuple(sorted({line.premix.strength_pct for line in lines})),
        (plan.target_basis,) if aimed else rule_bases or (allowed.high_limit.basis,),
    )
    tolerance, fits = _tolerance(plan), []

    def consider(which, factor, detail, low, high):
        intended = found.nitrite_kg / factor
        if low * (1 - tolerance) <= intended <= high * (1 + tolerance):
            fits.append(
                Explanation(
                    which.key,
                    which.name,
                    detail,
                    factor,
                    found.ppm_of_meat,
                    intended * 1e6 / plan.meat_kg,
                    _misfit_pct(intended, aimed, allowed),
                    which.do,
                    which.tell,
                )
            )

    low, high = (aimed, aimed) if aimed else (allowed.low_kg, allowed.high_kg)
    for one in SLIPS:
        for factor, detail in one.factors(given):
            consider(one, factor, detail, low, high)
    _add_other_rules(plan, found, allowed, given, fits)
    order = {one.key: n for n, one in enumerate(SLIPS)}
    two = any(alarm.key == "two_sources" for alarm in alarms)
    return tuple(
        sorted(
            fits,
            key=lambda e: (
                not (two and e.key == "added_twice"),
                round(e.misfit_pct / 2),
                order[e.key],
                e.misfit_pct,
            ),
        )
    )


def _add_other_rules(plan, found, allowed, given, fits) -> None:
    """A dose outside these rules that another jurisdiction would allow."""
    if allowed.low_kg <= found.nitrite_kg <= allowed.high_kg:
        return
    which = slip("other_rule")
    for low, high, words in other_rules(given, plan.limits):
        if low <= found.nitrite_kg <= high * (1 + rounding_fraction()):
            near = 100 * abs(log(found.nitrite_kg / high))
            fits.append(
                Explanation(
                    which.key,
                    which.name,
                    f"it would be allowed by {words}",
                    1.0,
                    found.ppm_of_meat,
                    found.ppm_of_meat,
                    near,
                    which.do,
                    which.tell,
                )
            )


def _misfit_pct(intended_kg: float, aimed: float | None, allowed: Band) -> float:
    """How far the dose behind the slip is from the target, or from the nearest of ceiling and floor (people aim at round limits)."""
    aims = (aimed,) if aimed else (allowed.high_kg, allowed.low_kg)
    return min(100 * (exp(abs(log(intended_kg / aim))) - 1) for aim in aims)

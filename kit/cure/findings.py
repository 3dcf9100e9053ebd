"""Is this dose a dosing error, and which one? Looked at before anything is weighed.

First the dose is held against what the rules leave for this batch and against the sheet's own target. Inside both, nothing is said:
an ordinary dose raises no alarm. Outside, every known error that would turn an ordinary dose into this one is listed, best fit
first. Several usually fit; the kit lists them all and says which further input decides, and never picks one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, log

from kit.cure.cautions import TOO_LITTLE
from kit.cure.dose import CureLine, Dose, dose, need_hand_dosable
from kit.cure.dosing_errors import DOSING_ERRORS, DosingError, allowed_elsewhere
from kit.cure.limits import Band, Limit, band, rounding_fraction
from kit.cure.plan import Plan
from kit.cure.salts import convert, convert_step
from kit.errors import KitError
from kit.tables import number, value
from kit.working import Result, Step, steps_from


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
    """One dosing error that fits. `intended_ppm_of_meat`: what the dose would have been without it; `factor` is the dose over that."""

    error: DosingError
    detail: str
    factor: float
    ppm_of_meat: float
    intended_ppm_of_meat: float
    misfit_pct: float

    @property
    def key(self) -> str:
        return self.error.key

    def __str__(self) -> str:
        return (
            f"{self.error.name}: {self.detail}; it turns {self.intended_ppm_of_meat:.0f} into {self.ppm_of_meat:.0f} ppm of the meat; "
            f"{self.error.do}; to tell: {self.error.tell}"
        )


@dataclass(frozen=True)
class Findings(Result):
    """`alarms` are certain, `explanations` are all dosing errors that fit (best first). `ok`: there is no alarm, and no more is claimed."""

    alarms: tuple[Alarm, ...]
    explanations: tuple[Explanation, ...]
    dose: Dose
    band: Band

    @property
    def ok(self) -> bool:
        return not self.alarms

    @property
    def stops(self) -> tuple[Alarm, ...]:
        """The alarms that forbid weighing."""
        return tuple(alarm for alarm in self.alarms if alarm.severity == "stop")

    @property
    def stop(self) -> bool:
        return bool(self.stops)

    @property
    def room_ppm_of_meat(self) -> tuple[float, float]:
        """(least, most) ppm NaNO2 of the meat that the rules leave for this batch."""
        return self.dose.per_meat(self.band.low_kg), self.dose.per_meat(self.band.high_kg)


def find_dosing_errors(plan: Plan) -> Findings:
    """Every alarm and every dosing error that fits.

    plan: the cure sheet, with as many of its further inputs as are known.
    Returns Findings; a wrong dose never raises. A source without an assay is left out of the dose, and alarmed.
    Errors inside the range that the rules leave show only against a target on the plan.
    """
    found = dose(plan.assayed, *plan.weights)
    ratio = found.nitrite_as_used_kg / found.nitrite_kg if found.nitrite_kg else 1.0
    allowed = band(plan.limits, *plan.weights, ratio, plan.on)
    alarms = (
        *_contents(plan),
        *_rules_mixed(plan),
        *_bowl(plan, found),
        *_amount(plan, found, allowed),
    )
    keys = {alarm.key for alarm in alarms}
    bad = bool(keys & {"over_ceiling", "under_floor", "off_target"}) and found.nitrite_kg > 0
    fits = _explain(plan, found, allowed, keys) if bad else ()
    notes = [*allowed.notes]
    if bad and not fits:
        notes.append("no known slip gives this dose; do the whole sum again from the label")
    if len(fits) > 1:
        notes.append(
            f"{len(fits)} slips fit these numbers; the numbers alone cannot tell them apart"
        )
    if plan.target_ppm is None:
        notes.append(
            "no target is on the sheet: a slip that lands inside the allowed range cannot be seen"
        )
    work: tuple[Step, ...] = ()
    if allowed.high_limit is not None:
        known = {
            "room": allowed.high_kg - allowed.low_kg,
            "ceiling": (allowed.high_kg, "kg", allowed.high_limit.in_words),
            "floor": (allowed.low_kg, "kg", allowed.low_why),
        }
        what = "room between ceiling and floor"
        work = steps_from(known, (what, "room = ceiling − floor", "kg NaNO2"))
    if plan.target_ppm is not None and plan.target_as != "NaNO2":
        work += (convert_step(plan.target_ppm, plan.target_as, "NaNO2"),)
    usual = ("dose_tolerance_pct", "ordinary_dose_low_ppm_of_meat")
    return Findings(
        alarms,
        fits,
        found,
        allowed,
        own_notes=tuple(notes),
        own_sources=(
            *(row.cite() for row in plan.limits),
            *(number(name).cite() for name in usual),
        ),
        own_working=work,
    )


def _contents(plan: Plan) -> Iterator[Alarm]:
    """What the lines and labels say by themselves."""
    for line in plan.cure:
        if not line.premix.assayed:
            yield Alarm(
                "unknown_content",
                "stop",
                f"{line.premix.name!r} brings an unknown amount of nitrite and nitrate",
                f"ask for the assay of this lot, mg/kg nitrite and nitrate; each 1 % of nitrite (as NaNO2) in it would bring "
                f"{line.kg * 1e4 / plan.meat_kg:.4g} ppm of the meat",
                None,
                "known by assay",
            )
            continue
        written = plan.per_meat(line.nitrite_kg)
        if plan.by_hand and line.kg > 0:
            try:
                need_hand_dosable(line.premix, plan.batch_kg)
            except KitError as refused:
                do = "use a premix in salt"
                yield Alarm("pure_by_hand", "stop", str(refused), do, written, "from a premix")
        yield from _another_bag(plan, line, written)
    for name in plan.unread_blends:
        yield Alarm(
            "unknown_content",
            "check",
            f"nobody has read whether the blend {name!r} already carries cure",
            "read its label; if it does, enter it as a cure line",
            None,
            "read on the label",
        )


def _another_bag(plan: Plan, line: CureLine, written_ppm: float) -> Iterator[Alarm]:
    """Does the bag at the bench differ from the sheet's strength by more than the tolerance?"""
    meant, read = line.premix.nitrite_pct or 0.0, line.label_nitrite_pct
    if read is None or abs(read - meant) <= meant * value("dose_tolerance_pct") / 100:
        return
    real = plan.per_meat(convert(line.kg * read / 100, line.premix.nitrite_salt, "NaNO2"))
    yield Alarm(
        "bag_is_another",
        "stop",
        f"the sheet reckons with {meant:g} % nitrite and the bag says {read:g} %: "
        f"{line.kg * 1000:g} g of it would give {real:.4g} ppm of the meat",
        "reckon the weight for the bag at hand",
        real,
        f"{written_ppm:.4g}, as the sheet reckons",
    )


def _rules_mixed(plan: Plan) -> Iterator[Alarm]:
    by_place: dict[str, list[Limit]] = {}
    for row in plan.limits:
        if row.published:
            by_place.setdefault(f"{row.jurisdiction} ({row.edition})", []).append(row)
    if len(by_place) < 2:
        return
    ceilings = {
        place: plan.per_meat(
            min(_limit_kg(row, plan) for row in rows if _is_known_ceiling(row, plan))
        )
        for place, rows in by_place.items()
        if any(_is_known_ceiling(row, plan) for row in rows)
    }
    each = ", ".join(f"{place} {ppm:.4g}" for place, ppm in ceilings.items())
    words = "; ".join(row.in_words for row in plan.limits if row.quantity == "nitrite ingoing")
    yield Alarm(
        "mixed_rules",
        "check",
        f"limits of {' and '.join(by_place)} are mixed: they count on different bases and forms ({words}); as ppm of the meat of "
        f"this batch their ceilings are {each}",
        "choose the rule that holds where the product is sold; until then the tightest ceiling and the highest floor are used",
        plan.per_meat(sum(line.nitrite_kg for line in plan.assayed)),
        f"by one rule: {each}",
    )


def _is_known_ceiling(row: Limit, plan: Plan) -> bool:
    return row.is_ceiling and plan.base_kg(row.basis) is not None


def _limit_kg(row: Limit, plan: Plan) -> float:
    """A ceiling as kg NaNO2 for this batch; a figure for "the salt used" is taken as that of the sodium salt."""
    form = "NaNO2" if row.as_salt == "as used" else row.as_salt
    return convert(row.limit, form, "NaNO2") * plan.need_base_kg(row.basis) / 1e6


def _bowl(plan: Plan, found: Dose) -> Iterator[Alarm]:
    if plan.bowl_kg is None:
        return
    ratio, tolerance = plan.bowl_kg / plan.batch_kg, value("bowl_tolerance_pct") / 100
    if abs(ratio - 1) <= tolerance:
        return
    pound = value("pound_g") / 1000
    guess = "a line is missing or wrong"
    if abs(ratio / pound - 1) <= tolerance:
        guess = "the meat may be written in pounds"
    elif abs(ratio * pound - 1) <= tolerance:
        guess = "the meat may be in kilograms where pounds are written"
    yield Alarm(
        "bowl_differs",
        "stop",
        f"the bowl weighs {plan.bowl_kg:g} kg and the sheet says {plan.batch_kg:g} kg: {guess}, "
        "so every ppm on the sheet is off by that ratio",
        "weigh the meat again and correct the sheet",
        found.ppm_of_meat / ratio,
        f"{found.ppm_of_meat:.4g}, as the sheet reckons",
    )


def _amount(plan: Plan, found: Dose, allowed: Band) -> Iterator[Alarm]:
    unassayed = len(plan.assayed) < len(plan.cure)
    ppm = found.ppm_of_meat
    if found.nitrite_kg == 0:
        if plan.cured and not unassayed:
            low, high = (plan.per_meat(kg) for kg in (allowed.low_kg, allowed.high_kg))
            asked = f"{low:.4g} to {high:.4g}"
            if plan.target_kg:
                asked = f"{plan.per_meat(plan.target_kg):.4g}, the target"
            yield Alarm(
                "forgotten",
                "stop",
                "no nitrite is on the sheet of a product meant to be cured: 0 ppm, grey colour and no protection",
                "add the cure line, or say that the product is not cured",
                0.0,
                asked,
            )
        return
    if not plan.cured:
        yield Alarm(
            "not_wanted",
            "stop",
            f"the product is meant to go without cure, and its lines bring {ppm:.4g} ppm of the meat",
            "take the source out, or call the product cured",
            ppm,
            "0",
        )
        return
    alarms = [*_outside(plan, found, allowed, unassayed)]
    if not unassayed:
        alarms += _off_target(plan, found)
    yield from alarms
    slack = rounding_fraction()
    low_kg, high_kg = allowed.low_kg * (1 - slack), allowed.high_kg * (1 + slack)
    sources = plan.sources
    if (
        alarms
        and len(sources) > 1
        and any(low_kg <= line.nitrite_kg <= high_kg for line in sources)
    ):
        names = ", ".join(line.premix.name for line in sources)
        yield Alarm(
            "two_sources",
            "check",
            f"{len(sources)} lines bring nitrite ({names}), and one alone would do",
            "take one out",
            ppm,
            " or ".join(f"{plan.per_meat(line.nitrite_kg):.4g}" for line in sources),
        )


def _outside(plan: Plan, found: Dose, allowed: Band, unassayed: bool) -> Iterator[Alarm]:
    """Above the ceiling, or below the floor (not judged while a source of unknown content is on the sheet)."""
    slack = rounding_fraction()
    low, high = (plan.per_meat(kg) for kg in (allowed.low_kg, allowed.high_kg))
    has = f"{found.ppm_of_meat:.4g} ppm NaNO2 of the meat ({found.nitrite_kg * 1000:.4g} g)"
    if found.nitrite_kg > allowed.high_kg * (1 + slack):
        yield Alarm(
            "over_ceiling",
            "stop",
            f"{has} is above the ceiling, {high:.5g} ppm of the meat for this batch, from {allowed.high_why}",
            _nudge(plan, found.nitrite_kg - allowed.high_kg, -1)
            or "do not weigh it; find the slip first",
            found.ppm_of_meat,
            f"at most {high:.5g}",
        )
    elif found.nitrite_kg < allowed.low_kg * (1 - slack) and not unassayed:
        yield Alarm(
            "under_floor",
            "check",
            f"{has} is below {low:.5g} ppm of the meat for this batch, from {allowed.low_why}: {TOO_LITTLE}",
            _nudge(plan, allowed.low_kg - found.nitrite_kg, 1)
            or "find the slip, or raise the dose",
            found.ppm_of_meat,
            f"at least {low:.5g}",
        )


def _nudge(plan: Plan, excess_kg: float, way: int) -> str:
    """What to do where no more than the rounding to the scale's step carries one line over a limit; "" elsewhere."""
    if plan.scale is None or len(plan.cure) != 1:
        return ""
    line, step_g = plan.cure[0], plan.scale.step_g
    if excess_kg * 1e5 / line.premix.strength_pct > step_g / 2 * (1 + 1e-9):
        return ""
    return (
        f"no more than the scale's step of {step_g:g} g: weigh one step {'more' if way > 0 else 'less'}, {line.kg * 1000 + way * step_g:g} g, "
        "if the sum behind it is right"
    )


def _off_target(plan: Plan, found: Dose) -> Iterator[Alarm]:
    if not plan.target_kg or abs(found.nitrite_kg / plan.target_kg - 1) <= _tolerance(plan):
        return
    yield Alarm(
        "off_target",
        "check",
        f"the sheet asks for {plan.target_ppm:.5g} ppm as {plan.target_as} of the {plan.target_basis}, "
        f"which is {plan.target_kg * 1000:.4g} g NaNO2, and its lines bring {found.nitrite_kg * 1000:.4g} g "
        f"({100 * found.nitrite_kg / plan.target_kg:.0f} % of that)",
        "do the sum again from the target",
        found.ppm_of_meat,
        f"{plan.per_meat(plan.target_kg):.4g}, the target",
    )


def _tolerance(plan: Plan) -> float:
    """What a dose may miss its target by: the tolerance, or the scale's own interval if that is wider."""
    tolerance = value("dose_tolerance_pct") / 100
    if plan.scale is None:
        return tolerance
    half_g = plan.scale.half_width_g
    return max(tolerance, *(half_g / (line.kg * 1000) for line in plan.cure if line.kg > 0), 0.0)


def _explain(
    plan: Plan, found: Dose, allowed: Band, alarm_keys: set[str]
) -> tuple[Explanation, ...]:
    """Every error whose removal lands on the target, or (no target) inside the band; sorted by misfit from the usual doses."""
    # a target that was met explains nothing
    aimed = plan.target_kg if "off_target" in alarm_keys else None
    low, high = (aimed, aimed) if aimed else (allowed.low_kg, allowed.high_kg)
    bases = tuple(dict.fromkeys(row.basis for row in plan.limits if row.is_ceiling))
    if aimed:
        bases = (plan.target_basis,)
    elif not bases and allowed.high_limit is not None:
        bases = (allowed.high_limit.basis,)
    tolerance, fits = _tolerance(plan), []
    for n, one in enumerate(DOSING_ERRORS):
        for factor, detail in one.factors(plan, bases):
            kg = found.nitrite_kg / factor
            if low * (1 - tolerance) <= kg <= high * (1 + tolerance):
                # the nearest of ceiling and floor: people aim at round limits
                misfit = min(100 * (exp(abs(log(kg / aim))) - 1) for aim in {high, low})
                fit = Explanation(one, detail, factor, found.ppm_of_meat, plan.per_meat(kg), misfit)
                fits.append((n, fit))
    if not allowed.low_kg <= found.nitrite_kg <= allowed.high_kg:
        fits += ((len(DOSING_ERRORS) - 1, fit) for fit in _by_other_rules(plan, found))
    two = "two_sources" in alarm_keys

    def rank(placed):
        n, fit = placed
        return not (two and fit.key == "added_twice"), round(fit.misfit_pct / 2), n, fit.misfit_pct

    return tuple(fit for _, fit in sorted(fits, key=rank))


def _by_other_rules(plan: Plan, found: Dose) -> Iterator[Explanation]:
    """A dose outside these rules that another jurisdiction would allow."""
    for low, high, words in allowed_elsewhere(plan):
        if low <= found.nitrite_kg <= high * (1 + rounding_fraction()):
            ppm = found.ppm_of_meat
            near = 100 * abs(log(found.nitrite_kg / high))
            yield Explanation(
                DOSING_ERRORS[-1], f"it would be allowed by {words}", 1.0, ppm, ppm, near
            )

"""Is this dose a dosing error, and which one? Looked at before anything is weighed.

First the dose is held against what the rules leave for this batch and against the sheet's own target. Inside both, nothing is said:
an ordinary dose raises no alarm. Outside, every known error that would turn an ordinary dose into this one is listed, best fit
first. Several usually fit; the kit lists them all and says which further input decides, and never picks one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from math import log

from kit.cure.cautions import TOO_LITTLE
from kit.cure.dose import Dose, dose, need_hand_dosable
from kit.cure.dosing_errors import DOSING_ERRORS, DosingError, allowed_elsewhere
from kit.cure.limits import Band, band, limit_kg
from kit.cure.plan import Plan
from kit.cure.salts import convert, convert_step
from kit.errors import attempt
from kit.rules.limits import rounding_fraction
from kit.tables import number, rows_by, value
from kit.working import Result, notes_of, working_of


@dataclass(frozen=True)
class DoseAlarm:
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
    """One dosing error that fits. `intended_ppm_of_meat`: what the dose would have been without it."""

    error: DosingError
    detail: str
    ppm_of_meat: float
    intended_ppm_of_meat: float

    @property
    def key(self) -> str:
        return self.error.key


@dataclass(frozen=True)
class DosingFindings(Result):
    """`alarms` are certain, `explanations` are all dosing errors that fit (best first). `ok`: there is no alarm, and no more is claimed."""

    alarms: tuple[DoseAlarm, ...]
    explanations: tuple[Explanation, ...]
    dose: Dose
    band: Band

    @property
    def ok(self) -> bool:
        return not self.alarms

    @property
    def stops(self) -> tuple[DoseAlarm, ...]:
        """The alarms that forbid weighing."""
        return tuple(alarm for alarm in self.alarms if alarm.severity == "stop")

    @property
    def stop(self) -> bool:
        return bool(self.stops)

    @property
    def room_ppm_of_meat(self) -> tuple[float, float]:
        """(least, most) ppm NaNO2 of the meat that the rules leave for this batch."""
        return self.dose.per_meat(self.band.low_kg), self.dose.per_meat(self.band.high_kg)


def find_dosing_errors(plan: Plan) -> DosingFindings:
    """Every alarm and every dosing error that fits.

    plan: the cure sheet, with as many of its further inputs as are known
    Returns DosingFindings; a wrong dose never raises. A source without an assay is left out of the dose, and alarmed.
    Errors inside the range that the rules leave show only against a target on the plan.
    Source: data/cure/error_examples.csv; limits of data/rules/cure.csv.
    """
    found = dose(plan.assayed, *plan.weights)
    ratio = found.nitrite_as_used_kg / found.nitrite_kg if found.nitrite_kg else 1.0
    allowed = band(plan.limits, plan, ratio, plan.on)
    alarms = (
        *_contents(plan),
        *_rules_mixed(plan, found),
        *_bowl(plan, found),
        *_amount(plan, found, allowed),
    )
    keys = {alarm.key for alarm in alarms}
    bad = bool(keys & {"over_ceiling", "under_floor", "off_target"}) and found.nitrite_kg > 0
    fits = _explain(plan, found, allowed, keys) if bad else ()
    holds = {"no fit": bad and not fits, "several": len(fits) > 1}
    holds["no target"] = plan.target_ppm is None
    floor, ceiling = allowed.low_kg, allowed.high_kg
    why = {"low_why": allowed.low_why, "high_why": allowed.high_limit.in_words}
    work = working_of("room of a dose", room=ceiling - floor, ceiling=ceiling, floor=floor, **why)
    if plan.target_ppm is not None and plan.target_as != "NaNO2":
        work += (convert_step(plan.target_ppm, plan.target_as, "NaNO2"),)
    usual = ("dose_tolerance_pct", "ordinary_dose_low_ppm_of_meat")
    return DosingFindings(
        alarms,
        fits,
        found,
        allowed,
        own_notes=(*allowed.notes, *notes_of("dosing errors", holds, fits=len(fits))),
        own_sources=(
            *(row.cite() for row in plan.limits),
            *(number(name).cite() for name in usual),
        ),
        own_working=work,
    )


def _alarm(row: str, gives: float | None, key: str = "", /, **words: object) -> DoseAlarm:
    """The alarm of a row of data/cure/alarms.csv. gives: what the sheet as written would give, ppm NaNO2 of the meat (None: unknown)."""
    says = rows_by("row", "cure", "alarms.csv")[row]
    what, do, should_be = (
        says[column].format(gives=gives, **words) for column in ("what", "do", "should_be")
    )
    return DoseAlarm(key or row, says["severity"], what, do, gives, should_be)


def _contents(plan: Plan) -> Iterator[DoseAlarm]:
    """What the lines and labels say by themselves."""
    for line in plan.cure:
        mix = line.premix
        if not mix.assayed:
            each = line.kg * 1e4 / plan.meat_kg
            yield _alarm("unknown_content", None, name=mix.name, each=each)
            continue
        written = plan.per_meat(line.nitrite_kg)
        if line.kg > 0:
            _, refused = attempt(partial(need_hand_dosable, mix, plan.batch_kg))
            if refused:
                yield _alarm("pure_by_hand", written, refused=refused)
        meant, read = mix.nitrite_pct or 0.0, line.label_nitrite_pct
        if read is not None and abs(read - meant) > meant * value("dose_tolerance_pct") / 100:
            real = plan.per_meat(convert(line.kg * read / 100, mix.nitrite_salt, "NaNO2"))
            labels = {"meant": meant, "read": read}
            yield _alarm("bag_is_another", real, grams=line.kg * 1000, written=written, **labels)
    for name in plan.unread_blends:
        yield _alarm("unread_blend", None, "unknown_content", name=name)


def _rules_mixed(plan: Plan, found: Dose) -> Iterator[DoseAlarm]:
    published = [(f"{r.jurisdiction} ({r.edition})", r) for r in plan.limits if r.published]
    places = dict(published)
    if len(places) < 2:
        return
    ceilings: dict[str, float] = {}
    for place, row in published:
        if row.caps_nitrite and plan.base_kg(row.basis) is not None:
            ppm = plan.per_meat(limit_kg(row, plan))
            ceilings[place] = min(ppm, ceilings.get(place, ppm))
    yield _alarm(
        "mixed_rules",
        found.ppm_of_meat,
        places=" and ".join(places),
        limits="; ".join(row.in_words for row in plan.limits if row.quantity == "nitrite ingoing"),
        each=", ".join(f"{place} {ppm:.4g}" for place, ppm in ceilings.items()),
    )


def _bowl(plan: Plan, found: Dose) -> Iterator[DoseAlarm]:
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
    written, weights = found.ppm_of_meat, {"bowl": plan.bowl_kg, "batch": plan.batch_kg}
    yield _alarm("bowl_differs", written / ratio, guess=guess, written=written, **weights)


def _amount(plan: Plan, found: Dose, allowed: Band) -> Iterator[DoseAlarm]:
    unassayed = len(plan.assayed) < len(plan.cure)
    ppm = found.ppm_of_meat
    if found.nitrite_kg == 0:
        if not unassayed:
            low, high = (plan.per_meat(kg) for kg in (allowed.low_kg, allowed.high_kg))
            asked = f"{low:.4g} to {high:.4g}"
            if plan.target_kg:
                asked = f"{plan.per_meat(plan.target_kg):.4g}, the target"
            yield _alarm("forgotten", 0.0, asked=asked)
        return
    alarms = [*_outside(plan, found, allowed, unassayed)]
    if not unassayed:
        alarms += _off_target(plan, found)
    yield from alarms
    slack, sources = rounding_fraction(), plan.sources
    low_kg, high_kg = allowed.low_kg * (1 - slack), allowed.high_kg * (1 + slack)
    enough = any(low_kg <= line.nitrite_kg <= high_kg for line in sources)
    if alarms and len(sources) > 1 and enough:
        names = ", ".join(line.premix.name for line in sources)
        each = " or ".join(f"{plan.per_meat(line.nitrite_kg):.4g}" for line in sources)
        yield _alarm("two_sources", ppm, count=len(sources), names=names, each=each)


def _outside(plan: Plan, found: Dose, allowed: Band, unassayed: bool) -> Iterator[DoseAlarm]:
    """Above the ceiling, or below the floor (not judged while a source of unknown content is on the sheet)."""
    slack, ppm, nitrite_kg = rounding_fraction(), found.ppm_of_meat, found.nitrite_kg
    has = f"{ppm:.4g} ppm NaNO2 of the meat ({nitrite_kg * 1000:.4g} g)"
    if nitrite_kg > allowed.high_kg * (1 + slack):
        most, why = plan.per_meat(allowed.high_kg), allowed.high_limit.in_words
        yield _alarm("over_ceiling", ppm, has=has, limit=most, why=why)
    elif nitrite_kg < allowed.low_kg * (1 - slack) and not unassayed:
        least, why = plan.per_meat(allowed.low_kg), allowed.low_why
        yield _alarm("under_floor", ppm, has=has, limit=least, why=why, too_little=TOO_LITTLE)


def _off_target(plan: Plan, found: Dose) -> Iterator[DoseAlarm]:
    if not plan.target_kg or abs(found.nitrite_kg / plan.target_kg - 1) <= _tolerance(plan):
        return
    yield _alarm(
        "off_target",
        found.ppm_of_meat,
        asked=plan.target_ppm,
        form=plan.target_as,
        basis=plan.target_basis,
        wanted_g=plan.target_kg * 1000,
        brought_g=found.nitrite_kg * 1000,
        share_pct=100 * found.nitrite_kg / plan.target_kg,
        wanted=plan.per_meat(plan.target_kg),
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
    bases = tuple(dict.fromkeys(row.basis for row in plan.limits if row.caps_nitrite))
    if aimed:
        bases = (plan.target_basis,)
    elif not bases:
        bases = (allowed.high_limit.basis,)
    tolerance, ppm, two = _tolerance(plan), found.ppm_of_meat, "two_sources" in alarm_keys
    fits: list[tuple[tuple, Explanation]] = []

    def fit(n: int, detail: str, intended_ppm: float, misfit_pct: float) -> None:
        error = DOSING_ERRORS[n]
        rank = (not (two and error.key == "added_twice"), round(misfit_pct / 2), n, misfit_pct)
        fits.append((rank, Explanation(error, detail, ppm, intended_ppm)))

    for n, one in enumerate(DOSING_ERRORS):
        for factor, detail in one.factors(plan, bases):
            kg = found.nitrite_kg / factor
            if low * (1 - tolerance) <= kg <= high * (1 + tolerance):
                # the nearest of ceiling and floor: people aim at round limits
                misfit = min(100 * (max(kg / aim, aim / kg) - 1) for aim in (high, low))
                fit(n, detail, plan.per_meat(kg), misfit)
    if not allowed.low_kg <= found.nitrite_kg <= allowed.high_kg:
        for least, most, words in allowed_elsewhere(plan):
            if least <= found.nitrite_kg <= most * (1 + rounding_fraction()):
                near = 100 * abs(log(found.nitrite_kg / most))
                fit(len(DOSING_ERRORS) - 1, f"it would be allowed by {words}", ppm, near)
    return tuple(one for _, one in sorted(fits, key=lambda placed: placed[0]))

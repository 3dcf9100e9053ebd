"""What do the cure, salt, accelerator and phosphate lines of a sheet come to, and may they be weighed?

Rework is raw batter of its own dose: it is left out of the meat, of the batch and of the nitrite alike, so that ppm are those of what is
freshly weighed; its salt and water do count in the brine.
"""

from dataclasses import dataclass
from datetime import date
from math import hypot

from kit import tables
from kit.chain.cook_yield import cook_yield
from kit.cure import (
    Addition,
    Brine,
    CureLine,
    Dose,
    Findings,
    Item,
    Limit,
    Plan,
    Premix,
    Scale,
    Verdict,
    brine,
    cautions,
    find_traps,
    judge,
    limits_for,
    smallest_batch_meat_kg,
    weigh_list,
)
from kit.cure.weigh_list import Weight
from kit.errors import OutOfRange
from kit.meat_block import Composition, compose
from kit.rules.limits import QUANTITIES, USUAL_JURISDICTION, law_in_words, rounding_fraction
from kit.sheet import Line, Sheet
from kit.tables import number
from kit.working import Step

WEIGHED_DRY = ("salt", "cure", "accelerator", "phosphate", "spice", "sugar", "binder")
CAUTIONS = (cautions.NITRITE, cautions.WEIGH, cautions.LAW)


@dataclass(frozen=True)
class CureAnswer:
    """The cure of one sheet. `dose` is that of the sheet as written, `rounded` that of the weights as the scale shows them.

    `weights` is empty where `withheld` says why. `interval_ppm_of_meat`: what the weights as the scale shows them may really give; `least_meat_kg`: the
    smallest meat block it can dose within the tolerance. Both None, and no weights, where the sheet names no scale or no cure.
    `raw` and `finished` are None where a note says why.
    """

    jurisdiction: str
    on: date
    """the day whose law is applied"""
    limits: tuple[Limit, ...]
    dose: Dose
    findings: Findings
    additions: tuple[Addition, ...]
    verdicts: tuple[Verdict, ...]
    scale: Scale | None
    interval_ppm_of_meat: tuple[float, float] | None
    least_meat_kg: float | None
    raw: Brine | None
    finished: Brine | None
    weights: tuple[Weight, ...]
    withheld: str
    rounded: Dose | None
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def law(self) -> str:
        """Whose limits, of which day and edition."""
        return law_in_words(self.jurisdiction, self.on, self.limits)

    @property
    def broken(self) -> tuple[Verdict, ...]:
        """The limits that do not hold."""
        return tuple(verdict for verdict in self.verdicts if verdict.holds is False)

    @property
    def ceiling_ppm_of_meat(self) -> float:
        """The tightest ceiling for this batch, as ppm NaNO2 of the meat."""
        return self.findings.band.high_kg * 1e6 / self.dose.meat_kg

    @property
    def scale_may_pass_ceiling(self) -> bool:
        """Does the interval of the scale reach past the ceiling, though the dose itself does not?"""
        return (
            self.interval_ppm_of_meat is not None
            and not self.findings.stop
            and self.interval_ppm_of_meat[1] > self.ceiling_ppm_of_meat * (1 + rounding_fraction())
        )

    @property
    def ceiling(self) -> Verdict | None:
        """The nitrite ceiling with the least room, in parts of its limit."""
        judged = [
            v
            for v in self.verdicts
            if v.limit.quantity.startswith("nitrite")
            and v.limit.comparison == "max"
            and v.holds is not None
        ]
        return min(judged, key=lambda v: v.margin / v.limit.limit, default=None)


def cure_of(
    sheet: Sheet,
    finished_kg: float,
    jurisdiction: str = "",
    on: date | None = None,
    *,
    batter: Composition | None = None,
    bowl_kg: float | None = None,
) -> CureAnswer:
    """The cure answers of a sheet whose whole batch is expected to weigh `finished_kg` after cooking and chilling.

    `jurisdiction`: whose limits; without it the sheet's own choice (cure_rule), else US. The sheet's target, what was read off the bag, and
    blends whose label nobody read go to the traps. `on`: the day whose limits hold (today where left out). `batter`: the composition, if it is known already. `bowl_kg`: what the
    bowl weighed. Raises OutOfRange for a sheet without meat, UnknownName for a jurisdiction that the kit does not hold.
    """
    plan = sheet.process
    jurisdiction, on = jurisdiction or plan.cure_rule or USUAL_JURISDICTION, on or tables.today()
    limits = limits_for(jurisdiction, on=on)
    batter = batter or compose(sheet.materials, sheet.kg)
    rework_kg = sheet.kg_of("rework")
    fresh = 1 - rework_kg / sheet.batch_kg
    meat_kg, batch_kg, done_kg = sheet.meat_kg, sheet.batch_kg - rework_kg, finished_kg * fresh
    lines = tuple(cure_line(line) for line in sheet.of_kind("cure"))
    scale = scale_of(sheet)
    bowl = None if bowl_kg is None else bowl_kg - rework_kg
    findings = find_traps(
        Plan(
            meat_kg,
            batch_kg,
            lines,
            done_kg,
            limits,
            target_ppm=plan.nitrite_target_ppm,
            target_basis=plan.nitrite_target_basis or "meat",
            target_as=plan.nitrite_target_as or "NaNO2",
            scale=scale,
            bowl_kg=bowl,
            on=on,
            unread_blends=tuple(line.name for line in sheet.lines if line.cure_label_read == "no"),
        )
    )
    dose, additions, notes = (
        findings.dose,
        _additions(sheet),
        [law_in_words(jurisdiction, on, limits), *findings.notes],
    )
    verdicts = judge(dose, limits, additions)
    weights, withheld, rounded, more = _weighed(
        sheet, lines, scale, findings, limits, meat_kg, batch_kg, done_kg
    )
    raw, finished, why = _brines(batter, dose.salt_kg, finished_kg)
    interval, least = _scale_does(dose, rounded, scale)
    notes += [*more, *why, *(finished.notes if finished else ())]
    if scale is not None and sheet.process.scale_sd_g is None:
        notes.append(
            "the sheet names no repeatability of its scale (scale_sd_g), so only its step counts"
        )
    if finished is not None and finished_kg < sheet.batch_kg:
        notes.append(
            "the cook loss is taken as water alone: where fat, gel or salt leaves too, the finished brine is a little weaker than shown"
        )
    if rework_kg:
        notes.append(
            "rework brings its own cure with its own meat: ppm are those of what is freshly weighed"
        )
    sources = (
        *findings.sources,
        *(finished.sources if finished else ()),
        number("scale_coverage_factor").cite(),
    )
    work = (
        *findings.working,
        *(scale.working() if scale else ()),
        *(raw.working[:1] if raw else ()),
        *(finished.working if finished else ()),
    )
    return CureAnswer(
        jurisdiction,
        on,
        limits,
        dose,
        findings,
        additions,
        verdicts,
        scale,
        interval,
        least,
        raw,
        finished,
        weights,
        withheld,
        rounded,
        CAUTIONS,
        tuple(dict.fromkeys(notes)),
        tuple(dict.fromkeys(sources)),
        work,
    )


def cure_line(line: Line) -> CureLine:
    """A line of kind cure by its own label: the reader of sheets lets none pass without its strength."""
    where = f"label of {line.name!r}, as the sheet gives it"
    return CureLine(
        Premix(
            line.name,
            line.nitrite_pct or 0.0,
            line.nitrate_pct or 0.0,
            line.material.salt_pct,
            where=where,
        ),
        line.kg,
        label_nitrite_pct=line.bag_nitrite_pct,
    )


def scale_of(sheet: Sheet) -> Scale | None:
    """The ingredient scale, or None where the sheet names no step."""
    step_g = sheet.process.scale_step_g
    return (
        None
        if step_g is None
        else Scale(step_g, sheet.process.scale_sd_g or 0.0, name="ingredient scale")
    )


def bowl_weighed_kg(sheet: Sheet) -> float | None:
    """What went into the bowl by the scales: meat and additions at chop; None unless both were weighed."""
    chop = sheet.weighing("chop")
    if chop is None or chop.in_kg is None or chop.additions_kg is None:
        return None
    return chop.in_kg + chop.additions_kg + (chop.rework_in_kg or 0.0)


def _quantity(line: Line) -> str | None:
    """What a rule calls this line: the compound of an accelerator, one of the phosphates, or nothing."""
    return (
        line.compound
        if line.compound in QUANTITIES
        else "phosphate"
        if line.kind == "phosphate"
        else None
    )


def _additions(sheet: Sheet) -> tuple[Addition, ...]:
    return tuple(
        Addition(_quantity(line), line.kg) for line in sheet.of_kind("accelerator", "phosphate")
    )


def _scale_does(
    dose: Dose, rounded: Dose | None, scale: Scale | None
) -> tuple[tuple[float, float] | None, float | None]:
    """(low, high) ppm of the meat about what the scale shows: independent weighings, errors in squares; and the least meat block for the tolerance."""
    lines = [line for line in dose.lines if line.nitrite_kg > 0]
    if scale is None or rounded is None or not lines:
        return None, None
    per_g = 10 / dose.meat_kg
    spread = hypot(*(scale.half_width_g * line.premix.strength_pct * per_g for line in lines))
    least = max(
        float(
            smallest_batch_meat_kg(
                scale, line.premix.strength_pct, line.nitrite_kg * 1e6 / dose.meat_kg
            )
        )
        for line in lines
    )
    return (max(rounded.ppm_of_meat - spread, 0.0), rounded.ppm_of_meat + spread), least


def _weighed(sheet, cures, scale, findings, limits, meat_kg, batch_kg, done_kg):
    """(weights, why withheld, dose of the rounded weights, notes)."""
    stops = "; ".join(alarm.what for alarm in findings.alarms if alarm.severity == "stop")
    if scale is None:
        return (
            (),
            stops
            or "the sheet names no scale: write the smallest step it shows (process, scale_step_g)",
            None,
            (),
        )
    mixes = {cure.premix.name: cure.premix for cure in cures}
    items = tuple(
        Item(line.name, line.kg * 1000, "g", mixes.get(line.name), _quantity(line))
        for line in sheet.of_kind(*WEIGHED_DRY)
    )
    plan = sheet.process
    found = weigh_list(
        items,
        meat_kg,
        batch_kg,
        limits,
        scale,
        done_kg,
        target_ppm=plan.nitrite_target_ppm,
        target_basis=plan.nitrite_target_basis or "meat",
        target_as=plan.nitrite_target_as or "NaNO2",
    )
    withheld = stops or found.withheld
    return (() if withheld else found.rows), withheld, found.dose, found.notes


def _brines(
    batter: Composition, cure_salt_kg: float, finished_kg: float
) -> tuple[Brine | None, Brine | None, list[str]]:
    """Before the cook, after it, and why one of them is missing. Cook loss is taken as water alone."""
    salt_kg = max(batter.salt_kg - cure_salt_kg, 0.0)
    lost_kg = max(batter.total_kg - finished_kg, 0.0)
    found, why = [], []
    for when, lost in (("before the cook", 0.0), ("after the cook", lost_kg)):
        try:
            found.append(brine(salt_kg, batter.water_kg, batter.total_kg, cure_salt_kg, lost))
        except OutOfRange as error:
            found.append(None)
            why.append(f"no brine {when}: {error}")
    return found[0], found[1], why


@dataclass(frozen=True)
class Checked:
    """One line of a sheet, looked at. `state`: "no alarm", "look" (only a person can), "check" or "stop"."""

    name: str
    written: str
    kg: float | None
    brings: str
    state: str
    says: str = ""


def check_sheet(
    sheet: Sheet, finished_kg: float | None = None, jurisdiction: str = "", on: date | None = None
) -> tuple[Checked, ...]:
    """The sheet line by line, then what concerns the whole of it. Without `finished_kg` the sheet's own cook yield serves, or the usual one."""
    if finished_kg is None:
        finished_kg = sheet.batch_kg * cook_yield(sheet).pct / 100
    return checked_lines(
        sheet, cure_of(sheet, finished_kg, jurisdiction, on, bowl_kg=bowl_weighed_kg(sheet))
    )


def checked_lines(sheet: Sheet, answer: CureAnswer) -> tuple[Checked, ...]:
    """`check_sheet` for an answer at hand."""
    lines = tuple(
        Checked(line.name, line.amount.written, line.kg, *_looked_at(line, answer))
        for line in sheet.lines
    )
    whole = tuple(
        Checked("the whole sheet", "", None, alarm.what, alarm.severity, alarm.do)
        for alarm in answer.findings.alarms
    )
    likely = tuple(
        Checked(
            "a slip that fits",
            "",
            None,
            f"{one.name}: as written {one.ppm_of_meat:.4g}, likely meant {one.intended_ppm_of_meat:.4g} ppm of the meat",
            "look",
            f"{one.detail}; {one.do}; to tell: {one.tell}",
        )
        for one in answer.findings.explanations
    )
    return (*lines, *whole, *likely)


def _looked_at(line: Line, answer: CureAnswer) -> tuple[str, str, str]:
    """(what the line brings, state, why)."""
    if line.kind == "cure":
        return _cure_looked_at(cure_line(line), answer)
    if line.kind in ("accelerator", "phosphate"):
        return _additive_looked_at(line, answer)
    share = f"{100 * line.kg / answer.dose.batch_kg:.3g} % of the batch"
    match line.kind:
        case "meat":
            return "part of the meat: the base of every ppm of the meat", "no alarm", ""
        case "salt":
            return share, "no alarm", ""
        case "spice":
            return (
                share,
                "look",
                "read the bag: a blend that already carries cure must be written as a cure line",
            )
        case "rework":
            return (
                "its own cure with its own meat",
                "look",
                "only rework of the same recipe brings the same dose",
            )
    return f"{share}: counts in the batch, not in the meat", "no alarm", ""


def _cure_looked_at(cure: CureLine, answer: CureAnswer) -> tuple[str, str, str]:
    meat = answer.dose.meat_kg
    brings = f"{cure.nitrite_kg * 1e6 / meat:.5g} ppm NaNO2 of the meat"
    if cure.premix.nitrate_pct:
        brings += f", {cure.kg * cure.premix.nitrate_pct * 1e4 / meat:.4g} ppm nitrate"
    alarms = [alarm for alarm in answer.findings.alarms if alarm.key != "bowl_differs"]
    if alarms:
        return (
            brings,
            "stop" if any(alarm.severity == "stop" for alarm in alarms) else "check",
            "see the whole sheet below",
        )
    note = next(
        (
            weight.note
            for weight in answer.weights
            if weight.name == cure.premix.name and weight.note
        ),
        "",
    )
    return (
        brings,
        "check" if note else "no alarm",
        note or "read the strength on the bag in your hand",
    )


def _additive_looked_at(line: Line, answer: CureAnswer) -> tuple[str, str, str]:
    name = _quantity(line)
    brings = f"{line.kg * 1e6 / answer.dose.meat_kg:.4g} ppm of the meat, {100 * line.kg / answer.dose.batch_kg:.3g} % of the batch"
    quantities = (name, "phosphate") if line.kind == "phosphate" else (name,)
    judged = [v for v in answer.verdicts if v.limit.quantity in quantities and v.holds is not None]
    if not judged:
        return brings, "look", f"no limit of {answer.jurisdiction} for it is held here"
    v = min(judged, key=lambda verdict: verdict.margin / verdict.limit.limit)
    return (
        brings,
        "no alarm" if v.holds else "check",
        f"{v.value:.4g} {v.limit.unit} against {v.limit.in_words}"
        + (f" ({v.note})" if v.note else ""),
    )

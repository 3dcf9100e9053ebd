"""What do the cure, salt, accelerator and phosphate lines of a sheet add up to, and may they be weighed?

Rework is raw batter of its own dose: it is left out of the meat, of the batch and of the nitrite alike, so that ppm are those of what is
freshly weighed; its salt and water do count in the brine.
"""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date
from math import hypot

from kit import tables
from kit.cure import (
    CureLine,
    Item,
    Plan,
    Premix,
    Scale,
    brine,
    cautions,
    find_dosing_errors,
    weigh_list,
)
from kit.cure.brine import Brine
from kit.cure.dose import Dose
from kit.cure.findings import DosingFindings
from kit.cure.limits import judge
from kit.cure.scale import smallest_batch_meat_kg
from kit.cure.weigh_list import WeighList, Weight
from kit.errors import attempt
from kit.meat_block import Composition
from kit.rules.limits import (
    QUANTITIES,
    USUAL_JURISDICTION,
    Limit,
    law_in_words,
    limits_for,
    rounding_fraction,
)
from kit.rules.verdicts import Verdict, tightest
from kit.sheet import Line, Sheet
from kit.tables import number
from kit.working import Result, notes_of

WEIGHED_DRY = ("salt", "cure", "accelerator", "phosphate", "spice", "sugar", "binder")
CAUTIONS = (cautions.NITRITE, cautions.WEIGH, cautions.LAW)


@dataclass(frozen=True)
class CureAnswer(Result):
    """The cure of one sheet: `findings` of the sheet as written, `listed` of its weights as the scale shows them (None where the sheet names no scale).

    `withheld` says why there are no `weights`. `raw` and `finished` are None where a note says why.
    """

    jurisdiction: str
    on: date
    """the day whose law is applied"""
    limits: tuple[Limit, ...]
    findings: DosingFindings
    verdicts: tuple[Verdict, ...]
    scale: Scale | None
    interval_ppm_of_meat: tuple[float, float] | None
    """what the weights as the scale shows them may really give; None without a scale or a cure"""
    least_meat_kg: float | None
    """the smallest meat block that the scale can dose within the tolerance; None without a scale or a cure"""
    raw: Brine | None
    finished: Brine | None
    listed: WeighList | None
    withheld: str

    @property
    def dose(self) -> Dose:
        """The dose of the sheet as written."""
        return self.findings.dose

    @property
    def weights(self) -> tuple[Weight, ...]:
        return self.listed.rows if self.listed else ()

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
        return self.findings.room_ppm_of_meat[1]

    @property
    def scale_may_pass_ceiling(self) -> bool:
        """Does the interval of the scale reach past the ceiling, though the dose itself does not?"""
        interval = self.interval_ppm_of_meat
        most = self.ceiling_ppm_of_meat * (1 + rounding_fraction())
        return interval is not None and not self.findings.stop and interval[1] > most

    @property
    def ceiling(self) -> Verdict | None:
        """The nitrite ceiling with the least room, in parts of its limit."""
        of_nitrite = (v for v in self.verdicts if v.limit.quantity.startswith("nitrite"))
        return tightest(v for v in of_nitrite if v.limit.comparison == "max")


def cure_of(
    sheet: Sheet,
    finished_kg: float,
    jurisdiction: str = "",
    on: date | None = None,
    *,
    bowl_kg: float | None = None,
) -> CureAnswer:
    """The cure answers of a sheet.

    sheet: the batch; its target, what was read off the bag, and blends whose label nobody read are looked at too.
    finished_kg: what the whole batch is expected to weigh after cooking and chilling, kg.
    jurisdiction: whose limits; without it the sheet's own choice (cure_rule), else US.
    on: the day whose limits hold (today where left out).
    bowl_kg: what the bowl weighed, kg; not compared where left out.
    Raises OutOfRange for a sheet without meat, UnknownName for a jurisdiction that the kit does not hold.
    """
    process, rework_kg = sheet.process, sheet.kg_of("rework")
    jurisdiction, on = jurisdiction or process.cure_rule or USUAL_JURISDICTION, on or tables.today()
    limits, scale = limits_for(jurisdiction, on=on), scale_of(sheet)
    plan = Plan(
        sheet.meat_kg,
        sheet.batch_kg - rework_kg,
        finished_kg * (1 - rework_kg / sheet.batch_kg),
        cure=tuple(cure_line(line) for line in sheet.of_kind("cure")),
        limits=limits,
        target_ppm=process.nitrite_target_ppm,
        target_basis=process.nitrite_target_basis or "meat",
        target_as=process.nitrite_target_as or "NaNO2",
        scale=scale,
        bowl_kg=None if bowl_kg is None else bowl_kg - rework_kg,
        on=on,
        unread_blends=tuple(line.name for line in sheet.lines if line.cure_label_read == "no"),
    )
    findings = find_dosing_errors(plan)
    additives: defaultdict[str, float] = defaultdict(float)
    for line in sheet.of_kind("accelerator", "phosphate"):
        if quantity := _quantity(line):
            additives[quantity] += line.kg
    listed, withheld = _weighed(sheet, plan, findings)
    raw, finished, why = _brines(sheet.composition, findings.dose.salt_kg, finished_kg)
    holds = {
        "only step": scale is not None and process.scale_sd_g is None,
        "water alone": finished is not None and finished_kg < sheet.batch_kg,
        "own cure": rework_kg,
    }
    law = law_in_words(jurisdiction, on, limits)
    return CureAnswer(
        jurisdiction,
        on,
        limits,
        findings,
        judge(findings.dose, limits, additives),
        scale,
        *_by_scale(scale, listed, findings.dose),
        raw,
        finished,
        listed,
        withheld,
        own_notes=(*why, law, *notes_of("cure of a sheet", holds)),
        own_sources=(number("scale_coverage_factor").cite(),),
        own_working=scale.working() if scale else (),
    )


def cure_line(line: Line) -> CureLine:
    """A line of kind cure by its own label: the reader of sheets lets none pass without its strength."""
    where = f"label of {line.name!r}, as the sheet gives it"
    shares = (line.nitrite_pct or 0.0, line.nitrate_pct or 0.0, line.material.salt_pct)
    mix = Premix(line.name, *shares, where=where)
    return CureLine(mix, line.kg, label_nitrite_pct=line.bag_nitrite_pct)


def scale_of(sheet: Sheet) -> Scale | None:
    """The ingredient scale, or None where the sheet names no step."""
    step_g, sd_g = sheet.process.scale_step_g, sheet.process.scale_sd_g or 0.0
    return None if step_g is None else Scale(step_g, sd_g, name="ingredient scale")


def bowl_weighed_kg(sheet: Sheet) -> float | None:
    """What went into the bowl by the scales: meat and additions at chop; None unless both were weighed."""
    chop = sheet.weighing("chop")
    if chop is None or chop.in_kg is None or chop.additions_kg is None:
        return None
    return chop.in_kg + chop.additions_kg + (chop.rework_in_kg or 0.0)


def _quantity(line: Line) -> str | None:
    """What a rule calls this line: the compound of an accelerator, one of the phosphates, or nothing."""
    if line.compound in QUANTITIES:
        return line.compound
    return "phosphate" if line.kind == "phosphate" else None


def _weighed(sheet: Sheet, plan: Plan, findings: DosingFindings) -> tuple[WeighList | None, str]:
    """The list of the dry goods, and why it is withheld; None where the sheet names no scale."""
    stops = "; ".join(alarm.what for alarm in findings.stops)
    if plan.scale is None:
        ask = "the sheet names no scale: write the smallest step it shows (process, scale_step_g)"
        return None, stops or ask
    mixes = {cure.premix.name: cure.premix for cure in plan.cure}
    items = [
        Item(line.name, line.kg * 1000, mixes.get(line.name), _quantity(line))
        for line in sheet.of_kind(*WEIGHED_DRY)
    ]
    listed = weigh_list(items, replace(plan, bowl_kg=None, unread_blends=()))
    if stops:
        listed = replace(listed, rows=(), withheld=stops, own_working=())
    return listed, listed.withheld


def _by_scale(
    scale: Scale | None, listed: WeighList | None, dose: Dose
) -> tuple[tuple[float, float] | None, float | None]:
    """The interval behind what the scale shows (independent weighings, errors in squares), and the smallest meat block that it can dose."""
    lines = [line for line in dose.lines if line.nitrite_kg > 0]
    if scale is None or listed is None or not lines:
        return None, None
    spread = hypot(
        *(scale.half_width_g * line.premix.strength_pct * 10 / dose.meat_kg for line in lines)
    )
    ppm = listed.dose.ppm_of_meat
    least = (
        smallest_batch_meat_kg(scale, line.premix.strength_pct, dose.per_meat(line.nitrite_kg))
        for line in lines
    )
    return (max(ppm - spread, 0.0), ppm + spread), max(map(float, least))


def _brines(
    batter: Composition, cure_salt_kg: float, finished_kg: float
) -> tuple[Brine | None, Brine | None, list[str]]:
    """Before the cook (its notes and later steps are the finished one's), after it, and why one of them is missing. Cook loss is taken as water alone."""
    salt_kg = max(batter.salt_kg - cure_salt_kg, 0.0)
    lost_kg = max(batter.total_kg - finished_kg, 0.0)
    held = (salt_kg, batter.water_kg, batter.total_kg, cure_salt_kg)
    raw, no_raw = attempt(lambda: brine(*held, 0.0))
    finished, no_finished = attempt(lambda: brine(*held, lost_kg))
    missing = {"before the cook": no_raw, "after the cook": no_finished}
    why = [f"no brine {when}: {error}" for when, error in missing.items() if error]
    if raw is not None:
        first = raw.own_working[:1]
        raw = replace(raw, own_notes=(), own_sources=(), own_working=first)
    return raw, finished, why

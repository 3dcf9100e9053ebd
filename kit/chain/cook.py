"""From a sheet to its cook: the link, the schedule, what the core goes through, what leaves, and which published rows the plan would meet.

Everything here is calculated from a plan. A plan shows nothing about a product: only a measured record does, and even that validates nothing.
"""

from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from itertools import takewhile
from typing import Any

from kit.chain.casing import makeup_of
from kit.chain.chop import bowl_of as chop_bowl_of
from kit.chain.cook_unsure import (
    AirRange,
    air_range,
    probe_range,
    probe_words,
)
from kit.chain.cook_yield import CookLoss, loss_of
from kit.cook import Link, Stage, cook
from kit.cook.cooked import CAUTION as PLAN_ONLY
from kit.cook.cooked import Cooked
from kit.cook.link import COLDEST_START_C
from kit.cook.moist_air import vapour_pressure_Pa
from kit.cook.one_probe import OneProbe
from kit.cook.stages import air, brine, charcoal, fridge, hot_water, ice_bath, shower, steam
from kit.errors import need_between
from kit.faults import need_said
from kit.lethality import cautions, trace
from kit.lethality.findings import RowFinding, cooling_findings, hold_finding
from kit.lethality.model import PValue, p70
from kit.lethality.published import CHICKEN, MEAT, OTHER_POULTRY, TURKEY, HoldTable, tables_for
from kit.lethality.rows_met import RowsMet, rows_met
from kit.properties.mixture import conductivity_W_per_mK, cp_J_per_kgK, density_kg_per_m3
from kit.sheet import CookStep, Sheet
from kit.sheet.entries import RESTING
from kit.tables import number, value
from kit.working import Result, notes_of

THAWED_kJ_per_kg = 0.05
CHILLERS = {"shower": shower, "brine": brine, "ice water": ice_bath, "cold air": fridge}
HOT = (
    "Steam, hot water and hot surfaces cause burns; smoke contains carbon monoxide. Open doors slowly from the side, never enter a running smokehouse, and make "
    "smoke only with working extraction. The manual and your local safety code take precedence over this page."
)
CAUTIONS = (PLAN_ONLY, cautions.SURFACE, cautions.COOLING, HOT)


@dataclass(frozen=True)
class CookAnswer(Result):
    """What one link of a sheet would go through."""

    product: str
    cooked: Cooked
    lethality: RowFinding | None
    """the strictest published table for this product; None where no table that was read covers it"""
    p70: PValue
    cooling: tuple[RowFinding, ...]
    """every published window"""
    loss: CookLoss
    """what evaporates, drips and leaves as fat, by the models alone"""
    measured: RowsMet | None = None
    """the published rows that the sheet's measured core and holding time meet; None where none is written"""
    planned: Sheet | None = field(default=None, repr=False)
    """the sheet whose own schedule this is"""

    @cached_property
    def unsure(self) -> AirRange | None:
        """What a smokehouse whose air is known only roughly leaves open, calculated when asked; None where no step gives a range."""
        sheet, released_pct = self.planned, self.loss.released_pct or 0.0
        return air_range(sheet, self.cooked, schedule_of, released_pct) if sheet else None

    @cached_property
    def probe(self) -> OneProbe | None:
        """What one probe in one link leaves open, calculated when asked; None where the sheet does not count its probes. Its notes and sources are its own."""
        sheet = self.planned
        return probe_range(sheet, self.cooked, schedule_of(sheet)) if sheet else None

    @property
    def more_words(self) -> str:
        """What a rest dries, what smokehouse and probe leave open, then the rows that a measured core meets, in lines of their own; '' where the sheet says nothing of them."""
        rested = (
            f"uncovered in the refrigerator, {self.rested_pct:.1f} % evaporates; weigh stage 'rest'"
        )
        said = (
            self.rested_pct and rested,
            self.unsure and self.unsure.words,
            self.probe and probe_words(self.probe),
            self.measured and self.measured.words,
        )
        return "".join(f"\n{words}" for words in said if words)

    @property
    def rested_pct(self) -> float:
        """Evaporated uncovered in the refrigerator before the cook, percent of the raw weight: what weighing stage 'rest' would show."""
        return sum(
            one.lost_pct for one in takewhile(lambda s: s.name == RESTING, self.cooked.stages)
        )


def link_of(sheet: Sheet, start_C: float | None = None) -> Link:
    """The sheet's link with the thermal properties of its batter, halfway between the start and the core target, with the air of a vacuum filling.

    `start_C`: how warm it goes into the smokehouse; without it the final chopping temperature as measured or planned, else a usual one. A start that is frozen in part goes in
    at the coldest the cook takes, with the heat of thawing spread over the warming as heat capacity.
    """
    plan = sheet.process
    start = _start_C(sheet, start_C)
    batter = makeup_of(sheet.composition)
    middle, porous = (start + _target_C(sheet)) / 2, value("casing_air_vacuum_pct")
    from_C, thawing = max(start, COLDEST_START_C), thawing_kJ_per_kg(sheet, start)
    capacity = float(cp_J_per_kgK(batter, middle)) + 1000 * thawing / (_target_C(sheet) - from_C)
    return Link(
        plan.stuffed_mm or value("cook_diameter"),
        float(conductivity_W_per_mK(batter, middle, porous)),
        float(density_kg_per_m3(batter, middle, porous)),
        capacity,
        from_C,
        batter=batter,
    )


def thawing_kJ_per_kg(sheet: Sheet, start_C: float) -> float:
    """Heat that a batter of this sheet takes up at `start_C` before it is thawed at the coldest start of the cook: ice melts, the rest warms; 0 where it is thawed."""
    bowl, from_C = chop_bowl_of(sheet), max(start_C, COLDEST_START_C)
    heat = float(bowl.thawed_kJ(from_C) - bowl.enthalpy_kJ(start_C))
    return max(heat, 0.0) / float(bowl.kg)


def _start_C(sheet: Sheet, start_C: float | None) -> float:
    known = (start_C, sheet.process.written_end_C, value("cook_start_C"))
    return next(t for t in known if t is not None)


def schedule_of(sheet: Sheet) -> tuple[Stage, ...]:
    """The sheet's cook steps as stages, then its chill; what a grill finishes is not calculated. OutOfRange for a sheet without steps, or air of which nobody says how moist it is."""
    need_said(bool(sheet.process.house), "no cook step", sheet=sheet)
    proof = sheet.process.casing == "plastic"
    stages = [_stage(step_, n, proof) for n, step_ in enumerate(sheet.process.house, 1)]
    medium, minutes = sheet.process.chill_medium, sheet.process.chill_min
    if medium and minutes:
        stages.append(CHILLERS[medium](minutes, name=f"{medium} chill"))
    return tuple(stages)


def _stage(planned: CookStep, n: int, proof: bool) -> Stage:
    kind, minutes, dry = planned.kind, planned.duration_min, planned.dry_bulb_C
    wet, humidity, speed = planned.wet_bulb_C, planned.rh_pct, planned.air_m_per_s
    wetness = 0.0 if proof else None
    if kind == "shower":
        return shower(minutes, dry)
    if kind == "hot water":
        return hot_water(minutes, dry, speed_m_per_s=speed)
    if kind == RESTING:
        need_said(wet is None and speed is None, "still air", n=n, kind=kind)
        return fridge(minutes, dry, humidity_pct=humidity, wetness=wetness, name=kind)
    if wet is None and humidity is None:
        if kind == "steam" and not proof:
            return steam(minutes, dry, speed_m_per_s=speed)
        need_said(kind == "steam", "moisture not written", n=n, kind=kind)
        humidity = 100.0
    moist: dict[str, Any] = {"wet_bulb_C": wet, "humidity_pct": humidity, "speed_m_per_s": speed}
    moist |= {"wetness": wetness, "name": kind}
    if kind == "charcoal cooker":
        return charcoal(minutes, dry, **moist)
    return air(minutes, dry, **moist, radiation=speed is None or kind == "gas cooker")


def cook_of(
    sheet: Sheet,
    released_pct: float | None = None,
    fat_pct: float = 0.0,
    *,
    start_C: float | None = None,
    on: date | None = None,
) -> CookAnswer:
    """Take the sheet's link through its schedule and chill. `on`: the day whose published editions are compared (today where left out).

    `released_pct` and `fat_pct`: water with solids, and fat, that the batter releases, in percent of the raw weight. Raises what the modules raise.
    """
    link, target = link_of(sheet, start_C), (_target_C(sheet),)
    done = cook(link, schedule_of(sheet), target, released_pct=released_pct or 0.0)
    loss = loss_of(done, _chilled(sheet), released_pct, fat_pct, sheet.process.casing == "plastic")
    answer = answer_of(sheet, done, loss, on)
    notes = (*_said(sheet, start_C), *answer.own_notes)
    return replace(answer, planned=sheet, measured=core_rows_of(sheet, on), own_notes=notes)


def core_rows_of(sheet: Sheet, on: date | None = None) -> RowsMet | None:
    """The published rows that the sheet's measured core meets; None where it holds none. Without a holding time none is counted."""
    plan = sheet.process
    if plan.core_measured_C is None:
        return None
    return rows_met(
        plan.core_measured_C,
        plan.core_held_min or 0.0,
        product_of(sheet),
        float(sheet.composition.fat_pct),
        plan.probe_error_K or 0.0,
        on,
    )


def answer_of(sheet: Sheet, done: Cooked, loss: CookLoss, on: date | None = None) -> CookAnswer:
    """What a computed course shows beside the published rows for this sheet of the editions in force `on` that day. OutOfRange where more would leave than there is."""
    need_between("released fat in percent of the raw weight", loss.fat_pct, 0, 100)
    what = "cooked and chilled yield in percent of the raw weight"
    remedy = "more leaves than is there; check what the batter releases"
    need_between(what, loss.cooked_chilled_yield_pct, 1, 100, remedy)
    core = trace("computed core", done.minutes * 60, done.core_C)
    product, cured = product_of(sheet), bool(sheet.kg_of("cure"))
    table, why = strictest(product, float(sheet.composition.fat_pct), on)
    counted = loss.released_pct is not None
    released = notes_of("computed course", {"counted": counted, "not counted": not counted})
    return CookAnswer(
        product,
        done,
        hold_finding((core,), table, product) if table else None,
        p70(core),
        cooling_findings((core,), cured, nitrite_ppm_of(sheet), on),
        loss,
        own_notes=(*why, *released),
    )


def strictest(
    product: str, fat_pct: float | None, on: date | None = None
) -> tuple[HoldTable | None, tuple[str, ...]]:
    """The table of this product that asks for the most, and why others are left out."""
    tables, why = tables_for(product, fat_pct, on)
    return max(tables, key=lambda table: table.log_reduction or 0.0, default=None), why


def product_of(sheet: Sheet) -> str:
    """Which tables apply: meat only where nothing of poultry is in the mix, skin, fat and organs included; one bird alone; any mixture is other poultry."""
    mix = sheet.composition
    species = {line.material.species for line in sheet.lines if line.material.species and line.kg}
    if not mix.counted_kg["poultry"] and not species & {CHICKEN, TURKEY}:
        return MEAT
    return CHICKEN if species == {CHICKEN} else TURKEY if species == {TURKEY} else OTHER_POULTRY


def nitrite_ppm_of(sheet: Sheet) -> float:
    """Ingoing nitrite by the labels of the cure lines, in ppm of the meat."""
    nitrite_kg = sum(line.kg * (line.nitrite_pct or 0.0) for line in sheet.of_kind("cure")) / 100
    return 1e6 * nitrite_kg / sheet.meat_kg


def _target_C(sheet: Sheet) -> float:
    planned = sheet.process.core_target_C
    return value("p_scalded_core_C") if planned is None else planned


def _said(sheet: Sheet, start_C: float | None) -> tuple[str, ...]:
    plan, start = sheet.process, _start_C(sheet, start_C)
    heat, kinds = thawing_kJ_per_kg(sheet, start), {one.kind for one in plan.house}
    holds = {
        "diameter": plan.stuffed_mm is None,
        "target": plan.core_target_C is None,
        "start": start_C is None and plan.written_end_C is None,
        "frozen": heat > THAWED_kJ_per_kg,
        "no chill": not _chilled(sheet),
        "rested": RESTING in kinds,
        "covered": not kinds.isdisjoint(("charcoal cooker", "gas cooker")),
        "grilled": plan.finish,
        "plastic": plan.casing == "plastic",
        "several probes": (plan.core_probes or 0.0) > 1,
    }
    assumed = {
        "diameter": number("cook_diameter"),
        "target": number("p_scalded_core_C"),
        "start": number("cook_start_C"),
    }
    cold = f"{start:.1f} °C".replace("-", "−")
    return notes_of("cook of a sheet", holds, cold=cold, heat=heat, **assumed)


def _chilled(sheet: Sheet) -> bool:
    return bool(sheet.process.chill_medium and sheet.process.chill_min)


def with_wet_bulb(stage: Stage, off_K: float) -> Stage:
    """The same stage in a smokehouse whose wet bulb stands `off_K` higher or lower, never above the dry bulb; a bath stays as it is."""
    if stage.vapour_Pa is None or not off_K:
        return stage
    wet = min(max((stage.wet_bulb_C or 0.0) + off_K, 1.0), float(stage.medium_C))
    return replace(stage, vapour_Pa=float(vapour_pressure_Pa(stage.medium_C, wet_bulb_C=wet)))

"""One bowl at one energy: the batter along the chop, and what gets the same end."""

from math import isfinite
from typing import NamedTuple

import numpy as np

from kit import units
from kit.chain.chop import ChopAnswer, chopped_bowl
from kit.chop.bowl import Bowl, with_added_water
from kit.chop.inverse import CoolingOptions, Stages, cooling_options, in_stages, same_end_ice_kg
from kit.chop.machines import Guide, Machine, guides
from kit.errors import attempt
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import (
    BREAKS,
    Batch,
    celsius,
    chop_rows,
    chop_view,
    heat,
    panel_of_bowl,
    planned_C,
    published,
    verdict,
)
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View, row
from kit.sheet import Sheet

CHILL = (
    "Time above the limit matters as well as the peak: chill the batter in thin, covered layers and follow "
    "your local rules."
)


# along the chop


class Warmed(NamedTuple):
    answer: ChopAnswer
    wet: Bowl
    """with water in place of the ice"""
    wet_end_C: float

    @property
    def taken(self) -> dict[str, float]:
        return self.answer.chopped.taken_kJ


def path_panel(sheet: Sheet | None = None) -> Panel:
    """Temperature along the chop: ice, energy, meat temperature and salt."""

    def compute(bowl: Bowl, values, batch: Batch) -> Warmed:
        wet = with_added_water(bowl, 0.0, values["added_pct_of_meat"] / 100 * batch.sheet.meat_kg)
        end_C = float(wet.end_C(values["energy_kJ_per_kg"]))
        return Warmed(_answer_as_set(values, batch, bowl), wet, end_C)

    return panel_of_bowl(
        "Batter temperature while chopping",
        sheet,
        compute,
        path_view,
        {"path": charts.path_chart},
        BREAKS,
        ("energy_kJ_per_kg", "uncertainty_pct", "minutes"),
    )


def _answer_as_set(values, batch: Batch, bowl: Bowl) -> ChopAnswer:
    """How warm the bowl ends on the heat that the sliders say."""
    energy, off = values["energy_kJ_per_kg"], values["uncertainty_pct"] / 100
    machine = Machine(
        "chopper as set",
        *(energy * (1 + side * off) for side in (-1, 0, 1)),
        "of what is in the bowl",
        "as set with the sliders",
        "set with the sliders",
        "",
    )
    guide, source = guides()[values["fat"]], "set with the sliders"
    wanted_C = planned_C(guide, batch)
    return chopped_bowl(bowl, machine, guide, wanted_C, source, batch.notes)


def path_view(result: Warmed, values, system: str, batch: Batch) -> View:
    answer, minutes = result.answer, values["minutes"]
    sentence = verdict(answer, system)
    if values["ice_share_pct"]:
        wet = celsius(result.wet_end_C, system)
        sentence += f" With water instead of the ice: {wet}."
    power_kW = answer.energy_kJ_per_kg * answer.chopped.kg / (60 * minutes)
    sentence += f" Power into the batter over {minutes:g} min: {power_kW:.1f} kW."
    return chop_view(
        sentence,
        {"path": charts.path_data(answer, result.wet, system)},
        (Table("Outcome", COLUMNS, chop_rows(answer, system)),),
        answer,
    )


# ways to the target temperature


class Placed(NamedTuple):
    options: CoolingOptions
    guide: Guide
    warm_kg: np.ndarray
    """ice that ends at the warm edge of the guide, per meat temperature"""
    cold_kg: np.ndarray
    stages: Stages | None


def cooling_panel(sheet: Sheet | None = None) -> Panel:
    """The end that is wanted by ice, by colder meat, or by less work."""

    def compute(bowl: Bowl, values, batch: Batch) -> Placed:
        guide, energy = guides()[values["fat"]], values["energy_kJ_per_kg"]
        options = cooling_options(bowl, energy, values["wanted_C"])
        edges = (guide.high_C, guide.low_C)
        ice = (same_end_ice_kg(bowl, options.meat_C, edge, energy) for edge in edges)
        # none where the bowl is warmer than the guide before the knives start
        stages, _ = attempt(lambda: in_stages(bowl, energy, guide.high_C, values["back_C"]))
        return Placed(options, guide, *ice, stages)

    def start(batch: Batch) -> dict:
        known = batch.planned_C is not None
        return {"wanted_C": round(2 * batch.planned_C) / 2} if known else {}

    return panel_of_bowl(
        "Ice, water or colder meat",
        sheet,
        compute,
        cooling_view,
        {"same": charts.same_chart},
        BREAKS,
        ("energy_kJ_per_kg", "wanted_C", "back_C"),
        start=start,
    )


def cooling_view(placed: Placed, values, system: str, batch: Batch) -> View:
    of, guide = placed.options, placed.guide
    planned, end = celsius(of.planned_C, system), celsius(of.end_C, system)
    ends, share, meat_C = dict(of.ends_C), values["ice_share_pct"], values["meat_C"]
    gap = units.show(ends["all water"] - ends["all ice"], "K", system)
    without = "without ice, no meat temperature in the range reaches it"
    if isfinite(of.meat_with_water_C):
        meat = celsius(of.meat_with_water_C, system)
        without = f"without ice, the meat would need {meat}"
    worth = "no amount of water"
    if isfinite(of.ice_worth_in_water):
        worth = f"{of.ice_worth_in_water:.1f} times its weight"
    ice_kg = share / 100 * of.added_kg
    colder = float(np.interp(ice_kg, of.ice_needed_kg, of.meat_C, left=np.nan, right=np.nan))
    coldest, warmest = (celsius(of.meat_C[edge], system) for edge in (0, -1))
    as_set = celsius(colder, system) if isfinite(colder) else f"none from {coldest} to {warmest}"
    here = float(np.interp(meat_C, of.meat_C, of.ice_needed_kg))
    needs, added = (units.show(kg, "kg", system) for kg in (here, of.added_kg))
    needs = f"{needs} of the {added}"
    if here > of.added_kg:
        needs = "not possible: even all ice ends warmer"
    elif here < 0:
        needs = "none: even all water ends colder"
    most = "maximum specific mechanical energy"
    computed = {f"final chopping temperature, {name}": celsius(t, system) for name, t in of.ends_C}
    computed |= {
        f"water that takes up as much heat as ice, up to {planned}": worth,
        "ice needed, meat as set": needs,
        "meat temperature needed, ice as set": as_set,
        f"{most}, ice as set": heat(of.energy_as_set_kJ_per_kg, system),
        f"{most}, without ice": heat(of.energy_with_water_kJ_per_kg, system),
    }
    possible = 0 <= here <= of.added_kg
    rows = [
        row(what, said, "computed", fails=said is needs and not possible)
        for what, said in computed.items()
    ]
    about_end = f"final chopping temperature; published {published(guide, system)}"
    rows.append(row(about_end, end, guide.cite, fails=of.end_C > guide.high_C))
    sentence = (
        f"Final chopping temperature {end}; target {planned}. "
        f"All water ends {gap} warmer than all ice; {without}."
    )
    notes, top = batch.notes, units.in_text(f"{guide.high_C:g} °C", system)
    idle = "the batter is above the published range before chopping"
    if placed.stages:
        many, first, later = placed.stages
        rows.append(row(f"chopping stages to stay at or below {top}", f"{many}", "computed"))
        idle = "" if many > 1 else "one stage is enough"
        if many > 1:
            back = celsius(values["back_C"], system)
            sentence += (
                f" In {many} stages, chilled to {back} between them, it stays at or below {top}."
            )
            each = f"energy of the first stage, and of each later one from {back}"
            rows.append(row(each, f"{heat(first, system)}, {heat(later, system)}", "computed"))
            notes += (CHILL,)
    return chop_view(
        sentence,
        {"same": charts.same_data(of, placed.warm_kg, placed.cold_kg, share, meat_C, system)},
        (Table("Ways to the target temperature", ("quantity", "value", "source"), rows),),
        of,
        notes,
        (guide.cite,),
        {"back_C": idle},
    )

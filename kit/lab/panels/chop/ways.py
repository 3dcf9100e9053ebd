"""Ice, water, colder meat or less work: what gets the same end?"""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from kit import units
from kit.chain.chop import BLADES, COLD
from kit.chop.inverse import WaysToEnd, same_end_ice_kg, ways_of
from kit.chop.machines import Guide, guides
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import (
    BREAKS,
    batch_of,
    bowl_as_set,
    bowl_controls,
    celsius,
    heat,
    printed,
)
from kit.lab.panels.panel import Panel, Slider, Table, View
from kit.lab.panels.view import row
from kit.sheet import Sheet

WANTED_C = 14.0


@dataclass(frozen=True, eq=False)
class WaysPlaced:
    ways: WaysToEnd
    guide: Guide
    warm_kg: np.ndarray
    """ice that ends at the warm edge of the guide, per meat temperature"""
    cold_kg: np.ndarray


def ways_panel(sheet: Sheet | None = None) -> Panel:
    """The end that is wanted by ice, by colder meat, or by less work."""
    batch = batch_of(sheet)

    def compute(values) -> WaysPlaced:
        bowl, guide = bowl_as_set(values, batch), guides()[values["fat"]]
        energy = values["energy_kJ_per_kg"]
        ways = ways_of(bowl, energy, values["wanted_C"])
        warm = same_end_ice_kg(bowl, ways.meat_C, guide.high_C, energy)
        cold = same_end_ice_kg(bowl, ways.meat_C, guide.low_C, energy)
        return WaysPlaced(ways, guide, warm, cold)

    at = WANTED_C if batch.planned_C is None else round(2 * batch.planned_C) / 2
    low, high = min(0, at), max(25, at)
    wanted = Slider("wanted_C", "End that is wanted", "°C", low, high, 0.5, at, "Process")
    return Panel(
        "Ice, water or colder meat?",
        (*bowl_controls(batch), wanted),
        compute,
        lambda result, values, system: ways_view(result, values, system, batch.notes),
        lambda system: {"ends": charts.ends_chart(system), "same": charts.same_chart(system)},
        {name: change for name, change in BREAKS.items() if name != "Chop too long"},
    )


def ways_view(placed: WaysPlaced, values, system, notes=()) -> View:
    ways, guide = placed.ways, placed.guide
    planned, ends = celsius(ways.planned_C, system), dict(ways.ends_C)
    gap = units.show(ends["all water"] - ends["all ice"], "K", system)
    meat, without = "none", "without any ice no meat temperature does it here"
    if isfinite(ways.meat_with_water_C):
        meat = celsius(ways.meat_with_water_C, system)
        without = f"without any ice the meat would have to go in at {meat}"
    worth = "no amount of water"
    if isfinite(ways.ice_worth_in_water):
        worth = f"{ways.ice_worth_in_water:.1f} kg of water"
    ice_kg = values["ice_share_pct"] / 100 * ways.added_kg
    colder = float(np.interp(ice_kg, ways.ice_needed_kg, ways.meat_C, left=np.nan, right=np.nan))
    coldest, warmest = (celsius(ways.meat_C[end], system) for end in (0, -1))
    as_set = celsius(colder, system) if isfinite(colder) else f"none from {coldest} to {warmest}"
    here = float(np.interp(values["meat_C"], ways.meat_C, ways.ice_needed_kg))
    possible = 0 <= here <= ways.added_kg
    if possible:
        needs, added = (units.show(kg, "kg", system) for kg in (here, ways.added_kg))
        needs = f"{needs} of the {added}"
    elif here > ways.added_kg:
        needs = "no share: even all ice ends warmer"
    else:
        needs = "none: even all water ends colder"
    energy, without_ice = (
        heat(e, system) for e in (ways.energy_as_set_kJ_per_kg, ways.energy_with_water_kJ_per_kg)
    )
    end, must = celsius(ways.end_C, system), "added water that must be ice, meat as set"
    rows = (
        row(f"1 kg of ice takes up as much, up to {planned}, as", worth, "computed"),
        row(must, needs, "computed", mark="" if possible else "fails"),
        row("meat temperature with the ice as set", as_set, "computed"),
        row("heat the knives may put in with the ice as set", energy, "computed"),
        row("meat temperature that does without ice", meat, "computed"),
        row("heat the knives may put in without ice", without_ice, "computed"),
        row(
            f"ends now at; in print {printed(guide, system)}",
            end,
            guide.cite,
            mark="fails" if ways.end_C > guide.high_C else "",
        ),
    )
    share, meat_C = values["ice_share_pct"], values["meat_C"]
    return View(
        f"This batter ends at {end}; {planned} is wanted. "
        f"Water instead of ice ends {gap} warmer than all ice; {without}.",
        {
            "ends": charts.ends_data(ways, guide, system),
            "same": charts.same_data(ways, placed.warm_kg, placed.cold_kg, share, meat_C, system),
        },
        tables=(Table("What gets the same end", ("what", "value", "source"), rows),),
        notes=(*ways.notes, *notes),
        steps=ways.working,
        sources=(guide.cite, *ways.sources),
        cautions=(BLADES, COLD),
    )

"""Ice, water, colder meat or less work: what gets the same end?"""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from kit import units
from kit.chain.chop import BLADES, COLD
from kit.chain.chop_ways import Ways, same_end_ice_kg, ways_of
from kit.chop import Guide, guides
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import BREAKS, batch_of, bowl_as_set, bowl_controls, printed
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.sheet import Sheet

WANTED_C = 14.0


@dataclass(frozen=True, eq=False)
class Placed:
    ways: Ways
    guide: Guide
    warm_kg: np.ndarray
    cold_kg: np.ndarray


def ways_panel(sheet: Sheet | None = None) -> Panel:
    """The end that is wanted by ice, by colder meat, or by less work."""
    batch = batch_of(sheet)

    def compute(values) -> Placed:
        bowl, guide, energy = (
            bowl_as_set(values, batch),
            guides()[values["fat"]],
            values["energy_kJ_per_kg"],
        )
        ways = ways_of(bowl, energy, values["wanted_C"])
        warm, cold = (
            same_end_ice_kg(bowl, ways.meat_C, t, energy) for t in (guide.high_C, guide.low_C)
        )
        return Placed(ways, guide, warm, cold)

    wanted = WANTED_C if batch.planned_C is None else round(2 * batch.planned_C) / 2
    controls = (
        *bowl_controls(batch),
        Slider(
            "wanted_C",
            "End that is wanted",
            "°C",
            min(0, wanted),
            max(25, wanted),
            0.5,
            wanted,
            "Process",
        ),
    )
    return Panel(
        "Ice, water or colder meat?",
        controls,
        compute,
        lambda result, values, system: ways_view(result, values, system, batch.notes),
        lambda system: {"ends": charts.ends_chart(system), "same": charts.same_chart(system)},
        {name: change for name, change in BREAKS.items() if name != "Chop too long"},
    )


def ways_view(placed: Placed, values, system, notes=()) -> View:
    ways, guide = placed.ways, placed.guide
    planned, ends = units.show(ways.planned_C, "°C", system), dict(ways.ends_C)
    gap = units.show(ends["all water"] - ends["all ice"], "K", system)
    meat = (
        units.show(ways.meat_with_water_C, "°C", system)
        if isfinite(ways.meat_with_water_C)
        else "none"
    )
    without = (
        "without any ice no meat temperature does it here"
        if meat == "none"
        else f"without any ice the meat would have to go in at {meat}"
    )
    worth = (
        f"{ways.ice_worth_in_water:.1f} kg of water"
        if isfinite(ways.ice_worth_in_water)
        else "no amount of water"
    )
    here = float(np.interp(values["meat_C"], ways.meat_C, ways.ice_needed_kg))
    ice_kg = values["ice_share_pct"] / 100 * ways.added_kg
    colder = float(np.interp(ice_kg, ways.ice_needed_kg, ways.meat_C, left=np.nan, right=np.nan))
    as_set = (
        units.show(colder, "°C", system)
        if isfinite(colder)
        else f"none from {units.show(ways.meat_C[0], '°C', system)} to {units.show(ways.meat_C[-1], '°C', system)}"
    )
    possible = 0 <= here <= ways.added_kg
    needs = (
        f"{units.show(here, 'kg', system)} of the {units.show(ways.added_kg, 'kg', system)}"
        if possible
        else "no share: even all ice ends warmer"
        if here > ways.added_kg
        else "none: even all water ends colder"
    )
    rows = (
        Row((f"1 kg of ice takes up as much, up to {planned}, as", worth, "computed")),
        Row(
            ("added water that must be ice, meat as set", needs, "computed"),
            "" if possible else "fails",
        ),
        Row(("meat temperature with the ice as set", as_set, "computed")),
        Row(
            (
                "heat the knives may put in with the ice as set",
                units.show(ways.energy_as_set_kJ_per_kg, "kJ/kg", system),
                "computed",
            )
        ),
        Row(("meat temperature that does without ice", meat, "computed")),
        Row(
            (
                "heat the knives may put in without ice",
                units.show(ways.energy_with_water_kJ_per_kg, "kJ/kg", system),
                "computed",
            )
        ),
        Row(
            (
                f"ends now at; in print {printed(guide, system)}",
                units.show(ways.end_C, "°C", system),
                guide.cite,
            ),
            "fails" if ways.end_C > guide.high_C else "",
        ),
    )
    sentence = (
        f"This batter ends at {units.show(ways.end_C, '°C', system)}; {planned} is wanted. "
        f"Water instead of ice ends {gap} warmer than all ice; {without}."
    )
    return View(
        sentence,
        {
            "ends": charts.ends_data(ways, guide, system),
            "same": charts.same_data(
                ways,
                placed.warm_kg,
                placed.cold_kg,
                values["ice_share_pct"],
                values["meat_C"],
                system,
            ),
        },
        {
            "ends": charts.ends_text(ways),
            "same": f"Curve of ice share against meat temperature that ends at {ways.planned_C:.1f} °C. Needed with the meat as set: {needs}.",
        },
        (Table("What gets the same end", ("what", "value", "source"), rows),),
        (*ways.notes, *notes),
        ways.working,
        (guide.cite, *ways.sources),
        (BLADES, COLD),
    )

"""One probe for many links: what must the display read so that the coldest link reaches its target?"""

from dataclasses import replace
from functools import lru_cache
from math import isnan

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, schedule_of
from kit.cook import one_probe
from kit.cook.one_probe import OneProbe
from kit.lab.charts import cook as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cook.pieces import INVENTED
from kit.lab.panels.panel import Panel, Table, View, row
from kit.lab.panels.sheets import starting_sheet
from kit.lethality import cautions
from kit.sheet import Sheet
from kit.tables import value

POOL, BATCHES = 200, 600
ASKED = ("links", "confidence_pct", "diameter_sd_mm", "start_sd_K", "depth_sd_mm", "display_sd_K")
YOURS = "Enter the scatter that you measured."


def probe_panel(sheet: Sheet | None = None) -> Panel:
    """Many links in the sheet's smokehouse; the probe is in one, off its axis, on a display with an error. The same samples for every change."""
    sheet = sheet or starting_sheet()
    base = link_of(sheet)
    stages = [stage for stage in schedule_of(sheet) if stage.vapour_Pa is not None]

    @lru_cache(maxsize=16)
    def answer(chosen: tuple[tuple[str, float], ...]) -> OneProbe:
        values = dict(chosen)
        placed = [replace(stage, spread_K=values["spread_K"]) for stage in stages]
        minutes = placed[-1].minutes + values["longer_min"]
        placed[-1] = placed[-1].lasting(max(minutes, 1.0))
        link = replace(base, diameter_mm=values["diameter_mm"])
        asked = {key: values[key] for key in ASKED}
        return one_probe(link, placed, values["target_C"], pool=POOL, batches=BATCHES, **asked)

    start = {key: value(f"cook_{key.rsplit('_', 1)[0]}") for key in ASKED if "_sd_" in key}
    start["spread_K"] = max(stage.spread_K for stage in stages)
    return Panel(
        "Core probe reading for the coldest link",
        controls_of("probe", **start),
        lambda values: answer(tuple(values.items())),
        probe_view,
        {"probe": charts.probe_chart},
        {
            "Probe off the axis": {"depth_sd_mm": 5},
            "Uneven charcoal smoker": {"spread_K": value("cook_charcoal_spread")},
        },
    )


def probe_view(found: OneProbe, values, system) -> View:
    def t(x):
        return units.show(x, "°C", system)

    aim, share, asked = t(found.target_C), found.passes_at_target_pct, found.confidence_pct
    low, middle, high = found.coldest_at_target_C
    if found.display_C is None:
        sentence = f"No reading is enough: {found.never_pct:.1f} % of the links do not reach {aim} in this plan. Lengthen the last stage, make the smokehouse more even, or probe the coldest place."
        wait, beyond, drawn = "none is enough", "", YOURS
    else:
        wait = t(found.display_C)
        sentence = f"In this model the display must read {wait} for the coldest of {found.links} links to reach {aim} in {asked:g} of 100 batches. Not a process limit."
        beyond = f"{units.show(found.margin_K, 'K', system)} above the target"
        moves = units.show(found.display_sd_C, "K", system)
        drawn = f"Monte Carlo, {POOL} links and {BATCHES} batches; another set of samples changes the reading by about ± {moves}. {YOURS}"
    coldest, batches = ("never", ""), "not known"
    short = not isnan(share) and share < asked
    if not isnan(share):
        sentence += f" When the display first reads {aim}, the coldest link has reached it in {share:.0f} of 100."
        coldest = (t(middle), f"90 % interval {t(low)} to {t(high)}")
        batches = f"{share:.0f} of 100"
    mark, never = "✗ " if short else "", found.display_C is None
    there = f"{mark}batches with every link at {aim} at that moment"
    rows = (
        row("display reading needed", wait, beyond, mark="strong", fails=never),
        row(f"coldest core when the display first reads {aim}", *coldest),
        row(there, batches, f"target {asked:g} of 100", fails=short),
        row("links that do not reach the target", f"{found.never_pct:.1f} %", ""),
    )
    bound = f"{asked:g} of 100 batches is a bound on one side: the upper end of a {2 * asked - 100:g} % interval."
    return View(
        sentence,
        {"probe": charts.probe_data(found, system)},
        tables=(Table("Outcome", ("quantity", "value", "comparison"), rows),),
        notes=(drawn, bound, INVENTED),
        cautions=(cautions.ONE_PROBE, PLAN_ONLY, HOT),
    ).of(found)

"""One probe against many links: what must the display read so that the coldest link is there?"""

from dataclasses import replace
from functools import lru_cache
from math import isnan

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, schedule_of
from kit.cook import one_probe
from kit.cook.one_probe import OneProbe
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import START
from kit.lab.panels.cook.pieces import INVENTED, LIMITS, LINK, PROCESS, diameter_slider
from kit.lab.panels.panel import Panel, Slider, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.lab.panels.view import row
from kit.lethality import cautions
from kit.sheet import Sheet
from kit.tables import value

POOL, BATCHES = 200, 600
ASKED = ("links", "confidence_pct", "diameter_sd_mm", "start_sd_K", "depth_sd_mm", "display_sd_K")
YOURS = "Put in scatter that you measured."


def probe_panel(sheet: Sheet | None = None) -> Panel:
    """A cloud of links in the sheet's smokehouse; the probe sits in one, off its axis, on a display with an error. The same cloud for every move."""
    sheet = sheet or starting_sheet()
    base = link_of(sheet)
    stages = [stage for stage in schedule_of(sheet) if stage.vapour_Pa is not None]

    @lru_cache(maxsize=16)
    def answer(diameter, target, spread, longer, *asked) -> OneProbe:
        placed = [replace(stage, spread_K=spread) for stage in stages]
        placed[-1] = placed[-1].lasting(max(placed[-1].minutes + longer, 1.0))
        link, more = replace(base, diameter_mm=diameter), dict(zip(ASKED, asked))
        return one_probe(link, placed, target, pool=POOL, batches=BATCHES, **more)

    def compute(values) -> OneProbe:
        first = ("diameter_mm", "target_C", "spread_K", "longer_min")
        return answer(*(values[key] for key in (*first, *ASKED)))

    def scatter(key, label, unit, high, step, group):
        start = value(f"cook_{key.rsplit('_', 1)[0]}")
        return Slider(key, label, unit, 0, high, step, start, group)

    target, uneven = "Coldest core to reach", max(stage.spread_K for stage in stages)
    controls = (
        diameter_slider(16, 60),
        scatter("diameter_sd_mm", "Diameters scatter by ±", "mm", 3, 0.1, LINK),
        scatter("start_sd_K", "Starts scatter by ±", "K", 6, 0.5, LINK),
        Slider("longer_min", "Last stage longer by, minutes", "", -22, 40, 1, 0, PROCESS),
        Slider("spread_K", "Places differ by ±", "K", 0, max(8, uneven), 0.5, uneven, PROCESS),
        scatter("depth_sd_mm", "Probe misses the axis by ±", "mm", 6, 0.5, PROCESS),
        scatter("display_sd_K", "Display errs by ±", "K", 2, 0.1, PROCESS),
        Slider("links", "Links in the house", "", 2, 2000, 1, 200, PROCESS),
        Slider("target_C", target, "°C", 60, 76, 0.5, START["target_C"], LIMITS),
        Slider("confidence_pct", "In how many of 100 batches", "", 50, 99, 1, 95, LIMITS),
    )
    return Panel(
        "One probe, many links",
        controls,
        compute,
        probe_view,
        lambda system: {"probe": charts.probe_chart(system)},
        {
            "Probe hastily stuck in": {"depth_sd_mm": 5},
            "As uneven as a covered charcoal cooker": {"spread_K": value("cook_charcoal_spread")},
        },
    )


def probe_view(found: OneProbe, values, system) -> View:
    def t(x):
        return units.show(x, "°C", system)

    aim, share, asked = t(found.target_C), found.passes_at_target_pct, found.confidence_pct
    low, middle, high = found.coldest_at_target_C
    if found.display_C is None:
        sentence = f"No reading will do: some links never come to {aim} in this plan ({found.never_pct:.1f} % of them). Lengthen the last stage, even out the house, or probe the coldest place."
        wait, beyond, drawn = "none will do", "", YOURS
    else:
        wait = t(found.display_C)
        sentence = f"Wait for {wait} on the display: then the coldest of {found.links} links is at {aim} in {asked:g} of 100 batches, as reckoned."
        beyond = f"{units.show(found.margin_K, 'K', system)} beyond the target"
        moves = units.show(found.display_sd_C, "K", system)
        drawn = f"{POOL} links and {BATCHES} batches are drawn; another draw moves the reading by about ± {moves}. {YOURS}"
    coldest, batches = ("it never does", ""), "not known"
    short = not isnan(share) and share < asked
    if not isnan(share):
        sentence += f" When it first shows {aim}, the coldest is there in {share:.0f} of 100."
        coldest = (t(middle), f"{t(low)} to {t(high)}, nine batches in ten")
        batches = f"{share:.0f} of 100"
    mark, never = "✗ " if short else "", found.display_C is None
    there = f"{mark}batches with every link there at that moment"
    rows = (
        row("display to wait for", wait, beyond, mark="fails" if never else "strong"),
        row(f"coldest core when the display first shows {aim}", *coldest),
        row(there, batches, f"you ask for {asked:g}", mark="fails" if short else ""),
        row("links that never get there", f"{found.never_pct:.1f} %", ""),
    )
    return View(
        sentence,
        {"probe": charts.probe_data(found, system)},
        tables=(Table("One probe", ("what", "value", "beside it"), rows),),
        notes=(*found.notes, drawn, INVENTED),
        steps=found.working,
        sources=found.sources,
        cautions=(cautions.ONE_PROBE, PLAN_ONLY, HOT),
    )

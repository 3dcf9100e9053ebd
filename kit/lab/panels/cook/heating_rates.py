"""Gentle against fast: the sheet's stages beside one step to full heat."""

from dataclasses import dataclass, replace

import numpy as np

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of
from kit.cook import cook
from kit.cook.cooked import Cooked
from kit.cook.stages import air
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import START, demo_sheet
from kit.lab.panels.cook.pieces import (
    COLUMNS,
    INVENTED,
    LIMITS,
    LINK,
    PROCESS,
    ahead_row,
    ahead_soft_K,
    diameter_slider,
    row,
    slider,
    target_slider,
    when,
)
from kit.lab.panels.cook.smokehouses import STEP_S, drying_stages, planned_cook
from kit.lab.panels.panel import Panel, Slider, Table, View
from kit.lethality import cautions
from kit.sheet import Sheet
from kit.tables import value

FAST_MIN = 90.0
BATTER = "What a skin that has melted its fat before the core has set does to the batter is the emulsion lesson's; the limit here is your own."


@dataclass(frozen=True, eq=False)
class HeatingRates:
    gentle: Cooked
    fast: Cooked


def heating_rates_panel(sheet: Sheet | None = None) -> Panel:
    """The same link to the same core, in stages and at once."""
    sheet = sheet or demo_sheet()
    base, stages = link_of(sheet), drying_stages(sheet)

    def compute(values) -> HeatingRates:
        moved = {key: values[key] for key in ("diameter_mm", "start_C")}
        link, target = replace(base, length_mm=None, **moved), values["target_C"]
        quick = [stages[0].lasting(values["warm_min"])] if values["warm_min"] else []
        hot, wet, speed = (values[key] for key in ("fast_C", "fast_wet_C", "speed"))
        quick.append(air(FAST_MIN, hot, wet_bulb_C=wet, speed_m_per_s=speed, name="full heat"))
        gentle = planned_cook(link, stages, target)
        return HeatingRates(gentle, cook(link, quick, (target,), step_s=STEP_S))

    ahead = "Skin ahead of a soft core at most"
    controls = (
        diameter_slider(13, 60),
        slider("start_C", "Goes in at", "°C", 0, 25, 0.5, LINK),
        slider("warm_min", "Fast: minutes of the plan's first stage", "", 0, 40, 1, PROCESS),
        slider("fast_C", "Fast: then air of", "°C", 72, 110, 1, PROCESS),
        slider("fast_wet_C", "Fast: wet bulb", "°C", 40, 98, 1, PROCESS),
        slider("speed", "Fast: air past the links", "m/s", 0.2, 6, 0.1, PROCESS),
        target_slider(78),
        Slider("ahead_limit_K", ahead, "K", 5, 60, 1, START["rates_limit_K"], LIMITS),
    )
    return Panel(
        "Gentle against fast",
        controls,
        compute,
        heating_rates_view,
        lambda system: {
            "pace": charts.heating_rates_chart(system),
            "ahead": charts.ahead_chart(system),
        },
        {
            "Too hot too soon": {"warm_min": 0, "fast_C": 90, "fast_wet_C": 85},
            "Dry air: it never gets there": {"fast_C": 74, "fast_wet_C": 45},
        },
    )


def _until_there(done: Cooked) -> str:
    """Water out when the core is there, % of raw; at the end where it never is."""
    minutes = done.targets[0].minutes
    at = done.minutes[-1] if minutes is None else minutes
    return f"{np.interp(at, done.minutes, done.lost_pct_by_time):.1f} %".replace("-", "−")


def heating_rates_view(result: HeatingRates, values, system) -> View:
    gentle, fast = result.gentle, result.fast
    melts, limit = value("cook_fat_melt_C"), values["ahead_limit_K"]
    slow, quick = gentle.targets[0], fast.targets[0]
    ahead = [units.show(ahead_soft_K(done, melts), "K", system, 0) for done in (fast, gentle)]
    aim = units.show(quick.target_C, "°C", system)
    if quick.reached and slow.reached:
        sentence = (
            f"Fast is at {aim} after {quick.minutes:.0f} min, gentle after {slow.minutes:.0f}."
        )
    elif quick.reached or slow.reached:
        only = quick if quick.reached else slow
        name = "fast" if quick.reached else "gentle"
        sentence = f"Only {name} gets to {aim}, after {only.minutes:.0f} min."
    else:
        sentence = f"Neither gets to {aim}."
    sentence += f" While the core is still soft, the skin runs {ahead[0]} ahead when fast, {ahead[1]} when gentle."
    peak = "" if quick.reached else f"✗ peak {units.show(quick.peak_C, '°C', system)}"
    times = (when(slow.minutes), when(quick.minutes))

    def of_both(what, shown):
        return row(what, shown(gentle), shown(fast), "", "")

    rows = (
        row("core is there after", *times, "", peak, fails=not quick.reached),
        of_both("net water lost by then, % of the raw weight", _until_there),
        of_both("hottest skin", lambda done: units.show(done.hottest_surface_C, "°C", system)),
        of_both(
            f"core when the skin passes {units.show(melts, '°C', system, 0)}",
            lambda done: _core_at_melt(done, melts, system),
        ),
    )
    checks = tuple(
        ahead_row(done, limit, system, f"{name}: ")
        for name, done in (("gentle", gentle), ("fast", fast))
    )
    lines, over = charts.heating_rates_data(gentle, fast, limit, system)
    return View(
        sentence,
        {"pace": lines, "ahead": over},
        tables=(
            Table("Both to the same core", ("what", "gentle", "fast", "", "margin"), rows),
            Table("Your limit", COLUMNS, checks),
        ),
        notes=(*fast.notes, BATTER, INVENTED),
        steps=fast.working,
        sources=fast.sources,
        cautions=(PLAN_ONLY, cautions.SURFACE, HOT),
    )


def _core_at_melt(done: Cooked, melts: float, system: str) -> str:
    past = done.surface_C > melts
    if not past.any():
        return "it never does"
    return units.show(float(done.core_C[past.argmax()]), "°C", system)

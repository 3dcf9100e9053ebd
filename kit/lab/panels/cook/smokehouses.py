"""Humidity and shrink: a moister or a drier smokehouse than the one that was planned."""

from dataclasses import dataclass, replace
from functools import lru_cache

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, schedule_of, with_wet_bulb
from kit.cook import Link, Stage, cook
from kit.cook.cooked import Cooked
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import demo_sheet
from kit.lab.panels.cook.pieces import (
    INVENTED,
    PROCESS,
    diameter_slider,
    loss_slider,
    row,
    slider,
    target_slider,
    when,
)
from kit.lab.panels.panel import Panel, Slider, Table, View
from kit.lethality import cautions
from kit.sheet import Sheet

STEP_S = 30.0


@dataclass(frozen=True, eq=False)
class Smokehouses:
    planned: Cooked
    here: Cooked


def drying_stages(sheet: Sheet) -> tuple[Stage, ...]:
    """The sheet's stages in air: baths and showers are left out."""
    return tuple(stage for stage in schedule_of(sheet) if stage.vapour_Pa is not None)


@lru_cache(maxsize=16)
def planned_cook(link: Link, stages: tuple[Stage, ...], target_C: float) -> Cooked:
    """What does not move with the slider is kept."""
    return cook(link, stages, (target_C,), step_s=STEP_S)


def smokehouse_panel(sheet: Sheet | None = None) -> Panel:
    """The sheet's schedule with its wet bulbs shifted, and air that moves faster or slower."""
    sheet = sheet or demo_sheet()
    base, stages = link_of(sheet), drying_stages(sheet)

    def compute(values) -> Smokehouses:
        link = replace(base, diameter_mm=values["diameter_mm"], length_mm=None)
        air = {"speed_m_per_s": values["speed"], "wetness": values["wet_pct"] / 100}
        here = [replace(with_wet_bulb(stage, values["wet_off_K"]), **air) for stage in stages]
        target = values["target_C"]
        planned = planned_cook(link, stages, target)
        return Smokehouses(planned, cook(link, here, (target,), step_s=STEP_S))

    controls = (
        diameter_slider(13, 60),
        Slider("wet_off_K", "Wet bulb against the plan", "K", -15, 12, 1, 0, PROCESS),
        slider("speed", "Air past the links", "m/s", 0.2, 6, 0.1, PROCESS),
        Slider("wet_pct", "Skin that is wet, %", "", 0, 100, 5, 100, PROCESS),
        target_slider(),
        loss_slider(),
    )
    return Panel(
        "Humidity and shrink",
        controls,
        compute,
        smokehouse_view,
        lambda system: {
            "core": charts.smokehouse_core_chart(system),
            "water": charts.smokehouse_loss_chart(system),
        },
        {
            "Dry house": {"wet_off_K": -6},
            "Held back by a dry cook": {"wet_off_K": -15, "diameter_mm": 27},
            "A storm in the house": {"speed": 6, "wet_off_K": -4},
        },
    )


def smokehouse_view(result: Smokehouses, values, system) -> View:
    planned, here = result.planned, result.here
    target, limit = here.targets[0], values["loss_limit_pct"]
    more, over = here.lost_pct - planned.lost_pct, here.lost_pct - limit

    def t(x):
        return units.show(x, "°C", system)

    aim, peak = t(target.target_C), t(target.peak_C)
    there, short = f"never at {aim}: it stops at {peak}", ""
    if target.reached:
        there = f"at {aim} after {target.minutes:.0f} min"
    else:
        short = f"✗ {units.show(target.target_C - target.peak_C, 'K', system)} short"
    against = f"{abs(more):.1f} points {'more' if more > 0 else 'less'} than planned"
    if abs(more) < 0.05:
        against = "as much as planned"
    sentence = f"In this house {here.lost_pct:.1f} % of the weight leaves as water, {against}; the core is {there}."
    pairs = tuple(zip(planned.stages, here.stages))
    times = (when(planned.targets[0].minutes), when(target.minutes))
    rows = (
        row(
            "water lost, % of the raw weight",
            f"{planned.lost_pct:.1f} %",
            f"{here.lost_pct:.1f} %",
            f"{limit:g} % (your own)",
            f"✗ {over:.1f} points over" if over > 0 else "inside",
            fails=over > 0,
        ),
        row(f"core at {aim}", *times, "(your own)", short, fails=not target.reached),
        *(row(f"{b.name}: wet bulb", t(a.wet_bulb_C), t(b.wet_bulb_C), "", "") for a, b in pairs),
        *(
            row(f"{b.name}: a wet skin would rest at", t(a.plateau_C), t(b.plateau_C), "", "")
            for a, b in pairs
        ),
        *(
            row(f"{b.name}: water lost", f"{a.lost_pct:.1f} %", f"{b.lost_pct:.1f} %", "", "")
            for a, b in pairs
        ),
    )
    core, water = charts.smokehouse_data(planned, here, limit, system)
    columns = ("what", "as planned", "here", "limit", "margin")
    return View(
        sentence,
        {"core": core, "water": water},
        tables=(Table("This house beside the plan", columns, rows),),
        notes=(*here.notes, INVENTED),
        steps=here.working,
        sources=here.sources,
        cautions=(PLAN_ONLY, cautions.SURFACE, HOT),
    )

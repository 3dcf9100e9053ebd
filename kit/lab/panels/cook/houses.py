"""Humidity and shrink: a moister or a drier house than the one that was planned."""

from dataclasses import dataclass, replace
from functools import lru_cache

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, schedule_of, with_wet_bulb
from kit.cook import Cooked, Link, Stage, cook
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import START, demo_sheet
from kit.lab.panels.cook.pieces import INVENTED, when
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.lethality import cautions
from kit.sheet import Sheet

STEP_S = 30.0


@dataclass(frozen=True, eq=False)
class Houses:
    planned: Cooked
    here: Cooked


@lru_cache(maxsize=16)
def planned_cook(link: Link, stages: tuple[Stage, ...], target_C: float) -> Cooked:
    """What does not move with the slider is kept."""
    return cook(link, stages, (target_C,), step_s=STEP_S)


def houses_panel(sheet: Sheet | None = None) -> Panel:
    """The sheet's schedule with its wet bulbs shifted, and air that moves faster or slower."""
    sheet = sheet or demo_sheet()
    base = link_of(sheet)
    stages = tuple(stage for stage in schedule_of(sheet) if stage.vapour_Pa is not None)

    def compute(values) -> Houses:
        link = replace(base, diameter_mm=values["diameter_mm"], length_mm=None)
        here = [
            replace(
                with_wet_bulb(stage, values["wet_off_K"]),
                speed_m_per_s=values["speed"],
                wetness=values["wet_pct"] / 100,
            )
            for stage in stages
        ]
        return Houses(
            planned_cook(link, stages, values["target_C"]),
            cook(link, here, (values["target_C"],), step_s=STEP_S),
        )

    controls = (
        Slider("diameter_mm", "Stuffed diameter", "mm", 13, 60, 0.5, START["diameter_mm"], "Link"),
        Slider("wet_off_K", "Wet bulb against the plan", "K", -15, 12, 1, 0, "Process"),
        Slider("speed", "Air past the links", "m/s", 0.2, 6, 0.1, START["speed"], "Process"),
        Slider("wet_pct", "Skin that is wet, %", "", 0, 100, 5, 100, "Process"),
        Slider(
            "target_C", "Core to reach", "°C", 55, 80, 0.5, START["target_C"], "Limits of your own"
        ),
        Slider(
            "loss_limit_pct",
            "Water lost at most, %",
            "",
            2,
            25,
            0.5,
            START["loss_limit_pct"],
            "Limits of your own",
        ),
    )
    return Panel(
        "Humidity and shrink",
        controls,
        compute,
        houses_view,
        lambda system: {
            "core": charts.house_core_chart(system),
            "water": charts.house_loss_chart(system),
        },
        {
            "Dry house": {"wet_off_K": -6},
            "Held back by a dry cook": {"wet_off_K": -15, "diameter_mm": 27},
            "A storm in the house": {"speed": 6, "wet_off_K": -4},
        },
    )


def houses_view(result: Houses, values, system) -> View:
    planned, here = result.planned, result.here
    target, limit = here.targets[0], values["loss_limit_pct"]
    more = here.lost_pct - planned.lost_pct
    there = (
        f"at {units.show(target.target_C, '°C', system)} after {target.minutes:.0f} min"
        if target.reached
        else f"never at {units.show(target.target_C, '°C', system)}: it stops at {units.show(target.peak_C, '°C', system)}"
    )
    against = (
        "as much as planned"
        if abs(more) < 0.05
        else f"{abs(more):.1f} points {'more' if more > 0 else 'less'} than planned"
    )
    sentence = f"In this house {here.lost_pct:.1f} % of the weight leaves as water, {against}; the core is {there}."
    over = here.lost_pct > limit
    rows = (
        Row(
            (
                "water lost, % of the raw weight",
                f"{planned.lost_pct:.1f} %",
                f"{here.lost_pct:.1f} %",
                f"{limit:g} % (your own)",
                f"✗ {here.lost_pct - limit:.1f} points over" if over else "inside",
            ),
            "fails" if over else "",
        ),
        Row(
            (
                f"core at {units.show(target.target_C, '°C', system)}",
                when(planned.targets[0].minutes),
                when(target.minutes),
                "(your own)",
                ""
                if target.reached
                else f"✗ {units.show(target.target_C - target.peak_C, 'K', system)} short",
            ),
            "" if target.reached else "fails",
        ),
        *(
            Row(
                (
                    f"{b.name}: wet bulb",
                    units.show(a.wet_bulb_C, "°C", system),
                    units.show(b.wet_bulb_C, "°C", system),
                    "",
                    "",
                )
            )
            for a, b in zip(planned.stages, here.stages)
        ),
        *(
            Row(
                (
                    f"{b.name}: a wet skin would rest at",
                    units.show(a.holds_C, "°C", system),
                    units.show(b.holds_C, "°C", system),
                    "",
                    "",
                )
            )
            for a, b in zip(planned.stages, here.stages)
        ),
        *(
            Row((f"{b.name}: water lost", f"{a.lost_pct:.1f} %", f"{b.lost_pct:.1f} %", "", ""))
            for a, b in zip(planned.stages, here.stages)
        ),
    )
    core, water = charts.houses_data(planned, here, limit, system)
    return View(
        sentence,
        {"core": core, "water": water},
        {
            "core": f"Core of this house beside the plan. Here: {target.words}",
            "water": f"Water lost against time: {here.lost_pct:.1f} % here, {planned.lost_pct:.1f} % as planned.",
        },
        (
            Table(
                "This house beside the plan",
                ("what", "as planned", "here", "limit", "margin"),
                rows,
            ),
        ),
        (*here.notes, INVENTED),
        here.working,
        here.sources,
        (PLAN_ONLY, cautions.SURFACE, HOT),
    )

"""Gentle against fast: the sheet's stages beside one step to full heat."""

from dataclasses import dataclass, replace

import numpy as np

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, schedule_of
from kit.cook import Cooked, air, cook
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import START, demo_sheet
from kit.lab.panels.cook.houses import planned_cook
from kit.lab.panels.cook.pieces import INVENTED, ahead_row, ahead_soft_K, when
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.lethality import cautions
from kit.sheet import Sheet
from kit.tables import value

STEP_S, FAST_MIN = 30.0, 90.0


@dataclass(frozen=True, eq=False)
class Paces:
    gentle: Cooked
    fast: Cooked


def pace_panel(sheet: Sheet | None = None) -> Panel:
    """The same link to the same core, in stages and at once."""
    sheet = sheet or demo_sheet()
    base = link_of(sheet)
    stages = tuple(stage for stage in schedule_of(sheet) if stage.vapour_Pa is not None)
    first = stages[0]

    def compute(values) -> Paces:
        link, target = (
            replace(
                base, diameter_mm=values["diameter_mm"], length_mm=None, start_C=values["start_C"]
            ),
            (values["target_C"],),
        )
        quick = [first.lasting(values["warm_min"])] if values["warm_min"] else []
        quick.append(
            air(
                FAST_MIN,
                values["fast_C"],
                wet_bulb_C=values["fast_wet_C"],
                speed_m_per_s=values["speed"],
                name="full heat",
            )
        )
        return Paces(
            planned_cook(link, stages, values["target_C"]), cook(link, quick, target, step_s=STEP_S)
        )

    controls = (
        Slider("diameter_mm", "Stuffed diameter", "mm", 13, 60, 0.5, START["diameter_mm"], "Link"),
        Slider("start_C", "Goes in at", "°C", 0, 25, 0.5, START["start_C"], "Link"),
        Slider(
            "warm_min",
            "Fast: minutes of the plan's first stage",
            "",
            0,
            40,
            1,
            START["warm_min"],
            "Process",
        ),
        Slider("fast_C", "Fast: then air of", "°C", 72, 110, 1, START["fast_C"], "Process"),
        Slider("fast_wet_C", "Fast: wet bulb", "°C", 40, 98, 1, START["fast_wet_C"], "Process"),
        Slider("speed", "Fast: air past the links", "m/s", 0.2, 6, 0.1, START["speed"], "Process"),
        Slider(
            "target_C", "Core to reach", "°C", 55, 78, 0.5, START["target_C"], "Limits of your own"
        ),
        Slider(
            "ahead_limit_K",
            "Skin ahead of a soft core at most",
            "K",
            5,
            60,
            1,
            START["pace_limit_K"],
            "Limits of your own",
        ),
    )
    return Panel(
        "Gentle against fast",
        controls,
        compute,
        pace_view,
        lambda system: {"pace": charts.pace_chart(system), "ahead": charts.ahead_chart(system)},
        {
            "Too hot too soon": {"warm_min": 0, "fast_C": 90, "fast_wet_C": 85},
            "Dry air: it never gets there": {"fast_C": 74, "fast_wet_C": 45},
        },
    )


def _until_there(done: Cooked) -> float:
    """Water out when the core is there, % of raw; at the end where it never is."""
    minutes = done.targets[0].minutes
    return float(
        np.interp(
            done.minutes[-1] if minutes is None else minutes, done.minutes, done.lost_pct_by_time
        )
    )


def pace_view(result: Paces, values, system) -> View:
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
        sentence = f"Only {'fast' if quick.reached else 'gentle'} gets to {aim}, after {(quick if quick.reached else slow).minutes:.0f} min."
    else:
        sentence = f"Neither gets to {aim}."
    sentence += f" While the core is still soft, the skin runs {ahead[0]} ahead when fast, {ahead[1]} when gentle."
    rows = (
        Row(
            (
                "core is there after",
                when(slow.minutes),
                when(quick.minutes),
                "",
                "" if quick.reached else f"✗ peak {units.show(quick.peak_C, '°C', system)}",
            ),
            "" if quick.reached else "fails",
        ),
        Row(
            (
                "net water lost by then, % of the raw weight",
                *(f"{_until_there(d):.1f} %".replace("-", "−") for d in (gentle, fast)),
                "",
                "",
            )
        ),
        Row(
            (
                "hottest skin",
                *(units.show(d.hottest_surface_C, "°C", system) for d in (gentle, fast)),
                "",
                "",
            )
        ),
        Row(
            (
                f"core when the skin passes {units.show(melts, '°C', system, 0)}",
                *(_core_at_melt(d, melts, system) for d in (gentle, fast)),
                "",
                "",
            )
        ),
    )
    checks = tuple(
        ahead_row(d, limit, system, f"{name}: ") for name, d in (("gentle", gentle), ("fast", fast))
    )
    lines, over = charts.pace_data(gentle, fast, limit, system)
    notes = (
        *fast.notes,
        "What a skin that has melted its fat before the core has set does to the batter is the emulsion lesson's; the limit here is your own.",
        INVENTED,
    )
    return View(
        sentence,
        {"pace": lines, "ahead": over},
        {
            "pace": f"Core and skin of both. Gentle: {slow.words} Fast: {quick.words}",
            "ahead": f"Skin less core: at most {ahead[0]} fast, {ahead[1]} gentle, while the core is soft.",
        },
        (
            Table("Both to the same core", ("what", "gentle", "fast", "", "margin"), rows),
            Table("Your limit", ("what", "value", "limit", "margin", "source"), checks),
        ),
        notes,
        fast.working,
        fast.sources,
        (PLAN_ONLY, cautions.SURFACE, HOT),
    )


def _core_at_melt(done: Cooked, melts: float, system: str) -> str:
    past = done.surface_C > melts
    return (
        units.show(float(done.core_C[past.argmax()]), "°C", system)
        if past.any()
        else "it never does"
    )

"""Lesson 07: what the link really goes through, from the smokehouse to the chill."""

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from kit.chain.cook import CHILLERS, link_of, schedule_of, with_wet_bulb
from kit.cook import Stage, cook, fit_log
from kit.cook.ice import ice_to_chill
from kit.cook.moist_air import saturation_pressure_Pa, vapour_pressure_Pa
from kit.cook.series import come_up_min
from kit.cook.stages import air, fridge, hot_water, shower, steam
from kit.errors import need
from kit.lab.lessons import Exercise, Guess
from kit.lethality.published import hold_table
from kit.reading import read_sheet
from kit.sheet import Sheet
from kit.tables import data_path, value
from kit.working import step

AIR, STEAM, WATER = "hot air", "live steam", "hot water"
START: dict[str, Any] = {
    "diameter_mm": 24,
    "start_C": 13,
    "dry_min": 20,
    "dry_C": 55,
    "dry_wet_C": 35,
    "smoke_min": 30,
    "smoke_C": 65,
    "smoke_wet_C": 45,
    "cook_in": AIR,
    "cook_min": 25,
    "cook_C": 80,
    "cook_rh": 95,
    "speed": 2.0,
    "chill": "shower",
    "chill_min": 20,
    "target_C": 71,
    "loss_limit_pct": 7,
    "ahead_limit_K": 30,
}
"""where the panels of this lesson start: the invented demo batch, and limits of nobody but the learner"""
DRY_RH = 40
"""humidity, %, of the break that stalls at the wet bulb"""


@lru_cache(maxsize=1)
def demo_sheet() -> Sheet:
    """The invented demo batch."""
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


def stages_of(values) -> tuple[Stage, ...]:
    """The sliders as a schedule; a stage of 0 minutes is left out."""
    speed, found = {"speed_m_per_s": values["speed"]}, []
    for name in ("dry", "smoke"):
        minutes, hot, wet = (values[f"{name}_{key}"] for key in ("min", "C", "wet_C"))
        if minutes:
            found.append(air(minutes, hot, wet_bulb_C=wet, name=name, **speed))
    minutes, hot, medium = values["cook_min"], values["cook_C"], values["cook_in"]
    if minutes and medium == AIR:
        found.append(air(minutes, hot, humidity_pct=values["cook_rh"], name="cook", **speed))
    elif minutes and medium == STEAM:
        found.append(steam(minutes, hot, name="cook", **speed))
    elif minutes:
        found.append(hot_water(minutes, hot, name="cook"))
    need(bool(found), "every stage of the cook is 0 min long; lengthen at least one")
    if values["chill_min"]:
        found.append(CHILLERS[values["chill"]](values["chill_min"], name="chill"))
    return tuple(found)


def _dry_cook():
    """The panel's schedule with its cook at the humidity of the break."""
    size = {key: START[key] for key in ("diameter_mm", "start_C")}
    link = replace(link_of(demo_sheet()), **size)
    return cook(link, stages_of({**START, "cook_rh": DRY_RH}), (START["target_C"],))


def stalled_C() -> float:
    return _dry_cook().peak_core_C


def guess() -> Guess:
    smoked = _dry_cook().stages[1]
    return Guess(
        f"A link has been dried and smoked: its core is at {smoked.core_end_C:.0f} °C, its surface has a water activity of {smoked.skin_water_activity:.2f}. Now air of {START['cook_C']} °C flows over it for {START['cook_min']} minutes, but the steam valve is closed: {DRY_RH} % relative humidity. What temperature does the core reach, in °C?",
        "°C",
        stalled_C,
        3,
    )


def _worked(what, formula, answer, unit="", **terms):
    """The solution of an exercise in one step."""
    return lambda: (answer, (step(what, formula, answer, unit, **terms),))


def exercises() -> tuple[Exercise, ...]:
    link = link_of(demo_sheet())
    cold = replace(link, start_C=13.0)
    thin, thick = (float(m) for m in come_up_min([24, 48], 80, np.inf, 71, cold))
    what, formula = "time is proportional to the square of the diameter", "t2 = t1 × (D2 / D1) ^ 2"
    D1, D2 = (24, "mm"), (48, "mm")
    four_times = _worked(what, formula, thick, "min", t1=(thin, "min"), D2=D2, D1=D1)
    moist, full = (
        float(vapour_pressure_Pa(80.0, wet_bulb_C=71.0)),
        float(saturation_pressure_Pa(80)),
    )
    e = (moist / 1000, "kPa", "vapour in the air whose wet bulb is 71 °C")
    most = (full / 1000, "kPa", "saturation pressure at 80 °C")
    what = "relative humidity"
    humidity = _worked(what, "rh = 100 × e / s", 100 * moist / full, "%", e=e, s=most)
    chilled = ice_to_chill(85, 72, 4)
    batter, melting = value("cook_heat_capacity") / 1000, value("ice_latent_heat")
    water = value("cook_chill_water_heat")
    row = next(r for r in hold_table("meat 7 log").rows if r.temperature_F == 140)
    asked, stay = row.hold_s / 60, round(0.6 * row.hold_s / 60, 1)
    what, held = "missing holding time", (stay, "min", "longest continuous holding time")
    formula, least = "short = asked − held", (asked, "min")
    short = _worked(what, formula, asked - stay, "min", asked=least, held=held)
    return (
        Exercise(
            f"In water of 80 °C, stirred so strongly that the surface is at 80 °C at once, the core of a 24 mm link is heated from 13 to 71 °C in {thin:.2f} minutes. How many minutes does a 48 mm link need?",
            "min",
            four_times,
            0.15,
            (
                "Heat travels twice as far and warms more material.",
                "Time is proportional to the square of the diameter.",
            ),
            (("twice the diameter takes four times as long, not twice.", lambda: 2 * thin),),
        ),
        Exercise(
            f"A wet link in air of 80 °C reaches 71 °C only if the wet bulb is 71 °C. The vapour pressure of such air is {moist / 1000:.1f} kPa; the saturation pressure at 80 °C is {full / 1000:.1f} kPa. What is the relative humidity?",
            "%",
            humidity,
            0.6,
            (
                "Relative humidity is the vapour pressure over the saturation pressure.",
                "Divide the two, times 100.",
            ),
            (("that is the inverse.", lambda: 100 * full / moist),),
        ),
        Exercise(
            f"How many kg of ice at 0 °C are needed to chill 85 kg of sausage (c = {batter:g} kJ/(kg K)) from 72 to 4 °C, if the melt leaves at 4 °C? Ice melts with "
            f"{melting:g} kJ/kg, its water warms with {water:g} kJ/(kg K).",
            "kg",
            lambda: (chilled.ice_kg, chilled.working),
            0.6,
            (
                "Heat removed from the sausage: 85 × c × 68.",
                "Each kg of ice takes its melting heat and 4 K of water.",
            ),
            (
                (
                    "ice takes up not only the warming of its water; it also melts.",
                    lambda: 85 * batter * 68 / (water * 4),
                ),
            ),
        ),
        Exercise(
            f"A published row requires {asked:.0f} min at {row.temperature_F:g} °F ({row.temperature_C:.1f} °C) or above. The record shows two periods of {stay:g} min at that temperature, with a drop between them. How many minutes are missing?",
            "min",
            short,
            0.06,
            (
                "A published row is one continuous holding time.",
                "Periods are not added: the longest one counts.",
            ),
            (
                (
                    "that adds the periods; a row is one continuous holding time.",
                    lambda: 2 * stay - asked,
                ),
            ),
        ),
    )


def smokehouse_of(log, losses_pct):
    """What the demo log teaches of its smokehouse: its first channel, a 24 mm link, and the weight lost by the end of a stage in %, by the number of the stage."""
    dry, smoke, moist = schedule_of(demo_sheet())[:3]
    stages = [dry, smoke, moist.lasting(18), shower(20), fridge(150, 3, humidity_pct=85)]
    link = replace(link_of(demo_sheet()), diameter_mm=24)
    seconds, core_C = log.channel(log.channels[0])
    return fit_log(link, stages, seconds / 60, core_C, losses_pct=losses_pct)


def expected_yields() -> tuple[tuple[str, float], ...]:
    """Weight left of the demo sheet's links after evaporation alone, in a drier smokehouse, as planned, and in a moister one."""
    sheet = demo_sheet()
    link = link_of(sheet)
    changes = (("wet bulb 4 K lower", -4.0), ("as planned", 0.0), ("wet bulb 4 K higher", 4.0))
    found = []
    for name, off in changes:
        stages = [with_wet_bulb(stage, off) for stage in schedule_of(sheet)]
        found.append((name, 100 - cook(link, stages).lost_pct))
    return tuple(found)

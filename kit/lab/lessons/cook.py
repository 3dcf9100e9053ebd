"""Lesson 07: what the link really goes through, from the smokehouse to the chill."""

from dataclasses import replace
from typing import Any

import numpy as np

from kit.chain.cook import CHILLERS, link_of, schedule_of, with_wet_bulb
from kit.cook import Stage, cook, fit_log
from kit.cook.ice import ice_to_chill
from kit.cook.moist_air import saturation_pressure_Pa, vapour_pressure_Pa
from kit.cook.series import come_up_min
from kit.cook.stages import air, fridge, hot_water, shower, steam
from kit.errors import need
from kit.lab.lessons import Exercise, Guess, exercise, guess_of
from kit.lab.panels.sheets import demo_sheet
from kit.lethality.published import hold_table
from kit.tables import value

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
    return guess_of("07 guess", {**START, **vars(smoked), "dry_rh": DRY_RH}, stalled_C)


def exercises() -> tuple[Exercise, ...]:
    cold = replace(link_of(demo_sheet()), start_C=13.0)
    thin, thick = (float(m) for m in come_up_min([24, 48], 80, np.inf, 71, cold))
    moist = float(vapour_pressure_Pa(80.0, wet_bulb_C=71.0)) / 1000
    full = float(saturation_pressure_Pa(80)) / 1000
    batter, water = value("cook_heat_capacity") / 1000, value("cook_chill_water_heat")
    heats = {"batter": batter, "melting": value("ice_latent_heat"), "water": water}
    row = next(r for r in hold_table("meat 7 log").rows if r.temperature_F == 140)
    asked, held = row.hold_s / 60, round(0.6 * row.hold_s / 60, 1)
    short = {"short": asked - held, "asked": asked, "held": held}
    short |= {"temperature_F": row.temperature_F, "temperature_C": row.temperature_C}
    come_up = {"t1": thin, "t2": thick, "D1": 24, "D2": 48}
    humidity = {"rh": 100 * moist / full, "e": moist, "s": full}
    return (
        exercise("07 four times", come_up, lambda: 2 * thin),
        exercise("07 humidity", humidity, lambda: 100 * full / moist),
        exercise(
            "07 ice",
            heats,
            lambda: 85 * batter * 68 / (water * 4),
            working=lambda: ice_to_chill(85, 72, 4).working,
        ),
        exercise("07 missing minutes", short, lambda: 2 * held - asked),
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
    changes = (("wet bulb 4 K lower", -4.0), ("as planned", 0.0), ("wet bulb 4 K higher", 4.0))
    found = []
    for name, off in changes:
        stages = [with_wet_bulb(stage, off) for stage in schedule_of(sheet)]
        found.append((name, 100 - cook(link_of(sheet), stages).lost_pct))
    return tuple(found)

"""Lesson 10: a class that can see what it asks. What decides is the number of stations, over the scatter of batters."""

from functools import cache
from math import sqrt

from kit.lab.lessons import Exercise, Guess, exercise, guess_of
from kit.reading.class_plan import read_plan
from kit.reading.class_results import read_results
from kit.tables import data_path, value
from kit.trial.design import Design, design, power
from kit.trial.question import ask
from kit.trial.scatter import scatter

STATIONS, TUBES, EFFECT = 4, 3, 2.0
CHOPPERS, CHOP_MIN = 4, 8
"""of the exercise on the room"""


@cache
def pairs(stations: int = STATIONS) -> Design:
    """Two batters of three tubes at each station, chopped to two temperatures."""
    return design(ask("end_C"), stations, 2, TUBES)


def planted() -> str:
    """What looks wrong in the results of the invented class, before any decision."""
    folder = data_path("demo", "class")
    found = read_results(folder, read_plan(folder / "plan.toml")).findings
    return "\n".join(f"station {one.station}: {one.kind}: {one.evidence}" for one in found)


def guess() -> Guess:
    known = {"stations": STATIONS, "tubes": TUBES, "effect": EFFECT}
    return guess_of("10 guess", known, lambda: 100 * float(power(pairs(), scatter(), EFFECT)))


def exercises() -> tuple[Exercise, ...]:
    its, stations = scatter(), pairs(8).stations
    s, t, batters = its.batter_points, its.tube_sd(0, value("trial_fill_g")), 2 * stations
    error = {"e": sqrt(2 * (s**2 + t**2 / TUBES) / stations), "s": s, "t": t, "r": TUBES}
    room = {"h": batters * CHOP_MIN / CHOPPERS, "B": batters, "m": CHOP_MIN, "c": CHOPPERS}
    over_tubes = sqrt(2 * (s**2 + t**2) / (stations * TUBES))
    return (
        exercise("10 standard error", {**error, "n": stations}, lambda: over_tubes),
        exercise("10 chopping", room, lambda: batters * CHOP_MIN),
        exercise("10 stations", {"N": 4 * stations, "n": stations, "k": 2}, lambda: batters),
    )

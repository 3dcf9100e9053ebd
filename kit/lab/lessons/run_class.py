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
from kit.working import steps_from

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
    return guess_of(
        "10 guess",
        lambda: 100 * float(power(pairs(), scatter(), EFFECT)),
        stations=STATIONS,
        tubes=TUBES,
        effect=EFFECT,
    )


def exercises() -> tuple[Exercise, ...]:
    its, one = scatter(), pairs(8)
    batter, tube = its.batter_points, its.tube_sd(0, value("trial_fill_g"))
    known = {
        "s": (batter, "percentage points", "sd between batters"),
        "t": (tube, "percentage points", "sd between tubes"),
        "r": (TUBES, "", "tubes of a batter"),
        "n": (one.stations, "", "stations"),
        "B": (2 * one.stations, "", "batters"),
        "m": (CHOP_MIN, "min", "chopping and cleaning of a batter"),
        "c": (CHOPPERS, "", "choppers"),
        "k": (2, "", "times narrower"),
        "e": sqrt(2 * (batter**2 + tube**2 / TUBES) / one.stations),
        "h": 2 * one.stations * CHOP_MIN / CHOPPERS,
        "N": one.stations * 4,
    }

    def worked(what: str, formula: str, unit: str):
        working = steps_from(known, (what, formula, unit))
        return lambda: (working[0].answer, working)

    return (
        exercise(
            "10 standard error",
            worked("standard error", "e = √(2 × (s ^ 2 + t ^ 2 / r) / n)", "percentage points"),
            lambda: sqrt(2 * (batter**2 + tube**2) / (one.stations * TUBES)),
            batter=batter,
            tube=tube,
            stations=one.stations,
            tubes=TUBES,
        ),
        exercise(
            "10 chopping",
            worked("work of one chopper", "h = B × m / c", "min"),
            lambda: 2.0 * one.stations * CHOP_MIN,
            chop_min=CHOP_MIN,
            batters=2 * one.stations,
            choppers=CHOPPERS,
        ),
        exercise(
            "10 stations",
            worked("stations", "N = n × k ^ 2", "stations"),
            lambda: 2.0 * one.stations,
            stations=one.stations,
        ),
    )

"""Lesson 10: a class that can see what it asks. What decides is the number of stations, over the scatter of batters."""

from functools import cache
from math import sqrt

from kit.lab.lessons import Exercise, Guess
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
    return Guess(
        f"{STATIONS} stations make two batters each, of {TUBES} tubes, and the true effect is {EFFECT:g} percentage points. "
        "In how many of 100 such classes does the interval leave 0 out, so that the effect is seen?",
        "of 100",
        lambda: 100 * float(power(pairs(), scatter(), EFFECT)),
        8,
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
        Exercise(
            f"Batters scatter by {batter:g} and tubes by {tube:g} percentage points. {one.stations} stations make two batters each, of {TUBES} tubes. "
            "What is the standard error of the effect, in percentage points?",
            "percentage points",
            worked("standard error", "e = √(2 × (s ^ 2 + t ^ 2 / r) / n)", "percentage points"),
            0.02,
            (
                "A batter's mean scatters by its own scatter and by a third of the squares of its tubes; a difference of two has twice that.",
                "√(2 × (s² + t²/3) / stations).",
            ),
            (
                (
                    "tubes are not independent batters: divide by the stations, not by all tubes.",
                    lambda: sqrt(2 * (batter**2 + tube**2) / (one.stations * TUBES)),
                ),
            ),
        ),
        Exercise(
            f"Chopping with cleaning takes {CHOP_MIN} min a batter. How many minutes do {2 * one.stations} batters need in {CHOPPERS} choppers, before anything else?",
            "min",
            worked("work of one chopper", "h = B × m / c", "min"),
            0.5,
            ("How many batters does each chopper get?", "Batters over choppers, times minutes."),
            (
                (
                    "that is all the work; the choppers share it.",
                    lambda: 2.0 * one.stations * CHOP_MIN,
                ),
            ),
        ),
        Exercise(
            f"How many stations make the interval of {one.stations} stations about half as wide?",
            "stations",
            worked("stations", "N = n × k ^ 2", "stations"),
            1,
            ("The standard error falls with the root of the stations.", "Four times as many."),
            (("twice the stations narrow it by √2 only.", lambda: 2.0 * one.stations),),
        ),
    )

"""What does the class ask, and can so many stations see the answer?"""

from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from math import prod
from typing import Any

import numpy as np

from kit import units
from kit.classroom.plan import ClassPlan
from kit.errors import KitError
from kit.faults import need_said, said
from kit.lab.charts import trial as charts
from kit.lab.panels.controls import Needs, controls_of, needing
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.run_class.pieces import ClassPanel, cautions, points, start_plan
from kit.lab.panels.view import columns
from kit.reading.class_kept import read_scatter
from kit.sheet import Sheet
from kit.tables import value as number
from kit.trial.design import Design, design, power, smallest_effect, unit_sd
from kit.trial.question import BATH, RESPONSES, ask, factors
from kit.trial.scatter import NAMES, ClassScatter

EACH = {"one of each level": -1, "two of each level": -2, "one batter alone": 1}
SIDE = (1, 2, 4, 6)
"""tubes of a batter whose lines are drawn beside the chosen one"""


@dataclass(frozen=True, eq=False)
class AskedClass:
    """The plan, and its chances."""

    plan: ClassPlan
    chance: float
    by_stations: dict[int, np.ndarray]


def question_panel(sheet: Sheet | None = None) -> Panel:
    """Factor, levels, smallest difference, stations, batters and tubes: the chance of seeing the difference, beside the model's prediction."""
    start = start_plan(sheet)
    key = "+".join(start.factor)
    known = [(one.label, name) for name, one in factors().items()]
    if len(start.factor) > 1:
        known.append((" and ".join(factors()[one].label for one in start.factor), key))
    written = "; ".join(", ".join(f"{level:g}" for level in its) for its in start.levels)
    held = next(
        (n for n in EACH.values() if _batters(n, start.factor, start.levels) == start.batters),
        start.batters,
    )
    each = tuple(EACH.items()) if held in EACH.values() else (*EACH.items(), (f"{held}", held))
    responses = tuple((words, name) for name, (_, words) in RESPONSES.items())
    kinds = tuple((one, one) for one in NAMES)
    if isinstance(start.scatter, ClassScatter):
        kinds = (*kinds, (start.scatter.name, start.scatter))
    no_file = Needs(("earlier",), "the file of an earlier class says it", (None,))
    offered = {"factor": known, "response": responses, "batters": each, "scatter": kinds}
    starts: dict[str, Any] = {"factor": key, "levels": written, "batters": held}
    starts |= {one: getattr(start, one) for one in ("response", "stations", "tubes", "scatter")}
    starts["worth_points"] = start.worth_knowing_points
    controls = controls_of("class question", options=offered, **starts)
    controls = needing(controls, {"scatter": no_file})

    def asked(values) -> ClassPlan:
        chosen = tuple(values["factor"].split("+"))
        levels = _levels(chosen, values["levels"], "" if chosen == start.factor else written)
        batters = _batters(values["batters"], chosen, levels)
        return replace(
            start,
            factor=chosen,
            levels=levels,
            batters=batters,
            response=values["response"],
            worth_knowing_points=values["worth_points"],
            stations=int(values["stations"]),
            tubes=int(values["tubes"]),
            scatter=read_scatter(values["earlier"][1]) if values["earlier"] else values["scatter"],
            kind=start.kind if (chosen, batters) == (start.factor, start.batters) else "",
        )

    return ClassPanel(
        "The question",
        controls,
        asked,
        lambda plan: AskedClass(plan, 100 * plan.chance, _chances(plan)),
        question_view,
        {"power": charts.power_chart, "stations": charts.stations_chart},
        {
            "Four stations, nine tubes": {"stations": 4, "tubes": 9},
            "One batter a station": {"batters": 1},
            "Rough hands": {"scatter": "rough"},
            "Bath temperature as the question": {"factor": "core_C", "levels": ""},
        },
    )


def _batters(choice: int, chosen: tuple[str, ...], levels: tuple[tuple[float, ...], ...]) -> int:
    """How many batters a choice of `EACH` is; of a bath's temperature the runs of each level, of which one says nothing."""
    if choice > 0:
        return choice
    bath = any(factors()[one].set_at == BATH for one in chosen)
    return 1 - choice if bath else -choice * prod(map(len, levels))


def _levels(chosen: tuple[str, ...], text: str, written: str) -> tuple[tuple[float, ...], ...]:
    """Levels as typed, in the factor's unit or with another; the usual two where nothing is typed, or what was the start's of another factor."""
    known = [factors()[one] for one in chosen]
    if text.strip() in ("", written):
        return tuple((one.level_1, one.level_2) for one in known)
    parts = text.split(";")
    need_said(len(parts) == len(known), "lists of levels", text=text[:60], count=len(known))
    return tuple(
        tuple(_level(each, one.unit, one.label) for each in part.split(","))
        for one, part in zip(known, parts)
    )


def _level(text: str, unit: str, label: str) -> float:
    """One level: a plain number in the factor's unit, or a temperature with its own."""
    plain = text.strip().replace("−", "-")
    try:
        return float(plain)
    except ValueError:
        if unit == "°C":
            return units.read(plain, "C", label)
    raise KitError(said("no level", label=label, text=text.strip()[:40], unit=unit))


def question_view(found: AskedClass, values, system: str) -> View:
    plan, chance = found.plan, found.chance
    worth, its, step_g = plan.worth_knowing_points, plan.spread, plan.room.balance_step_g
    said = plan.predicted
    low, middle, high = (round(one, 1) + 0.0 for one in said.range_points(said.main))
    least = smallest_effect(plan.design, its, balance_step_g=step_g)
    unit = "bath run" if plan.question.at_bath else "batter"
    sentence = (
        f"{plan.design.stations} stations with {plan.batters} {unit}{'s' * (plan.batters > 1)}{' of each level' * plan.question.at_bath} and {plan.tubes} tube{'s' * (plan.tubes > 1)} of each "
        f"see a difference of {worth:g} percentage points in {chance:.0f} of 100 classes. "
        f"The model predicts {middle:.1f} ({low:.1f} to {high:.1f})."
    )
    wanted = 100 * number("trial_chance")
    enough = (f"{s}" for s, pct in found.by_stations.items() if pct[0] >= wanted)
    needed = next(enough, f"more than {charts.MOST_STATIONS}")
    of = f"{wanted:.0f} of 100 classes"
    rows = (
        ("comparison", "; ".join(plan.question.contrasts())),
        (
            "predicted by the model, 90 % interval",
            f"{points(low, middle, high, '-')} percentage points",
        ),
        ("first limit of the model to fail, level by level", ", ".join(said.fails_first)),
        (f"effect seen in {of}", f"{least:.1f} percentage points"),
        (f"stations for {of}, at {worth:g} percentage points", needed),
        ("confounded in this design", "; ".join(plan.design.confounded)),
    )
    at = {"points": worth, "pct": chance, "words": f"{chance:.0f} %"}
    grid = np.linspace(0, charts.MOST_POINTS, 61)
    nearest = min(abs(low), abs(high)) if low * high > 0 else 0
    chances = {
        "model": [{"low": nearest, "high": max(abs(low), abs(high))}],
        "worth": [{"points": worth}],
        "curve": columns(points=grid, pct=100 * power(plan.design, its, grid, step_g)),
        "here": [at],
    }
    stations = _by_stations(plan, found.by_stations) | {"here": [at | {"stations": plan.stations}]}
    tables = (Table("Question and prediction", ("what", "value"), rows),)
    data = {"power": chances, "stations": stations}
    return View(sentence, data, tables=tables, cautions=cautions(plan)).of(said, its)


def _by_stations(plan: ClassPlan, chances: dict[int, np.ndarray]) -> dict[str, list[dict]]:
    """Rows of the chart of stations: the chosen tubes, and others beside."""
    lines = [
        [{"stations": s, "tubes": tubes, "pct": float(pct[n])} for s, pct in chances.items()]
        for n, tubes in enumerate((plan.tubes, *SIDE))
    ]
    return {"others": [row for line in lines[1:] for row in line], "curve": lines[0]}


def _chances(plan: ClassPlan) -> dict[int, np.ndarray]:
    """Stations -> chance in % of seeing the smallest difference, for the chosen tubes and for those of `SIDE`.

    The tubes change nothing but the scatter of a batter's mean: a smaller scatter sees what a larger effect would show.
    """
    key = plan.factor, plan.levels, plan.batters
    found = {}
    for one in _designs(*key):
        sd = [
            unit_sd(replace(one, tubes=tubes), plan.spread, plan.room.balance_step_g)
            for tubes in (one.tubes, plan.tubes, *SIDE)
        ]
        alike = plan.worth_knowing_points * sd[0] / np.asarray(sd[1:])
        found[one.stations] = 100 * power(one, plan.spread, alike, plan.room.balance_step_g)
    return found


@lru_cache(maxsize=16)
def _designs(factor, levels, batters: int) -> tuple[Design, ...]:
    """Designs of few and many stations with one tube of each batter."""
    question, found = ask(factor, levels), []
    for stations in range(2, charts.MOST_STATIONS + 1):
        with suppress(KitError):  # so many stations do not carry such sets
            found.append(design(question, stations, batters, 1))
    return tuple(found)

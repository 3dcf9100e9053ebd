"""The plan of a class as plan.toml: everything that its papers are made from, the batter's sheet among it. Writing what was read gives the same bytes."""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from kit.classroom.hand_in import MarkTable
from kit.classroom.plan import PAPERS, ClassPlan
from kit.classroom.tasks import NUMBERS, OUTCOMES, STEPS, WHOLE, ClassRoom, StepMinutes, WaitLimits
from kit.files import toml_lines
from kit.reading.class_toml import FLAG, ClassToml, MayHold, number, numbers, one_of
from kit.sheet.sheet import sheet_of
from kit.trial.design import KINDS
from kit.trial.question import RESPONSES, factors
from kit.trial.scatter import NAMES, PARTS, ClassScatter, of_class
from kit.units import METRIC, US

KIND, VERSION = "class plan", 1
OWN = "own"
"""scatter of an earlier class, written in [scatter]"""


def _factor(value):
    its = [value] if isinstance(value, str) else value
    if not isinstance(its, list) or not 1 <= len(its) <= 2 or not {*map(str, its)} <= {*factors()}:
        raise ValueError
    return tuple(its)


def _name(value):
    if not isinstance(value, str) or not 0 < len(value.strip()) <= 60:
        raise ValueError
    return value


NAME = MayHold(_name, "write a text of 1 to 60 characters")
_CHECKS = (
    {name: number(*ends, whole=True) for name, ends in WHOLE.items()}
    | {name: number(*ends) for name, ends in NUMBERS.items()}
    | {
        "factor": MayHold(_factor, f"one or two of: {', '.join(factors())}"),
        "levels": numbers(float, "levels = [13, 18]", nested=True),
        "response": one_of(*RESPONSES),
        "kind": one_of("", *KINDS),
        "scatter": one_of(*NAMES, OWN),
        "absent": numbers(int, "absent = [3]"),
        "sessions_min": numbers(int, "sessions_min = [90, 90]"),
        **dict.fromkeys(("overnight", "cured", "eaten"), FLAG),
    }
)


def _of(*names: str) -> dict[str, MayHold]:
    return {name: _CHECKS[name] for name in names}


def usual_parts() -> dict[str, Any]:
    """The tables that are a class of the library, as they are where nothing is said."""
    return {
        "room": ClassRoom(),
        "minutes": StepMinutes.usual(),
        "limits": WaitLimits.usual(),
        "marks": MarkTable.usual(),
    }


TABLES: dict[str, dict[str, MayHold]] = {
    "": {"kind": one_of(KIND), "version": number(VERSION, VERSION, whole=True)}
    | _of("class_number", "seed")
    | {"paper": one_of(*PAPERS), "units": one_of(METRIC, US)},
    "question": _of("factor", "levels", "response", "worth_knowing_points"),
    "design": _of(
        *("kind", "stations", "batters", "tubes", "lots", "scatter"),
        *("absent", "dropped_tubes", "least_kg"),
    ),
    "room": _of(*(one.name for one in fields(ClassRoom))),
    "minutes": _of(*STEPS),
    "limits": _of(*(one.name for one in fields(WaitLimits))),
    "marks": _of(*OUTCOMES),
    "batter": _of("cured", "eaten"),
}
"""table -> key -> what it may hold, in the order in which they are written"""
PRICE = {"name": NAME, "per_kg": number(0, 1e6)}
SCATTER = (
    {"name": NAME, "stations": _CHECKS["stations"]}
    | {f"{part}_points": number(0, 50) for part in PARTS}
    | {f"{part}_points_90": numbers(float, "[low, high]") for part in PARTS}
)


def plan_toml(plan: ClassPlan) -> str:
    """The text of plan.toml; reading it back gives an equal plan."""
    own = plan.scatter if isinstance(plan.scatter, ClassScatter) else None
    parts = {}
    for table, checks in TABLES.items():
        holder = getattr(plan, table) if table in usual_parts() else plan
        parts[table] = {key: getattr(holder, key, None) for key in checks}
    parts[""] |= {"kind": KIND, "version": VERSION}
    if len(plan.factor) == 1:
        parts["question"] |= {"factor": plan.factor[0], "levels": plan.levels[0]}
    if own:
        parts["design"]["scatter"] = OWN
        parts["scatter"] = scatter_entries(own)
    blocks = [(f"[{name}]\n" if name else "") + toml_lines(its) for name, its in parts.items()]
    for name, price in plan.prices.items():
        blocks.append("[[price]]\n" + toml_lines({"name": name, "per_kg": price}))
    sheet = plan.sheet.as_dict()
    blocks.append("[sheet]\n" + toml_lines({k: v for k, v in sheet.items() if isinstance(v, str)}))
    for part, held in sheet.items():
        if isinstance(held, Mapping):
            blocks.append(f"[sheet.{part}]\n" + toml_lines(held))
        elif not isinstance(held, str):
            blocks += [f"[[sheet.{part}]]\n" + toml_lines(entry) for entry in held]
    return "\n".join(blocks)


def scatter_entries(its: ClassScatter) -> dict:
    """What [scatter] holds."""
    ends = {f"{part}_points_90": (low, high) for part, low, high in its.points_90}
    return {key: getattr(its, key) for key in SCATTER if not key.endswith("_90")} | ends


def read_plan(source) -> ClassPlan:
    """The plan held by a path (.toml), TOML text or bytes. What is left out has its usual value; no price and no text is evaluated.

    Faulty with every fault at once: row, key, limit and what to try.
    """
    said = ClassToml(source, "", "plan in", KIND)
    data, faults = said.data, said.faults
    others = {
        key: value
        for key, value in data.items()
        if key not in (*TABLES, "price", "sheet", "scatter")
    }
    parts = {
        table: said.table(table, data.get(table, {}) if table else others, checks)
        for table, checks in TABLES.items()
    }
    for key in ("kind", "version"):
        parts[""].pop(key, None)
    given = parts[""] | parts["question"] | parts["design"] | parts["batter"]
    for table, usual in usual_parts().items():
        with said.caught(table):
            given[table] = replace(usual, **parts[table])
    prices = {}
    for n, one in enumerate(said.list("price", PRICE)):
        if len(one) < len(PRICE) and not faults.found:
            said.add("price", "", f"price {n + 1} needs a name and per_kg", at=n)
        elif one.get("name") in prices:
            said.add("price", "name", f"{one['name'][:60]!r} has two prices", "keep one", n)
        else:
            prices[one.get("name")] = one.get("per_kg")
    given["prices"] = prices
    if given.get("scatter") == OWN:
        given["scatter"] = scatter_said(said, data.get("scatter"))
    with said.caught("sheet"):
        given["sheet"] = sheet_of(said.mapping("sheet", data.get("sheet")))
    faults.stop_if_any()
    factor, levels = given.get("factor", ClassPlan.factor), given.get("levels")
    if levels is None and "factor" in given:
        asked_of = [factors()[key] for key in factor]
        given["levels"] = tuple((one.level_1, one.level_2) for one in asked_of)
    elif levels is not None:
        given["levels"] = levels if levels and isinstance(levels[0], tuple) else (levels,)
        if len(given["levels"]) != len(factor) or not levels:
            remedy = "levels = [13, 18] for one factor, [[13, 18], [2, 0.5]] for two"
            said.stop(
                "question", "levels", f"{len(factor)} factor, and levels {levels!r:.60}", remedy
            )
    with said.caught("question"):
        asked = ClassPlan(**given)
        # levels that the factor or the batter cannot take are told here
        faults.lost = not (asked.question and asked.sheets)
    faults.stop_if_any()
    with said.caught("design"):
        faults.lost = not asked.design.units
    faults.stop_if_any()
    return asked


def scatter_said(said: ClassToml, held) -> ClassScatter | None:
    """The scatter of an earlier class; None where it is faulty."""
    its = said.table("scatter", held, SCATTER)
    needed = ("name", *(f"{part}_points" for part in PARTS))
    missing = [key for key in needed if key not in its]
    ends = {part: its[f"{part}_points_90"] for part in PARTS if f"{part}_points_90" in its}
    for part, pair in ends.items():
        if len(pair) != 2 or not 0 <= pair[0] <= pair[1]:
            key = f"{part}_points_90"
            said.add("scatter", key, f"{key} is {pair!r:.60}", "give [low, high], 0 or more")
    if missing and not said.faults.found:
        remedy = f"write {missing[0]}; keys: {', '.join(SCATTER)}"
        said.add("scatter", missing[0], f"{missing[0]} is missing", remedy)
    if said.faults.found:
        return None
    points = {part: its[f"{part}_points"] for part in PARTS}
    pairs = tuple((part, pair[0], pair[1]) for part, pair in ends.items())
    return of_class(its["name"], points, its.get("stations", 0), pairs)

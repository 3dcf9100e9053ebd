"""The plan of a class as plan.toml: everything that its papers are made from, the batter's sheet among it. Writing what was read gives the same bytes."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from kit.classroom.hand_in import MarkTable
from kit.classroom.plan import PAPERS, ClassPlan
from kit.classroom.tasks import ClassRoom, StepMinutes, WaitLimits
from kit.files import toml_text
from kit.reading.class_toml import FLAG, ClassToml, MayHold, is_text, number, numbers, one_of
from kit.sheet.sheet import sheet_of
from kit.trial.design import KINDS
from kit.trial.question import RESPONSES, factors
from kit.trial.rows import BOUNDS, FIELDS
from kit.trial.scatter import NAMES, PARTS, ClassScatter, of_class
from kit.units import METRIC, US

KIND, VERSION = "class plan", 1
OWN = "own"
"""scatter of an earlier class, written in [scatter]"""
LEVELS = numbers(float, "levels = [13, 18], and [[13, 18], [2, 0.5]] for two factors")


def _each(value) -> list:
    """The parts of what may be a list of them, or one alone."""
    return value if isinstance(value, list) else [value]


def _by_factor(value) -> list:
    """A list of levels for each factor; of one factor it may stand alone."""
    several = isinstance(value, list) and any(isinstance(one, list) for one in value)
    return value if several else [value]


def _ends(value) -> bool:
    return LEVELS.fits(value) and len(value) == 2 and 0 <= value[0] <= value[1]


_NAME = "write a text of 1 to 60 characters"
_CHECKS = {
    "name": MayHold(lambda its: is_text(its) and 0 < len(its.strip()) <= 60, _NAME),
    "ends": MayHold(_ends, "give [low, high], 0 or more", LEVELS.made),
    "levels": MayHold(
        lambda its: all(map(LEVELS.fits, _by_factor(its))),
        LEVELS.remedy,
        lambda its: tuple(map(LEVELS.made, _by_factor(its))),
    ),
    "factors": MayHold(
        lambda its: 1 <= len(_each(its)) <= 2 and {*map(str, _each(its))} <= {*factors()},
        f"one or two of: {', '.join(factors())}",
        lambda its: tuple(_each(its)),
    ),
}
_ONE_OF = {
    "paper": PAPERS,
    "units": (METRIC, US),
    "response": tuple(RESPONSES),
    "kind": ("", *KINDS),
    "scatter": (*NAMES, OWN),
}


def _check(row: Mapping[str, str]) -> MayHold:
    """What a key of FIELDS may hold."""
    key, holds = row["key"], row["holds"]
    if holds == "one":
        return one_of(*_ONE_OF[key]) if key in _ONE_OF else FLAG
    if holds == "list":
        return numbers(int, f"{key} = {row['such']}")
    return _CHECKS[holds] if holds in _CHECKS else number(*BOUNDS[key])


def _table(name: str) -> dict[str, MayHold]:
    return {row["key"]: _check(row) for row in FIELDS if row["table"] == name}


TABLES = {
    name: _table(name)
    for name in ("", "question", "design", "room", "minutes", "limits", "marks", "batter")
}
"""table -> key -> what it may hold, in the order in which they are written"""
PRICE, SCATTER = _table("price"), _table("scatter")


def usual_parts() -> dict[str, Any]:
    """The tables that are a class of the library, as they are where nothing is said."""
    return {
        "room": ClassRoom(),
        "minutes": StepMinutes.usual(),
        "limits": WaitLimits.usual(),
        "marks": MarkTable.usual(),
    }


def plan_toml(plan: ClassPlan) -> str:
    """The text of plan.toml; reading it back gives an equal plan."""
    parts: dict[str, dict] = {}
    for table, checks in TABLES.items():
        holder = getattr(plan, table) if table in usual_parts() else plan
        parts[table] = {key: getattr(holder, key, None) for key in checks}
    if len(plan.factor) == 1:
        parts["question"] |= {"factor": plan.factor[0], "levels": plan.levels[0]}
    if isinstance(plan.scatter, ClassScatter):
        parts["design"]["scatter"] = OWN
        parts["scatter"] = scatter_entries(plan.scatter)
    top = {"kind": KIND} | parts.pop("") | {"version": VERSION}
    prices = [{"name": name, "per_kg": price} for name, price in plan.prices.items()]
    return toml_text({**top, **parts, "price": prices, "sheet": plan.sheet.as_dict()})


def scatter_entries(its: ClassScatter) -> dict:
    """What [scatter] holds."""
    ends = {f"{part}_points_90": (low, high) for part, low, high in its.points_90}
    return {key: getattr(its, key) for key in SCATTER if not key.endswith("_90")} | ends


def read_plan(source) -> ClassPlan:
    """The plan held by a path (.toml), TOML text or bytes. What is left out has its usual value; no price and no text is evaluated.

    Faulty with every fault at once: row, key, limit and what to try.
    """
    said = ClassToml(source, "", "plan in", KIND)
    data, prices = said.data, dict[str, float]()
    given = said.top(TABLES[""], (*TABLES, "price", "sheet", "scatter"))
    given.pop("version", None)
    usual = usual_parts()
    for table, checks in [*TABLES.items()][1:]:
        its = said.table(table, data.get(table, {}), checks)
        with said.caught(table):
            given |= {table: replace(usual[table], **its)} if table in usual else its
    for n, one in enumerate(said.list("price", PRICE, PRICE)):
        name = one.get("name", "")
        if name in prices:
            said.add("price", "name", f"{name[:60]!r} has two prices", "keep one", n)
        if name:
            prices[name] = one.get("per_kg", 0.0)
    if given.get("scatter") == OWN:
        given["scatter"] = scatter_said(said, "scatter", data.get("scatter"))
    with said.caught("sheet"):
        given["sheet"] = sheet_of(said.mapping("sheet", data.get("sheet")))
    said.faults.stop_if_any()
    asked_of = [factors()[key] for key in given.get("factor", ClassPlan.factor)]
    given.setdefault("levels", tuple((one.level_1, one.level_2) for one in asked_of))
    with said.caught("question", key="levels"):
        plan = ClassPlan(**given, prices=prices)
        _ = plan.question, plan.sheets  # levels that the factor or the batter cannot take
    said.faults.stop_if_any()
    with said.caught("design"):
        _ = plan.design
    said.faults.stop_if_any()
    return plan


def scatter_said(said: ClassToml, table: str, held) -> ClassScatter | None:
    """The scatter of an earlier class; None where something is faulty."""
    parts = {part: f"{part}_points" for part in PARTS}
    its = said.table(table, held, SCATTER, ("name", *parts.values()))
    if said.faults.found:
        return None
    points = {part: its[key] for part, key in parts.items()}
    ends = {part: its.get(f"{key}_90") for part, key in parts.items()}
    pairs = tuple((part, *pair) for part, pair in ends.items() if pair)
    return of_class(its["name"], points, its.get("stations", 0), pairs)

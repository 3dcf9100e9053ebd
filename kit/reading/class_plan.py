"""The plan of a class as plan.toml: everything that its papers are made from, the batter's sheet among it. Writing what was read gives the same bytes."""

import json
from collections.abc import Mapping
from dataclasses import fields
from math import isfinite
from pathlib import Path

from kit.classroom.hand_in import MOST_MARK, MarkTable
from kit.classroom.plan import PAPERS, ClassPlan
from kit.classroom.tasks import STEPS, ClassRoom, StepMinutes, WaitLimits
from kit.errors import Faulty, KitError, nearest
from kit.faults import REFUSED, Cell, Faults
from kit.files import number_text, put
from kit.reading.opener import load, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.sheets import _rows
from kit.sheet.sheet import sheet_of
from kit.trial.design import KINDS
from kit.trial.question import RESPONSES, factors
from kit.trial.scatter import NAMES, PARTS, ClassScatter, of_class
from kit.units import METRIC, US

KIND, VERSION = "class plan", 1
OWN = "own"
"""scatter of an earlier class, written in [scatter]"""
POINTS = tuple(f"{part}_points" for part in PARTS)
SCATTER = ("name", "stations", *POINTS, *(f"{one}_90" for one in POINTS))
_MARKS = tuple(one.name for one in fields(MarkTable))
_FILE = FileLimits((".toml",), 400_000, "a plan is one class; keep one file for each")
_MOST = 50
"""of prices and of parts of a list"""
_WHOLE = {
    "class_number": (1, 9999),
    "seed": (0, 2**31),
    "stations": (2, 99),
    "batters": (1, 9),
    "tubes": (1, 9),
    "lots": (1, 99),
    "dropped_tubes": (0, 8),
    "choppers": (1, 99),
    "bath_places": (1, 2000),
    "balances": (1, 99),
    "people": (1, 400),
    "version": (VERSION, VERSION),
}
_NUMBERS = {
    "worth_knowing_points": (0.1, 20),
    "bath_C": (55, 98),
    "balance_step_g": (0.001, 20),
    "least_kg": (0.02, 50),
    "per_kg": (0, 1e6),
    **dict.fromkeys(POINTS, (0, 50)),
    **dict.fromkeys(STEPS, (0.5, 240)),
    "batter_wait_min": (0, 120),
    "wait_difference_min": (0, 60),
    "after_bath_min": (0, 60),
    "raw_above_min": (0, 120),
    **dict.fromkeys(_MARKS, (0, MOST_MARK)),
}
_CHOICES = {
    "kind": ("", *KINDS),
    "response": tuple(RESPONSES),
    "scatter": (*NAMES, OWN),
    "paper": PAPERS,
    "units": (METRIC, US),
}
_FLAGS = ("overnight", "cured", "eaten")
_TABLES = {
    "": ("kind", "version", "class_number", "seed", "paper", "units"),
    "question": ("factor", "levels", "response", "worth_knowing_points"),
    "design": (
        *("kind", "stations", "batters", "tubes", "lots", "scatter"),
        *("absent", "dropped_tubes", "least_kg"),
    ),
    "room": tuple(one.name for one in fields(ClassRoom)),
    "minutes": STEPS,
    "limits": tuple(one.name for one in fields(WaitLimits)),
    "batter": ("cured", "eaten"),
    "marks": _MARKS,
}


def write_plan(plan: ClassPlan, path, overwrite: bool = False) -> Path:
    """Write plan.toml, whole or not at all; reading it back gives an equal plan. KitError if a file is there and `overwrite` is not True."""
    return put(path, plan_toml(plan), (".toml",), overwrite)


def plan_toml(plan: ClassPlan) -> str:
    """The text of plan.toml."""
    one = len(plan.factor) == 1
    design = {name: getattr(plan, name) for name in _TABLES["design"]}
    own = plan.scatter if isinstance(plan.scatter, ClassScatter) else None
    design["scatter"] = OWN if own else plan.scatter
    parts: dict[str, dict] = {
        "": {"kind": KIND, "version": VERSION}
        | {name: getattr(plan, name) for name in _TABLES[""][2:]},
        "question": {
            "factor": plan.factor[0] if one else plan.factor,
            "levels": plan.levels[0] if one else plan.levels,
            "response": plan.response,
            "worth_knowing_points": plan.worth_knowing_points,
        },
        "design": design,
        **{
            table: {name: getattr(getattr(plan, table), name) for name in _TABLES[table]}
            for table in ("room", "minutes", "limits", "marks")
        },
        "batter": {"cured": plan.cured, "eaten": plan.eaten},
        **({"scatter": scatter_entries(own)} if own else {}),
    }
    blocks = [(f"[{name}]\n" if name else "") + _entries(its) for name, its in parts.items()]
    blocks += [
        "[[price]]\n" + _entries({"name": name, "per_kg": price})
        for name, price in plan.prices.items()
    ]
    sheet = plan.sheet.as_dict()
    blocks.append("[sheet]\n" + _entries({k: v for k, v in sheet.items() if isinstance(v, str)}))
    for part, held in sheet.items():
        if isinstance(held, Mapping):
            blocks.append(f"[sheet.{part}]\n" + _entries(held))
        elif not isinstance(held, str):
            blocks += [f"[[sheet.{part}]]\n" + _entries(entry) for entry in held]
    return "\n".join(blocks)


def scatter_entries(its: ClassScatter) -> dict:
    ends = {f"{part}_points_90": (low, high) for part, low, high in its.points_90}
    return {key: getattr(its, key) for key in SCATTER[: 2 + len(POINTS)]} | ends


def _entries(entries: Mapping) -> str:
    return "".join(f"{key} = {_value(value)}\n" for key, value in entries.items())


def _value(value) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (tuple, list)):
        return f"[{', '.join(map(_value, value))}]"
    return number_text(value)


def read_plan(source) -> ClassPlan:
    """The plan held by a path (.toml), TOML text or bytes. What is left out has its usual value; no price and no text is evaluated.

    Faulty with every fault at once: row, key, limit and what to try.
    """
    whole, name = load(source, "the given text", _FILE)
    faults = Faults(name, f"The plan in {name} cannot be used")
    data, text, _ = toml_of(whole, faults)
    rows = _rows(text)
    said = _Said(faults, rows)
    if data.get("kind") != KIND:
        remedy = f'begin with kind = "{KIND}"; a batch sheet is read by read_sheet'
        faults.stop(f"this is no plan of a class: kind is {data.get('kind')!r:.60}", remedy=remedy)
    for key in data:
        if key not in (known := (*_TABLES, *_TABLES[""], "price", "sheet", "scatter")):
            said.unknown("", key, known)
    given = said.table("", {k: data[k] for k in _TABLES[""] if k in data and k != "kind"})
    given.pop("version", None)
    tables = {
        table: said.table(table, data.get(table, {}), known)
        for table, known in _TABLES.items()
        if table
    }
    given |= tables["question"] | tables["design"] | tables["batter"]
    makers: dict[str, tuple] = {
        "room": (ClassRoom, {}),
        "minutes": (StepMinutes, vars(StepMinutes.usual())),
        "limits": (WaitLimits, vars(WaitLimits.usual())),
        "marks": (MarkTable, vars(MarkTable.usual())),
    }
    for table, (make, usual) in makers.items():
        with said.caught(table):
            its = usual | {k: v for k, v in tables[table].items() if v is not REFUSED}
            given[table] = make(**its)
    given["prices"] = said.prices(data.get("price", []))
    if given.get("scatter") == OWN:
        given["scatter"] = said.scatter(data.get("scatter"))
    with said.caught("sheet"):
        given["sheet"] = sheet_of(said.mapping("sheet", data.get("sheet")))
    faults.stop_if_any()
    factor = given.get("factor", ClassPlan.factor)
    given["factor"] = (factor,) if isinstance(factor, str) else tuple(factor)
    if "levels" in given:
        levels = given["levels"]
        nested = bool(levels) and all(isinstance(one, tuple) for one in levels)
        given["levels"] = levels if nested else (levels,)
        if len(given["levels"]) != len(given["factor"]) or not levels:
            what = f"{len(given['factor'])} factor, and levels {levels!r:.60}"
            remedy = "levels = [13, 18] for one factor, [[13, 18], [2, 0.5]] for two"
            faults.stop(what, Cell(None, rows.get(("question", 0, "levels"))), "levels", remedy)
    elif "factor" in tables["question"]:
        asked_of = [factors()[key] for key in given["factor"]]
        given["levels"] = tuple((one.level_1, one.level_2) for one in asked_of)
    with said.caught("question"):
        asked = ClassPlan(**given)
        # levels that the factor or the batter cannot take are told here
        faults.lost = not (asked.question and asked.sheets)
    faults.stop_if_any()
    with said.caught("design"):
        faults.lost = not asked.design.units
    faults.stop_if_any()
    return asked


class _Said:
    """What the file says, key by key; faults are noted with their rows."""

    def __init__(self, faults: Faults, rows: Mapping):
        self.faults, self.rows, self.at = faults, rows, ""

    def add(self, table: str, key: str, what: str, remedy: str = "", number: int = 0) -> None:
        row = self.rows.get((table, number, key), self.rows.get((table, number, "")))
        name = f"{table}.{key}" if table and key else table or key
        self.faults.add(what, Cell(None, row), name, remedy)

    def unknown(self, table: str, key: str, known) -> None:
        near = nearest(str(key), known)
        self.add(table, key, f"{str(key)[:60]!r} is not known", f"nearest: {', '.join(near)}")

    def mapping(self, table: str, held) -> Mapping:
        if isinstance(held, Mapping):
            return held
        what = "is missing" if held is None else f"is {str(held)[:60]!r}, no table"
        self.add(table, "", f"[{table}] {what}", f"write [{table}] and its keys below it")
        return {}

    def caught(self, table: str) -> "_Caught":
        return _Caught(self, table)

    def table(self, table: str, held, known=None) -> dict:
        found = {}
        for key, value in self.mapping(table, held).items():
            if known is not None and key not in known:
                self.unknown(table, key, known)
            else:
                found[key] = self.value(table, key, value)
        return found

    def value(self, table: str, key: str, value, number: int = 0):
        if key in _WHOLE or key in _NUMBERS:
            return self.number(table, key, value, number)
        if key in _CHOICES:
            if isinstance(value, str) and value in _CHOICES[key]:
                return value
            choices = ", ".join(filter(None, _CHOICES[key]))
            self.add(table, key, f"{key} is {value!r:.60}", f"write one of: {choices}")
        elif key in _FLAGS:
            if isinstance(value, bool):
                return value
            self.add(table, key, f"{key} is {value!r:.60}", "write true or false")
        elif key == "factor":
            its = [value] if isinstance(value, str) else value
            known = tuple(factors())
            if isinstance(its, list) and 1 <= len(its) <= 2 and all(one in known for one in its):
                return value if isinstance(value, str) else tuple(its)
            near = nearest(value, known) if isinstance(value, str) else known
            self.add(table, key, f"factor is {value!r:.60}", f"nearest: {', '.join(near)}")
        elif key == "name":
            if isinstance(value, str) and 0 < len(value.strip()) <= 60:
                return value
            self.add(table, key, f"name is {value!r:.60}", "write a text of 1 to 60 characters")
        else:  # levels, sessions_min, absent, 90 % intervals
            return self.numbers(table, key, value)
        return REFUSED

    def number(self, table: str, key: str, value, number: int = 0):
        low, high = _WHOLE.get(key) or _NUMBERS[key]
        kind = "a whole number" if key in _WHOLE else "a number"
        plain = isinstance(value, (int, float)) and not isinstance(value, bool)
        if plain and low <= value <= high and (key not in _WHOLE or value == int(value)):
            return int(value) if key in _WHOLE else float(value)
        self.add(table, key, f"{key} is {value!r:.60}", f"give {kind}, {low:g} to {high:g}", number)
        return REFUSED

    def numbers(self, table: str, key: str, value):
        def plain(one) -> bool:
            return (
                isinstance(one, (int, float))
                and not isinstance(one, bool)
                and isfinite(one)
                and abs(one) < 1e6
            )

        lists = isinstance(value, list) and value and all(isinstance(one, list) for one in value)
        nested = key == "levels" and bool(lists)
        flat = [x for one in value for x in one] if nested else value
        if isinstance(flat, list) and len(flat) <= _MOST and all(map(plain, flat)):
            if nested:
                return tuple(tuple(map(float, one)) for one in value)
            return tuple(map(int if key in ("sessions_min", "absent") else float, value))
        example = {"levels": "levels = [13, 18]", "sessions_min": "sessions_min = [90, 90]"}
        said = example.get(key, "absent = [3]")
        self.add(table, key, f"{key} is {value!r:.60}", f"give a list of numbers, such as {said}")
        return REFUSED

    def scatter(self, held) -> ClassScatter | None:
        """The scatter of an earlier class; None where it is faulty."""
        its = self.table("scatter", held, SCATTER)
        for key in ("name", *POINTS):
            if key not in its:
                self.add(
                    "scatter", key, f"{key} is missing", f"write {key}; keys: {', '.join(SCATTER)}"
                )
                return None
        ends = {part: its.get(f"{part}_points_90") for part in PARTS}
        pairs = {part: pair for part, pair in ends.items() if pair is not None}
        for part, pair in pairs.items():
            if pair is not REFUSED and (len(pair) != 2 or not 0 <= pair[0] <= pair[1]):
                key = f"{part}_points_90"
                self.add("scatter", key, f"{key} is {pair!r:.60}", "give [low, high], 0 or more")
        if REFUSED in its.values() or self.faults.found:
            return None
        points = {part: its[f"{part}_points"] for part in PARTS}
        pairs_90 = tuple((part, pair[0], pair[1]) for part, pair in pairs.items())
        return of_class(its["name"], points, its.get("stations", 0), pairs_90)

    def prices(self, held) -> dict[str, float]:
        if not isinstance(held, list) or len(held) > _MOST:
            what = f"prices are not [[price]] entries, at most {_MOST}"
            self.add("price", "", what, 'write [[price]], name = "..." and per_kg = 6.5')
            return {}
        found = {}
        for n, one in enumerate(held):
            its = one if isinstance(one, Mapping) else {}
            name = its.get("name")
            if set(its) != {"name", "per_kg"} or not isinstance(name, str) or not name.strip():
                what = f"price {n + 1} needs a name and per_kg, and nothing else"
                self.add("price", "", what, 'write name = "..." and per_kg = 6.5', n)
            elif name in found:
                self.add("price", "name", f"{name[:60]!r} has two prices", "keep one", n)
            else:
                found[name] = self.number("price", "per_kg", its["per_kg"], n)
        return found


class _Caught:
    """Notes what the library refuses as a fault of a table."""

    def __init__(self, said: _Said, table: str):
        self.said, self.table = said, table

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace) -> bool:
        if not isinstance(error, KitError):
            return False
        if isinstance(error, Faulty):
            for one in error.faults:
                self.said.add(self.table, "", f"{one.where}: {one.what}".lstrip(": "), one.remedy)
        else:
            self.said.add(self.table, "", str(error))
        return True

"""When does which station do what? The shortest timetable, or which change would make one possible."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from kit.classroom.tasks import (
    BALANCE,
    BATH,
    ClassRoom,
    StepMinutes,
    WaitLimits,
    Work,
    work_of,
)
from kit.errors import KitError, need
from kit.faults import said
from kit.trial.design import Design, design
from kit.trial.rows import BOUNDS
from kit.working import Result

EFFORT = 0.5
"""of the solver, in its own measure: about five seconds; the same answer on any machine"""
WAITS = {
    "batter_wait_min": "Longest wait of any batter",
    "raw_above_min": "raw",
    "wait_difference_min": "greatest difference inside a station",
    "after_bath_min": "after the bath",
}
METHODS = ("best possible", "found", "impossible", "undecided")


@dataclass(frozen=True)
class Booked:
    """One task with its minutes, from the start of the session."""

    session: int
    key: tuple
    start_min: int
    end_min: int
    chopper: int = 0
    """that a step to chop uses"""

    @property
    def minutes(self) -> str:
        """From when to when; the session where it is not the first."""
        session = f" (session {self.session})" if self.session > 1 else ""
        return f"{self.start_min}–{self.end_min}{session}"


@dataclass(frozen=True, eq=False)
class Timetable(Result):
    """`method`: best possible, found (a better one is not excluded), impossible (proved) or undecided."""

    rows: tuple[Booked, ...]
    method: str
    because: str
    """the resource whose work alone does not fit, where impossible"""
    changes: tuple[tuple[str, int], ...]
    """(words, minute at which it ends): single changes that make an impossible room possible"""

    @property
    def ends_min(self) -> int:
        return max((row.end_min for row in self.rows), default=0)

    @property
    def placed(self) -> bool:
        return self.method in METHODS[:2]

    @property
    def no_times(self) -> str:
        """Why there are no clock times, and what would make some."""
        ways = "; ".join(f"{words} (ends at minute {ends})" for words, ends in self.changes)
        why = self.because or "no order of the steps was found"
        return f"{self.method}: {why}. What would do: {ways or 'no single change; take fewer stations or tubes, or more minutes'}"

    @property
    def waits(self) -> dict[str, int]:
        """The longest of each wait, min, by the field of WaitLimits that it is held to."""
        at = {row.key: row for row in self.rows}
        found = dict.fromkeys(WAITS, 0)
        before: dict[int, int] = {}

        def waited(name: str, minutes: int) -> None:
            found[name] = max(found[name], minutes)

        for (station, batter, step), row in sorted(at.items()):
            chop, fill = (at.get((station, batter, one)) for one in ("chop", "fill"))
            if step == "fill" and chop:
                waited("batter_wait_min", row.start_min - chop.end_min)
            elif step == "bath" and chop and fill:
                stood = row.start_min - chop.end_min
                waited("wait_difference_min", abs(stood - before.get(station, stood)))
                before[station] = stood
                if fill.session == row.session:
                    waited("batter_wait_min", row.start_min - fill.end_min)
                    waited("raw_above_min", row.start_min - chop.start_min)
            elif step == "read":
                bath = at.get((station, batter, "bath")) or at[0, batter, "bath"]
                waited("after_bath_min", row.start_min - bath.end_min)
        return found

    def proof(self, limits: WaitLimits) -> list[str]:
        """That the limits are kept, wait by wait."""
        return [
            f"{words} {self.waits[name]} min (limit {getattr(limits, name):g})"
            for name, words in WAITS.items()
        ]


def solved(work: Work, effort: float = EFFORT) -> tuple[str, dict[tuple, int]]:
    """(method, start of each task) of one session, by constraint programming on a grid of one minute. Shortest first, then the most alike waits."""
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        raise KitError(said("no solver")) from None
    model = cp_model.CpModel()
    start: dict[tuple, Any] = {}
    held: dict[str, list] = defaultdict(list)
    end = model.new_int_var(0, work.horizon_min, "end")
    for task in work.tasks:
        fixed = work.begun.get(task.key)
        first = work.from_min if fixed is None else fixed
        latest = work.horizon_min - task.minutes if fixed is None else fixed
        if first > latest:
            return "impossible", {}
        at = start[task.key] = model.new_int_var(first, latest, "")
        span = model.new_fixed_size_interval_var(at, task.minutes, "")
        model.add(end >= at + task.minutes)
        for resource, amount in task.needs.items():
            held[resource].append((span, amount))
    minutes = {task.key: task.minutes for task in work.tasks}
    for task in work.tasks:
        for before, longest in task.after.items():
            gap = start[task.key] - start[before] - minutes[before]
            model.add(gap >= 0)
            if longest is not None:
                model.add(gap <= longest)
    for resource, its in held.items():
        spans, amounts = zip(*its)
        if work.capacity[resource] == 1:
            model.add_no_overlap(spans)
        else:
            model.add_cumulative(spans, amounts, work.capacity[resource])
    gaps = []
    for a, b in work.alike:
        waits = [
            start[key] - start[(*key[:2], "chop")] - minutes[(*key[:2], "chop")] for key in (a, b)
        ]
        gap = model.new_int_var(0, work.difference_min, "")
        model.add_abs_equality(gap, waits[0] - waits[1])
        gaps.append(gap)
    if work.raw_min is not None:
        for key in start:
            if key[2] == "bath" and (*key[:2], "chop") in start:
                model.add(start[key] - start[(*key[:2], "chop")] <= work.raw_min)
    for a, b in work.first if not work.begun else ():
        model.add(start[a] <= start[b])
    most = 1 + work.difference_min * len(gaps)
    model.minimize(most * end + sum(gaps))
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = effort
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    found = _SAID.get(solver.status_name(solver.solve(model)), "undecided")
    placed = found in METHODS[:2]
    return found, {key: solver.value(at) for key, at in start.items()} if placed else {}


_SAID = {"OPTIMAL": "best possible", "FEASIBLE": "found", "INFEASIBLE": "impossible"}


def bound(work: Work) -> tuple[str, int]:
    """(resource, minutes) of the resource that takes longest: its work shared out, and the shortest head and tail around it."""
    by_key = {task.key: task for task in work.tasks}

    @cache
    def head(key: tuple) -> int:
        return max((head(b) + by_key[b].minutes for b in by_key[key].after), default=0)

    tails = dict.fromkeys(by_key, 0)
    for task in sorted(work.tasks, key=lambda one: head(one.key), reverse=True):
        for before in task.after:
            tails[before] = max(tails[before], tails[task.key] + task.minutes)
    worst = ("", 0)
    for resource, capacity in work.capacity.items():
        its = [task for task in work.tasks if resource in task.needs]
        if its:
            load = sum(task.minutes * task.needs[resource] for task in its)
            around = min(head(t.key) for t in its) + min(tails[t.key] for t in its)
            fits = all(task.needs[resource] <= capacity for task in its)
            least = -(-load // capacity) + around if fits else 10**6
            worst = max(worst, (resource, least), key=lambda one: one[1])
    return worst


def timetable(
    planned: Design,
    room: ClassRoom,
    minutes: StepMinutes | None = None,
    limits: WaitLimits | None = None,
    effort: float = EFFORT,
    *,
    changes: bool = True,
) -> Timetable:
    """Clock times of every station's steps.

    planned: the design.
    room: what there is.
    minutes: of the steps; the usual ones where left out.
    limits: of the waits, min; the usual ones where left out.
    effort: of the solver for each session, 0.01 to 10.
    changes: whether to look for what would make an impossible room possible.
    Returns a Timetable.
    Raises KitError where the solver is not installed.
    Source: constraint programming (OR-Tools CP-SAT); its answers are tested by a checker written apart from it.
    """
    need(0.01 <= effort <= 10, f"an effort of {effort:g}; give 0.01 to 10")
    minutes, limits = minutes or StepMinutes.usual(), limits or WaitLimits.usual()
    found = booked(work_of(planned, room, minutes, limits), effort)
    if found.rows or not changes:
        return found
    tried = (
        (words, timetable(**its, effort=0.05, changes=False))
        for words, its in ways(planned, room, minutes, limits)
    )
    return replace(found, changes=tuple((words, t.ends_min) for words, t in tried if t.placed))


def booked(works: Sequence[Work], effort: float = EFFORT) -> Timetable:
    """The sessions' work with its clock times; empty where one of them has none."""
    rows: list[Booked] = []
    methods: list[str] = []
    why = ""
    for session, work in enumerate(works, 1):
        resource, least = bound(work)
        if least > work.horizon_min:
            methods, why = [*methods, "impossible"], because(resource, least, work)
            continue
        method, start = solved(work, effort)
        methods.append(method)
        if method == "impossible":
            why = f"no order of the steps keeps the waits within {work.horizon_min} min (proved)"
        for task in work.tasks if start else ():
            at = start[task.key]
            chopper = next((int(n[8:]) for n in task.needs if n.startswith("chopper ")), 0)
            rows.append(Booked(session, task.key, at, at + task.minutes, chopper))
    method = max(methods, key=METHODS.index)
    return Timetable(tuple(rows) if method in METHODS[:2] else (), method, why, ())


def because(resource: str, least: int, work: Work) -> str:
    """Why one resource alone does not fit."""
    what = resource if resource in (BATH, BALANCE) else resource.split()[0]
    if least >= 10**6:
        return f"the {what}: one step needs more than there are"
    return f"the {what}: work of {least} min in {work.horizon_min}"


def ways(
    planned: Design, room: ClassRoom, minutes: StepMinutes, limits: WaitLimits
) -> list[tuple[str, dict]]:
    """Single changes that may help a room, in words, each with all that `work_of` takes."""

    def again(stations: int = planned.stations, tubes: int = planned.tubes) -> Design:
        return design(planned.question, stations, planned.batters, tubes, planned.seed)

    def of_room(words: str, **more: int) -> tuple[str, dict]:
        its: dict[str, Any] = {n: min(value, int(BOUNDS[n].high)) for n, value in more.items()}
        return words, {"room": replace(room, **its)}

    each, weigh = planned.stations, max(minutes.weigh / 2, BOUNDS["weigh"].low)
    tried: list[tuple[str, dict]] = [
        ("dry goods weighed beforehand", {"minutes": replace(minutes, weigh=weigh)}),
        of_room("one balance more", balances=room.balances + 1),
        of_room("a balance for every station", balances=max(each, room.balances)),
        of_room("one chopper more", choppers=room.choppers + 1),
        of_room("a chopper for every station", choppers=max(each, room.choppers)),
        of_room("twice the places in the bath", bath_places=2 * room.bath_places),
    ]
    if len(room.sessions_min) > 1 and not room.overnight:
        tried.append(("a night before the bath", {"room": replace(room, overnight=True)}))
    if planned.tubes > 1:
        tried.append(("one tube fewer of each batter", {"planned": again(tubes=planned.tubes - 1)}))
    for fewer in (1, 2):
        if each - fewer >= 3 and planned.kind != "incomplete":
            words = f"{fewer} station{'s' * (fewer > 1)} fewer"
            tried.append((words, {"planned": again(stations=each - fewer)}))
    its = {"planned": planned, "room": room, "minutes": minutes, "limits": limits}
    return [(words, its | change) for words, change in tried]

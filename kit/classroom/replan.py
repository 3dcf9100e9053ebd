"""The class is late, a station is away, a chopper breaks: what still fits? Nobody's codes, levels or weights change."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from kit.classroom.plan import ClassPlan, without
from kit.classroom.tasks import Task, Work, work_of
from kit.classroom.timetable import Booked, Timetable, booked
from kit.errors import KitError, need, need_between
from kit.trial.analyse import LEAST_DOF
from kit.working import Result, notes_of

EFFORT = 0.1
"""of the solver for each try: about a second"""
MOST_DIFFERENCE_MIN = 60
"""that the limits of a class can name: beyond any wait, so that waits need not be alike"""
UNLIKE = "that the batters of a station wait alike: write down what each waited"
NIGHT = (
    "the bath of today: filled tubes stand at 4 °C or colder until the next session, probe and log"
)


@dataclass(frozen=True, eq=False)
class Replanned(Result):
    """What is left. `timetable` holds the clock times of all steps, those begun before `at_min` as they were; without rows nothing fits."""

    plan: ClassPlan
    at_min: int
    timetable: Timetable
    given_up: tuple[str, ...]
    """in words, in the order in which it was given up"""
    moved: Mapping[int, int]
    """station -> the chopper that it uses from now on"""
    chance_before: float
    chance: float
    """of seeing the smallest difference worth knowing"""

    def __str__(self) -> str:
        last = max(((row.session, row.end_min) for row in self.timetable.rows), default=None)
        ends = last and f"The wet work ends at minute {last[1]} of session {last[0]}."
        lines = [ends or f"Nothing fits: {self.timetable.because}."]
        lines += [f"Given up: {one}" for one in self.given_up]
        lines += [f"Station {s} uses chopper {c} from now on." for s, c in self.moved.items()]
        worth = f"{self.plan.question.worth_knowing_points:g} percentage points"
        chance = f"{100 * self.chance:.0f} %, before {100 * self.chance_before:.0f} %"
        return "\n".join([*lines, f"Chance of seeing {worth}: {chance}.", *self.notes])


def replan(
    plan: ClassPlan,
    at_min: int = 0,
    *,
    absent: Sequence[int] = (),
    lost_choppers: Sequence[int] = (),
    stopped_min: int = 0,
    session: int = 1,
) -> Replanned:
    """What still fits from a minute on: a tube of every batter is given up first, then a station, then that batters wait alike.

    plan: the class as printed.
    at_min: minute of the session, 0 before anything has begun; steps that began earlier stay as they are.
    absent: stations that do not come, or can not go on. lost_choppers: numbers of those that cannot be used any more.
    stopped_min: minutes from `at_min` in which nothing begins: a late start, a cold bath, an alarm.
    session: the one that runs.
    Returns a Replanned. Raises OutOfRange for a station or chopper that is not there, KitError where the plan had no clock times.
    Source: the solver of `kit.classroom.timetable`.
    """
    need(1 <= session <= len(plan.room.sessions_min), f"session {session} is not in this plan")
    length = plan.room.sessions_min[session - 1]
    at = need_between("minute of the session", at_min, 0, length)
    stop = need_between("minutes in which nothing begins", stopped_min, 0, length)
    choppers = range(1, plan.room.choppers + 1)
    for one in lost_choppers:
        need(one in choppers, f"chopper {one} is not in this room; it has 1 to {len(choppers)}")
    able = [one for one in choppers if one not in lost_choppers]
    need(bool(able), "no chopper is left; give one that works")
    old = plan.timetable
    if not old.rows:
        raise KitError(f"this plan has no clock times: {old.because}")
    turns = {s: (s - 1) // len(choppers) for s in range(1, plan.stations + 1)}
    moved = {
        s: able[(turn + plan.room.chopper_of(s)) % len(able)]
        for s, turn in turns.items()
        if plan.room.chopper_of(s) in lost_choppers
    }
    begun = {
        row.key: row
        for row in old.rows
        if (row.session, row.start_min) < (session, int(at))
        and not (row.chopper in lost_choppers and (row.session, row.end_min) > (session, int(at)))
    }
    now = _Now(session, int(at + stop), begun, moved)
    left, given_up = without(plan, absent), [f"station {s}: it is away" for s in absent]
    if not (lost_choppers or stop):
        found = left.timetable
    else:
        for station, why in _spoilt(left, now):
            if station not in left.absent:
                left, given_up = without(left, [station]), [*given_up, f"station {station}: {why}"]
        if len(left.absent) > plan.stations - 2:
            left, moved = plan, {}
            found = Timetable((), "impossible", "fewer than two stations are left", ())
        else:
            left, found, more = _fitted(left, now)
            given_up += more
    own = {s: c for s, c in moved.items() if s not in left.absent}
    mixed = {key[0]: "" for key in sorted(begun) if key[2] == "chop" and key[0] in own}
    again = [
        row.key
        for row in old.rows
        if row.session == session
        and row.chopper in lost_choppers
        and row.start_min < at < row.end_min
        and row.key[0] in own
    ]
    notes = (
        *(note for s in mixed for note in notes_of("two choppers", {}, station=s)),
        *(note for s, n, _ in again for note in notes_of("chopped again", {}, station=s, batter=n)),
    )
    chance = left.chance if found.rows else 0.0
    return Replanned(
        left, int(at), found, tuple(given_up), own, plan.chance, chance, own_notes=notes
    )


@dataclass(frozen=True)
class _Now:
    session: int
    from_min: int
    begun: Mapping[tuple, Booked]
    moved: Mapping[int, int]

    def works(self, plan: ClassPlan) -> list[Work]:
        """The work of each session, what has begun fixed at its minutes."""
        room = (plan.room, plan.minutes, plan.limits)
        printed = {t.key: t for work in work_of(plan.whole, *room) for t in work.tasks}
        found = []
        for n, work in enumerate(work_of(plan.design, *room, self.moved), 1):
            its = {t.key: self.begun[t.key].start_min for t in work.tasks if t.key in self.begun}
            tasks: list[Task] = [printed[t.key] if t.key in its else t for t in work.tasks]
            used = {name: 1 for t in tasks for name in t.needs if name.startswith("chopper")}
            capacity = {**work.capacity, **used}
            from_min = self.from_min if n == self.session else 0
            found.append(
                replace(work, tasks=tuple(tasks), capacity=capacity, begun=its, from_min=from_min)
            )
        return found


def _spoilt(plan: ClassPlan, now: _Now) -> Iterator[tuple[int, str]]:
    """Stations whose batter waits too long whatever is done."""
    limits = plan.limits
    steps = (
        ("chop", "fill", limits.batter_wait_min),
        *(() if plan.room.overnight else (("fill", "bath", limits.batter_wait_min),)),
        ("bath", "read", limits.after_bath_min),
    )
    for key, row in now.begun.items():
        for first, then, longest in steps:
            waits = now.from_min - row.end_min
            waiting = key[2] == first and (*key[:2], then) not in now.begun
            if waiting and key[0] and row.session == now.session and waits > longest:
                what = f"batter {key[1]} waits {waits} min to {then}, the limit is {longest:g}"
                yield key[0], what


def _fitted(plan: ClassPlan, now: _Now) -> tuple[ClassPlan, Timetable, list[str]]:
    """The plan with the least that must be given up; the plan as it is, without rows, where nothing does."""
    unlike = replace(plan, limits=replace(plan.limits, wait_difference_min=MOST_DIFFERENCE_MIN))
    ways = [(plan, [], 1), (unlike, [UNLIKE], 1), (plan, [], plan.stations)]
    bath_begun = any(key[2] == "bath" for key in now.begun)
    if len(plan.room.sessions_min) > 1 and not plan.room.overnight and not bath_begun:
        night = replace(plan, room=replace(plan.room, overnight=True))
        ways.insert(2, (night, [NIGHT], 1))
    nothing = booked(now.works(plan), EFFORT)
    for way, words, most in ways:
        for fewer, given_up in _fewer(way, now, most):
            found = booked(now.works(fewer), EFFORT)
            if found.rows:
                return fewer, found, [*words, *given_up]
    return plan, nothing, []


def _fewer(plan: ClassPlan, now: _Now, most: int) -> Iterator[tuple[ClassPlan, list[str]]]:
    """The plan, then without a tube of every batter, then without up to `most` stations as well; a comparison keeps LEAST_DOF + 1."""
    given_up: list[str] = []
    yield plan, given_up
    if plan.design.tubes > 1:
        plan = replace(plan, dropped_tubes=plan.dropped_tubes + 1)
        given_up = ["the last tube of every batter"]
        yield plan, given_up
    for _ in range(min(most, plan.design.stations - LEAST_DOF - 1)):
        queue = _first_to_go(plan, now)
        for s in queue:
            yield without(plan, [s]), [*given_up, f"station {s}: no time is left"]
        plan = without(plan, queue[:1])
        given_up = [*given_up, f"station {queue[0]}: no time is left"]


def _first_to_go(plan: ClassPlan, now: _Now) -> list[int]:
    """One station of each chopper, that of the busiest first, the one that has begun least."""
    by: dict[int, list[int]] = {}
    for s in sorted({u.station for u in plan.design.units}):
        by.setdefault(now.moved.get(s, plan.room.chopper_of(s)), []).append(s)
    done = {s: sum(key[0] == s for key in now.begun) for its in by.values() for s in its}
    queues = sorted(by.values(), key=len, reverse=True)
    return [max(its, key=lambda s: (-done[s], s)) for its in queues]

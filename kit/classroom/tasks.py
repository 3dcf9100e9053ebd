"""What is to be done at which station, with what, for how long, and how long may it wait?"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from math import ceil
from typing import ClassVar, Self

from kit import tables
from kit.errors import need
from kit.faults import need_said
from kit.trial.design import Design
from kit.trial.rows import BOUNDS, need_bounded

STEPS = ("weigh", "chop", "fill", "bath", "read")
BATH = "bath places"
BALANCE = "balances"


class Bounded:
    """A part of a plan: its fields lie within BOUNDS, OutOfRange by name where one does not. `_row`: of data/reference/classroom.csv, for the usual value of a field."""

    _row: ClassVar[str] = "classroom_{}"

    @classmethod
    def usual(cls) -> Self:
        """As it is where nothing is said."""
        names = (one.name for one in fields(cls))  # type: ignore[arg-type]
        return cls(*(tables.value(cls._row.format(name)) for name in names))

    def __post_init__(self):
        for name, held in vars(self).items():
            for value in held if isinstance(held, tuple) else (held,):
                if name in BOUNDS:
                    need_bounded(name, value)


@dataclass(frozen=True)
class ClassRoom(Bounded):
    """`sessions_min`: the minutes of each session; the wet work lies in the first, or with `overnight` on both sides of a night in the refrigerator."""

    sessions_min: tuple[int, ...] = (90, 90)
    choppers: int = 4
    bath_places: int = 48
    bath_C: float = 75.0
    balances: int = 4
    balance_step_g: float = 0.01
    people: int = 24
    overnight: bool = False

    def __post_init__(self):
        super().__post_init__()
        need(1 <= len(self.sessions_min) <= 4, "give the minutes of one to four sessions")
        need_said(not self.overnight or len(self.sessions_min) >= 2, "night without a session")

    def chopper_of(self, station: int) -> int:
        return 1 + (station - 1) % self.choppers


@dataclass(frozen=True)
class StepMinutes(Bounded):
    """Minutes of the steps: of a batter, `read` of a tube."""

    _row: ClassVar[str] = "classroom_{}_min"
    weigh: float
    chop: float
    fill: float
    bath: float
    read: float

    def of(self, step: str, tubes: int) -> int:
        """Whole minutes of a batter's step."""
        return ceil(getattr(self, step) * (tubes if step == "read" else 1) - 1e-9)


@dataclass(frozen=True)
class WaitLimits(Bounded):
    """The longest waits, min. Raw: from the start of chopping to the bath."""

    batter_wait_min: float
    wait_difference_min: float
    after_bath_min: float
    raw_above_min: float


@dataclass(frozen=True)
class Task:
    """One step. It holds `amount` of each resource in `needs` from start to end. `after`: task -> the longest wait after its end, None where any will do."""

    key: tuple
    minutes: int
    needs: Mapping[str, int]
    after: Mapping[tuple, int | None]


@dataclass(frozen=True)
class Work:
    """Tasks, what there is of each resource, the minutes there are, and which tasks' waits must be alike."""

    tasks: tuple[Task, ...]
    capacity: Mapping[str, int]
    horizon_min: int
    alike: tuple[tuple[tuple, tuple], ...] = ()
    """pairs of (task, the task before it): their waits may differ by `difference_min`"""
    difference_min: int = 0
    raw_min: int | None = None
    """longest time from the start of a batter's chopping to its bath"""
    first: tuple[tuple[tuple, tuple], ...] = ()
    """pairs of tasks whose stations could change places: the one begins no later than the other"""
    begun: Mapping[tuple, int] = field(default_factory=dict)
    """tasks that run or are done, with their start"""
    from_min: int = 0
    """nothing else begins before"""


def work_of(
    planned: Design,
    room: ClassRoom,
    minutes: StepMinutes,
    limits: WaitLimits,
    moved: Mapping[int, int] | None = None,
) -> tuple[Work, ...]:
    """The wet work of one session, or of two with a night between. `moved`: station -> the chopper that it uses in place of its own."""
    tubes, split, night = planned.tubes, planned.kind == "split", room.overnight
    wait, after_bath = int(limits.batter_wait_min), int(limits.after_bath_min)
    capacity = {BALANCE: room.balances, BATH: room.bath_places}
    first, second, alike = list[Task](), list[Task](), list[tuple[tuple, tuple]]()

    def task(key: tuple, needs: Mapping[str, int], after: Mapping[tuple, int | None]) -> Task:
        return Task(key, minutes.of(key[2], tubes), needs, after)

    for u in planned.made:
        weigh, chop, fill, bath, read = ((u.station, u.batter, step) for step in STEPS)
        crew = f"crew {u.station}"
        chopper = f"chopper {(moved or {}).get(u.station, room.chopper_of(u.station))}"
        capacity |= {crew: 1, chopper: 1}
        before = (u.station, u.batter - 1, "chop") if u.batter > 1 else weigh
        first += [
            task(weigh, {crew: 1, BALANCE: 1}, {}),
            task(chop, {crew: 1, chopper: 1}, {weigh: None, before: None}),
            task(fill, {crew: 1}, {chop: wait}),
        ]
        if not split:
            second += [
                task(bath, {BATH: tubes}, {} if night else {fill: wait}),
                task(read, {crew: 1, BALANCE: 1}, {bath: after_bath}),
            ]
        if not split and u.batter > 1:
            alike.append(((u.station, u.batter - 1, "bath"), bath))
    last = None
    for run in range(1, len(planned.runs) + 1) if split else ():
        # all stations' tubes in each run; it begins when every station has filled
        after = {} if night else dict.fromkeys((u.station, 1, "fill") for u in planned.made)
        after |= {last: None} if last else {}
        last = (0, run, "bath")
        second.append(task(last, {BATH: planned.stations * tubes}, after))
        for s in planned.numbers:
            second.append(task((s, run, "read"), {f"crew {s}": 1, BALANCE: 1}, {last: after_bath}))
    turns = _turns(planned, room) if not moved else ()
    if night:
        return (
            Work(tuple(first), capacity, room.sessions_min[0], first=turns),
            Work(tuple(second), capacity, room.sessions_min[1]),
        )
    difference, raw = int(limits.wait_difference_min), int(limits.raw_above_min)
    pairs = tuple(alike) if wait >= difference else ()
    tasks = tuple(first + second)
    return (Work(tasks, capacity, room.sessions_min[0], pairs, difference, raw, turns),)


def _turns(planned: Design, room: ClassRoom) -> tuple[tuple[tuple, tuple], ...]:
    """Stations at one chopper have equal work, and so have choppers with as many stations: one order stands for all."""
    groups: dict[int, list[int]] = {}
    for station in planned.numbers:
        groups.setdefault(room.chopper_of(station), []).append(station)
    heads: dict[int, list[int]] = {}
    for its in groups.values():
        heads.setdefault(len(its), []).append(its[0])
    lines = [*groups.values(), *heads.values()]
    return tuple(((a, 1, "chop"), (b, 1, "chop")) for its in lines for a, b in zip(its, its[1:]))

"""What is to be done at which station, with what, for how long, and how long may it wait?"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil

from kit import tables
from kit.errors import need, need_between
from kit.trial.design import Design

STEPS = ("weigh", "chop", "fill", "bath", "read")
BATH = "bath places"
BALANCE = "balances"


@dataclass(frozen=True)
class ClassRoom:
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
        need(1 <= len(self.sessions_min) <= 4, "give the minutes of one to four sessions")
        for words, value, low, high in (
            *(("minutes of a session", one, 15, 480) for one in self.sessions_min),
            ("choppers", self.choppers, 1, 99),
            ("places in the bath", self.bath_places, 1, 2000),
            ("balances", self.balances, 1, 99),
            ("people", self.people, 1, 400),
        ):
            need(
                int(value) == need_between(words, value, low, high),
                f"{words}: {value}; give a whole number",
            )
        need_between("temperature of the bath, °C", self.bath_C, 55, 98)
        need_between("balance step, g", self.balance_step_g, 0.001, 20)
        need(
            not self.overnight or len(self.sessions_min) >= 2, "a night between needs two sessions"
        )

    def chopper_of(self, station: int) -> int:
        return 1 + (station - 1) % self.choppers


@dataclass(frozen=True)
class StepMinutes:
    """Minutes of the steps: of a batter, `read` of a tube."""

    weigh: float
    chop: float
    fill: float
    bath: float
    read: float

    def __post_init__(self):
        for step in STEPS:
            need_between(f"minutes to {step}", getattr(self, step), 0.5, 240)

    @classmethod
    def usual(cls) -> "StepMinutes":
        return cls(*(tables.value(f"classroom_{step}_min") for step in STEPS))

    def of(self, step: str, tubes: int) -> int:
        """Whole minutes of a batter's step."""
        return ceil(getattr(self, step) * (tubes if step == "read" else 1) - 1e-9)


@dataclass(frozen=True)
class WaitLimits:
    """The longest waits, min. Raw: from the start of chopping to the bath."""

    batter_wait_min: float
    wait_difference_min: float
    after_bath_min: float
    raw_above_min: float

    def __post_init__(self):
        for name, high in (
            ("batter_wait_min", 120),
            ("wait_difference_min", 60),
            ("after_bath_min", 60),
            ("raw_above_min", 120),
        ):
            need_between(name, getattr(self, name), 0, high)

    @classmethod
    def usual(cls) -> "WaitLimits":
        return cls(*(tables.value(f"classroom_{name}") for name in cls.__dataclass_fields__))


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
    tubes, split = planned.tubes, planned.kind == "split"
    made = [u for u in planned.units if u.batter == 1] if split else list(planned.units)
    capacity = {BALANCE: room.balances, BATH: room.bath_places}
    first, second, pairs = [], [], []
    for u in made:
        crew, chopper = (
            f"crew {u.station}",
            f"chopper {(moved or {}).get(u.station, room.chopper_of(u.station))}",
        )
        capacity |= {crew: 1, chopper: 1}
        key = (u.station, u.batter)
        first += [
            Task((*key, "weigh"), minutes.of("weigh", tubes), {crew: 1, BALANCE: 1}, {}),
            Task(
                (*key, "chop"),
                minutes.of("chop", tubes),
                {crew: 1, chopper: 1},
                {(*key, "weigh"): None}
                | ({(u.station, u.batter - 1, "chop"): None} if u.batter > 1 else {}),
            ),
            Task(
                (*key, "fill"),
                minutes.of("fill", tubes),
                {crew: 1},
                {(*key, "chop"): int(limits.batter_wait_min)},
            ),
        ]
        if not split:
            second += _heated(key, tubes, minutes, limits, crew, room.overnight)
        if not split and u.batter > 1:
            pairs.append(((u.station, u.batter - 1), key))
    if split:
        second = _runs(planned, minutes, limits, made, room.overnight)
    wait, night = int(limits.batter_wait_min), room.overnight
    turns = _turns(made, room) if not moved else ()
    if night:
        return (
            Work(tuple(first), capacity, room.sessions_min[0], first=turns),
            Work(tuple(second), capacity, room.sessions_min[1]),
        )
    alike = () if split else tuple(((*a, "bath"), (*b, "bath")) for a, b in pairs)
    tasks = tuple(first + second)
    if wait < int(limits.wait_difference_min):
        alike = ()
    return (
        Work(
            tasks,
            capacity,
            room.sessions_min[0],
            alike,
            int(limits.wait_difference_min),
            int(limits.raw_above_min),
            turns,
        ),
    )


def _turns(made, room: ClassRoom) -> tuple[tuple[tuple, tuple], ...]:
    """Stations at one chopper have equal work, and so have choppers with as many stations: one order stands for all."""
    groups: dict[int, list[int]] = {}
    for station in sorted({u.station for u in made}):
        groups.setdefault(room.chopper_of(station), []).append(station)
    heads: dict[int, list[int]] = {}
    for its in groups.values():
        heads.setdefault(len(its), []).append(its[0])
    lines = [*groups.values(), *heads.values()]
    return tuple(((a, 1, "chop"), (b, 1, "chop")) for its in lines for a, b in zip(its, its[1:]))


def _heated(
    key: tuple, tubes: int, minutes: StepMinutes, limits: WaitLimits, crew: str, night: bool
) -> list[Task]:
    before: dict[tuple, int | None] = {} if night else {(*key, "fill"): int(limits.batter_wait_min)}
    return [
        Task((*key, "bath"), minutes.of("bath", tubes), {BATH: tubes}, before),
        Task(
            (*key, "read"),
            minutes.of("read", tubes),
            {crew: 1, BALANCE: 1},
            {(*key, "bath"): int(limits.after_bath_min)},
        ),
    ]


def _runs(
    planned: Design, minutes: StepMinutes, limits: WaitLimits, made, night: bool
) -> list[Task]:
    """Bath runs one after the other, all stations' tubes in each; a run begins when every station has filled."""
    tasks, last = [], None
    places = planned.stations * planned.tubes
    for run in range(1, len(planned.runs) + 1):
        after: dict[tuple, int | None] = (
            {} if night else {(u.station, u.batter, "fill"): None for u in made}
        )
        if last:
            after[last] = None
        last = (0, run, "bath")
        tasks.append(Task(last, minutes.of("bath", planned.tubes), {BATH: places}, after))
        tasks += [
            Task(
                (u.station, run, "read"),
                minutes.of("read", planned.tubes),
                {f"crew {u.station}": 1, BALANCE: 1},
                {last: int(limits.after_bath_min)},
            )
            for u in made
        ]
    return tasks

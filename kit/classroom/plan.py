"""One plan makes every paper of a class: the question, the design, the room, the batter."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache, partial
from hashlib import sha256
from itertools import product

from kit import tables
from kit.chain.emulsion import described
from kit.classroom.codes import code
from kit.classroom.hand_in import MarkTable
from kit.classroom.recipe import at_level, base_sheet, batter_kg
from kit.classroom.tasks import Bounded, ClassRoom, StepMinutes, WaitLimits, work_of
from kit.classroom.timetable import Timetable, because, bound, timetable, ways
from kit.errors import OutOfRange, need, need_known
from kit.faults import need_said
from kit.sheet import Sheet
from kit.trial.design import KINDS, Design, design, power
from kit.trial.question import Predicted, TrialQuestion, ask, predicted
from kit.trial.scatter import NAMES, ClassScatter, scatter
from kit.working import Result

PAPERS = ("A4", "Letter")


@dataclass(frozen=True)
class ClassPlan(Bounded):
    """What a teacher decided. `cured`: cure in the bowl, weighed by the teacher alone; `eaten`: only where local law and a licence allow it."""

    sheet: Sheet
    factor: tuple[str, ...] = ("end_C",)
    levels: tuple[tuple[float, ...], ...] = ((13.0, 18.0),)
    response: str = "cook_loss_pct"
    worth_knowing_points: float = 1.5
    stations: int = 8
    batters: int = 2
    tubes: int = 2
    kind: str = ""
    """a key of KINDS; empty: the one that fits"""
    lots: int = 1
    class_number: int = 1
    seed: int = 1
    scatter: str | ClassScatter = "usual"
    """a name, or the scatter of an earlier class"""
    room: ClassRoom = ClassRoom()
    minutes: StepMinutes = field(default_factory=StepMinutes.usual)
    limits: WaitLimits = field(default_factory=WaitLimits.usual)
    least_kg: float = field(default_factory=partial(tables.value, "classroom_least_kg"))
    """smallest load of a chopper, kg"""
    cured: bool = False
    eaten: bool = False
    paper: str = "A4"
    units: str = "metric"
    prices: Mapping[str, float] = field(default_factory=dict)
    """ingredient -> price per kg"""
    marks: MarkTable = field(default_factory=MarkTable.usual)
    absent: tuple[int, ...] = ()
    """stations that do not come; the others keep their cards"""
    dropped_tubes: int = 0
    """the last ones of every batter, given up for want of time; all codes stay"""

    def __post_init__(self):
        super().__post_init__()
        need_known("paper", self.paper, PAPERS)
        if isinstance(self.scatter, str):
            need_known("scatter", self.scatter, NAMES)
        need_known("kind of design", self.kind, ("", *KINDS))
        for name, price in self.prices.items():
            need(0 <= price < 1e6, f"price of {name}: {price:g}; give 0 or more")

    @cached_property
    def base(self) -> Sheet:
        """One batter as the class makes it at the reference level."""
        asked = ask(self.factor)
        load = self.least_kg
        if len(asked.treatments) == self.batters or asked.at_bath and self.batters > 1:
            size = max(self.stations, 3), self.batters, self.tubes
            load = batter_kg(design(asked, *size, self.seed, self.kind or None), load)
        return base_sheet(self.sheet, self.cured, load, self.room.balance_step_g)

    @cached_property
    def question(self) -> TrialQuestion:
        batter = described(self.base).batter
        return ask(self.factor, self.levels, self.response, self.worth_knowing_points, batter)

    @cached_property
    def whole(self) -> Design:
        """The design as it was printed."""
        return design(
            self.question,
            self.stations,
            self.batters,
            self.tubes,
            self.seed,
            self.kind or None,
            self.lots,
            min(self.room.choppers, self.stations),
        )

    @cached_property
    def design(self) -> Design:
        """What is made of it: absent stations and dropped tubes leave, all else stays as it was."""
        tubes = self.tubes - self.dropped_tubes
        need_said(0 < tubes <= self.tubes, "tubes dropped", plan=self)
        units = tuple(
            replace(u, fills_g=u.fills_g[:tubes])
            for u in self.whole.units
            if u.station not in self.absent
        )
        left = len({u.station for u in units})
        need(left >= 2, "fewer than two stations are left; nothing can be compared")
        return replace(self.whole, units=units, stations=left, tubes=tubes)

    @cached_property
    def sheets(self) -> dict[int, Sheet]:
        """Treatment -> the sheet of one batter."""
        return {
            n: at_level(self.base, self.question, t) for n, t in enumerate(self.question.treatments)
        }

    @cached_property
    def spread(self) -> ClassScatter:
        return scatter(self.scatter)

    @property
    def predicted(self) -> Predicted:
        return _predicted(self.question)

    @cached_property
    def timetable(self) -> Timetable:
        """As printed; the rows of absent stations are left out. A plan that fits only without them gets its own."""
        whole = timetable(self.whole, self.room, self.minutes, self.limits, changes=not self.absent)
        if not self.absent:
            return whole
        if not whole.rows:
            return timetable(self.design, self.room, self.minutes, self.limits)
        rows = tuple(row for row in whole.rows if row.key[0] not in self.absent)
        return replace(whole, rows=rows, method="found")

    @property
    def present(self) -> tuple[int, ...]:
        """Stations that come."""
        return self.design.numbers

    @property
    def chance(self) -> float:
        """Of seeing the smallest difference worth knowing."""
        step_g = self.room.balance_step_g
        return float(power(self.design, self.spread, self.question.worth_knowing_points, step_g))

    def tubes_of(self, station: int) -> list[tuple[str, int, int, float]]:
        """(code, batter, tube, g to fill) of every tube of a station."""
        its = ((key, fill) for key, fill in self.design.fill_g.items() if key[0] == station)
        return [(code(*key), *key[1:], fill) for key, fill in its]

    @property
    def fingerprint(self) -> str:
        """Eight letters of everything that decides a station's numbers: a result of another plan is told by it."""
        size = self.stations, self.batters, self.tubes, self.kind, self.lots
        said = self.factor, self.levels, *size, self.class_number, self.seed
        lines = sorted((line.name, round(line.kg, 9)) for line in self.base.lines)
        return sha256(repr((said, lines)).encode()).hexdigest()[:8]


@dataclass(frozen=True, eq=False)
class Option(Result):
    """One design that could be run. `blocked_by` is empty where the room can run it."""

    stations: int
    batters: int
    tubes: int
    meat_kg: float
    least_min: int
    """of the wet work; the clock times of the design that is taken may need more"""
    chance: float
    """of seeing the smallest difference worth knowing"""
    chance_predicted: float
    """of seeing what the model predicts, over its draws"""
    blocked_by: str
    unblocked_by: tuple[str, ...] = ()
    """single changes with which the bound no longer blocks it"""
    best: bool = False


def options(plan: ClassPlan) -> tuple[Option, ...]:
    """Every design near the plan's, with its chance and what blocks it; the best of those that fit is marked.

    plan: what was decided so far.
    Returns an Option for each design. Blocked is what a bound on the work of one resource proves; the clock times of the design that is taken decide the rest.
    Source: `kit.trial.power` and the bound of `kit.classroom.timetable`.
    """
    question, found, k = plan.question, [], len(plan.question.treatments)
    batters = (2, 3) if question.at_bath else sorted({1, 2, k, *([4] if k == 2 else [])})
    near = {max(plan.stations - 2, 3), plan.stations + 2} if k == 2 else {6, 12}
    for size in product(sorted({plan.stations, *near}), batters, (2, 3)):
        with suppress(OutOfRange):  # so many stations do not carry such sets
            found.append(_option(plan, design(question, *size, plan.seed)))
    able = [o for o in found if not o.blocked_by and o.stations <= plan.stations]
    best = max(able, key=lambda o: (round(o.chance, 2), -o.meat_kg, -o.least_min)) if able else None
    return tuple(replace(o, best=o is best) for o in found)


def _option(plan: ClassPlan, planned: Design) -> Option:
    room = plan.room, plan.minutes, plan.limits
    bounds = [(*bound(work), work) for work in work_of(planned, *room)]
    over = next((one for one in bounds if one[1] > one[2].horizon_min), None)
    tried = ways(planned, *room) if over else ()
    fits = [w for w, its in tried if all(bound(t)[1] <= t.horizon_min for t in work_of(**its))]
    size = planned.stations, planned.batters, planned.tubes
    batter = batter_kg(planned, plan.least_kg)
    return Option(
        *size,
        len(planned.made) * batter * plan.base.meat_kg / plan.base.batch_kg,
        max(least for _, least, _ in bounds),
        *_chances(plan.question, size, plan.scatter, plan.room.balance_step_g),
        because(*over) if over else "",
        tuple(fits),
    )


@lru_cache(maxsize=8)
def _predicted(question: TrialQuestion) -> Predicted:
    return predicted(question)


@lru_cache(maxsize=128)
def _chances(
    question: TrialQuestion, size: tuple[int, int, int], name: str | ClassScatter, step_g: float
) -> tuple[float, float]:
    """Of seeing the smallest difference and the model's prediction: they know no room."""
    planned, its = design(question, *size), scatter(name)
    said = _predicted(question)
    draws = said.draws[said.main]
    return (
        float(power(planned, its, question.worth_knowing_points, step_g)),
        float(power(planned, its, draws, step_g).mean()),
    )


def without(plan: ClassPlan, absent: Sequence[int]) -> ClassPlan:
    """The same plan with stations that do not come: codes, levels and cards of all others stay."""
    for one in absent:
        there = 1 <= one <= plan.stations
        need(there, f"station {one} is not in this plan; it has 1 to {plan.stations}")
    return replace(plan, absent=tuple(sorted({*plan.absent, *absent})))

"""What did the class hand in, what is to be decided about it, and what is left after the decisions? Nothing is changed or left out without one."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from kit.classroom.codes import read_code
from kit.classroom.plan import ClassPlan
from kit.errors import Fault, look_up, need, need_known
from kit.faults import need_said
from kit.trial.analyse import Answer, analyse
from kit.trial.findings import findings
from kit.trial.own_scatter import scatter_of
from kit.trial.readings import (
    EXCHANGED,
    SET_ASIDE,
    BatterReading,
    ClassFinding,
    TubeLoss,
    TubeReading,
    losses_of,
)
from kit.trial.scatter import ClassScatter
from kit.working import Result

ACTIONS = ("keep", "correct", "exchange", "leave out")
WEIGHTS = ("empty_g", "filled_g", "after_g")
Key = tuple[int, int, int]


@dataclass(frozen=True)
class ClassDecision:
    """The answer to one finding. `code` names one tube of it (all where empty); `weight` and `value_g` are for "correct" alone."""

    finding: str
    action: str
    reason: str
    code: str = ""
    weight: str = ""
    value_g: float | None = None

    def __post_init__(self):
        need_known("decision", self.action, ACTIONS)
        need(bool(self.reason.strip()), f"{self.finding}: a decision needs its reason in words")
        if self.action == "correct":
            need_known("weight to correct", self.weight, WEIGHTS)
            need(bool(self.code), f"{self.finding}: say the code of the tube to correct")
            could_be = self.value_g is not None and 0 <= self.value_g <= 2000
            need_said(could_be, "corrected beyond", one=self)

    @property
    def does(self) -> str:
        what = f" {self.weight} to {self.value_g:g}\u00a0g" if self.action == "correct" else ""
        return f"{self.action}{what}"

    def __str__(self) -> str:
        return f"{self.finding}{' ' + self.code if self.code else ''}: {self.does}, because {self.reason}"


@dataclass(frozen=True, eq=False)
class ClassResults(Result):
    """What was read. `set_aside`: tubes whose row is faulty, as far as they could be read; they count only after a decision."""

    plan: ClassPlan
    tubes: tuple[TubeReading, ...]
    batters: tuple[BatterReading, ...]
    faults: tuple[Fault, ...] = ()
    set_aside: Mapping[Key, tuple[TubeReading, str]] = field(default_factory=dict)
    decisions: tuple[ClassDecision, ...] = ()
    found: tuple[ClassFinding, ...] | None = None
    """the findings that the decisions answer"""
    as_read: tuple[TubeReading, ...] = ()
    """the tubes before any decision, empty where none was made"""

    @cached_property
    def findings(self) -> tuple[ClassFinding, ...]:
        """Everything to decide, tubes that were set aside first."""
        if self.found is not None:
            return self.found
        plan, made = self.plan, self.plan.base
        gained = [t for t, _ in self.set_aside.values() if t.usable and t.loss_pct < 0]
        fluid_kg = made.composition.water_kg + made.composition.fat_kg
        found = findings(
            plan.design,
            self.tubes,
            self.batters,
            its=plan.spread,
            balance_step_g=plan.room.balance_step_g,
            most_loss_pct=100 * fluid_kg / made.batch_kg,
            aside=gained,
        )
        explained = {key for one in found if one.kind == EXCHANGED for key in one.keys}
        aside = (
            ClassFinding(SET_ASIDE, key[0], (key,), why)
            for key, (_, why) in sorted(self.set_aside.items())
            if key not in explained
        )
        there = self.set_aside.keys()
        left = (one for one in found if one.kind != "missing" or not set(one.keys) <= there)
        return (*aside, *left, *_late(plan, self.batters))

    @property
    def open(self) -> tuple[ClassFinding, ...]:
        """Findings without a decision."""
        done = {one.finding for one in self.decisions}
        return tuple(one for one in self.findings if one.key not in done)

    @property
    def losses(self) -> list[TubeLoss]:
        return losses_of(self.tubes)

    @property
    def scatter(self) -> ClassScatter:
        """Of this class, for the power of the next one."""
        plan = self.plan
        name = f"class {plan.class_number}"
        return scatter_of(plan.design, self.losses, plan.room.balance_step_g, name)

    @property
    def answer(self) -> Answer:
        """What the class found, beside the model's prediction; the decisions stand among its notes."""
        answer = analyse(self.plan.design, self.losses, self.plan.predicted)
        left = [f"not yet decided: {one.key}: {one.evidence}" for one in self.open]
        return replace(answer, own_notes=(*answer.own_notes, *map(str, self.decisions), *left))


def _late(plan: ClassPlan, batters: Sequence[BatterReading]) -> Iterator[ClassFinding]:
    """Batters that went into the bath later than planned by more than a batter may wait."""
    timed = {b.key: b.into_bath_min for b in batters if b.into_bath_min is not None}
    rows = plan.timetable.rows if timed and plan.design.kind != "split" else ()
    planned = {row.key[:2]: row.start_min for row in rows if row.key[2] == "bath"}
    for key, at in timed.items():
        if at - planned.get(key, at) > plan.limits.batter_wait_min:
            said = f"in the bath at minute {at:g}, planned at {planned[key]}; raw batter warms and sets meanwhile"
            yield ClassFinding("late into the bath", key[0], (key,), said)


def decided(results: ClassResults, decisions: Sequence[ClassDecision]) -> ClassResults:
    """The results with the decisions applied and listed.

    results: as read. decisions: answers to their findings; several for one finding where each names a tube.
    UnknownName for a finding that is not there; OutOfRange for a decision that its finding cannot take. Nothing else is changed.
    """
    known = {one.key: one for one in results.findings}
    tubes, aside = {t.key: t for t in results.tubes}, dict(results.set_aside)
    for one in decisions:
        finding = look_up("finding", one.finding, known)
        keys = _keys(results, finding, one)
        if one.action == "exchange":
            back = keys if finding.kind == EXCHANGED else []
            tubes |= {key: aside.pop(key)[0] for key in back if key in aside}
            _exchange(tubes, finding)
        elif one.action == "leave out":
            for key in keys:
                tubes.pop(key, None), aside.pop(key, None)
        elif one.action == "correct":
            (key,) = keys
            held = {key: aside.pop(key)[0]} if key in aside else tubes
            need(key in held, f"{one.finding}: {one.code} was never read; type it in")
            tubes[key] = replace(held[key], **{one.weight: one.value_g})  # type: ignore[arg-type]
    for t in tubes.values():
        need_said(not t.whole or t.net_g > 0, "no more filled than empty", t=t)
    for one in decisions:
        finding = known[one.finding]
        of_tubes = one.action == "keep" and finding.kind in (SET_ASIDE, EXCHANGED)
        need_said(not (of_tubes and set(finding.keys) & set(aside)), "kept without a row", one=one)
    return replace(
        results,
        tubes=tuple(tubes[key] for key in sorted(tubes)),
        set_aside=aside,
        decisions=(*results.decisions, *decisions),
        found=results.findings,
        as_read=results.as_read or results.tubes,
    )


def _keys(results: ClassResults, finding: ClassFinding, one: ClassDecision) -> list[Key]:
    """The tubes that a decision is about: the one named, those of the finding, of its batters, or of its station."""
    fill = results.plan.design.fill_g
    mine = [
        key for k in finding.keys or ((finding.station,),) for key in fill if key[: len(k)] == k
    ]
    if not one.code:
        return mine
    key = read_code(one.code)
    need(key in mine, f"{one.finding}: {one.code} is no tube of this finding")
    return [key]


def _exchange(tubes: dict[Key, TubeReading], finding: ClassFinding) -> None:
    """Two tubes get each other's weight after the bath; two batters each other's place."""
    alike = len(finding.keys) == 2 and "exchanged" in finding.kind
    need_said(alike, "nothing to exchange back", finding=finding)
    a, b = finding.keys
    if len(a) == 3:
        one, other = tubes[a], tubes[b]  # type: ignore[index]
        tubes[one.key] = replace(one, after_g=other.after_g)
        tubes[other.key] = replace(other, after_g=one.after_g)
        return
    place = {a: b[1], b: a[1]}
    moved = [tubes.pop(key) for key in list(tubes) if key[:2] in place]
    for t in moved:
        there = replace(t, batter=place[t.key[:2]])
        tubes[there.key] = there

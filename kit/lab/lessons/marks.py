"""What is each hand-in worth? Every answer is calculated anew and judged with a reason; a conclusion is for the teacher alone to judge."""

import csv
import io
import os
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

from kit.classroom.hand_in import EXERCISES, HandIn, TypedAnswer
from kit.classroom.plan import ClassPlan
from kit.classroom.results import ClassResults, decided
from kit.errors import Fault, KitError, attempt
from kit.files import guarded
from kit.lab.lessons import Exercise, read_answer
from kit.lab.lessons.station import exercises, own_loss
from kit.reading.class_decisions import read_decisions
from kit.reading.class_hand_in import fingerprint, read_hand_ins
from kit.reading.class_results import read_results
from kit.trial.analyse import Answer
from kit.trial.readings import TubeReading


@dataclass(frozen=True)
class MarkedAnswer:
    """One exercise of one station. `outcome` is a field of MarkTable; `words` say why."""

    outcome: str
    marks: float
    typed: tuple[str, ...]
    truth: str
    words: str
    errors: tuple[str, ...] = ()
    """the usual errors among all that was typed"""


@dataclass(frozen=True)
class MarkedStation:
    """`own` holds code -> (typed, from the file of the class, right or not); None where the file has no such loss."""

    hand_in: HandIn
    answers: tuple[MarkedAnswer, ...]
    own: Mapping[str, tuple[str, float | None, bool]]
    guess_points: float | None
    notes: tuple[str, ...]

    @property
    def marks(self) -> float:
        return sum(one.marks for one in self.answers)

    @property
    def own_right(self) -> str:
        """Such as "5 of 6"; empty where there was nothing to compare with."""
        known = [right for _, loss, right in self.own.values() if loss is not None]
        return f"{sum(known)} of {len(known)}" if known else ""


@dataclass(frozen=True)
class ClassMarks:
    """What every hand-in is worth, and what the class has in common."""

    plan: ClassPlan
    stations: tuple[MarkedStation, ...]
    faults: tuple[Fault, ...]
    missing: tuple[int, ...]
    """stations of the plan without a hand-in that could be read"""
    answer: Answer | None = None
    """what the class found, if that is known"""

    @property
    def sentence(self) -> str:
        return self.answer.sentence if self.answer else ""

    @property
    def effect_points(self) -> float | None:
        return self.answer.effects[0].found.value if self.answer else None

    @property
    def most(self) -> float:
        return EXERCISES * self.plan.marks.right

    def said(self, one: MarkedStation) -> tuple[str, str, str]:
        """Of a station: its marks, how many own losses are right, its guess."""
        return f"{one.marks:g} of {self.most:g}", one.own_right, signed(one.guess_points)

    @cached_property
    def usual_errors(self) -> list[tuple[int, str, int]]:
        """(exercise, usual error, stations that made it), the most frequent first."""
        found = Counter(
            (n, words)
            for one in self.stations
            for n, answer in enumerate(one.answers, 1)
            for words in answer.errors
        )
        return sorted(((n, words, k) for (n, words), k in found.items()), key=lambda r: (-r[2], r))

    def csv(self) -> str:
        """One row for each station; the conclusion's column of marks is left open."""
        out = io.StringIO()
        rows = csv.writer(out, lineterminator="\n")
        names = [f"{what}_{n}" for n in range(1, EXERCISES + 1) for what in ("exercise", "marks")]
        more = "marks", "most_marks", "own_losses_right", "guess_points", "effect_points"
        words = "conclusion", "conclusion_marks_by_teacher", "notes"
        rows.writerow(("class", "station", *names, *more, *words))
        for one in self.stations:
            its = [x for a in one.answers for x in (a.outcome, f"{a.marks:g}")]
            points = map(_number, (one.guess_points, self.effect_points))
            said = guarded(one.hand_in.conclusion), "", guarded("; ".join(one.notes))
            all_in_all = f"{one.marks:g}", f"{self.most:g}", one.own_right
            rows.writerow(
                (self.plan.class_number, one.hand_in.station, *its, *all_in_all, *points, *said)
            )
        return out.getvalue()


def signed(points: float | None) -> str:
    """Percentage points with their sign; empty where there are none."""
    return "" if points is None else f"{points:+.1f}".replace("-", "−")


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def mark(
    sources, plan: ClassPlan, results: ClassResults | None = None, answer: Answer | None = None
) -> ClassMarks:
    """The marks of a class.

    sources: a folder with hand_in*.toml, a path, or several paths or pairs of (file name, bytes). plan: the class's own. results: of which the own
    losses are checked as they were read; where left out, those in the folder. answer: what the class found; where left out, what the results say after the folder's decisions.toml, if no finding is open.
    Returns ClassMarks: every faulty file is named and no station is marked from one. KitError where there is no file at all.
    """
    taken, faults = read_hand_ins(sources, plan)
    folder = Path(sources) if isinstance(sources, (str, os.PathLike)) else None
    if results is None and folder and folder.is_dir():
        with suppress(KitError):  # no file of weights: own losses stay open
            results = read_results(folder, plan)
    if answer is None and results is not None:
        answer, why = attempt(partial(_answer, results, folder))
        faults += (Fault(f"the class has no sentence: {why}"),) if why else ()
    weighed = {t.key: t for t in (results.as_read or results.tubes if results else ())}
    stations = tuple(_marked(one, plan, weighed, _other_file(one, folder)) for one in taken)
    came = {one.station for one in taken}
    missing = tuple(n for n in plan.present if n not in came)
    return ClassMarks(plan, stations, faults, missing, answer)


def _answer(results: ClassResults, folder: Path | None) -> Answer | None:
    """What the class found after the decisions in the folder; None while a finding is open."""
    path = folder / "decisions.toml" if folder else None
    its = decided(results, read_decisions(path)) if path and path.is_file() else results
    return None if its.open else its.answer


def _other_file(one: HandIn, folder: Path | None) -> list[str]:
    """A note where the folder's file of weights is not the one that the station used."""
    path = folder / Path(one.results_file).name if folder and one.results_file else None
    if path and path.is_file() and fingerprint(path.read_bytes()) != one.results_sum:
        return [f"{path.name} here is not the file that the station used"]
    return []


def _marked(one: HandIn, plan: ClassPlan, weighed: Mapping, notes: list[str]) -> MarkedStation:
    asked = exercises(plan.seed, one.station)
    answers = tuple(_judged(e, a, plan) for e, a in zip(asked, one.answers, strict=True))
    own = {
        tube: _own(one.tubes.get(tube, ""), weighed.get((one.station, *place)))
        for tube, *place, _ in plan.tubes_of(one.station)
    }
    if not one.handed_in_at:
        notes.append("not handed in: marked as far as it came")
    guess, why = attempt(partial(read_answer, one.guess, "percentage points", "the guess"))
    if why:
        notes.append(why if one.guess else "no guess")
    return MarkedStation(one, answers, own, guess, tuple(notes))


def _judged(exercise: Exercise, given: TypedAnswer, plan: ClassPlan) -> MarkedAnswer:
    """The last entry decides; it is right at once if it is the only one and no hint was opened."""
    truth, verdicts = exercise.shown(exercise.solve()[0]), []
    for text in given.typed:
        verdict, why = attempt(partial(exercise.judge, text))
        verdicts.append(verdict or ("wrong", f"Not right: {why}"))
    kind, words = verdicts[-1] if verdicts else ("blank", "Nothing was typed.")
    outcome = kind.replace(" ", "_")
    if outcome == "right" and (given.hints or len(verdicts) > 1):
        outcome = "right_after_hint"
    errors = dict.fromkeys(w.removeprefix("Not right: ") for k, w in verdicts if k == "usual error")
    marks = getattr(plan.marks, outcome)
    return MarkedAnswer(outcome, marks, given.typed, truth, words, tuple(errors))


def _own(typed: str, t: TubeReading | None) -> tuple[str, float | None, bool]:
    loss = t.loss_pct if t and t.usable else None
    with suppress(KitError):  # what is no number is not right
        return typed, loss, loss is not None and own_loss(t).judge(typed)[0] == "right"
    return typed, loss, False

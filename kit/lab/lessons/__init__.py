"""What should the learner try, is the answer right, and which hint helps? One file per lesson beside this.

A guess is committed before the panel is moved and compared afterwards. An exercise asks for one number, a choice for one of several answers;
what is right is calculated when somebody asks, and stands in no page before. `answers("04")` gives a teacher all of a lesson.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from importlib import import_module
from typing import Any

from kit import units
from kit.errors import KitError, OutOfRange, UnknownName, WrongUnit, need_known
from kit.tables import cite, read_rows
from kit.working import Step, figure, working_of


@dataclass(frozen=True, repr=False)
class Guess:
    """One number committed before looking. `truth` is calculated only when the guess is compared."""

    question: str
    unit: str
    truth: Callable[[], float]
    close: float
    """how far off, in the unit, still counts as close"""
    guessed: float | None = None

    def commit(self, answer) -> "Guess":
        """The same guess with a number in it: 28, '28 %', '5 lb'."""
        return replace(self, guessed=read_answer(answer, self.unit, "your guess"))

    def compare(self) -> str:
        if self.guessed is None:
            return f"{self.question}\nNo guess yet: commit one first, even a poor one. A wrong guess teaches more than none."
        truth = self.truth()
        off = self.guessed - truth
        verdict = "close" if abs(off) <= self.close else "too high" if off > 0 else "too low"
        return f"You guessed {figure(self.guessed, 4)} {self.unit}; it is {figure(truth, 4)} {self.unit}: {verdict}."

    def __repr__(self):
        return (
            self.question
            if self.guessed is None
            else f"{self.question} You said {figure(self.guessed, 4)} {self.unit}."
        )


VERDICTS = ("right", "usual error", "wrong")


@dataclass(frozen=True, repr=False)
class Exercise:
    """A question with one number for an answer. `solve` gives the number and its working, computed when asked for."""

    question: str
    unit: str
    solve: Callable[[], tuple[float, tuple[Step, ...]]]
    within: float
    """how far off, in the unit, counts as right: the rounding a pencil needs"""
    hints: tuple[str, ...]
    slips: tuple[tuple[str, Callable[[], float]], ...] = ()
    """(what went wrong, the number that this error would give), for answers worth a better word than 'no'"""

    def check(self, answer) -> str:
        """'Right', or how it is off and the next thing to try. Accepts 28, '28', '28 %', '61.7 lb'."""
        return self.judge(answer)[1]

    def judge(self, answer) -> tuple[str, str]:
        """One of VERDICTS, and the same in a sentence."""
        given, truth = self.read(answer), self.solve()[0]
        if abs(given - truth) <= self.within:
            return "right", f"Right: {self.shown(truth)}."
        for words, number in self.slips:
            if abs(given - number()) <= self.within:
                return "usual error", f"Not right: {words}"
        return "wrong", f"Not right: {self.off(given, truth)} {self.hints[0]}"

    def read(self, answer) -> float:
        return read_answer(answer, self.unit, "your answer")

    def shown(self, value: float) -> str:
        return f"{figure(value, 4)} {self.unit}"

    def off(self, given: float, truth: float) -> str:
        return f"{self.shown(given)} is too {'high' if given > truth else 'low'}."

    def hint(self, number: int = 1) -> str:
        if not 1 <= number <= len(self.hints):
            raise OutOfRange(
                f"there is no hint {number}; this exercise has hints 1 to {len(self.hints)}"
            )
        return self.hints[number - 1]

    def solution(self) -> str:
        """The answer with its working, for after the try."""
        answer, working = self.solve()
        return "\n".join([self.shown(answer), *(f"  {step}" for step in working)])

    def __repr__(self):
        return self.question


@dataclass(frozen=True, repr=False)
class Choosing:
    """A question with a few answers to choose from. `judge` says of each whether it is right, why in one sentence, and by which source; it is called when one is chosen."""

    question: str
    options: tuple[str, ...]
    judge: Callable[[str], tuple[bool, str, str]]
    panel: str = ""
    """the panel of the page that shows the answer, by the name it has in the notebook"""
    state: Mapping[str, object] | str = ""
    """where its controls show it, or the words of its button"""

    def check(self, option: str) -> str:
        right, why, _ = self.judge(option)
        return f"{'Right' if right else 'Not right'}: {why}"

    def solution(self) -> str:
        right = next(option for option in self.options if self.judge(option)[0])
        return f"{right}\n  {self.judge(right)[1]}"

    def __repr__(self):
        return "\n".join([self.question, *(f"  ( ) {option}" for option in self.options)])


_ANSWER = re.compile(
    r"([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)(?:\s*/\s*(\d+\.?\d*))?\s*(.*)", re.I | re.S
)


def read_answer(answer, unit: str, field: str) -> float:
    """A learner's number: 28, '28 %', '5,2', '1/2', '121 lb'; without a unit it is in the unit of the question. WrongUnit or OutOfRange otherwise."""
    if not isinstance(answer, str):
        return _finite(answer, field)
    cleaned = units.lone_comma(answer.strip().replace("\u00a0", " ").replace("−", "-"))
    such = f"one number{f' in {unit}' if unit else ''}, such as {f'28 {unit}'.strip()}"
    if not cleaned:
        raise WrongUnit(f"{field} is empty; type {such}")
    if "," in cleaned:
        raise WrongUnit(
            f"{field} is {answer.strip()!r}: is the comma a decimal sign? Type it again with a point, or without the comma"
        )
    if unit == "of 100":
        cleaned = re.sub(r"\s*(?:/|of|out of)\s*100$", "", cleaned)
    hit = _ANSWER.fullmatch(units.without_fractions(cleaned))
    if not hit:
        raise WrongUnit(f"{field} is {answer.strip()!r}, which is no number; type {such}")
    number, below, said = float(hit[1]), hit[2], hit[3].strip().casefold()
    if below:
        if not float(below):
            raise OutOfRange(f"{field} is {answer.strip()!r}: nothing can be divided by 0")
        number /= float(below)
    if said in ("", unit.casefold(), *unit.casefold().split()) or (
        said == "%" and unit in ("of 100", "percentage points")
    ):
        return _finite(number, field)
    try:
        return units.read(f"{number!r} {hit[3]}", unit, field)
    except KitError:
        raise WrongUnit(f"{field} is {answer.strip()!r}; type {such}") from None


def _finite(answer, field: str) -> float:
    try:
        number = float(answer)
    except (TypeError, ValueError):
        raise WrongUnit(f"{field} is {answer!r}; give one number") from None
    if number != number or abs(number) == float("inf"):
        raise OutOfRange(f"{field} is {number}; give a finite number")
    return number


LESSONS = {
    "01": "meat_block",
    "02": "cure",
    "02b": "brine",
    "03": "chop",
    "04": "emulsion",
    "05": "diagnosis",
    "06": "casing",
    "07": "cook",
    "08": "mass_balance",
    "09": "batches",
    "10": "run_class",
}
"""number of the notebook -> file of the lesson"""


def lesson_file(number: str):
    """The file of a lesson: guess() and exercises(), for some also planted(), what was put into the invented data. UnknownName otherwise."""
    need_known("lesson", number, LESSONS)
    return import_module(f"kit.lab.lessons.{LESSONS[number]}")


@cache
def _wording() -> dict[str, dict[str, list[dict[str, str]]]]:
    """The words of data/words/exercises.csv: "01 square" -> question, hint, error -> rows."""
    found: dict[str, dict[str, list[dict[str, str]]]] = {}
    for row in read_rows("words", "exercises.csv"):
        parts = found.setdefault(f"{row['lesson']} {row['exercise']}", {})
        parts.setdefault(row["part"], []).append(row)
    return found


def guess_of(key: str, known: Mapping[str, Any], truth: Callable[[], float]) -> Guess:
    """The guess of data/words/exercises.csv under this key, such as "01 guess"; `known` fills its words."""
    (asked,) = _wording()[key]["question"]
    return Guess(asked["text"].format_map(known), asked["unit"], truth, float(asked["within"]))


def exercise(
    key: str,
    known: Mapping[str, Any],
    *errors: Callable[[], float],
    working: Callable[[], Sequence[Step]] | None = None,
    answer: Callable[[], float] | None = None,
) -> Exercise:
    """The exercise under this key, such as "01 square": its words in data/words/exercises.csv over its numbers.

    known: what fills the words, and the symbols of its steps in data/words/working.csv. errors: the answer that each usual error of the words
    gives, in its order. working: the steps, where a result has them. answer: where it is not that of the last step.
    """

    def solve() -> tuple[float, tuple[Step, ...]]:
        steps = tuple(working()) if working else working_of(key, **known)
        return float(answer() if answer else steps[-1].answer), steps

    said = {
        part: tuple(row["text"].format_map(known) for row in rows)
        for part, rows in _wording()[key].items()
    }
    asked, wrong = _wording()[key]["question"][0], zip(said.get("error", ()), errors, strict=True)
    within = float(asked["within"])
    return Exercise(said["question"][0], asked["unit"], solve, within, said["hint"], tuple(wrong))


@cache
def questions(number: str) -> tuple[Choosing, ...]:
    """The quick questions at the end of a lesson, from data/words/questions.csv."""
    found: dict[str, dict[str, dict]] = {}
    for row in read_rows("words", "questions.csv"):
        if row["lesson"] == number:
            found.setdefault(row["question"], {})[row["option"]] = row
    return tuple(_choosing(question, rows) for question, rows in found.items())


def _choosing(question: str, rows: dict[str, dict]) -> Choosing:
    def judge(option: str) -> tuple[bool, str, str]:
        row = rows[option]
        source = cite(row["source"], row["where"], row["status"])
        return row["right"] == "yes", row["why"], source

    panel, _, state = next(
        row["shown_in"] for row in rows.values() if row["right"] == "yes"
    ).partition(": ")
    moves = dict(move.split("=") for move in state.split("; ")) if "=" in state else state
    if isinstance(moves, dict):
        moves = {key: _value(text) for key, text in moves.items()}
    return Choosing(question, tuple(rows), judge, panel, moves)


def _value(text: str) -> float | str | bool:
    if text in ("yes", "no"):
        return text == "yes"
    for number in (int, float):
        with suppress(ValueError):
            return number(text)
    return text


def choices(number: str) -> tuple[Choosing, ...]:
    """The exercises of a lesson that ask for understanding: what is right is computed by the kit when one is chosen."""
    lesson = lesson_file(number)
    return lesson.choices() if hasattr(lesson, "choices") else ()


def answers(number: str) -> str:
    """For the teacher: the guess, the exercises with their working, the quick questions and what was put into the invented data of one lesson."""
    lesson, parts = lesson_file(number), []
    guess = lesson.guess()
    parts.append(
        f"Lesson {number}, answers\n\nGuess: {guess.question}\n{figure(guess.truth(), 4)} {guess.unit}"
    )
    for title, asked in (
        ("Exercise", (*lesson.exercises(), *choices(number))),
        ("Question", questions(number)),
    ):
        parts += [
            f"{title} {n}: {one.question}\n{one.solution()}" for n, one in enumerate(asked, 1)
        ]
    if hasattr(lesson, "planted"):
        parts.append(f"Put into the invented data\n{lesson.planted()}")
    return "\n\n".join(parts)

"""What should the learner try, is the answer right, and which hint helps? One file per lesson beside this.

A guess is committed before the panel is moved and compared afterwards. An exercise asks for one number that the kit works out when it is
asked, never a number typed in.
"""

from collections.abc import Callable
from dataclasses import dataclass
from html import escape

from kit import units
from kit.errors import KitError, OutOfRange, WrongUnit
from kit.working import Step, figure


@dataclass(frozen=True, repr=False)
class Guess:
    """One number committed before looking. `truth` is worked out only when the guess is compared."""

    question: str
    unit: str
    truth: Callable[[], float]
    close: float
    """how far off, in the unit, still counts as close"""
    guessed: float | None = None

    def commit(self, answer) -> "Guess":
        """The same guess with a number in it: 28, '28 %', '5 lb'."""
        return Guess(
            self.question,
            self.unit,
            self.truth,
            self.close,
            read_answer(answer, self.unit, "your guess"),
        )

    def compare(self) -> str:
        if self.guessed is None:
            return f"{self.question}\nNo guess yet: commit one first, even a poor one. You learn more from it."
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
    """(what went wrong, the number that slip would give), for answers worth a better word than 'no'"""

    def check(self, answer) -> str:
        """'Right', or how it is off and the next thing to try. Accepts 28, '28', '28 %', '61.7 lb'."""
        given, truth = read_answer(answer, self.unit, "your answer"), self.solve()[0]
        if abs(given - truth) <= self.within:
            return f"Right: {figure(truth, 4)} {self.unit}."
        for words, number in self.slips:
            if abs(given - number()) <= self.within:
                return f"Not yet: {words}"
        return f"Not yet: {figure(given, 4)} {self.unit} is too {'high' if given > truth else 'low'}. {self.hints[0]}"

    def hint(self, number: int = 1) -> str:
        if not 1 <= number <= len(self.hints):
            raise OutOfRange(
                f"there is no hint {number}; this exercise has hints 1 to {len(self.hints)}"
            )
        return self.hints[number - 1]

    def solution(self) -> str:
        """The answer with its working, for after the try."""
        answer, working = self.solve()
        return "\n".join([f"{figure(answer, 4)} {self.unit}", *(f"  {step}" for step in working)])

    def __repr__(self):
        return self.question

    def _repr_html_(self):
        return f'<p style="font-size:18px;max-width:60em">{escape(self.question)}</p>'


def read_answer(answer, unit: str, field: str) -> float:
    """A learner's number, with or without its unit; '%' and plain numbers are taken as they stand."""
    if isinstance(answer, str):
        text = answer.strip().removesuffix("%").strip() if unit.startswith("%") else answer.strip()
        try:
            answer = float(text.replace("−", "-"))
        except ValueError:
            try:
                return units.read(text, unit, field)
            except KitError:
                raise WrongUnit(
                    f"{field} is {answer!r}; give one number in {unit}, such as 28 or '28 {unit}'"
                ) from None
    return (
        units.read(answer, unit, field, bare=unit)
        if unit in ("kg", "g", "°C")
        else _plain(answer, field)
    )


def _plain(answer, field: str) -> float:
    try:
        number = float(answer)
    except (TypeError, ValueError):
        raise WrongUnit(f"{field} is {answer!r}; give one number") from None
    if number != number or abs(number) == float("inf"):
        raise OutOfRange(f"{field} is {number}; give a finite number")
    return number

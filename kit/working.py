"""How was this answer worked out, so that a learner can redo it with a pencil?

A result carries `working`: steps with a formula, the numbers put in with their units, and the answer.
The formulas are written in a small fixed notation (+ − × / ^ ( ) √ ln exp log10 min max) so that the
tests can work every step again by an independent reading and compare (tests/pencil.py).
"""
import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Term:
    """One symbol of a formula: its value, unit and meaning."""

    symbol: str
    value: float
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class Step:
    """`formula` is `answer symbol = expression`, e.g. "AW = TW − 4 × TP"."""

    what: str
    formula: str
    terms: tuple[Term, ...]
    answer: float
    unit: str = ""

    @property
    def expression(self) -> str:
        return self.formula.split("=", 1)[1].strip()

    @property
    def put_in(self) -> str:
        """The expression with the numbers in place of the symbols."""
        by_symbol = {term.symbol: f"({figure(term.value)})" if term.value < 0 else figure(term.value) for term in self.terms}
        names = "|".join(sorted((re.escape(symbol) for symbol in by_symbol), key=len, reverse=True))
        if not names:
            return self.expression
        return re.sub(rf"(?<!\w)({names})(?!\w)", lambda hit: by_symbol[hit[1]], self.expression)

    @property
    def answered(self) -> str:
        return f"{figure(self.answer)} {self.unit}".strip()

    def __str__(self) -> str:
        return f"{self.what}: {self.formula} = {self.put_in} = {self.answered}"


def step(what: str, formula: str, answer: float, unit: str = "", **terms) -> Step:
    """A Step from keyword terms: value, (value, unit) or (value, unit, meaning)."""
    return Step(what, formula, tuple(Term(symbol, *_three(given)) for symbol, given in terms.items()), float(answer), unit)


def _three(given) -> tuple[float, str, str]:
    value, *rest = given if isinstance(given, tuple) else (given,)
    unit, meaning = (*rest, "", "")[:2]
    return float(value), unit, meaning


def figure(value: float, digits: int = 5) -> str:
    """A number as written by hand: five significant digits, no exponent for ordinary sizes."""
    if value == 0:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-6 < abs(value) < 1e9:
        text = f"{value:.10f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.0f}"
    return text.replace("-", "−") if not text.startswith("-") else "−" + text[1:]

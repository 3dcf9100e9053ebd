"""Tests of difference by tasting, on food made elsewhere under licence: how many right answers are more than luck?"""

from dataclasses import dataclass
from fractions import Fraction
from math import comb

from kit import tables
from kit.errors import need
from kit.working import Result

LUCK = {"triangle": Fraction(1, 3), "duo-trio": Fraction(1, 2)}


def chance_of(right: int, asked: int, luck: Fraction) -> float:
    """Chance of that many right answers or more by guessing alone."""
    return float(
        sum(comb(asked, n) * luck**n * (1 - luck) ** (asked - n) for n in range(right, asked + 1))
    )


def least_right(asked: int, alpha: float, test: str = "triangle") -> int | None:
    """The fewest right answers of `asked` that luck alone gives with a chance of at most `alpha`; None where even all would not do."""
    enough = (n for n in range(asked + 1) if chance_of(n, asked, LUCK[test]) <= alpha)
    return next(enough, None)


@dataclass(frozen=True)
class Told(Result):
    """`p`: the chance of as many right answers or more by guessing."""

    right: int
    asked: int
    p: float
    least: int | None
    sentence: str


def triangle(right: int, asked: int, alpha: float = 0.05) -> Told:
    """A triangle test: three samples, two of them alike.

    right: right answers. asked: answers, 1 to 1000. alpha: chance of luck that is accepted, 0.0001 to 0.5.
    Returns a Told. Raises OutOfRange. Source: exact binomial with 1/3, as tabulated by FAO.
    """
    need(
        1 <= asked <= 1000 and 0 <= right <= asked,
        f"{right} right of {asked}; give 0 to {asked} of 1 to 1000 answers",
    )
    need(0.0001 <= alpha <= 0.5, f"alpha is {alpha:g}; give 0.0001 to 0.5")
    p, least = chance_of(right, asked, LUCK["triangle"]), least_right(asked, alpha)
    told = (
        "The samples were told apart"
        if p <= alpha
        else "It cannot be said that the samples were told apart"
    )
    return Told(
        right,
        asked,
        p,
        least,
        f"{told}: {right} of {asked} right; luck alone does as well with a chance of {p:.3f}.",
        own_notes=(
            "a triangle test says neither how large a difference is nor which sample is better",
        ),
        own_sources=(tables.cite("kit", "exact binomial", "computed"),),
    )

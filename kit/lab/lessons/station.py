"""The eight exercises of a station: its own numbers from (seed, station), each with working, two hints and the usual errors. Station 0 has the worked examples.

No page of a student holds grams of a nitrite salt: exercise 2 gives the premix as a share of the meat and asks for ppm below the ceiling. Its batter stays below it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from math import sqrt
from statistics import fmean, stdev, variance
from typing import Any

import numpy as np
from scipy.special import stdtrit

from kit import tables
from kit.cure.premix import premix
from kit.errors import WrongUnit
from kit.lab.lessons import Exercise, exercise
from kit.rules.limits import limit
from kit.trial.blocks import ALPHA
from kit.trial.design import PENCIL, random_of
from kit.trial.readings import TubeReading, loss_pct
from kit.trial.rows import words_of
from kit.working import figure

WORKED_EXAMPLE = 0
"""the station whose exercises are shown with their working, to learn from"""
PREMIXES = "US curing salt, 6.25 % nitrite", "nitrite salt 0.6 %", "nitrite salt 0.9 %"
LETTERS = "ABCD"


@dataclass(frozen=True, repr=False)
class LetterExercise(Exercise):
    """One whose answer is a letter; `solve` and the usual errors give its place."""

    def read(self, answer) -> float:
        letter = str(answer).strip().rstrip(").").upper()
        if letter not in tuple(LETTERS):
            said = f"your answer is {str(answer)[:40]!r}; type one letter, {' or '.join(LETTERS)}"
            raise WrongUnit(said)
        return LETTERS.index(letter)

    def shown(self, value: float) -> str:
        return LETTERS[round(value)]

    def off(self, given: float, truth: float) -> str:
        return f"{self.shown(given)} says more or less than the interval."


@lru_cache(maxsize=256)
def exercises(seed: int, station: int) -> tuple[Exercise, ...]:
    """The exercises of one station; the same seed and station give the same numbers."""
    rng = random_of(seed, station, PENCIL)
    return tuple(_apart(partial(make, rng)) for make in _MAKERS)


def _apart(make: Callable[[], Exercise]) -> Exercise:
    """The first draw in which answer and usual errors can be told apart by a pencil."""
    while True:
        one = make()
        values = [one.solve()[0], *(number() for _, number in one.slips)]
        gaps = np.diff(sorted(values))
        if min(gaps) > 2.5 * one.within:
            return one


def _whole(rng, low: int, high: int) -> int:
    return int(rng.integers(low, high + 1))


def _tenths(rng, low: float, high: float, per: int = 10) -> float:
    """A number with as many decimals as `per` has zeros."""
    return _whole(rng, round(low * per), round(high * per)) / per


def _asked(
    key: str, known: Mapping[str, Any], *errors: float, answer: float | None = None, **more
) -> Exercise:
    """The exercise of this key; `more`: what its words and steps hold beside the symbols."""
    gives = (partial(float, one) for one in errors)
    other = None if answer is None else partial(float, answer)
    return exercise(f"11 {key}", {**known, **more}, *gives, answer=other)


def _salt(rng) -> Exercise:
    M, m, p = 10 * _whole(rng, 30, 60), _whole(rng, 62, 80), _tenths(rng, 1.5, 2.4)
    W = M / (m / 100)
    known = {"M": M, "m": m, "p": p, "W": W, "S": W * p / 100}
    return _asked("salt", known, M * p / 100, M * m / 100 * p / 100)


def _premix(rng) -> Exercise:
    rule, m = limit("us_nitrite_ingoing"), _whole(rng, 62, 80)
    strength = premix(PREMIXES[_whole(rng, 0, 2)]).strength_pct
    per = 100 if strength > 1 else 10
    r = _tenths(rng, 65 / (100 * strength), (rule.limit - 6) / (100 * strength), per)
    ppm = r * strength * 100
    known = {"r": r, "s": strength, "n": ppm, "L": rule.limit, "D": rule.limit - ppm}
    errors = rule.limit - ppm * m / 100, rule.limit - r * 1e4, ppm - rule.limit
    return _asked("premix", known, *errors, m=m, jurisdiction=rule.jurisdiction)


def _loss(rng) -> Exercise:
    E, net = _tenths(rng, 12.6, 13.4, 100), _tenths(rng, 26, 34, 100)
    lost = _tenths(rng, 0.055 * net, 0.11 * net, 100)
    F, A = round(E + net, 2), round(E + net - lost, 2)
    ml = round(lost / _tenths(rng, 0.88, 0.92, 100), 1)
    known = {"E": E, "F": F, "A": A, "L": loss_pct(E, F, A)}
    errors = 100 * (F - A) / F, 100 * ml / (F - E), 100 * (A - E) / (F - E)
    return _asked("loss", known, *errors, ml=ml)


def _scatter(rng) -> Exercise:
    while True:
        base = _tenths(rng, 5, 9)
        x = [round(base + _tenths(rng, -0.9, 0.9), 1) for _ in range(3)]
        if 0.35 <= stdev(x) <= 0.70 and len(set(x)) == 3:
            break
    squares = sum((one - fmean(x)) ** 2 for one in x)
    known = {**dict(zip("abc", x)), "m": fmean(x), "Q": squares, "s": stdev(x)}
    return _asked("scatter", known, sqrt(squares / 3), variance(x), max(x) - min(x))


def _effect(rng) -> Exercise:
    base, gap = _tenths(rng, 5, 8), _tenths(rng, 1.2, 3.5)
    a = [round(base + rng.normal(0, 0.8), 1) for _ in range(6)]
    b = [round(one + gap + rng.normal(0, 0.6), 1) for one in a]
    alone = round(fmean(a) + (1 if rng.random() < 0.5 else -1) * _tenths(rng, 2, 3.5), 1)
    alone, place = max(alone, 0.5), _whole(rng, 0, 6)
    pairs = [f"{x:g}, {y:g}" for x, y in zip(a, b)]
    pairs.insert(place, f"{alone:g}, spilled")
    total = sum(b) - sum(a)
    errors = fmean(b) - fmean([*a, alone]), total, total / 7, -total / 6
    known = {"S": total, "n": 6, "D": total / 6}
    return _asked("effect", known, *errors, pairs="; ".join(pairs))


def _half_width(rng) -> Exercise:
    n, each, s = _whole(rng, 5, 9), _whole(rng, 2, 3), _tenths(rng, 0.8, 2.4, 100)
    t, tubes = round(float(stdtrit(n - 1, 1 - ALPHA / 2)), 3), 2 * each * n
    known = {"s": s, "n": n, "t": t, "e": s / sqrt(n), "h": t * s / sqrt(n)}
    errors = t * s / sqrt(tubes), t * s, t * s / n, s / sqrt(n)
    return _asked("half-width", known, *errors, each=each, tubes=tubes, dof=n - 1)


def _stations(rng) -> Exercise:
    n, h = _whole(rng, 3, 24), _tenths(rng, 1.2, 3.9)
    return _asked("stations", {"n": n, "N": 4 * n}, 2 * n, 3 * n, h=h)


def _sentence(rng) -> Exercise:
    worth, n = tables.value("trial_worth_knowing_points"), _whole(rng, 5, 9)
    case = _whole(rng, 0, 3)
    h = _tenths(rng, 0.5, 0.8) if case == 3 else _tenths(rng, 1.3, 2.4)
    size = h + _tenths(rng, 0.3, 1.5) if case < 2 else h * 0.5
    size = _tenths(rng, 0.2, 0.4) if case == 3 else size
    D = round(size if case != 1 else -size, 1)
    conclusions, far = words_of("conclusion"), max(abs(D - h), abs(D + h))
    texts = [text.format(size=abs(D), far=far, worth=worth) for _, text, _ in conclusions]
    order, taken = [int(k) for k in rng.permutation(4)], (2, 2, 0, 2)[case]
    known = {"D": D, "h": h, "l": D - h, "u": D + h}
    said = {"n": n, "effect": figure(D, 2), "worth": worth}
    said["why"] = conclusions[case][2].format(worth=worth)
    said["sentences"] = "".join(f"\n{LETTERS[at]}: {texts[k]}" for at, k in enumerate(order))
    one = _asked("sentence", known, order.index(taken), answer=order.index(case), **said)
    return LetterExercise(**vars(one))


def own_loss(t: TubeReading) -> Exercise:
    """The loss of a station's own tube, with its usual errors."""
    E, F, A = float(t.empty_g or 0), float(t.filled_g or 0), float(t.after_g or 0)
    return exercise(
        "11 own loss",
        {},
        lambda: 100 * (F - A) / F,
        lambda: 100 * (A - E) / (F - E),
        working=tuple,
        answer=lambda: t.loss_pct,
    )


_MAKERS = (_salt, _premix, _loss, _scatter, _effect, _half_width, _stations, _sentence)

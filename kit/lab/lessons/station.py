"""The eight exercises of a station: its own numbers from (seed, station), each with working, two hints and the usual errors. Station 0 has the worked examples.

No page of a student holds grams of a nitrite salt: exercise 2 gives the premix as a share of the meat and asks for ppm below the ceiling. Its batter stays below it.
"""

from collections.abc import Callable, Sequence
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
from kit.lab.lessons import Exercise
from kit.rules.limits import limit
from kit.trial.blocks import ALPHA
from kit.trial.design import PENCIL, random_of
from kit.trial.readings import TubeReading, loss_pct
from kit.working import figure, steps_from

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


def _made(
    question: str,
    unit: str,
    within: float,
    known: dict[str, Any],
    rows: Sequence[tuple[str, ...]],
    hints: tuple[str, str],
    errors: dict[str, float],
    kind: type[Exercise] = Exercise,
    answer: float | None = None,
) -> Exercise:
    steps = steps_from(known, *rows)
    found = steps[-1].answer if answer is None else answer
    slips = tuple((words, partial(float, number)) for words, number in errors.items())
    return kind(question, unit, lambda: (found, steps), within, hints, slips)


def _salt(rng) -> Exercise:
    M, m, p = 10 * _whole(rng, 30, 60), _whole(rng, 62, 80), _tenths(rng, 1.5, 2.4)
    W = M / (m / 100)
    return _made(
        f"A paper batter has {M} g of meat, which is {m} % of the batter. Salt is {p:g} % of the batter. How many g of salt?",
        "g",
        0.06,
        {"M": (M, "g", "meat"), "m": (m, "%", "meat in the batter"), "p": (p, "%", "salt in the batter"), "W": (W, "g", "batter"), "S": W * p / 100},
        (("batter", "W = M / (m / 100)", "g"), ("salt", "S = W × p / 100", "g")),
        ("First the weight of the whole batter, then its salt.", "The meat is a part of the batter, so the batter weighs more than the meat."),
        {
            "that is the percentage of the meat; the salt is a percentage of the whole batter.": M * p / 100,
            "you multiplied by the share of meat; the batter weighs more than the meat, so divide.": M * m / 100 * p / 100,
        },
    )  # fmt: skip


def _premix(rng) -> Exercise:
    rule, m = limit("us_nitrite_ingoing"), _whole(rng, 62, 80)
    strength = premix(PREMIXES[_whole(rng, 0, 2)]).strength_pct
    per = 100 if strength > 1 else 10
    r = _tenths(rng, 65 / (100 * strength), (rule.limit - 6) / (100 * strength), per)
    ppm = r * strength * 100
    return _made(
        f"On paper only, nobody weighs it: premix at {r:g} % of the meat, {strength:g} % of the premix is sodium nitrite; {m} % of the batter is meat. "
        f"The ceiling in the {rule.jurisdiction} is {rule.limit:g} ppm ingoing nitrite, on the meat. How many ppm below the ceiling is it? A batter above the ceiling would not pass: write its number with a minus.",
        "ppm",
        1.0,
        {"r": (r, "%", "premix on the meat"), "s": (strength, "%", "nitrite in the premix"), "n": (ppm, "ppm", "ingoing nitrite"), "L": (rule.limit, "ppm", "ceiling"), "D": rule.limit - ppm},
        (("ingoing nitrite, 1 % is 10,000 ppm", "n = r / 100 × s / 100 × 1000000", "ppm"), ("below the ceiling", "D = L − n", "ppm")),
        ("First the ppm of nitrite on the meat: a share of a share.", "Percent times percent, divided by 10,000, is a fraction; times a million it is ppm."),
        {
            "you counted on the whole batter; this ceiling is on the meat.": rule.limit - ppm * m / 100,
            "you counted the whole premix as nitrite; only a part of it is.": rule.limit - r * 1e4,
            "it is below the ceiling, so it passes: the sign is the other way round.": ppm - rule.limit,
        },
    )  # fmt: skip


def _loss(rng) -> Exercise:
    E, net = _tenths(rng, 12.6, 13.4, 100), _tenths(rng, 26, 34, 100)
    lost = _tenths(rng, 0.055 * net, 0.11 * net, 100)
    F, A = round(E + net, 2), round(E + net - lost, 2)
    v = round(lost / _tenths(rng, 0.88, 0.92, 100), 1)
    return _made(
        f"Tube empty {E:.2f} g, filled {F:.2f} g, after the bath and draining {A:.2f} g; {v:g} ml of exudate and fat in the cylinder. What is the loss in % of the batter?",
        "%",
        0.06,
        {"E": (E, "g", "empty"), "F": (F, "g", "filled"), "A": (A, "g", "after the bath"), "L": loss_pct(E, F, A)},
        (("loss", "L = 100 × (F − A) / (F − E)", "%"),),
        ("What was lost, over the batter that was in the tube.", "Lost: filled less after. Batter: filled less empty."),
        {
            "you divided by tube and batter together; the tube is not batter.": 100 * (F - A) / F,
            "you took the ml for g; fat is lighter than water, so weigh.": 100 * v / (F - E),
            "that is what stayed in the tube; the loss is the rest.": 100 * (A - E) / (F - E),
        },
    )  # fmt: skip


def _scatter(rng) -> Exercise:
    while True:
        base = _tenths(rng, 5, 9)
        x = [round(base + _tenths(rng, -0.9, 0.9), 1) for _ in range(3)]
        if 0.35 <= stdev(x) <= 0.70 and len(set(x)) == 3:
            break
    mean, q = fmean(x), sum((one - fmean(x)) ** 2 for one in x)
    known = {"a": (x[0], "%", "tube 1"), "b": (x[1], "%", "tube 2"), "c": (x[2], "%", "tube 3")}
    known |= {"m": (mean, "%", "mean"), "Q": (q, "", "sum of squares"), "s": stdev(x)}
    return _made(
        f"Three tubes of one batter lost {x[0]:g}, {x[1]:g} and {x[2]:g} %. What is their standard deviation, in percentage points?",
        "percentage points",
        0.015,
        known,
        (("mean", "m = (a + b + c) / 3", "%"), ("sum of squared deviations", "Q = (a − m)^2 + (b − m)^2 + (c − m)^2", ""), ("standard deviation", "s = √(Q / 2)", "percentage points")),
        ("Mean first, then the three deviations, squared and added.", "Three values leave two degrees of freedom: divide by 2, then take the root."),
        {
            "you divided by 3; a standard deviation of a sample divides by n − 1.": sqrt(q / 3),
            "that is the variance; take its root.": variance(x),
            "that is the range, the largest less the smallest.": max(x) - min(x),
        },
    )  # fmt: skip


def _effect(rng) -> Exercise:
    base, gap = _tenths(rng, 5, 8), _tenths(rng, 1.2, 3.5)
    a = [round(base + rng.normal(0, 0.8), 1) for _ in range(6)]
    b = [round(one + gap + rng.normal(0, 0.6), 1) for one in a]
    alone = round(fmean(a) + (1 if rng.random() < 0.5 else -1) * _tenths(rng, 2, 3.5), 1)
    alone, place = max(alone, 0.5), _whole(rng, 0, 6)
    pairs = [f"{x:g}, {y:g}" for x, y in zip(a, b)]
    pairs.insert(place, f"{alone:g}, spilled")
    total = sum(b) - sum(a)
    return _made(
        f"Mean losses in % of batter A, batter B at seven stations: {'; '.join(pairs)}. Compare inside stations: what is the effect of B against A, in percentage points?",
        "percentage points",
        0.04,
        {"S": (total, "percentage points", "sum of the differences B − A"), "n": (6, "", "stations with both batters"), "D": total / 6},
        (("effect", "D = S / n", "percentage points"),),
        ("A station with one batter compares nothing.", "Six differences, B less A; then their mean."),
        {
            "you compared the means of all batters, unpaired; the station with one batter tilts that.": fmean(b) - fmean([*a, alone]),
            "that is the sum of the differences; divide by the stations.": total,
            "you divided by seven; one station has no difference.": total / 7,
            "the sign is the other way round: B less A.": -total / 6,
        },
    )  # fmt: skip


def _half_width(rng) -> Exercise:
    n, each, s = _whole(rng, 5, 9), _whole(rng, 2, 3), _tenths(rng, 0.8, 2.4, 100)
    t = round(float(stdtrit(n - 1, 1 - ALPHA / 2)), 3)
    tubes = 2 * each * n
    return _made(
        f"{n} stations made both batters, {each} tubes of each ({tubes} tubes). The differences of the stations have a standard deviation of {s:g} percentage points; t is {t:g}. What is the half-width of the 95 % confidence interval, in percentage points?",
        "percentage points",
        0.012,
        {"s": (s, "percentage points", "sd of the differences"), "n": (n, "", "stations"), "t": (t, "", f"t for {n - 1} degrees of freedom"), "e": (s / sqrt(n), "percentage points", "standard error"), "h": t * s / sqrt(n)},
        (("standard error", "e = s / √(n)", "percentage points"), ("half-width", "h = t × e", "percentage points")),
        ("Standard error first: what is compared, tubes or stations?", "Divide by the root of the number of stations, then times t."),
        {
            "you counted tubes; tubes of one batter share its fate, so stations count.": t * s / sqrt(tubes),
            "you left out the root of n: one station scatters so, the mean of them less.": t * s,
            "you divided by n; the standard error has its root.": t * s / n,
            "that is the standard error; the interval is t times it.": s / sqrt(n),
        },
    )  # fmt: skip


def _stations(rng) -> Exercise:
    n, h = _whole(rng, 3, 24), _tenths(rng, 1.2, 3.9)
    return _made(
        f"With {n} stations the half-width is {h:g} percentage points. How many stations in all would halve it, if the scatter and t stayed as they are?",
        "stations",
        0.4,
        {"n": (n, "", "stations"), "N": 4 * n},
        (("stations in all", "N = n × 2^2", "stations"),),
        ("The half-width goes with one over the root of the stations.", "Twice as narrow takes two squared as many."),
        {
            "twice the stations narrow it by the root of two only.": 2 * n,
            "so many more; the question is how many in all.": 3 * n,
        },
    )  # fmt: skip


def _sentence(rng) -> Exercise:
    worth, n = tables.value("trial_worth_knowing_points"), _whole(rng, 5, 9)
    case = _whole(rng, 0, 3)
    h = _tenths(rng, 0.5, 0.8) if case == 3 else _tenths(rng, 1.3, 2.4)
    size = (
        h + _tenths(rng, 0.3, 1.5) if case < 2 else h * 0.5 if case == 2 else _tenths(rng, 0.2, 0.4)
    )
    D = round(size if case != 1 else -size, 1)
    low, high = D - h, D + h
    far = max(abs(low), abs(high))
    texts = (
        f"B raised the loss by {abs(D):.1f} percentage points.",
        f"B lowered the loss by {abs(D):.1f} percentage points.",
        f"The class could not tell; an effect as large as {far:.1f} percentage points is not excluded.",
        f"Any effect is smaller than {worth:g} percentage points.",
    )
    order = [int(k) for k in rng.permutation(4)]
    said = "".join(f"\n{LETTERS[at]}: {texts[k]}" for at, k in enumerate(order))
    usual = {
        0: (2, "the interval leaves 0 out, so the class can tell."),
        1: (2, "the interval leaves 0 out, so the class can tell."),
        2: (0, "the interval holds 0: the estimate alone is no effect."),
        3: (
            2,
            f"the whole interval lies inside ± {worth:g}: that is more than not being able to tell.",
        ),
    }[case]
    return _made(
        f"{n} stations: effect of B against A {figure(D, 2)}, half-width {h:g} percentage points (95 %); {worth:g} is worth knowing. Which sentence may be printed? Answer a letter.{said}",
        "",
        0.1,
        {"D": (D, "percentage points", "effect"), "h": (h, "percentage points", "half-width"), "l": low, "u": high},
        (("lower end", "l = D − h", "percentage points"), ("upper end", "u = D + h", "percentage points")),
        ("Calculate both ends of the interval and look where 0 lies.", f"Holds 0 or not; if it does: does all of it lie inside ± {worth:g}?"),
        {usual[1]: order.index(usual[0])},
        LetterExercise,
        order.index(case),
    )  # fmt: skip


def own_loss(t: TubeReading) -> Exercise:
    """The loss of a station's own tube, with its usual errors."""
    E, F, A = float(t.empty_g or 0), float(t.filled_g or 0), float(t.after_g or 0)
    errors = (
        ("you divided by tube and batter together.", lambda: 100 * (F - A) / F),
        ("that is what stayed; the loss is the rest.", lambda: 100 * (A - E) / (F - E)),
    )
    hints = ("Lost: filled less after. Over the batter: filled less empty.",)
    return Exercise("", "%", lambda: (t.loss_pct, ()), 0.06, hints, errors)


_MAKERS = (_salt, _premix, _loss, _scatter, _effect, _half_width, _stations, _sentence)

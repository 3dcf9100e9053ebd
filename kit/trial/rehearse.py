"""How often would this class reach the right sentence? Simulated before the meat is bought."""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.errors import OutOfRange, need, need_between
from kit.trial.analyse import effects
from kit.trial.design import Design
from kit.trial.readings import TubeLoss
from kit.trial.scatter import ClassScatter
from kit.working import Result, notes_of

CLASSES = 300
BASE_PCT = 8.0
"""loss of the invented class at the reference level"""


@dataclass(frozen=True, eq=False)
class Rehearsal(Result):
    """Shares of the simulated classes in %, by what their sentence on the main comparison says."""

    effect_points: float
    classes: int
    right_pct: float
    undecided_pct: float
    wrong_pct: float
    """in sign, or an effect where there is none"""
    covered_pct: float
    """share of the 95 % confidence intervals that hold the true effect"""
    intervals_points: tuple[tuple[float, float, float], ...]
    """low, found, high of each class"""


def simulated(
    planned: Design,
    its: ClassScatter,
    effect_points: float,
    rng: np.random.Generator,
    *,
    lost_pct: float = 0.0,
    exchanged: int = 0,
    balance_step_g: float = 0.01,
) -> list[TubeLoss]:
    """The tubes of one invented class. `effect_points`: of the last level, between in proportion; `exchanged`: pairs of tubes of a station."""
    mean = treatment_means(planned, effect_points)
    empty_g, step, tubes, afters = tables.value("trial_tube_empty_g"), balance_step_g, [], []
    station_of = rng.normal(0, its.station_points, planned.stations + 1)
    run_of = rng.normal(0, its.run_points, 99)
    batter_of: dict[int, float] = {}
    for u in planned.units:
        own = rng.normal(0, its.batter_points)
        if planned.kind == "split":
            own = run_of[u.batter] + batter_of.setdefault(u.station, own)
        level = BASE_PCT + mean[u.treatment] + station_of[u.station] + own
        for n, fill in enumerate(u.fills_g):
            filled = empty_g + fill + rng.normal(0, 0.2)
            loss = level + rng.normal(0, its.tube_points)
            after = filled - (filled - empty_g) * loss / 100
            tubes.append((u.station, u.batter, n + 1, _read(filled, step)))
            afters.append(_read(after, step))
    for _ in range(exchanged):
        station = int(rng.integers(1, planned.stations + 1))
        here = [n for n, tube in enumerate(tubes) if tube[0] == station]
        a, b = rng.choice(here, 2, replace=False)
        afters[a], afters[b] = afters[b], afters[a]
    return [
        TubeLoss(station, batter, tube, 100 * (filled - after) / (filled - empty_g))
        for (station, batter, tube, filled), after in zip(tubes, afters)
        if rng.random() >= lost_pct / 100
    ]


def _read(grams: float, step_g: float) -> float:
    return round(grams / step_g) * step_g if step_g else grams


def treatment_means(planned: Design, effect_points: float) -> list[float]:
    """Mean of each treatment less the reference's, for an effect of the first factor."""
    levels = planned.question.levels[0]
    span = max(levels) - min(levels) if planned.kind == "dose" else levels[-1] - levels[0]
    return [effect_points * (t[0] - levels[0]) / span for t in planned.question.treatments]


def outcome(low: float, high: float, truth: float) -> str:
    """Whether the sentence of a class with this interval is "right", "undecided" or "wrong". With no effect only an undecided class is right."""
    if low <= 0 <= high:
        return "undecided" if truth else "right"
    return "right" if truth * low > 0 and truth * high > 0 else "wrong"


def rehearse(
    planned: Design,
    its: ClassScatter,
    effect_points,
    n: int = CLASSES,
    seed: int = 0,
    lost_pct: float = 10.0,
    exchanged: int = 0,
    balance_step_g: float = 0.01,
) -> Rehearsal:
    """Simulated classes of one design.

    planned: the design.
    its: scatter of the class.
    effect_points: true effect in percentage points, or an array from which each class draws its own.
    n: classes, 20 to 5000.
    seed: of the random numbers.
    lost_pct: tubes lost, 0 to 60 %.
    exchanged: pairs of tubes exchanged in each class, 0 to 5.
    balance_step_g: 0 to 20 g.
    Returns a Rehearsal.
    Raises OutOfRange.
    Source: simulation with the stated scatter.
    """
    need_between("simulated classes", n, 20, 5000)
    need_between("tubes lost", lost_pct, 0, 60)
    need_between("exchanged pairs", exchanged, 0, 5)
    rng, truths = np.random.default_rng(seed), np.atleast_1d(np.asarray(effect_points, float))
    said, covered = Counter[str](), 0
    intervals, levels = [], planned.question.levels[0]
    how = {"lost_pct": lost_pct, "balance_step_g": balance_step_g}
    for _ in range(n):
        true = float(rng.choice(truths))
        try:
            answered = effects(
                planned, simulated(planned, its, true, rng, exchanged=exchanged, **how)
            )
        except OutOfRange:
            continue  # nothing left to compare: undecided
        found = answered[0 if planned.kind == "dose" else planned.question.main].found
        if planned.kind == "dose" and levels[0] > levels[-1]:
            true = -true
        low, high = found.low, found.high
        covered += low <= true <= high
        said[outcome(low, high, true)] += 1
        intervals.append((low, found.value, high))
    need(bool(intervals), "no simulated class had anything left to compare; lose fewer tubes")
    right_pct, wrong_pct = (said[one] * (100 / n) for one in ("right", "wrong"))
    return Rehearsal(
        float(truths.mean()),
        n,
        right_pct,
        100 - (right_pct + wrong_pct),
        wrong_pct,
        100 * covered / len(intervals),
        tuple(intervals),
        own_notes=notes_of("rehearsal", {}),
        own_sources=(*its.sources, tables.cite("kit", "simulation", "computed")),
    )

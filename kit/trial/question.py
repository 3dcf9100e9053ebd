"""What is asked of the class: one factor or two, their levels, the response, and the smallest difference worth knowing."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import lru_cache
from itertools import product
from math import isfinite

import numpy as np

from kit import tables
from kit.emulsion.batter import Batter
from kit.emulsion.factors import factor as emulsion_factor
from kit.emulsion.model import LIMITS, work_out
from kit.emulsion.spread import cloud
from kit.errors import OutOfRange, need, need_known
from kit.faults import need_said
from kit.trial.rows import need_bounded
from kit.working import Result, figure

RESPONSES = {
    "cook_loss_pct": ("total_out_g", "cook loss"),
    "fat_loss_pct": ("fat_out_g", "fat loss"),
}
"""response -> field of the emulsion model's answer, words"""
BATH = "bath"
DRAWS, SEED = 2000, 4
"""of the model's uncertain numbers"""


@dataclass(frozen=True)
class TrialFactor:
    """A thing that a class can change. `set_at`: bowl, chopper or bath, the step that sets it."""

    key: str
    label: str
    unit: str
    low: float
    high: float
    level_1: float
    level_2: float
    set_at: str
    doing: str
    caution: str
    emulsion: str

    def words(self, level: float) -> str:
        return f"{figure(level)} {self.unit.replace('% of batter', '%')}"


@lru_cache(maxsize=1)
def factors() -> dict[str, TrialFactor]:
    """What a class can change, by key."""
    found = {}
    for row in tables.read_rows("trial", "factors.csv"):
        levels = {name: float(row[name]) for name in ("low", "high", "level_1", "level_2")}
        found[row["key"]] = TrialFactor(**row | levels)  # type: ignore[arg-type]
    return found


@dataclass(frozen=True)
class TrialQuestion:
    """`levels` holds one tuple for each factor, the reference level first."""

    factors: tuple[TrialFactor, ...]
    levels: tuple[tuple[float, ...], ...]
    response: str
    worth_knowing_points: float
    batter: Batter

    def __hash__(self):
        return hash((self.factors, self.levels, self.response, self.worth_knowing_points))

    @property
    def treatments(self) -> tuple[tuple[float, ...], ...]:
        """Every combination of levels, the reference first."""
        return tuple(product(*self.levels))

    def said(self, treatment: Sequence[float]) -> str:
        """Every factor with its level, in words."""
        pairs = zip(self.factors, treatment)
        return ", ".join(f"{one.label} {one.words(level)}" for one, level in pairs)

    @property
    def at_bath(self) -> bool:
        return any(one.set_at == BATH for one in self.factors)

    @property
    def response_words(self) -> str:
        return RESPONSES[self.response][1]

    @property
    def main(self) -> int:
        """Place of the comparison that a chance is about: with the last level, or of the first of two factors."""
        return 0 if len(self.factors) == 2 else -1

    def contrasts(self) -> dict[str, dict[int, float]]:
        """Planned comparisons in words: number of the treatment -> weight. One factor: each level against the reference. Two: both effects and their interaction."""
        if len(self.factors) == 1:
            (one,), (levels,) = self.factors, self.levels
            reference = one.words(levels[0])
            return {
                one.doing.format(level=one.words(level), reference=reference): {n: 1.0, 0: -1.0}
                for n, level in enumerate(levels)
                if n
            }
        signs = [
            [1.0 if level == its[-1] else -1.0 for level, its in zip(t, self.levels)]
            for t in self.treatments
        ]
        found = {}
        for n, (one, levels) in enumerate(zip(self.factors, self.levels)):
            words = one.doing.format(level=one.words(levels[1]), reference=one.words(levels[0]))
            found[words] = {m: sign[n] / 2 for m, sign in enumerate(signs)}
        both = " and ".join(one.label for one in self.factors)
        return found | {f"interaction of {both}": {m: a * b / 2 for m, (a, b) in enumerate(signs)}}

    def batter_at(self, treatment: Sequence[float]) -> Batter:
        """The batter of one treatment, as 100 g again."""
        batter = self.batter
        for one, level in zip(self.factors, treatment):
            batter = emulsion_factor(one.emulsion).at(batter, level)
        return batter


def ask(
    factor: str | Sequence[str],
    levels: Sequence | None = None,
    response: str = "cook_loss_pct",
    worth_knowing_points: float | None = None,
    batter: Batter | None = None,
) -> TrialQuestion:
    """A checked question.

    factor: a key of `factors()`, or a sequence of one or two.
    levels: two to five values in the factor's unit, the reference first (of a sequence of factors: a list of values for each, two where there are two factors); the usual two where left out.
    response: "cook_loss_pct" or "fat_loss_pct", % of the raw sample.
    worth_knowing_points: smallest difference worth knowing, 0.1 to 20 percentage points; 1.5 where left out.
    batter: the class's batter, 100 g of it; the example frankfurter where left out.
    Returns a TrialQuestion.
    Raises UnknownName for a factor or response, OutOfRange for levels that the factor or the batter cannot take.
    Source: bounds are rows of data/trial/factors.csv.
    """
    keys = (factor,) if isinstance(factor, str) else tuple(factor)
    need(1 <= len(keys) <= 2 and len(set(keys)) == len(keys), "one factor or two different ones")
    for key in keys:
        need_known("factor", key, factors())
    need_known("response", response, RESPONSES)
    known = tuple(factors()[key] for key in keys)
    need_said(len(keys) == 1 or not any(one.set_at == BATH for one in known), "bath asked alone")
    usual = tuple((one.level_1, one.level_2) for one in known)
    given = usual if levels is None else (levels,) if isinstance(factor, str) else levels
    lists = f"{len(keys)} factors and {len(given)} lists of levels; give one list for each"
    need(len(given) == len(keys), lists)
    for one, its in zip(known, given):
        most = 5 if len(keys) == 1 else 2
        fits = 2 <= len(its) <= most and len(set(its)) == len(its)
        need_said(fits, "count of levels", one=one, count=len(its), most=most)
        for level in its:
            fits = isfinite(level) and one.low <= level <= one.high
            need_said(fits, "level beyond the factor", one=one, level=level)
    usual_worth = tables.value("trial_worth_knowing_points")
    worth = usual_worth if worth_knowing_points is None else float(worth_knowing_points)
    need_bounded("worth_knowing_points", worth)
    taken = tuple(tuple(map(float, its)) for its in given)
    question = TrialQuestion(known, taken, response, worth, batter or example_batter())
    for treatment in question.treatments:
        try:
            question.batter_at(treatment)
        except OutOfRange as error:
            raise OutOfRange(f"this batter cannot be made with {treatment}: {error}") from None
    return question


def example_batter() -> Batter:
    """The example frankfurter of the emulsion model."""
    names = [one.name for one in fields(Batter)][:6]  # water to phosphate
    return Batter(**{name: tables.value(f"emulsion_base_{name}") for name in names})  # type: ignore[arg-type]


@dataclass(frozen=True, eq=False)
class Predicted(Result):
    """What the emulsion model says of each planned comparison: `draws` in percentage points, and their 5, 50 and 95 %."""

    question: TrialQuestion
    draws: dict[str, np.ndarray]
    fails_first: tuple[str, ...]
    """the limit with the smallest margin, for each treatment"""

    @property
    def main(self) -> str:
        """The comparison that a chance is about, in words."""
        return list(self.draws)[self.question.main]

    def range_points(self, contrast: str) -> tuple[float, float, float]:
        low, middle, high = np.percentile(self.draws[contrast], (5, 50, 95))
        return float(low), float(middle), float(high)


def predicted(question: TrialQuestion) -> Predicted:
    """The emulsion model's effect of every planned comparison, its uncertain numbers drawn alike for all treatments.

    question: what is asked.
    Returns a Predicted, in percentage points of the raw sample. Its direction is built into the model and is no evidence.
    Source: the teaching model of kit.emulsion.
    """
    p = cloud(np.random.default_rng(SEED), DRAWS)
    states = [work_out(question.batter_at(t), p) for t in question.treatments]
    field = RESPONSES[question.response][0]
    out = np.array([np.broadcast_to(getattr(state, field), DRAWS) for state in states])
    found = {
        words: sum(weight * out[n] for n, weight in weights.items())
        for words, weights in question.contrasts().items()
    }
    first = (min(LIMITS, key=lambda limit: np.median(state.margins[limit])) for state in states)
    said = "the direction of a predicted effect is built into the model; a class that finds it confirms its own hands, not the model's cause"
    source = tables.cite("kit", "teaching model of the batter", "teaching")
    return Predicted(question, found, tuple(first), own_notes=(said,), own_sources=(source,))

"""What did the class show? Effects with intervals from batter means in station blocks, and one sentence."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, sqrt
from statistics import fmean

import numpy as np

from kit import tables
from kit.errors import OutOfRange, need
from kit.trial.blocks import Contrast, VarianceRow, dummies, variance_table
from kit.trial.design import Design, Unit, critical
from kit.trial.question import Predicted
from kit.trial.readings import TubeLoss, by_batter
from kit.trial.rows import words_of
from kit.working import Result, Step, notes_of, working_of

LEAST_DOF = 3
STRAIGHT = " (straight line)"
COMPARED = 4000
"""draws behind the comparison with the prediction"""
MAY_NOT = tuple(text for _, text, _ in words_of("may not"))


@dataclass(frozen=True)
class Effect:
    """One planned comparison: what the class found, beside what the model predicted."""

    words: str
    found: Contrast
    sentence: str
    predicted_points: tuple[float, float, float] | None = None
    """5, 50 and 95 % of the model's draws"""
    difference_points: tuple[float, float] | None = None
    """95 % confidence interval of class less model"""
    against_model: str = ""


@dataclass(frozen=True, eq=False)
class Answer(Result):
    """What the class may say. `table` is the table of variance, `components` standard deviations in percentage points."""

    design: Design
    effects: tuple[Effect, ...]
    table: tuple[VarianceRow, ...]
    components: dict[str, float]
    by_station: dict[int, dict[int, float]]
    """station -> treatment -> mean loss in %"""
    lost: tuple[str, ...]
    """tubes and batters that are missing, in words"""
    silent: tuple[int, ...]
    """stations with one batter left: they say nothing"""

    @property
    def sentence(self) -> str:
        return " ".join(e.sentence for e in self.effects)

    @property
    def may(self) -> tuple[str, ...]:
        """What may be concluded."""
        return (
            "this batter, these levels, this bath and the hands of this class",
            f"{self.design.question.response_words} in a tube, as the class weighed it",
        )

    may_not = MAY_NOT

    def __str__(self) -> str:
        lines = [
            self.sentence,
            "May be concluded for: " + "; ".join(self.may),
            "May not be concluded: " + "; ".join(MAY_NOT),
        ]
        lines += [f"{e.words}: model {e.against_model}" for e in self.effects if e.against_model]
        lines += [
            f"standard deviation between {part}s: {sd:.2f} percentage points"
            for part, sd in self.components.items()
        ]
        return "\n".join([*lines, *self.lost[:10], *self.notes[:5]])


def analyse(
    planned: Design, losses: Sequence[TubeLoss], predicted: Predicted | None = None
) -> Answer:
    """The effects that a class found.

    planned: the design.
    losses: one for each tube that was read, in % of the filled weight (fat loss alike), -100 to 100; missing tubes are left out.
    predicted: what the model says, to stand beside it, or None.
    Returns an Answer with 95 % confidence intervals; where several levels are compared with one, the intervals hold together.
    Raises OutOfRange for a tube that the design does not have, one that comes twice, or too little to compare.
    Source: least squares on batter means with station blocks, t with the degrees of freedom of the blocks.
    """
    means, lost = _means(planned, losses), _lost(planned, losses)
    found = _effects(planned, means)
    if predicted is not None:
        found = [_beside(effect, predicted) for effect in found]
    stations = {"station": [u.station for u in means]} if planned.blocked else {}
    terms = {**stations, "level": [u.treatment for u in means]}
    table = variance_table([*means.values()], terms)
    said = set(stations.get("station", planned.numbers))
    silent = tuple(s for s in planned.numbers if s not in said)
    by: dict[int, dict[int, list[float]]] = {}
    for key, its in sorted(by_batter(losses).items()):
        by.setdefault(key[0], {}).setdefault(planned.level[key], []).append(float(np.mean(its)))
    unsure = {"silent": silent, "fewer tubes": lost and planned.blocked}
    said_of = notes_of("class answer", unsure, stations=", ".join(map(str, silent)))
    return Answer(
        planned,
        tuple(found),
        table,
        _components(planned, losses, table),
        {s: {t: float(np.mean(v)) for t, v in sorted(its.items())} for s, its in by.items()},
        lost,
        silent,
        own_notes=(*planned.confounded, *said_of),
        own_sources=(tables.cite("kit", "batter means in station blocks, t", "computed"),),
        own_working=_working(found[0].found, by) if planned.kind == "pairs" else (),
    )


def effects(planned: Design, losses: Sequence[TubeLoss]) -> list[Effect]:
    """The planned comparisons alone: what a simulated class needs."""
    return _effects(planned, _means(planned, losses))


def _effects(planned: Design, means: Mapping[Unit, float]) -> list[Effect]:
    if planned.kind == "dose":
        return _lines(planned, means)
    need(bool(means), "no station has two batters left: nothing can be compared")
    fitted = planned.fitted(means)
    need(fitted.dof >= 1, "too few batters are left: no scatter between batters can be calculated")
    edge = _critical(planned, means)
    return [
        Effect(words, its, _sentence(planned, words, its, len(means)))
        for words, weights in planned.question.contrasts().items()
        for its in [replace(fitted.contrast(weights), critical=edge)]
    ]


def _means(planned: Design, losses: Sequence[TubeLoss]) -> dict[Unit, float]:
    """The mean of each compared unit of which something was read, and beside which something was read in its station."""
    seen = set()
    for one in losses:
        key = (one.station, one.batter, one.tube)
        tube = f"station {one.station}, batter {one.batter}, tube {one.tube}"
        need(key in planned.fill_g, f"{tube} is not in this design; check the code")
        need(key not in seen, f"{tube} comes twice; keep one")
        could_be = isfinite(one.loss_pct) and -100 <= one.loss_pct <= 100
        need(could_be, f"{tube}: a loss of {one.loss_pct:g} % cannot be")
        seen.add(key)
    need(bool(losses), "no tube was read; give at least two stations")
    found = by_batter(losses)
    if planned.kind == "split":
        return _run_means(planned, found)
    left = Counter(station for station, _ in found)
    return {
        u: fmean(found[u.station, u.batter])
        for u in planned.runs
        if (u.station, u.batter) in found and (left[u.station] > 1 or not planned.blocked)
    }


def _lost(planned: Design, losses: Sequence[TubeLoss]) -> tuple[str, ...]:
    """What is missing, in words."""
    found, lost = by_batter(losses), []
    for station, batter in planned.level:
        missing = planned.tubes - len(found.get((station, batter), ()))
        whole = "every tube" if missing == planned.tubes else f"{missing} of {planned.tubes} tubes"
        if missing:
            lost.append(f"{whole} of station {station}, batter {batter} missing")
    return tuple(lost)


def _run_means(planned: Design, found: Mapping[tuple[int, int], list[float]]) -> dict[Unit, float]:
    """Level of each bath run, with the stations' own levels taken out: a lost tube does not tilt a run."""
    stations, runs = dummies([s for s, _ in found]), dummies([run for _, run in found])
    x = np.hstack([runs, stations[:, 1:]])
    solved = np.linalg.lstsq(x, np.array([np.mean(its) for its in found.values()]), rcond=None)[0]
    shift = solved[runs.shape[1] :].sum() / stations.shape[1]
    level = dict(zip(dict.fromkeys(run for _, run in found), solved))
    return {u: float(level[u.batter] + shift) for u in planned.runs if u.batter in level}


def _critical(planned: Design, means: Mapping[Unit, float]) -> float:
    """The half-width in standard errors with what is left of the design."""
    if len(means) == len(planned.runs):
        return critical(planned)
    try:
        return critical(replace(planned, units=tuple(means)))
    except (OutOfRange, ValueError):
        raise OutOfRange("a level has no batter left; its effect cannot be calculated") from None


def _lines(planned: Design, means: Mapping[Unit, float]) -> list[Effect]:
    """Slope within each station over the whole span, and the bend; t over stations."""
    question, levels = planned.question, np.asarray(planned.question.levels[0])
    one, span = question.factors[0], float(np.ptp(levels))
    slopes, bends = [], []
    for station in planned.numbers:
        its = {u: mean for u, mean in means.items() if u.station == station}
        x, y = levels[[u.treatment for u in its]], [*its.values()]
        if len(set(x)) >= 2:
            slopes.append(float(np.polyfit(x, y, 1)[0]) * span)
        if len(set(x)) >= 3:
            bends.append(float(np.polyfit((x - levels.mean()) / (span / 2), y, 2)[0]))
    need(len(slopes) >= 2, "two stations with two levels each are the least for a straight line")
    reference, far = one.words(float(levels.min())), one.words(float(levels.max()))
    found = []
    for words, values in (
        (one.doing.format(level=far, reference=reference) + STRAIGHT, slopes),
        (f"bend of the line of {one.label}, at its ends against its middle", bends),
    ):
        if (n := len(values)) >= 2:
            se = float(np.std(values, ddof=1)) / sqrt(n)
            contrast = Contrast(float(np.mean(values)), se, n - 1)
            sentence = _sentence(planned, words, contrast, n * len(levels))
            found.append(Effect(words, contrast, sentence))
    return found


def form_of(found: Contrast, worth_points: float) -> str:
    """Which form of the sentence an interval allows: "clear", "small", "open", or "few" where the degrees of freedom are too few."""
    if found.dof < LEAST_DOF:
        return "few"
    if found.low > 0 or found.high < 0:
        return "clear"
    return "small" if -worth_points < found.low and found.high < worth_points else "open"


def _sentence(planned: Design, words: str, found: Contrast, batters: int) -> str:
    """One grammar, four forms; never more than the interval says."""
    question = planned.question
    forms = {form: text for form, text, _ in words_of("sentence")}
    unit = "bath runs" if planned.kind == "split" else "batters"
    span = f"95 % confidence interval {found.low:.1f} to {found.high:.1f}"
    return forms[form_of(found, question.worth_knowing_points)].format(
        subject=words[0].upper() + words[1:],
        unit=unit,
        of=f"{planned.stations} stations, {batters} {unit}",
        verb="raised" if found.value > 0 else "lowered",
        response=question.response_words,
        size=abs(found.value),
        span=span.replace("-", "−"),
        worth=question.worth_knowing_points,
        largest=max(abs(found.low), abs(found.high)),
    )


def _beside(effect: Effect, predicted: Predicted) -> Effect:
    """Class and model on one scale: the difference has the uncertainty of both."""
    name = effect.words.removesuffix(STRAIGHT)
    if name not in predicted.draws:
        return effect
    its, found = predicted.range_points(name), effect.found
    rng = np.random.default_rng(11)
    of_class = found.value + found.se * rng.standard_t(max(found.dof, 1), COMPARED)
    gap = of_class - rng.choice(predicted.draws[name], COMPARED)
    low, high = (float(x) for x in np.percentile(gap, (2.5, 97.5)))
    if found.low <= 0 <= found.high and found.low <= its[1] <= found.high:
        verdict = "too wide to tell: the class's interval holds both no effect and the model's"
    elif low <= 0 <= high:
        verdict = "agrees within the uncertainty of both"
    else:
        verdict = f"differs: the class's effect is {'larger' if found.value > its[1] else 'smaller'} by {abs(found.value - its[1]):.1f} percentage points"
    return replace(
        effect, predicted_points=its, difference_points=(low, high), against_model=verdict
    )


def _components(
    planned: Design, losses: Sequence[TubeLoss], table: Sequence[VarianceRow]
) -> dict[str, float]:
    """Standard deviations of station, batter and tube, from the table's mean squares; 0 where an estimate came out below."""

    def root(variance: float) -> float:
        return sqrt(max(float(variance), 0.0))

    its, left = list(by_batter(losses).values()), table[-1]
    dof = sum(map(len, its)) - len(its)
    squares = sum(float(((np.asarray(one) - np.mean(one)) ** 2).sum()) for one in its)
    tube = squares / dof if dof else float("nan")
    within = left.mean_square if left.dof else float("nan")
    batter = root(within - tube * len(its) / len(losses))
    if planned.kind == "split":
        run = root(within - tube / (planned.tubes * planned.stations))
        return {"bath run": run, "tube": sqrt(tube)}
    if planned.kind == "single":
        return {"station and batter": batter, "tube": sqrt(tube)}
    station = root((table[0].mean_square - within) / planned.batters)
    return {"station": station, "batter": batter, "tube": sqrt(tube)}


def _working(found: Contrast, by_station: Mapping[int, Mapping]) -> tuple[Step, ...]:
    """Of pairs: the mean of the stations' differences, with its interval."""
    gaps = [its[1][0] - its[0][0] for its in by_station.values() if len(its) == 2]
    return working_of(
        "class effect",
        S=sum(gaps),
        n=len(gaps),
        D=found.value,
        s=float(np.std(gaps, ddof=1)),
        e=found.se,
        t=found.half_width / found.se if found.se else 0.0,
        h=found.half_width,
        dof=found.dof,
    )

"""What did the class show? Effects with intervals from batter means in station blocks, and one sentence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, sqrt
from statistics import fmean

import numpy as np

from kit import tables
from kit.errors import OutOfRange, need
from kit.trial.blocks import Contrast, VarianceRow, variance_table
from kit.trial.design import Design, critical
from kit.trial.question import Predicted
from kit.trial.readings import TubeLoss
from kit.working import Result, Step, step

LEAST_DOF = 3
COMPARED = 4000
"""draws behind the comparison with the prediction"""
MAY_NOT = (
    "that a product is safe or tastes better",
    "the same for other machines, other meat or other fats",
    "why it is so: no theory of the batter was tested",
    "the yield of a plant: a tube does not dry",
)


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
        return (
            self.effects[0].sentence
            if len(self.effects) == 1
            else " ".join(e.sentence for e in self.effects)
        )

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
    means, silent, lost = _means(planned, losses)
    effects = _effects(planned, means)
    if predicted is not None:
        effects = [_beside(effect, predicted) for effect in effects]
    values = [mean for mean in means if mean is not None]
    units = [u for u, mean in zip(planned.runs, means) if mean is not None]
    terms: dict[str, Sequence] = {
        "station": [u.station for u in units],
        "level": [u.treatment for u in units],
    }
    order = ["level"] if planned.kind in ("single", "split") else ["station", "level"]
    by_station: dict[int, dict[int, list[float]]] = {}
    for (station, batter), its in by_batter(losses).items():
        treatment = next(
            u.treatment for u in planned.units if (u.station, u.batter) == (station, batter)
        )
        by_station.setdefault(station, {}).setdefault(treatment, []).append(float(np.mean(its)))
    table = variance_table(values, terms, order)
    return Answer(
        planned,
        tuple(effects),
        table,
        _components(planned, losses, table),
        {
            s: {t: float(np.mean(v)) for t, v in sorted(its.items())}
            for s, its in sorted(by_station.items())
        },
        lost,
        silent,
        own_notes=_notes(planned, silent, lost),
        own_sources=(tables.cite("kit", "batter means in station blocks, t", "computed"),),
        own_working=_working(planned, effects[0], by_station, len(values)),
    )


def effects(planned: Design, losses: Sequence[TubeLoss]) -> list[Effect]:
    """The planned comparisons alone: what a simulated class needs."""
    return _effects(planned, _means(planned, losses)[0])


def _effects(planned: Design, means: Sequence[float | None]) -> list[Effect]:
    if planned.kind == "dose":
        return _lines(planned, means)
    kept = [mean is not None for mean in means]
    need(any(kept), "no station has two batters left: nothing can be compared")
    fitted = planned.fitted([mean for mean in means if mean is not None], kept)
    need(fitted.dof >= 1, "too few batters are left: no scatter between batters can be calculated")
    edge = critical(planned) if all(kept) else _critical_of(planned, kept)
    found = {
        words: replace(fitted.contrast(weights), critical=edge)
        for words, weights in planned.question.contrasts().items()
    }
    return [
        Effect(words, one, _sentence(planned, words, one, sum(kept)))
        for words, one in found.items()
    ]


def by_batter(losses: Sequence[TubeLoss]) -> dict[tuple[int, int], list[float]]:
    found: dict[tuple[int, int], list[float]] = {}
    for one in losses:
        found.setdefault((one.station, one.batter), []).append(one.loss_pct)
    return found


def _means(
    planned: Design, losses: Sequence[TubeLoss]
) -> tuple[list[float | None], tuple[int, ...], tuple[str, ...]]:
    """One mean for each compared unit, None where nothing of it was read; what is missing, in words."""
    known, seen = {(u.station, u.batter): u for u in planned.units}, set()
    for one in losses:
        key = (one.station, one.batter, one.tube)
        need(
            key[:2] in known and 1 <= one.tube <= planned.tubes,
            f"station {one.station}, batter {one.batter}, tube {one.tube} is not in this design; check the code",
        )
        need(
            key not in seen,
            f"station {one.station}, batter {one.batter}, tube {one.tube} comes twice; keep one",
        )
        need(
            isfinite(one.loss_pct) and -100 <= one.loss_pct <= 100,
            f"station {one.station}, batter {one.batter}, tube {one.tube}: a loss of {one.loss_pct:g} % cannot be",
        )
        seen.add(key)
    need(bool(losses), "no tube was read; give at least two stations")
    found, lost = by_batter(losses), []
    for (station, batter), _ in known.items():
        missing = planned.tubes - len(found.get((station, batter), ()))
        if missing:
            whole = (
                "every tube" if missing == planned.tubes else f"{missing} of {planned.tubes} tubes"
            )
            lost.append(f"{whole} of station {station}, batter {batter} missing")
    if planned.kind == "split":
        return _run_means(planned, found), (), tuple(lost)
    means = [fmean(found[key]) if key in found else None for key in known]
    left: dict[int, int] = {}
    for (station, _), mean in zip(known, means):
        left[station] = left.get(station, 0) + (mean is not None)
    silent = tuple(s for s, n in left.items() if n < 2) if planned.kind != "single" else ()
    return (
        [None if key[0] in silent else mean for key, mean in zip(known, means)],
        silent,
        tuple(lost),
    )


def _run_means(planned: Design, found: Mapping[tuple[int, int], list[float]]) -> list[float | None]:
    """Level of each bath run, with the stations' own levels taken out: a lost tube does not tilt a run."""
    keys = list(found)
    runs = sorted({run for _, run in keys})
    stations = sorted({station for station, _ in keys})
    x = np.array(
        [
            [float(r == run) for run in runs] + [float(s == one) for one in stations[1:]]
            for s, r in keys
        ]
    )
    solved = np.linalg.lstsq(x, np.array([np.mean(found[key]) for key in keys]), rcond=None)[0]
    shift = solved[len(runs) :].sum() / len(stations)
    level = {run: float(solved[n] + shift) for n, run in enumerate(runs)}
    return [level.get(u.batter) for u in planned.runs]


def _critical_of(planned: Design, kept: Sequence[bool]) -> float:
    """The half-width in standard errors with what is left of the design."""
    left = replace(planned, units=tuple(u for u, keep in zip(planned.runs, kept) if keep))
    try:
        return critical(left)
    except (OutOfRange, ValueError):
        raise OutOfRange("a level has no batter left; its effect cannot be calculated") from None


def _lines(planned: Design, means: Sequence[float | None]) -> list[Effect]:
    """Slope within each station over the whole span, and the bend; t over stations."""
    question, levels = planned.question, np.asarray(planned.question.levels[0])
    one, span = question.factors[0], float(np.ptp(levels))
    slopes, bends = [], []
    for station in sorted({u.station for u in planned.units}):
        points = [
            (levels[u.treatment], mean)
            for u, mean in zip(planned.units, means)
            if u.station == station and mean is not None
        ]
        if len({x for x, _ in points}) >= 2:
            x, y = map(np.asarray, zip(*points))
            slopes.append(float(np.polyfit(x, y, 1)[0]) * span)
            if len(set(x)) >= 3:
                bends.append(float(np.polyfit((x - levels.mean()) / (span / 2), y, 2)[0]))
    need(len(slopes) >= 2, "two stations with two levels each are the least for a straight line")
    reference, far = one.words(float(levels.min())), one.words(float(levels.max()))
    found = []
    for words, values in (
        (one.doing.format(level=far, reference=reference) + " (straight line)", slopes),
        (f"bend of the line of {one.label}, at its ends against its middle", bends),
    ):
        if len(values) >= 2:
            contrast = Contrast(
                float(np.mean(values)),
                float(np.std(values, ddof=1)) / sqrt(len(values)),
                len(values) - 1,
            )
            found.append(
                Effect(
                    words, contrast, _sentence(planned, words, contrast, len(values) * len(levels))
                )
            )
    return found


def _sentence(planned: Design, words: str, found: Contrast, batters: int) -> str:
    """One grammar, four forms; never more than the interval says."""
    question = planned.question
    response, worth = question.response_words, question.worth_knowing_points
    subject = words[0].upper() + words[1:]
    unit = "bath runs" if planned.kind == "split" else "batters"
    of = f"{planned.stations} stations, {batters} {unit}"
    span = f"95 % confidence interval {found.low:.1f} to {found.high:.1f}".replace("-", "−")
    if found.dof < LEAST_DOF:
        return f"{subject}: too few {unit} to say ({of})."
    if found.low > 0 or found.high < 0:
        verb = "raised" if found.value > 0 else "lowered"
        return f"{subject} {verb} the {response} by {abs(found.value):.1f} percentage points ({span}; {of})."
    if -worth < found.low and found.high < worth:
        return f"{subject}: any effect on the {response} is smaller than {worth:g} percentage points ({span}; {of})."
    largest = max(abs(found.low), abs(found.high))
    return f"{subject}: the class could not tell; an effect on the {response} as large as {largest:.1f} percentage points is not excluded ({span}; {of})."


def _beside(effect: Effect, predicted: Predicted) -> Effect:
    """Class and model on one scale: the difference has the uncertainty of both."""
    name = effect.words.removesuffix(" (straight line)")
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
    squares = dof = 0.0
    for its in by_batter(losses).values():
        squares += float(((np.asarray(its) - np.mean(its)) ** 2).sum())
        dof += len(its) - 1
    tube = squares / dof if dof else float("nan")
    left = table[-1]
    within = left.mean_square if left.dof else float("nan")
    if planned.kind == "split":
        return {
            "bath run": sqrt(max(within - tube / (planned.tubes * planned.stations), 0)),
            "tube": sqrt(tube),
        }
    usual = np.mean([len(its) for its in by_batter(losses).values()])
    if planned.kind == "single":
        return {
            "station and batter": sqrt(max(float(within - tube / usual), 0.0)),
            "tube": sqrt(tube),
        }
    station = (table[0].mean_square - within) / planned.batters
    return {
        "station": sqrt(max(float(station), 0.0)),
        "batter": sqrt(max(float(within - tube / usual), 0.0)),
        "tube": sqrt(tube),
    }


def _notes(planned: Design, silent: Sequence[int], lost: Sequence[str]) -> tuple[str, ...]:
    notes = list(planned.confounded)
    if silent:
        notes.append(
            f"one batter left at station {', '.join(map(str, silent))}: such a station compares nothing and is not counted"
        )
    if lost and planned.kind not in ("single", "split"):
        notes.append(
            "batters with fewer tubes count like the others; the interval allows for their larger scatter only in part"
        )
    return tuple(notes)


def _working(planned: Design, effect: Effect, by_station, units: int) -> tuple[Step, ...]:
    found = effect.found
    if planned.kind != "pairs":
        return ()
    gaps = [its[1][0] - its[0][0] for its in by_station.values() if len(its) == 2]
    sd = float(np.std(gaps, ddof=1))
    t = found.half_width / found.se if found.se else 0.0
    return (
        step(
            "effect: mean of the stations' differences",
            "D = S / n",
            found.value,
            "percentage points",
            key="effect",
            S=(sum(gaps), "percentage points", "sum of the differences"),
            n=(len(gaps), "", "stations"),
        ),
        step(
            "standard error",
            "e = s / √(n)",
            found.se,
            "percentage points",
            key="se",
            s=(sd, "percentage points", "sd of the differences"),
            n=(len(gaps), "", "stations"),
        ),
        step(
            "half-width of the 95 % confidence interval",
            "h = t × e",
            found.half_width,
            "percentage points",
            key="half_width",
            t=(t, "", f"t for {found.dof} degrees of freedom"),
            e=(found.se, "percentage points", "standard error"),
        ),
    )

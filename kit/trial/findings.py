"""What looks wrong in the results of a class? Evidence for the teacher's decision; nothing is changed or left out here."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations
from math import sqrt

import numpy as np
from scipy.special import fdtri, stdtrit

from kit import tables
from kit.trial.analyse import by_batter
from kit.trial.design import Design, power, smallest_effect
from kit.trial.exchanged import (
    EXCHANGED,
    exchanged_batters,
    exchanged_tubes,
    weights_of_others,
)
from kit.trial.readings import BatterReading, ClassFinding, TubeReading, losses_of
from kit.trial.scatter import ClassScatter

UNITS = {
    "kilograms": 1e-3,
    "ounces": 1 / tables.value("ounce_g"),
    "pounds": 1 / tables.value("pound_g"),
    "milligrams": 1e3,
}
"""what a weight in another unit is to the weight in grams"""


def near(net_g: float, goal_g: float) -> bool:
    """Is a filled weight on its target?"""
    return abs(net_g - goal_g) <= tables.value("trial_fill_near_pct") / 100 * goal_g


def findings(
    planned: Design,
    tubes: Sequence[TubeReading],
    batters: Sequence[BatterReading] = (),
    *,
    its: ClassScatter,
    balance_step_g: float = 0.01,
    most_loss_pct: float = 90.0,
    aside: Sequence[TubeReading] = (),
) -> tuple[ClassFinding, ...]:
    """Every finding, certain ones first. `most_loss_pct`: water and fat of the sheet. `aside`: tubes that gained weight, which another tube may explain."""
    read = [t for t in tubes if t.whole and t.net_g > 0]
    found = [*_units(planned, tubes), *_ends_in_F(planned, batters)]
    odd = {key for one in found for key in one.keys}
    sound = [t for t in read if t.key not in odd]
    found += weights_of_others(target_g(planned), sound)
    found += exchanged_tubes(planned, [*sound, *aside], its, balance_step_g)
    odd |= {key for one in found for key in one.keys}
    impossible = _impossible([t for t in sound if t.key not in odd], most_loss_pct)
    found += impossible
    odd |= {key for one in impossible for key in one.keys}
    gone = {key for one in found for key in one.keys if one.kind != EXCHANGED}
    sound = [t for t in sound if t.key not in gone]
    found += exchanged_batters(planned, sound)
    found += _ends(planned, batters)
    found += _tube_apart([t for t in sound if t.key not in odd])
    found += _station_apart(planned, sound)
    found += _copied(sound, balance_step_g)
    found += _missing(planned, read, its, balance_step_g)
    return tuple(found)


def target_g(planned: Design) -> dict[tuple[int, int, int], float]:
    return {
        (u.station, u.batter, n + 1): fill
        for u in planned.units
        for n, fill in enumerate(u.fills_g)
    }


def _units(planned: Design, tubes: Sequence[TubeReading]) -> list[ClassFinding]:
    """A net weight that fits its target only in another unit, with a shifted comma, or with the tube's own weight in it."""
    targets, found = target_g(planned), []
    for t in tubes:
        if t.filled_g is None or t.empty_g is None or t.key not in targets:
            continue
        target = targets[t.key]
        on, net = partial(near, goal_g=target), t.net_g
        if on(net):
            continue
        words = next(
            (f"looks like {unit}" for unit, factor in UNITS.items() if on(net / factor)), ""
        )
        words = words or next(
            (
                f"is {how} of it: a shifted comma"
                for how, factor in (("ten times", 10), ("a tenth", 0.1))
                if on(net / factor)
            ),
            "",
        )
        if not words and t.empty_g == 0 and on(net - tables.value("trial_tube_empty_g")):
            words = "holds the tube's own weight: the balance was not tared, and no empty weight was written"
        words = words or "fits in no unit"
        found.append(
            ClassFinding(
                "filled weight off",
                t.station,
                (t.key,),
                f"filled less empty is {net:.4g}\u00a0g, the target {target:g}\u00a0g; it {words}",
                f"the sheet of station {t.station} ({t.where or 'as handed in'})",
            )
        )
    return found


def _ends_in_F(planned: Design, batters: Sequence[BatterReading]) -> list[ClassFinding]:
    found = []
    for b in batters:
        for end in (b.end_C, b.second_end_C):
            if end is not None and end > 40 and 0 <= (end - 32) / 1.8 <= 30:
                found.append(
                    ClassFinding(
                        "temperature in °F",
                        b.station,
                        ((b.station, b.batter),),
                        f"final chopping temperature {end:g} °C; as °F it is {(end - 32) / 1.8:.1f} °C",
                        "the thermometer's switch",
                    )
                )
                break
    return found


def _impossible(tubes: Sequence[TubeReading], most_pct: float) -> list[ClassFinding]:
    found = []
    for t in tubes:
        if not -0.2 <= t.loss_pct <= most_pct:
            found.append(
                ClassFinding(
                    "impossible loss",
                    t.station,
                    (t.key,),
                    f"loss {t.loss_pct:.1f} %; a tube can lose 0 to {most_pct:.0f} %, its water and fat",
                    "the three weights of this tube",
                )
            )
    return found


def _ends(planned: Design, batters: Sequence[BatterReading]) -> list[ClassFinding]:
    """A final chopping temperature off the plan, or one that belongs to the other batter."""
    question = planned.question
    off_K = tables.value("trial_end_off_K")
    place = next((n for n, one in enumerate(question.factors) if one.key == "end_C"), None)
    level = {(u.station, u.batter): u.treatment for u in planned.units}
    reached = {
        (b.station, b.batter): b.end_C for b in batters if b.end_C is not None and b.end_C <= 40
    }
    if place is None:
        return []
    found, done = [], set()
    for (station, batter), end in reached.items():
        if (station, batter) not in level:
            continue
        plan = question.treatments[level[station, batter]][place]
        if abs(end - plan) <= off_K:
            continue
        swapped = [
            other
            for other in planned.units
            if other.station == station
            and other.batter != batter
            and abs(end - question.treatments[other.treatment][place]) <= off_K
            and (station, other.batter) in reached
            and abs(reached[station, other.batter] - plan) <= off_K
        ]
        if swapped and (station, frozenset((batter, swapped[0].batter))) not in done:
            done.add((station, frozenset((batter, swapped[0].batter))))
            keys = tuple((station, b) for b in sorted((batter, swapped[0].batter)))
            found.append(
                ClassFinding(
                    "batters exchanged",
                    station,
                    keys,
                    f"batter {batter} was to end at {plan:g} °C and ended at {end:g} °C, batter {swapped[0].batter} the other way round",
                    "the labels of both batters",
                )
            )
        elif not swapped:
            found.append(
                ClassFinding(
                    "final chopping temperature off",
                    station,
                    ((station, batter),),
                    f"planned {plan:g} °C, reached {end:g} °C",
                    "the planned comparison stands; the temperature reached is shown beside it",
                )
            )
    return found


# apart


def largest_deviation_limit(n: int, alpha: float = 0.05) -> float:
    """The limit of (largest − mean) / SD of n values, one-sided. Source: the classical rule for one outlying value."""
    t = float(stdtrit(n - 2, 1 - alpha / n))
    return (n - 1) / sqrt(n) * sqrt(t**2 / (n - 2 + t**2))


def _tube_apart(tubes: Sequence[TubeReading]) -> list[ClassFinding]:
    by: dict[tuple[int, int], list[TubeReading]] = {}
    for t in tubes:
        by.setdefault((t.station, t.batter), []).append(t)
    scaled = [
        (t, (t.loss_pct - float(np.mean([o.loss_pct for o in its]))) / sqrt(1 - 1 / len(its)))
        for its in by.values()
        if len(its) >= 2
        for t in its
    ]
    values = np.array([v for _, v in scaled])
    if len(scaled) < 6 or not np.ptp(values):
        return []
    n = int(np.argmax(np.abs(values)))
    ratio = float(abs(values[n]) / np.std(values, ddof=1))
    apart_pct = tables.value("trial_apart_pct")
    limit = largest_deviation_limit(len(values), apart_pct / 100)
    if ratio <= limit:
        return []
    t = scaled[n][0]
    return [
        ClassFinding(
            "tube apart",
            t.station,
            (t.key,),
            f"tube {t.batter}-{t.tube} lies {ratio:.1f} standard deviations from its batter; the largest of {len(values)} passes {limit:.1f} once in {100 / apart_pct:.0f} classes",
            "its three weights, and whether it leaked",
        )
    ]


def station_limits(stations: int, tubes: int) -> tuple[float, float]:
    """(h, k): consistency of a station's mean and of its scatter, beyond which one in 200 lies. Source: interlaboratory practice."""
    apart_pct = tables.value("trial_apart_pct")
    t = float(stdtrit(stations - 2, 1 - apart_pct / 200))
    h = (stations - 1) * t / sqrt(stations * (t**2 + stations - 2))
    F = float(fdtri(tubes - 1, (stations - 1) * (tubes - 1), 1 - apart_pct / 100))
    return h, sqrt(stations / (1 + (stations - 1) / F))


def _station_apart(planned: Design, tubes: Sequence[TubeReading]) -> list[ClassFinding]:
    by = by_batter(losses_of(tubes))
    level: dict[int, list[float]] = {}
    spread: dict[int, list[float]] = {}
    for (station, _), v in by.items():
        level.setdefault(station, []).append(float(np.mean(v)))
        if len(v) >= 2:
            spread.setdefault(station, []).append(float(np.var(v, ddof=1)))
    if len(level) < 4 or planned.tubes < 2:
        return []
    h_limit, k_limit = station_limits(len(level), 1 + planned.batters * (planned.tubes - 1))
    means = {s: float(np.mean(v)) for s, v in level.items()}
    middle, sd = float(np.mean(list(means.values()))), float(np.std(list(means.values()), ddof=1))
    pooled = float(np.mean([np.mean(v) for v in spread.values()])) if spread else 0.0
    found = []
    for station, mean in means.items():
        if sd and abs(h := (mean - middle) / sd) > h_limit:
            found.append(
                ClassFinding(
                    "station apart in level",
                    station,
                    (),
                    f"h = {h:.2f}, limit {h_limit:.2f}",
                    "nothing, for the comparison inside a station: a level that differs leaves it alone",
                )
            )
        if pooled and (k := sqrt(float(np.mean(spread.get(station, [0.0]))) / pooled)) > k_limit:
            found.append(
                ClassFinding(
                    "station apart in scatter",
                    station,
                    (),
                    f"k = {k:.2f}, limit {k_limit:.2f}",
                    "how this station drained and weighed its tubes",
                )
            )
    return found


def _copied(tubes: Sequence[TubeReading], balance_step_g: float) -> list[ClassFinding]:
    found = []
    by: dict[int, list[TubeReading]] = {}
    for t in tubes:
        by.setdefault(t.station, []).append(t)
    for a, b in combinations(sorted(by), 2):
        same = {(t.filled_g, t.after_g) for t in by[a]} & {(t.filled_g, t.after_g) for t in by[b]}
        if len(same) >= 3:
            found.append(
                ClassFinding(
                    "copied",
                    b,
                    (),
                    f"{len(same)} tubes of stations {a} and {b} have the same weights to the last digit",
                    "both stations' paper sheets",
                )
            )
    for station, its in by.items():
        whole = all(
            float(t.filled_g or 0).is_integer() and float(t.after_g or 0).is_integer() for t in its
        )
        if balance_step_g < 1 and len(its) >= 3 and whole:
            found.append(
                ClassFinding(
                    "rounded to whole grams",
                    station,
                    (),
                    f"all weights are whole grams; the balance shows {balance_step_g:g} g",
                    "which balance was used",
                )
            )
    return found


def _missing(
    planned: Design, read: Sequence[TubeReading], its: ClassScatter, balance_step_g: float
) -> list[ClassFinding]:
    there = {t.key for t in read}
    found = []
    effect = smallest_effect(planned, its, balance_step_g=balance_step_g)
    for u in planned.units:
        gone = tuple(
            (u.station, u.batter, n)
            for n in range(1, planned.tubes + 1)
            if (u.station, u.batter, n) not in there
        )
        if not gone:
            continue
        cost = "the comparison stands on fewer tubes"
        if len(gone) == planned.tubes and planned.kind == "pairs":
            left = (
                power(_without(planned, u.station), its, effect, balance_step_g)
                if planned.stations > 3
                else 0.0
            )
            cost = f"its station compares nothing; the chance of seeing {effect:.1f} percentage points falls from {100 * float(power(planned, its, effect, balance_step_g)):.0f} to {100 * float(left):.0f} %"
        found.append(
            ClassFinding(
                "missing",
                u.station,
                gone,
                f"{len(gone)} of {planned.tubes} tubes of batter {u.batter}; {cost}",
                "whether the paper has it",
            )
        )
    return found


def _without(planned: Design, station: int) -> Design:
    return replace(
        planned,
        units=tuple(u for u in planned.units if u.station != station),
        stations=planned.stations - 1,
    )

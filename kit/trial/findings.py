"""What looks wrong in the results of a class? Evidence for the teacher's decision; nothing is changed or left out here."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations
from math import sqrt

import numpy as np
from scipy.special import fdtri, stdtrit

from kit import tables
from kit.trial.design import Design, power, smallest_effect
from kit.trial.exchanged import exchanged_batters, exchanged_tubes, weights_of_others
from kit.trial.readings import (
    EXCHANGED,
    BatterReading,
    ClassFinding,
    TubeReading,
    by_batter,
    by_station,
    losses_of,
)
from kit.trial.scatter import ClassScatter

UNITS = {
    "kilograms": 1e-3,
    "ounces": 1 / tables.value("ounce_g"),
    "pounds": 1 / tables.value("pound_g"),
    "milligrams": 1e3,
}
"""what a weight in another unit is to the weight in grams"""
_LOOKS = {f"looks like {unit}": factor for unit, factor in UNITS.items()} | {
    "is ten times of it: a shifted comma": 10,
    "is a tenth of it: a shifted comma": 0.1,
}
WARMEST_C = 40
"""of a final chopping temperature that may be in °C"""


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
    read = [t for t in tubes if t.usable]
    found = [*_units(planned, tubes), *_ends_in_F(batters)]

    def sound(*explained: str) -> list[TubeReading]:
        """Tubes that no finding is about; those that only one of the kinds `explained` is about stay."""
        odd = {key for one in found if one.kind not in explained for key in one.keys}
        return [t for t in read if t.key not in odd]

    clear = sound()
    found += weights_of_others(planned.fill_g, clear)
    found += exchanged_tubes(planned, [*clear, *aside], its, balance_step_g)
    found += _impossible(sound(), most_loss_pct)
    apart, clear = sound(), sound(EXCHANGED)
    found += exchanged_batters(planned, clear)
    found += _ends(planned, batters)
    found += _tube_apart(apart)
    found += _station_apart(planned, clear)
    found += _copied(clear, balance_step_g)
    found += _missing(planned, read, its, balance_step_g)
    return tuple(found)


def _units(planned: Design, tubes: Sequence[TubeReading]) -> Iterator[ClassFinding]:
    """A net weight that fits its target only in another unit, with a shifted comma, or with the tube's own weight in it."""
    for t in tubes:
        if t.filled_g is None or t.empty_g is None or t.key not in planned.fill_g:
            continue
        target, net = planned.fill_g[t.key], t.net_g
        on = partial(near, goal_g=target)
        if on(net):
            continue
        words = next((words for words, factor in _LOOKS.items() if on(net / factor)), "")
        if not words and t.empty_g == 0 and on(net - tables.value("trial_tube_empty_g")):
            words = "holds the tube's own weight: the balance was not tared, and no empty weight was written"
        yield ClassFinding(
            "filled weight off",
            t.station,
            (t.key,),
            f"filled less empty is {net:.4g}\u00a0g, the target {target:g}\u00a0g; it {words or 'fits in no unit'} ({t.where or 'as handed in'})",
        )


def _ends_in_F(batters: Sequence[BatterReading]) -> Iterator[ClassFinding]:
    for b in batters:
        ends = [end for end in (b.end_C, b.second_end_C) if end is not None and end > WARMEST_C]
        end = next((end for end in ends if 0 <= (end - 32) / 1.8 <= 30), None)
        if end is not None:
            said = f"final chopping temperature {end:g} °C; as °F it is {(end - 32) / 1.8:.1f} °C"
            yield ClassFinding("temperature in °F", b.station, (b.key,), said)


def _impossible(tubes: Sequence[TubeReading], most_pct: float) -> Iterator[ClassFinding]:
    for t in tubes:
        if not -0.2 <= t.loss_pct <= most_pct:
            said = (
                f"loss {t.loss_pct:.1f} %; a tube can lose 0 to {most_pct:.0f} %, its water and fat"
            )
            yield ClassFinding("impossible loss", t.station, (t.key,), said)


def _ends(planned: Design, batters: Sequence[BatterReading]) -> Iterator[ClassFinding]:
    """A final chopping temperature off the plan, or one that belongs to the other batter."""
    question, off_K = planned.question, tables.value("trial_end_off_K")
    place = next((n for n, one in enumerate(question.factors) if one.key == "end_C"), None)
    if place is None:
        return
    plan = {key: question.treatments[t][place] for key, t in planned.level.items()}
    read = {b.key: b.end_C for b in batters if b.key in plan and b.end_C is not None}
    ends = {key: end for key, end in read.items() if end <= WARMEST_C}

    def as_planned(key: tuple[int, int], other: tuple[int, int]) -> bool:
        return abs(ends[key] - plan[other]) <= off_K

    done = set()
    for key, end in ends.items():
        if as_planned(key, key) or key in done:
            continue
        at_station = [other for other in ends if other[0] == key[0] and other != key]
        for other in at_station:
            if as_planned(key, other) and as_planned(other, key):
                done.add(other)
                said = f"batter {key[1]} was to end at {plan[key]:g} °C and ended at {end:g} °C, batter {other[1]} the other way round"
                pair = tuple(sorted((key, other)))
                yield ClassFinding("batters exchanged", key[0], pair, said)
                break
        else:
            said = f"planned {plan[key]:g} °C, reached {end:g} °C"
            yield ClassFinding("final chopping temperature off", key[0], (key,), said)


# apart


def largest_deviation_limit(n: int, alpha: float) -> float:
    """The limit of (largest − mean) / SD of n values, one-sided. Source: the classical rule for one outlying value."""
    t = float(stdtrit(n - 2, 1 - alpha / n))
    return (n - 1) / sqrt(n) * sqrt(t**2 / (n - 2 + t**2))


def _tube_apart(tubes: Sequence[TubeReading]) -> Iterator[ClassFinding]:
    means = {key: (float(np.mean(v)), len(v)) for key, v in by_batter(losses_of(tubes)).items()}
    scaled = [
        (t, (t.loss_pct - mean) / sqrt(1 - 1 / n))
        for t in tubes
        for mean, n in [means[t.key[:2]]]
        if n >= 2
    ]
    values = np.array([v for _, v in scaled])
    if len(scaled) < 6 or not np.ptp(values):
        return
    n = int(np.argmax(np.abs(values)))
    ratio, t = float(abs(values[n]) / np.std(values, ddof=1)), scaled[n][0]
    apart_pct = tables.value("trial_apart_pct")
    limit = largest_deviation_limit(len(values), apart_pct / 100)
    if ratio > limit:
        said = f"tube {t.batter}-{t.tube} lies {ratio:.1f} standard deviations from its batter; the largest of {len(values)} passes {limit:.1f} once in {100 / apart_pct:.0f} classes"
        yield ClassFinding("tube apart", t.station, (t.key,), said)


def station_limits(stations: int, tubes: int) -> tuple[float, float]:
    """(h, k): consistency of a station's mean and of its scatter, beyond which one in 200 lies. Source: interlaboratory practice."""
    apart_pct = tables.value("trial_apart_pct")
    t = float(stdtrit(stations - 2, 1 - apart_pct / 200))
    h = (stations - 1) * t / sqrt(stations * (t**2 + stations - 2))
    F = float(fdtri(tubes - 1, (stations - 1) * (tubes - 1), 1 - apart_pct / 100))
    return h, sqrt(stations / (1 + (stations - 1) / F))


def _station_apart(planned: Design, tubes: Sequence[TubeReading]) -> Iterator[ClassFinding]:
    its = by_station(losses_of(tubes))
    if len(its) < 4 or planned.tubes < 2:
        return
    h_limit, k_limit = station_limits(len(its), 1 + planned.batters * (planned.tubes - 1))
    means = {s: float(np.mean([np.mean(v) for v in of.values()])) for s, of in its.items()}
    middle, sd = float(np.mean([*means.values()])), float(np.std([*means.values()], ddof=1))
    own = {s: [np.var(v, ddof=1) for v in of.values() if len(v) >= 2] for s, of in its.items()}
    spread = {s: float(np.mean(variances)) for s, variances in own.items() if variances}
    pooled = float(np.mean([*spread.values()])) if spread else 0.0
    for station, mean in means.items():
        if sd and abs(h := (mean - middle) / sd) > h_limit:
            said = f"h = {h:.2f}, limit {h_limit:.2f}"
            yield ClassFinding("station apart in level", station, (), said)
        if pooled and (k := sqrt(spread.get(station, 0.0) / pooled)) > k_limit:
            said = f"k = {k:.2f}, limit {k_limit:.2f}"
            yield ClassFinding("station apart in scatter", station, (), said)


def _copied(tubes: Sequence[TubeReading], balance_step_g: float) -> Iterator[ClassFinding]:
    by: dict[int, list[tuple[float, float]]] = {}
    for t in tubes:
        by.setdefault(t.station, []).append((float(t.filled_g or 0), float(t.after_g or 0)))
    for a, b in combinations(sorted(by), 2):
        same = len(set(by[a]) & set(by[b]))
        if same >= 3:
            said = f"{same} tubes of stations {a} and {b} have the same weights to the last digit"
            yield ClassFinding("copied", b, (), said)
    for station, its in by.items():
        whole = all(g.is_integer() for pair in its for g in pair)
        if balance_step_g < 1 and len(its) >= 3 and whole:
            said = f"all weights are whole grams; the balance shows {balance_step_g:g} g"
            yield ClassFinding("rounded to whole grams", station, (), said)


def _missing(
    planned: Design, read: Sequence[TubeReading], its: ClassScatter, balance_step_g: float
) -> Iterator[ClassFinding]:
    there = {t.key for t in read}
    effect = smallest_effect(planned, its, balance_step_g=balance_step_g)

    def chance(left: Design) -> float:
        return 100 * float(power(left, its, effect, balance_step_g))

    for (station, batter), _ in planned.level.items():
        keys = [(station, batter, n) for n in range(1, planned.tubes + 1)]
        gone = tuple(key for key in keys if key not in there)
        if not gone:
            continue
        cost = "the comparison stands on fewer tubes"
        if len(gone) == planned.tubes and planned.kind == "pairs":
            left = chance(_without(planned, station)) if planned.stations > 3 else 0.0
            cost = f"its station compares nothing; the chance of seeing {effect:.1f} percentage points falls from {chance(planned):.0f} to {left:.0f} %"
        said = f"{len(gone)} of {planned.tubes} tubes of batter {batter}; {cost}"
        yield ClassFinding("missing", station, gone, said)


def _without(planned: Design, station: int) -> Design:
    units = tuple(u for u in planned.units if u.station != station)
    return replace(planned, units=units, stations=planned.stations - 1)

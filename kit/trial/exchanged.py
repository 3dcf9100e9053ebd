"""Were two tubes, or two batters, exchanged? What the losses inside a station say."""

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import combinations
from math import exp, log, sqrt

import numpy as np

from kit import tables
from kit.trial.design import Design
from kit.trial.readings import EXCHANGED, ClassFinding, TubeReading, by_station, losses_of
from kit.trial.scatter import ClassScatter

EXCHANGE_SIMULATED = 10_000
MIDDLE = {2: 0.69, 3: 0.84, 4: 0.89, 5: 0.92, 6: 0.93}
"""tubes of a batter -> middle of the mean of two of their variances, in the variance itself (chi-square)"""


def _gain(filled: np.ndarray, net: np.ndarray, after: np.ndarray, group: np.ndarray):
    """(pair, gain) for each pair: how far an exchange of two weights after the bath lowers the squares within batters. Leading axes are stations."""
    member = (group[:, None] == np.unique(group)).astype(float)
    count = member.sum(axis=0)

    def within(loss):
        sums = loss @ member
        return (loss**2).sum(axis=-1) - (sums**2 / count).sum(axis=-1)

    loss = 100 * (filled - after) / net
    now, pairs, gains = within(loss), list(combinations(range(len(group)), 2)), []
    for i, j in pairs:
        other = loss.copy()
        other[..., i] = 100 * (filled[..., i] - after[..., j]) / net[..., i]
        other[..., j] = 100 * (filled[..., j] - after[..., i]) / net[..., j]
        allowed = (other[..., i] > -0.2) & (other[..., j] > -0.2)
        gains.append(np.where(allowed, now - within(other), -np.inf))
    return pairs, np.array(gains)


@lru_cache(maxsize=1024)
def _gain_limit(
    net: tuple[float, ...],
    empty: tuple[float, ...],
    group: tuple[int, ...],
    mean_pct: tuple[float, ...],
    sd: float,
) -> float:
    """The gain in tube variances that a station without an exchange passes once in a thousand, its batters as they came out."""
    rng = np.random.default_rng(1)
    loss = np.asarray(mean_pct) + sd * rng.standard_normal((EXCHANGE_SIMULATED, len(net)))
    # both weights are known to the gram here: anywhere in it
    at, glass = (np.asarray(its) + rng.uniform(-0.5, 0.5, loss.shape) for its in (net, empty))
    filled = at + glass
    after = filled - at * loss / 100
    _, gains = _gain(filled, at, after, np.asarray(group))
    rare = np.quantile(gains.max(axis=0), 1 - tables.value("trial_exchange_false_share"))
    return max(float(rare), 0.0) / sd**2


def _tube_sd(
    tubes: Sequence[TubeReading], without: int, its: ClassScatter, balance_step_g: float
) -> float:
    """The stated scatter of a tube, or that of the middle one of the other stations where it is larger."""
    stated = its.tube_sd(balance_step_g, tables.value("trial_fill_g"))
    own = {
        station: [np.var(v, ddof=1) / MIDDLE[min(len(v), 6)] for v in its.values() if len(v) >= 2]
        for station, its in by_station(losses_of(tubes)).items()
        if station != without
    }
    means = [np.mean(variances) for variances in own.values() if variances]
    middle = float(np.median(means)) if means else 0.0
    return sqrt(max(stated**2, middle))


def exchanged_tubes(
    planned: Design, tubes: Sequence[TubeReading], its: ClassScatter, balance_step_g: float
) -> Iterator[ClassFinding]:
    for station in sorted({t.station for t in tubes}):
        here = [t for t in tubes if t.station == station]
        group = np.array([t.batter for t in here])
        if max(np.bincount(group)) < 2 or len(here) < 3:
            continue
        sd = _tube_sd(tubes, station, its, balance_step_g)
        net = np.array([t.net_g for t in here])
        filled, after, empty = (
            np.array([getattr(t, f"{name}_g") for t in here], float)
            for name in ("filled", "after", "empty")
        )
        pairs, gains = _gain(filled, net, after, group)
        best = int(np.argmax(gains))
        if np.any(after > filled):  # no batter came out like that: as it would be exchanged back
            after = after.copy()
            after[list(pairs[best])] = after[list(pairs[best])[::-1]]
        loss = 100 * (filled - after) / net
        mean = tuple(round(2 * float(np.median(loss[group == g]))) / 2 for g in group)
        whole = [tuple(float(round(g)) for g in weights) for weights in (net, empty)]
        limit = _gain_limit(whole[0], whole[1], tuple(map(int, group)), mean, round(sd, 1))
        if gains[best] > limit * sd**2:
            a, b = (here[n] for n in pairs[best])
            said = f"with the weights after the bath of tube {a.batter}-{a.tube} and {b.batter}-{b.tube} exchanged, the squares within batters fall by {gains[best] / sd**2:.0f} tube variances; once in a thousand stations chance gives {limit:.0f}"
            yield ClassFinding(EXCHANGED, station, (a.key, b.key), said)


def weights_of_others(
    target_g: Mapping[tuple[int, int, int], float], tubes: Sequence[TubeReading]
) -> Iterator[ClassFinding]:
    """A station whose filled weights lie on the targets of its tubes, but in another order: shifted rows, or labels in another order."""
    for station in sorted({t.station for t in tubes}):
        here = [t for t in tubes if t.station == station]
        goals = {key: g for key, g in target_g.items() if key[0] == station}
        near = {t.key: min(goals, key=lambda key: abs(goals[key] - t.net_g)) for t in here}
        moved = tuple(key for key, other in near.items() if key != other)
        steps = np.diff(sorted(goals.values()))
        if len(moved) < 2 or len(set(near.values())) < len(here) or not steps.all():
            continue
        off = [t.net_g - goals[near[t.key]] for t in here]
        if float(np.sqrt(np.mean(np.square(off)))) <= float(steps.min()) / 4:
            pairs = ", ".join(f"{a[1]}-{a[2]} that of {near[a][1]}-{near[a][2]}" for a in moved)
            said = f"the filled weights fit the targets of other tubes: {pairs}; rows may be shifted, or labels in another order"
            yield ClassFinding("filled weights of other tubes", station, moved, said)


def hidden_exchanges(
    planned: Design, station: int
) -> tuple[tuple[tuple[int, int], tuple[int, int]], ...]:
    """Pairs of (batter, tube) of a station whose filled weights are so near that an exchange may not show: printed before the lab."""
    least = tables.value("trial_tells_apart_g")
    fills = [(key[1:], g) for key, g in planned.fill_g.items() if key[0] == station]
    return tuple((a, b) for (a, x), (b, y) in combinations(fills, 2) if abs(x - y) < least)


def exchanged_batters(planned: Design, tubes: Sequence[TubeReading]) -> Iterator[ClassFinding]:
    """A station whose difference has the other sign of the others', by odds."""
    if planned.kind != "pairs":
        return
    gaps = {}
    for station, its in by_station(losses_of(tubes)).items():
        means = {planned.level[station, batter]: float(np.mean(v)) for batter, v in its.items()}
        if len(means) == 2:
            gaps[station] = means[1] - means[0]
    before, least = (tables.value(f"trial_batters_exchanged_{one}") for one in ("before", "odds"))
    for station, gap in gaps.items():
        others = [g for s, g in gaps.items() if s != station]
        n, sd = len(others), float(np.std(others, ddof=1)) if len(others) > 2 else 0.0
        if sd == 0:
            continue
        middle, scale = float(np.mean(others)), sd * sqrt(1 + 1 / n)
        t = [(gap - sign * middle) / scale for sign in (1, -1)]
        log_ratio = n / 2 * (log(1 + t[0] ** 2 / (n - 1)) - log(1 + t[1] ** 2 / (n - 1)))
        odds = exp(min(log_ratio, 50)) * before / (1 - before)
        if odds > least:
            said = f"difference {gap:.1f} percentage points here, {middle:.1f} ± {sd:.1f} at the others; odds {odds:.0f} to 1 that the two batters changed places"
            yield ClassFinding("batters exchanged", station, ((station, 1), (station, 2)), said)

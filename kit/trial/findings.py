"""What looks wrong in the results of a class? Evidence for the teacher's decision; nothing is changed or left out here."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import exp, log, sqrt

import numpy as np
from scipy.special import fdtri, stdtrit

from kit import tables
from kit.trial.analyse import _by_batter
from kit.trial.design import Design, power, smallest_effect
from kit.trial.readings import BatterReading, TubeReading, losses_of
from kit.trial.scatter import Scatter

UNITS = {"kilograms": 1e-3, "ounces": 1 / 28.349523, "pounds": 1 / 453.59237, "milligrams": 1e3}
"""what a weight in another unit is to the weight in grams"""
NEAR_PCT = 20.0
"""a filled weight this near its target counts as on it"""
APART_PCT = 0.5
EXCHANGE_FALSE = 0.001
EXCHANGE_SIMULATED = 10_000
TELLS_APART_G = 3.0
"""an exchange of tubes that differ by less in filled weight may not show"""
PRIOR, ODDS = 0.01, 3.0
END_OFF_K = 2.0
TUBE_G = 13.0
MIDDLE = {2: 0.69, 3: 0.84, 4: 0.89, 5: 0.92, 6: 0.93}
"""tubes of a batter -> middle of the mean of two of their variances, in the variance itself (chi-square)"""


@dataclass(frozen=True)
class Finding:
    """One thing to decide. `key` names it for the decision; `keys` are the tubes (station, batter, tube) or batters it is about."""

    kind: str
    station: int
    keys: tuple[tuple[int, ...], ...]
    evidence: str
    look_at: str

    @property
    def key(self) -> str:
        where = ".".join("-".join(map(str, key)) for key in self.keys)
        return f"{self.kind.replace(' ', '_')}:{self.station}:{where}"


def findings(
    planned: Design,
    tubes: Sequence[TubeReading],
    batters: Sequence[BatterReading] = (),
    *,
    its: Scatter,
    balance_step_g: float = 0.01,
    most_loss_pct: float = 90.0,
    batter_wait_min: float | None = None,
) -> tuple[Finding, ...]:
    """Every finding, certain ones first. `most_loss_pct`: water and fat of the sheet; `batter_wait_min` is not judged where left out."""
    read = [t for t in tubes if t.whole and t.net_g > 0]
    found = [*_units(planned, tubes), *_ends_in_F(planned, batters)]
    odd = {key for one in found for key in one.keys}
    sound = [t for t in read if t.key not in odd]
    found += _impossible(sound, most_loss_pct)
    odd |= {key for one in found for key in one.keys}
    sound = [t for t in sound if t.key not in odd]
    found += _exchanged_tubes(planned, sound, its, balance_step_g)
    odd |= {key for one in found for key in one.keys}
    found += _exchanged_batters(planned, sound)
    found += _ends(planned, batters)
    found += _tube_apart([t for t in sound if t.key not in odd])
    found += _station_apart(planned, sound)
    found += _copied(sound, balance_step_g)
    found += _missing(planned, read, its, balance_step_g)
    return tuple(found)


def _target_g(planned: Design) -> dict[tuple[int, int, int], float]:
    return {
        (u.station, u.batter, n + 1): fill
        for u in planned.units
        for n, fill in enumerate(u.fills_g)
    }


def _units(planned: Design, tubes: Sequence[TubeReading]) -> list[Finding]:
    """A net weight that fits its target only in another unit, with a shifted comma, or with the tube's own weight in it."""
    targets, found = _target_g(planned), []
    for t in tubes:
        if t.filled_g is None or t.empty_g is None or t.key not in targets:
            continue
        target = targets[t.key]

        def on(value: float, goal: float = target) -> bool:
            return abs(value - goal) <= NEAR_PCT / 100 * goal

        net = t.net_g
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
        if not words and t.empty_g == 0 and on(net - TUBE_G):
            words = "holds the tube's own weight: the balance was not tared, and no empty weight was written"
        words = words or "fits in no unit"
        found.append(
            Finding(
                "filled weight off",
                t.station,
                (t.key,),
                f"filled less empty is {net:.4g} g, the target {target:g} g; it {words}",
                f"the sheet of station {t.station} ({t.where or 'as handed in'})",
            )
        )
    return found


def _ends_in_F(planned: Design, batters: Sequence[BatterReading]) -> list[Finding]:
    found = []
    for b in batters:
        for end in (b.end_C, b.second_end_C):
            if end is not None and end > 40 and 0 <= (end - 32) / 1.8 <= 30:
                found.append(
                    Finding(
                        "temperature in °F",
                        b.station,
                        ((b.station, b.batter),),
                        f"final chopping temperature {end:g} °C; as °F it is {(end - 32) / 1.8:.1f} °C",
                        "the thermometer's switch",
                    )
                )
                break
    return found


def _impossible(tubes: Sequence[TubeReading], most_pct: float) -> list[Finding]:
    found = []
    for t in tubes:
        if not -0.2 <= t.loss_pct <= most_pct:
            found.append(
                Finding(
                    "impossible loss",
                    t.station,
                    (t.key,),
                    f"loss {t.loss_pct:.1f} %; a tube can lose 0 to {most_pct:.0f} %, its water and fat",
                    "the three weights of this tube",
                )
            )
    return found


# exchanged tubes


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
    net: tuple[float, ...], group: tuple[int, ...], mean_pct: tuple[float, ...], sd: float
) -> float:
    """The gain in tube variances that a station without an exchange passes once in a thousand, its batters as they came out."""
    rng = np.random.default_rng(1)
    at = np.asarray(net)
    loss = np.asarray(mean_pct) + sd * rng.standard_normal((EXCHANGE_SIMULATED, len(net)))
    filled = np.broadcast_to(at + TUBE_G, loss.shape)
    after = filled - at * loss / 100
    _, gains = _gain(filled, np.broadcast_to(at, loss.shape), after, np.asarray(group))
    return max(float(np.quantile(gains.max(axis=0), 1 - EXCHANGE_FALSE)), 0.0) / sd**2


def _tube_sd(
    tubes: Sequence[TubeReading], without: int, its: Scatter, balance_step_g: float
) -> float:
    """The stated scatter of a tube, or that of the middle one of the other stations where it is larger."""
    stated = its.tube_sd(balance_step_g, tables.value("trial_fill_g"))
    own: dict[int, list[float]] = {}
    for (station, _), v in _by_batter(losses_of(tubes)).items():
        if len(v) >= 2 and station != without:
            own.setdefault(station, []).append(float(np.var(v, ddof=1)) / MIDDLE[min(len(v), 6)])
    middle = float(np.median([np.mean(v) for v in own.values()])) if own else 0.0
    return sqrt(max(stated**2, middle))


def _exchanged_tubes(
    planned: Design, tubes: Sequence[TubeReading], its: Scatter, balance_step_g: float
) -> list[Finding]:
    found: list[Finding] = []
    for station in sorted({t.station for t in tubes}):
        here = [t for t in tubes if t.station == station]
        group = np.array([t.batter for t in here])
        if max(np.bincount(group)) < 2 or len(here) < 3:
            continue
        sd = _tube_sd(tubes, station, its, balance_step_g)
        net = np.array([t.net_g for t in here])
        after, empty = (
            np.array([getattr(t, name) for t in here], float) for name in ("after_g", "empty_g")
        )
        # as if every tube weighed alike empty: an exchange moves the whole tube, and its empty weight goes with it
        pairs, gains = _gain(net, net, after - empty, group)
        best = int(np.argmax(gains))
        loss = np.array([t.loss_pct for t in here])
        mean = tuple(round(2 * float(np.median(loss[group == g]))) / 2 for g in group)
        limit = _gain_limit(
            tuple(float(round(g)) for g in net), tuple(int(g) for g in group), mean, round(sd, 1)
        )
        if gains[best] > limit * sd**2:
            a, b = (here[n] for n in pairs[best])
            found.append(
                Finding(
                    "two tubes exchanged",
                    station,
                    (a.key, b.key),
                    f"with the weights after the bath of tube {a.batter}-{a.tube} and {b.batter}-{b.tube} exchanged, the squares within batters fall by {gains[best] / sd**2:.0f} tube variances; once in a thousand stations chance gives {limit:.0f}",
                    "the labels of both tubes",
                )
            )
    return found


def hidden_exchanges(
    planned: Design, station: int
) -> tuple[tuple[tuple[int, int], tuple[int, int]], ...]:
    """Pairs of (batter, tube) of a station whose filled weights are so near that an exchange may not show: printed before the lab."""
    fills = [
        ((u.batter, n + 1), g)
        for u in planned.units
        if u.station == station
        for n, g in enumerate(u.fills_g)
    ]
    return tuple((a, b) for (a, x), (b, y) in combinations(fills, 2) if abs(x - y) < TELLS_APART_G)


def _exchanged_batters(planned: Design, tubes: Sequence[TubeReading]) -> list[Finding]:
    """A station whose difference has the other sign of the others', by odds."""
    if planned.kind != "pairs":
        return []
    level = {(u.station, u.batter): u.treatment for u in planned.units}
    means: dict[int, dict[int, float]] = {}
    for (station, batter), v in _by_batter(losses_of(tubes)).items():
        means.setdefault(station, {})[level[station, batter]] = float(np.mean(v))
    gaps = {s: its[1] - its[0] for s, its in means.items() if len(its) == 2}
    found = []
    for station, gap in gaps.items():
        others = [g for s, g in gaps.items() if s != station]
        if len(others) < 3:
            continue
        middle, sd, n = float(np.mean(others)), float(np.std(others, ddof=1)), len(others)
        scale = sd * sqrt(1 + 1 / n)
        if scale == 0:
            continue
        t = [(gap - sign * middle) / scale for sign in (1, -1)]
        log_ratio = n / 2 * (log(1 + t[0] ** 2 / (n - 1)) - log(1 + t[1] ** 2 / (n - 1)))
        odds = exp(min(log_ratio, 50)) * PRIOR / (1 - PRIOR)
        if odds > ODDS:
            keys = tuple((station, b) for b in (1, 2))
            found.append(
                Finding(
                    "batters exchanged",
                    station,
                    keys,
                    f"difference {gap:.1f} percentage points here, {middle:.1f} ± {sd:.1f} at the others; odds {odds:.0f} to 1 that the two batters changed places",
                    "weigh sheet, final chopping temperatures and labels of both batters",
                )
            )
    return found


def _ends(planned: Design, batters: Sequence[BatterReading]) -> list[Finding]:
    """A final chopping temperature off the plan, or one that belongs to the other batter."""
    question = planned.question
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
        if abs(end - plan) <= END_OFF_K:
            continue
        swapped = [
            other
            for other in planned.units
            if other.station == station
            and other.batter != batter
            and abs(end - question.treatments[other.treatment][place]) <= END_OFF_K
            and (station, other.batter) in reached
            and abs(reached[station, other.batter] - plan) <= END_OFF_K
        ]
        if swapped and (station, frozenset((batter, swapped[0].batter))) not in done:
            done.add((station, frozenset((batter, swapped[0].batter))))
            keys = tuple((station, b) for b in sorted((batter, swapped[0].batter)))
            found.append(
                Finding(
                    "batters exchanged",
                    station,
                    keys,
                    f"batter {batter} was to end at {plan:g} °C and ended at {end:g} °C, batter {swapped[0].batter} the other way round",
                    "the labels of both batters",
                )
            )
        elif not swapped:
            found.append(
                Finding(
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


def _tube_apart(tubes: Sequence[TubeReading]) -> list[Finding]:
    by: dict[tuple[int, int], list[TubeReading]] = {}
    for t in tubes:
        by.setdefault((t.station, t.batter), []).append(t)
    scaled = [
        (t, (t.loss_pct - float(np.mean([o.loss_pct for o in its]))) / sqrt(1 - 1 / len(its)))
        for its in by.values()
        if len(its) >= 2
        for t in its
    ]
    if len(scaled) < 6:
        return []
    values = np.array([v for _, v in scaled])
    n = int(np.argmax(np.abs(values)))
    ratio = float(abs(values[n]) / np.std(values, ddof=1))
    limit = largest_deviation_limit(len(values), APART_PCT / 100)
    if ratio <= limit:
        return []
    t = scaled[n][0]
    return [
        Finding(
            "tube apart",
            t.station,
            (t.key,),
            f"tube {t.batter}-{t.tube} lies {ratio:.1f} standard deviations from its batter; the largest of {len(values)} passes {limit:.1f} once in {100 / APART_PCT:.0f} classes",
            "its three weights, and whether it leaked",
        )
    ]


def station_limits(stations: int, tubes: int) -> tuple[float, float]:
    """(h, k): consistency of a station's mean and of its scatter, beyond which one in 200 lies. Source: interlaboratory practice."""
    t = float(stdtrit(stations - 2, 1 - APART_PCT / 200))
    h = (stations - 1) * t / sqrt(stations * (t**2 + stations - 2))
    F = float(fdtri(tubes - 1, (stations - 1) * (tubes - 1), 1 - APART_PCT / 100))
    return h, sqrt(stations / (1 + (stations - 1) / F))


def _station_apart(planned: Design, tubes: Sequence[TubeReading]) -> list[Finding]:
    by = _by_batter(losses_of(tubes))
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
                Finding(
                    "station apart in level",
                    station,
                    (),
                    f"h = {h:.2f}, limit {h_limit:.2f}",
                    "nothing, for the comparison inside a station: a level that differs leaves it alone",
                )
            )
        if pooled and (k := sqrt(float(np.mean(spread.get(station, [0.0]))) / pooled)) > k_limit:
            found.append(
                Finding(
                    "station apart in scatter",
                    station,
                    (),
                    f"k = {k:.2f}, limit {k_limit:.2f}",
                    "how this station drained and weighed its tubes",
                )
            )
    return found


def _copied(tubes: Sequence[TubeReading], balance_step_g: float) -> list[Finding]:
    found = []
    by: dict[int, list[TubeReading]] = {}
    for t in tubes:
        by.setdefault(t.station, []).append(t)
    for a, b in combinations(sorted(by), 2):
        same = {(t.filled_g, t.after_g) for t in by[a]} & {(t.filled_g, t.after_g) for t in by[b]}
        if len(same) >= 3:
            found.append(
                Finding(
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
                Finding(
                    "rounded to whole grams",
                    station,
                    (),
                    f"all weights are whole grams; the balance shows {balance_step_g:g} g",
                    "which balance was used",
                )
            )
    return found


def _missing(
    planned: Design, read: Sequence[TubeReading], its: Scatter, balance_step_g: float
) -> list[Finding]:
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
            Finding(
                "missing",
                u.station,
                gone,
                f"{len(gone)} of {planned.tubes} tubes of batter {u.batter}; {cost}",
                "whether the paper has it",
            )
        )
    return found


def _without(planned: Design, station: int) -> Design:
    from dataclasses import replace

    return replace(
        planned,
        units=tuple(u for u in planned.units if u.station != station),
        stations=planned.stations - 1,
    )

"""Which single cause fits the losses best? Every (series, pattern) that the trade allows is tried, and noise is asked how well it would do.

A series is the loss of a stage, the kilograms missing between two stages, or what a scale's error would look like over all of them. A pattern is
a level from batch k on, a drift, the batches of one operator, one smokehouse from batch k on, a process column, rework. The score of a pair is
n ln(1 / (1 − r²)) − 2 ln(patterns of its kind): what it explains, less the price of having had many to choose from, both made independent first
where lots, days or neighbours resemble one another (noise.py). What is left of each series with its best pattern out, in shuffled order again and
again, says what its best score is when there is no cause; that makes the chance of a false finding what it says. What products differ by is taken
out beforehand.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, log, pi, sqrt

import numpy as np

from kit.batches.constants import D2
from kit.batches.noise import Alike, filled, likenesses, whitened
from kit.batches.patterns import Patterns, acts_on, products, usable, within
from kit.batches.table import BatchTable

STAGE, HANDOVER, SCALE = "stage", "hand-over", "scale"
KINDS = dict.fromkeys(("step", "drift"), (STAGE, HANDOVER, SCALE)) | {"drift from": (SCALE,)}
"""family of patterns -> kinds of series it is looked for in; all others in stages alone"""
ROUNDS = 200
"""shuffles of the batches"""
AT_NO_COST = 4.0
"""twice the log likelihood by which a lesser likeness than the likeliest may fit worse at no cost"""
AT_RANDOM = 0.2
"""chance that the batches of a series are alike in a way that says nothing of the others"""
LET_THROUGH = 3.5
"""times as many quiet plants get a finding, for that lenience, as the shuffles say (measured: tests/bench/bench_search.py)"""
MOST_UNKNOWN = 0.6
"""share of a pattern's batches without a figure beyond which it is not tried"""
LEAST_MOVE = 0.05
"""a series that a scale's error moves by less than this share of the error is left out of that scale's calculation"""


@dataclass(frozen=True, eq=False)
class Series:
    """`y` in percentage points, NaN where unknown. `mix`: weight of each stage or hand-over series in a scale's series."""

    name: str
    kind: str
    y: np.ndarray
    mix: np.ndarray | None = None
    """(series,) expected change of each stage and hand-over series, percentage points, for a scale reading 1 % too high"""


@dataclass(frozen=True)
class Null:
    """Best scores of shuffled batches follow a Gumbel curve, each series (S,) its own."""

    centre: np.ndarray
    spread: np.ndarray

    def chance(self, i: int, score: float) -> float:
        """Chance of this at series `i`, from random variation alone, with all series that were tried."""
        tail = exp(min(-(score - self.centre[i]) / self.spread[i], 700.0))
        return -float(np.expm1(-LET_THROUGH * tail * np.isfinite(self.centre).sum()))

    def limits(self, alpha: float) -> np.ndarray:
        """(S,) scores that some series passes with a chance of `alpha`; endless where nothing can be tried."""
        tried = LET_THROUGH * max(int(np.isfinite(self.centre).sum()), 1)
        found = self.centre - self.spread * log(-log(1 - alpha) / tried)
        return np.where(np.isfinite(found), found, np.inf)


def basic_series(table: BatchTable) -> list[Series]:
    """Losses of stages, corrected for recipe changes, then what is missing between them."""
    codes = products(table)

    def level(y):
        """What products differ by is taken out; the level of all stays."""
        return y if not codes.any() else within(y, codes) + np.nanmean(y)

    found = [Series(s, STAGE, level(y)) for s, y in zip(table.stages, table.judged_loss_pct.T)]
    missing = zip(table.handovers(), table.missing_pct.T)
    return found + [Series(h, HANDOVER, level(y)) for h, y in missing]


def short_sd(y: np.ndarray) -> float:
    """Scatter from one batch to the next: blind to steps and drifts."""
    seen = y[np.isfinite(y)]
    return float(np.abs(np.diff(seen)).mean() / D2) if len(seen) > 2 else float("nan")


def _mean_share(table: BatchTable, kg: np.ndarray) -> np.ndarray:
    """(S,) mean of a weight over all that went into its stage; 1 where no batch has both."""
    share = kg / table.all_in_kg
    return np.array([np.nanmean(x) if np.isfinite(x).any() else 1.0 for x in share.T])


def scale_series(table: BatchTable, basic: Sequence[Series]) -> list[Series]:
    """For each named scale the weighted sum of series that its error would move, in % that it would read too high."""
    found = []
    for scale in dict.fromkeys(table.scales.values()):
        into, out = (
            np.array([float(table.scales.get((s, side)) == scale) for s in table.stages])
            for side in ("in", "out")
        )
        mix = np.concatenate([into * _mean_share(table, table.in_kg), out[:-1] - into[1:]])
        mix[: len(out)] -= out * _mean_share(table, table.out_kg)
        weights, total = np.zeros(table.n), np.zeros(table.n)
        for series, a in zip(basic, mix):
            if abs(a) < LEAST_MOVE or not usable(series.y):
                continue
            w = a / short_sd(series.y) ** 2 if short_sd(series.y) > 0 else 0.0
            seen = np.isfinite(series.y)
            total += np.where(seen, w * (np.nan_to_num(series.y) - np.nanmean(series.y)), 0.0)
            weights += np.where(seen, w * a, 0.0)
        if (weights > 0).any():
            y = np.where(weights > 0, total / np.where(weights > 0, weights, 1.0), np.nan)
            found.append(Series(scale, SCALE, y, mix))
    return found


def allowed(series: Sequence[Series], pats: Patterns) -> np.ndarray:
    """(series, patterns): which pairs make sense."""
    where = acts_on()

    def fits(s: Series, family: str, who: tuple[str, str] | None) -> bool:
        if s.kind not in KINDS.get(family, (STAGE,)):
            return False
        return who is None or s.name in (who[1:] if family == "rework" else where[who[0]][1])

    pairs = list(zip(pats.family.tolist(), pats.who))
    place = {pair: n for n, pair in enumerate(dict.fromkeys(pairs))}
    ok = np.array([[fits(s, *pair) for pair in place] for s in series], bool)
    return ok[:, [place[pair] for pair in pairs]]


@dataclass(frozen=True, eq=False)
class Likened:
    """Stage and hand-over series on every pattern, each pair with the likeness of batches that suits it best."""

    count: np.ndarray
    """(p,) how many values each series has"""
    r: np.ndarray
    """(p, m) correlation of series and pattern"""
    base: np.ndarray
    """(p, m) twice the log likelihood that the likeness taken costs where there is no pattern"""
    unit: np.ndarray
    """(p, m) length of the pattern over that of the series: correlation for a slope of one"""
    trust: np.ndarray
    """(p, m) one over the variance of the slope"""
    mix: np.ndarray
    """(scales, p) change of each series for a scale error of one"""
    alike: tuple[Alike, ...]
    """(p,) how the batches of each resemble one another"""
    rest: np.ndarray
    """(n, p) centred series with the best pattern out, made independent, NaN where unknown"""


def fitted(
    basic: Sequence[Series], scales: Sequence[Series], pats: Patterns, ok, lengths=None
) -> Likened:
    """The likeness of batches is found by maximum likelihood, once with no pattern and once with each, for a cause that lasts makes neighbours alike."""
    y = np.column_stack([s.y for s in basic])
    seen = np.isfinite(y)
    count, p = seen.sum(axis=0), np.arange(len(basic))
    y = y - np.where(seen, y, 0.0).sum(axis=0) / np.maximum(count, 1)
    alive = np.array([usable(s.y) and short_sd(s.y) > 0 for s in basic])
    levels = (pats.products[:, None] == np.unique(pats.products)) * 1.0
    tried, rows = likenesses(pats.groups), []
    for like, (whole, lost) in zip(tried, lengths or pats.lengths(tried, seen)):
        full, logs = filled(y, like, pats.groups)
        span = np.linalg.qr(whitened(levels, like, pats.groups))[0]
        z = whitened(full, like, pats.groups)
        z = z - span @ (span.T @ z)
        back, span = (whitened(x, like, pats.groups, turned=True) for x in (z, span))
        whole = whole - ((span.T @ pats.h) ** 2).sum(axis=0)
        left = np.where(lost < MOST_UNKNOWN * whole, whole - lost, np.inf) ** 0.5
        long = np.maximum((z**2).sum(axis=0), 1e-300) ** 0.5
        known = np.where(seen, z, np.nan).T
        scatter = np.array([short_sd(x) if a else np.inf for x, a in zip(known, alive)])
        free = -2 * count * np.log(long) - logs
        rows.append((free, long, scatter, left, back.T @ pats.h / long[:, None] / left))
    free, long, sd, left, r = (np.array([row[k] for row in rows]) for k in range(5))
    free = free + _usual(free, np.array([s.kind == STAGE for s in basic]), alive)
    # a cause can pass for likeness, so that less of it may be the truth; more, or another kind, may not
    most = [tried[c] for c in free.argmax(axis=0)]
    less = [[a.kind in ("", b.kind) and a.share <= b.share for b in most] for a in tried]
    base = np.minimum(free - free.max(axis=0) + AT_NO_COST * np.array(less), 0)
    which = (base[:, :, None] + _gain(count, r)).argmax(axis=0)
    base, long, sd = base[which, p[:, None]], long[which, p[:, None]], sd[which, p[:, None]]
    r, left = (np.take_along_axis(x, which[None], 0)[0] for x in (r, left))
    left = np.where(np.isfinite(left) & np.isfinite(sd) & (sd > 0), left, 0.0)
    unit, trust = left / long, (left / np.where(sd > 0, sd, 1.0)) ** 2
    own = np.where(ok[: len(p)], base + _gain(count, r) - pats.price, -np.inf)
    rest, best = np.full(y.shape, np.nan), own.argmax(axis=1)
    for i, m in zip(p[alive], best[alive]):
        out = own[i, m] > 0
        most[i] = tried[which[i, m]] if out else most[i]
        z = whitened(filled(y[:, [i]], most[i], pats.groups)[0], most[i], pats.groups)[:, 0]
        h = whitened(pats.h[:, [m]], most[i], pats.groups)[:, 0]
        known = (z - out * h * (h @ z) / (h @ h))[seen[:, i]]
        rest[seen[:, i], i] = known - known.mean()
    mix = np.array([s.mix for s in scales if s.mix is not None]).reshape(len(scales), len(p))
    mix = np.where((np.abs(mix) >= LEAST_MOVE) & alive, mix, 0.0)
    return Likened(count, r, base, unit, trust, mix, tuple(most), rest)


def _usual(free: np.ndarray, stages: np.ndarray, alive: np.ndarray) -> np.ndarray:
    """(likenesses, p) twice the log of how usual each likeness is in this plant: mean of its chances at the other series of the same kind, part at random."""
    chance = np.exp((free - free.max(axis=0)) / 2)
    chance = chance / chance.sum(axis=0) * alive
    usual = np.zeros(free.shape)
    for kind in (stages, ~stages):
        others = (kind & alive).sum() - alive[kind]
        rest = chance[:, kind].sum(axis=1, keepdims=True) - chance[:, kind]
        even = 1 / len(free)
        usual[:, kind] = np.where(
            others > 0, (1 - AT_RANDOM) * rest / np.maximum(others, 1) + AT_RANDOM * even, even
        )
    return 2 * np.log(usual)


def _gain(count: np.ndarray, r: np.ndarray) -> np.ndarray:
    """n ln(1 / (1 − r²))"""
    return -count[:, None] * np.log1p(-np.minimum(r**2, 1 - np.finfo(r.dtype).eps))


def gains(r: np.ndarray, f: Likened, with_scales: bool = True) -> np.ndarray:
    """(..., p + scales, m) n ln(1 / (1 − r²)) from the projections r (..., p, m) of the series on the patterns.

    A scale's error has one size for all the series it moves: b from all of them together, then what that b subtracts from each. So a scale whose
    error would show in two places is not believed for one of them alone.
    """
    found = f.base + _gain(f.count, r)
    if not with_scales or not len(f.mix):
        return found
    slope = r * f.trust / np.where(f.unit > 0, f.unit, 1.0)
    size = np.einsum("cp,...pm->...cm", f.mix, slope) / np.maximum(f.mix**2 @ f.trust, 1e-300)
    rows = []
    for c, moves in enumerate(f.mix):
        on = np.flatnonzero(moves)
        b = moves[on, None] * size[..., c, None, :] * f.unit[on]
        left = np.maximum(1 - 2 * b * r[..., on, :] + b**2, 1e-12)
        rows.append((f.base[on] - f.count[on, None] * np.log(left)).sum(axis=-2))
    return np.concatenate([found, np.stack(rows, axis=-2)], axis=-2)


def shuffled(f: Likened, pats: Patterns, ok: np.ndarray) -> Null:
    """Best score of each series in each of ROUNDS shuffles of the batches, all series shuffled alike, as Gumbel curves by their moments."""
    rng = np.random.default_rng(5)
    h, (n, p) = pats.h.astype(np.float32), f.rest.shape
    # half the digits are plenty for a distribution drawn from ROUNDS, and half the time
    share = np.maximum(f.count / n, 1 / n)[:, None]
    long = np.maximum(np.nansum(f.rest**2, axis=0), 1e-30)[:, None] ** 0.5
    sd = np.array([short_sd(x) for x in f.rest.T])[:, None]
    trust = np.where(sd > 0, share / np.where(sd > 0, sd, 1.0) ** 2, 0.0)
    plain = (np.zeros((p, 1)), share**0.5 / long, trust)
    base, unit, trust = (x.astype(np.float32) for x in plain)
    y = (np.nan_to_num(f.rest) / (share**0.5 * long).T).astype(np.float32)
    level = replace(f, base=base, unit=unit, trust=trust)
    orders = np.array([rng.permutation(n) for _ in range(ROUNDS)])
    best = np.full((ROUNDS, len(ok)), -np.inf)
    for use in np.unique(ok.T, axis=0):
        # patterns that only some series may use are tried on those alone
        columns = np.flatnonzero((use == ok.T).all(axis=1))
        with_scales = bool(use[p:].any())
        rows = np.arange(p) if with_scales else np.flatnonzero(use)
        if not len(rows):
            continue
        part = level
        if not with_scales:
            part = replace(level, count=level.count[rows], base=level.base[rows])
        mask = use[:, None] if with_scales else np.ones((len(rows), 1), bool)
        size = max(1, 1_500_000 // (len(rows) * len(columns)))
        for first in range(0, ROUNDS, size):
            r = np.tensordot(
                h[:, columns], y[orders[first : first + size]][:, :, rows], axes=(0, 1)
            )
            gain = gains(np.moveaxis(r, 0, -1), part, with_scales) - pats.price[columns]
            top = np.where(mask, gain, -np.inf).max(axis=2)
            of = slice(None) if with_scales else rows
            part_best = best[first : first + size]
            part_best[:, of] = np.maximum(part_best[:, of], top)
    tried = np.isfinite(best).all(axis=0)
    best = np.where(tried, best, 0.0)
    spread = np.maximum(best.std(axis=0, ddof=1) * sqrt(6) / pi, 1e-9)
    return Null(np.where(tried, best.mean(axis=0) - np.euler_gamma * spread, np.nan), spread)


def taken_out(series: Series, columns: np.ndarray) -> Series:
    """The series without what `columns` (n, k) explain; its level stays."""
    seen = np.isfinite(series.y)
    x = columns[seen] - columns[seen].mean(axis=0)
    coefficient, *_ = np.linalg.lstsq(x, series.y[seen] - series.y[seen].mean(), rcond=None)
    y = series.y.copy()
    y[seen] -= x @ coefficient
    return replace(series, y=y)

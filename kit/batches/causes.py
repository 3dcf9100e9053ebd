"""Which single cause fits the losses best? Every (series, pattern) that the trade allows is tried, and noise is asked how well it would do.

A series is the loss of a stage, the kilograms missing between two stages, or what a scale's error would look like over all of them. A pattern is
a level from batch k on, a drift, the batches of one operator, one smokehouse from batch k on, a process column, rework. The score of a pair is
n ln(1 / (1 − r²)) / v − 2 ln(patterns of its kind): what it explains, less the price of having had many to choose from; v is how much of it lots,
days or neighbours that resemble one another imitate (noise.py). The same batches in shuffled order, again and again, say for each series what its
best score is when there is no cause; that makes the chance of a false finding what it says. What products differ by is taken out beforehand.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, log, pi, sqrt

import numpy as np

from kit.batches.constants import constants
from kit.batches.noise import Alike, alike
from kit.batches.patterns import Patterns, acts_on, products, usable, within
from kit.batches.table import BatchTable

STAGE, HANDOVER, SCALE = "stage", "hand-over", "scale"
ROUNDS = 200
"""shuffles of the batches"""
CLEARLY = 6.0
"""twice the log likelihood, beyond its price, by which a pattern must better the likeness of batches before that is estimated with it out"""
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
        return -float(np.expm1(-tail * np.isfinite(self.centre).sum()))

    def limits(self, alpha: float) -> np.ndarray:
        """(S,) scores that some series passes with a chance of `alpha`; endless where nothing can be tried."""
        tried = max(int(np.isfinite(self.centre).sum()), 1)
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
    return float(np.abs(np.diff(seen)).mean() / constants(2).d2) if len(seen) > 2 else float("nan")


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
    ok = np.zeros((len(series), len(pats.family)), bool)
    level, drift = np.isin(pats.family, ["step", "drift"]), pats.family == "drift from"
    passing = np.isin(pats.family, ["episode", "odd day", "season"])
    for i, s in enumerate(series):
        ok[i] = level | (drift & (s.kind == SCALE)) | (passing & (s.kind == STAGE))
        if s.kind != STAGE:
            continue
        for m, (f, whom, through) in enumerate(zip(pats.family, pats.who, pats.via)):
            if f == "rework" and whom:
                ok[i, m] = s.name == whom[1]
            elif whom or through:
                ok[i, m] = s.name in where[whom[0] if whom else str(through)][1]
    return ok


@dataclass(frozen=True, eq=False)
class Scaled:
    """Stage and hand-over series centred and of length one, with what scales would do to them."""

    y: np.ndarray
    """(n, p), 0 where unknown"""
    count: np.ndarray
    """(p,) how many values each has"""
    moves: np.ndarray
    """(scales, p) change of each series for a scale error of one"""
    trust: np.ndarray
    """(p,) one over the variance from batch to batch"""
    sticky: tuple[Alike, ...]
    """(p,) how the batches of each resemble one another"""


def standardised(
    basic: Sequence[Series],
    scales: Sequence[Series] = (),
    pats: Patterns | None = None,
    ok: np.ndarray | None = None,
) -> Scaled:
    y = np.column_stack([s.y for s in basic])
    seen = np.isfinite(y)
    count = seen.sum(axis=0)
    y = np.where(seen, y - np.where(seen, y, 0.0).sum(axis=0) / np.maximum(count, 1), 0.0)
    length = np.maximum(np.sqrt((y**2).sum(axis=0)), 1e-300)
    alive = np.array([usable(s.y) and short_sd(s.y) > 0 for s in basic])
    trust = np.array(
        [(n / short_sd(s.y)) ** 2 if ok else 0.0 for s, ok, n in zip(basic, alive, length)]
    )
    moves = np.array(
        [
            np.where((np.abs(s.mix) >= LEAST_MOVE) & alive, s.mix / length, 0.0)
            for s in scales
            if s.mix is not None
        ]
    ).reshape(len(scales), len(basic))
    y = y / length
    own: tuple[Alike, ...] = (Alike("", 0.0, 0.0),) * len(basic)
    if pats is not None and ok is not None:
        own = tuple(
            _likeness(np.where(s, x, np.nan), pats, o) if a else Alike("", 0.0, 0.0)
            for s, x, o, a in zip(seen.T, y.T, ok, alive)
        )
    return Scaled(y, count, moves, trust, own)


def _likeness(y: np.ndarray, pats: Patterns, ok: np.ndarray) -> Alike:
    """How batches resemble one another in a series. A cause that lasts makes neighbours alike, so a pattern is taken out first where that
    fits far better than likeness alone."""
    plain = alike(y, pats.groups)
    if not plain.kind or not ok.any():
        return plain
    x = np.nan_to_num(y)
    gain = -np.isfinite(y).sum() * np.log1p(-np.minimum((x @ pats.h) ** 2, 1 - 1e-12))
    for grown in (pats.grown(plain), 1.0):
        m = int(np.where(ok, gain / grown - pats.price, -np.inf).argmax())
        left = alike(
            np.where(np.isfinite(y), x - pats.h[:, m] * (x @ pats.h[:, m]), np.nan), pats.groups
        )
        if 2 * (left.fit - plain.fit) - pats.price[m] > CLEARLY:
            return left
    return plain


def gains(r: np.ndarray, scaled: Scaled, with_scales: bool = True, grown=1.0) -> np.ndarray:
    """(..., p + scales, m) n ln(1 / (1 − r²)) / grown from the projections r (..., p, m) of the series on the patterns.

    A scale's error has one size for all the series it moves: b from all of them together, then what that b subtracts from each. So a scale whose
    error would show in two places is not believed for one of them alone.
    """
    found = -scaled.count[:, None] * np.log1p(-np.minimum(r**2, 1 - np.finfo(r.dtype).eps)) / grown
    if not with_scales or not len(scaled.moves):
        return found
    pulled = scaled.moves * scaled.trust
    size = (
        np.einsum("cp,...pm->...cm", pulled, r)
        / np.maximum((pulled * scaled.moves).sum(axis=1), 1e-300)[:, None]
    )
    grown = np.broadcast_to(grown, found.shape[-2:])
    rows = []
    for c, moves in enumerate(scaled.moves):
        on = np.flatnonzero(moves)
        b = moves[on, None] * size[..., c, None, :]
        left = np.maximum(1 - 2 * b * r[..., on, :] + b**2, 1e-12)
        rows.append(-(scaled.count[on, None] * np.log(left) / grown[on]).sum(axis=-2))
    return np.concatenate([found, np.stack(rows, axis=-2)], axis=-2)


def scores(scaled: Scaled, pats: Patterns, ok: np.ndarray) -> np.ndarray:
    """(p + scales, m) penalised scores; -inf where not allowed.

    What a series says for a pattern is divided by how much batches that resemble one another imitate it.
    """
    grown = np.array([pats.grown(like) for like in scaled.sticky])
    return np.where(ok, gains(scaled.y.T @ pats.h, scaled, grown=grown) - pats.price, -np.inf)


def shuffled(scaled: Scaled, pats: Patterns, ok: np.ndarray) -> Null:
    """Best score of each series in each of ROUNDS shuffles of the batches, all series shuffled alike, as Gumbel curves by their moments."""
    rng = np.random.default_rng(5)
    # half the digits are plenty for a distribution drawn from ROUNDS, and half the time
    scaled = replace(scaled, y=scaled.y.astype(np.float32))
    y, p, h = scaled.y, scaled.y.shape[1], pats.h.astype(np.float32)
    orders = np.array([rng.permutation(len(y)) for _ in range(ROUNDS)])
    best = np.full((ROUNDS, len(ok)), -np.inf)
    for use in np.unique(ok.T, axis=0):
        # patterns that only some series may use are tried on those alone
        columns = np.flatnonzero((use == ok.T).all(axis=1))
        with_scales = bool(use[p:].any())
        rows = np.arange(p) if with_scales else np.flatnonzero(use)
        if not len(rows):
            continue
        part = scaled if with_scales else replace(scaled, count=scaled.count[rows])
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

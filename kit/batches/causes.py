"""Which single cause fits the losses best? Every (series, pattern) that the trade allows is tried, and noise is asked how well it would do.

A series is the loss of a stage, the kilograms missing between two stages, or what a scale's error would look like over all of them. A pattern is
a level from batch k on, a drift, the batches of one operator, one smokehouse from batch k on, a process column, rework. The score of a pair is
n ln(1 / (1 − r²)) − 2 ln(patterns of its kind): what it explains, less the price of having had many to choose from. The same batches in
shuffled order, again and again, say what the best of all scores is when there is no cause; that makes the chance of a false finding what it says.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, log, pi, sqrt

import numpy as np

from kit import tables
from kit.batches.constants import constants
from kit.batches.table import BatchTable

STAGE, HANDOVER, SCALE = "stage", "hand-over", "scale"
ROUNDS = 200
"""shuffles of the batches"""
LAGS = 6
"""batches over which neighbours may resemble one another: a lot, a day"""
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


@dataclass(frozen=True, eq=False)
class Patterns:
    """Columns of `h` (n, m): centred and of length one. `family` says what each is."""

    h: np.ndarray
    family: np.ndarray
    start: np.ndarray
    """-1 where the pattern has no start"""
    who: tuple[tuple[str, str] | None, ...]
    via: tuple[str | None, ...]
    raw: np.ndarray
    """the patterns before centring"""
    price: np.ndarray

    @property
    def echo(self) -> np.ndarray:
        """(lags, m) how far each pattern resembles itself 1, 2, ... batches later."""
        return np.array(
            [
                (self.h[k:] * self.h[:-k]).sum(axis=0)
                for k in range(1, min(LAGS, len(self.h) - 1) + 1)
            ]
        )


@dataclass(frozen=True)
class Null:
    """Best scores of shuffled batches follow a Gumbel curve."""

    centre: float
    spread: float

    def chance(self, score: float) -> float:
        """Chance of this from random variation alone."""
        return -np.expm1(-exp(min(-(score - self.centre) / self.spread, 700.0)))

    def limit(self, alpha: float) -> float:
        return self.centre - self.spread * log(-log(1 - alpha))


@lru_cache(maxsize=1)
def acts_on() -> dict[str, tuple[str, frozenset[str]]]:
    """Column -> (label or fact, stages it can act on), as the trade says."""
    return {
        row["column"]: (row["kind"], frozenset(row["stages"].split()))
        for row in tables.read_rows("batches", "acts_on.csv")
    }


def basic_series(table: BatchTable) -> list[Series]:
    """Losses of stages, corrected for recipe changes, then what is missing between them."""
    found = [Series(s, STAGE, y) for s, y in zip(table.stages, table.judged_loss_pct.T)]
    return found + [Series(h, HANDOVER, y) for h, y in zip(table.handovers(), table.missing_pct.T)]


def usable(y: np.ndarray) -> bool:
    seen = y[np.isfinite(y)]
    return len(seen) >= 2 * tables.value("batches_least") and np.ptp(seen) > 1e-9


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


def patterns(table: BatchTable) -> Patterns:
    """Every pattern that these batches allow."""
    n, least = table.n, int(tables.value("batches_least"))
    order, ks = np.arange(n), np.arange(least, n - least + 1)
    made: list[tuple] = []

    def add(family, columns, starts, who=None, via=None, tried=None):
        """Columns of one kind; each has the price of as many as were tried."""
        price = 2 * log(max(tried or len(starts), 1))
        made.extend(
            (column, family, start, who, via, price)
            for column, start in zip(np.atleast_2d(columns), starts, strict=True)
        )

    if len(ks):
        add("step", order >= ks[:, None], ks)
        # a slow drift costs as much as a step at an unknown batch, so that a step is not taken for one
        add("drift", order / n, [-1], tried=len(ks))
        late = ks[:: max(1, len(ks) // 24)]
        add("drift from", np.maximum(order - late[:, None] + 1, 0) / n, late)
    for label, (kind, _) in acts_on().items():
        values = table.labels.get(label)
        if kind != "label" or values is None:
            continue
        levels = [str(v) for v in np.unique(values) if v]
        if not 2 <= len(levels) <= tables.value("batches_label_levels"):
            continue
        for v in levels:
            places = np.flatnonzero(values == v)
            if least <= len(places) <= n - least:
                add("label", values == v, places[:1], (label, v), tried=len(levels))
        for v in levels:
            places = np.flatnonzero(values == v)
            at = places[least : len(places) - least + 1]
            late_only = (values == v) & (order >= at[:, None])
            add("label from", late_only, at, (label, v), tried=len(levels) * len(ks))
    for fact, (kind, _) in acts_on().items():
        x = table.facts.get(fact)
        if kind == "fact" and x is not None and usable(x):
            add("fact", np.where(np.isfinite(x), x, np.nanmean(x)), [-1], None, fact)
    share = np.nan_to_num(
        100 * table.rework_in_kg / np.where(table.all_in_kg > 0, table.all_in_kg, 1.0)
    )
    starts = np.concatenate([[0], ks])
    for j in np.flatnonzero((share > 0).sum(axis=0) >= least):
        after = (order >= starts[:, None]) * share[:, j]
        keep = (after > 0).sum(axis=1) >= least
        add("rework", after[keep], starts[keep], ("rework", table.stages[j]))
    raw = np.array([column for column, *_ in made], float).reshape(len(made), n).T
    h = raw - raw.mean(axis=0)
    length = np.sqrt((h**2).sum(axis=0))
    keep = np.flatnonzero(length > 1e-9)
    family, start, who, via, price = zip(*(made[m][1:] for m in keep)) if len(keep) else ((),) * 5
    return Patterns(
        h[:, keep] / length[keep],
        np.array(family, str),
        np.array(start, int),
        who,
        via,
        raw[:, keep],
        np.array(price, float),
    )


def allowed(series: Sequence[Series], pats: Patterns) -> np.ndarray:
    """(series, patterns): which pairs make sense."""
    where = acts_on()
    ok = np.zeros((len(series), len(pats.family)), bool)
    level, drift = np.isin(pats.family, ["step", "drift"]), pats.family == "drift from"
    for i, s in enumerate(series):
        ok[i] = level | (drift & (s.kind == SCALE))
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
    sticky: np.ndarray
    """(p,) correlation of neighbouring batches, 0 where it may be chance"""


def standardised(
    basic: Sequence[Series], scales: Sequence[Series] = (), pats: Patterns | None = None
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
    own = np.zeros(len(basic)) if pats is None else _stickiness(y, pats)
    return Scaled(y, count, moves, trust, own)


def _stickiness(y: np.ndarray, pats: Patterns) -> np.ndarray:
    """(p,) correlation of neighbours in what is left of each series after its best pattern of any kind; 0 below one standard error.

    A cause that lasts makes neighbours alike, so it has to be taken out first.
    """
    n = len(y)
    hit = y.T @ pats.h
    best = np.abs(hit).argmax(axis=1)
    left = y - pats.h[:, best] * hit[np.arange(len(best)), best]
    rho = (left[1:] * left[:-1]).sum(axis=0) / np.maximum((left**2).sum(axis=0), 1e-300)
    # a level and a pattern taken out bias it downwards by about this much
    rho = rho + (2 + 4 * np.maximum(rho, 0)) / n
    return np.where(rho > 1 / sqrt(n), np.minimum(rho, 0.95), 0.0)


def gains(r: np.ndarray, scaled: Scaled, with_scales: bool = True, grown=1.0) -> np.ndarray:
    """(..., p + scales, m) n ln(1 / (1 − r²)) / grown from the projections r (..., p, m) of the series on the patterns.

    A scale's error has one size for all the series it moves: b from all of them together, then what that b subtracts from each. So a scale whose
    error would show in two places is not believed for one of them alone.
    """
    found = -scaled.count[:, None] * np.log1p(-np.minimum(r**2, 1 - 1e-12)) / grown
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

    Where neighbours resemble one another, noise imitates patterns that last: the variance of a fitted pattern grows by 1 + 2 Σ ρ^k c_k, c_k its
    likeness to itself k batches later. What a series says for a pattern is divided by that where it is above 1.
    """
    echo = pats.echo
    powers = scaled.sticky[:, None] ** np.arange(1, len(echo) + 1)
    grown = np.maximum(1 + 2 * powers @ echo, 1.0)
    return np.where(ok, gains(scaled.y.T @ pats.h, scaled, grown=grown) - pats.price, -np.inf)


def shuffled(scaled: Scaled, pats: Patterns, ok: np.ndarray) -> Null:
    """Best score of each of ROUNDS shuffles of the batches, all series shuffled alike, as a Gumbel curve by its moments."""
    rng = np.random.default_rng(5)
    y, p = scaled.y, scaled.y.shape[1]
    orders = np.array([rng.permutation(len(y)) for _ in range(ROUNDS)])
    best = np.full(ROUNDS, -np.inf)
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
                pats.h[:, columns], y[orders[first : first + size]][:, :, rows], axes=(0, 1)
            )
            gain = gains(np.moveaxis(r, 0, -1), part, with_scales) - pats.price[columns]
            top = np.where(mask, gain, -np.inf).max(axis=(1, 2))
            best[first : first + size] = np.maximum(best[first : first + size], top)
    spread = float(best.std(ddof=1)) * sqrt(6) / pi
    return Null(float(best.mean()) - np.euler_gamma * spread, max(spread, 1e-9))


def taken_out(series: Series, columns: np.ndarray) -> Series:
    """The series without what `columns` (n, k) explain; its level stays."""
    seen = np.isfinite(series.y)
    x = columns[seen] - columns[seen].mean(axis=0)
    coefficient, *_ = np.linalg.lstsq(x, series.y[seen] - series.y[seen].mean(), rcond=None)
    y = series.y.copy()
    y[seen] -= x @ coefficient
    return replace(series, y=y)

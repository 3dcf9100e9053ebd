"""How alike are batches of one lot, one day, or next to one another, with nothing wrong? And which lie far out by themselves?

Where batches resemble one another, noise imitates patterns that last. A series and a pattern are compared by generalised least squares: both are made
independent by L, with V = (L' L)⁻¹ the correlation of the batches; an unknown figure is put at its mean, given those around it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy as sp

from kit import tables
from kit.batches.table import BatchTable

SHARES = (0.15, 0.3, 0.45, 0.6, 0.75)
"""of the variance in common, or correlations of neighbours, that are tried; beyond them noise would be a walk, and no cause could be told from it"""
SHORT_OF_BEST = 0.5
BY_CHANCE = 0.03
"""days expected with so many figures far out, below which it is taken to be the day"""
WINDOW = 4
"""batches before, and after, whose medians a figure is held against"""


@dataclass(frozen=True)
class Alike:
    """`kind`: '' (independent), 'neighbours', 'lot' or 'day'."""

    kind: str = ""
    share: float = 0.0


def likenesses(groups: Mapping[str, np.ndarray]) -> tuple[Alike, ...]:
    return Alike(), *(Alike(kind, float(s)) for kind in ("neighbours", *groups) for s in SHARES)


def neighbours(x: np.ndarray) -> float:
    """Correlation of neighbours in a centred series, by maximum likelihood, on its careful upper side (SHORT_OF_BEST in twice the log likelihood)."""
    n, rho = len(x), np.arange(0.0, 0.8, 0.05)
    left = x[0] ** 2 + ((x[1:, None] - rho * x[:-1, None]) ** 2).sum(axis=0) / (1 - rho**2)
    fits = -n * np.log(left / n) - (n - 1) * np.log(1 - rho**2)
    return float(rho[np.flatnonzero(fits.max() - fits <= SHORT_OF_BEST)[-1]])


def whitened(x: np.ndarray, like: Alike, groups, turned: bool = False) -> np.ndarray:
    """(n, k) L x of batches that are so alike, independent and of one spread where x had the correlation V = (L' L)⁻¹; L' x if `turned`."""
    s = like.share
    if not like.kind:
        return x
    if like.kind != "neighbours":
        total, size = summed(x, groups[like.kind])
        drawn = (1 - ((1 - s) / (1 - s + s * size)) ** 0.5) / size
        return (x - (drawn[:, None] * total)[groups[like.kind]]) / (1 - s) ** 0.5
    left = x / (1 - s**2) ** 0.5
    if turned:
        left[0] = x[0]
        left[:-1] -= s / (1 - s**2) ** 0.5 * x[1:]
    else:
        left[1:] -= s * left[:-1]
        left[0] = x[0]
    return left


def summed(x: np.ndarray, codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(groups, k) sums of (n, k) over each group, and how many it has; `codes` count from 0."""
    order, size = np.argsort(codes, kind="stable"), np.bincount(codes)
    return np.add.reduceat(x[order], np.cumsum(size) - size, axis=0), size


def filled(y: np.ndarray, like: Alike, groups) -> tuple[np.ndarray, np.ndarray]:
    """Centred series (n, p) an unknown figure (NaN) at its mean given those around it, and log |V| of the known ones (p,)."""
    seen = np.isfinite(y)
    x, s = np.where(seen, y, 0.0), like.share
    if not like.kind:
        return x, np.zeros(y.shape[1])
    if like.kind != "neighbours":
        (total, _), (known, _) = (summed(a, groups[like.kind]) for a in (x, seen * 1.0))
        joint, some = 1 - s + s * known, known > 0
        logs = (seen.sum(axis=0) - some.sum(axis=0)) * np.log(1 - s)
        logs += (np.log(joint) * some).sum(axis=0)
        return np.where(seen, x, (s * total / joint)[groups[like.kind]]), logs
    logs = np.zeros(y.shape[1])
    for j, known in enumerate(seen.T):
        at = np.flatnonzero(known)
        if not len(at):
            continue
        logs[j] = np.log(1 - s ** (2.0 * np.diff(at))).sum()
        i = np.flatnonzero(~known)
        right = np.searchsorted(at, i)
        before, after = at[np.maximum(right - 1, 0)], at[np.minimum(right, len(at) - 1)]
        d = np.where(right > 0, i - before, np.inf), np.where(right < len(at), after - i, np.inf)
        both = 1 - s ** (2 * (d[0] + d[1]))
        x[i, j] = (
            x[before, j] * s ** d[0] * (1 - s ** (2 * d[1]))
            + x[after, j] * s ** d[1] * (1 - s ** (2 * d[0]))
        ) / both
    return x, logs


def groups_of(table: BatchTable) -> dict[str, np.ndarray]:
    """{'lot' or 'day': (n,) codes} where at least a quarter of the batches share theirs; a batch without one stands alone."""
    found, alone = {}, np.array([f" {i}" for i in range(table.n)])
    for kind in ("lot", "day"):
        values = table.unit_of(kind)
        if values is None:
            continue
        named = np.where(values == "", alone, values)
        _, codes, size = np.unique(named, return_inverse=True, return_counts=True)
        if (size[codes] > 1).sum() >= table.n / 4 and len(size) > 2:
            found[kind] = codes
    return found


def beside(y: np.ndarray) -> np.ndarray:
    """Each figure less the median of those before or of those after it, whichever is nearer: a new level stands beside one of the two."""
    off, seen = np.full(len(y), np.nan), np.flatnonzero(np.isfinite(y))
    if len(seen) <= 2 * WINDOW:
        return off
    x = y[seen]
    middle = np.median(np.lib.stride_tricks.sliding_window_view(x, WINDOW), axis=1)
    before = x - np.concatenate([np.full(WINDOW, np.inf), middle[:-1]])
    after = x - np.concatenate([middle[1:], np.full(WINDOW, np.inf)])
    off[seen] = np.where(np.abs(before) < np.abs(after), before, after)
    return off


def far_out(y: np.ndarray, chance: float) -> np.ndarray:
    """Places of at most three figures that stand apart from their neighbours and from the tail of all others.

    Spacings of the logs of the largest distances, the j-th times j, are exponential and alike where the tail is a power, and shrink where it is lighter;
    the one that is too wide at `chance` cuts off what lies beyond it.
    """
    off = np.abs(beside(y))
    order = np.argsort(-np.nan_to_num(off))
    tail = max(10, int(np.isfinite(off).sum()) // 8)
    size = np.nan_to_num(off)[order[: tail + 1]]
    if len(size) <= tail or size[-1] <= 0:
        return order[:0]
    gaps = np.arange(1, tail + 1) * np.log(size[:-1] / size[1:])
    for j in (3, 2, 1):
        rest = gaps[j:].mean()
        if rest > 0 and sp.special.fdtrc(2, 2 * (tail - j), gaps[j - 1] / rest) < chance:
            return np.sort(order[:j])
    return order[:0]


def held_in(y: np.ndarray, day: np.ndarray | None = None) -> np.ndarray:
    """The series with single figures that lie far from those around them drawn in, so that none weighs more than a few others.

    Where more of one `day` (n,) lie out on the same side than chance puts on any day, it was the day and no single figure: they stay.
    """
    off = beside(y)
    known = np.abs(off[np.isfinite(off)])
    most = tables.value("batches_far_sds") * tables.value("sd_per_mad")
    most *= float(np.median(known)) if len(known) else 0.0
    far = np.nan_to_num(off) * (np.abs(np.nan_to_num(off)) > most) if most else np.zeros(len(y))
    for side in (far > 0, far < 0):
        if day is None:
            break
        out, size = np.bincount(day, side), np.bincount(day)
        for k in np.flatnonzero(out >= 2):
            usual = (side.sum() - out[k] + 0.5) / len(y)
            if sp.special.bdtrc(out[k] - 1, size, usual).sum() < BY_CHANCE:
                far[side & (day == k)] = 0
    return y - far + np.sign(far) * most

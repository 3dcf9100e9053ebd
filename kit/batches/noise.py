"""How alike are batches of one lot, one day, or next to one another, with nothing wrong? And which lie far out by themselves?

Where batches resemble one another, noise imitates patterns that last. The variance of a fitted pattern h of length one grows from 1 to h' V h, V being
the correlation of the batches: in lots 1 + share × (Σ over lots (Σ h)² − 1), in neighbours 1 + 2 Σ ρ^k c_k, c_k the pattern's likeness to itself k
batches later.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy as sp

from kit import tables

SHARES = np.arange(0.0, 0.8, 0.05)
"""of the variance in common, or correlations of neighbours, that are tried; beyond them noise would be a walk, and no cause could be told from it"""
SHORT_OF_BEST = 0.5
"""twice the log likelihood by which the share taken may fall short of the likeliest: the upper side is the careful one"""
WINDOW = 4
"""batches before, and after, whose medians a figure is held against"""


@dataclass(frozen=True)
class Alike:
    """`kind`: '' (independent), 'neighbours', 'lot' or 'day'. `fit`: log likelihood of the likeliest share of that kind."""

    kind: str
    share: float
    fit: float


def alike(y: np.ndarray, groups: Mapping[str, np.ndarray]) -> Alike:
    """The kind of likeness that fits a centred series (NaN where unknown) best, by maximum likelihood."""
    seen = np.flatnonzero(np.isfinite(y))
    x = y[seen] - y[seen].mean()
    found = [
        ("neighbours", *_neighbours(x)),
        *((k, *_in_groups(x, g[seen])) for k, g in groups.items()),
    ]
    best = max(found, key=lambda f: f[1].max())
    kind, fits, _ = best
    near = np.flatnonzero(2 * (fits.max() - fits) <= SHORT_OF_BEST)
    share = float(SHARES[near[-1]])
    return Alike(kind if share > 0 else "", share, float(fits.max()))


def _neighbours(x):
    n, rho = len(x), SHARES
    left = (x[1:, None] - rho * x[:-1, None]) ** 2
    q = x[0] ** 2 + left.sum(axis=0) / (1 - rho**2)
    return -n / 2 * np.log(q / n) - (n - 1) / 2 * np.log(1 - rho**2), None


def _in_groups(x, codes):
    n, (_, at, size) = len(x), np.unique(codes, return_inverse=True, return_counts=True)
    between = np.bincount(at, x) ** 2 / size
    own, joint = 1 - SHARES, 1 - SHARES + SHARES * size[:, None]
    q = ((x**2).sum() - between.sum()) / own + (between[:, None] / joint).sum(axis=0)
    logs = (n - len(size)) * np.log(own) + np.log(joint).sum(axis=0)
    return -n / 2 * np.log(q / n) - logs / 2, None


def groups_of(labels: Mapping[str, np.ndarray], dates: np.ndarray | None, n: int) -> dict:
    """{'lot' or 'day': (n,) codes} where at least a quarter of the batches share theirs; a batch without one stands alone."""
    held = {"lot": labels.get("lot"), "day": labels.get("day")}
    if dates is not None:
        days = dates.astype("datetime64[D]").astype(str)
        held["day"] = np.where(days == "NaT", "", days)
    found = {}
    for kind, values in held.items():
        if values is None:
            continue
        alone = np.array([f" {i}" for i in range(n)])
        _, codes, size = np.unique(
            np.where(values == "", alone, values), return_inverse=True, return_counts=True
        )
        if (size[codes] > 1).sum() >= n / 4 and len(size) > 2:
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

    Where three or more of one `day` (n,) lie out on the same side, it was the day and no single figure: they stay.
    """
    off = beside(y)
    known = np.abs(off[np.isfinite(off)])
    most = tables.value("batches_far_sds") * tables.value("sd_per_mad")
    most *= float(np.median(known)) if len(known) else 0.0
    far = np.nan_to_num(off) * (np.abs(np.nan_to_num(off)) > most) if most else np.zeros(len(y))
    if day is not None:
        for side in (far > 0, far < 0):
            far[side & (np.bincount(day, side)[day] >= 3)] = 0
    return y - far + np.sign(far) * most

"""How certain is a mean loss, or the difference of two? By lot or day where batches share one, and with the likeness of neighbours (noise.py)."""

from dataclasses import dataclass

import numpy as np
import scipy as sp

from kit.batches.noise import groups_of, neighbours
from kit.batches.table import BatchTable

LAGS = 12
"""units over which neighbours may resemble one another"""
IN_A_ROW = 12
"""units from which it can be told whether neighbours resemble one another"""


@dataclass(frozen=True)
class Mean:
    """A mean or a difference of means, its standard error and degrees of freedom; `sd` of one unit."""

    value: float
    se: float
    dof: float
    sd: float

    @property
    def half(self) -> float:
        """Half the 90 % interval; nan where a group has one unit only."""
        return float(sp.special.stdtrit(self.dof, 0.95)) * self.se if self.dof > 0 else np.nan

    @property
    def interval(self) -> tuple[float, float]:
        return self.value - self.half, self.value + self.half


def units_of(table: BatchTable) -> tuple[str, np.ndarray]:
    """What varies by itself, 'lot' where batches share one, else 'day', else 'batch', and its (n,) code of each batch."""
    groups = groups_of(table)
    kind = next((kind for kind in ("lot", "day") if kind in groups), "batch")
    return kind, groups.get(kind, np.arange(table.n))


def by_unit(x, codes) -> dict[int, float]:
    """{code: mean}, in the order of the batches."""
    order, at = np.unique(codes, return_inverse=True)
    means = np.bincount(at, x) / np.bincount(at)
    return {int(order[k]): float(means[k]) for k in dict.fromkeys(at.tolist())}


def mean_of(x: np.ndarray) -> Mean:
    """Mean of a series in order; where neighbours resemble one another, with the larger error that they leave it."""
    n, value = len(x), float(np.mean(x))
    if n < 2:
        return Mean(value, np.nan, 0.0, np.nan)
    more, sd = _grown(x - value, np.ones(n)), float(np.std(x, ddof=1))
    return Mean(value, sd * (more / n) ** 0.5, max((n - 1) / more, 1.0), sd * more**0.5)


def welch(a: np.ndarray, b: np.ndarray, order: np.ndarray | None = None) -> Mean:
    """Mean of b less mean of a, each with its own variance (Welch). `order`: places of a's and then b's values as they were made."""
    n, m = len(a), len(b)
    value = float(np.mean(b) - np.mean(a))
    if min(n, m) < 2:
        return Mean(value, np.nan, 0.0, np.nan)
    va, vb = float(np.var(a, ddof=1)), float(np.var(b, ddof=1))
    of = va / n + vb / m
    if of == 0:
        return Mean(value, 0.0, float(n + m - 2), 0.0)
    left = np.concatenate([a - np.mean(a), b - np.mean(b)])
    shape = np.repeat([-1 / n, 1 / m], [n, m])
    more = 1.0 if order is None else _grown(left[order], shape[order])
    dof = of**2 / ((va / n) ** 2 / (n - 1) + (vb / m) ** 2 / (m - 1))
    return Mean(value, (of * more) ** 0.5, max(dof / more, 1.0), ((va + vb) / 2 * more) ** 0.5)


def _grown(left: np.ndarray, shape: np.ndarray) -> float:
    """How many times the variance of Σ shape × value grows where neighbours resemble one another; never below 1."""
    if len(left) < IN_A_ROW or not np.ptp(left):
        return 1.0
    share, h = neighbours(left - left.mean()), shape / np.sqrt((shape**2).sum())
    lags = range(1, min(LAGS, len(h) - 1) + 1)
    return max(1.0, 1 + 2 * sum(share**k * float((h[k:] * h[:-k]).sum()) for k in lags))

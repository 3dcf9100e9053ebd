"""Which patterns on a chart speak of a cause, and how often does each speak when there is none?

Every rule reads points in sigmas from the centre. `together(n, rules, baseline)` says how often they raise at least one alarm in n batches
of random variation alone when centre and sigma come from that many baseline batches, as they do on a real chart. Asking more rules costs more false alarms.
"""

from functools import lru_cache

import numpy as np

from kit.batches.constants import D2
from kit.errors import need_known
from kit.faults import need_said

RULES = {
    "beyond 3": ("one batch more than 3 sigma from the centre", 1, 1, 3),
    "2 of 3 beyond 2": ("two of three batches more than 2 sigma out on one side", 2, 3, 2),
    "4 of 5 beyond 1": ("four of five batches more than 1 sigma out on one side", 4, 5, 1),
    "8 on one side": ("eight batches in a row on one side of the centre", 8, 8, 0),
}
"""name of the rule -> (what it says, so many, of so many in a row, beyond so many sigmas on one side)"""
CLASSIC = tuple(RULES)
"""the four oldest rules together"""
USUAL = ("beyond 3", "8 on one side")
"""a quiet choice for yields"""


def _of(hit: np.ndarray, count: int, of: int) -> np.ndarray:
    """True at a point that itself hits and is at least the `count`-th hit among the last `of` points."""
    total = np.zeros(hit.shape, np.int8)
    for back in range(min(of, hit.shape[-1])):
        total[..., back:] += hit[..., : hit.shape[-1] - back]
    return hit & (total >= count)


def alarms(z: np.ndarray, key: str) -> np.ndarray:
    """Where the rule is violated: a bool array shaped as `z` (..., n), True at the batch that completes the pattern. NaN never speaks."""
    need_known("run rule", key, RULES)
    z = np.asarray(z, float)
    with np.errstate(invalid="ignore"):
        _, count, of, beyond = RULES[key]
        return np.asarray(_of(z > beyond, count, of) | _of(z < -beyond, count, of))


def together(n: int, keys: tuple[str, ...], baseline: int | None = None) -> float:
    """Chance that at least one of the named rules raises at least one false alarm in n batches of random variation alone.

    n: 2 or more; beyond 5000 it grows as for stretches that know nothing of each other. keys: rules of RULES. baseline: how many of the first batches the centre and the sigma (from moving ranges)
    come from; None where they are known. Returns 0 to 1, simulated over fixed series, 240,000 batches in all (at 120 batches a
    standard error of at most 1.1 percentage points). Raises UnknownName, KitError for a baseline that does not fit.
    """
    base, tried = None if baseline is None else int(baseline), min(int(n), 5000)
    if base is not None and n > tried:
        base = min(base, tried)
    heard = np.logical_or.reduce([_noise_speaks(tried, base, key) for key in keys]).mean()
    return float(1 - (1 - heard) ** (n / tried)) if n > tried else float(heard)


@lru_cache(maxsize=256)
def _noise_speaks(n: int, baseline: int | None, key: str) -> np.ndarray:
    """In which of the simulated series the rule is violated at all."""
    return np.asarray(alarms(_judged_noise(n, baseline), key).any(axis=1))


@lru_cache(maxsize=4)
def _judged_noise(n: int, baseline: int | None) -> np.ndarray:
    x = _noise(n)
    if baseline is None:
        return x
    need_said(2 <= baseline <= n, "baseline", baseline=baseline, n=n, of="batches")
    base = x[:, :baseline]
    sigma = np.abs(np.diff(base, axis=1)).mean(axis=1, keepdims=True) / D2
    return (x - base.mean(axis=1, keepdims=True)) / sigma


@lru_cache(maxsize=4)
def _noise(n: int) -> np.ndarray:
    need_said(n >= 2, "one batch simulated", n=n)
    return np.random.default_rng(7).normal(size=(240_000 // n, n))

"""Charts with a memory, for small lasting changes: EWMA and CUSUM, with how long each waits."""

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

import numpy as np
from scipy.signal import lfilter
from scipy.special import ndtr

from kit import tables
from kit.batches.constants import constants
from kit.errors import need, need_between
from kit.working import Result, step


@dataclass(frozen=True)
class Ewma(Result):
    """`smoothed` against `low` and `high`, arrays over batches; `out` holds the 0-based batches outside."""

    values: np.ndarray
    smoothed: np.ndarray
    centre: float
    sigma: float
    low: np.ndarray
    high: np.ndarray
    out: tuple[int, ...]
    batches_between_false_alarms: float


@dataclass(frozen=True)
class Cusum(Result):
    """`up` and `down` in sigmas against `limit`; `started` says for each crossing when that sum last stood at zero (0-based first batch after)."""

    values: np.ndarray
    up: np.ndarray
    down: np.ndarray
    limit: float
    slack: float
    centre: float
    sigma: float
    out: tuple[int, ...]
    started: tuple[int, ...]
    batches_between_false_alarms: float
    batches_to_see_one_sigma: float


def baseline_of(values, centre, sigma, baseline) -> tuple[np.ndarray, float, float]:
    """Values without gaps, centre and sigma: as given, else mean and mean moving range / d2 of the first `baseline` batches."""
    x = np.asarray(values, float)
    need(
        x.ndim == 1 and len(x) >= 2 and bool(np.isfinite(x).all()),
        "at least two finite values in a row; leave batches without a value out first",
    )
    base = x[:baseline]
    need(
        (centre is not None and sigma is not None) or len(base) >= 3,
        "centre and sigma need a baseline of at least three batches",
    )
    m = float(base.mean()) if centre is None else float(centre)
    s = float(np.abs(np.diff(base)).mean() / constants(2).d2) if sigma is None else float(sigma)
    need(
        s > 0,
        "the baseline does not vary, so nothing can be judged against it; give a sigma, or a baseline with real figures",
    )
    return x, m, s


def ewma(
    values,
    *,
    weight: float = 0.2,
    width: float = 3.0,
    centre: float | None = None,
    sigma: float | None = None,
    baseline: int | None = None,
    settled_limits: bool = False,
    unit: str = "",
) -> Ewma:
    """z_t = w x_t + (1 − w) z_{t−1}, from the centre. Limits centre ± L sigma √(w/(2 − w) (1 − (1 − w)^{2t})).

    `settled_limits` uses their final width from the first batch on. Small weights see small changes, and see them late.
    """
    w = need_between("weight of the newest batch", weight, 0.01, 1.0)
    width = need_between("width of the limits in sigmas", width, 0.5, 6)
    x, m, s = baseline_of(values, centre, sigma, baseline)
    z = lfilter([w], [1, w - 1], x - m) + m
    t = np.arange(1, len(x) + 1)
    half = (
        width
        * s
        * np.sqrt(w / (2 - w) * (1 if settled_limits else 1 - (1 - w) ** (2 * t)))
        * np.ones(len(x))
    )
    settled = width * s * sqrt(w / (2 - w))
    steps = (
        step(
            "last smoothed value",
            "Z = w × x + (1 − w) × p",
            z[-1],
            unit,
            w=(w, "", "weight"),
            x=(x[-1], unit, "last batch"),
            p=(z[-2], unit, "smoothed before"),
        ),
        step(
            "settled half width",
            "H = L × s × √(w / (2 − w))",
            settled,
            unit,
            L=(width, "", "width"),
            s=(s, unit, "sigma"),
            w=(w, "", "weight"),
        ),
    )
    wait = ewma_run_length(w, width)
    notes = (
        f"on pure noise with centre and sigma known, one false alarm in about {wait:.0f} batches",
    )
    return Ewma(
        x,
        z,
        m,
        s,
        m - half,
        m + half,
        tuple(int(i) for i in np.flatnonzero(np.abs(z - m) > half)),
        wait,
        own_notes=notes,
        own_sources=(tables.cite("nist_handbook", "EWMA chart", "memory"),),
        own_working=steps,
    )


def cusum(
    values,
    *,
    slack: float = 0.5,
    limit: float = 5.0,
    centre: float | None = None,
    sigma: float | None = None,
    baseline: int | None = None,
) -> Cusum:
    """Tabular CUSUM in sigmas: up_t = max(0, up_{t−1} + z_t − k), down_t = max(0, down_{t−1} − z_t − k); a sum above h speaks."""
    slack, limit = (
        need_between("slack k in sigmas", slack, 0, 3),
        need_between("limit h in sigmas", limit, 0.5, 50),
    )
    x, m, s = baseline_of(values, centre, sigma, baseline)
    z = (x - m) / s
    up, down = (_held(side * z - slack) for side in (1, -1))
    out = np.flatnonzero((up > limit) | (down > limit))
    started = tuple(
        int(np.flatnonzero(np.concatenate([[0.0], sums[: i + 1]]) == 0)[-1])
        for i in out
        for sums in ((up if up[i] > limit else down),)
    )
    wait, see = cusum_run_length(slack, limit), cusum_run_length(slack, limit, 1.0)
    steps = (
        step(
            "sum upwards at the last batch",
            "S = max(0, p + (x − m) / s − k)",
            up[-1],
            "sigma",
            p=(up[-2], "sigma", "sum before"),
            x=(x[-1], "", "last batch"),
            m=(m, "", "centre"),
            s=(s, "", "sigma"),
            k=(slack, "sigma", "slack"),
        ),
    )
    notes = (
        f"on pure noise with centre and sigma known, one false alarm in about {wait:.0f} batches; a lasting change of one sigma is seen after "
        f"about {see:.0f}",
    )
    return Cusum(
        x,
        up,
        down,
        limit,
        slack,
        m,
        s,
        tuple(int(i) for i in out),
        started,
        wait,
        see,
        own_notes=notes,
        own_sources=(tables.cite("nist_handbook", "CUSUM chart", "memory"),),
        own_working=steps,
    )


def _held(increments: np.ndarray) -> np.ndarray:
    """Running sum that never goes below zero: the plain sum less its lowest value so far."""
    total = np.cumsum(increments)
    return total - np.minimum(np.minimum.accumulate(total), 0.0)


def cusum_run_length(slack: float, limit: float, shift: float = 0.0, sides: int = 2) -> float:
    """Mean number of batches until a sum crosses, for a lasting `shift` in sigmas from the start (two sides, or the upper one alone)."""
    up = _run_length_held(slack, limit, shift)
    return up if sides == 1 else 1 / (1 / up + 1 / _run_length_held(slack, limit, -shift))


@lru_cache(maxsize=128)
def _run_length_held(slack: float, limit: float, shift: float) -> float:
    """One side, by Gauss-Legendre on the integral equation of the run length with a lump at zero."""
    node, weight = np.polynomial.legendre.leggauss(60)
    s, w = limit * (node + 1) / 2, limit * weight / 2
    states = np.concatenate([[0.0], s])
    to = np.exp(-((s[None, :] - states[:, None] + slack - shift) ** 2) / 2) / sqrt(2 * np.pi) * w
    zero = ndtr(slack - shift - states)[:, None]
    return float(
        np.linalg.solve(np.eye(len(states)) - np.hstack([zero, to]), np.ones(len(states)))[0]
    )


@lru_cache(maxsize=128)
def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Mean number of batches until an EWMA with settled limits crosses, for a lasting `shift` in sigmas from the start."""
    half = width * sqrt(weight / (2 - weight))
    node, w = np.polynomial.legendre.leggauss(80)
    z, w = half * node, half * w
    jump = (
        np.exp(-(((z[None, :] - (1 - weight) * z[:, None]) / weight - shift) ** 2) / 2)
        / (weight * sqrt(2 * np.pi))
        * w
    )
    lengths = np.linalg.solve(np.eye(len(z)) - jump, np.ones(len(z)))
    first = np.exp(-((z / weight - shift) ** 2) / 2) / (weight * sqrt(2 * np.pi)) * w
    return float(1 + first @ lengths)

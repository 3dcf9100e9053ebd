"""Does a stable stage fit between the limits the plant set itself, and how sure is that from so few batches?"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.stats import chi2, norm

from kit import tables
from kit.batches.charts import i_mr
from kit.errors import need, need_between
from kit.working import Result, step


@dataclass(frozen=True)
class Capability(Result):
    """Cp and Cpk with intervals; all None where the series is not stable, because then they describe no process that exists."""

    stable: bool
    n: int
    mean: float
    sigma: float
    cp: float | None
    cp_interval: tuple[float, float] | None
    cpk: float | None
    cpk_interval: tuple[float, float] | None


def capability(
    values,
    low: float | None,
    high: float | None,
    *,
    level: float = 0.95,
    rules=("beyond 3",),
    unit: str = "",
) -> Capability:
    """From single batches. Stable means that `rules` are silent on the individuals chart; sigma is the mean moving range / d2."""
    x = np.asarray(values, float)
    x = x[np.isfinite(x)]
    need(
        len(x) >= 10,
        f"{len(x)} batches say nothing about capability; wait for at least 10, better 50",
    )
    chart = i_mr(x, rules=rules, unit=unit)
    sigma = chart.phases[0].sigma
    need(sigma > 0, "the values do not vary at all: copied or rounded figures have no capability")
    if not chart.stable:
        at = ", ".join(str(a.at + 1) for a in chart.alarms[:5])
        return Capability(
            False,
            len(x),
            float(x.mean()),
            sigma,
            None,
            None,
            None,
            None,
            own_notes=(
                f"not stable (batch {at}): find and settle that first; a capability of an unstable stage would describe nothing",
            ),
            own_sources=chart.sources,
            own_working=chart.working,
        )
    return capability_of(float(x.mean()), sigma, len(x), low, high, level=level, unit=unit)


def capability_of(
    mean: float,
    sigma: float,
    n: int,
    low: float | None,
    high: float | None,
    *,
    level: float = 0.95,
    unit: str = "",
) -> Capability:
    """From a mean and a standard deviation of n values that are taken as stable. One of the limits may be None: then there is no Cp.

    Interval of Cp: chi-square of n − 1; of Cpk: the usual normal approximation. With sigma from moving ranges they are a little too narrow.
    """
    sigma = need_between("standard deviation", sigma, 1e-300, 1e300)
    level = need_between("confidence", level, 0.5, 0.999)
    need(n >= 2, "at least two values")
    need(
        low is not None or high is not None,
        "at least one limit is needed: the plant's own, not the control limits",
    )
    need(
        low is None or high is None or low < high,
        f"the lower limit {low} is not below the upper limit {high}",
    )
    steps, cp = [], None
    cp_interval: tuple[float, float] | None = None
    tail = (1 - level) / 2
    if low is not None and high is not None:
        cp = (high - low) / (6 * sigma)
        lowest, highest = (cp * sqrt(chi2.ppf(p, n - 1) / (n - 1)) for p in (tail, 1 - tail))
        cp_interval = lowest, highest
        steps.append(
            step(
                "Cp",
                "C = (U − L) / (6 × s)",
                cp,
                "",
                U=(high, unit, "upper limit"),
                L=(low, unit, "lower limit"),
                s=(sigma, unit, "sigma"),
            )
        )
    down = np.inf if low is None else (mean - low) / (3 * sigma)
    up = np.inf if high is None else (high - mean) / (3 * sigma)
    cpk, what = float(min(down, up)), "Cpk, to the nearer limit"
    m, s = (mean, unit, "mean"), (sigma, unit, "sigma")
    if low is not None and down <= up:
        edge = (low, unit, "nearer limit")
        steps.append(step(what, "K = (m − L) / (3 × s)", cpk, m=m, L=edge, s=s))
    elif high is not None:
        edge = (high, unit, "nearer limit")
        steps.append(step(what, "K = (U − m) / (3 × s)", cpk, m=m, U=edge, s=s))
    half = norm.ppf(1 - tail) * sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    return Capability(
        True,
        n,
        mean,
        sigma,
        cp,
        cp_interval,
        cpk,
        (cpk - half, cpk + half),
        own_notes=(f"from {n} batches: read the interval, not the figure",),
        own_sources=(tables.cite("nist_handbook", "process capability", "memory"),),
        own_working=tuple(steps),
    )

"""Between which limits does most of a normal process lie, for sure enough? The exact two-sided factor, by integration."""

from functools import lru_cache
from math import sqrt

import numpy as np
from scipy import stats
from scipy.optimize import brentq

from kit.errors import need, need_between


@lru_cache(maxsize=256)
def tolerance_factor(n: int, share: float, confidence: float) -> float:
    """k such that mean ± k·s of `n` values holds at least `share` of a normal process with `confidence`. Both 0 to 1. n from 2.

    The mean of the sample misses by u/√n; at each u the share is kept by a half width r(u) of true spreads, so k s ≥ r σ is a chi-square
    statement, averaged over u.
    """
    need(n >= 2, f"{n} values give no tolerance interval; give at least two")
    need_between("share", share, 0.01, 0.9999)
    need_between("confidence", confidence, 0.01, 0.9999)
    nodes, weights = np.polynomial.legendre.leggauss(80)
    u = 4 * (nodes + 1)
    half_width_2 = stats.ncx2.ppf(share, 1, u**2 / n)
    weight = 8 * weights * stats.norm.pdf(u)

    def missing(k):
        return float(weight @ stats.chi2.sf((n - 1) * half_width_2 / k**2, n - 1)) - confidence

    start = sqrt(half_width_2[0])
    stop = 2 * start
    while missing(stop) < 0:
        stop *= 2
    return float(brentq(missing, start / 2, stop, xtol=1e-12, rtol=1e-12))

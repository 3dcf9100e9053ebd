"""How wide is the range of n normal values? The constants of control charts, computed rather than copied from a table."""

from functools import cache
from math import pi, sqrt

import numpy as np
import scipy as sp

from kit.faults import need_said

MOST = 100


@cache
def constants(n: int) -> tuple[float, float]:
    """d2 and d3: mean and standard deviation, in sigmas, of the range of `n` values, 2 to 100.

    P(range ≤ w) = n ∫ φ(x) (Φ(x + w) − Φ(x))^(n−1) dx; then E[range] = ∫ 1 − P dw and E[range²] = 2 ∫ w (1 − P) dw.
    """
    known = isinstance(n, (int, np.integer)) and 2 <= n <= MOST
    need_said(known, "size of a subgroup", n=n, most=MOST)
    x = np.linspace(-9, 9, 721)
    node, weight = np.polynomial.legendre.leggauss(160)
    w, weight = 8 * (node + 1), 8 * weight
    density = n * np.exp(-(x**2) / 2) / sqrt(2 * pi)
    above = 1 - np.trapezoid(
        density * (sp.special.ndtr(x + w[:, None]) - sp.special.ndtr(x)) ** (n - 1), x, axis=1
    )
    d2, square = float(weight @ above), float(2 * weight @ (w * above))
    return d2, sqrt(square - d2**2)


D2, _ = constants(2)
"""mean of moving ranges of two, in sigmas"""

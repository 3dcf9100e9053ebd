"""How wide is the range of n normal values? The constants of control charts, computed rather than copied from a table."""

from dataclasses import dataclass
from functools import cache
from math import pi, sqrt

import numpy as np
from scipy.special import gammaln, ndtr

from kit.errors import need

MOST = 100


@dataclass(frozen=True)
class Constants:
    """For subgroups of n values. d2, d3: mean and standard deviation of the range in sigmas; c4: mean of the sample deviation in sigmas.

    The rest turn a mean range (A2, D3, D4, E2) or a mean deviation (A3, B3, B4) into limits three sigmas wide.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def A2(self) -> float:
        return 3 / (self.d2 * sqrt(self.n))

    @property
    def A3(self) -> float:
        return 3 / (self.c4 * sqrt(self.n))

    @property
    def E2(self) -> float:
        return 3 / self.d2

    @property
    def D3(self) -> float:
        return max(0.0, 1 - 3 * self.d3 / self.d2)

    @property
    def D4(self) -> float:
        return 1 + 3 * self.d3 / self.d2

    @property
    def B3(self) -> float:
        return max(0.0, 1 - 3 * sqrt(1 - self.c4**2) / self.c4)

    @property
    def B4(self) -> float:
        return 1 + 3 * sqrt(1 - self.c4**2) / self.c4


@cache
def constants(n: int) -> Constants:
    """Constants for subgroups of `n` values, 2 to 100.

    P(range ≤ w) = n ∫ φ(x) (Φ(x + w) − Φ(x))^(n−1) dx; then E[range] = ∫ 1 − P dw and E[range²] = 2 ∫ w (1 − P) dw.
    """
    need(
        isinstance(n, (int, np.integer)) and 2 <= n <= MOST,
        f"a subgroup of {n!r} values; chart constants are for 2 to {MOST} values",
    )
    x = np.linspace(-9, 9, 721)
    node, weight = np.polynomial.legendre.leggauss(160)
    w, weight = 8 * (node + 1), 8 * weight
    density = n * np.exp(-(x**2) / 2) / sqrt(2 * pi)
    above = 1 - np.trapezoid(density * (ndtr(x + w[:, None]) - ndtr(x)) ** (n - 1), x, axis=1)
    d2, square = float(weight @ above), float(2 * weight @ (w * above))
    c4 = sqrt(2 / (n - 1)) * float(np.exp(gammaln(n / 2) - gammaln((n - 1) / 2)))
    return Constants(int(n), d2, sqrt(square - d2**2), c4)

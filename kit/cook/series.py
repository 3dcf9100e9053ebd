"""What does the exact solution say? Heat into a long cylinder, a slab and a short cylinder, from one temperature, by Bessel series.

theta is the share of the first temperature difference that is left: theta = (T - medium) / (start - medium).
Bi = h R / k, Fo = a t / R² (R radius; for the slab half its thickness). These are the oracle of the numerical method,
and the quickest way to a come-up table where nothing evaporates.
"""

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from kit.errors import need

TERMS, SHORTEST = 60, 1e-3


@lru_cache(maxsize=256)
def cylinder_roots(biot: float, terms: int = TERMS) -> np.ndarray:
    """The first roots of z J1(z) = Bi J0(z); biot may be inf (zeros of J0)."""
    need(
        biot > 0,
        f"Biot number is {biot:g}; it must be above 0: without a coefficient no heat crosses the surface",
    )
    j0_zeros = jn_zeros(0, terms)
    if np.isinf(biot):
        return j0_zeros
    left = np.concatenate([[0.0], jn_zeros(1, terms - 1)])
    return _roots(lambda z: z * j1(z) - biot * j0(z), left, j0_zeros)


def _roots(crosses, left, right) -> np.ndarray:
    """The one root between each pair of ends."""
    return np.array([brentq(crosses, a, b, xtol=1e-14, rtol=1e-14) for a, b in zip(left, right)])


@lru_cache(maxsize=256)
def slab_roots(biot: float, terms: int = TERMS) -> np.ndarray:
    """The first roots of z tan(z) = Bi."""
    need(biot > 0, f"Biot number is {biot:g}; it must be above 0")
    n = np.arange(terms)
    if np.isinf(biot):
        return (n + 0.5) * np.pi
    return _roots(lambda z: z * np.sin(z) - biot * np.cos(z), n * np.pi, (n + 0.5) * np.pi)


def one_term(biot: float) -> tuple[float, float]:
    """zeta1 and C1 of the one-term solution at the core, good to 1 % or so for Fo above 0.2."""
    zeta = float(cylinder_roots(biot)[0])
    return zeta, float(2 / zeta * j1(zeta) / (j0(zeta) ** 2 + j1(zeta) ** 2))


def cylinder_theta(fourier, biot: float, radius_fraction: float = 0.0):
    """theta at a radius (0 core, 1 surface) of an endless cylinder; `fourier` of any shape.

    Off the core the series is used from Fo 0.001 on, where its terms reach 1e-15; earlier times are refused. At the core nothing has
    happened by then.
    """
    z, weights = _cylinder(biot, lambda z: j0(z * radius_fraction))
    return _sum(fourier, z, weights, radius_fraction == 0)


def cylinder_mean_theta(fourier, biot: float):
    """theta of the whole cross-section: the share of the heat still to come."""
    z, weights = _cylinder(biot, lambda z: 2 * j1(z) / z)
    return _sum(fourier, z, weights, False)


def slab_theta(fourier, biot: float):
    """theta at the middle of an endless slab."""
    z = slab_roots(biot)
    return _sum(fourier, z, 4 * np.sin(z) / (2 * z + np.sin(2 * z)), deep=True)


def short_theta(fourier, biot: float, length_over_diameter: float):
    """theta at the very middle of a cylinder with two flat ends: the product of cylinder and slab (exact for a steady medium)."""
    return cylinder_theta(fourier, biot) * slab_theta(
        np.asarray(fourier) / length_over_diameter**2, biot * length_over_diameter
    )


def fourier_to_reach(theta: float, biot: float, length_over_diameter: float = np.inf) -> float:
    """The Fourier number at which the core has come to `theta` (0 < theta < 1)."""
    need(
        0 < theta < 1,
        f"theta is {theta:g}; a core can only reach a temperature between its start and the medium's",
    )

    def left(fourier):
        core = (
            cylinder_theta(fourier, biot)
            if np.isinf(length_over_diameter)
            else short_theta(fourier, biot, length_over_diameter)
        )
        return float(core) - theta

    high = 1.0
    while left(high) > 0:
        high *= 2
    return brentq(left, SHORTEST / 10, high, xtol=1e-12, rtol=1e-12)


def _cylinder(biot, shape):
    z = cylinder_roots(biot)
    return z, 2 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2) * shape(z)


def _sum(fourier, roots, weights, deep):
    fo = np.asarray(fourier, float)
    need(bool(np.all(fo >= 0)), "Fourier numbers are times; they cannot lie below 0")
    early = fo < SHORTEST
    need(
        deep or bool(np.all(~early | (fo == 0))),
        f"the series needs Fo of {SHORTEST:g} or more away from the core; take a finer numerical run for earlier times",
    )
    return np.where(early, 1.0, np.exp(-np.multiply.outer(fo, roots**2)) @ weights)[()]

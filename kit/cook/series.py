"""What does the exact solution say? The core of a long cylinder that is brought to one temperature, by its Bessel series.

theta is the share of the first temperature difference that is left: theta = (T - medium) / (start - medium).
Bi = h R / k, Fo = a t / R². Nothing evaporates: water, steam near boiling, a moisture-proof casing.
"""

from functools import lru_cache

import numpy as np
import scipy as sp

from kit.cook.link import Link
from kit.errors import need, need_all_between, need_between
from kit.faults import need_said

TERMS, SHORTEST = 60, 1e-3


@lru_cache(maxsize=256)
def cylinder_roots(biot: float) -> np.ndarray:
    """The first roots of z J1(z) = Bi J0(z); biot above 0, may be inf (zeros of J0)."""
    j0_zeros = sp.special.jn_zeros(0, TERMS)
    if np.isinf(biot):
        return j0_zeros
    left = np.append(0.0, sp.special.jn_zeros(1, TERMS - 1))

    def crosses(z):
        return z * sp.special.j1(z) - biot * sp.special.j0(z)

    ends = zip(left, j0_zeros)
    return np.array([sp.optimize.brentq(crosses, a, b, xtol=1e-14, rtol=1e-14) for a, b in ends])


def weights(roots):
    """Amplitude of each term at the core."""
    return (
        2 / roots * sp.special.j1(roots) / (sp.special.j0(roots) ** 2 + sp.special.j1(roots) ** 2)
    )


def core_theta(fourier: float, biot: float) -> float:
    """theta at the core; nothing has happened there by Fo 0.001, where the series still has large terms."""
    roots = cylinder_roots(biot)
    return float(np.exp(-fourier * roots**2) @ weights(roots)) if fourier >= SHORTEST else 1.0


def fourier_to_reach(theta: float, biot: float) -> float:
    """The Fourier number at which the core has reached `theta` (0 < theta < 1)."""
    high = 1.0
    while core_theta(high, biot) > theta:
        high *= 2
    return sp.optimize.brentq(
        lambda fo: core_theta(fo, biot) - theta, 1e-4, high, xtol=1e-12, rtol=1e-12
    )


def come_up_min(
    diameters_mm, medium_C: float, h_W_per_m2K: float, target_C: float, link: Link
) -> np.ndarray:
    """Minutes until the core is at a target in one steady medium, by diameter; works for cooling as well.

    diameters_mm: 3 to 400. medium_C: -40 to 150 °C. h_W_per_m2K: above 0; inf holds the skin at the medium's temperature. target_C: of the core,
    -30 to 120 °C. link: lends start, conductivity, density and heat capacity. Raises OutOfRange for a target that the medium can never bring.
    """
    start = float(link.start_C)
    medium = need_between("medium temperature", medium_C, -40, 150)
    target = need_between("target", target_C, -30, 120)
    between = min(start, medium) < target < max(start, medium)
    need_said(between, "target never passed", target=target, start=start, medium=medium)
    need(h_W_per_m2K > 0, "the coefficient must be above 0 W/(m² K); inf is allowed")
    sizes = np.atleast_1d(need_all_between("diameter in mm", diameters_mm, 3, 400))
    need(sizes.size > 0, "give at least one diameter")
    theta, k = (target - medium) / (start - medium), float(link.conductivity_W_per_mK)
    radii = sizes / 2000
    fourier = [fourier_to_reach(theta, float(h_W_per_m2K * R / k)) for R in radii]
    return np.array(fourier) * radii**2 / float(link.diffusivity_m2_per_s) / 60

"""How many batches does it take to see a given change?"""

from dataclasses import dataclass
from functools import cache
from math import ceil, isfinite, sqrt

import numpy as np
import scipy as sp

from kit import tables
from kit.errors import need_between
from kit.faults import need_said
from kit.working import Result, notes_of, working_of

POWER, ALPHA = 0.8, 0.05
"""chance to see the change, and to see one where there is none"""


@dataclass(frozen=True)
class Needed(Result):
    """Batches before and again after. `exact` is the unrounded answer of the power equation."""

    per_side: int
    exact: float


@cache
def _nodes() -> tuple[np.ndarray, np.ndarray]:
    return sp.special.roots_legendre(512)


def beyond(edge: float, dof: float, shift):
    """Chance that a noncentral t lies beyond `edge` on either side, in the shape of `shift`; dof from 1.

    The normal chance at each spread that the sample may have, averaged over these: to 1e-6 for every shift, where SciPy's own noncentral t gives no
    number at scattered places, at one degree of freedom where the chance is still a half.
    """
    middle = sqrt(dof)
    low, high = max(middle - 8.5, 0.0), middle + 8.5  # of a chi distribution nothing lies outside
    at, weight = _nodes()
    spread = low + (at + 1) * (high - low) / 2
    log_density = (dof - 1) * np.log(spread) - spread**2 / 2
    weight = weight * np.exp(log_density - log_density.max())
    apart, cut = np.asarray(shift, float)[..., None], edge * spread / middle
    past = sp.special.ndtr(apart - cut) + sp.special.ndtr(-apart - cut)
    return (past @ (weight / weight.sum()))[()]


def power(effect: float, per_side: float) -> float:
    """Chance to see a change of `effect` standard deviations with `per_side` batches before and after (two-sided t test)."""
    dof = 2 * per_side - 2
    edge = sp.special.stdtrit(dof, 1 - ALPHA / 2)
    return float(beyond(edge, dof, effect * sqrt(per_side / 2)))


def batches_needed(change: float, sd: float) -> Needed:
    """Batches on each side so that a change of that size, in the unit of the standard deviation, is seen with a chance of POWER."""
    sd = need_between("standard deviation", sd, 1e-12, 1e12)
    need_said(isfinite(change) and change != 0, "no change to see", change=change)
    d = abs(change) / sd
    most = 100 / d**2 + 10
    need_said(most <= 1e7, "change too small", sds=d)
    exact = 2.0
    if power(d, 2) < POWER:
        exact = float(sp.optimize.brentq(lambda n: power(d, n) - POWER, 2, most))
    return Needed(
        ceil(exact - 1e-9),
        exact,
        own_notes=notes_of("batches needed", {"few": exact < 5}, alpha_pct=100 * ALPHA),
        own_sources=(tables.computed("non-central t"),),
        own_working=working_of("batches needed", d=d, c=abs(change), s=sd),
    )

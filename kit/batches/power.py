"""How many batches does it take to see a given change?"""

from dataclasses import dataclass
from math import ceil, isfinite, isnan, sqrt

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


def power(effect: float, per_side: float) -> float:
    """Chance to see a change of `effect` standard deviations with `per_side` batches before and after (two-sided t test)."""
    dof, shift = 2 * per_side - 2, effect * sqrt(per_side / 2)
    edge = sp.stats.t.ppf(1 - ALPHA / 2, dof)
    found = float(sp.stats.nct.sf(edge, dof, shift) + sp.stats.nct.cdf(-edge, dof, shift))
    # far out the library gives up, where the answer is 1
    return 1.0 if isnan(found) and shift > edge + 5 else found


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

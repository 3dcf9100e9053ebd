"""How many batches does it take to see a given change?"""

from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy.optimize import brentq
from scipy.stats import nct
from scipy.stats import t as t_curve

from kit import tables
from kit.errors import OutOfRange, need, need_between
from kit.working import Result, step


@dataclass(frozen=True)
class Needed(Result):
    """Batches before and again after. `exact` is the unrounded answer of the power equation."""

    per_side: int
    exact: float
    effect: float
    """change in standard deviations"""
    power: float
    alpha: float


def power(effect, per_side, alpha: float = 0.05):
    """Chance to see a change of `effect` standard deviations with `per_side` batches before and after (two-sided t test); arrays welcome."""
    n, d = np.asarray(per_side, float), np.asarray(effect, float)
    dof, shift = 2 * n - 2, d * np.sqrt(n / 2)
    edge = t_curve.ppf(1 - alpha / 2, dof)
    found = nct.sf(edge, dof, shift) + nct.cdf(-edge, dof, shift)
    # far out the library gives up, where the answer is 1
    return np.where(np.isnan(found) & (np.abs(shift) > edge + 5), 1.0, found)


def batches_needed(
    change: float,
    sd: float,
    *,
    power_wanted: float = 0.8,
    alpha: float = 0.05,
    per_lot: int = 1,
    lot_share: float = 0.0,
    unit: str = "% points",
) -> Needed:
    """Batches on each side so that a change of that size is seen with that chance.

    Batches of one lot resemble one another: with `per_lot` batches to a lot and `lot_share` of the variance between lots (0 to 1), the
    number grows by 1 + (per_lot − 1) lot_share. A hundred batches from two lots are hardly more than two lots.
    """
    sd = need_between("standard deviation", sd, 1e-12, 1e12)
    need(
        np.isfinite(change) and change != 0,
        f"a change of {change} {unit} cannot be looked for; give the smallest change worth knowing about",
    )
    need_between("power", power_wanted, 0.05, 0.999)
    need_between("chance of a false alarm", alpha, 1e-6, 0.5)
    lot_share = need_between("share of the variance between lots", lot_share, 0, 1)
    need(per_lot >= 1, "at least one batch to a lot")
    d = abs(change) / sd
    if float(power(d, 2, alpha)) >= power_wanted:
        exact = 2.0
    else:
        top = 4 / d**2 * 25 + 10
        if top > 1e7:
            raise OutOfRange(
                f"a change of {d:.2g} standard deviations would take millions of batches; look for a larger change, or weigh better"
            )
        exact = float(brentq(lambda n: float(power(d, n, alpha)) - power_wanted, 2, top))
    grown = 1 + (per_lot - 1) * lot_share
    notes = [
        f"seen means: a t test at {100 * alpha:g} % speaks; it says nothing about why the level changed"
    ]
    if grown > 1:
        notes.append(
            f"batches of one lot resemble one another: {grown:.2f} times as many are needed as if they did not"
        )
    if exact < 5:
        notes.append("with so few batches the standard deviation itself is hardly known; take more")
    steps = (
        step(
            "change in standard deviations",
            "d = c / s",
            d,
            "",
            c=(abs(change), unit, "change"),
            s=(sd, unit, "standard deviation of a batch"),
        ),
        step(
            "batches on each side, rounded up",
            "n = e × (1 + (m − 1) × r)",
            exact * grown,
            "batches",
            e=(exact, "batches", "power equation"),
            m=(per_lot, "", "batches to a lot"),
            r=(lot_share, "", "share between lots"),
        ),
    )
    return Needed(
        ceil(exact * grown - 1e-9),
        exact,
        d,
        power_wanted,
        alpha,
        own_notes=tuple(notes),
        own_sources=(tables.cite("kit", "non-central t", "computed"),),
        own_working=steps,
    )

"""How far do lengths or weights scatter, how many fall outside, and what does the giveaway cost?

The values are taken as a random sample of one process. Intervals of the mean and the spread are exact
for a normal process; the counted share has an exact binomial interval that assumes no shape.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, isfinite, sqrt

import numpy as np
from scipy import stats
from scipy.optimize import brentq
from scipy.special import ndtr

from kit.casing.measurements import GRAMS, MeasuredColumn, far_out
from kit.errors import OutOfRange, need, need_between
from kit.tables import number
from kit.working import Result, Step, step

_LAW = (
    "The average and the single pack are both held by law to what is declared. "
    "The rule of your own country and its inspector decide; this compares numbers only."
)


@dataclass(frozen=True)
class Outside:
    """Share outside the wanted limits, in percent, with an interval at the scatter's confidence."""

    counted: int
    counted_pct: float
    counted_low_pct: float
    counted_high_pct: float
    fitted_pct: float | None = None
    """of a normal process with this mean and spread; None where there is no spread to fit"""
    fitted_low_pct: float | None = None
    fitted_high_pct: float | None = None


@dataclass(frozen=True)
class Giveaway:
    """Mean weight above (negative: below) a declared weight, per link or pack as measured."""

    declared_g: float
    mean_g: float
    """packed: the measured mean times the yield still to come"""
    g: float
    low_g: float
    high_g: float
    below_declared: int
    money_per_1000: float | None
    """per 1000 pieces at the person's price; None without one"""
    money_low: float | None
    money_high: float | None


@dataclass(frozen=True)
class Scatter(Result):
    """A sample described. `unit` is g or mm."""

    unit: str
    n: int
    mean: float
    mean_low: float
    mean_high: float
    sd: float
    sd_low: float
    sd_high: float
    least: float
    greatest: float
    confidence_pct: float
    tolerance_share_pct: float
    tolerance_low: float
    tolerance_high: float
    """this much of a normal process lies between these, with the confidence"""
    outside: Outside | None
    giveaway: Giveaway | None
    normal_p: float | None
    """Shapiro-Wilk; None below 8 or above 5000 values, or without spread"""

    @property
    def cv_pct(self) -> float:
        return 100 * self.sd / self.mean


def scatter(
    measured: MeasuredColumn,
    *,
    low: float | None = None,
    high: float | None = None,
    declared_g: float | None = None,
    yield_pct: float = 100.0,
    price_per_kg: float | None = None,
    currency: str = "",
    confidence_pct: float = 95.0,
    tolerance_share_pct: float = 95.0,
) -> Scatter:
    """How far a sample of link weights or lengths scatters, and what of it is given away.

    measured: two values or more, g or mm
    low: lower limit wanted, in the unit of the sample
    high: upper limit wanted, in the unit of the sample
    declared_g: declared weight of a piece, 0.1 to 1,000,000 g
    yield_pct: packed weight of the measured weight, 20 to 150 % (links weighed raw lose weight in the cook)
    price_per_kg: of what is given away, the person's own, 0 or more
    currency: its name, for the words
    confidence_pct: of the intervals, 50 to 99.9 %
    tolerance_share_pct: share of all links that the tolerance interval covers, 50 to 99.9 %
    Returns Scatter: mean, standard deviation, intervals, share outside the limits, giveaway.
    Raises OutOfRange for fewer than two values, limits the wrong way round, a price without a declared weight.
    Valid for independent links; a note says where the sample does not look normal.
    Source: NIST/SEMATECH e-Handbook of statistical methods, tolerance intervals; data/reference/casing.csv.
    """
    values, n, unit = measured.values, len(measured), measured.unit
    need(n >= 2, f"{n} measurement tells nothing about scatter; give at least two, better thirty")
    conf = need_between("confidence_pct", confidence_pct, 50, 99.9) / 100
    share = need_between("tolerance_share_pct", tolerance_share_pct, 50, 99.9) / 100
    mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
    if sd < 1e-12 * abs(mean):
        sd = 0.0
    t = float(stats.t.ppf(0.5 + conf / 2, n - 1))
    half = t * sd / sqrt(n)
    x2 = stats.chi2.ppf([0.5 - conf / 2, 0.5 + conf / 2], n - 1)
    sd_low, sd_high = sd * sqrt((n - 1) / x2[1]), sd * sqrt((n - 1) / x2[0])
    k = tolerance_factor(n, share, conf)
    normal_p = float(stats.shapiro(values).pvalue) if 8 <= n <= 5000 and sd > 0 else None
    s, count, factor = (sd, unit), (n, ""), (k, "", "two-sided tolerance factor")
    mean_half, student = "Half width of the interval of the mean", (t, "", "Student, two-sided")
    reach, chi = "Half width of the tolerance interval", "chi-square"
    work = [
        step(mean_half, "h = t × s / √(n)", half, unit, key="mean", t=student, s=s, n=count),
        *(
            step(
                f"{end} end of the spread",
                f"{symbol} = s × √((n − 1) / x)",
                answer,
                unit,
                s=s,
                n=count,
                x=(x, "", chi),
            )
            for end, symbol, answer, x in (
                ("Lower", "s1", sd_low, x2[1]),
                ("Upper", "s2", sd_high, x2[0]),
            )
        ),
        step(reach, "w = k × s", k * sd, unit, key="tolerance", k=factor, s=s),
    ]
    outside = None if low is None and high is None else _outside(values, mean, sd, low, high, conf)
    giveaway = None
    if declared_g is not None:
        need(unit == GRAMS, "a declared weight is compared with weights; these are lengths")
        giveaway, steps = _giveaway(
            values, mean, half, declared_g, yield_pct, price_per_kg, currency
        )
        work += steps
    elif price_per_kg is not None:
        raise OutOfRange("a price needs a declared weight to compare with; give declared_g")
    sources = ["the person's own measurements"]
    if price_per_kg is not None:
        sources.append("the person's own price")
    return Scatter(
        unit,
        n,
        mean,
        mean - half,
        mean + half,
        sd,
        sd_low,
        sd_high,
        float(values.min()),
        float(values.max()),
        100 * conf,
        100 * share,
        mean - k * sd,
        mean + k * sd,
        outside,
        giveaway,
        normal_p,
        own_notes=_notes(measured, sd, normal_p, giveaway, yield_pct),
        own_sources=tuple(sources),
        own_working=tuple(work),
    )


@lru_cache(maxsize=256)
def tolerance_factor(n: int, share: float, confidence: float) -> float:
    """k such that mean ± k s of `n` values (from 2) holds `share` of a normal process.

    share, confidence: 0.01 to 0.9999. Exact and two-sided, by integration: the mean of the sample
    misses by u/√n; at each u the share is kept by a half width r(u) of true spreads, so k s ≥ r σ is a
    chi-square statement, averaged over u.
    """
    need(n >= 2, f"{n} values give no tolerance interval; give at least two")
    need_between("share", share, 0.01, 0.9999)
    need_between("confidence", confidence, 0.01, 0.9999)
    nodes, weights = np.polynomial.legendre.leggauss(80)
    u = 4 * (nodes + 1)
    half_width_2 = stats.ncx2.ppf(share, 1, u**2 / n)
    weight = 8 * weights * stats.norm.pdf(u)

    def missing(k: float) -> float:
        return float(weight @ stats.chi2.sf((n - 1) * half_width_2 / k**2, n - 1)) - confidence

    start = sqrt(half_width_2[0])
    stop = 2 * start
    while missing(stop) < 0:
        stop *= 2
    return float(brentq(missing, start / 2, stop, xtol=1e-12, rtol=1e-12))


def how_many(sd: float, half_width: float, confidence_pct: float = 95.0) -> int:
    """Measurements needed for a mean known to ± `half_width`: n ≥ (t s / h)², with t of n − 1.

    sd, half_width: in one unit, above 0; the spread is taken as known to that sample.
    """
    need_between("sd", sd, 0, 1e9)
    need_between(
        "half_width", half_width, 1e-12, 1e9, "the wanted precision, in the unit of the spread"
    )
    conf = need_between("confidence_pct", confidence_pct, 50, 99.9) / 100
    if sd == 0:
        return 2
    n = max(2, ceil((stats.norm.ppf(0.5 + conf / 2) * sd / half_width) ** 2))
    need(n <= 1e9, f"{n:.3g} measurements would be needed; ask for less precision")
    while n < (stats.t.ppf(0.5 + conf / 2, n - 1) * sd / half_width) ** 2:
        n += 1
    return int(n)


def how_many_more(found: Scatter, half_width: float) -> tuple[int, int]:
    """Further measurements for a mean to ± `half_width`: at the spread found, and, with care, at the
    upper end of its interval."""
    at_found, careful = (
        max(how_many(sd, half_width, found.confidence_pct) - found.n, 0)
        for sd in (found.sd, found.sd_high)
    )
    return at_found, careful


def mean_to_aim_at(declared_g: float, sd_g: float, share_below_pct: float) -> float:
    """The mean, g, of a normal process of which `share_below_pct` (0.001 to 50) weighs less than declared."""
    need_between("declared_g", declared_g, 1e-6, 1e6)
    need_between("sd_g", sd_g, 0, 1e6)
    share = need_between("share_below_pct", share_below_pct, 0.001, 50) / 100
    return declared_g + float(stats.norm.isf(share)) * sd_g


def _outside(
    values: np.ndarray, mean: float, sd: float, low: float | None, high: float | None, conf: float
) -> Outside:
    for name, limit in (("low", low), ("high", high)):
        need(limit is None or isfinite(limit), f"{name} is {limit}; it must be a finite number")
    need(
        low is None or high is None or low < high,
        f"the lower limit {low} must be less than the upper limit {high}",
    )
    a, b = -np.inf if low is None else low, np.inf if high is None else high
    n, out = len(values), int(np.sum((values < a) | (values > b)))
    tail = (1 - conf) / 2
    least = float(stats.beta.ppf(tail, out, n - out + 1)) if out else 0.0
    most = float(stats.beta.isf(tail, out + 1, n - out)) if out < n else 1.0
    counted = (out, 100 * out / n, 100 * least, 100 * most)
    if not sd > 0:
        return Outside(*counted)

    def share(means, sds):
        return 1 - ndtr((b - means) / sds) + ndtr((a - means) / sds)

    grid = (np.arange(400) + 0.5) / 400
    sds = sd * np.sqrt((n - 1) / stats.chi2.ppf(grid, n - 1))
    shares = share(mean + stats.norm.ppf(grid)[:, None] * sds / sqrt(n), sds)
    fitted_low, fitted_high = np.quantile(shares, (tail, 1 - tail))
    fitted = (share(mean, sd), fitted_low, fitted_high)
    return Outside(*counted, *(100 * float(pct) for pct in fitted))


def _giveaway(
    values: np.ndarray,
    mean: float,
    half: float,
    declared_g: float,
    yield_pct: float,
    price_per_kg: float | None,
    currency: str,
) -> tuple[Giveaway, list[Step]]:
    declared = need_between("declared_g", declared_g, 0.1, 1e6)
    packing = "percent of the measured weight that is left when packed"
    left = need_between("yield_pct", yield_pct, 20, 150, packing)
    over, uncertainty = mean * left / 100 - declared, half * left / 100
    grams = (over, over - uncertainty, over + uncertainty)
    cost: tuple[float | None, ...] = (None, None, None)
    steps = [
        step(
            "Giveaway of a piece",
            "G = m × y / 100 − W",
            over,
            "g",
            key="giveaway",
            m=(mean, "g", "mean as measured"),
            y=(left, "%", "yield still to come"),
            W=(declared, "g", "declared"),
        )
    ]
    if price_per_kg is not None:
        own = "the person's own price per kilogram"
        price = need_between("price_per_kg", price_per_kg, 0, 1e9, own)
        cost = tuple(g * price for g in grams)
        steps.append(
            step(
                "Money given away with 1000 pieces",
                "M = G × P",
                over * price,
                currency,
                key="giveaway in money",
                G=(over, "g per piece, kg per 1000"),
                P=(price, f"{currency} per kg".strip()),
            )
        )
    below = int(np.sum(values * left / 100 < declared))
    return Giveaway(declared, mean * left / 100, *grams, below, *cost), steps


def _notes(
    measured: MeasuredColumn,
    sd: float,
    normal_p: float | None,
    giveaway: Giveaway | None,
    yield_pct: float,
) -> tuple[str, ...]:
    notes = [*measured.understood, *measured.notes]
    if not measured.notes:
        notes += [
            f"value {measured.row[i]}: {measured.values[i]:g} {measured.unit} lies far from the rest; kept"
            for i in far_out(measured.values)[:20]
        ]
    if sd == 0:
        notes.append(
            "all values are the same: the scale or rule is too coarse to see the scatter, or one value was copied"
        )
    if len(measured) < 30:
        notes.append(
            f"{len(measured)} values say little about the spread; its interval shows how little"
        )
    limit = number("casing_not_normal_p")
    if normal_p is not None and normal_p < limit.value:
        notes.append(
            f"the values do not look normal (Shapiro-Wilk p = {normal_p:.2g}): "
            "rely on the counted share, not on the fitted one or the tolerance interval"
        )
    if giveaway:
        notes.append(_LAW)
        if yield_pct == 100:
            notes.append(
                "weights taken as packed weights; raw links lose weight in the cook, so give yield_pct for them"
            )
        if giveaway.g < 0:
            notes.append(
                f"the mean lies {-giveaway.g:.2f} g below what is declared: short weight, not giveaway"
            )
        elif giveaway.low_g < 0:
            notes.append(
                "the interval of the giveaway holds zero: this sample cannot tell overfill from short weight"
            )
    return tuple(dict.fromkeys(notes))

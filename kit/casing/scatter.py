"""How far do lengths or weights scatter, how many fall outside, and what does the giveaway cost?

The values are taken as a random sample of one process. Intervals of the mean and the spread are exact
for a normal process; the share outside has an exact binomial interval that assumes no shape.
"""

from dataclasses import dataclass
from math import ceil, isfinite, sqrt

import numpy as np
import scipy as sp

from kit.casing.measurements import GRAMS, MeasuredColumn, far_out
from kit.errors import OutOfRange, need, need_between
from kit.faults import need_said
from kit.working import Interval, Result, Step, notes_of, working_of


@dataclass(frozen=True)
class Outside:
    """Links outside the wanted limits, and their share with an interval at the scatter's confidence."""

    counted: int
    share_pct: Interval


@dataclass(frozen=True)
class Giveaway:
    """Mean weight above (negative: below) a declared weight, per link or pack as measured."""

    declared_g: float
    mean_g: float
    """packed: the measured mean times the yield still to come"""
    g: Interval
    below_declared: int
    money_per_1000: Interval | None
    """per 1000 pieces at the person's price; None without one"""


@dataclass(frozen=True)
class Scatter(Result):
    """A sample described. `unit` is g or mm."""

    unit: str
    n: int
    mean: Interval
    sd: Interval
    confidence_pct: float
    outside: Outside | None
    giveaway: Giveaway | None

    @property
    def cv_pct(self) -> float:
        return 100 * self.sd.value / self.mean.value


def scatter(
    measured: MeasuredColumn,
    *,
    low: float | None = None,
    high: float | None = None,
    declared_g: float | None = None,
    yield_pct: float = 100.0,
    price_per_kg: float | None = None,
    confidence_pct: float = 90.0,
) -> Scatter:
    """How far a sample of link weights or lengths scatters, and what of it is given away.

    measured: two values or more, g or mm
    low: lower limit wanted, in the unit of the sample
    high: upper limit wanted, in the unit of the sample
    declared_g: declared weight of a piece, 0.1 to 1,000,000 g
    yield_pct: packed weight of the measured weight, 20 to 150 % (links weighed raw lose weight in the cook)
    price_per_kg: of what is given away, the person's own, 0 or more
    confidence_pct: of the intervals, 50 to 99.9 %
    Returns Scatter: mean, standard deviation, intervals, share outside the limits, giveaway.
    Raises OutOfRange for fewer than two values, limits the wrong way round, a price without a declared weight.
    Valid for independent links of a normal process; the share outside assumes no shape.
    Source: Student, chi-square and exact binomial intervals.
    """
    values, n, unit = measured.values, len(measured), measured.unit
    need(n >= 2, f"{n} measurement tells nothing about scatter; give at least two, better thirty")
    conf = need_between("confidence_pct", confidence_pct, 50, 99.9) / 100
    mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
    if sd < 1e-12 * abs(mean):
        sd = 0.0
    t = float(sp.special.stdtrit(n - 1, 0.5 + conf / 2))
    half = t * sd / sqrt(n)
    x2 = 2 * sp.special.gammaincinv((n - 1) / 2, [0.5 - conf / 2, 0.5 + conf / 2])
    sd_low, sd_high = sd * sqrt((n - 1) / x2[1]), sd * sqrt((n - 1) / x2[0])
    known = {"h": half, "t": t, "s": sd, "n": n, "s1": sd_low, "x": x2[1], "s2": sd_high}
    work = working_of("scatter", unit=unit, y=x2[0], **known)
    outside = None if low is None and high is None else _outside(values, low, high, conf)
    giveaway = None
    if declared_g is not None:
        need(unit == GRAMS, "a declared weight is compared with weights; these are lengths")
        giveaway, steps = _giveaway(values, mean, half, declared_g, yield_pct, price_per_kg)
        work += steps
    elif price_per_kg is not None:
        raise OutOfRange("a price needs a declared weight to compare with; give declared_g")
    sources = ["the person's own measurements"]
    if price_per_kg is not None:
        sources.append("the person's own price")
    return Scatter(
        unit,
        n,
        Interval(mean - half, mean, mean + half),
        Interval(sd_low, sd, sd_high),
        100 * conf,
        outside,
        giveaway,
        own_notes=_notes(measured, sd, giveaway, yield_pct),
        own_sources=tuple(sources),
        own_working=work,
    )


def how_many(sd: float, half_width: float, confidence_pct: float = 90.0) -> int:
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
    n = max(2, ceil((sp.special.ndtri(0.5 + conf / 2) * sd / half_width) ** 2))
    need(n <= 1e9, f"{n:.3g} measurements would be needed; ask for less precision")
    while n < (sp.special.stdtrit(n - 1, 0.5 + conf / 2) * sd / half_width) ** 2:
        n += 1
    return int(n)


def how_many_more(found: Scatter, half_width: float) -> tuple[int, int]:
    """Further measurements for a mean to ± `half_width`: at the spread found, and, with care, at the
    upper end of its interval."""
    at_found, careful = (
        max(how_many(sd, half_width, found.confidence_pct) - found.n, 0) for sd in found.sd[1:]
    )
    return at_found, careful


def _outside(values: np.ndarray, low: float | None, high: float | None, conf: float) -> Outside:
    for name, limit in (("low", low), ("high", high)):
        need(limit is None or isfinite(limit), f"{name} is {limit}; it must be a finite number")
    need_said(low is None or high is None or low < high, "limits the wrong way", low=low, high=high)
    a, b = -np.inf if low is None else low, np.inf if high is None else high
    n, out = len(values), int(np.sum((values < a) | (values > b)))
    least, most = share_interval_pct(out, n, conf)
    return Outside(out, Interval(least, 100 * out / n, most))


def share_interval_pct(out: float, n: float, conf: float = 0.9) -> tuple[float, float]:
    """Exact binomial interval of the share of which `out` of `n` were seen, %, by Clopper and Pearson; `n` need not be whole where they resemble one another."""
    tail = (1 - conf) / 2
    least = float(sp.special.betaincinv(out, n - out + 1, tail)) if out else 0.0
    most = float(sp.special.betainccinv(out + 1, n - out, tail)) if out < n else 1.0
    return 100 * least, 100 * most


def _giveaway(
    values: np.ndarray,
    mean: float,
    half: float,
    declared_g: float,
    yield_pct: float,
    price_per_kg: float | None,
) -> tuple[Giveaway, tuple[Step, ...]]:
    declared = need_between("declared_g", declared_g, 0.1, 1e6)
    packing = "percent of the measured weight that is left when packed"
    left = need_between("yield_pct", yield_pct, 20, 150, packing)
    over, uncertainty, cost = mean * left / 100 - declared, half * left / 100, None
    grams = Interval(over - uncertainty, over, over + uncertainty)
    steps = working_of("giveaway", m=mean, y=left, W=declared, G=over)
    if price_per_kg is not None:
        own = "the person's own price per kilogram"
        price = need_between("price_per_kg", price_per_kg, 0, 1e9, own)
        cost = grams.each(lambda g: g * price)
        steps += working_of("cost of giveaway", G=over, P=price, M=over * price)
    below = int(np.sum(values * left / 100 < declared))
    return Giveaway(declared, mean * left / 100, grams, below, cost), steps


def _notes(
    measured: MeasuredColumn,
    sd: float,
    giveaway: Giveaway | None,
    yield_pct: float,
) -> tuple[str, ...]:
    notes = [*measured.understood, *measured.notes]
    if not measured.notes:
        notes += [
            f"value {measured.row[i]}: {measured.values[i]:g} {measured.unit} lies far from the rest; kept"
            for i in far_out(measured.values)[:20]
        ]
    n = len(measured)
    notes += notes_of("scatter", {"same": sd == 0, "few": n < 30}, n=n)
    if giveaway:
        over = giveaway.g
        holds = {"packed": yield_pct == 100, "short": over.value < 0}
        holds["unsure"] = over.low < 0 <= over.value
        notes += notes_of("giveaway", holds, short_g=-over.value)
    return tuple(dict.fromkeys(notes))

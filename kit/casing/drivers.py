"""Does length or diameter drive the scatter of the weights?

A link is a cylinder: m = π/4 ρ D² L, so ln m = ln(π/4 ρ) + 2 ln D + ln L + rest, exactly, link by link.
The share of each term is its covariance with ln m over the variance of ln m; the shares add to 1.
"""

from dataclasses import dataclass

import numpy as np

from kit.casing.measurements import MeasuredColumn
from kit.errors import need
from kit.working import Result, notes_of

LENGTH, DIAMETER, REST = "length", "diameter", "density, shape and measuring errors"
_DRAWS, _SEED, _WORK, _TAIL, _CLEAR = 2000, 8, 2e7, 0.05, 0.025


@dataclass(frozen=True)
class ScatterDrivers(Result):
    """Share of the variance of ln weight in %, with 90 % intervals, low, share, high: below 0 where terms offset each other.

    `verdict` is one of their names, or None where the links cannot tell.
    """

    n: int
    verdict: str | None
    shares_pct: dict[str, tuple[float, float, float]]

    @property
    def sentence(self) -> str:
        told = ", ".join(
            f"{name} {share:.0f} % ({low:.0f} to {high:.0f})"
            for name, (low, share, high) in self.shares_pct.items()
        )
        if self.verdict is None:
            return f"{self.n} links cannot tell what drives the scatter: {told}."
        return f"Most of the scatter comes with {self.verdict}: {told}."


def drivers(
    weight: MeasuredColumn, length: MeasuredColumn, diameter: MeasuredColumn
) -> ScatterDrivers:
    """From the same links in the same order, 5 or more; intervals by resampling them (fixed seed). OutOfRange for fewer."""
    n = len(weight)
    need(n >= 5, f"{n} links are too few to split a variance; measure at least 5, better 30")
    total = np.log(weight.values)
    need(float(np.var(total)) > 1e-18, "all weights are the same: there is no scatter to explain")
    by_length, by_diameter = np.log(length.values), 2 * np.log(diameter.values)
    terms = np.array([by_length, by_diameter, total - by_length - by_diameter])
    shares, rng = _shares_pct(terms, total), np.random.default_rng(_SEED)
    picks = (rng.integers(0, n, n) for _ in range(int(np.clip(_WORK / n, 200, _DRAWS))))
    drawn = np.array([_shares_pct(terms[:, pick], total[pick]) for pick in picks]).T
    drawn = drawn[:, np.isfinite(drawn).all(axis=0)]
    low, high = np.quantile(drawn, (_TAIL, 1 - _TAIL), axis=1)
    first, second = np.argsort(-shares)[:2]
    clear = np.quantile(drawn[first] - drawn[second], _CLEAR) > 0
    names = (LENGTH, DIAMETER, REST)
    against = np.corrcoef(terms[2], by_diameter)[0, 1] < -0.7
    return ScatterDrivers(
        n,
        names[first] if clear else None,
        dict(zip(names, zip(low.tolist(), shares.tolist(), high.tolist()))),
        own_notes=notes_of("drivers", {"few": n < 20, "against": against}, n=n),
        own_sources=("the person's own measurements",),
    )


def _shares_pct(terms: np.ndarray, total: np.ndarray) -> np.ndarray:
    """100 cov(term, total) / var(total) along the last axis."""
    centred = total - total.mean(axis=-1, keepdims=True)
    about = terms - terms.mean(axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return 100 * (about * centred).sum(axis=-1) / (centred**2).sum(axis=-1)

"""Does length or diameter drive the scatter of the weights?

A link is a cylinder: m = π/4 ρ D² L, so ln m = ln(π/4 ρ) + 2 ln D + ln L + rest, exactly, link by link.
The share of each term is its covariance with ln m over the variance of ln m; the shares add to 1.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from kit.errors import OutOfRange, need, need_between
from kit.working import Result, step

_DRAWS, _SEED, _WORK = 2000, 8, 2e7
_REST = {
    ("length", "diameter"): "density, shape and measuring errors",
    ("length",): "diameter, density and the rest",
    ("diameter",): "length, density and the rest",
}
"""what the terms that were not measured stand for"""


@dataclass(frozen=True)
class ScatterDriver:
    """One term: share of the variance of ln weight (below 0 where terms offset each other)."""

    name: str
    share_pct: float
    low_pct: float
    high_pct: float


@dataclass(frozen=True)
class ScatterDrivers(Result):
    """`verdict` is one name, or "cannot tell"."""

    n: int
    verdict: str
    shares: tuple[ScatterDriver, ...]

    @property
    def sentence(self) -> str:
        told = ", ".join(
            f"{p.name} {p.share_pct:.0f} % ({p.low_pct:.0f} to {p.high_pct:.0f})"
            for p in self.shares
        )
        if self.verdict == "cannot tell":
            return f"{self.n} links cannot tell what drives the scatter: {told}."
        return f"Most of the scatter comes with {self.verdict}: {told}."


def drivers(
    weight_g,
    length_mm=None,
    diameter_mm=None,
    *,
    diameter_error_mm: float | None = None,
    confidence_pct: float = 95.0,
) -> ScatterDrivers:
    """From links measured one by one: the same links in the same order, 5 or more.

    weight_g, length_mm, diameter_mm: above 0; length, diameter or both, and with one of the two the
    rest stands for the other (and the density) together. diameter_error_mm: standard deviation of
    one's own diameter reading; an error there looks like scatter of the diameter. confidence_pct: 50
    to 99.9; intervals by resampling links (fixed seed). Raises OutOfRange if not paired.
    """
    given = {"length": (1.0, length_mm), "diameter": (2.0, diameter_mm)}
    logs = {
        name: power * _logs(name, values)
        for name, (power, values) in given.items()
        if values is not None
    }
    need(bool(logs), "give the lengths, the diameters or both beside the weights")
    total = _logs("weight", weight_g)
    n = len(total)
    if any(len(term) != n for term in logs.values()):
        counts = ", ".join(f"{len(term)} {name}s" for name, term in logs.items())
        raise OutOfRange(
            f"{n} weights against {counts}: the same links are needed in the same order"
        )
    need(n >= 5, f"{n} links are too few to split a variance; measure at least 5, better 30")
    terms = logs | {_REST[tuple(logs)]: total - sum(logs.values())}
    spread = float(np.var(total, ddof=1))
    need(spread > 1e-18, "all weights are the same: there is no scatter to explain")
    stack = np.array([*terms.values()])
    shares = _shares(stack, total)
    rng = np.random.default_rng(_SEED)
    picks = (rng.integers(0, n, n) for _ in range(int(np.clip(_WORK / n, 200, _DRAWS))))
    drawn = np.array([_shares(stack[:, pick], total[pick]) for pick in picks]).T
    tail = (1 - need_between("confidence_pct", confidence_pct, 50, 99.9) / 100) / 2
    drawn = drawn[:, np.isfinite(drawn).all(axis=0)]
    ends = np.quantile(drawn, (tail, 1 - tail), axis=1)
    parts = tuple(
        ScatterDriver(name, 100 * float(s), 100 * float(a), 100 * float(b))
        for name, s, a, b in zip(terms, shares, *ends)
    )
    first, second = np.argsort(-shares)[:2]
    clear = np.quantile(drawn[first] - drawn[second], tail) > 0
    error_share = None
    if diameter_error_mm is not None and diameter_mm is not None:
        d = float(np.mean(np.asarray(getattr(diameter_mm, "values", diameter_mm), float)))
        need_between("diameter_error_mm", diameter_error_mm, 0, d)
        error_share = 100 * 4 * (diameter_error_mm / d) ** 2 / spread
    working = []
    for part in parts:
        covariance = f"covariance of the term of {part.name} with ln m"
        c, v = (part.share_pct / 100 * spread, "", covariance), (spread, "", "variance of ln m")
        what = f"Share of {part.name}"
        working.append(step(what, "share = 100 × c / v", part.share_pct, "%", key=what, c=c, v=v))
    return ScatterDrivers(
        n,
        parts[first].name if clear else "cannot tell",
        parts,
        own_notes=(
            *_notes(n, logs, parts, stack[-1]),
            *_reading_error(logs, diameter_error_mm, error_share),
        ),
        own_sources=("the person's own measurements",),
        own_working=tuple(working),
    )


def _shares(terms: np.ndarray, total: np.ndarray) -> np.ndarray:
    """cov(term, total) / var(total) along the last axis."""
    centred = total - total.mean(axis=-1, keepdims=True)
    about = terms - terms.mean(axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return (about * centred).sum(axis=-1) / (centred**2).sum(axis=-1)


def _logs(name: str, given) -> np.ndarray:
    values = np.asarray(getattr(given, "values", given), float).ravel()
    bad = np.flatnonzero(~(np.isfinite(values) & (values > 0)))
    if len(bad):
        raise OutOfRange(
            f"{name} number {bad[0] + 1} is {values[bad[0]]:g}; "
            "it must be a finite number greater than 0"
        )
    return np.log(values)


def _notes(
    n: int, logs: Mapping[str, np.ndarray], parts: tuple[ScatterDriver, ...], rest: np.ndarray
) -> Iterator[str]:
    yield "a share says what varies together with the weight in these links, not what would cure it"
    if n < 20:
        yield f"{n} links: the intervals are wide, and resampling so few understates them"
    if len(logs) == 1:
        yield f"only one dimension was measured: {parts[-1].name} cannot be told apart"
    if any(p.share_pct < 0 for p in parts):
        yield "a negative share means that this term offsets the others"
    if len(logs) == 2 and np.var(rest) > 0 and np.corrcoef(rest, logs["diameter"])[0, 1] < -0.7:
        yield (
            "the rest runs against the diameter: "
            "the diameters are probably read with errors as large as their scatter"
        )


def _reading_error(
    logs: Mapping[str, np.ndarray], error_mm: float | None, share_pct: float | None
) -> Iterator[str]:
    if share_pct is not None:
        yield (
            f"reading the diameter to ± {error_mm:g} mm alone makes {share_pct:.0f} % "
            "of the variance of ln weight"
        )
    elif "diameter" in logs:
        yield (
            "the error of the diameter reading is not given: "
            "it counts twice, and looks like scatter of the diameter"
        )

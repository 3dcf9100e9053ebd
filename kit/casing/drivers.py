"""Does length or diameter drive the scatter of the weights?

A link is a cylinder: m = π/4 ρ D² L, so ln m = ln(π/4 ρ) + 2 ln D + ln L + rest, exactly, link by link. The share of each term is its
covariance with ln m over the variance of ln m; the shares add to 1. Without measured pairs only the terms' own variances are known.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from kit.errors import OutOfRange, need, need_between
from kit.working import Step, step

_DRAWS, _SEED, _WORK = 2000, 8, 2e7


@dataclass(frozen=True)
class Driver:
    """One term: `share_pct` of the variance of ln weight (it can be negative where terms offset each other), and its interval."""

    name: str
    share_pct: float
    low_pct: float
    high_pct: float


@dataclass(frozen=True)
class Drivers:
    """`verdict` is one name, or "cannot tell"."""

    n: int
    paired: bool
    verdict: str
    parts: tuple[Driver, ...]
    weight_cv_pct: float | None
    """as the standard deviation of ln weight"""
    sentence: str
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def drivers(
    weight_g,
    length_mm=None,
    diameter_mm=None,
    *,
    diameter_error_mm: float | None = None,
    confidence_pct: float = 95.0,
) -> Drivers:
    """From links measured one by one: `weight_g` with `length_mm`, `diameter_mm` or both, same links in the same order, 5 or more.

    With one of the two the rest stands for the other (and the density) together. `diameter_error_mm`: standard deviation of one's own
    diameter reading; an error there looks like scatter of the diameter. Intervals by resampling links (fixed seed). OutOfRange if not paired.
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
            f"{n} weights against {counts}: the same links are needed in the same "
            "order; for separate samples use drivers_unpaired"
        )
    need(n >= 5, f"{n} links are too few to split a variance; measure at least 5, better 30")
    terms = logs | {_rest(logs): total - sum(logs.values())}
    spread = np.var(total, ddof=1)
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
        Driver(name, 100 * float(s), 100 * float(a), 100 * float(b))
        for name, s, a, b in zip(terms, shares, *ends)
    )
    first, second = np.argsort(-shares)[:2]
    gap = np.quantile(drawn[first] - drawn[second], tail)
    verdict = parts[first].name if gap > 0 else "cannot tell"
    notes = _notes(n, logs, parts, stack, total, diameter_mm, diameter_error_mm, spread)
    work = tuple(
        step(
            f"Share of {part.name}",
            "share = 100 × c / v",
            part.share_pct,
            "%",
            c=(
                part.share_pct / 100 * spread,
                "",
                f"covariance of the term of {part.name} with ln m",
            ),
            v=(spread, "", "variance of ln m"),
        )
        for part in parts
    )
    return Drivers(
        n,
        True,
        verdict,
        parts,
        100 * float(np.sqrt(spread)),
        _sentence(verdict, parts, n),
        notes,
        ("the person's own measurements",),
        work,
    )


def drivers_unpaired(length_mm, diameter_mm, confidence_pct: float = 95.0) -> Drivers:
    """From separate samples: what length and diameter would bring if they were independent. The weights' own scatter is not explained by it."""
    length, diameter = _logs("length", length_mm), 2 * _logs("diameter", diameter_mm)
    need(
        min(len(length), len(diameter)) >= 5,
        "give at least 5 lengths and 5 diameters, better 30 of each",
    )
    vl, vd = float(np.var(length, ddof=1)), float(np.var(diameter, ddof=1))
    need(
        vl > 1e-18 and vd > 1e-18,
        "one of the two does not scatter at all; the rule or gauge is too coarse",
    )
    conf = need_between("confidence_pct", confidence_pct, 50, 99.9) / 100
    dof = len(diameter) - 1, len(length) - 1
    ratios = vd / vl / stats.f.ppf([0.5 + conf / 2, 0.5 - conf / 2], *dof)
    share, low, high = (100 * r / (1 + r) for r in (vd / vl, *ratios))
    parts = (
        Driver("diameter", share, low, high),
        Driver("length", 100 - share, 100 - high, 100 - low),
    )
    verdict = "diameter" if low > 50 else "length" if high < 50 else "cannot tell"
    notes = (
        "not paired: length and diameter are taken as independent, so a long link that is also thin would be missed",
        "the interval is exact for normal scatter of ln length and ln diameter (F distribution)",
        "measuring errors count as scatter here",
    )
    work = (
        step(
            "Variance that diameter brings, against length",
            "r = d / l",
            vd / vl,
            "",
            d=(vd, "", "4 × variance of ln D"),
            l=(vl, "", "variance of ln L"),
        ),
        step("Share of diameter", "share = 100 × r / (1 + r)", share, "%", r=(vd / vl, "")),
    )
    n = min(len(length), len(diameter))
    return Drivers(
        n,
        False,
        verdict,
        parts,
        None,
        _sentence(verdict, parts, n),
        notes,
        ("the person's own measurements",),
        work,
    )


def _shares(terms: np.ndarray, total: np.ndarray) -> np.ndarray:
    """cov(term, total) / var(total) along the last axis."""
    centred = total - total.mean(axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return ((terms - terms.mean(axis=-1, keepdims=True)) * centred).sum(axis=-1) / (
            centred**2
        ).sum(axis=-1)


def _rest(logs) -> str:
    return {
        ("length", "diameter"): "density, shape and measuring errors",
        ("length",): "diameter, density and the rest",
        ("diameter",): "length, density and the rest",
    }[tuple(logs)]


def _logs(name: str, values) -> np.ndarray:
    values = np.asarray(getattr(values, "values", values), float).ravel()
    if not (np.isfinite(values) & (values > 0)).all():
        bad = np.flatnonzero(~(np.isfinite(values) & (values > 0)))[0]
        raise OutOfRange(
            f"{name} number {bad + 1} is {values[bad]:g}; it must be a finite number greater than 0"
        )
    return np.log(values)


def _sentence(verdict, parts, n) -> str:
    told = ", ".join(
        f"{p.name} {p.share_pct:.0f} % ({p.low_pct:.0f} to {p.high_pct:.0f})" for p in parts
    )
    if verdict == "cannot tell":
        return f"{n} links cannot tell what drives the scatter: {told}."
    return f"Most of the scatter comes with {verdict}: {told}."


def _notes(n, logs, parts, stack, total, diameter_mm, error, spread) -> tuple[str, ...]:
    notes = [
        "a share says what varies together with the weight in these links, not what would cure it"
    ]
    if n < 20:
        notes.append(f"{n} links: the intervals are wide, and resampling so few understates them")
    if len(logs) == 1:
        notes.append(f"only one dimension was measured: {parts[-1].name} cannot be told apart")
    if any(p.share_pct < 0 for p in parts):
        notes.append("a negative share means that this term offsets the others")
    if "diameter" in logs:
        if error is None:
            notes.append(
                "the error of the diameter reading is not given: it counts twice, and looks like scatter of the diameter"
            )
        else:
            d = float(np.mean(np.asarray(getattr(diameter_mm, "values", diameter_mm), float)))
            need_between("diameter_error_mm", error, 0, d)
            notes.append(
                f"reading the diameter to ± {error:g} mm alone makes {100 * 4 * (error / d) ** 2 / spread:.0f} % of the variance of ln weight"
            )
        rest = stack[-1]
        if (
            len(logs) == 2
            and np.var(rest) > 0
            and np.corrcoef(rest, stack[list(logs).index("diameter")])[0, 1] < -0.7
        ):
            notes.append(
                "the rest runs against the diameter: the diameters are probably read with errors as large as their scatter"
            )
    return tuple(notes)

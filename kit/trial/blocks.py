"""Least squares with blocks: which part of the scatter belongs to which term, and what is the difference of two levels?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from scipy.special import fdtrc, stdtr, stdtrit

from kit.errors import OutOfRange, need

ALPHA = 0.05


@dataclass(frozen=True)
class VarianceRow:
    """One line of the table of variance. `F` and `p` are nan for what the others are judged by."""

    term: str
    dof: int
    squares: float
    F: float
    p: float

    @property
    def mean_square(self) -> float:
        return self.squares / self.dof


@dataclass(frozen=True)
class Contrast:
    """A difference with its standard error and `dof`, the degrees of freedom of t. `low` and `high`: 95 %.

    `critical`: half-width in standard errors; that of t where nan, wider where several comparisons hold together.
    """

    value: float
    se: float
    dof: int
    critical: float = float("nan")

    @property
    def half_width(self) -> float:
        t = float(stdtrit(self.dof, 1 - ALPHA / 2))
        return (self.critical if self.critical == self.critical else t) * self.se

    @property
    def low(self) -> float:
        return self.value - self.half_width

    @property
    def high(self) -> float:
        return self.value + self.half_width

    @property
    def p(self) -> float:
        """Two-sided."""
        return (
            float(2 * stdtr(self.dof, -abs(self.value / self.se)))
            if self.se
            else float(not self.value)
        )


def dummies(labels: Sequence) -> np.ndarray:
    """One column of 0 and 1 for each level, in the order of first appearance."""
    levels = list(dict.fromkeys(labels))
    return np.array([[float(label == level) for level in levels] for label in labels])


def _columns(name: str, terms: Mapping[str, Sequence]) -> np.ndarray:
    """Columns of a term; `A:B` stands for the combinations of two terms, numbers for a slope."""
    parts = [terms[one] for one in name.split(":")]
    if len(parts) == 1 and np.asarray(parts[0]).dtype.kind == "f":
        values = np.asarray(parts[0], float)
        return (values - values.mean())[:, None]
    return dummies(list(zip(*(list(map(str, part)) for part in parts), strict=True)))


def _new(columns: np.ndarray, done: np.ndarray) -> np.ndarray:
    """An orthonormal basis of what `columns` add to `done`."""
    left = columns - done @ (done.T @ columns)
    left -= done @ (done.T @ left)
    u, s, _ = np.linalg.svd(left, full_matrices=False)
    return u[:, s > 1e-8 * max(1.0, float(np.abs(columns).max()) * sqrt(len(columns)))]


def variance_table(
    values: Sequence[float],
    terms: Mapping[str, Sequence],
    order: Sequence[str],
    over: Mapping[str, str] | None = None,
) -> tuple[VarianceRow, ...]:
    """The table of variance, terms one after the other, what is left over last.

    values: one response for each unit, any unit.
    terms: name -> a label for each unit; floats for a straight line.
    order: names, or `A:B` for combinations of terms, each judged after those before it.
    over: term -> the term whose mean square it is judged by; what is left over where none is named.
    Raises OutOfRange, by name, for a term that cannot be told apart from those before it.
    Source: the textbook analysis of variance; sequential sums of squares.
    """
    y = np.asarray(values, float)
    need(bool(np.isfinite(y).all()), "every unit needs a value; leave out units without one")
    done, squares, dof = np.full((len(y), 1), len(y) ** -0.5), {}, {}
    for name in order:
        basis = _new(_columns(name, terms), done)
        if basis.shape[1] == 0:
            before = ", ".join(order[: order.index(name)]) or "the mean"
            raise OutOfRange(
                f"{name} is confounded with {before}: no comparison of its levels is left, so its effect cannot be told apart; leave {name} out"
            )
        squares[name], dof[name] = float(((basis.T @ y) ** 2).sum()), basis.shape[1]
        done = np.hstack([done, basis])
    left = len(y) - done.shape[1]
    rest = float(((y - done @ (done.T @ y)) ** 2).sum())
    rows = []
    for name in order:
        judge = (over or {}).get(name)
        bottom, its = (squares[judge], dof[judge]) if judge else (rest, left)
        F = squares[name] / dof[name] / (bottom / its) if its and bottom > 0 else float("nan")
        rows.append(VarianceRow(name, dof[name], squares[name], F, float(fdtrc(dof[name], its, F))))
    return (*rows, VarianceRow("left over", left, rest, float("nan"), float("nan")))


@dataclass(frozen=True, eq=False)
class BlockFit:
    """Units explained by blocks and levels. `at` gives the weights on the coefficients of one level."""

    coefficients: np.ndarray
    inverse: np.ndarray
    row_space: np.ndarray
    levels: tuple
    s: float
    dof: int
    residuals: np.ndarray

    def contrast(self, weights: Mapping[Any, float]) -> Contrast:
        """`weights`: level -> weight, which add up to 0; OutOfRange where no block compares them."""
        c = np.zeros(len(self.coefficients))
        for level, weight in weights.items():
            c[len(c) - len(self.levels) + self.levels.index(level)] = weight
        lost = c - self.row_space @ (self.row_space.T @ c)
        need(
            float(np.abs(lost).max()) < 1e-8,
            f"{' and '.join(map(str, weights))} are never compared inside one block; nothing can be said of their difference",
        )
        return Contrast(
            float(c @ self.coefficients),
            self.s * sqrt(max(float(c @ self.inverse @ c), 0.0)),
            self.dof,
        )


def fit(values: Sequence[float], blocks: Sequence | None, levels: Sequence) -> BlockFit:
    """Units = block + level + scatter, by least squares; blocks None: levels alone."""
    y = np.asarray(values, float)
    parts = [] if blocks is None else [dummies(list(blocks))]
    x = np.hstack([*parts, dummies(list(levels))])
    inverse, (_, s, vt) = np.linalg.pinv(x.T @ x), np.linalg.svd(x, full_matrices=False)
    space = vt[s > 1e-9 * s.max()].T
    coefficients = inverse @ (x.T @ y)
    residuals, dof = y - x @ coefficients, len(y) - space.shape[1]
    spread = sqrt(float(residuals @ residuals) / dof) if dof else float("nan")
    return BlockFit(
        coefficients, inverse, space, tuple(dict.fromkeys(levels)), spread, dof, residuals
    )

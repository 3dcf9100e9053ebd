"""Least squares with blocks: which part of the scatter belongs to which term, and what is the difference of two levels?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from scipy.special import fdtrc, stdtr, stdtrit

from kit.errors import need
from kit.faults import need_said

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
        if not self.se:
            return float(not self.value)
        return float(2 * stdtr(self.dof, -abs(self.value / self.se)))


def dummies(labels: Sequence) -> np.ndarray:
    """One column of 0 and 1 for each level, in the order of first appearance."""
    levels = list(dict.fromkeys(labels))
    return np.array([[float(label == level) for level in levels] for label in labels])


def variance_table(
    values: Sequence[float], terms: Mapping[str, Sequence]
) -> tuple[VarianceRow, ...]:
    """The table of variance, terms one after the other, what is left over last.

    values: one response for each unit, any unit.
    terms: name -> a label for each unit, each judged after those before it; pairs of labels for a combination.
    Raises OutOfRange, by name, for a term that cannot be told apart from those before it.
    Source: the textbook analysis of variance; sequential sums of squares.
    """
    y, before = np.asarray(values, float), "the mean"
    need(bool(np.isfinite(y).all()), "every unit needs a value; leave out units without one")
    done, found = np.full((len(y), 1), len(y) ** -0.5), {}
    for name, labels in terms.items():
        left = dummies(labels)
        for _ in range(2):
            left = left - done @ (done.T @ left)
        u, s, _ = np.linalg.svd(left, full_matrices=False)
        basis = u[:, s > 1e-8 * sqrt(len(y))]
        need_said(basis.shape[1] > 0, "term confounded", name=name, before=before)
        found[name] = basis.shape[1], float(((basis.T @ y) ** 2).sum())
        done, before = np.hstack([done, basis]), ", ".join(found)
    over, rest = len(y) - done.shape[1], float(((y - done @ (done.T @ y)) ** 2).sum())
    rows = []
    for name, (dof, squares) in found.items():
        F = squares / dof / (rest / over) if over and rest > 0 else float("nan")
        rows.append(VarianceRow(name, dof, squares, F, float(fdtrc(dof, over, F))))
    return (*rows, VarianceRow("left over", over, rest, float("nan"), float("nan")))


@dataclass(frozen=True, eq=False)
class BlockFit:
    """Units explained by blocks and levels; the coefficients of the levels come last. `s`: left over, standard deviation of a unit."""

    coefficients: np.ndarray
    inverse: np.ndarray
    row_space: np.ndarray
    levels: tuple
    s: float
    dof: int

    def weights(self, of: Mapping[Any, float]) -> np.ndarray:
        """`of`: level -> weight, as weights of all coefficients."""
        c = np.zeros(len(self.coefficients))
        for level, weight in of.items():
            c[len(c) - len(self.levels) + self.levels.index(level)] = weight
        return c

    def covariance(self, *contrasts: Mapping[Any, float]) -> np.ndarray:
        """Of contrasts, over the variance of one unit."""
        rows = np.array([self.weights(one) for one in contrasts])
        return rows @ self.inverse @ rows.T

    def contrast(self, of: Mapping[Any, float]) -> Contrast:
        """`of`: level -> weight, which add up to 0; OutOfRange where no block compares them."""
        c = self.weights(of)
        lost = c - self.row_space @ (self.row_space.T @ c)
        compared = float(np.abs(lost).max()) < 1e-8
        need_said(compared, "never compared", levels=" and ".join(map(str, of)))
        se = self.s * sqrt(max(float(c @ self.inverse @ c), 0.0))
        return Contrast(float(c @ self.coefficients), se, self.dof)


def fit(values: Sequence[float], blocks: Sequence | None, levels: Sequence) -> BlockFit:
    """Units = block + level + scatter, by least squares; blocks None: levels alone."""
    y = np.asarray(values, float)
    parts = [] if blocks is None else [dummies(blocks)]
    x = np.hstack([*parts, dummies(levels)])
    inverse, (_, s, vt) = np.linalg.pinv(x.T @ x), np.linalg.svd(x, full_matrices=False)
    space = vt[s > 1e-9 * s.max()].T
    coefficients = inverse @ (x.T @ y)
    rest, dof = y - x @ coefficients, len(y) - space.shape[1]
    spread = sqrt(float(rest @ rest) / dof) if dof else float("nan")
    return BlockFit(coefficients, inverse, space, tuple(dict.fromkeys(levels)), spread, dof)

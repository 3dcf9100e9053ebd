"""The linear algebra of least-squares closing, for one pattern of weighed flows and any number of batches."""

from collections.abc import Iterator

import numpy as np

from kit.errors import OutOfRange, need
from kit.yields.flows import Checks, Graph

SINGULAR = 1e-12
"""smallest eigenvalue of the scaled A V A' that double precision still tells from zero"""
BLOCK = 2000
"""batches solved at once where each has doubts of its own; bounds the memory"""


def sound(graph: Graph, kg, sd_kg) -> tuple[np.ndarray, np.ndarray]:
    """kg (n, flows) and sd (1 or n, flows), or OutOfRange naming the first flow and batch that cannot be used."""
    kg = np.atleast_2d(np.asarray(kg, float))
    f = len(graph.flows)
    need(
        kg.ndim == 2 and kg.shape[1] == f,
        f"the weights have shape {kg.shape}; this graph has {f} flows: {', '.join(graph.names)}",
    )
    sd = np.asarray(sd_kg, float)
    need(
        sd.shape in ((), (1,), (f,), (1, f), kg.shape),
        f"the doubts have shape {sd.shape}; give one, {f} of them, or one per weight {kg.shape}",
    )
    sd = np.broadcast_to(sd, kg.shape if sd.shape == kg.shape else (1, f))
    for wrong, what, values in (
        (np.isinf(kg), "weighs", kg),
        (kg < 0, "weighs", kg),
        (
            ~np.isnan(kg) & ~(np.isfinite(sd) & (sd >= 0)),
            "has a doubt of",
            np.broadcast_to(sd, kg.shape),
        ),
    ):
        if wrong.any():
            row, column = np.argwhere(wrong)[0]
            raise OutOfRange(
                f"{graph.names[column]} (batch {row + 1}) {what} {values[row, column]:g} kg; it must be finite and 0 kg or more"
                + (
                    "; write NaN where nothing was weighed"
                    if what == "weighs"
                    else "; give the scale's standard deviation"
                )
            )
    return kg, sd


class Solved:
    """The linear algebra of one pattern of weighed flows: variance (1 or n, flows) -> everything that does not need the weights."""

    def __init__(
        self, kept: Checks, variance: np.ndarray, graph: Graph, rows: np.ndarray | None = None
    ):
        self.kept, f = kept, len(graph.flows)
        a = kept.matrix
        self.spread_of_missing = np.einsum("cf,nf,df->ncd", a, variance, a)
        _refuse_exact(kept, self.spread_of_missing, rows)
        self.inverse = np.linalg.inv(self.spread_of_missing)
        self.gain = variance[:, :, None] * (a.T @ self.inverse)
        self.change = self.gain @ (a[None] * variance[:, None, :])
        self.cov = variance[:, :, None] * np.eye(f) - self.change
        # weighed flows stay, determined ones follow from the balances of all nodes
        self.spread = np.diag(kept.weighed.astype(float))
        if not kept.weighed.all():
            open_columns = graph.incidence[:, ~kept.weighed]
            self.spread[np.ix_(~kept.weighed, kept.weighed)] = (
                -np.linalg.pinv(open_columns) @ graph.incidence[:, kept.weighed]
            )

    def close(self, y: np.ndarray) -> np.ndarray:
        """The nearest weights that close the balances; the second pass removes what rounding left of the first."""
        for _ in range(2):
            y = y - (self.gain @ (y @ self.kept.matrix.T)[:, :, None])[:, :, 0]
        return y


def _refuse_exact(kept: Checks, h: np.ndarray, rows) -> None:
    """A balance whose weights are all exact cannot be closed by changing weights."""
    if not len(kept.names):
        return
    size = np.sqrt(np.einsum("ncc->nc", h))
    bad = size <= 0
    if not bad.any():
        scaled, vectors = np.linalg.eigh(h / size[:, :, None] / size[:, None, :])
        bad = (scaled[:, :1] < SINGULAR) & (np.abs(vectors[:, :, 0]) > 0.1)
    if bad.any():
        batch = int(np.argwhere(bad)[0, 0])
        where = (
            f" (batch {int(rows[batch]) + 1 if len(h) > 1 else 1})"
            if rows is not None and len(rows) > 1
            else ""
        )
        names = ", ".join(name for name, wrong in zip(kept.names, bad[batch]) if wrong)
        raise OutOfRange(
            f"every weight that could give way at {names}{where} is called exact (sd 0 kg), so the balance cannot be reconciled; "
            "give each scale a standard deviation, at least its step divided by √12"
        )


def patterns(kg: np.ndarray, block: int | None = None) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """(rows, weighed) for each pattern of missing weights, at most `block` rows at a time, so that batches alike are solved together."""
    kinds, which = np.unique(~np.isnan(kg), axis=0, return_inverse=True)
    for number, weighed in enumerate(kinds):
        rows = np.flatnonzero(which.ravel() == number)
        for start in range(0, len(rows), block or max(len(rows), 1)):
            yield rows[start : start + (block or len(rows))], weighed

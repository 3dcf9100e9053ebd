"""The linear algebra of reconciling one batch, and the causes that its balances could point at."""

from collections.abc import Sequence

import numpy as np

from kit.errors import OutOfRange, need
from kit.yields.flows import Checks, Graph

SINGULAR = 1e-12
"""smallest eigenvalue of the scaled A V A' that double precision still tells from zero"""
SAME = 1e-9
"""1 - cos² between two patterns below which they are one pattern"""


def usable(graph: Graph, kg, sd_kg) -> tuple[np.ndarray, np.ndarray]:
    """kg and standard deviations (flows,); OutOfRange names the first flow that cannot be used."""
    kg, sd, f = np.asarray(kg, float), np.asarray(sd_kg, float), len(graph.flows)
    need(
        kg.shape == (f,),
        f"the weights have shape {kg.shape}; this graph has {f} flows: {', '.join(graph.names)}",
    )
    need(
        sd.shape in ((), (1,), (f,)),
        f"the standard deviations have shape {sd.shape}; give one, or {f} of them: one per weight",
    )
    sd = np.broadcast_to(sd, (f,))
    for name, weight, uncertainty in zip(graph.names, kg, sd):
        if np.isinf(weight) or weight < 0:
            raise OutOfRange(
                f"{name} weighs {weight:g} kg; it must be finite and 0 kg or more; "
                "write NaN where nothing was weighed"
            )
        if not np.isnan(weight) and not (np.isfinite(uncertainty) and uncertainty >= 0):
            raise OutOfRange(
                f"{name} has a standard deviation of {uncertainty:g} kg; it must be finite and 0 kg or more; "
                "give the scale's standard deviation"
            )
    return kg, sd


class LeastSquares:
    """All that does not need the weights: `variance` (flows,) is 0 where nothing was weighed."""

    def __init__(self, graph: Graph, kept: Checks, variance: np.ndarray):
        a, self.kept = kept.matrix, kept
        self.spread_of_missing = (a * variance) @ a.T
        _refuse_exact(kept, self.spread_of_missing)
        self.inverse = np.linalg.inv(self.spread_of_missing)
        self.gain = variance[:, None] * (a.T @ self.inverse)
        self.change = self.gain @ (a * variance)
        # weighed flows stay, determined ones follow from the balances of all nodes
        spread = np.diag(kept.weighed.astype(float))
        if not kept.weighed.all():
            unweighed = np.linalg.pinv(graph.incidence[:, ~kept.weighed])
            onto = -unweighed @ graph.incidence[:, kept.weighed]
            spread[np.ix_(~kept.weighed, kept.weighed)] = onto
        self.spread = spread
        self.cov = spread @ (np.diag(variance) - self.change) @ spread.T

    def close(self, y: np.ndarray) -> np.ndarray:
        """The nearest weights that close the balances; the second pass removes rounding."""
        for _ in range(2):
            y = y - self.gain @ (self.kept.matrix @ y)
        return y


def _refuse_exact(kept: Checks, h: np.ndarray) -> None:
    """A balance whose weights are all exact cannot be closed by changing weights."""
    if not len(kept.names):
        return
    size = np.sqrt(np.diag(h))
    bad = size <= 0
    if not bad.any():
        scaled, vectors = np.linalg.eigh(h / size[:, None] / size[None, :])
        bad = (scaled[0] < SINGULAR) & (np.abs(vectors[:, 0]) > 0.1)
    if bad.any():
        names = ", ".join(name for name, wrong in zip(kept.names, bad) if wrong)
        raise OutOfRange(
            f"every weight that could give way at {names} is called exact (sd 0 kg), "
            "so the balance cannot be reconciled; "
            "give each scale a standard deviation, at least its step divided by √12"
        )


Label = tuple[str, str, str]
"""(kind, place, unit) of a cause"""


def cause_labels(graph: Graph, scales: Sequence[str | None] | None) -> list[Label]:
    """Every cause, nodes first: an unrecorded loss is the commoner case."""
    shared = _shared(graph, scales)
    return [
        *(("node", node, "kg") for node in graph.nodes),
        *(("weight", name, "kg") for name in graph.names),
        *(("scale, fixed", scale, "kg") for scale in shared),
        *(("scale, share", scale, "%") for scale in shared),
        ("every stage", "every stage", "%"),
    ]


def pattern_table(
    graph: Graph, kept: Checks, x: np.ndarray, scales: Sequence[str | None] | None
) -> np.ndarray:
    """(causes, checks): what a cause of size 1 (kg, or 1 % of the weights x) leaves in the balances."""
    a, x = kept.matrix, np.where(kept.weighed, x, 0.0)
    nodes = np.zeros((len(graph.nodes), len(kept.names)))
    for check, group in enumerate(kept.groups):
        nodes[list(group), check] = 1.0
    on = [[s == scale for s in scales or ()] for scale in _shared(graph, scales)]
    on_scale = np.array(on, float).reshape(-1, len(graph.flows))
    every = np.maximum(a, 0) @ x / 100 if len(kept.names) > 1 else np.zeros(len(kept.names))
    return np.vstack([nodes, a.T, on_scale @ a.T, (on_scale * x) @ a.T / 100, every])


def _shared(graph: Graph, scales: Sequence[str | None] | None) -> list[str]:
    """The scales that weigh at least two flows; a scale with one is that weight."""
    if scales is None:
        return []
    need(
        len(scales) == len(graph.flows),
        f"{len(scales)} scales are named for {len(graph.flows)} flows; "
        "give one per flow, None where unknown",
    )
    named = [scale for scale in scales if scale is not None]
    return [scale for scale in dict.fromkeys(named) if named.count(scale) > 1]


def alike(table: np.ndarray, inverse: np.ndarray, information: np.ndarray) -> list[list[int]]:
    """Indices of testable causes, those with one pattern together."""
    found: list[list[int]] = []
    for cause in np.flatnonzero(~np.isnan(information)):
        for members in found:
            cross = table[cause] @ inverse @ table[members[0]]
            if 1 - cross**2 / (information[cause] * information[members[0]]) < SAME:
                members.append(int(cause))
                break
        else:
            found.append([int(cause)])
    return found

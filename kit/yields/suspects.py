"""Which single cause explains an imbalance best: a biased weight, or an unrecorded loss?

Each cause would leave its own pattern f in what is missing at the balances, r = b f, and takes the
test statistic down by T = (f'H⁻¹r)² / (f'H⁻¹f), with H = A V A' and b = f'H⁻¹r / f'H⁻¹f its size
(generalised likelihood ratio). Two causes with the same pattern cannot be distinguished by weighing this
batch; two with like patterns only when T differs enough.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy as sp

from kit import units
from kit.yields.flows import PREDICTED, Checks, Graph

SINGULAR = 1e-12
"""share of the largest below which double precision cannot tell a figure from zero"""
SAME = 1e-9
"""1 - cos² between two patterns below which they are one pattern"""
NODE, WEIGHT, EVERY = "node", "weight", "every stage"


@dataclass(frozen=True)
class SuspectCause:
    """One cause. Size of a weight: reading less truth; of a node: unrecorded loss."""

    kind: str
    """NODE, WEIGHT or EVERY"""
    place: str
    size: float
    """below 0: reads too low, or an unrecorded gain"""
    size_sd: float
    unit: str

    @property
    def is_loss(self) -> bool:
        """A flow rather than a scale."""
        return self.kind in (NODE, EVERY) or self.place.endswith(PREDICTED)

    def words(self, system: str = units.METRIC) -> str:
        kg, sd = (units.to_shown(kg, self.unit, system) for kg in (abs(self.size), self.size_sd))
        size = f"{kg:.3g} ± {sd:.2g} {units.shown_unit(self.unit, system)}"
        place, more = self.place, self.size > 0
        high, change = ("high", "loss") if more else ("low", "gain")
        if place.endswith(PREDICTED):
            than = "less" if more else "more"
            return f"{place.removesuffix(PREDICTED)} is {size} {than} than was predicted"
        if self.kind == EVERY:
            return f"unrecorded {change} of {size} of what goes through, at every stage"
        if self.kind == NODE:
            where = "from" if " to " in place else "in"
            return f"unrecorded {change} of {size} {where} {place}"
        return f"the weight {place} reads {size} too {high}"


@dataclass(frozen=True)
class SuspectGroup:
    """Causes with one and the same pattern: the balances cannot tell them apart."""

    causes: tuple[SuspectCause, ...]
    drop: float
    """by how much the test statistic falls when this cause is allowed for"""
    left: float
    limit: float
    """critical value of what is left; infinite where no balance is left"""

    @property
    def explains(self) -> bool:
        """What is left is within the uncertainty of the scales."""
        return self.left <= self.limit

    def words(self, system: str = units.METRIC) -> str:
        return ", or ".join(cause.words(system) for cause in self.causes)


def suspects(
    graph: Graph,
    kept: Checks,
    missing: np.ndarray,
    x: np.ndarray,
    inverse: np.ndarray,
    alpha: float,
) -> tuple[SuspectGroup, ...]:
    """Every single cause, best explanation first.

    missing: (checks,) kg in each balance; x: (flows,) reconciled kg; inverse of A V A'.
    """
    dof = len(kept.names)
    labels, table = _causes(graph, kept, x)
    if not dof:
        return ()
    stat = float(missing @ inverse @ missing)
    weighted = table @ inverse
    information = (weighted * table).sum(axis=1)
    # a pattern of pure rounding is no pattern
    floor = SINGULAR * max(information.max(initial=0.0), 1e-300)
    information = np.where(information > floor, information, np.nan)
    match = weighted @ missing
    limit = float(sp.special.chdtri(dof - 1, alpha)) if dof > 1 else float("inf")
    groups = []
    for members in _alike(table, inverse, information):
        causes = tuple(
            SuspectCause(
                *labels[m][:2],
                float(match[m] / information[m]),
                float(information[m] ** -0.5),
                labels[m][2],
            )
            for m in members
        )
        drop = float(match[members[0]] ** 2 / information[members[0]])
        groups.append(SuspectGroup(causes, drop, max(stat - drop, 0.0), limit))
    return tuple(sorted(groups, key=lambda group: -group.drop))


def _causes(
    graph: Graph, kept: Checks, x: np.ndarray
) -> tuple[list[tuple[str, str, str]], np.ndarray]:
    """(kind, place, unit) of every cause, an unrecorded loss first as the commoner case.

    With them (causes, checks): what a cause of size 1 (kg, or 1 % of the weights x) leaves there.
    """
    a, x = kept.matrix, np.where(kept.weighed, x, 0.0)
    every = np.maximum(a, 0) @ x / 100 if len(kept.names) > 1 else np.zeros(len(kept.names))
    labels = [
        *((NODE, node, "kg") for node in graph.nodes),
        *((WEIGHT, name, "kg") for name in graph.names),
        (EVERY, EVERY, "%"),
    ]
    return labels, np.vstack([kept.joined.T, a.T, every])


def _alike(table: np.ndarray, inverse: np.ndarray, information: np.ndarray) -> list[list[int]]:
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


def look_at(causes: Sequence[SuspectCause]) -> str:
    """The measurement that tells these causes apart."""
    scales = dict.fromkeys(c.place for c in causes if not c.is_loss)
    places = (c.place.removesuffix(PREDICTED) for c in causes if c.is_loss)
    nodes = dict.fromkeys(place.removeprefix("lost in ") for place in places)
    test = f"Put a known test weight on the scale that gave {' and '.join(scales)}"
    look = f"catch and weigh what leaves {', '.join(nodes)}, and look for entries not written down"
    if scales and nodes:
        return f"{test}; if it reads true, {look}."
    return f"{test}." if scales else f"{look[:1].upper()}{look[1:]}."

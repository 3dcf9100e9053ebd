"""Does the mass balance close within the uncertainty of the scales; which weights fit it best?

Weighted least squares on the flow graph: the smallest change of the weights, each measured by its own
standard deviation, that closes every balance. With y the weights, V their variances, A the balances
and r = A y what is missing in each:

    x = y − V A'(A V A')⁻¹ r        cov = V − V A'(A V A')⁻¹ A V
    g = r'(A V A')⁻¹ r  ~  chi² with rank A degrees of freedom

Unweighed flows are taken out by projection: nodes that an unweighed flow joins are balanced together
(flows.checks), and the unweighed flows that are then determined follow from the balances.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import chdtrc, chdtri, ndtri

from kit import tables
from kit.errors import need
from kit.working import Result, Step, step
from kit.yields.flows import Checks, Graph, checks
from kit.yields.least_squares import SINGULAR, LeastSquares, usable
from kit.yields.suspects import Suspects, suspects


@dataclass(frozen=True, eq=False)
class Reconciled(Result):
    """One batch's weights, closed by least squares. NaN where nothing can be said."""

    graph: Graph
    kg: np.ndarray
    """(flows,) as weighed"""
    reconciled_kg: np.ndarray
    sd_kg: np.ndarray
    z: np.ndarray
    """measurement test: size of the change of a weight over the standard deviation of that change"""
    z_limit: float
    """a single z above this is unusual among this many weights (Sidak)"""
    checks: Checks
    missing_kg: np.ndarray
    """(checks,) what is missing in each balance"""
    node_z: np.ndarray
    """the same over its standard deviation; positive: more in than out"""
    global_stat: float
    dof: int
    limit: float
    """critical value of the global test at this level (chi²)"""
    p: float
    alpha: float
    suspects: Suspects

    @property
    def closes(self) -> bool | None:
        """No imbalance beyond the scales' uncertainty; None where nothing checks it. No proof."""
        return bool(self.p >= self.alpha) if self.dof else None

    @property
    def unusual(self) -> tuple[str, ...]:
        """Weights that change more than their uncertainty allows. One leak makes several."""
        return tuple(name for name, z in zip(self.graph.names, self.z) if z > self.z_limit)

    def weight(self, flow: str) -> float:
        return float(self.reconciled_kg[self.graph.column(flow)])


def reconcile(
    graph: Graph, kg, sd_kg, alpha: float | None = None, scales: Sequence[str | None] | None = None
) -> Reconciled:
    """Reconcile the weights of one batch with its balances.

    graph: stages and flows
    kg: weight of each flow, shape (flows,), kg, nan where not weighed
    sd_kg: standard deviation, one or of each flow, kg
    alpha: chance of a false alarm, 0 to 1 (a data row where left out)
    scales: each flow's scale
    Returns Reconciled: reconciled weights, adjustments, the global test and its suspects.
    Raises OutOfRange for a negative or infinite weight, a missing standard deviation, and balances whose weights are all called exact.
    Valid for independent, normal errors; weights of one scale share its bias.
    Source: weighted least squares and the chi-square test of data reconciliation; data/reference/yields.csv.
    """
    alpha = tables.value("yields_alpha") if alpha is None else float(alpha)
    need(
        0 < alpha < 1,
        f"alpha is {alpha:g}; the chance of a false alarm lies between 0 and 1, such as 0.05",
    )
    kg, sd = usable(graph, kg, sd_kg)
    weighed = ~np.isnan(kg)
    kept, variance = checks(graph, weighed), np.where(weighed, sd, 0.0) ** 2
    solved = LeastSquares(graph, kept, variance)
    y, dof = np.where(weighed, kg, 0.0), len(kept.names)
    best, known = solved.close(y), weighed | kept.determinable
    x = np.where(known, solved.spread @ best, np.nan)
    x_sd = np.where(known, np.sqrt(np.maximum(np.diag(solved.cov), 0.0)), np.nan)
    change_var = np.diag(solved.change)
    tested = weighed & (change_var > SINGULAR * variance) & (change_var > 0)
    z = np.where(tested, np.abs(best - y) / np.sqrt(np.where(tested, change_var, 1.0)), np.nan)
    missing = kept.matrix @ y
    stat = float(missing @ solved.inverse @ missing) if dof else float("nan")
    found = suspects(graph, kept, kg, x, solved.inverse, alpha, scales)
    single = sum(any(cause.kind == "weight" for cause in group.causes) for group in found.groups)
    return Reconciled(
        graph,
        kg,
        x,
        x_sd,
        z,
        float(-ndtri((1 - (1 - alpha) ** (1 / max(single, 1))) / 2)),
        kept,
        missing,
        missing / np.sqrt(np.diag(solved.spread_of_missing)),
        stat,
        dof,
        float(chdtri(max(dof, 1), alpha)),
        float(chdtrc(dof, stat)) if dof else float("nan"),
        alpha,
        found,
        own_notes=_notes(graph, kept, x, z),
        own_sources=(
            tables.cite("bagajewicz_rollins"),
            tables.cite("narasimhan_jordache_2000", "", "memory"),
            tables.cite("mah_tamhane_1982", "", "memory"),
            tables.cite("narasimhan_mah_1987", "generalised likelihood ratio", "memory"),
            tables.number("yields_evidence_ratio").cite(),
        ),
        own_working=_working(graph, kept, y, variance, x, stat),
    )


def sd_of_step(step_kg: float) -> float:
    """The least standard deviation, kg, of a scale that shows steps of `step_kg`: step/√12.

    Every true weight within the step is as likely. Raises OutOfRange for a step of 0 or less.
    """
    need(step_kg > 0, f"the scale's step is {step_kg:g} kg; it must be more than 0")
    return step_kg / 12**0.5


def _notes(graph: Graph, kept: Checks, x: np.ndarray, z: np.ndarray) -> tuple[str, ...]:
    names, weighed = np.array(graph.names), kept.weighed
    balanced = {node for group in kept.groups for node in group}
    unchecked = [name for node, name in enumerate(graph.nodes) if node not in balanced]
    joined = [name for name, group in zip(kept.names, kept.groups) if len(group) > 1]
    notes = []
    if not kept.names:
        notes.append(
            "no balance has all its flows weighed: "
            "nothing checks this mass balance, and the weights stand as they are"
        )
    elif unchecked:
        notes.append(
            "not checked, because a flow that leaves or enters there is not weighed: "
            + ", ".join(unchecked)
        )
    notes += [
        f"{name} is balanced as one, because a flow inside it is not weighed" for name in joined
    ]
    loose = names[weighed & np.isnan(z)]
    if len(loose) and kept.names:
        notes.append(f"no balance tests {', '.join(loose)}: an error there stays unseen")
    lost = names[~weighed & ~kept.determinable]
    if len(lost):
        notes.append(f"cannot be determined from these weights: {', '.join(lost)}")
    below = names[x < 0]
    if len(below):
        notes.append(
            f"reconciled below 0 kg, which cannot be: {', '.join(below)}; "
            "a weight or a flow is missing from the ledger"
        )
    return tuple(notes)


def _working(
    graph: Graph, kept: Checks, y: np.ndarray, variance: np.ndarray, x: np.ndarray, stat: float
) -> tuple[Step, ...]:
    """What is missing in each balance, over its standard deviation; a single balance in full.

    Keys: 'missing at cook', 'sd of missing at cook', 'z at cook', 'reconciled in'.
    """
    steps: list[Step] = []
    for name, row in zip(kept.names, kept.matrix):
        columns = np.flatnonzero(row)
        signed, summed = "", []
        weights: dict[str, Any] = {}
        doubts: dict[str, Any] = {}
        for n, c in enumerate(columns, 1):
            weights[f"m{n}"] = (y[c], "kg", graph.names[c])
            doubts[f"s{n}"] = (variance[c] ** 0.5, "kg", f"standard deviation of {graph.names[c]}")
            signed += f" {'+' if row[c] > 0 else '−'} m{n}"
            summed.append(f"s{n}^2")
        signed = signed.removeprefix(" + ").replace(" − m1", "−m1", 1)
        r, s = float(row @ y), float(row**2 @ variance) ** 0.5
        missing, sd = (r, "kg", "missing"), (s, "kg", "standard deviation of r")
        at, over = f"missing at {name}", f"missing over its standard deviation at {name}"
        root, own_sd = f"S = √({' + '.join(summed)})", (s, "kg", "its standard deviation")
        steps += [
            step(at, f"r = {signed}", r, "kg", key=at, **weights),
            step(f"standard deviation of what is {at}", root, s, "kg", key=f"sd of {at}", **doubts),
            step(over, "z = r / S", r / s, key=f"z at {name}", r=missing, S=own_sd),
        ]
        if len(kept.names) > 1:
            continue
        for c in columns:
            what, m = f"reconciled {graph.names[c]}", (y[c], "kg", "weighed")
            formula = f"x = m {'−' if row[c] > 0 else '+'} s^2 × r / S^2"
            own = (variance[c] ** 0.5, "kg", "its standard deviation")
            steps.append(step(what, formula, x[c], "kg", key=what, m=m, s=own, r=missing, S=sd))
        steps.append(step("test statistic", "g = (r / S)^2", stat, r=missing, S=sd))
    return tuple(steps)

"""Do the books close within the scales' doubt, and which weights fit the balances best?

Weighted least squares on the flow graph: the smallest change of the weights, each measured by its own doubt, that closes
every balance. With y the weights, V their variances, A the balances and r = A y what is missing in each:

    x = y − V A'(A V A')⁻¹ r        cov = V − V A'(A V A')⁻¹ A V        g = r'(A V A')⁻¹ r  ~  chi² with rank A degrees of freedom

Unweighed flows are taken out by projection: nodes that an unweighed flow joins are balanced together (flows.checks), and
the unweighed flows that are then determined follow from the balances. No large variance is made up for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, chdtri, ndtri

from kit import tables
from kit.errors import need
from kit.working import Step, step
from kit.yields.algebra import BLOCK, SINGULAR, Solved, patterns, sound
from kit.yields.flows import Checks, Graph, checks
from kit.yields.suspects import Suspects, blame


@dataclass(frozen=True)
class ManyReconciled:
    """Arrays over batches: (n_batches, n_flows), (n_batches, n_nodes) or (n_batches,). NaN where nothing can be said."""

    graph: Graph
    kg: np.ndarray
    reconciled_kg: np.ndarray
    sd_kg: np.ndarray
    """doubt of the reconciled weight"""
    z: np.ndarray
    """measurement test: the change of a weight over the doubt of that change, by size; NaN where no balance checks it"""
    missing_kg: np.ndarray
    """(n_batches, n_nodes): what is missing at the node before reconciling; joined nodes share one value"""
    node_z: np.ndarray
    """the same over its doubt, signed: positive is more in than out"""
    global_stat: np.ndarray
    dof: np.ndarray
    p: np.ndarray
    """chance of at least this imbalance in books that close; NaN without a check"""
    alpha: float

    @property
    def flagged(self) -> np.ndarray:
        return self.p < self.alpha


@dataclass(frozen=True)
class Reconciled:
    """One batch's books, closed by least squares."""

    graph: Graph
    kg: np.ndarray
    reconciled_kg: np.ndarray
    sd_kg: np.ndarray
    cov_kg2: np.ndarray
    z: np.ndarray
    z_limit: float
    """a single z above this is unusual among this many weights (Sidak)"""
    checks: Checks
    missing_kg: np.ndarray
    """(checks,) what is missing in each balance"""
    node_z: np.ndarray
    global_stat: float
    dof: int
    limit: float
    """chi² limit of the global test at this level"""
    p: float
    alpha: float
    suspects: Suspects
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def closes(self) -> bool | None:
        """No imbalance beyond the scales' doubt; None where nothing checks it. No proof that nothing is wrong."""
        return bool(self.p >= self.alpha) if self.dof else None

    @property
    def unusual(self) -> tuple[str, ...]:
        """Weights that the balances want changed more than their doubt allows. One leak makes several: see `suspects`."""
        return tuple(name for name, z in zip(self.graph.names, self.z) if z > self.z_limit)

    def weight(self, flow: str) -> float:
        return float(self.reconciled_kg[self.graph.column(flow)])


def reconcile(
    graph: Graph, kg, sd_kg, alpha: float | None = None, scales: Sequence[str | None] | None = None
) -> Reconciled:
    """Reconcile one batch. `kg` (flows,) with NaN where not weighed; `sd_kg` one doubt or (flows,); `scales` names each flow's scale.

    Raises OutOfRange for a negative or endless weight, a missing doubt, and for balances whose weights are all called exact.
    """
    many = reconcile_many(graph, np.atleast_2d(np.asarray(kg, float)), sd_kg, alpha)
    need(
        len(many.kg) == 1, f"reconcile takes one batch, and got {len(many.kg)}; use reconcile_many"
    )
    y, weighed = many.kg[0], ~np.isnan(many.kg[0])
    variance = np.where(weighed, np.broadcast_to(np.asarray(sd_kg, float), y.shape), 0.0) ** 2
    kept = checks(graph, weighed)
    left = Solved(kept, variance[None], graph)
    dof, limit = len(kept.names), float(chdtri(max(len(kept.names), 1), many.alpha))
    missing = kept.matrix @ np.where(weighed, y, 0.0)
    node_sd = np.sqrt(np.einsum("cf,f->c", kept.matrix**2, variance))
    cov = left.spread @ left.cov[0] @ left.spread.T
    suspects = blame(graph, kept, y, many.reconciled_kg[0], left.inverse[0], many.alpha, scales)
    tested = sum(any(cause.kind == "weight" for cause in group.causes) for group in suspects.groups)
    z_limit = float(-ndtri((1 - (1 - many.alpha) ** (1 / max(tested, 1))) / 2))
    cited = (
        tables.cite("bagajewicz_rollins"),
        *(
            tables.cite(key, "", "memory")
            for key in ("narasimhan_jordache_2000", "mah_tamhane_1982")
        ),
    )
    return Reconciled(
        graph,
        y,
        many.reconciled_kg[0],
        many.sd_kg[0],
        cov,
        many.z[0],
        z_limit,
        kept,
        missing,
        missing / node_sd if dof else missing,
        float(many.global_stat[0]),
        dof,
        limit,
        float(many.p[0]),
        many.alpha,
        suspects,
        _notes(graph, kept, many),
        cited,
        _working(graph, kept, y, variance, many),
    )


def reconcile_many(graph: Graph, kg, sd_kg, alpha: float | None = None) -> ManyReconciled:
    """Reconcile many batches on one graph. `kg` (n_batches, n_flows), NaN where not weighed; `sd_kg` broadcasts to it."""
    alpha = _alpha(alpha)
    kg, sd = sound(graph, kg, sd_kg)
    n, f = kg.shape
    x, x_sd, z = (np.full((n, f), np.nan) for _ in range(3))
    missing, node_z = (np.full((n, len(graph.nodes)), np.nan) for _ in range(2))
    g, dof = np.full(n, np.nan), np.zeros(n, int)
    for rows, weighed in patterns(kg, None if len(sd) == 1 else BLOCK):
        kept = checks(graph, weighed)
        variance = np.where(weighed, sd if len(sd) == 1 else sd[rows], 0.0) ** 2
        solved = Solved(kept, variance, graph, rows)
        y = np.where(weighed, kg[rows], 0.0)
        best = solved.close(y)
        x[rows] = np.where(weighed | kept.determinable, best @ solved.spread.T, np.nan)
        x_var = ((solved.spread @ solved.cov) * solved.spread).sum(axis=2)
        x_sd[rows] = np.where(weighed | kept.determinable, np.sqrt(np.maximum(x_var, 0.0)), np.nan)
        change_var = np.einsum("nff->nf", solved.change)
        tested = weighed & (change_var > SINGULAR * variance) & (change_var > 0)
        z[rows] = np.where(
            tested, np.abs(best - y) / np.sqrt(np.where(tested, change_var, 1.0)), np.nan
        )
        dof[rows] = len(kept.names)
        if len(kept.names):
            r = y @ kept.matrix.T
            g[rows] = np.einsum(
                "nc,ncd,nd->n",
                r,
                np.broadcast_to(solved.inverse, (len(r), *solved.inverse.shape[1:])),
                r,
            )
            r_z = r / np.sqrt(np.einsum("ncc->nc", solved.spread_of_missing))
            for check, group in enumerate(kept.groups):
                for node in group:
                    missing[rows, node], node_z[rows, node] = r[:, check], r_z[:, check]
    p = np.where(dof > 0, chdtrc(np.maximum(dof, 1), g), np.nan)
    return ManyReconciled(graph, kg, x, x_sd, z, missing, node_z, g, dof, p, alpha)


def sd_of_step(step_kg: float) -> float:
    """The least doubt of a scale that shows steps of `step_kg`: every true weight within the step is as likely, step/√12."""
    need(step_kg > 0, f"the scale's step is {step_kg:g} kg; it must be more than 0")
    return step_kg / 12**0.5


def _alpha(alpha: float | None) -> float:
    alpha = tables.value("yields_alpha") if alpha is None else float(alpha)
    need(
        0 < alpha < 1,
        f"alpha is {alpha:g}; the chance of a false alarm lies between 0 and 1, such as 0.05",
    )
    return alpha


def _notes(graph: Graph, kept: Checks, many: ManyReconciled) -> tuple[str, ...]:
    names, weighed = np.array(graph.names), kept.weighed
    notes = []
    if not kept.names:
        notes.append(
            "no balance has all its flows weighed: nothing checks these books, and the weights stand as they are"
        )
    unchecked = [
        name
        for node, name in enumerate(graph.nodes)
        if not any(node in group for group in kept.groups)
    ]
    if unchecked and kept.names:
        notes.append(
            f"not checked, because a flow that leaves or enters there is not weighed: {', '.join(unchecked)}"
        )
    notes += [
        f"{name} is balanced as one, because a flow inside it is not weighed"
        for name, group in zip(kept.names, kept.groups)
        if len(group) > 1
    ]
    loose = names[weighed & np.isnan(many.z[0])]
    if len(loose) and kept.names:
        notes.append(f"no balance tests {', '.join(loose)}: an error there stays unseen")
    lost = names[~weighed & ~kept.determinable]
    if len(lost):
        notes.append(f"cannot be determined from these weights: {', '.join(lost)}")
    below = names[many.reconciled_kg[0] < 0]
    if len(below):
        notes.append(
            f"reconciled below 0 kg, which cannot be: {', '.join(below)}; a weight or a flow is missing from the books"
        )
    return tuple(notes)


def _working(graph: Graph, kept: Checks, y, variance, many: ManyReconciled) -> tuple[Step, ...]:
    """What is missing in each balance, over its doubt; for a single balance also each reconciled weight and the global figure."""
    steps = []
    for name, row in zip(kept.names, kept.matrix):
        columns = np.flatnonzero(row)
        weights = {f"m{n}": (y[c], "kg", graph.names[c]) for n, c in enumerate(columns, 1)}
        doubts = {
            f"s{n}": (variance[c] ** 0.5, "kg", f"doubt of {graph.names[c]}")
            for n, c in enumerate(columns, 1)
        }
        signed = (
            " ".join(("+ " if row[c] > 0 else "− ") + f"m{n}" for n, c in enumerate(columns, 1))
            .removeprefix("+ ")
            .replace("− m1", "−m1", 1)
        )
        summed = " + ".join(f"{s}^2" for s in doubts)
        r, h = float(row @ np.where(kept.weighed, y, 0.0)), float(row**2 @ variance)
        steps += [
            step(f"missing at {name}", f"r = {signed}", r, "kg", **weights),
            step(f"doubt of what is missing at {name}", f"S = √({summed})", h**0.5, "kg", **doubts),
            step(
                f"missing over its doubt at {name}",
                "z = r / S",
                r / h**0.5,
                "",
                r=(r, "kg", "missing"),
                S=(h**0.5, "kg", "its doubt"),
            ),
        ]
        if len(kept.names) == 1:
            steps += [
                step(
                    f"reconciled {graph.names[c]}",
                    f"x = m {'−' if row[c] > 0 else '+'} s^2 × r / S^2",
                    many.reconciled_kg[0, c],
                    "kg",
                    m=(y[c], "kg", "weighed"),
                    s=(variance[c] ** 0.5, "kg", "its doubt"),
                    r=(r, "kg", "missing"),
                    S=(h**0.5, "kg", "doubt of r"),
                )
                for c in columns
            ]
            steps.append(
                step(
                    "global figure",
                    "g = (r / S)^2",
                    float(many.global_stat[0]),
                    "",
                    r=(r, "kg", "missing"),
                    S=(h**0.5, "kg", "doubt of r"),
                )
            )
    return tuple(steps)

"""Does the mass balance close within the uncertainty of the scales; which weights fit it best?

Weighted least squares on the flow graph: the smallest change of the weights, each measured by its own
standard deviation, that closes every balance. With y the weights, V their variances, A the balances
and r = A y what is missing in each:

    x = y − V A'(A V A')⁻¹ r        cov = V − V A'(A V A')⁻¹ A V
    g = r'(A V A')⁻¹ r  ~  chi² with rank A degrees of freedom

Unweighed flows are taken out by projection: nodes that an unweighed flow joins are balanced together
(flows.checks), and the unweighed flows that are then determined follow from the balances.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import log

import numpy as np
import scipy as sp

from kit import tables, units
from kit.faults import need_said
from kit.working import Result, Step, notes_of, working_of
from kit.yields.flows import Checks, Graph, checks
from kit.yields.suspects import SINGULAR, WEIGHT, SuspectGroup, look_at, suspects

DIGITS = 9
"""decimals of kg that an imbalance keeps; beyond them is rounding, and a sum that closes is 0"""


@dataclass(frozen=True, eq=False)
class Reconciled(Result):
    """One batch's weights, closed by least squares. NaN where nothing can be said."""

    graph: Graph
    kg: np.ndarray
    """(flows,) as weighed"""
    reconciled_kg: np.ndarray
    sd_kg: np.ndarray
    z: np.ndarray
    """measurement test: size of the adjustment of a weight over its standard deviation"""
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
    suspects: tuple[SuspectGroup, ...]
    """every single cause, best explanation first"""

    @property
    def closes(self) -> bool | None:
        """No imbalance beyond the scales' uncertainty; None where nothing checks it. No proof."""
        return bool(self.p >= self.alpha) if self.dof else None

    @cached_property
    def unusual(self) -> tuple[str, ...]:
        """Weights adjusted by more than their uncertainty allows. One leak makes several."""
        return tuple(name for name, z in zip(self.graph.names, self.z) if z > self.z_limit)

    @property
    def rivals(self) -> tuple[SuspectGroup, ...]:
        """Groups that explain the imbalance nearly as well as the first."""
        near = 2 * log(tables.value("yields_evidence_ratio"))
        best = self.suspects[0].drop if self.suspects else 0.0
        return tuple(group for group in self.suspects[1:] if best - group.drop < near)

    @property
    def told_apart(self) -> bool:
        """One cause alone explains the imbalance, and clearly better than every other."""
        if self.closes is not False:
            return False
        first = self.suspects[0]
        return first.explains and not self.rivals and len(first.causes) == 1

    def weight(self, flow: str) -> float:
        return float(self.reconciled_kg[self.graph.column(flow)])

    def words(self, system: str = units.METRIC) -> str:
        """What the balances say, in one or two sentences."""
        if self.closes is None:
            return "The mass balance cannot be checked: no balance has all its flows weighed."
        figures = f"(test statistic {self.global_stat:.1f}, critical value {self.limit:.1f})"
        if self.closes:
            return f"The mass balance closes within the uncertainty of the scales {figures}."
        first, opening = self.suspects[0], f"The mass balance does not close {figures}"
        said = first.words(system)
        if not first.explains:
            best = f"the best, {said}, leaves {first.left:.1f}"
            return f"{opening}, and no single cause explains it; {best}."
        if self.told_apart:
            return f"{opening}. One cause explains it best by far: {said}."
        rivals = "; ".join(group.words(system) for group in self.rivals)
        near = f" Nearly as likely: {rivals}." if rivals else ""
        if len(first.causes) == 1:
            return f"{opening}. Best explanation: {said}.{near}"
        unclear = "These causes cannot be told apart from the balances"
        return f"{opening}. Either {said}. {unclear}.{near}"

    @property
    def next_step(self) -> str:
        """The measurement that would settle it."""
        if self.closes is None:
            return "Weigh what is missing, at one stage at least."
        if self.closes:
            return (
                "Nothing to look for in this batch alone; "
                "a small loss repeated shows only across batches."
            )
        first = self.suspects[0]
        if not first.explains:
            return "Look for two causes at once, or for a scale less certain than was given."
        return look_at([*first.causes, *(c for group in self.rivals for c in group.causes)])


def reconcile(graph: Graph, kg, sd_kg) -> Reconciled:
    """Does the mass balance close; which weights fit it best, and what could keep it open?

    graph: nodes and flows, by hand or from `flows_of`.
    kg: weight of each flow (flows,), kg, 0 or more; NaN where not weighed.
    sd_kg: standard deviation of each weight, one or (flows,), kg, 0 or more.
    Returns Reconciled: reconciled weights (kg) with uncertainty, global and single tests, suspects.
    Raises OutOfRange for a negative or infinite weight, a missing standard deviation, and for
    balances whose weights are all called exact.
    Valid for independent, normally distributed errors of weighing; each cause is tried alone.
    Source: Bagajewicz and Rollins, Instrument Engineers' Handbook ch. 22; Narasimhan and Mah 1987.
    """
    alpha = tables.value("yields_alpha")
    kg, sd = _usable(graph, kg, sd_kg)
    weighed = ~np.isnan(kg)
    kept, variance = checks(graph, weighed), np.where(weighed, sd, 0.0) ** 2
    a, y, dof = kept.matrix, np.where(weighed, kg, 0.0), len(kept.names)
    missing, missing_cov = np.round(a @ y, DIGITS), (a * variance) @ a.T
    _refuse_exact(kept, missing_cov)
    inverse = np.linalg.inv(missing_cov)
    gain = variance[:, None] * (a.T @ inverse)
    change = gain @ (a * variance)
    best = y - gain @ missing
    best = best - gain @ (a @ best)  # removes rounding
    spread = _spread(graph, kept)
    cov = spread @ (np.diag(variance) - change) @ spread.T
    known = weighed | kept.determinable
    x = np.where(known, spread @ best, np.nan)
    x_sd = np.where(known, np.sqrt(np.maximum(np.diag(cov), 0.0)), np.nan)
    change_var = np.diag(change)
    tested = weighed & (change_var > SINGULAR * variance) & (change_var > 0)
    z = np.where(tested, np.abs(best - y) / np.sqrt(np.where(tested, change_var, 1.0)), np.nan)
    stat = float(missing @ inverse @ missing) if dof else float("nan")
    groups = suspects(graph, kept, missing, x, inverse, alpha)
    single = sum(any(cause.kind == WEIGHT for cause in group.causes) for group in groups)
    return Reconciled(
        graph,
        kg,
        x,
        x_sd,
        z,
        float(-sp.special.ndtri((1 - (1 - alpha) ** (1 / max(single, 1))) / 2)),
        kept,
        missing,
        missing / np.sqrt(np.diag(missing_cov)),
        stat,
        dof,
        float(sp.special.chdtri(max(dof, 1), alpha)),
        float(sp.special.chdtrc(dof, stat)) if dof else float("nan"),
        alpha,
        groups,
        own_notes=tuple(_notes(graph, kept, x, z)),
        own_sources=(
            tables.cite("bagajewicz_rollins"),
            tables.cite("narasimhan_jordache_2000", "", "memory"),
            tables.cite("mah_tamhane_1982", "", "memory"),
            tables.cite("narasimhan_mah_1987", "generalised likelihood ratio", "memory"),
            tables.number("yields_evidence_ratio").cite(),
        ),
        own_working=_working(graph, kept, y, variance, x, stat),
    )


def _usable(graph: Graph, kg, sd_kg) -> tuple[np.ndarray, np.ndarray]:
    """kg and standard deviations (flows,); OutOfRange names the first flow that cannot be used."""
    kg, sd, f = np.asarray(kg, float), np.asarray(sd_kg, float), len(graph.flows)
    names = ", ".join(graph.names)
    need_said(kg.shape == (f,), "weights of a graph", shape=kg.shape, flows=f, names=names)
    need_said(sd.shape in ((), (1,), (f,)), "uncertainties of a graph", shape=sd.shape, flows=f)
    sd = np.broadcast_to(sd, (f,))
    for name, weight, own_sd in zip(graph.names, kg, sd):
        if not np.isnan(weight):
            need_said(0 <= weight < np.inf, "weight of a flow", name=name, weight=weight)
            need_said(0 <= own_sd < np.inf, "uncertainty of a flow", name=name, sd=own_sd)
    return kg, sd


def _spread(graph: Graph, kept: Checks) -> np.ndarray:
    """(flows, flows): weighed flows stay, determined ones follow from the balances of all nodes."""
    spread, weighed = np.diag(kept.weighed.astype(float)), kept.weighed
    if not weighed.all():
        unweighed = np.linalg.pinv(graph.incidence[:, ~weighed])
        spread[np.ix_(~weighed, weighed)] = -unweighed @ graph.incidence[:, weighed]
    return spread


def _refuse_exact(kept: Checks, missing_cov: np.ndarray) -> None:
    """A balance whose weights are all exact cannot be closed by changing weights."""
    size = np.sqrt(np.diag(missing_cov))
    size = np.where(size > 0, size, 1.0)
    scaled, vectors = np.linalg.eigh(missing_cov / size[:, None] / size)
    stuck = (np.abs(vectors[:, scaled < SINGULAR]) > 0.1).any(axis=1)
    names = ", ".join(name for name, exact in zip(kept.names, stuck) if exact)
    need_said(not names, "exact weights", names=names)


def sd_of_step(step_kg: float) -> float:
    """The least standard deviation, kg, of a scale that shows steps of `step_kg`: step/√12.

    Every true weight within the step is as likely. Raises OutOfRange for a step of 0 or less.
    """
    need_said(step_kg > 0, "step of a scale", step_kg=step_kg)
    return step_kg / 12**0.5


def _notes(graph: Graph, kept: Checks, x: np.ndarray, z: np.ndarray) -> Iterator[str]:
    names, weighed, checked = np.array(graph.names), kept.weighed, bool(kept.names)
    unchecked = ", ".join(np.array(graph.nodes)[~kept.joined.any(axis=0)])
    holds = {"nothing": not checked, "alone": checked, "given": checked}
    holds["unchecked"] = checked and bool(unchecked)
    yield from notes_of("reconciliation", holds, unchecked=unchecked)
    for name, together in zip(kept.names, kept.joined):
        if together.sum() > 1:
            yield from notes_of("nodes together", {}, name=name)
    told = {
        "loose": ", ".join(names[weighed & np.isnan(z) & checked]),
        "lost": ", ".join(names[~weighed & ~kept.determinable]),
        "below": ", ".join(names[x < 0]),
    }
    yield from notes_of("weights not tested", told, **told)


def _working(
    graph: Graph, kept: Checks, y: np.ndarray, variance: np.ndarray, x: np.ndarray, stat: float
) -> tuple[Step, ...]:
    """What is missing in each balance, over its standard deviation; a single balance in full.

    Keys: 'missing at cook', 'sd of missing at cook', 'z at cook', 'reconciled in'.
    """
    steps: list[Step] = []
    for name, row in zip(kept.names, kept.matrix):
        columns = list(enumerate(np.flatnonzero(row), 1))
        known: dict[str, tuple[float, str, str]] = {}
        for n, c in columns:
            known[f"m{n}"] = (y[c], "kg", graph.names[c])
            known[f"s{n}"] = (variance[c] ** 0.5, "kg", f"sd of {graph.names[c]}")
        signed = "".join(f" {'+' if row[c] > 0 else '−'} m{n}" for n, c in columns)
        words = {
            "name": name,
            "signed": signed.removeprefix(" + ").replace(" − m1", "−m1", 1),
            "squares": " + ".join(f"s{n}^2" for n, _ in columns),
        }
        r, s = round(float(row @ y), DIGITS), float(row**2 @ variance) ** 0.5
        steps += working_of("balance", **words, **known, r=r, S=s, z=r / s)
        if len(kept.names) > 1:
            continue
        for n, c in columns:
            sign, answer = "−" if row[c] > 0 else "+", {f"x{n}": x[c]}
            said = {"flow": graph.names[c], "n": n, "sign": sign}
            steps += working_of("reconciled weight", **said, **known, **answer, r=r, S=s)
        steps += working_of("global test", g=stat, r=r, S=s)
    return tuple(steps)

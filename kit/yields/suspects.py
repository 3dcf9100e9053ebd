"""Which single cause explains an imbalance best: a weight that is wrong, or a flow that nobody wrote down?

Each cause would leave its own pattern f in what is missing at the balances, r = b f, and takes the global figure down by
T = (f'H⁻¹r)² / (f'H⁻¹f), with H = A V A' and b = f'H⁻¹r / f'H⁻¹f its size (generalised likelihood ratio). Two causes with
the same pattern cannot be told apart by weighing this batch; two with like patterns only when T differs enough.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log

import numpy as np
from scipy.special import chdtri

from kit import tables, units
from kit.errors import need
from kit.working import Step, step
from kit.yields.algebra import BLOCK, SINGULAR, Solved, patterns, sound
from kit.yields.flows import PREDICTED, Checks, Graph, checks

SAME = 1e-9
"""1 - cos² between two patterns below which they are one pattern"""


@dataclass(frozen=True)
class Cause:
    """One cause and its size. For a weight or scale: reading less truth. For a node: what left unrecorded (< 0: what came in)."""

    kind: str
    """'weight', 'node', 'scale, fixed', 'scale, share' or 'every stage'"""
    place: str
    size: float
    size_sd: float
    unit: str

    def words(self, system: str = units.METRIC) -> str:
        size, sd = (units.to_shown(kg, self.unit, system) for kg in (abs(self.size), self.size_sd))
        size = f"{size:.3g} ± {sd:.2g} {units.shown_unit(self.unit, system)}"
        high = "high" if self.size > 0 else "low"
        if self.place.endswith(PREDICTED):
            return f"{self.place.removesuffix(PREDICTED)} is {size} {'less' if self.size > 0 else 'more'} than was predicted"
        way = " to " in self.place
        gone = (
            f"{size} {'went astray' if self.size > 0 else 'turned up'} from {self.place}"
            if way
            else f"{size} {'left' if self.size > 0 else 'came into'} {self.place} unrecorded"
        )
        return {
            "weight": f"the weight {self.place} reads {size} too {high}",
            "node": gone,
            "scale, fixed": f"every weight on {self.place} reads {size} too {high}",
            "scale, share": f"{self.place} reads {size} too {high} throughout",
            "every stage": f"every stage {'loses' if self.size > 0 else 'gains'} {size} of what goes through it, unrecorded",
        }[self.kind]

    def __str__(self) -> str:
        return self.words()


@dataclass(frozen=True)
class Group:
    """Causes with one and the same pattern: the balances cannot tell them apart, whatever their size."""

    causes: tuple[Cause, ...]
    drop: float
    """by how much the global figure falls when this cause is allowed for"""
    left: float
    explains: bool
    """what is left is within the scales' doubt"""

    def words(self, system: str = units.METRIC) -> str:
        return ", or ".join(cause.words(system) for cause in self.causes)

    def __str__(self) -> str:
        return self.words()


@dataclass(frozen=True)
class Suspects:
    """Every single cause, best explanation first."""

    groups: tuple[Group, ...]
    closes: bool | None
    """None where nothing checks the books"""
    told_apart: bool
    """one cause alone explains the imbalance, and explains it clearly better than every other"""
    rivals: tuple[Group, ...]
    """groups that explain it nearly as well as the first"""
    evidence_ratio: float
    """likelihood of the first group over the second"""
    global_stat: float
    limit: float
    next_step: str
    sources: tuple[str, ...]
    notes: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def verdict(self) -> str:
        return self.words()

    def words(self, system: str = units.METRIC) -> str:
        """What the balances say, in one or two sentences."""
        if self.closes is None:
            return "Nothing checks these books: no balance has all its flows weighed."
        figures = f"(g {self.global_stat:.1f}, limit {self.limit:.1f})"
        if self.closes:
            return f"The books close within the scales' doubt {figures}."
        first = self.groups[0]
        if not first.explains:
            return f"The books do not close {figures}, and no single cause explains it; the best, {first.words(system)}, leaves {first.left:.1f}."
        opening = f"The books do not close {figures}. "
        if len(first.causes) == 1 and not self.rivals:
            return f"{opening}One cause explains it best by far: {first.words(system)}."
        near = (
            f" Nearly as likely: {'; '.join(group.words(system) for group in self.rivals)}."
            if self.rivals
            else ""
        )
        if len(first.causes) > 1:
            return f"{opening}Either {first.words(system)}: they leave one pattern, so the balances cannot tell them apart.{near}"
        return f"{opening}It fits best that {first.words(system)}.{near}"


@dataclass(frozen=True)
class ManySuspects:
    """Over batches: `drop` and `size` (n_batches, n_causes), NaN where a cause cannot be tested. `kinds` and `places` name the causes."""

    kinds: tuple[str, ...]
    places: tuple[str, ...]
    units: tuple[str, ...]
    drop: np.ndarray
    size: np.ndarray

    @property
    def best(self) -> np.ndarray:
        """(n_batches,) the first cause with the largest drop (causes of one pattern share it); -1 where none can be tested."""
        testable = ~np.isnan(self.drop).all(axis=1)
        filled = np.where(np.isnan(self.drop), -np.inf, self.drop)
        top = filled.max(axis=1, initial=-np.inf)
        return np.where(
            testable,
            np.argmax(filled >= top[:, None] - 1e-9 * (1 + np.abs(top[:, None])), axis=1),
            -1,
        )


def cause_labels(graph: Graph, scales) -> list[tuple[str, str, str]]:
    """(kind, place, unit) of every cause, nodes first: a hole in the books is the commoner case."""
    shared = _shared(graph, scales)
    return (
        [("node", node, "kg") for node in graph.nodes]
        + [("weight", name, "kg") for name in graph.names]
        + [("scale, fixed", scale, "kg") for scale in shared]
        + [("scale, share", scale, "%") for scale in shared]
        + [("every stage", "every stage", "%")]
    )


def _shared(graph: Graph, scales) -> list[str]:
    """The scales that weigh at least two flows; a scale with one is that weight."""
    if scales is None:
        return []
    need(
        len(scales) == len(graph.flows),
        f"{len(scales)} scales are named for {len(graph.flows)} flows; give one per flow, None where unknown",
    )
    return [
        scale
        for scale in dict.fromkeys(scales)
        if scale is not None and list(scales).count(scale) > 1
    ]


def pattern_table(graph: Graph, kept: Checks, x: np.ndarray, scales) -> np.ndarray:
    """(n, causes, checks): what a cause of size 1 (kg, or 1 % of the reconciled weights x) leaves in the balances."""
    a, n = kept.matrix, len(x)
    x = np.where(kept.weighed, x, 0.0)
    nodes = np.zeros((len(graph.nodes), len(kept.names)))
    for check, group in enumerate(kept.groups):
        nodes[list(group), check] = 1.0
    on = np.array(
        [[s == scale for s in scales] for scale in _shared(graph, scales)], float
    ).reshape(-1, len(graph.flows))
    same = np.vstack([nodes, a.T, on @ a.T])
    share = np.einsum("sf,nf,cf->nsc", on, x, a) / 100
    every = (
        np.einsum("nf,cf->nc", x, np.maximum(a, 0)) / 100
        if len(kept.names) > 1
        else np.zeros((n, len(kept.names)))
    )
    return np.concatenate(
        [np.broadcast_to(same, (n, *same.shape)), share, every[:, None, :]], axis=1
    )


def drops(table: np.ndarray, inverse: np.ndarray, r: np.ndarray):
    """(drop, size, information) each (n, causes); NaN where a pattern is nothing."""
    weighted = table @ inverse
    information = (weighted * table).sum(axis=2)
    # a pattern of pure rounding (one scale for everything, its share errors cancel) is no pattern
    floor = SINGULAR * np.maximum(information.max(axis=1, initial=0.0, keepdims=True), 1e-300)
    information = np.where(information > floor, information, np.nan)
    match = (weighted @ r[:, :, None])[:, :, 0]
    return match**2 / information, match / information, information


def suspect_many(
    graph: Graph, kg, sd_kg, scales: Sequence[str | None] | None = None
) -> ManySuspects:
    """Drop of the global figure and size for every single cause, over many batches on one graph (shapes as in reconcile_many)."""
    kg, sd = sound(graph, kg, sd_kg)
    labels = cause_labels(graph, scales)
    drop, size = (np.full((len(kg), len(labels)), np.nan) for _ in range(2))
    for rows, weighed in patterns(kg, BLOCK):
        kept = checks(graph, weighed)
        if not kept.names:
            continue
        variance = np.where(weighed, sd if len(sd) == 1 else sd[rows], 0.0) ** 2
        solved = Solved(kept, variance, graph, rows)
        y = np.where(weighed, kg[rows], 0.0)
        drop[rows], size[rows], _ = drops(
            pattern_table(graph, kept, solved.close(y), scales), solved.inverse, y @ kept.matrix.T
        )
    return ManySuspects(*zip(*labels), drop, size)


def blame(graph: Graph, kept: Checks, y, x, inverse, alpha: float, scales=None) -> Suspects:
    """The suspects of one batch: weights y (flows,), reconciled x, inverse of A V A'."""
    sources = (
        tables.cite("narasimhan_mah_1987", "generalised likelihood ratio", "memory"),
        tables.number("yields_evidence_ratio").cite(),
    )
    dof = len(kept.names)
    if not dof:
        return Suspects(
            (),
            None,
            False,
            (),
            float("nan"),
            float("nan"),
            float("nan"),
            "Weigh what is missing, at one stage at least.",
            sources,
            (),
            (),
        )
    r = kept.matrix @ np.where(kept.weighed, y, 0.0)
    g, limit = float(r @ inverse @ r), float(chdtri(dof, alpha))
    labels, table = (
        cause_labels(graph, scales),
        pattern_table(graph, kept, np.atleast_2d(x), scales),
    )
    drop, size, information = (values[0] for values in drops(table, inverse[None], r[None]))
    groups = []
    for members in alike(table[0], inverse, information):
        causes = tuple(
            Cause(
                labels[m][0],
                labels[m][1],
                float(size[m]),
                float(information[m] ** -0.5),
                labels[m][2],
            )
            for m in members
        )
        left = max(g - float(drop[members[0]]), 0.0)
        groups.append(
            Group(
                causes,
                float(drop[members[0]]),
                left,
                bool(dof == 1 or left <= chdtri(dof - 1, alpha)),
            )
        )
    groups.sort(key=lambda group: -group.drop)
    margin = 2 * log(tables.value("yields_evidence_ratio"))
    rivals = tuple(group for group in groups[1:] if groups[0].drop - group.drop < margin)
    ratio = (
        exp(min((groups[0].drop - groups[1].drop) / 2, 700.0)) if len(groups) > 1 else float("inf")
    )
    told = g > limit and groups[0].explains and not rivals and len(groups[0].causes) == 1
    notes = (
        "each cause is tried alone; two at once can look like a third",
        "a cause needs its doubts to be right: doubts given too small make suspects out of noise",
    )
    return Suspects(
        tuple(groups),
        g <= limit,
        told,
        rivals,
        ratio,
        g,
        limit,
        _next_step(groups, rivals, g <= limit),
        sources,
        notes,
        _working(g, groups, ratio),
    )


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


def _next_step(groups: Sequence[Group], rivals: Sequence[Group], closes: bool) -> str:
    if closes:
        return "Nothing to look for in this batch alone; a small loss repeated shows only across batches."
    if not groups[0].explains:
        return "Look for two causes at once, or for a scale whose doubt was given too small."
    return _look(*groups[0].causes, *(cause for group in rivals for cause in group.causes))


def _look(*causes: Cause) -> str:
    """The measurement that would settle it."""
    scales = list(
        dict.fromkeys(
            c.place
            for c in causes
            if c.kind not in ("node", "every stage") and not c.place.endswith(PREDICTED)
        )
    )
    nodes = list(
        dict.fromkeys(
            c.place.removesuffix(PREDICTED).removeprefix("lost in ")
            for c in causes
            if c.kind in ("node", "every stage") or c.place.endswith(PREDICTED)
        )
    )
    test = (
        f"Put a known test weight on the scale that gave {' and '.join(scales)}" if scales else ""
    )
    look = (
        f"catch and weigh what leaves {', '.join(nodes)}, and look for entries not written down"
        if nodes
        else ""
    )
    return (
        f"{test}; if it reads true, {look}."
        if test and look
        else f"{test or look[:1].upper() + look[1:]}."
    )


def _working(g: float, groups: list[Group], ratio: float) -> tuple[Step, ...]:
    steps = [
        step(
            "what the best cause leaves of the global figure",
            "l = max(g − T, 0)",
            groups[0].left,
            "",
            g=(g, "", "global figure"),
            T=(groups[0].drop, "", "drop"),
        )
    ]
    if len(groups) > 1 and groups[0].drop - groups[1].drop < 700:
        steps.append(
            step(
                "likelihood of the best cause over the next",
                "R = exp((T1 − T2) / 2)",
                ratio,
                "",
                T1=(groups[0].drop, "", "drop of the best"),
                T2=(groups[1].drop, "", "drop of the next"),
            )
        )
    return tuple(steps)

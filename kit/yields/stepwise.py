"""When no single cause explains the imbalance: which few do, taken one after another?

The best cause is taken out, the rest is tested again, and so on until the balance closes. The sizes
of all causes taken are calculated together, b = (P W P')⁻¹ P W r with W = (A V A')⁻¹ and one row of
P per cause, so that the first is not spoilt by the second.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from scipy.special import chdtri

from kit import tables, units
from kit.working import Result, step
from kit.yields.least_squares import SAME, Label, LeastSquares, alike, cause_labels, pattern_table
from kit.yields.reconcile import Reconciled
from kit.yields.suspects import SuspectCause

MOST = 3
"""causes taken; two are a reason to look, three a reason to weigh again"""


@dataclass(frozen=True)
class CauseStep:
    """One cause taken: all causes of its pattern, sized together with every other cause taken."""

    causes: tuple[SuspectCause, ...]
    rivals: tuple[SuspectCause, ...]
    """causes of other patterns that would have done nearly as well at this step"""
    left: float
    """of the test statistic after this step"""
    limit: float

    @property
    def told_apart(self) -> bool:
        return len(self.causes) == 1 and not self.rivals

    def words(self, system: str = units.METRIC) -> str:
        return ", or ".join(cause.words(system) for cause in self.causes)


@dataclass(frozen=True)
class StepwiseCauses(Result):
    """The causes in the order taken."""

    steps: tuple[CauseStep, ...]
    closes: bool | None
    """the balance closes once these causes are allowed for; None where nothing checks it"""


@dataclass(frozen=True, eq=False)
class _System:
    """The patterns of all causes against what is missing, r, weighted by W."""

    labels: list[Label]
    table: np.ndarray
    inverse: np.ndarray
    r: np.ndarray

    def beside(self, taken: list[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(patterns, drops, information) of every cause once those taken are allowed for.

        NaN for patterns that those taken already make up.
        """
        table, w, rest, own = self.table, self.inverse, self.r, self.table
        if taken:
            p = table[taken]
            onto = np.linalg.inv(p @ w @ p.T) @ (p @ w)
            rest, own = rest - (onto @ rest) @ p, table - (table @ onto.T) @ p
        full = np.einsum("cf,fg,cg->c", table, w, table)
        information = np.einsum("cf,fg,cg->c", own, w, own)
        enough = information > SAME * np.maximum(full, SAME * full.max())
        information = np.where(enough, information, np.nan)
        return own, (own @ w @ rest) ** 2 / information, information

    def together(self, causes: list[int]) -> tuple[np.ndarray, np.ndarray, float]:
        """(sizes, standard deviations, what is left of the test statistic) of causes together."""
        p = self.table[causes]
        cov = np.linalg.inv(p @ self.inverse @ p.T)
        size = cov @ (p @ self.inverse @ self.r)
        rest = self.r - size @ p
        return size, np.sqrt(np.diag(cov)), float(rest @ self.inverse @ rest)

    def separable(self, causes: list[int]) -> bool:
        p = self.table[causes]
        return bool(np.linalg.cond(p @ self.inverse @ p.T) < 1 / SAME)

    def cause(self, m: int, size: float, sd: float) -> SuspectCause:
        kind, place, unit = self.labels[m]
        return SuspectCause(kind, place, float(size), float(sd), unit)


def stepwise_causes(
    found: Reconciled, sd_kg, scales: Sequence[str | None] | None = None
) -> StepwiseCauses:
    """The causes that close the balance of `found`, at most three, best first.

    sd_kg: the standard deviations that it was reconciled with, kg. scales: each flow's scale.
    Several causes together explain almost anything.
    """
    sources = (tables.cite("narasimhan_mah_1987", "causes taken one after another", "memory"),)
    graph, kept = found.graph, found.checks
    if not found.dof:
        nothing = ("nothing checks these books",)
        return StepwiseCauses((), None, own_notes=nothing, own_sources=sources)
    sd = np.broadcast_to(np.asarray(sd_kg, float), found.kg.shape)
    inverse = LeastSquares(graph, kept, np.where(kept.weighed, sd, 0.0) ** 2).inverse
    table = pattern_table(graph, kept, found.reconciled_kg, scales)
    system = _System(cause_labels(graph, scales), table, inverse, found.missing_kg)
    near = 2 * log(tables.value("yields_evidence_ratio"))
    firsts: list[int] = []
    taken: list[tuple[list[int], list[int]]] = []
    left, ends, working = found.global_stat, [], []
    while left > _limit(found, len(taken)) and len(taken) < min(MOST, found.dof):
        own, drop, information = system.beside(firsts)
        if np.isnan(drop).all():
            break
        groups = sorted(alike(own, inverse, information), key=lambda members: -drop[members[0]])
        best = groups[0]
        close = [g for g in groups[1:] if drop[best[0]] - drop[g[0]] < near]
        taken.append((best, [m for group in close for m in group]))
        firsts.append(best[0])
        after = system.together(firsts)[2]
        what = f"left after {len(taken)}: {' of '.join(system.labels[best[0]][:2])}"
        before, gone = (left, "", "left before"), (left - after, "", "what this cause takes away")
        working.append(step(what, "l = g − T", after, g=before, T=gone))
        left = after
        ends.append((left, _limit(found, len(taken))))
    closes = bool(left <= _limit(found, len(taken)))
    notes: tuple[str, ...] = ()
    if not closes:
        notes = (
            f"{len(taken)} causes do not close these books: weigh again, "
            "or look whether the scales' doubt was given too small",
        )
    elif taken and len(taken) == found.dof:
        notes = ("as many causes as balances that check: any such causes would close these books",)
    return StepwiseCauses(
        tuple(
            CauseStep(*_named(system, turn, firsts, *taken[turn]), *end)
            for turn, end in enumerate(ends)
        ),
        closes,
        own_notes=notes,
        own_sources=sources,
        own_working=tuple(working),
    )


def _limit(found: Reconciled, taken: int) -> float:
    """Critical value with one degree of freedom spent on each cause; with none left, all closes."""
    left = found.dof - taken
    return float(chdtri(left, found.alpha)) if left > 0 else float("inf")


def _named(
    system: _System, turn: int, firsts: list[int], members: list[int], others: list[int]
) -> tuple[tuple[SuspectCause, ...], tuple[SuspectCause, ...]]:
    """(causes, rivals) of one step. Each cause is sized in the place of the first, others kept."""
    sized, rivals = [], list(others)
    for m in members:
        causes = [*firsts[:turn], m, *firsts[turn + 1 :]]
        if m == members[0] or system.separable(causes):
            size, sd, _ = system.together(causes)
            sized.append(system.cause(m, size[turn], sd[turn]))
        else:
            rivals.append(m)
    nan = float("nan")
    return tuple(sized), tuple(system.cause(m, nan, nan) for m in rivals)

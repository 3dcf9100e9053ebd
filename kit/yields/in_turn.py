"""When no single cause explains the imbalance: which few do, taken one after another?

The best cause is taken out, the rest is tested again, and so on until the books close. The sizes of all causes taken are worked out
together, b = (P W P')⁻¹ P W r with W = (A V A')⁻¹ and one row of P per cause, so that the first is not spoilt by the second.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from scipy.special import chdtri

from kit import tables, units
from kit.errors import need_between
from kit.working import Step, step
from kit.yields.algebra import Solved
from kit.yields.reconcile import Reconciled
from kit.yields.suspects import SAME, Cause, alike, cause_labels, pattern_table


@dataclass(frozen=True)
class Turn:
    """One cause taken: all causes of its pattern, their size when every cause taken is reckoned together, and what was left of the global figure then."""

    causes: tuple[Cause, ...]
    rivals: tuple[Cause, ...]
    """causes of other patterns that would have done nearly as well at this turn"""
    left: float
    limit: float

    @property
    def told_apart(self) -> bool:
        return len(self.causes) == 1 and not self.rivals

    def words(self, system: str = units.METRIC) -> str:
        return ", or ".join(cause.words(system) for cause in self.causes)


@dataclass(frozen=True)
class InTurn:
    """`closes`: the books close once the causes of `turns` are allowed for; None where nothing checks them."""

    turns: tuple[Turn, ...]
    closes: bool | None
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def causes_in_turn(
    found: Reconciled, sd_kg, scales: Sequence[str | None] | None = None, most: int = 3
) -> InTurn:
    """The causes that close the books of `found`, at most `most` of them, best first. `sd_kg` is what the books were reconciled with.

    Several causes together explain almost anything: two are a reason to look, three are a reason to weigh again.
    """
    most = int(need_between("number of causes", most, 1, 6))
    sources = (tables.cite("narasimhan_mah_1987", "causes taken one after another", "memory"),)
    graph, kept = found.graph, found.checks
    if not found.dof:
        return InTurn((), None, ("nothing checks these books",), sources, ())
    variance = (
        np.where(kept.weighed, np.broadcast_to(np.asarray(sd_kg, float), found.kg.shape), 0.0) ** 2
    )
    inverse = Solved(kept, variance[None], graph).inverse[0]
    labels, table = (
        cause_labels(graph, scales),
        pattern_table(graph, kept, found.reconciled_kg[None], scales)[0],
    )
    r, taken, ends, steps = found.missing_kg, [], [], []
    left, margin = found.global_stat, 2 * log(tables.value("yields_evidence_ratio"))
    while left > _limit(found, len(taken)) and len(taken) < min(most, found.dof):
        own, drop, information = _beside(table, inverse, r, [members[0] for members, _ in taken])
        if np.isnan(drop).all():
            break
        groups = sorted(alike(own, inverse, information), key=lambda members: -drop[members[0]])
        best = groups[0]
        taken.append(
            (
                best,
                [
                    m
                    for group in groups[1:]
                    if drop[best[0]] - drop[group[0]] < margin
                    for m in group
                ],
            )
        )
        after = _together(table[[members[0] for members, _ in taken]], inverse, r)[2]
        steps.append(
            step(
                f"left after {len(taken)}: {' of '.join(labels[best[0]][:2])}",
                "l = g − T",
                after,
                "",
                g=(left, "", "left before"),
                T=(left - after, "", "what this cause takes away"),
            )
        )
        left = after
        ends.append((left, _limit(found, len(taken))))
    turns = tuple(
        Turn(*_named(turn, taken, labels, table, inverse, r), *end) for turn, end in enumerate(ends)
    )
    closes = bool(left <= _limit(found, len(taken)))
    notes = []
    if not closes:
        notes.append(
            f"{len(taken)} causes do not close these books: weigh again, or look whether the scales' doubt was given too small"
        )
    elif taken and len(taken) == found.dof:
        notes.append(
            "as many causes as balances that check: any such causes would close these books"
        )
    return InTurn(turns, closes, tuple(notes), sources, tuple(steps))


def _limit(found: Reconciled, taken: int) -> float:
    """chi² limit with one degree of freedom spent on each cause; with none left, anything closes."""
    return float(chdtri(found.dof - taken, found.alpha)) if found.dof > taken else float("inf")


def _named(
    turn: int, taken, labels, table, inverse, r
) -> tuple[tuple[Cause, ...], tuple[Cause, ...]]:
    """(causes, rivals) of one turn. Each cause has the size it takes in the place of the first, all other turns kept."""
    (members, others), firsts, sized = taken[turn], [members[0] for members, _ in taken], []
    for m in members:
        patterns = table[[*firsts[:turn], m, *firsts[turn + 1 :]]]
        if m == members[0] or np.linalg.cond(patterns @ inverse @ patterns.T) < 1 / SAME:
            size, sd, _ = _together(patterns, inverse, r)
            sized.append(Cause(*labels[m][:2], float(size[turn]), float(sd[turn]), labels[m][2]))
        else:
            others = [*others, m]
    return tuple(sized), tuple(
        Cause(*labels[m][:2], float("nan"), float("nan"), labels[m][2]) for m in others
    )


def _together(patterns, inverse, r):
    """(sizes, their doubts, what is left of the global figure) of causes taken together."""
    information = patterns @ inverse @ patterns.T
    cov = np.linalg.inv(information)
    size = cov @ (patterns @ inverse @ r)
    rest = r - size @ patterns
    return size, np.sqrt(np.diag(cov)), float(rest @ inverse @ rest)


def _beside(table, inverse, r, taken):
    """(patterns, drops, information) of every cause once those taken are allowed for; NaN for patterns that these already make up."""
    rest, own = r, table
    if taken:
        p = table[taken]
        onto = np.linalg.inv(p @ inverse @ p.T) @ (p @ inverse)
        rest, own = r - (onto @ r) @ p, table - (table @ onto.T) @ p
    full = np.einsum("cf,fg,cg->c", table, inverse, table)
    information = np.einsum("cf,fg,cg->c", own, inverse, own)
    information = np.where(
        information > SAME * np.maximum(full, SAME * full.max()), information, np.nan
    )
    return own, (own @ inverse @ rest) ** 2 / information, information

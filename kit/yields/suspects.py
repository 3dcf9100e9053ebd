"""Which single cause explains an imbalance best: a weight that is wrong, or an unrecorded flow?

Each cause would leave its own pattern f in what is missing at the balances, r = b f, and takes the
test statistic down by T = (f'H⁻¹r)² / (f'H⁻¹f), with H = A V A' and b = f'H⁻¹r / f'H⁻¹f its size
(generalised likelihood ratio). Two causes with the same pattern cannot be told apart by weighing this
batch; two with like patterns only when T differs enough.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log

import numpy as np
from scipy.special import chdtri

from kit import tables, units
from kit.working import Result, Step, step
from kit.yields.flows import PREDICTED, Checks, Graph
from kit.yields.least_squares import SINGULAR, alike, cause_labels, pattern_table


@dataclass(frozen=True)
class SuspectCause:
    """One cause. Size of a weight or scale: reading less truth; of a node: what left unrecorded."""

    kind: str
    """'weight', 'node', 'scale, fixed', 'scale, share' or 'every stage'"""
    place: str
    size: float
    """below 0: reads too low, or came in"""
    size_sd: float
    unit: str

    def words(self, system: str = units.METRIC) -> str:
        kg, sd = (units.to_shown(kg, self.unit, system) for kg in (abs(self.size), self.size_sd))
        size = f"{kg:.3g} ± {sd:.2g} {units.shown_unit(self.unit, system)}"
        place, more = self.place, self.size > 0
        high = "high" if more else "low"
        if place.endswith(PREDICTED):
            than = "less" if more else "more"
            return f"{place.removesuffix(PREDICTED)} is {size} {than} than was predicted"
        if self.kind == "weight":
            return f"the weight {place} reads {size} too {high}"
        if self.kind == "scale, fixed":
            return f"every weight on {place} reads {size} too {high}"
        if self.kind == "scale, share":
            return f"{place} reads {size} too {high} throughout"
        if self.kind == "every stage":
            loses = "loses" if more else "gains"
            return f"every stage {loses} {size} of what goes through it, unrecorded"
        if " to " in place:
            return f"{size} {'went astray' if more else 'turned up'} from {place}"
        return f"{size} {'left' if more else 'came into'} {place} unrecorded"


@dataclass(frozen=True)
class SuspectGroup:
    """Causes with one and the same pattern: the balances cannot tell them apart."""

    causes: tuple[SuspectCause, ...]
    drop: float
    """by how much the test statistic falls when this cause is allowed for"""
    left: float
    explains: bool
    """what is left is within the uncertainty of the scales"""

    def words(self, system: str = units.METRIC) -> str:
        return ", or ".join(cause.words(system) for cause in self.causes)


@dataclass(frozen=True)
class Suspects(Result):
    """Every single cause, best explanation first."""

    groups: tuple[SuspectGroup, ...]
    closes: bool | None
    """None where nothing checks the mass balance"""
    rivals: tuple[SuspectGroup, ...]
    """groups that explain it nearly as well as the first"""
    global_stat: float
    limit: float
    limit_of_one: float
    """critical value of what one cause may leave; inf where nothing would check it"""

    @property
    def told_apart(self) -> bool:
        """One cause alone explains the imbalance, and clearly better than every other."""
        if self.closes is not False:
            return False
        first = self.groups[0]
        return first.explains and not self.rivals and len(first.causes) == 1

    def words(self, system: str = units.METRIC) -> str:
        """What the balances say, in one or two sentences."""
        if self.closes is None:
            return "Mass balance not checked: no balance has all its flows weighed."
        figures = f"(test statistic {self.global_stat:.1f}, critical value {self.limit:.1f})"
        if self.closes:
            return f"The mass balance closes within the uncertainty of the scales {figures}."
        first, opening = self.groups[0], f"The mass balance does not close {figures}"
        said = first.words(system)
        if not first.explains:
            best = f"the best, {said}, leaves {first.left:.1f}"
            return f"{opening}, and no single cause explains it; {best}."
        if self.told_apart:
            return f"{opening}. One cause explains it best by far: {said}."
        rivals = "; ".join(group.words(system) for group in self.rivals)
        near = f" Nearly as likely: {rivals}." if rivals else ""
        if len(first.causes) == 1:
            return f"{opening}. It fits best that {said}.{near}"
        unclear = "these causes cannot be told apart from the balances"
        return f"{opening}. Either {said}: {unclear}.{near}"

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
        first = self.groups[0]
        if not first.explains:
            return (
                "Look for two causes at once, or for a scale whose uncertainty was given too small."
            )
        return _look(*first.causes, *(cause for group in self.rivals for cause in group.causes))


def suspects(
    graph: Graph,
    kept: Checks,
    y: np.ndarray,
    x: np.ndarray,
    inverse: np.ndarray,
    alpha: float,
    scales: Sequence[str | None] | None = None,
) -> Suspects:
    """The suspects of one batch: weights y (flows,), reconciled x, inverse of A V A'."""
    dof, nan = len(kept.names), float("nan")
    if not dof:
        return Suspects((), None, (), nan, nan, nan)
    r = kept.matrix @ np.where(kept.weighed, y, 0.0)
    g, limit = float(r @ inverse @ r), float(chdtri(dof, alpha))
    of_one = float(chdtri(dof - 1, alpha)) if dof > 1 else float("inf")
    labels, table = cause_labels(graph, scales), pattern_table(graph, kept, x, scales)
    weighted = table @ inverse
    information = (weighted * table).sum(axis=1)
    # a pattern of pure rounding (one scale for everything: its share errors cancel) is no pattern
    floor = SINGULAR * max(information.max(initial=0.0), 1e-300)
    information = np.where(information > floor, information, np.nan)
    match = weighted @ r
    groups = []
    for members in alike(table, inverse, information):
        causes = []
        for m in members:
            kind, place, unit = labels[m]
            size, sd = float(match[m] / information[m]), float(information[m] ** -0.5)
            causes.append(SuspectCause(kind, place, size, sd, unit))
        drop = float(match[members[0]] ** 2 / information[members[0]])
        left = max(g - drop, 0.0)
        groups.append(SuspectGroup(tuple(causes), drop, left, left <= of_one))
    groups.sort(key=lambda group: -group.drop)
    near = 2 * log(tables.value("yields_evidence_ratio"))
    return Suspects(
        tuple(groups),
        g <= limit,
        tuple(group for group in groups[1:] if groups[0].drop - group.drop < near),
        g,
        limit,
        of_one,
        own_notes=(
            "each cause is tried alone; two at once can look like a third",
            "a cause needs its standard deviations to be right: "
            "uncertainties given too small make suspects out of noise",
        ),
        own_working=_working(g, groups),
    )


def _look(*causes: SuspectCause) -> str:
    def flow(cause: SuspectCause) -> bool:
        return cause.kind in ("node", "every stage") or cause.place.endswith(PREDICTED)

    scales = dict.fromkeys(c.place for c in causes if not flow(c))
    places = (c.place.removesuffix(PREDICTED) for c in causes if flow(c))
    nodes = dict.fromkeys(place.removeprefix("lost in ") for place in places)
    test = f"Put a known test weight on the scale that gave {' and '.join(scales)}"
    look = f"catch and weigh what leaves {', '.join(nodes)}, and look for entries not written down"
    if scales and nodes:
        return f"{test}; if it reads true, {look}."
    return f"{test}." if scales else f"{look[:1].upper()}{look[1:]}."


def _working(g: float, groups: list[SuspectGroup]) -> tuple[Step, ...]:
    best, what = groups[0], "what the best cause leaves of the test statistic"
    whole, drop = (g, "", "test statistic"), (best.drop, "", "drop")
    steps = [step(what, "l = max(g − T, 0)", best.left, key="left", g=whole, T=drop)]
    if len(groups) > 1 and best.drop - groups[1].drop < 700:
        what, ratio = (
            "likelihood of the best cause over the next",
            exp((best.drop - groups[1].drop) / 2),
        )
        first, second = (
            (best.drop, "", "drop of the best"),
            (groups[1].drop, "", "drop of the next"),
        )
        steps.append(step(what, "R = exp((T1 − T2) / 2)", ratio, T1=first, T2=second))
    return tuple(steps)

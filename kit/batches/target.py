"""Was a target met? The mean loss of a stage, and single batches, held against the loss that a person set for it."""

from dataclasses import dataclass

import numpy as np
import scipy as sp

from kit import tables
from kit.batches.compare import OVERALL
from kit.batches.means import Mean, by_unit, mean_of, units_of
from kit.batches.table import BatchTable
from kit.casing.scatter import share_interval_pct
from kit.errors import need_between, need_known
from kit.faults import need_said
from kit.working import Result, notes_of, working_of


@dataclass(frozen=True)
class LossTarget:
    """At most so much of what goes into `stage` (or 'overall') may be lost; `product`: '' for all of them."""

    stage: str
    loss_pct: float
    product: str = ""

    @property
    def name(self) -> str:
        return f"{self.stage}, {self.product}" if self.product else self.stage


@dataclass(frozen=True)
class Met(Result):
    """One target. `chance`: of the mean of many such batches being at or below it."""

    target: LossTarget
    unit: str
    batches: int
    mean: Mean
    chance: float
    batches_within: int
    within_interval_pct: tuple[float, float]
    """90 % interval of the share of batches at or below the target"""

    @property
    def within_pct(self) -> float:
        return 100 * self.batches_within / self.batches

    @property
    def chance_in_words(self) -> str:
        if np.isnan(self.chance):
            return f"one {self.unit} alone says nothing about the chance that the mean meets it"
        return f"chance that the mean meets it: {_percent(self.chance)}"

    @property
    def sentence(self) -> str:
        low, high = self.mean.interval
        t, off = self.target, self.mean.value - self.target.loss_pct
        how = f"90 % interval {low:.2f} to {high:.2f} %"
        how = "no interval from one alone" if np.isnan(low) else how
        way = f"{abs(off):.2f} percentage points {'above' if off > 0 else 'below'} the target of {t.loss_pct:g} %"
        said = f"{t.name}: mean loss {self.mean.value:.2f} % ({how}), {way}"
        if not np.isnan(self.chance):
            said += f"; {self.chance_in_words}"
        low, high = self.within_interval_pct
        return f"{said}. {self.batches_within} of {self.batches} batches met it ({self.within_pct:.0f} %; 90 % interval {low:.0f} to {high:.0f} %)."


def met(table: BatchTable, target: LossTarget) -> Met:
    """Whether a target of loss was met.

    table: weights by batch and stage, kg
    target: the largest loss that is wanted, % of all that goes into the stage
    Returns Met: mean with 90 % interval, the chance of having met the target, and the share of batches that did.
    Raises UnknownName for a stage or product that is not there; OutOfRange for a target outside 0 to 100 % or without weighed batches.
    Where batches share a lot, or else a day, it is the means of lots or days that vary by themselves; neighbours that resemble one another widen the interval.
    Source: Student's t with a flat prior; shares by Clopper and Pearson with the effective number of batches.
    """
    need_between(f"target loss of {target.name}, %", target.loss_pct, 0, 100)
    if target.stage == OVERALL:
        y = 100 - table.overall_yield_pct
    else:
        y = table.loss_pct[:, table.place(target.stage)]
    rows = np.isfinite(y)
    if target.product:
        made = sorted(set(table.made) - {""})
        need_known("product of these records", target.product, made)
        rows &= table.made == target.product
    need_said(bool(rows.any()), "no weighed batch", target=target.name)
    unit, codes = units_of(table)
    x = np.array(list(by_unit(y[rows], codes[rows]).values()))
    mean = mean_of(x)
    chance = of_next = np.nan
    if mean.dof > 0:
        off = target.loss_pct - mean.value
        chance = _below(off, mean.se, mean.dof)
        of_next = _below(off, float(np.hypot(mean.se, np.std(x, ddof=1))), mean.dof)
    within, several = y[rows] <= target.loss_pct, mean.dof > 0
    holds = {"next": several, "alone": not several}
    known = {"T": target.loss_pct, "m": mean.value, "s": mean.se}
    t = (target.loss_pct - mean.value) / mean.se if several and mean.se else None
    return Met(
        target,
        unit,
        int(rows.sum()),
        mean,
        chance,
        int(within.sum()),
        _share(within, codes[rows]),
        own_notes=notes_of("loss target", holds, unit=unit, of_next=_percent(of_next)),
        own_sources=(tables.computed("Student's t; Clopper and Pearson's interval of a share"),),
        own_working=working_of("loss target", name=target.name, t=t, **known),
    )


def _below(off: float, se: float, dof: float) -> float:
    return float(sp.special.stdtr(dof, off / se)) if se else float(off >= 0)


def _percent(chance: float) -> str:
    if chance < 0.001 or chance > 0.999:
        return "less than 0.1 %" if chance < 0.5 else "more than 99.9 %"
    return f"{100 * chance:.1f} %" if chance < 0.01 or chance > 0.99 else f"{100 * chance:.0f} %"


def _share(within: np.ndarray, codes: np.ndarray) -> tuple[float, float]:
    """With as many batches as would leave the share as uncertain if each stood for itself: fewer than there are, where lots share what they do."""
    n, share = len(within), float(within.mean())
    _, at, size = np.unique(codes, return_inverse=True, return_counts=True)
    k = len(size)
    enough = float(k)
    if k > 1 and 0 < share < 1:
        of = np.bincount(at, within - share)
        variance = float((of**2).sum()) / n**2
        enough = share * (1 - share) / variance if variance > 0 else float(n)
    enough = min(max(enough, 1.0), float(n))
    return share_interval_pct(share * enough, enough)

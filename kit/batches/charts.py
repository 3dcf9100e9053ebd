"""Is this stage stable? Control charts whose limits come from a stated baseline."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from kit import tables
from kit.batches import rules as run_rules
from kit.batches.constants import D2, constants
from kit.faults import need_said
from kit.working import Result, Step, notes_of, working_of

RANGE, RANGE_SAID = "range", "the range within the subgroup is outside its limits"


@dataclass(frozen=True)
class Phase:
    """Batches `first` to `last` (0-based, last included) judged by one centre and one sigma, taken from the first `baseline` of them."""

    first: int
    last: int
    baseline: int
    centre: float
    sigma: float
    least: float = -np.inf
    """what the charted figure cannot fall below"""

    @property
    def low(self) -> float:
        return max(self.centre - 3 * self.sigma, self.least)

    @property
    def high(self) -> float:
        return self.centre + 3 * self.sigma


@dataclass(frozen=True)
class RunRuleViolation:
    """A run rule is violated at batch `at` (0-based)."""

    at: int
    rule: str
    """a key of RULES, or RANGE of a subgroup"""

    @property
    def words(self) -> str:
        return RANGE_SAID if self.rule == RANGE else run_rules.RULES[self.rule][0]


@dataclass(frozen=True)
class Chart(Result):
    """Points, NaN where a batch has no value, and the phases that judge them."""

    values: np.ndarray
    phases: tuple[Phase, ...]
    alarms: tuple[RunRuleViolation, ...] = ()
    false_alarm_chance: Mapping[str, float] = field(default_factory=dict)
    """chance that the rule is violated at least once from random variation alone in as many batches as here, by rule, and for all asked rules "together" """
    ranges: "Chart | None" = None
    """moving ranges, or ranges of the subgroups, as a chart of their own"""

    @property
    def stable(self) -> bool:
        """No run rule is violated. With many batches a rule may well be violated by chance: see false_alarm_chance."""
        return not self.alarms


def _phases(n: int, starts: Sequence[int], baseline: int | None) -> list[tuple[int, int, int]]:
    starts = sorted({0, *(int(s) for s in starts)})
    need_said(starts[0] >= 0 and starts[-1] < n, "phase beyond", start=starts[-1] + 1, n=n)
    spans = [(a, b - 1) for a, b in zip(starts, [*starts[1:], n])]
    need_said(all(b - a >= 2 for a, b in spans), "short phase")
    need_said(baseline is None or baseline >= 3, "short baseline", baseline=baseline)
    return [(a, b, min(baseline or b - a + 1, b - a + 1)) for a, b in spans]


def i_mr(
    values,
    *,
    baseline: int | None = None,
    phase_starts: Sequence[int] = (),
    rules: Sequence[str] = run_rules.USUAL,
    unit: str = "",
) -> Chart:
    """Chart of individuals and moving ranges.

    values: one of each batch, in one unit, nan where missing
    baseline: how many first batches of each phase set the limits, 2 or more; all where left out
    phase_starts: batches, from 0, at which new limits begin
    rules: run rules to look for, of kit.batches.rules
    unit: unit of the values, for the words
    Returns Chart: centre line, limits at 3 mean moving ranges / d2, and what violates a run rule.
    Raises OutOfRange for too few values or phases out of order; UnknownName for a rule.
    Ranges bridge gaps. Moving ranges are correlated, so runs among them are not looked for.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, control charts.
    """
    x = np.asarray(values, float)
    need_said(x.ndim == 1 and np.isfinite(x).sum() >= 3, "few for a chart")
    phases = []
    steps: list[Step] = []
    for first, last, base in _phases(len(x), phase_starts, baseline):
        usable = x[first : first + base]
        usable = usable[np.isfinite(usable)]
        need_said(len(usable) >= 3, "empty baseline", first=first + 1, usable=len(usable))
        mean, mean_range = float(usable.mean()), float(np.abs(np.diff(usable)).mean())
        phase = Phase(first, last, base, mean, mean_range / D2)
        phases.append(phase)
        where = f"batches {first + 1} to {last + 1}" if phase_starts else "all batches"
        known = {"m": mean, "R": mean_range, "d": D2, "U": phase.high, "L": phase.low}
        steps += working_of("single batches", where=where, unit=unit, **known)
    have, spread = np.flatnonzero(np.isfinite(x)), np.full(len(x), np.nan)
    spread[have[1:]] = np.abs(np.diff(x[have]))
    # a moving range across the start of a phase belongs to neither
    spread[[p.first for p in phases]] = np.nan
    said, chances = _speak(x, phases, rules)
    holds = {
        "same": any(p.sigma == 0 for p in phases),
        "few": any(p.baseline < 20 for p in phases),
    }
    ranges = tuple(_of_ranges(phase, D2 * phase.sigma, 2) for phase in phases)
    return Chart(
        x,
        tuple(phases),
        said,
        chances,
        Chart(spread, ranges),
        own_notes=notes_of("single batches", holds, of_100=100 * chances["together"]),
        own_sources=_sources(),
        own_working=tuple(steps),
    )


def _of_ranges(phase: Phase, mean: float, n: int) -> Phase:
    """The same batches, judged by the ranges of n values each whose mean is `mean`."""
    d2, d3 = constants(n)
    return replace(phase, centre=mean, sigma=mean * d3 / d2, least=0.0)


def _sources() -> tuple[str, ...]:
    return (
        tables.cite("nist_handbook", "control charts", "memory"),
        tables.computed("chart constants integrated from the normal curve"),
    )


def _speak(x: np.ndarray, phases: Sequence[Phase], keys: Sequence[str], sigma_known: bool = False):
    """Alarms of every rule, phase by phase, and chances of false alarms; `sigma_known`: nothing of them comes from a rough sigma."""
    said: list[RunRuleViolation] = []
    sets = {key: (key,) for key in keys} | {"together": tuple(keys)}
    quiet = dict.fromkeys(sets, 1.0)
    for p in phases:
        at = np.arange(p.first, p.last + 1)
        at = at[np.isfinite(x[at])]
        off = x[at] - p.centre
        z = off / p.sigma if p.sigma > 0 else np.where(off == 0, 0.0, np.copysign(np.inf, off))
        for key in keys:
            said += [RunRuleViolation(i, key) for i in at[run_rules.alarms(z, key)].tolist()]
        base = None if sigma_known else min(p.baseline, len(at))
        for name, asked in sets.items():
            quiet[name] *= 1 - run_rules.together(len(at), asked, base)
    chances = {name: 1 - q for name, q in quiet.items()}
    return tuple(sorted(said, key=lambda a: (a.at, a.rule))), chances


def xbar_r(
    values, *, baseline: int | None = None, rules: Sequence[str] = ("beyond 3",), unit: str = ""
) -> Chart:
    """Chart of means and ranges of subgroups.

    values: shape (subgroups, n), such as n links of each batch, in one unit
    baseline: how many first subgroups set the limits, 2 or more; all where left out
    rules: run rules to look for, of kit.batches.rules
    unit: unit of the values, for the words
    Returns Chart: grand mean ± A2 R, and ranges between D3 R and D4 R; R is the mean range.
    Raises OutOfRange for subgroups of one or with gaps; UnknownName for a rule.
    Where batches differ by more than places within a batch do, nearly every batch lies outside: chart
    the means by `i_mr` then, and look at `components`.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, control charts.
    """
    x = np.asarray(values, float)
    full = x.ndim == 2 and min(x.shape) >= 2 and np.isfinite(x).all()
    need_said(full, "no subgroups")
    base = len(x) if baseline is None else baseline
    need_said(2 <= base <= len(x), "baseline", baseline=base, n=len(x), of="subgroups")
    (d2, d3), mean, spread = constants(x.shape[1]), x.mean(axis=1), np.ptp(x, axis=1)
    m, r = float(mean[:base].mean()), float(spread[:base].mean())
    phase = Phase(0, len(x) - 1, base, m, r / d2 / x.shape[1] ** 0.5)
    of_range = _of_ranges(phase, r, x.shape[1])
    # sigma comes from m (n - 1) differences within, so it is taken as known
    said, chances = _speak(mean, [phase], rules, sigma_known=True)
    beyond = np.flatnonzero((spread > of_range.high) | (spread < of_range.low))
    wide = tuple(RunRuleViolation(i, RANGE) for i in beyond.tolist())
    a2, d4 = 3 / d2 / x.shape[1] ** 0.5, 1 + 3 * d3 / d2
    known = {"m": m, "R": r, "A": a2, "D": d4}
    limits = {"U": phase.high, "L": phase.low, "V": of_range.high}
    return Chart(
        mean,
        (phase,),
        (*said, *wide),
        chances,
        Chart(spread, (of_range,), wide),
        own_notes=notes_of("subgroups", {}),
        own_sources=_sources(),
        own_working=working_of("subgroups", unit=unit, **known, **limits),
    )

"""All of it for one table: is it stable, what changed, what varies, what does it cost, where to look first."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit.batches import rules as run_rules
from kit.batches.change import Changes, change_points
from kit.batches.charts import Chart, i_mr
from kit.batches.components import Components, components
from kit.batches.costs import Pareto, Recoverable, check_prices, pareto, recoverable
from kit.batches.expected import Residuals, residuals
from kit.batches.findings import Findings, find
from kit.batches.table import LEAST_EXPECTED, BatchTable
from kit.errors import KitError, UnknownName
from kit.working import Step

VARY = ("supplier", "lot", "operator", "cooker")
"""labels whose share of the variation is looked at, if they are in the table"""


@dataclass(frozen=True)
class StageReport:
    """One line. `rows`: batches (0-based) with a value, which the chart, changes and components are over."""

    name: str
    loss_pct: np.ndarray
    rows: np.ndarray
    mean_pct: float
    sd_points: float
    chart: Chart | None
    changes: Changes | None
    components: Components | None
    recoverable: Recoverable | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Analysis:
    """`lines` are the stages and then the overall loss."""

    table: BatchTable
    lines: tuple[StageReport, ...]
    pareto: Pareto
    findings: Findings
    residuals: tuple[Residuals, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    def line(self, name: str) -> StageReport:
        for line in self.lines:
            if line.name == name:
                return line
        raise UnknownName("stage of this table", name, [line.name for line in self.lines])


def analyse(
    table: BatchTable,
    *,
    price_per_kg: Mapping[str, float] | None = None,
    currency: str = "",
    baseline: int | None = None,
    rules=run_rules.USUAL,
    alpha: float | None = None,
    vary: int = 3,
) -> Analysis:
    """Everything at once. Figures that slipped a unit are blanked first (see findings.slips); the table given stays as it is.

    Components of variance are worked out for the `vary` stages whose scatter moves most kilograms; ask `components` for the others.
    """
    prices = price_per_kg or {}
    check_prices(prices, [*table.stages, *table.handovers()])
    found = find(
        table, alpha=alpha, price_per_kg={k: v for k, v in prices.items() if k in table.stages}
    )
    clean = found.cleaned
    moved = {
        s: float(np.nanstd(y) * np.nanmean(w)) if np.isfinite(y).sum() > 2 else 0.0
        for s, y, w in zip(clean.stages, clean.loss_pct.T, clean.all_in_kg.T)
    }
    most = sorted(moved, key=lambda s: -moved[s])[:vary]
    lines = tuple(
        _line(s, y, clean, baseline, rules, s in most, prices.get(s), currency)
        for s, y in zip(clean.stages, clean.loss_pct.T)
    )
    overall = _line(
        "overall", 100 - clean.overall_yield_pct, clean, baseline, rules, False, None, currency
    )
    bars = pareto(clean, prices or None, currency)
    left = tuple(
        residuals(clean, of)
        for of in clean.expected_yield_pct
        if np.isfinite(clean.expected_yield_pct[of]).sum() >= LEAST_EXPECTED
    )
    false = sum(line.chart.false_alarm_chance["together"] for line in lines if line.chart)
    notes = (
        f"{sum(1 for line in lines if line.chart)} charts with these rules give about {false:.1f} false alarms among them on pure noise; "
        "the findings allow for having looked everywhere, single charts do not",
        *found.notes,
    )
    working = (*found.working, *bars.working)
    return Analysis(
        table,
        (*lines, overall),
        bars,
        found,
        left,
        notes,
        tuple(dict.fromkeys((*found.sources, *bars.sources))),
        working,
    )


def _line(name, y, table, baseline, rules, vary, price, currency) -> StageReport:
    rows = np.flatnonzero(np.isfinite(y))
    if len(rows) < 3 or np.ptp(y[rows]) == 0:
        why = (
            "fewer than three batches have weights here"
            if len(rows) < 3
            else "the loss never varies: copied figures?"
        )
        return StageReport(
            name,
            y,
            rows,
            float(y[rows].mean()) if len(rows) else float("nan"),
            0.0,
            None,
            None,
            None,
            None,
            (why,),
        )
    x, notes, parts, back = y[rows], [], None, None
    chart = i_mr(x, baseline=baseline, rules=rules, unit="% points")
    changes = change_points(x, unit="% points") if len(x) >= 8 else None
    if vary:
        factors = {label: table.labels[label][rows] for label in VARY if label in table.labels}
        factors = {
            label: levels for label, levels in factors.items() if 2 <= len(set(levels)) < len(rows)
        }
        while factors and parts is None:
            try:
                parts = components(x, factors, rounds=200, unit="% points")
            except KitError as cause:
                # the last label is the first to go: those before it were asked for first
                dropped = list(factors)[-1]
                notes.append(f"{dropped} is left out of what varies at {name}: {cause}")
                factors.pop(dropped)
    if (
        name in table.stages
        and np.isfinite(table.judged_loss_pct[:, table.place(name)]).sum() >= 12
    ):
        back = recoverable(table, name, price, currency)
    return StageReport(
        name,
        y,
        rows,
        float(x.mean()),
        float(x.std(ddof=1)),
        chart,
        changes,
        parts,
        back,
        tuple(notes),
    )

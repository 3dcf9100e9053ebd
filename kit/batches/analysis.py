"""All of it for one table: is it stable, what changed, what varies, what does it cost, where to look first."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from kit.batches.change import Changes, change_points
from kit.batches.charts import Chart, i_mr
from kit.batches.costs import Pareto, Recoverable, pareto, recoverable
from kit.batches.expected import Residuals, residuals
from kit.batches.findings import Findings, find
from kit.batches.table import LEAST_EXPECTED, BatchTable
from kit.errors import look_up
from kit.working import Result, notes_of
from kit.yields.worth import check_prices


@dataclass(frozen=True)
class StageReport:
    """One line. `rows`: batches (0-based) with a value, which chart and changes are over."""

    name: str
    loss_pct: np.ndarray
    rows: np.ndarray
    mean_pct: float
    sd_points: float
    chart: Chart | None = None
    changes: Changes | None = None
    recoverable: Recoverable | None = None


@dataclass(frozen=True)
class Analysis(Result):
    """`lines` are the stages and then the overall loss."""

    table: BatchTable
    lines: tuple[StageReport, ...]
    pareto: Pareto
    findings: Findings
    residuals: tuple[Residuals, ...]

    def parts(self) -> Iterator[Result]:
        """What is shown beside the findings needs no more; here only they and the money do."""
        yield from (self.findings, self.pareto)

    @property
    def recoverable(self) -> tuple[Recoverable, ...]:
        """Of each stage that has batches enough."""
        return tuple(line.recoverable for line in self.lines if line.recoverable)

    def line(self, name: str) -> StageReport:
        return look_up("stage of this table", name, {line.name: line for line in self.lines})


def analyse(table: BatchTable, price_per_kg: Mapping[str, float] | None = None) -> Analysis:
    """Everything at once. Figures that slipped a unit are blanked first (the findings list them); the table given stays as it is."""
    prices = price_per_kg or {}
    check_prices(prices, table.lines())
    found = find(table, price_per_kg={k: v for k, v in prices.items() if k in table.stages})
    clean = found.cleaned
    losses = zip((*clean.stages, "overall"), (*clean.loss_pct.T, 100 - clean.overall_yield_pct))
    lines = tuple(_line(name, y, clean) for name, y in losses)
    left = tuple(
        residuals(clean, of)
        for of, expected in clean.expected_yield_pct.items()
        if np.isfinite(expected).sum() >= LEAST_EXPECTED
    )
    charts = [line.chart for line in lines[:-1] if line.chart]
    false = sum(chart.false_alarm_chance["together"] for chart in charts)
    notes = notes_of("charts of an analysis", {}, charts=len(charts), false=false)
    return Analysis(table, lines, pareto(clean, prices), found, left, own_notes=notes)


def _line(name: str, y: np.ndarray, table: BatchTable) -> StageReport:
    rows = np.flatnonzero(np.isfinite(y))
    x = y[rows]
    if len(x) < 3 or np.ptp(x) == 0:
        return StageReport(name, y, rows, float(x.mean()) if len(x) else float("nan"), 0.0)
    judged = table.judged_loss_pct[:, table.place(name)] if name in table.stages else x[:0]
    return StageReport(
        name,
        y,
        rows,
        float(x.mean()),
        float(x.std(ddof=1)),
        i_mr(x, unit="percentage points"),
        change_points(x, unit="percentage points") if len(x) >= 8 else None,
        recoverable(table, name) if np.isfinite(judged).sum() >= 12 else None,
    )

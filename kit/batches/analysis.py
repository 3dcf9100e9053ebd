"""All of it for one table: is it stable, what changed, what varies, what does it cost, where to look first."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from kit.batches import rules as run_rules
from kit.batches.change import Changes, change_points
from kit.batches.charts import Chart, i_mr
from kit.batches.costs import Pareto, Recoverable, check_prices, pareto, recoverable
from kit.batches.expected import Residuals, residuals
from kit.batches.findings import Findings, find
from kit.batches.table import LEAST_EXPECTED, BatchTable
from kit.errors import UnknownName
from kit.working import Result


@dataclass(frozen=True)
class StageReport:
    """One line. `rows`: batches (0-based) with a value, which chart and changes are over."""

    name: str
    loss_pct: np.ndarray
    rows: np.ndarray
    mean_pct: float
    sd_points: float
    chart: Chart | None
    changes: Changes | None
    recoverable: Recoverable | None

    @property
    def new_levels(self) -> str:
        """The batches, counted from 1, at which a new level begins."""
        if self.changes is None:
            return "not looked for"
        return ", ".join(str(int(self.rows[k]) + 1) for k in self.changes.starts) or "none"


@dataclass(frozen=True)
class Analysis(Result):
    """`lines` are the stages and then the overall loss."""

    table: BatchTable
    lines: tuple[StageReport, ...]
    pareto: Pareto
    findings: Findings
    residuals: tuple[Residuals, ...]

    def parts(self) -> Iterator[Result]:
        """What is shown beside the findings speaks for itself; here only they and the money do."""
        yield from (self.findings, self.pareto)

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
) -> Analysis:
    """Everything at once. Figures that slipped a unit are blanked first (see findings.slips); the table given stays as it is."""
    prices = price_per_kg or {}
    check_prices(prices, [*table.stages, *table.handovers()])
    found = find(
        table, alpha=alpha, price_per_kg={k: v for k, v in prices.items() if k in table.stages}
    )
    clean = found.cleaned
    lines = tuple(
        _line(s, y, clean, baseline, rules, prices.get(s), currency)
        for s, y in zip(clean.stages, clean.loss_pct.T)
    )
    overall = _line(
        "overall", 100 - clean.overall_yield_pct, clean, baseline, rules, None, currency
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
    )
    return Analysis(table, (*lines, overall), bars, found, left, own_notes=notes)


def _line(name, y, table, baseline, rules, price, currency) -> StageReport:
    rows = np.flatnonzero(np.isfinite(y))
    x, back = y[rows], None
    if len(x) < 3 or np.ptp(x) == 0:
        return StageReport(
            name, y, rows, float(x.mean()) if len(x) else float("nan"), 0.0, None, None, None
        )
    chart = i_mr(x, baseline=baseline, rules=rules, unit="% points")
    changes = change_points(x, unit="% points") if len(x) >= 8 else None
    if (
        name in table.stages
        and np.isfinite(table.judged_loss_pct[:, table.place(name)]).sum() >= 12
    ):
        back = recoverable(table, name, price, currency)
    return StageReport(name, y, rows, float(x.mean()), float(x.std(ddof=1)), chart, changes, back)

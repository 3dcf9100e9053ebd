"""Across many batches: what is stable, what changed, what varies, what drives it, what does it cost, where to look first?

find(table).findings                      at most five, ranked; none if nothing stands out
analyse(table, price_per_kg={"cook": 1.2, "stuff": 3.1})            all of it
i_mr(table.loss_pct[:, 7], baseline=30)   one chart
"""

from kit.batches.analysis import Analysis, StageReport, analyse
from kit.batches.capability import Capability, capability, capability_of
from kit.batches.change import BeforeAfter, Changes, before_after, change_points
from kit.batches.charts import Chart, i_mr, xbar_r
from kit.batches.components import Components, Gauge, components, gauge_study, reml
from kit.batches.constants import constants
from kit.batches.costs import Pareto, Recoverable, pareto, recoverable
from kit.batches.drivers import Drivers, drivers, shared_error_correlation
from kit.batches.expected import Residuals, residuals
from kit.batches.findings import Finding, Findings, find
from kit.batches.power import Needed, batches_needed, power
from kit.batches.rules import CLASSIC, RULES, USUAL, alarms, together
from kit.batches.table import BatchTable
from kit.batches.weighted import Cusum, Ewma, cusum, ewma

__all__ = [name for name in dir() if not name.startswith("_")]

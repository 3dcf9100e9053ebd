"""Across many batches: what is stable, what changed, what varies, what drives it, what does it cost, where to look first?

find(table).findings                      at most five, ranked; none if nothing stands out
analyse(table, price_per_kg={"cook": 1.2, "stuff": 3.1})            all of it
i_mr(table.loss_pct[:, 7], baseline=30)   one chart
"""

from kit.batches.analysis import Analysis, StageReport, analyse
from kit.batches.capability import Capability, capability, capability_of
from kit.batches.change import (
    BeforeAfter,
    Change,
    Changes,
    RankChange,
    before_after,
    change_points,
    pettitt,
)
from kit.batches.charts import Alarm, Chart, Phase, c_chart, i_mr, xbar_r
from kit.batches.components import (
    Component,
    Components,
    Gauge,
    components,
    from_mean_squares,
    gauge_study,
    nested_in,
    reml,
)
from kit.batches.constants import Constants, constants
from kit.batches.costs import Bar, Pareto, Recoverable, pareto, recoverable
from kit.batches.drivers import (
    Driver,
    Drivers,
    Effects,
    drivers,
    shared_error_correlation,
    two_level_effects,
)
from kit.batches.expected import Residuals, residuals
from kit.batches.findings import Finding, Findings, find
from kit.batches.power import Needed, batches_needed, power, smallest_change
from kit.batches.rules import CLASSIC, RULES, USUAL, alarms, simulated, together
from kit.batches.slips import Slip, fact_slips, weight_slips
from kit.batches.table import BatchTable
from kit.batches.weighted import Cusum, Ewma, cusum, cusum_run_length, ewma, ewma_run_length

__all__ = [name for name in dir() if not name.startswith("_")]

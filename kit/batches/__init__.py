"""Across many batches: what is stable, what changed, what varies, what drives it, what does it cost, where to look first?

find(table).findings                      at most five, ranked; none if nothing stands out
i_mr(table.loss_pct[:, 7], baseline=30)   one chart
"""

from kit.batches.change import before_after, change_points
from kit.batches.charts import i_mr
from kit.batches.components import components, gauge_study
from kit.batches.costs import pareto
from kit.batches.drivers import drivers
from kit.batches.findings import find
from kit.batches.table import BatchTable

__all__ = [
    "BatchTable",
    "before_after",
    "change_points",
    "components",
    "drivers",
    "find",
    "gauge_study",
    "i_mr",
    "pareto",
]

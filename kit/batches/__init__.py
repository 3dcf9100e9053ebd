"""Across many batches: what is stable, what changed, what varies, what drives it, what does it cost, where to look first?

find(table).findings                      at most five, ranked; none if nothing stands out
i_mr(table.loss_pct[:, 7], baseline=30)   one chart
"""

from kit.batches.charts import i_mr, xbar_r
from kit.batches.components import gauge_study, reml
from kit.batches.costs import recoverable
from kit.batches.drivers import drivers
from kit.batches.findings import find
from kit.batches.table import BatchTable

__all__ = ["BatchTable", "drivers", "find", "gauge_study", "i_mr", "recoverable", "reml", "xbar_r"]

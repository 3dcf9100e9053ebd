"""Does a trace meet at least one row of a published table?"""

import numpy as np

from kit.lethality import trace
from kit.lethality.findings import rows_held


def meets_table(time_s, temperature_C, table, product) -> bool:
    """By the rule that the record uses, with no gap between readings refused."""
    core = trace("core", np.asarray(time_s, float), temperature_C, longest_step_s=86_400.0)
    return any(row.met for row in rows_held(core, table, product))

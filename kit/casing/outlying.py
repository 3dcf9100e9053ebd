"""Which values lie far from the rest? By the median and its absolute deviation, so that a wild value does not hide itself."""

import numpy as np

from kit.tables import value


def far_out(values: np.ndarray) -> list[int]:
    """Positions of the values that lie too far out, worst first. They are pointed at; nobody drops them."""
    if len(values) < 5:
        return []
    away = np.abs(values - np.median(values))
    scale = value("sd_per_mad") * np.median(away) or np.mean(away)
    wild = (
        np.flatnonzero(away > value("casing_far_out_sds") * scale)
        if scale > 0
        else np.array([], int)
    )
    return [int(i) for i in wild[np.argsort(-away[wild])]]

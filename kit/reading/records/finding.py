"""One thing that looks wrong in the records though every cell can be read. It is named with evidence, never repaired."""

from dataclasses import dataclass

import numpy as np

from kit.tables import value

DUPLICATE, WEIGHED_TWICE = "duplicate batch", "duplicate weighing"
SAME_WEIGHTS, MANY_DAYS = "same weights, two names", "one name over many days"
SLIP, SWAPPED, GREW = "slip of unit", "swapped in and out", "grew without an addition"
KINDS_OF_FINDING = (DUPLICATE, WEIGHED_TWICE, SAME_WEIGHTS, MANY_DAYS, SLIP, SWAPPED, GREW)
LEAST_SD = 0.004
"""scatter of a log ratio below which weights are not told apart"""


@dataclass(frozen=True)
class RecordFinding:
    """One thing to look at. The weights stay as they are written."""

    kind: str
    batch: str
    stage: str
    what: str
    """a sentence with the evidence"""
    remedy: str
    rows: tuple[int, ...] = ()

    def __str__(self) -> str:
        rows = f" (row{'s' if len(self.rows) > 1 else ''} {', '.join(map(str, self.rows))})"
        return f"{self.kind}: batch {self.batch}{rows if self.rows else ''}: {self.what} — {self.remedy}"


def median(x: np.ndarray) -> float:
    """Without gaps; nan where nothing is left."""
    x = x[np.isfinite(x)]
    return float(np.median(x)) if x.size else np.nan


def scatter(x: np.ndarray, least: float = LEAST_SD) -> float:
    """Standard deviation of `x` around 0 by the median of what is left, at least `least`."""
    return max(value("sd_per_mad") * median(np.abs(x)), least)


def listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]

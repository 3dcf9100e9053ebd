"""One thing that looks wrong in the records though every cell can be read; data/records/findings.csv says in which words."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kit.reading.records.summary import Summary
from kit.reading.words import sentences
from kit.tables import value

KINDS_OF_FINDING = tuple(dict.fromkeys(row["kind"] for row in sentences("findings.csv").values()))
DUPLICATE = "duplicate batch"
COUNTED_TWICE = (DUPLICATE, "duplicate weighing")
"""kinds that make the sums of a batch too high"""
LEAST_SD = 0.004
"""scatter of a log ratio below which weights are not told apart"""
_MOST_ROWS = 6


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


def finding(s: Summary, key: str, n: int, stage: str, rows: Iterable[int], **said) -> RecordFinding:
    """One finding of batch number `n`, in the words of `key`."""
    words = sentences("findings.csv")[key]
    what = words["what"].format(stage=stage, **said)
    shown = tuple(int(row) for row in list(rows)[:_MOST_ROWS])
    return RecordFinding(words["kind"], str(s.batches[n]), stage, what, words["remedy"], shown)


def median(x: np.ndarray) -> float:
    """Without gaps; nan where nothing is left."""
    x = x[np.isfinite(x)]
    return float(np.median(x)) if x.size else np.nan


def scatter(x: np.ndarray, least: float = LEAST_SD) -> float:
    """Standard deviation of `x` around 0 by the median of what is left, at least `least`."""
    return max(value("sd_per_mad") * median(np.abs(x)), least)


def listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]

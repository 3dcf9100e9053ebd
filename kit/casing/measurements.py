"""A column of measured lengths, diameters or weights, and which of them lie far from the rest."""

from dataclasses import dataclass

import numpy as np

from kit.tables import value

GRAMS, MILLIMETRES = "g", "mm"


@dataclass(frozen=True, eq=False)
class MeasuredColumn:
    """Measurements in `unit` ("g" or "mm"); `row` is where each stood, as the person counts."""

    name: str
    unit: str
    values: np.ndarray
    row: tuple[int, ...]
    understood: tuple[str, ...]
    """what the reader took the text to mean, and what it left out"""
    notes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.values)


def far_out(values: np.ndarray) -> list[int]:
    """Positions of the values that lie too far out, worst first. They are pointed at, not dropped.

    By the median and its absolute deviation, so that a wild value does not hide itself.
    """
    if len(values) < 5:
        return []
    away = np.abs(values - np.median(values))
    scale = value("sd_per_mad") * np.median(away) or np.mean(away)
    if not scale > 0:
        return []
    wild = np.flatnonzero(away > value("casing_far_out_sds") * scale)
    return [int(i) for i in wild[np.argsort(-away[wild])]]

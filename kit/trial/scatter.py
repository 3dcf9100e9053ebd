"""How far do stations, batters and tubes scatter?"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Any

from kit import tables
from kit.errors import need, need_known
from kit.working import Result

PARTS = ("station", "batter", "tube", "run")
NAMES = ("careful", "usual", "rough")


@dataclass(frozen=True)
class ClassScatter(Result):
    """Standard deviations in percentage points of the raw sample."""

    name: str
    station_points: float
    batter_points: float
    tube_points: float
    run_points: float
    stations: int = 0
    """of the class that was measured; 0 where it is assumed"""
    points_90: tuple[tuple[str, float, float], ...] = ()
    """(part, low, high): 90 % intervals of what was measured"""

    def tube_sd(self, balance_step_g: float, fill_g: float) -> float:
        """Of one tube's loss, with the balance's step in both readings."""
        return sqrt(self.tube_points**2 + balance_points(balance_step_g, fill_g) ** 2)


def balance_points(step_g: float, fill_g: float) -> float:
    """Standard deviation that a balance's step puts on one loss: two readings, each uniform over the step, in percentage points of the fill."""
    need(0 <= step_g <= 20, f"a balance step of {step_g:g} g; give 0 to 20")
    return 100 / fill_g * step_g / sqrt(6)


def scatter(name: str | ClassScatter = "usual") -> ClassScatter:
    """Scatter of a class.

    name: "careful", "usual" or "rough", or that of an earlier class, which is handed back.
    Returns a ClassScatter, percentage points. Raises UnknownName. Source: rows trial_*_points of data/reference/trial.csv.
    """
    if isinstance(name, ClassScatter):
        return name
    need_known("scatter", name, NAMES)
    rows = [tables.number(f"trial_{name}_{part}_points") for part in PARTS]
    sources = tuple(dict.fromkeys(row.cite() for row in rows))
    station, batter, tube, run = (row.value for row in rows)
    return ClassScatter(name, station, batter, tube, run, own_sources=sources)


def of_class(
    name: str,
    points: Mapping[str, float],
    stations: int,
    points_90: tuple[tuple[str, float, float], ...],
) -> ClassScatter:
    """What a class measured: a standard deviation of each part, and 90 % intervals of those that it could measure."""
    measured = {part for part, *_ in points_90}
    kept = [part for part in PARTS if part not in measured and points[part]]
    notes = (
        f"measured in one class of {stations} stations: the intervals are wide",
        *(f"the scatter of each {part} was not measured; the usual value is kept" for part in kept),
    )
    sources = (tables.cite("kit", f"the results of {name}", "computed"),)
    sds: dict[str, Any] = {f"{part}_points": points[part] for part in PARTS}
    return ClassScatter(
        name, stations=stations, points_90=points_90, own_notes=notes, own_sources=sources, **sds
    )

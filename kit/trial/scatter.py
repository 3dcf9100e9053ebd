"""How far do stations, batters and tubes scatter?"""

from dataclasses import dataclass
from math import sqrt

from kit import tables
from kit.errors import UnknownName, need
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

    def tube_sd(self, balance_step_g: float, fill_g: float) -> float:
        """Of one tube's loss, with the balance's step in both readings."""
        return sqrt(self.tube_points**2 + balance_points(balance_step_g, fill_g) ** 2)


def balance_points(step_g: float, fill_g: float) -> float:
    """Standard deviation that a balance's step puts on one loss: two readings, each uniform over the step, in percentage points of the fill."""
    need(0 <= step_g <= 20, f"a balance step of {step_g:g} g; give 0 to 20")
    return 100 / fill_g * step_g / sqrt(6)


def scatter(name: str = "usual") -> ClassScatter:
    """Scatter of a class.

    name: "careful", "usual" or "rough".
    Returns a ClassScatter, percentage points. Raises UnknownName. Source: rows trial_*_points of data/reference/trial.csv.
    """
    if name not in NAMES:
        raise UnknownName("scatter", name, NAMES)
    rows = {part: tables.number(f"trial_{name}_{part}_points") for part in PARTS}
    return ClassScatter(
        name,
        *(rows[part].value for part in PARTS),
        own_sources=tuple(dict.fromkeys(row.cite() for row in rows.values())),
    )

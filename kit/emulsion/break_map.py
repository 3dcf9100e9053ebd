"""What leaves, over any two things a person can turn, with the batch's own point on it."""

from dataclasses import dataclass

import numpy as np

from kit.emulsion.batter import Batter, untried
from kit.emulsion.calibrate import Calibration
from kit.emulsion.held import hold
from kit.emulsion.levers import lever
from kit.emulsion.model import LIMITS, work_out
from kit.errors import OutOfRange, need
from kit.working import Step

POINTS = 200


@dataclass(frozen=True)
class BreakMap:
    """Arrays are (up, across). `weakest` holds indices into LIMITS. A value below 0 of `least_margin` lies past an edge."""

    across: str
    up: str
    across_label: str
    up_label: str
    across_values: np.ndarray
    up_values: np.ndarray
    total_out_g: np.ndarray
    water_out_g: np.ndarray
    fat_out_g: np.ndarray
    least_margin: np.ndarray
    weakest: np.ndarray
    limits: tuple[str, ...]
    point: tuple[float, float]
    """the batch: where it lies across and up"""
    point_total_out_g: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]
    """how the batch's own point was worked out"""


def break_map(
    batter: Batter,
    across: str = "end_C",
    up: str = "fat_pct",
    calibration: Calibration | None = None,
    points: int = POINTS,
    across_range: tuple[float, float] | None = None,
    up_range: tuple[float, float] | None = None,
) -> BreakMap:
    """The map for two different levers (names of LEVERS). Ranges default to where the model was tried."""
    need(batter.shape == (), "a map is drawn round one batter")
    need(across != up, f"a map needs two different things; both are {across!r}")
    need(2 <= points <= 2000, f"points is {points}; choose 2 to 2000")
    x, y = lever(across), lever(up)
    xs, ys = (
        np.linspace(*_ordered(l.label, given or l.map_range), points)
        for l, given in ((x, across_range), (y, up_range))
    )
    try:
        all_batters = y.at(x.at(batter, xs[None, :]), ys[:, None])
    except OutOfRange as cause:
        raise OutOfRange(
            f"the map of {x.label} ({xs[0]:g} to {xs[-1]:g}) by {y.label} ({ys[0]:g} to {ys[-1]:g}) leaves what can be: {cause}; "
            "narrow the ranges"
        ) from None
    own, shape = hold(batter, calibration), (points, points)
    state = work_out(all_batters, own.parameters)
    shown = ("total_out_g", "water_out_g", "fat_out_g", "least_margin", "weakest")
    filled = {name: np.broadcast_to(getattr(state, name), shape) for name in shown}
    return BreakMap(
        across,
        up,
        f"{x.label}, {x.unit}",
        f"{y.label}, {y.unit}",
        xs,
        ys,
        **filled,
        limits=LIMITS,
        point=(float(x.here(batter)), float(y.here(batter))),
        point_total_out_g=own.total_out_g,
        notes=untried(batter),
        sources=own.sources,
        working=own.working,
    )


def _ordered(label: str, bounds) -> tuple[float, float]:
    low, high = map(float, bounds)
    need(low < high, f"the range of {label} runs from {low:g} to {high:g}; it must rise")
    return low, high

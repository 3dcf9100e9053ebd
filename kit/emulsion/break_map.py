"""Cook-out over any two things a person can change, with the batch's own point on it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from kit.emulsion.batter import Batter
from kit.emulsion.calibrate import Calibration
from kit.emulsion.factors import Factor, factor
from kit.emulsion.model import BatterState, work_out
from kit.emulsion.parameters import defaults
from kit.errors import OutOfRange, need

POINTS = 200


@dataclass(frozen=True, eq=False)
class BreakMap(BatterState):
    """Arrays are (up, across). A value below 0 of `least_margin` lies past an edge."""

    across: Factor
    up: Factor
    across_values: np.ndarray
    up_values: np.ndarray
    point: tuple[float, float]
    """the batch: where it lies across and up"""


def break_map(
    batter: Batter,
    across: str = "end_C",
    up: str = "fat_pct",
    calibration: Calibration | None = None,
    points: int = POINTS,
    across_range: tuple[float, float] | None = None,
    up_range: tuple[float, float] | None = None,
) -> BreakMap:
    """Cook-out over two different factors.

    batter: the batch, one. across, up: names of FACTORS. points: along each side, 2 to 2000. across_range, up_range: where the
    model was tried unless given. Raises OutOfRange where a map would leave what can be.
    """
    need(batter.shape == (), "a map is drawn round one batter")
    need(across != up, f"a map needs two different things; both are {across!r}")
    need(2 <= points <= 2000, f"points is {points}; choose 2 to 2000")
    x, y = factor(across), factor(up)
    xs = np.linspace(*_ordered(x.label, across_range or x.map_range), points)
    ys = np.linspace(*_ordered(y.label, up_range or y.map_range), points)
    try:
        all_batters = y.at(x.at(batter, xs[None, :]), ys[:, None])
    except OutOfRange as cause:
        raise OutOfRange(
            f"the map of {x.label} ({xs[0]:g} to {xs[-1]:g}) by {y.label} ({ys[0]:g} to {ys[-1]:g}) leaves what can be: {cause}; "
            "narrow the ranges"
        ) from None
    p = calibration.settle(defaults()) if calibration else defaults()
    state = work_out(all_batters, p)
    filled: dict[str, Any] = {
        name: np.broadcast_to(values, (points, points)) for name, values in vars(state).items()
    }
    point = (float(x.here(batter)), float(y.here(batter)))
    return BreakMap(**filled, across=x, up=y, across_values=xs, up_values=ys, point=point)


def _ordered(label: str, bounds) -> tuple[float, float]:
    low, high = map(float, bounds)
    need(low < high, f"the range of {label} runs from {low:g} to {high:g}; it must rise")
    return low, high

"""How does the batter warm along the chop, against energy and against time, and where is the ice gone?"""

from dataclasses import dataclass

import numpy as np

from kit.chop.bowl import Bowl
from kit.errors import OutOfRange, need, need_between

MOST_MINUTES = 24 * 60
_SETTLED_K = 1e-6
_INNER = 60
_MOST_ROUNDS = 60
_LEAST_CP = 1.5  # kJ/(kg K): under any batter's, so that a window stays short


@dataclass(frozen=True)
class Surroundings:
    """Heat that comes in from room and machine: UA in W per K of difference."""

    UA_W_per_K: float
    room_C: float

    def __post_init__(self):
        need_between(
            "heat transfer UA in W/K",
            self.UA_W_per_K,
            0,
            1e4,
            "a bowl of 100 L has a few tens of W/K",
        )
        need_between("room in °C", self.room_C, -30, 50)


@dataclass(frozen=True)
class TimePath:
    """Temperature, frozen water and heat against minutes; the bowl is taken as mixed and in balance at every moment.

    `ice_gone_min` is nan when ice is left at the end.
    """

    minute: np.ndarray
    end_C: np.ndarray
    ice_kg: np.ndarray
    knife_kJ: np.ndarray
    gained_kJ: np.ndarray
    batter_kg: np.ndarray
    ice_gone_min: float


def path_by_time(
    bowl: Bowl, rate_kJ_per_kg_min: float, minutes, surroundings: Surroundings | None = None
) -> TimePath:
    """The bowl over time at a constant energy rate: temperature, ice left and heat.

    bowl: charges go in at their own `minute`, later ones as cold as they are given
    rate_kJ_per_kg_min: of what is in the bowl, 0 to 1000 kJ per kg and minute
    minutes: rising, from 0 to 1440; a float stands for 201 even points up to it
    surroundings: room and machine; without them only the knives heat
    Returns TimePath: °C and kg of frozen water at each minute, kJ from knives and room.
    Raises OutOfRange where the bowl would boil or the minutes do not rise.
    Valid for a bowl that is mixed at every moment.
    Source: the balance of `chop`.
    """
    rate = need_between("energy rate in kJ per kg and minute", rate_kJ_per_kg_min, 0, 1000)
    t = (
        np.linspace(0, float(minutes), 201)
        if np.ndim(minutes) == 0
        else np.asarray(minutes, dtype=float)
    )
    need(
        t.size > 0
        and bool(np.isfinite(t).all())
        and t[0] >= 0
        and t[-1] <= MOST_MINUTES
        and bool((np.diff(t) >= 0).all()),
        f"minutes must rise from 0 to at most {MOST_MINUTES}; sort the times, in minutes since the first charge went in",
    )
    return TimePath(t, *_march(bowl, rate, t, surroundings))


def _march(bowl, rate, minute, surroundings):
    """Columns (T, ice, knife, gained, kg) at `minute`, segment by segment between the charges' minutes; then the minute the ice is gone."""
    starts = sorted({charge.minute for charge in bowl.charges})
    if starts[0] > 0:
        raise OutOfRange(
            f"the first charge goes in at minute {starts[0]:g}; the clock starts with the first charge, at 0"
        )
    columns, gone = np.full((5, minute.size), np.nan), float("nan")
    inner = (
        _INNER if surroundings else 1
    )  # without a gain from the room, heat is a straight line in time
    heat, knife, gained = bowl.until(0.0).heat_in_kJ, 0.0, 0.0
    for start, stop in zip(starts, [*starts[1:], max(float(minute[-1]), starts[-1])], strict=True):
        inside = bowl.until(start)
        grid = np.unique(
            np.concatenate(
                [np.linspace(start, stop, inner + 1), minute[(minute >= start) & (minute <= stop)]]
            )
        )
        work = inside.kg * rate * (grid - start)
        t, gain = _warmed(inside, heat + work, grid, surroundings)
        mine = (minute >= start) & ((minute < stop) | (start == starts[-1]))
        at = np.searchsorted(grid, minute[mine])
        columns[:, mine] = (
            t[at],
            inside.ice_kg((heat + work + gain)[at], t[at]),
            knife + work[at],
            gained + gain[at],
            np.full(at.size, inside.kg),
        )
        gone = _gone(grid, heat + work + gain, inside.thawed_kJ(inside.freezing_C), gone)
        knife, gained = knife + work[-1], gained + gain[-1]
        heat = heat + work[-1] + gain[-1] + bowl.until(stop).heat_in_kJ - inside.heat_in_kJ
    return *columns, gone


def _warmed(bowl, heat, minute, surroundings):
    """Temperatures along `minute` and the heat gained from the room.

    The gain is an integral of the temperature it makes: within windows short against the bowl's own time it is
    repeated until it settles.
    """
    gain = np.zeros_like(heat)
    if surroundings is None or surroundings.UA_W_per_K == 0:
        return bowl.temperature_C(heat), gain
    UA_kW = surroundings.UA_W_per_K / 1000
    slow_s = float(bowl.kg) * _LEAST_CP / UA_kW
    span = np.maximum(np.diff(minute) * 60, 0)
    need(
        bool((span < slow_s).all()),
        "the bowl follows the room too fast for this time step; use a smaller UA, more batter or closer times",
    )
    windows = np.floor(np.cumsum(span) / slow_s).astype(int)
    t = bowl.temperature_C(heat)
    for window in np.unique(windows):
        inner = np.flatnonzero(windows == window) + 1
        first, step_s = inner[0] - 1, span[inner - 1]
        for _ in range(_MOST_ROUNDS):
            flow = UA_kW * (surroundings.room_C - t[first : inner[-1] + 1])
            gain[inner] = gain[first] + np.cumsum(0.5 * (flow[1:] + flow[:-1]) * step_s)
            again = bowl.temperature_C(heat[inner] + gain[inner])
            moved, t[inner] = np.abs(again - t[inner]).max(), again
            if moved < _SETTLED_K:
                break
        if inner[-1] + 1 < len(gain):
            gain[inner[-1] + 1 :] = gain[inner[-1]]
            t[inner[-1] + 1 :] = t[inner[-1]]
    return t, gain


def _gone(minute, heat, thawed, before):
    """Minute at which the last ice of this stretch melts: `before` if none was there, nan if some is left."""
    reached = np.flatnonzero(heat >= thawed)
    if not reached.size or heat[-1] < thawed:
        return float("nan")
    if reached[0] == 0:
        return float(minute[0]) if np.isnan(before) else before
    i = reached[0]
    return float(
        minute[i - 1]
        + (thawed - heat[i - 1]) / (heat[i] - heat[i - 1]) * (minute[i] - minute[i - 1])
    )

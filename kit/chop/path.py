"""How does the batter warm along the chop, against time?"""

from dataclasses import dataclass

import numpy as np

from kit.chop.bowl import Bowl
from kit.errors import need, need_between
from kit.faults import need_said

MOST_MINUTES = 24 * 60


@dataclass(frozen=True)
class TimePath:
    """Temperature, frozen water and mechanical energy against minutes; the bowl is taken as mixed and in balance at every moment."""

    minute: np.ndarray
    end_C: np.ndarray
    ice_kg: np.ndarray
    knife_kJ: np.ndarray
    batter_kg: np.ndarray


def path_by_time(bowl: Bowl, rate_kJ_per_kg_min: float, minutes) -> TimePath:
    """The bowl over time at a constant energy rate: temperature, ice left and heat.

    bowl: charges go in at their own `minute`, later ones as cold as they are given
    rate_kJ_per_kg_min: of what is in the bowl, 0 to 1000 kJ per kg and minute
    minutes: rising, from 0 to 1440; a float stands for 201 even points up to it
    Returns TimePath: °C and kg of frozen water at each minute, kJ from the knives.
    Raises OutOfRange where the bowl would boil or the minutes do not rise.
    Valid for a bowl that is mixed at every moment; heat from the room is left out.
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
    return TimePath(t, *_march(bowl, rate, t))


def _march(bowl: Bowl, rate: float, minute: np.ndarray):
    """Columns (T, ice, knife, kg) at `minute`, segment by segment between the charges' minutes."""
    starts = sorted({charge.minute for charge in bowl.charges})
    need_said(starts[0] == 0, "first charge late", first=starts[0])
    columns, knife = np.full((4, minute.size), np.nan), 0.0
    heat = bowl.until(0.0).heat_in_kJ
    for start, stop in zip(starts, [*starts[1:], max(float(minute[-1]), starts[-1])], strict=True):
        inside = bowl.until(start)
        per_min = inside.kg * rate
        mine = (minute >= start) & ((minute < stop) | (start == starts[-1]))
        work = per_min * (minute[mine] - start)
        t = inside.temperature_C(heat + work)
        columns[:, mine] = t, inside.ice_kg(heat + work, t), knife + work, 0 * work + inside.kg
        knife += per_min * (stop - start)
        heat += per_min * (stop - start) + bowl.until(stop).heat_in_kJ - inside.heat_in_kJ
    return columns

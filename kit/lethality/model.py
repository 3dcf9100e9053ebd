"""The pasteurisation value P70: an integral shown beside the time-temperature tables. A model, never the rule.

Between two readings the temperature is a straight line, and the lethal rate 10^((T − reference)/z) is integrated over it exactly, so a coarse
log costs accuracy only where the line itself is wrong. Nothing is counted below the floor (130 °F).
"""

from dataclasses import dataclass

import numpy as np

from kit.lethality.published import celsius
from kit.lethality.trace import Trace
from kit.tables import number, value
from kit.working import Result, working_of

_LEVEL = 3e-5
"""change of ln rate under which the mean of both ends is exact to 1e-10"""


def lethal_minutes(time_s, temperature_C, reference_C, z_K, floor_C, gap=None) -> np.ndarray:
    """Minutes at a reference temperature that each step between two readings is worth: the exact integral of 10^((T − reference)/z) over straight lines.

    Nothing counts below `floor_C`, nor in a `gap` (n − 1,), where nothing is known between two readings.
    """
    dt, temp = np.diff(np.asarray(time_s, float)) / 60, np.asarray(temperature_C, float)
    warm = temp >= floor_C
    per_K = np.log(10) / z_K
    at_reading = np.exp(per_K * (np.maximum(temp, floor_C) - reference_C))
    first, last = at_reading[:-1], at_reading[1:]
    x = per_K * np.diff(temp)
    level = np.abs(x) < _LEVEL
    rate = np.where(level, (first + last) / 2, (last - first) / np.where(level, 1, x))
    rate[~(warm[:-1] & warm[1:])] = 0.0
    crosses = warm[:-1] ^ warm[1:]
    one, two = temp[:-1][crosses], temp[1:][crosses]
    low, high = np.minimum(one, two), np.maximum(one, two)
    rate[crosses] = _mean_rate_above(low, high, floor_C, per_K, reference_C)
    return dt * (rate if gap is None else np.where(gap, 0.0, rate))


def _mean_rate_above(low, high, floor, per_K, reference_C) -> np.ndarray:
    """Mean lethal rate over straight lines from `low`, below the floor, to `high`: only the part from the floor on counts."""
    x = per_K * (high - floor)
    grown = np.where(x > 1e-12, np.expm1(x) / np.where(x > 1e-12, x, 1), 1.0)
    return (high - floor) / (high - low) * np.exp(per_K * (floor - reference_C)) * grown


@dataclass(frozen=True)
class PValue(Result):
    """Pasteurisation value of one trace, in minutes at 70 °C with z = 10 K."""

    minutes: float
    peak_C: float
    channel: str


def p70(held: Trace) -> PValue:
    """P70 with its working. Nothing is counted below 130 °F."""
    ref, z = number("p_reference_C"), number("p_z_K")
    floor = celsius(value("lethality_floor_F"))
    parts = lethal_minutes(held.time_s, held.temperature_C, ref.value, z.value, floor, held.gap)
    at = int(held.temperature_C.argmax())
    before, after, peak = float(parts[:at].sum()), float(parts[at:].sum()), held.peak_C
    known = {"T": peak, "R": ref.value, "z": z.value, "b": before, "a": after, "P": before + after}
    return PValue(
        before + after,
        peak,
        held.name,
        own_notes=held.notes,
        own_sources=(ref.cite(),),
        own_working=working_of("P70", r=10 ** ((peak - ref.value) / z.value), **known),
    )

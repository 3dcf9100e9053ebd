"""The pasteurisation value P70: an integral shown beside the time-temperature tables. A model, never the rule.

Between two readings the temperature is a straight line, and the lethal rate 10^((T − reference)/z) is integrated over it exactly, so a coarse
log costs accuracy only where the line itself is wrong. Nothing is counted below the floor (130 °F).
"""

from dataclasses import dataclass

import numpy as np

from kit.errors import OutOfRange, need_between
from kit.lethality.published import celsius
from kit.lethality.trace import Trace
from kit.tables import number, value
from kit.working import Result, step

_LEVEL = 3e-5
"""change of ln rate under which the mean of both ends is exact to 1e-10"""


def lethal_minutes(time_s, temperature_C, reference_C, z_K, floor_C=None, gap=None):
    """Minutes at a reference temperature that a trace is worth: the exact integral of 10^((T − reference)/z) over straight lines.

    time_s: (n,), rising. temperature_C: (n,), or (m, n) for m traces with common times. reference_C, z_K: of the organism, z from 0.1 to 100 K.
    floor_C: nothing counts below it; 130 °F where left out, −273 to count all. gap: (n − 1,), True where nothing is known between two readings.
    Returns a float, or (m,). Raises OutOfRange for another z or an endless floor.
    """
    need_between("z_K", z_K, 0.1, 100, "a z value in kelvins")
    worth = _worth_min(time_s, temperature_C, reference_C, z_K, floor_C, gap).sum(axis=-1)
    return worth if np.ndim(worth) else float(worth)


def _worth_min(time_s, temperature_C, reference_C, z_K, floor_C=None, gap=None) -> np.ndarray:
    """What each step between two readings is worth, (n − 1,) or (m, n − 1)."""
    dt, temp = np.diff(np.asarray(time_s, float)) / 60, np.asarray(temperature_C, float)
    floor = celsius(value("lethality_floor_F")) if floor_C is None else floor_C
    if not np.isfinite(floor):
        raise OutOfRange("floor_C must be finite; pass −273 to count all")
    warm = temp >= floor
    per_K = np.log(10) / z_K
    at_reading = np.exp(per_K * (np.maximum(temp, floor) - reference_C))
    first, last = at_reading[..., :-1], at_reading[..., 1:]
    x = per_K * np.diff(temp)
    level = np.abs(x) < _LEVEL
    rate = np.where(level, (first + last) / 2, (last - first) / np.where(level, 1, x))
    rate[~(warm[..., :-1] & warm[..., 1:])] = 0.0
    crosses = warm[..., :-1] ^ warm[..., 1:]
    if crosses.any():
        one, two = temp[..., :-1][crosses], temp[..., 1:][crosses]
        low, high = np.minimum(one, two), np.maximum(one, two)
        rate[crosses] = _mean_rate_above(low, high, floor, per_K, reference_C)
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


def p70_minutes(time_s, temperature_C, gap=None):
    """P70 of one trace, or of each of m traces with common times; see `lethal_minutes`."""
    return lethal_minutes(time_s, temperature_C, value("p_reference_C"), value("p_z_K"), gap=gap)


def p70(held: Trace) -> PValue:
    """P70 with its working. Nothing is counted below 130 °F."""
    ref, z = number("p_reference_C"), number("p_z_K")
    parts = _worth_min(held.time_s, held.temperature_C, ref.value, z.value, gap=held.gap)
    at = int(held.temperature_C.argmax())
    before, after, peak = float(parts[:at].sum()), float(parts[at:].sum()), held.peak_C
    T, R, k = (peak, "°C", "peak of the core"), (ref.value, "°C"), (z.value, "K")
    b, a = (before, "min", "up to the peak"), (after, "min", "from the peak on")
    rate, what = 10 ** ((peak - ref.value) / z.value), "What one minute at the peak is worth"
    work = (
        step(what, "r = 10 ^ ((T − R) / z)", rate, "min", T=T, R=R, z=k),
        step("Pasteurisation value", "P = b + a", before + after, "min at 70 °C", b=b, a=a),
    )
    return PValue(
        before + after,
        peak,
        held.name,
        own_notes=held.notes,
        own_sources=(ref.cite(),),
        own_working=work,
    )


def equal_hold_min(minutes_at_70: float, temperature_C):
    """How long a steady core must be held at `temperature_C` (°C) for this P70 (min)."""
    below_K = value("p_reference_C") - np.asarray(temperature_C, float)
    return minutes_at_70 * 10 ** (below_K / value("p_z_K"))

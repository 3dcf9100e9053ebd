"""The integral beside the table: z and D from a straight line through published rows, and the pasteurisation value P70. A model, never the rule.

Between two readings the temperature is a straight line, and the lethal rate 10^((T − reference)/z) is integrated over it exactly, so a coarse
log costs accuracy only where the line itself is wrong. Nothing is counted below the floor (130 °F), and no rate grows above the hottest
published row, since nothing outside the rows is known.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit.errors import OutOfRange, need, need_between
from kit.lethality.published import HoldTable, Resistance, celsius
from kit.lethality.trace import Trace
from kit.tables import number, value
from kit.working import Step, step

REFERENCE_F = 145
_BLOCK = 50_000
"""readings worked on at a time, so that they stay in the processor's cache"""
_LEVEL = 3e-5
"""change of ln rate under which the mean of both ends is exact to 1e-10"""


@dataclass(frozen=True)
class Line:
    """log10(time) = a + b T through published rows by least squares. `d_ref_min` is the time for one log at `ref_C`."""

    z_K: float
    z_F: float
    ref_C: float
    time_ref_min: float
    """on the line: minutes for the whole reduction of the rows (D itself where the rows are D values)"""
    d_ref_min: float
    log_reduction: float
    low_C: float
    high_C: float
    """range of the rows it was drawn through"""
    rms_pct: float
    worst_low_pct: float
    worst_high_pct: float
    """printed over fitted, the furthest below and above"""
    r_squared: float
    rows: int
    source: str
    working: tuple[Step, ...]

    def d_min(self, temperature_C):
        """Minutes for one log at this temperature, on the line."""
        return self.d_ref_min * 10 ** ((self.ref_C - np.asarray(temperature_C, float)) / self.z_K)

    def time_min(self, temperature_C):
        return self.log_reduction * self.d_min(temperature_C)


@lru_cache(maxsize=32)
def line_of(table: HoldTable, low_F: float = -np.inf, high_F: float = np.inf) -> Line:
    """The line through the timed rows of a table between `low_F` and `high_F`. Least squares on log10 of the printed times."""
    rows = [row for row in table.timed if low_F <= row.temperature_F <= high_F]
    need(
        len(rows) >= 3, f"{len(rows)} rows of {table.key!r} lie there; a line needs at least three"
    )
    return _line(
        np.array([r.temperature_C for r in rows]),
        np.array([r.hold_s / 60 for r in rows]),
        celsius(REFERENCE_F),
        table.log_reduction or 1.0,
        table.source,
    )


@lru_cache(maxsize=32)
def line_of_d(found: Resistance, ref_C: float = 60.0) -> Line:
    """The line through published D values."""
    return _line(np.array(found.temperature_C), np.array(found.d_min), ref_C, 1.0, found.source)


def _line(temperature_C, minutes, ref_C, logs, source) -> Line:
    y = np.log10(minutes)
    mean_T, mean_y = float(temperature_C.mean()), float(y.mean())
    sxy, sxx = (
        float(((temperature_C - mean_T) * (y - mean_y)).sum()),
        float(((temperature_C - mean_T) ** 2).sum()),
    )
    slope = sxy / sxx
    fitted = mean_y + slope * (temperature_C - mean_T)
    off = 10 ** (y - fitted) - 1
    z, time_ref = -1 / slope, 10 ** (mean_y + slope * (ref_C - mean_T))
    work = (
        step(
            "Slope of the line",
            "z = −x / c",
            z,
            "K",
            x=(sxx, "K^2", "sum of squares of temperature"),
            c=(sxy, "K", "sum of products with log10 of minutes"),
        ),
        step(
            "Time on the line at the reference",
            "t = 10 ^ (m − (R − A) / z)",
            time_ref,
            "min",
            m=(mean_y, "", "mean of log10 of minutes"),
            R=(ref_C, "°C"),
            A=(mean_T, "°C", "mean temperature of the rows"),
            z=(z, "K"),
        ),
        step(
            "Time for one log there",
            "D = t / n",
            time_ref / logs,
            "min",
            t=(time_ref, "min"),
            n=(logs, "log"),
        ),
    )
    return Line(
        z,
        z * 1.8,
        ref_C,
        time_ref,
        time_ref / logs,
        logs,
        float(temperature_C.min()),
        float(temperature_C.max()),
        100 * float(np.sqrt((off**2).mean())),
        100 * float(off.min()),
        100 * float(off.max()),
        1 - float(((y - fitted) ** 2).sum() / ((y - mean_y) ** 2).sum()),
        len(y),
        source,
        work,
    )


def lethal_minutes(
    time_s,
    temperature_C,
    reference_C: float,
    z_K: float,
    floor_C: float | None = None,
    ceiling_C: float | None = None,
    gap=None,
):
    """Minutes at `reference_C` that the trace is worth: the exact integral of 10^((T − reference)/z) over straight lines. (n,) or (m, n).

    Nothing counts below `floor_C` (default 130 °F; pass −273 to count all) nor across a gap; above `ceiling_C` the rate stays as at the ceiling.
    """
    need_between("z_K", z_K, 0.1, 100, "a z value in kelvins")
    t, temp = np.asarray(time_s, float), np.asarray(temperature_C, float)
    rows, total = temp.reshape(-1, temp.shape[-1]), np.zeros(temp.size // temp.shape[-1])
    high = max(_BLOCK // rows.shape[1], 1)
    for r in range(0, len(rows), high):
        for c in range(0, rows.shape[1] - 1, _BLOCK):
            total[r : r + high] += _worth_min(
                t[c : c + _BLOCK + 1],
                rows[r : r + high, c : c + _BLOCK + 1],
                reference_C,
                z_K,
                floor_C,
                ceiling_C,
                None if gap is None else gap[c : c + _BLOCK],
            ).sum(axis=-1)
    return float(total[0]) if temp.ndim == 1 else total.reshape(temp.shape[:-1])


def _worth_min(time_s, temperature_C, reference_C, z_K, floor_C, ceiling_C, gap) -> np.ndarray:
    """What each step between two readings is worth, (n − 1,) or (m, n − 1)."""
    dt, temp = np.diff(np.asarray(time_s, float)) / 60, np.asarray(temperature_C, float)
    if (
        floor_C is not None
        and not np.isfinite(floor_C)
        or ceiling_C is not None
        and not np.isfinite(ceiling_C)
    ):
        raise OutOfRange("floor_C and ceiling_C must be finite; leave ceiling_C out to have none")
    floor = celsius(value("lethality_floor_F")) if floor_C is None else floor_C
    top = np.inf if ceiling_C is None else ceiling_C
    inside = (temp >= floor) & (temp <= top)
    one, two = temp[..., :-1], temp[..., 1:]
    whole = inside[..., :-1] & inside[..., 1:]
    per_K = np.log(10) / z_K
    at_reading = np.exp(per_K * (np.clip(temp, floor, top) - reference_C))
    x = per_K * (two - one)
    level = np.abs(x) < _LEVEL
    first, last = at_reading[..., :-1], at_reading[..., 1:]
    rate = np.where(level, (first + last) / 2, (last - first) / np.where(level, 1, x))
    rate[~whole] = 0.0
    part = ~whole & ((one >= floor) | (two >= floor))
    if part.any():
        rate[part] = _mean_rate(
            np.minimum(one[part], two[part]),
            np.maximum(one[part], two[part]),
            floor,
            top,
            reference_C,
            z_K,
        )
    if gap is not None:
        rate = np.where(gap, 0.0, rate)
    return dt * rate


def _mean_rate(low, high, floor, top, reference_C, z_K) -> np.ndarray:
    """Mean lethal rate over straight lines from `low` to `high` that leave the range: between floor and top exactly, above the top as at the top."""
    rises = high > low
    span = np.where(rises, high - low, 1)
    start, stop = np.clip(low, floor, top), np.clip(high, floor, top)
    sloped = np.where(rises, (stop - start) / span, low <= top)
    x = np.log(10) * (stop - start) / z_K
    rate = (
        sloped
        * 10 ** ((start - reference_C) / z_K)
        * np.where(x > 1e-12, np.expm1(x) / np.where(x > 1e-12, x, 1), 1.0)
    )
    if not np.isfinite(top):
        return rate
    return rate + np.where(rises, (high - np.maximum(low, top)).clip(0) / span, low > top) * 10 ** (
        (top - reference_C) / z_K
    )


@dataclass(frozen=True)
class PValue:
    """Pasteurisation value of one trace, in minutes at 70 °C with z = 10 K."""

    minutes: float
    before_peak_min: float
    after_peak_min: float
    peak_C: float
    channel: str
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def p70_minutes(time_s, temperature_C, gap=None):
    """P70 of one trace or of each row of a cloud: an array operation."""
    return lethal_minutes(time_s, temperature_C, value("p_reference_C"), value("p_z_K"), gap=gap)


def p70(held: Trace) -> PValue:
    """P70 with its working. Nothing is counted below 130 °F."""
    ref, z = number("p_reference_C"), number("p_z_K")
    parts = _worth_min(held.time_s, held.temperature_C, ref.value, z.value, None, None, held.gap)
    at = int(held.temperature_C.argmax())
    before, after = float(parts[:at].sum()), float(parts[at:].sum())
    rate = 10 ** ((held.peak_C - ref.value) / z.value)
    work = (
        step(
            "What one minute at the peak is worth",
            "r = 10 ^ ((T − R) / z)",
            rate,
            "min",
            T=(held.peak_C, "°C", "peak of the core"),
            R=(ref.value, "°C"),
            z=(z.value, "K"),
        ),
        step(
            "Pasteurisation value",
            "P = b + a",
            before + after,
            "min at 70 °C",
            b=(before, "min", "up to the peak"),
            a=(after, "min", "from the peak on"),
        ),
    )
    return PValue(
        before + after, before, after, held.peak_C, held.name, held.notes, (ref.cite(),), work
    )


def equal_hold_min(minutes_at_70: float, temperature_C):
    """How long a steady core must be held at `temperature_C` for this P70."""
    return minutes_at_70 * 10 ** (
        (value("p_reference_C") - np.asarray(temperature_C, float)) / value("p_z_K")
    )


@dataclass(frozen=True)
class Reduction:
    """Log reduction by a line: a model beside a table. `beyond` where it exceeds what the rows were printed for, and so says nothing more."""

    logs: float
    printed_for: float
    beyond: bool
    what: str
    channel: str
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def told(self) -> str:
        return f"more than {self.printed_for:g} log" if self.beyond else f"{self.logs:.2g} log"


def reduction(held: Trace, table: HoldTable, product: str) -> Reduction:
    """Log reduction of `held` by the line through `table`. OutOfRange unless the table is for `product`: never poultry by the meat line."""
    table.refuse(product)
    line = line_of(table)
    return _reduction(held, line, table.log_reduction, f"line through the {table.title}")


def reduction_by_d(held: Trace, found: Resistance) -> Reduction:
    """Log reduction by published D values of one product: the caution beside the table."""
    return _reduction(
        held,
        line_of_d(found),
        value("lethality_most_logs"),
        f"line through {len(found.d_min)} published D values of {found.organism} in {found.product}",
    )


def _reduction(held, line, printed_for, what) -> Reduction:
    floor = max(celsius(value("lethality_floor_F")), line.low_C)
    worth = lethal_minutes(
        held.time_s, held.temperature_C, line.ref_C, line.z_K, floor, line.high_C, held.gap
    )
    logs = worth / line.d_ref_min
    work = (
        *line.working,
        step(
            "Log reduction on the line",
            "n = F / D",
            logs,
            "log",
            F=(worth, "min", f"worth of the trace at {line.ref_C:.1f} °C"),
            D=(line.d_ref_min, "min"),
        ),
    )
    notes = (
        "a model, not the rule: the table is met by its own rows only",
        f"counted from {floor:.1f} °C; above {line.high_C:.1f} °C the rate is held, since no row lies there",
        *held.notes,
    )
    return Reduction(
        logs, printed_for, logs > printed_for, what, held.name, notes, (line.source,), work
    )


def times_slower(found: Resistance, table: HoldTable) -> dict[float, float]:
    """Published D over the table's D on its line, at each published temperature from 60 to 70 °C."""
    line = line_of(table)
    return {
        t: float(d / line.d_min(t))
        for t, d in zip(found.temperature_C, found.d_min)
        if 60 <= t <= 70
    }

"""What energy does this chopper put in, by the person's own log?

The balance itself is fitted: temperatures of the bowl at the log's times, for an energy rate per kg that is constant. On the ice
plateau a reading says little about energy and the balance knows it. The interval has two parts: the scatter of the readings (with
their likeness to their neighbours counted, so that a fast logger gains nothing) and the uncertainty of the sheet (meat temperature, dry ice).
"""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.path import path_by_time
from kit.chop.result import sheet_uncertainties
from kit.errors import attempt, need, need_between
from kit.faults import need_said
from kit.logs import LogReading
from kit.tables import number
from kit.working import Interval, Result, Step, notes_of, working_of

MOST_RATE = 200.0
_MOST_POINTS = 600
_FEW, _FLAT_K, _WIDE, _POOR_K, _FAR_OFF_K = 4, 2.0, 0.5, 1.0, 0.5
_STEP = 1e-3


@dataclass(frozen=True, eq=False)
class EnergyFit(Result):
    """Energy of a machine from one log: its rate, the energy in all, the power into the batter; and what the log could not tell.

    `tells` is False where a warning says that the log cannot tell; the numbers are shown all the same.
    """

    rate_kJ_per_kg_min: Interval
    energy_kJ_per_kg: Interval
    power_kW: Interval
    minutes: float
    misfit_K: float
    time_min: np.ndarray
    measured_C: np.ndarray
    fitted_C: np.ndarray
    warnings: tuple[str, ...]

    @property
    def tells(self) -> bool:
        return not self.warnings


def fit_energy(
    bowl: Bowl,
    log: LogReading,
    channel: str | None = None,
    *,
    from_min: float = 0.0,
    to_min: float | None = None,
) -> EnergyFit:
    """The constant energy rate of a chopper from its own log.

    log, channel: readings of the batter, as `kit.reading.logs.read_log` gives them. from_min, to_min: minutes of the log between
    which the knives run on `bowl`; charges with a later `minute` go in that long after from_min.
    Raises OutOfRange with fewer than 4 usable readings there. The rate is what reached the batter.
    """
    seconds, measured = log.channel(channel)
    start = need_between("start in minutes of the log", from_min, 0, log.minutes)
    to_min = log.minutes if to_min is None else to_min
    stop = need_between("end in minutes of the log", to_min, start, log.minutes)
    inside = (seconds >= start * 60 - 1e-9) & (seconds <= stop * 60 + 1e-9)
    minute, measured = seconds[inside] / 60 - start, measured[inside]
    few = {"count": minute.size, "start": start, "stop": stop, "few": _FEW}
    need_said(minute.size >= _FEW, "few readings of a chop", **few)
    need(minute[-1] > 0, "the readings span no time")
    minute, measured = _thinned(minute, measured)
    from scipy.stats import t as student

    meat_sd, ice_sd = sheet_uncertainties()
    rate = _best_rate(bowl, minute, measured)
    fitted = _model(bowl, rate, minute)
    left, moved = measured - fitted, rate * _STEP + 1e-6
    slope = (_model(bowl, rate + moved, minute) - fitted) / moved
    misfit, effective = float(np.sqrt(np.mean(left**2))), _effective(left)
    information = float(slope @ slope)
    variance = misfit**2 * effective / max(effective - 1, 1)
    by_readings = float("inf")
    if information > 1e-12:
        by_readings = float(np.sqrt(variance * minute.size / effective / information))
    by_sheet = _sheet_sd(bowl, rate, minute, measured, meat_sd, ice_sd)
    reach = float(student.ppf(0.95, max(effective - 1, 1))) * by_readings
    half = float(np.hypot(reach, NormalDist().inv_cdf(0.95) * by_sheet))
    whole = Interval(max(rate - half, 0.0), rate, rate + half)
    kg, minutes = float(bowl.until(minute[-1]).kg), float(minute[-1])
    energy = float(path_by_time(bowl, rate, minute).knife_kJ[-1]) / kg
    scale = energy / rate if rate > 0 else minutes
    counts = {"readings": int(inside.sum()), "fitted": minute.size}
    counts |= {"effective": effective, "dropped": int((~log.usable).sum())}
    holds = {"averaged": counts["readings"] > minute.size, "dropped": counts["dropped"]}
    notes = notes_of("log of a chopper", holds, meat_sd=meat_sd, ice_sd=ice_sd, **counts)
    return EnergyFit(
        whole,
        whole.each(lambda rate: rate * scale),
        whole.each(lambda rate: rate * kg / 60),
        minutes,
        misfit,
        minute,
        measured,
        fitted,
        _warnings(bowl, rate, half, measured, fitted, misfit, minute),
        own_notes=notes,
        own_sources=(number("meat_temperature_sd").cite(), number("ice_latent_heat").cite()),
        own_working=_working(rate, minutes, kg, by_readings, by_sheet),
    )


def _working(rate, minutes, kg, by_readings, by_sheet) -> tuple[Step, ...]:
    energy = {"E": rate * minutes, "r": rate, "t": minutes, "P": rate * kg / 60, "M": kg}
    of, known = "uncertainty of a rate, sheet alone", {"s": by_sheet, "b": by_sheet}
    if np.isfinite(by_readings):
        of, known = "uncertainty of a rate", {"a": by_readings, "b": by_sheet}
        known["s"] = np.hypot(by_readings, by_sheet)
    return (*working_of("energy of a log", **energy), *working_of(of, **known))


def _model(bowl, rate, minute):
    return path_by_time(bowl, rate, minute).end_C


def _best_rate(bowl, minute, measured, near: float | None = None) -> float:
    """Least squares on temperature, robust to a few readings far off (soft L1 at 0.5 K); started at `near` or the best of a coarse grid."""
    from scipy.optimize import least_squares

    ceiling = MOST_RATE
    while ceiling > 1e-3 and not _possible(bowl, ceiling, minute):
        ceiling /= 1.5
    if near is None:
        some = np.unique(np.linspace(0, minute.size - 1, 40).astype(int))
        grid = np.concatenate([[0.0], np.geomspace(ceiling / 300, ceiling, 24)])
        off = [np.mean(np.abs(_model(bowl, r, minute[some]) - measured[some])) for r in grid]
        near = float(grid[int(np.argmin(off))])
    found = least_squares(
        lambda x: _model(bowl, float(x[0]), minute) - measured,
        [min(near + 1e-3, ceiling)],
        bounds=(0.0, ceiling),
        loss="soft_l1",
        f_scale=_FAR_OFF_K,
        x_scale=max(near, 0.1),
        xtol=1e-9,
        ftol=1e-9,
    )
    return float(found.x[0])


def _possible(bowl, rate, minute) -> bool:
    return not attempt(lambda: _model(bowl, rate, minute[[0, -1]]))[1]


def _effective(left) -> float:
    """How many independent readings these residuals amount to: n (1 − ρ) / (1 + ρ), ρ the likeness of neighbours; at least 2."""
    if left.size < 5 or left @ left < 1e-18:
        return float(left.size)
    centred = left - left.mean()
    likeness = float(
        np.clip(centred[1:] @ centred[:-1] / max(centred @ centred, 1e-30), 0.0, 0.999)
    )
    return max(left.size * (1 - likeness) / (1 + likeness), 2.0)


def _sheet_sd(bowl, rate, minute, measured, meat_sd, ice_sd) -> float:
    """Standard deviation of the rate from the uncertainty of the sheet: refitted with each thing moved by one of its own."""
    moved = []
    if meat_sd and bowl.of_kind(*LIKE_MEAT):
        moved.append(bowl.with_meat(lambda charge: charge.temperature_C + meat_sd))
    if ice_sd and bowl.of_kind("ice"):
        parts = (_partly_melted(c, ice_sd / 100) if c.kind == "ice" else (c,) for c in bowl.charges)
        moved.append(bowl.with_charges(part for pair in parts for part in pair))
    shifts = [_best_rate(other, minute, measured, rate) - rate for other in moved]
    return float(np.sqrt(sum(shift**2 for shift in shifts)))


def _partly_melted(ice, share):
    return replace(ice, kg=ice.kg * (1 - share)), replace(
        ice, name=f"{ice.name}, melted", kind="water", kg=ice.kg * share, temperature_C=0.0
    )


def _thinned(minute, measured):
    """Means over even stretches when there are more readings than the fit needs."""
    if minute.size <= _MOST_POINTS:
        return minute, measured
    stretch = np.minimum((np.arange(minute.size) * _MOST_POINTS) // minute.size, _MOST_POINTS - 1)
    count = np.bincount(stretch)
    return np.bincount(stretch, minute) / count, np.bincount(stretch, measured) / count


def _warnings(bowl, rate, half, measured, fitted, misfit, minute) -> tuple[str, ...]:
    whole, span = bowl.until(float(minute[-1])), measured.max() - measured.min()
    on_ice = measured.max() < float(whole.freezing_C) + 1 and bool(whole.of_kind("ice"))
    wide = not np.isfinite(half) or half > _WIDE * max(rate, 1e-9)
    holds = {"flat": span < _FLAT_K, "on ice": on_ice, "wide": wide, "disagrees": misfit > _POOR_K}
    holds["unmixed"] = abs(measured[0] - fitted[0]) > 2 * _POOR_K
    ends = {"first_C": measured[0], "mixed_C": fitted[0], "widest_pct": 100 * _WIDE}
    return notes_of("log that cannot tell", holds, span_K=span, misfit_K=misfit, **ends)

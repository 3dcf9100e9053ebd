"""What energy does this chopper put in, by the person's own log?

The balance itself is fitted: temperatures of the bowl at the log's times, for an energy rate per kg that is constant. On the ice
plateau a reading says little about energy and the balance knows it. The interval has two parts: the scatter of the readings (with
their likeness to their neighbours counted, so that a fast logger gains nothing) and what the sheet is unsure of (meat temperature, dry ice).
"""

from dataclasses import dataclass, replace

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.path import Surroundings, path_by_time
from kit.errors import OutOfRange, need, need_between
from kit.logs import LogReading
from kit.tables import number, value
from kit.working import Step, step

MOST_RATE = 200.0
_MOST_POINTS = 600
_FEW, _FLAT_K, _WIDE, _POOR_K, _FAR_OFF_K = 4, 2.0, 0.5, 1.0, 0.5
_STEP = 1e-3


@dataclass(frozen=True)
class EnergyFit:
    """Energy rate of a machine from one log, with its 90 % interval, and what the log could not tell.

    `tells` is False where a warning says that the log cannot tell; the numbers are shown all the same.
    """

    rate_kJ_per_kg_min: float
    low_kJ_per_kg_min: float
    high_kJ_per_kg_min: float
    energy_kJ_per_kg: float
    energy_low_kJ_per_kg: float
    energy_high_kJ_per_kg: float
    power_kW: float
    power_low_kW: float
    power_high_kW: float
    minutes: float
    scatter_K: float
    misfit_K: float
    effective_readings: float
    share_from_sheet: float
    time_min: np.ndarray
    measured_C: np.ndarray
    fitted_C: np.ndarray
    tells: bool
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def fit_energy(
    bowl: Bowl,
    log: LogReading,
    channel: str | None = None,
    *,
    from_min: float = 0.0,
    to_min: float | None = None,
    surroundings: Surroundings | None = None,
    meat_sd_K: float | None = None,
    ice_sd_pct: float | None = None,
) -> EnergyFit:
    """Fit a constant rate to the readings between `from_min` and `to_min` of the log, where `from_min` is when the knives start on `bowl`.

    Charges with a later `minute` go in at that many minutes after `from_min`. OutOfRange with fewer than 4 usable readings there.
    """
    seconds, measured = log.channel(channel)
    start = need_between("start in minutes of the log", from_min, 0, log.minutes)
    stop = need_between(
        "end in minutes of the log", log.minutes if to_min is None else to_min, start, log.minutes
    )
    inside = (seconds >= start * 60 - 1e-9) & (seconds <= stop * 60 + 1e-9)
    minute, measured = seconds[inside] / 60 - start, measured[inside]
    need(
        minute.size >= _FEW,
        f"only {minute.size} usable readings between minute {start:g} and {stop:g}; the fit needs at least {_FEW}",
    )
    need(minute[-1] > 0, "the readings span no time")
    minute, measured, thinned = _thinned(minute, measured)
    from scipy.stats import t as student

    meat_sd = need_between(
        "doubt of the meat temperature in K",
        value("meat_temperature_doubt") if meat_sd_K is None else meat_sd_K,
        0,
        10,
    )
    ice_sd = need_between(
        "doubt of dry ice in %",
        value("ice_weight_doubt_pct") if ice_sd_pct is None else ice_sd_pct,
        0,
        50,
    )

    rate = _best_rate(bowl, minute, measured, surroundings)
    fitted = _model(bowl, rate, minute, surroundings)
    left = measured - fitted
    slope = (_model(bowl, rate * (1 + _STEP) + 1e-6, minute, surroundings) - fitted) / (
        rate * _STEP + 1e-6
    )
    misfit, effective = float(np.sqrt(np.mean(left**2))), _effective(left)
    scatter = float(np.std(np.diff(measured - fitted)) / np.sqrt(2)) if left.size > 2 else misfit
    information = float(slope @ slope)
    variance = misfit**2 * effective / max(effective - 1, 1)
    by_readings = (
        float(np.sqrt(variance * minute.size / effective / information))
        if information > 1e-12
        else float("inf")
    )
    by_sheet = _sheet_sd(bowl, rate, minute, measured, surroundings, meat_sd, ice_sd)
    sd = float(np.hypot(by_readings, by_sheet))
    reach = float(student.ppf(0.95, max(effective - 1, 1))) * by_readings
    half = float(np.hypot(reach, 1.645 * by_sheet))
    low, high = max(rate - half, 0.0), rate + half
    kg, minutes = float(bowl.until(minute[-1]).kg), float(minute[-1])
    warnings = _warnings(bowl, rate, half, measured, fitted, misfit, minute)
    span = path_by_time(bowl, rate, minute, surroundings)
    energy = float(span.knife_kJ[-1]) / kg
    scale = energy / rate if rate > 0 else minutes
    notes = [
        f"{int(inside.sum())} readings count as about {effective:.0f}: neighbours in a log err alike.",
        "The rate is what reached the batter, motor and belt losses left out, and taken as constant; real power falls as the batter warms.",
        f"The interval counts the meat temperature as good to {meat_sd:g} K and the dry ice to {ice_sd:g} % "
        "(teaching assumptions, yours to change).",
    ]
    if thinned:
        notes.append(
            f"Averaged over short stretches to {minute.size} points for the fit; nothing else was smoothed."
        )
    dropped = int((~log.usable).sum())
    if dropped:
        notes.append(
            f"{dropped} readings of the log are holes, spikes or impossible and were not used; the log lists them."
        )
    working = (
        step(
            "energy per kg for what was in the bowl all the time",
            "E = r × t",
            rate * minutes,
            "kJ/kg",
            r=(rate, "kJ/(kg min)", "fitted rate"),
            t=(minutes, "min"),
        ),
        step(
            "power into the batter at the end",
            "P = r × M / 60",
            rate * kg / 60,
            "kW",
            r=(rate, "kJ/(kg min)"),
            M=(kg, "kg", "batter in the bowl"),
        ),
        step(
            "doubt of the rate, standard deviation",
            "s = √(a^2 + b^2)",
            sd,
            "kJ/(kg min)",
            a=(by_readings, "kJ/(kg min)", "scatter of the readings"),
            b=(by_sheet, "kJ/(kg min)", "what the sheet is unsure of"),
        )
        if np.isfinite(sd)
        else step(
            "doubt of the rate from the sheet alone",
            "s = b × 1",
            by_sheet,
            "kJ/(kg min)",
            b=(by_sheet, "kJ/(kg min)"),
        ),
    )
    return EnergyFit(
        rate,
        low,
        high,
        energy,
        low * scale,
        high * scale,
        rate * kg / 60,
        low * kg / 60,
        high * kg / 60,
        minutes,
        scatter,
        misfit,
        effective,
        float(by_sheet**2 / sd**2) if np.isfinite(sd) and sd > 0 else 0.0,
        minute,
        measured,
        fitted,
        not warnings,
        tuple(warnings),
        tuple(notes),
        (number("meat_temperature_doubt").cite(), number("ice_latent_heat").cite()),
        working,
    )


def _model(bowl, rate, minute, surroundings):
    return path_by_time(bowl, rate, minute, surroundings).end_C


def _best_rate(bowl, minute, measured, surroundings, near: float | None = None) -> float:
    """Least squares on temperature, robust to a few readings far off (soft L1 at 0.5 K); started at `near` or the best of a coarse grid."""
    from scipy.optimize import least_squares

    ceiling = MOST_RATE
    while ceiling > 1e-3 and not _possible(bowl, ceiling, minute, surroundings):
        ceiling /= 1.5
    if near is None:
        some = np.unique(np.linspace(0, minute.size - 1, 40).astype(int))
        grid = np.concatenate([[0.0], np.geomspace(ceiling / 300, ceiling, 24)])
        near = float(
            grid[
                int(
                    np.argmin(
                        [
                            np.mean(
                                np.abs(_model(bowl, r, minute[some], surroundings) - measured[some])
                            )
                            for r in grid
                        ]
                    )
                )
            ]
        )
    found = least_squares(
        lambda x: _model(bowl, float(x[0]), minute, surroundings) - measured,
        [min(near + 1e-3, ceiling)],
        bounds=(0.0, ceiling),
        loss="soft_l1",
        f_scale=_FAR_OFF_K,
        x_scale=max(near, 0.1),
        xtol=1e-9,
        ftol=1e-9,
    )
    return float(found.x[0])


def _possible(bowl, rate, minute, surroundings) -> bool:
    try:
        _model(bowl, rate, minute[[0, -1]], surroundings)
    except OutOfRange:
        return False
    return True


def _effective(left) -> float:
    """How many independent readings these residuals amount to: n (1 − ρ) / (1 + ρ), ρ the likeness of neighbours; at least 2."""
    if left.size < 5 or left @ left < 1e-18:
        return float(left.size)
    centred = left - left.mean()
    likeness = float(
        np.clip(centred[1:] @ centred[:-1] / max(centred @ centred, 1e-30), 0.0, 0.999)
    )
    return max(left.size * (1 - likeness) / (1 + likeness), 2.0)


def _sheet_sd(bowl, rate, minute, measured, surroundings, meat_sd, ice_sd) -> float:
    """Standard deviation of the rate from what the sheet is unsure of: refitted with each thing moved by one of its own."""
    moved = []
    if meat_sd and any(c.kind in LIKE_MEAT for c in bowl.charges):
        moved.append(
            [
                replace(c, temperature_C=c.temperature_C + meat_sd) if c.kind in LIKE_MEAT else c
                for c in bowl.charges
            ]
        )
    if ice_sd and bowl.of_kind("ice"):
        wet = ice_sd / 100
        moved.append(
            [
                part
                for c in bowl.charges
                for part in (_partly_melted(c, wet) if c.kind == "ice" else (c,))
            ]
        )
    return float(
        np.sqrt(
            sum(
                (
                    _best_rate(bowl.with_charges(charges), minute, measured, surroundings, rate)
                    - rate
                )
                ** 2
                for charges in moved
            )
        )
    )


def _partly_melted(ice, share):
    return replace(ice, kg=ice.kg * (1 - share)), replace(
        ice, name=f"{ice.name}, melted", kind="water", kg=ice.kg * share, temperature_C=0.0
    )


def _thinned(minute, measured):
    """Means over even stretches when there are more readings than the fit needs."""
    if minute.size <= _MOST_POINTS:
        return minute, measured, False
    stretch = np.minimum((np.arange(minute.size) * _MOST_POINTS) // minute.size, _MOST_POINTS - 1)
    count = np.bincount(stretch)
    return np.bincount(stretch, minute) / count, np.bincount(stretch, measured) / count, True


def _warnings(bowl, rate, half, measured, fitted, misfit, minute) -> list[str]:
    found = []
    whole = bowl.until(float(minute[-1]))
    if measured.max() - measured.min() < _FLAT_K:
        found.append(
            f"The log cannot tell: the readings span only {measured.max() - measured.min():.1f} K."
        )
    if float(np.max(measured)) < float(whole.freezing_C) + 1 and whole.of_kind("ice"):
        found.append(
            "The log cannot tell much: it never leaves the stretch where ice melts, on which temperature hardly follows energy. "
            "Chop on, or log longer."
        )
    if not np.isfinite(half) or half > _WIDE * max(rate, 1e-9):
        found.append(
            f"The log cannot tell: the interval is wider than ±{100 * _WIDE:g} % of the rate."
        )
    if misfit > _POOR_K:
        found.append(
            f"The balance and the log disagree by {misfit:.1f} K: check the ice weighed in, the meat temperatures, "
            "when the charges went in, and the probe."
        )
    if abs(measured[0] - fitted[0]) > 2 * _POOR_K:
        found.append(
            f"The first reading is {measured[0]:.1f} °C where a mixed bowl would be at {fitted[0]:.1f} °C: the bowl was not yet mixed, "
            "or the sheet is not this bowl."
        )
    return found

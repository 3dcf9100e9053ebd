"""What does the scale's step do to the dose?

A scale rounds to its step (error uniform within half a step) and repeats with some scatter (taken as normal). Their standard
uncertainties add in squares; twice that covers at least 95 % of weighings, whatever the mixture of the two. It is kept wider
than the 90 % intervals of the kit, because what is weighed is poisonous.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from kit.cure.dose import need_hand_dosable, nitrite_ppm, premix_kg_for
from kit.cure.premix import Premix
from kit.errors import need, need_between
from kit.faults import need_said
from kit.tables import number, value
from kit.working import Result, Step, notes_of, working_of


@dataclass(frozen=True)
class Scale:
    """step_g: the last digit's step. repeatability_sd_g: standard deviation of one load weighed again and again (weigh it ten times)."""

    step_g: float
    repeatability_sd_g: float = 0.0
    name: str = "scale"

    def __post_init__(self):
        what = "it is the difference between two neighbouring readings"
        need_between("step of the scale, g", self.step_g, 1e-6, 1e5, what)
        need_between("repeatability of the scale, g", self.repeatability_sd_g, 0, 1e5)

    @property
    def half_width_g(self) -> float:
        """Half the interval that covers at least 95 % of weighings, g."""
        return value("scale_coverage_factor") * sqrt(
            self.step_g**2 / 12 + self.repeatability_sd_g**2
        )

    def round_g(self, grams, to: Callable = np.round):
        """The nearest reading, g; the one at or below with `np.floor`, at or above with `np.ceil`; arrays allowed."""
        steps = np.divide(grams, self.step_g)
        whole = np.round(steps)
        # binary rounding makes no reading out of one that is met
        whole = np.where(np.abs(steps - whole) <= 1e-9, whole, to(steps))
        return np.round(whole * self.step_g, 9)[()]

    def working(self) -> tuple[Step, ...]:
        k, s = value("scale_coverage_factor"), self.repeatability_sd_g
        return working_of("weighing", h=self.half_width_g, k=k, d=self.step_g, s=s)


def ppm_interval(premix_g, strength_pct, meat_kg, scale: Scale):
    """(low, high) ppm NaNO2 of the meat that a reading of `premix_g` may really be, at least 95 %; arrays allowed; never below 0."""
    h = scale.half_width_g
    ends_g = np.maximum(np.subtract(premix_g, h), 0), np.add(premix_g, h)
    low, high = (nitrite_ppm(end_g / 1000, strength_pct, meat_kg) for end_g in ends_g)
    return low, high


def smallest_batch_meat_kg(scale: Scale, strength_pct, target_ppm, tolerance_pct=None):
    """Least meat (kg) from which on one weighing of premix always lies within ± tolerance; arrays allowed. Tolerance: 5 % unless chosen.

    Counts the weighing error and, at worst, half a step between the dose wanted and the nearest reading.
    """
    tolerance = value("dose_tolerance_pct") if tolerance_pct is None else tolerance_pct
    grams_per_kg = premix_kg_for(target_ppm, strength_pct, 1.0) * 1000
    return (scale.half_width_g + scale.step_g / 2) / (np.divide(tolerance, 100) * grams_per_kg)


@dataclass(frozen=True)
class ScaleAnswer(Result):
    """One dose on one scale. `furthest_pct`: how far from the target the dose may be, rounding to a reading included."""

    premix_g: float
    reading_g: float
    ppm_of_meat: float
    low_ppm_of_meat: float
    high_ppm_of_meat: float
    furthest_pct: float
    tolerance_pct: float
    smallest_meat_kg: float

    @property
    def within(self) -> bool:
        return self.furthest_pct <= self.tolerance_pct


def on_scale(
    target_ppm_of_meat: float,
    mix: Premix,
    meat_kg: float,
    scale: Scale,
    tolerance_pct: float | None = None,
) -> ScaleAnswer:
    """What a scale makes of a dose: the reading to aim at, the ppm it gives and the interval behind it.

    target_ppm_of_meat: mg NaNO2 per kg of meat, above 0, to 1e6
    mix: the premix; it must hold nitrite
    meat_kg: the meat block, kg, above 0
    scale: its step and repeatability, g
    tolerance_pct: what the dose may be off by, ± %, 0.01 to 100 (5 unless chosen)
    Returns ScaleAnswer: g to read, mg/kg, interval, and the smallest batch for this scale.
    Raises OutOfRange for a dose or a batch that cannot be.
    A dose below half a step reads 0 and is never within tolerance.
    Source: JCGM 100:2008 (GUM), 4.3.7: rounding uniform, scatter normal.
    """
    need_between("target_ppm_of_meat", target_ppm_of_meat, 0, 1e6)
    need_between("meat_kg", meat_kg, 1e-6, 1e6)
    need(mix.strength_pct > 0, f"{mix.name!r} holds no nitrite; choose a premix that does")
    need(target_ppm_of_meat > 0, "target_ppm_of_meat is 0; a dose of nothing needs no scale")
    tolerance = value("dose_tolerance_pct")
    if tolerance_pct is not None:
        tolerance = need_between("tolerance_pct", tolerance_pct, 0.01, 100)
    grams = float(premix_kg_for(target_ppm_of_meat, mix.strength_pct, meat_kg)) * 1000
    reading = float(scale.round_g(grams))
    ppm = float(nitrite_ppm(reading / 1000, mix.strength_pct, meat_kg))
    low, high = (float(x) for x in ppm_interval(reading, mix.strength_pct, meat_kg, scale))
    furthest = 100 * (abs(reading - grams) + scale.half_width_g) / grams
    smallest = float(smallest_batch_meat_kg(scale, mix.strength_pct, target_ppm_of_meat, tolerance))
    said = {"grams": grams, "furthest": furthest, "tolerance": tolerance, "smallest": smallest}
    known = {"target": target_ppm_of_meat, "meat": meat_kg, "strength": mix.strength_pct}
    known |= {"h": scale.half_width_g, "d": scale.step_g, "tol": tolerance, "least": smallest}
    known |= {"g": grams, "reading": reading, "ppm": ppm, "low": low, "high": high, "far": furthest}
    return ScaleAnswer(
        grams,
        reading,
        ppm,
        low,
        high,
        furthest,
        tolerance,
        smallest,
        own_notes=notes_of("scale", {"coarse": furthest > tolerance}, **said),
        own_sources=(number("scale_coverage_factor").cite(), number("dose_tolerance_pct").cite()),
        own_working=(*scale.working(), *working_of("dose on a scale", **known)),
    )


@dataclass(frozen=True)
class Dilution(Result):
    """Premix dissolved in water, and a weighed portion of the mixture taken. Masses in g; `steps` in words."""

    premix_g: float
    water_g: float
    portion_g: float
    low_ppm_of_meat: float
    high_ppm_of_meat: float
    relative_half_width_pct: float
    steps: tuple[str, ...]


_RATIOS = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100)


def dilute(
    target_ppm_of_meat: float,
    mix: Premix,
    meat_kg: float,
    scale: Scale,
    tolerance_pct: float | None = None,
) -> Dilution:
    """The two-step dilution in water that brings a dose within tolerance and makes the least mixture.

    target_ppm_of_meat, mix, meat_kg, scale, tolerance_pct: as in `on_scale`.
    Three weighings, relative errors added in squares. Raises OutOfRange if one weighing is good enough already, or if no
    dilution up to 1 in 100 fits the tolerance and the scale.
    """
    need_hand_dosable(mix, meat_kg)
    direct = on_scale(target_ppm_of_meat, mix, meat_kg, scale, tolerance_pct)
    grams, tolerance = direct.premix_g, direct.tolerance_pct
    need_said(not direct.within, "no dilution needed", grams=grams, tolerance=tolerance)
    tried = (_try_ratio(ratio, grams, mix, scale, tolerance) for ratio in _RATIOS)
    fits = [fit for fit in tried if fit]
    asked = {"grams": grams, "mix": mix, "tolerance": tolerance, "most": _RATIOS[-1]}
    need_said(bool(fits), "no dilution", scale=scale, **asked)
    least = min(fits, key=lambda fit: fit[0] + fit[1])
    return _dilution(*least, mix, meat_kg, scale.half_width_g)


def _try_ratio(ratio, grams, mix, scale, tolerance) -> tuple[float, float, float] | None:
    """(premix, water, portion) in g of the smallest 1 in `ratio` mixture that serves; None if none does."""
    h = scale.half_width_g
    if mix.salt_pct / ratio > value("saturated_brine_pct"):
        return None
    portion = float(scale.round_g(grams * ratio))
    left = tolerance / 100 - abs(portion / (grams * ratio) - 1)
    if portion <= 0 or h / portion >= left:
        return None
    share = (1 - 1 / ratio) * sqrt(1 + 1 / (ratio - 1) ** 2)
    least = h * share / sqrt(left**2 - (h / portion) ** 2)
    first = float(scale.round_g(max(least, portion / ratio), np.ceil))
    return first, round(first * (ratio - 1), 9), portion


def _dilution(first, water, portion, mix, meat_kg, h) -> Dilution:
    # dose = portion × first / (first + water): relative errors in squares, that of first and water through the share
    share = water / (first + water)
    relative = 100 * hypot(share * h / first, share * h / water, h / portion)
    held = portion * first / (first + water)
    ppm = float(nitrite_ppm(held / 1000, mix.strength_pct, meat_kg))
    masses = {"first": first, "water": water, "portion": portion, "less": portion - held}
    say = notes_of("dilution in steps", {}, name=mix.name, **masses)
    known = {"g": held, "portion": portion, "first": first, "water": water, "w": share, "h": h}
    known |= {"ppm": ppm, "strength": mix.strength_pct, "meat": meat_kg, "r": relative}
    cited = tuple(number(name).cite() for name in ("scale_coverage_factor", "saturated_brine_pct"))
    return Dilution(
        first,
        water,
        portion,
        ppm * (1 - relative / 100),
        ppm * (1 + relative / 100),
        relative,
        say,
        own_notes=notes_of("dilution", {}),
        own_sources=cited,
        own_working=working_of("dilution", **known),
    )

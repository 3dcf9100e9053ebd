"""How much nitrite is left? Only ranges: surveys of products, and one remembered formula with the place where it fails.

Nitrite is lost to pigment, protein, nitrate, gas and more, faster with ascorbate, heat and low pH. No rate constant for a chopped batter
could be read, so nothing here predicts a residual.
"""

from dataclasses import dataclass

import numpy as np

from kit.cure.cautions import RESIDUAL
from kit.errors import need_between
from kit.tables import number, value
from kit.working import Step, step


@dataclass(frozen=True)
class Survey:
    """Nitrite found in cured cooked sausage, mg/kg of product."""

    what: str
    low_ppm: float
    high_ppm: float
    source: str


def surveys() -> tuple[Survey, ...]:
    """Published surveys, oldest first. A mean alone has low and high alike."""

    def row(what, low, high=None):
        return Survey(what, value(low), value(high or low), number(low).cite())

    return (
        row("early 1970s, mean", "residual_survey_1970s_ppm"),
        row(
            "committee, about 1980",
            "residual_survey_1980s_low_ppm",
            "residual_survey_1980s_high_ppm",
        ),
        row("1997", "residual_survey_1997_low_ppm", "residual_survey_1997_high_ppm"),
        row("2009, group means", "residual_survey_2009_low_ppm", "residual_survey_2009_high_ppm"),
        row("2009, cured cooked sausage, mean", "residual_survey_2009_ppm"),
    )


def half_life_h(temperature_C, pH):
    """Nordin's remembered half-life of nitrite in ham, h; arrays allowed. Shown to be looked at, not used by the kit for any answer."""
    return 10 ** (
        value("nordin_constant")
        - value("nordin_per_C") * np.asarray(temperature_C, dtype=float)
        + value("nordin_per_pH") * np.asarray(pH, dtype=float)
    )


def lost_pct(half_life) -> float:
    """Lost in one hour, %."""
    return float(100 * (1 - 2 ** (-1 / half_life)))


def doubling_K() -> float:
    """Rise of temperature that halves the remembered half-life."""
    return float(np.log10(2) / value("nordin_per_C"))


def doubling_pH() -> float:
    """Fall of pH that halves the remembered half-life."""
    return float(np.log10(2) / value("nordin_per_pH"))


@dataclass(frozen=True)
class Residual:
    """After cooking, as a range; after storage, as a bound; the remembered formula beside them."""

    after_cook_low_ppm: float
    after_cook_high_ppm: float
    after_storage_below_ppm: float
    surveys: tuple[Survey, ...]
    nitrate_survey_ppm: float
    remembered_half_life_h: float
    remembered_loss_in_hour_pct: float
    caution: str
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def residual(ingoing_ppm: float, temperature_C: float = 70.0, pH: float = 6.0) -> Residual:
    """The published range for an ingoing dose (mg/kg), and what the remembered formula says at one temperature and pH.

    temperature_C from -2 to 110, pH from 5 to 7; OutOfRange beyond.
    """
    need_between("ingoing_ppm", ingoing_ppm, 0, 1e6)
    need_between(
        "temperature_C", temperature_C, -2, 110, "the formula was made for ham, chilled to canned"
    )
    need_between("pH", pH, 5, 7, "the formula was made for ham")
    low, high = (number(f"residual_after_cook_{end}_pct") for end in ("low", "high"))
    half = float(half_life_h(temperature_C, pH))
    lost = lost_pct(half)
    work = (
        step(
            "left after cooking, low end",
            "low = ingoing × share / 100",
            ingoing_ppm * low.value / 100,
            "mg/kg",
            ingoing=(ingoing_ppm, "mg/kg"),
            share=(low.value, "%"),
        ),
        step(
            "left after cooking, high end",
            "high = ingoing × share / 100",
            ingoing_ppm * high.value / 100,
            "mg/kg",
            ingoing=(ingoing_ppm, "mg/kg"),
            share=(high.value, "%"),
        ),
        step(
            "half-life by a formula not verified against the source",
            "t = 10^(a − b × T + c × pH)",
            half,
            "h",
            a=value("nordin_constant"),
            b=value("nordin_per_C"),
            c=value("nordin_per_pH"),
            T=(temperature_C, "°C"),
            pH=pH,
        ),
        step(
            "loss in one hour by that formula",
            "lost = 100 × (1 − 2^(−1 / t))",
            lost,
            "%",
            t=(half, "h"),
        ),
    )
    notes = (
        f"the half-life formula (not verified against the source) loses only {lost_pct(half_life_h(70, 6)):.2g} % in an hour at 70 °C and pH 6, so it cannot explain the "
        "early loss in a chopped batter with ascorbate, where a third or more goes between chopping and the end of cooking "
        "(common practice)",
        f"of the nitrogen added as nitrite, {value('nitrogen_recovered_low_pct'):g} to {value('nitrogen_recovered_high_pct'):g} % was "
        "found again in all forms together",
        "no rate constant for emulsified batter could be read, so no time course is given",
    )
    rows = (
        low,
        number("residual_stored_high_ppm"),
        number("nitrogen_recovered_low_pct"),
        number("nordin_constant"),
    )
    return Residual(
        ingoing_ppm * low.value / 100,
        ingoing_ppm * high.value / 100,
        value("residual_stored_high_ppm"),
        surveys(),
        value("nitrate_survey_2009_ppm"),
        half,
        lost,
        RESIDUAL,
        notes,
        tuple(r.cite() for r in rows),
        work,
    )

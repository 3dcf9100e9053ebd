"""How much nitrite is left? Only ranges: surveys of products, and one formula not verified against its source, with the place where it fails.

Nitrite is lost to pigment, protein, nitrate, gas and more, faster with ascorbate, heat and low pH. No rate constant for a chopped batter
could be read, so nothing here predicts a residual.
"""

from dataclasses import dataclass

import numpy as np

from kit.errors import need_between
from kit.tables import number, value
from kit.working import Result, steps_from


@dataclass(frozen=True)
class Survey:
    """Nitrite found in cured cooked sausage, mg/kg of product."""

    what: str
    low_ppm: float
    high_ppm: float
    source: str


_SURVEYS = (
    ("early 1970s, mean", "1970s_ppm", "1970s_ppm"),
    ("committee, about 1980", "1980s_low_ppm", "1980s_high_ppm"),
    ("1997", "1997_low_ppm", "1997_high_ppm"),
    ("2009, group means", "2009_low_ppm", "2009_high_ppm"),
    ("2009, cured cooked sausage, mean", "2009_ppm", "2009_ppm"),
)


def surveys() -> tuple[Survey, ...]:
    """Published surveys, oldest first. A mean alone has low and high alike."""
    made = []
    for what, low_name, high_name in _SURVEYS:
        low, high = (number(f"residual_survey_{name}") for name in (low_name, high_name))
        made.append(Survey(what, low.value, high.value, low.cite()))
    return tuple(made)


def half_life_h(temperature_C, pH):
    """Nordin's half-life (not verified against the source) of nitrite in ham, h; arrays allowed. Shown to be looked at, not used by the kit for any answer."""
    return 10 ** (
        value("nordin_constant")
        - value("nordin_per_C") * np.asarray(temperature_C, dtype=float)
        + value("nordin_per_pH") * np.asarray(pH, dtype=float)
    )


def lost_pct(half_life) -> float:
    """Lost in one hour, %."""
    return float(100 * (1 - 2 ** (-1 / half_life)))


def doubling_K() -> float:
    """Rise of temperature that halves that half-life."""
    return float(np.log10(2) / value("nordin_per_C"))


def doubling_pH() -> float:
    """Fall of pH that halves that half-life."""
    return float(np.log10(2) / value("nordin_per_pH"))


@dataclass(frozen=True)
class Residual(Result):
    """After cooking, as a range; after storage, as a bound; a formula not verified against its source beside them."""

    after_cook_low_ppm: float
    after_cook_high_ppm: float
    after_storage_below_ppm: float
    surveys: tuple[Survey, ...]
    nitrate_survey_ppm: float
    unverified_half_life_h: float
    unverified_loss_in_hour_pct: float


def residual(ingoing_ppm: float, temperature_C: float = 70.0, pH: float = 6.0) -> Residual:
    """The published range of what is left of a dose, and what a formula made for ham says: no prediction.

    ingoing_ppm: the dose, mg/kg, 0 to 1e6.
    temperature_C: of the product, °C, -2 to 110.
    pH: of the product, 5 to 7.
    Raises OutOfRange beyond. The formula (Nordin) is not verified against its source and is used for no answer.
    """
    need_between("ingoing_ppm", ingoing_ppm, 0, 1e6)
    remedy = "the formula was made for ham, chilled to canned"
    need_between("temperature_C", temperature_C, -2, 110, remedy)
    need_between("pH", pH, 5, 7, "the formula was made for ham")
    low_row, high_row = (number(f"residual_after_cook_{end}_pct") for end in ("low", "high"))
    low, high = (ingoing_ppm * row.value / 100 for row in (low_row, high_row))
    half = float(half_life_h(temperature_C, pH))
    lost = lost_pct(half)
    known = {
        "low": low,
        "high": high,
        "ingoing": (ingoing_ppm, "mg/kg"),
        "low_share": (low_row.value, "%"),
        "high_share": (high_row.value, "%"),
        "t": (half, "h"),
        "a": value("nordin_constant"),
        "b": value("nordin_per_C"),
        "c": value("nordin_per_pH"),
        "T": (temperature_C, "°C"),
        "pH": pH,
        "lost": lost,
    }
    work = steps_from(
        known,
        ("left after cooking, low end", "low = ingoing × low_share / 100", "mg/kg"),
        ("left after cooking, high end", "high = ingoing × high_share / 100", "mg/kg"),
        (
            "half-life by a formula not verified against the source",
            "t = 10^(a − b × T + c × pH)",
            "h",
        ),
        ("loss in one hour by that formula", "lost = 100 × (1 − 2^(−1 / t))", "%"),
    )
    recovered = [value(f"nitrogen_recovered_{end}_pct") for end in ("low", "high")]
    notes = (
        f"the half-life formula (not verified against the source) loses only {lost_pct(half_life_h(70, 6)):.2g} % in an hour at 70 °C and pH 6, so it cannot explain the "
        "early loss in a chopped batter with ascorbate, where a third or more goes between chopping and the end of cooking "
        "(common practice)",
        f"of the nitrogen added as nitrite, {recovered[0]:g} to {recovered[1]:g} % was found again in all forms together",
        "no rate constant for emulsified batter could be read, so no time course is given",
    )
    names = ("residual_stored_high_ppm", "nitrogen_recovered_low_pct", "nordin_constant")
    return Residual(
        low,
        high,
        value("residual_stored_high_ppm"),
        surveys(),
        value("nitrate_survey_2009_ppm"),
        half,
        lost,
        own_notes=notes,
        own_sources=(low_row.cite(), *(number(name).cite() for name in names)),
        own_working=work,
    )

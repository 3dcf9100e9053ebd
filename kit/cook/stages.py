"""What surrounds the link, stage by stage? Each call gives one `Stage`; a schedule is a sequence of them.

A coefficient or a wetness that a person knows (or fitted from a log) always goes before a correlation.
"""

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from kit.cook.exchange import cross_flow_h, still_h
from kit.cook.moist_air import saturation_pressure_Pa, vapour_pressure_Pa, wet_bulb_C
from kit.errors import need, need_between
from kit.tables import number, value


class Usual:
    """Numbers as a person gave them, within their bounds; the usual one where none was given, whose row is kept as a source."""

    def __init__(self, *rows: str):
        self.rows = list(rows)

    def __call__(self, what: str, given, row: str, low: float, high: float, remedy: str = ""):
        return self.of(row) if given is None else need_between(what, given, low, high, remedy)

    def of(self, row: str) -> float:
        self.rows.append(row)
        return value(row)

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(number(row).cite() for row in self.rows)


@dataclass(frozen=True)
class Stage:
    """One stretch of time in one medium. Fields that say so may be arrays over links (samples, a fit)."""

    name: str
    minutes: float
    medium: str
    """air or water"""
    medium_C: float
    """array over links allowed"""
    vapour_Pa: float | None = None
    """vapour pressure of the air; None where no water crosses the surface (baths, showers)"""
    wetness: float = 0.0
    """share of the surface that exchanges water with the air; array over links allowed"""
    h_W_per_m2K: float | None = None
    """given or fitted coefficient; None asks a correlation; array over links allowed"""
    speed_m_per_s: float | None = None
    """for the correlation; None is a still medium"""
    emissivity: float = 0.0
    wall_C: float | None = None
    spread_K: float = 0.0
    """between places in the smokehouse, one standard deviation"""
    wander_K: float = 0.0
    """of the medium over time, one standard deviation"""
    wander_min: float = 0.0
    sources: tuple[str, ...] = field(default=(), repr=False)

    def __post_init__(self):
        remedy = (
            "a stage must last longer than 0 min, at most two days: give its length or leave it out"
        )
        what = f"time of stage {self.name!r}"
        minutes = need_between(f"{what} in minutes", self.minutes, 0, 60 * 48, remedy)
        need(minutes > 0, f"{what} is 0 min; {remedy}")
        object.__setattr__(self, "minutes", minutes)

    @property
    def seconds(self) -> float:
        return 60 * self.minutes

    @property
    def wet_bulb_C(self) -> float | None:
        """Where a wet surface settles by the psychrometer's rule; None in a bath."""
        if self.vapour_Pa is None:
            return None
        return _wet_bulb(float(np.mean(self.medium_C)), self.vapour_Pa)

    @property
    def humidity_pct(self) -> float | None:
        if self.vapour_Pa is None:
            return None
        return float(100 * self.vapour_Pa / saturation_pressure_Pa(np.mean(self.medium_C)))

    def lasting(self, minutes: float) -> "Stage":
        return replace(self, minutes=minutes)


@lru_cache(maxsize=256)
def _wet_bulb(dry_C: float, vapour_Pa: float) -> float:
    """Kept, for a slider moves one stage and asks all."""
    return float(wet_bulb_C(dry_C, vapour_Pa))


def air(
    minutes,
    dry_bulb_C,
    *,
    wet_bulb_C=None,
    humidity_pct=None,
    speed_m_per_s=None,
    h_W_per_m2K=None,
    wetness=None,
    radiation=False,
    name="air",
    spread_K=None,
) -> Stage:
    """Air of a smokehouse or a room.

    minutes: above 0, at most two days. dry_bulb_C: -40 to 200 °C. humidity_pct (0 to 100 %) or wet_bulb_C: one of the two. speed_m_per_s (0.01 to 30) or
    h_W_per_m2K (0.5 to 20,000), or neither for still air. wetness: share of the skin that is wet, 0 to 1. radiation: walls as warm as the air radiate.
    spread_K: between places, one standard deviation, 0 to 50 K. Raises OutOfRange outside these ranges.
    """
    dry = need_between("dry bulb", dry_bulb_C, -40, 200, "smoking and cooking air is given in °C")
    usual = Usual("cook_lewis", "cook_water_activity")
    walls = {"emissivity": usual.of("cook_emissivity"), "wall_C": dry} if radiation else {}
    spread = value("cook_house_spread") if spread_K is None else spread_K
    wet = "1 is a surface wet all over, 0 a dry one"
    vapour = vapour_pressure_Pa(dry, humidity_pct=humidity_pct, wet_bulb_C=wet_bulb_C)
    return _stage(
        name,
        minutes,
        "air",
        dry,
        speed_m_per_s,
        h_W_per_m2K,
        usual,
        vapour_Pa=float(vapour),
        wetness=usual("wetness", wetness, "cook_wetness_fresh", 0, 1, wet),
        spread_K=need_between("spread", spread, 0, 50),
        **walls,
    )


def steam(minutes, temperature_C, *, speed_m_per_s=None, h_W_per_m2K=None, name="steam") -> Stage:
    """Air full of steam: saturated at its own temperature, below boiling; vapour condenses until the surface is as warm."""
    remedy = "for live steam at 100 °C use hot_water with the coefficient you measured"
    hot = need_between("steam temperature", temperature_C, 20, 99.5, remedy)
    transfer = {"speed_m_per_s": speed_m_per_s, "h_W_per_m2K": h_W_per_m2K}
    return air(minutes, hot, humidity_pct=100, wetness=1.0, name=name, **transfer)


def hot_water(
    minutes, temperature_C, *, speed_m_per_s=None, h_W_per_m2K=None, name="hot water"
) -> Stage:
    """A bath of hot water: no water leaves the link, and the skin comes near the water's temperature."""
    remedy = "water in an open kettle lies below its boiling point"
    hot = need_between("water temperature", temperature_C, 20, 98, remedy)
    return _stage(name, minutes, "water", hot, speed_m_per_s, h_W_per_m2K, Usual())


def shower(minutes, temperature_C=None, *, h_W_per_m2K=None, name="shower") -> Stage:
    """Cold water over the link. What evaporates from the spray is left out."""
    return _cold(minutes, temperature_C, h_W_per_m2K, "shower", name, 0, 40)


def ice_bath(
    minutes, temperature_C=None, *, h_W_per_m2K=None, still=False, name="ice bath"
) -> Stage:
    """Ice and water; `still` asks the correlation for unstirred water instead of the stirred coefficient."""
    if not still:
        return _cold(minutes, temperature_C, h_W_per_m2K, "ice_bath", name, 0, 15)
    both = "a still bath takes its coefficient from the correlation; give h or still=True, not both"
    need(h_W_per_m2K is None, both)
    usual = Usual("cook_ice_bath_C")
    cold = usual("bath temperature", temperature_C, "cook_ice_bath_C", 0, 15)
    return _stage(name, minutes, "water", cold, None, None, usual)


def brine(minutes, temperature_C=None, *, h_W_per_m2K=None, name="brine") -> Stage:
    return _cold(minutes, temperature_C, h_W_per_m2K, "brine", name, -21, 15)


def fridge(
    minutes, temperature_C=None, *, humidity_pct=None, h_W_per_m2K=None, wetness=None, name="fridge"
) -> Stage:
    """A still cold room: free convection and radiation, and the surface goes on drying."""
    usual = Usual()
    cold = usual("fridge temperature", temperature_C, "cook_fridge_C", -30, 25)
    stage = air(
        minutes,
        cold,
        humidity_pct=usual.of("cook_fridge_humidity") if humidity_pct is None else humidity_pct,
        h_W_per_m2K=h_W_per_m2K,
        wetness=wetness,
        radiation=h_W_per_m2K is None,
        name=name,
    )
    return replace(stage, sources=stage.sources + usual.sources)


def charcoal(
    minutes,
    temperature_C,
    *,
    spread_K=None,
    wander_K=None,
    wander_min=None,
    name="covered charcoal cooker",
    **surroundings,
) -> Stage:
    """A covered charcoal cooker: free convection and radiation, uneven from place to place and unsteady in time.

    spread_K, wander_K: between places and over time, one standard deviation, 0 to 120 K; wander_min: how long a swing lasts, 0 to 120 min; usual values where
    left out. They act in clouds (`one_probe`); a single run shows the mean. surroundings: humidity or wet bulb, wetness and coefficient, as for `air`.
    Burn only where the smoke can leave.
    """
    usual, given = Usual(), {"spread": spread_K, "wander": wander_K, "wander_min": wander_min}
    spread, wander, lasts = (
        usual(f"charcoal {key}", got, f"cook_charcoal_{key}", 0, 120) for key, got in given.items()
    )
    stage = air(minutes, temperature_C, radiation=True, name=name, **surroundings)
    uneven = {"spread_K": spread, "wander_K": wander, "wander_min": lasts}
    return replace(stage, **uneven, sources=stage.sources + usual.sources)


def coefficient(stage: Stage, diameter_mm, surface_C):
    """h in W/(m² K) by the stage's own number or its correlation, at the film between surface and medium. Without radiation."""
    if stage.h_W_per_m2K is not None:
        return stage.h_W_per_m2K
    surface = np.asarray(surface_C, float)
    if stage.speed_m_per_s is not None:
        film = np.clip((surface + stage.medium_C) / 2, 0, None)
        return cross_flow_h(diameter_mm, stage.speed_m_per_s, film, stage.medium)
    apart = surface - stage.medium_C
    least = stage.medium_C + np.where(apart < 0, -1.0, 1.0)
    surface = np.where(np.abs(apart) < 1, least, surface)  # still air never quite stands still
    if stage.medium == "water":
        surface = np.maximum(surface, 0.0)
    return still_h(diameter_mm, surface, stage.medium_C, stage.medium)


def _cold(minutes, temperature_C, h, key, name, low, high) -> Stage:
    """A cold bath or shower, by its usual temperature and coefficient where none is given."""
    usual = Usual()
    medium = usual(f"{name} temperature", temperature_C, f"cook_{key}_C", low, high)
    h = usual.of(f"cook_{key}_h") if h is None else h
    return _stage(name, minutes, "water", medium, None, h, usual)


def _stage(name, minutes, medium, medium_C, speed, h, usual: Usual, **more) -> Stage:
    """A stage whose coefficient is the given one, or that of the correlation for its speed."""
    if h is None:
        usual.of("cook_still_factor" if speed is None else "cook_cross_flow_factor")
    else:
        remedy = "air gives 5 to 100 W/(m² K), water 200 to 2000"
        h = need_between("heat transfer coefficient", h, 0.5, 20_000, remedy)
    if speed is not None:
        remedy = "leave the speed out for a still medium"
        speed = need_between("speed", speed, 0.01, 30, remedy)
    known = {"h_W_per_m2K": h, "speed_m_per_s": speed, "sources": usual.sources}
    return Stage(name, minutes, medium, medium_C, **known, **more)

"""What do dry bulb, wet bulb and humidity say about the air around a link?

Everything takes floats or arrays and broadcasts. Saturation pressure holds from -100 to 200 °C, over ice below 0.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy as sp

from kit.errors import need, need_all_between
from kit.faults import need_said
from kit.tables import value

Floats = Any
"""a float, or an array over links or times"""
KELVIN = 273.15
_GAP = "fill a gap or leave its row out"
PRESSURE_PA = value("cook_pressure")
PSAT_WATER = tuple(value(f"cook_psat_water_{i}") for i in range(6))
PSAT_ICE = tuple(value(f"cook_psat_ice_{i}") for i in range(7))
_RATIO, _AIR_HEAT, _VAPOUR_HEAT = (
    value(f"cook_{name}") for name in ("vapour_air_mass_ratio", "wb_air_heat", "wb_vapour_heat")
)
_OVER_WATER = tuple(value(f"cook_wb_{name}") for name in ("latent", "latent_fall", "water_heat"))
_OVER_ICE = tuple(
    value(f"cook_wb_{name}") for name in ("latent_ice", "latent_fall_ice", "ice_heat")
)


@dataclass(frozen=True)
class Fluid:
    """Transport properties at one film temperature (floats or arrays)."""

    conductivity_W_per_mK: Floats
    viscosity_Pa_s: Floats
    density_kg_per_m3: Floats
    heat_capacity_J_per_kgK: Floats

    @property
    def kinematic_m2_per_s(self):
        return self.viscosity_Pa_s / self.density_kg_per_m3

    @property
    def prandtl(self):
        return self.viscosity_Pa_s * self.heat_capacity_J_per_kgK / self.conductivity_W_per_mK


def saturation_pressure_Pa(temperature_C):
    """Pressure of water vapour over water, or over ice below 0 °C (ASHRAE Fundamentals 2017, ch. 1, eq. 5 and 6)."""
    T = need_all_between("temperature in °C", temperature_C, -100, 200, _GAP) + KELVIN
    a, b, c, d, e, f = PSAT_WATER
    water = a / T + b + T * (c + T * (d + T * e)) + f * np.log(T)
    a, b, c, d, e, f, g = PSAT_ICE
    ice = a / T + b + T * (c + T * (d + T * (e + T * f))) + g * np.log(T)
    return np.exp(np.where(T > KELVIN, water, ice))[()]


def humidity_ratio(vapour_Pa):
    """kg of vapour per kg of dry air."""
    return _RATIO * vapour_Pa / (PRESSURE_PA - vapour_Pa)


def vapour_pressure_Pa(dry_bulb_C, *, humidity_pct=None, wet_bulb_C=None):
    """Vapour pressure of air from its dry bulb and either relative humidity or wet bulb.

    Raises OutOfRange for humidity outside 0 to 100 %, a wet bulb above the dry bulb or drier than bone-dry air would show, and
    for humidity that would need more vapour than the whole pressure (possible only above 100 °C).
    """
    one = (humidity_pct is None) != (wet_bulb_C is None)
    need(one, "give the air either a humidity or a wet bulb, one of the two")
    dry = need_all_between("dry bulb in °C", dry_bulb_C, -100, 1000, _GAP)
    if humidity_pct is not None:
        remedy = f"check the sensor, or give the wet bulb; {_GAP}"
        humidity = need_all_between("humidity in percent", humidity_pct, 0, 100, remedy)
        vapour = humidity / 100 * saturation_pressure_Pa(dry)
        fits = bool(np.all(vapour < PRESSURE_PA))
        need_said(fits, "too humid", most=np.max(humidity), dry_C=np.max(dry))
        return vapour[()]
    wet = need_all_between("wet bulb in °C", wet_bulb_C, -100, 200, _GAP)
    need_said(bool(np.all(wet <= dry)), "wet bulb above dry", wet_C=np.max(wet), dry_C=np.min(dry))
    liquid = bool(np.all(saturation_pressure_Pa(wet) < PRESSURE_PA))
    need_said(liquid, "wet bulb boils", wet_C=np.max(wet))
    ratio = _ratio_from_wet_bulb(dry, wet)
    need_said(bool(np.all(ratio >= 0)), "drier than dry", wet_C=np.min(wet), dry_C=np.max(dry))
    return (PRESSURE_PA * ratio / (_RATIO + ratio))[()]


def humidity_pct(dry_bulb_C, wet_bulb_C):
    """Relative humidity (%) from dry and wet bulb (°C)."""
    vapour = vapour_pressure_Pa(dry_bulb_C, wet_bulb_C=wet_bulb_C)
    return 100 * vapour / saturation_pressure_Pa(dry_bulb_C)


def wet_bulb_C(dry_bulb_C: float, vapour_Pa: float) -> float:
    """Thermodynamic wet bulb between -60 °C and the dry bulb."""
    ratio = humidity_ratio(vapour_Pa)

    def drier(wet):
        return float(_ratio_from_wet_bulb(dry_bulb_C, wet)) - ratio

    high = min(dry_bulb_C, _boiling_C())
    return high if drier(high) <= 0 else sp.optimize.brentq(drier, -60.0, high, xtol=1e-12)


@lru_cache(maxsize=1)
def _boiling_C() -> float:
    """Just below the boiling point of water, where the humidity ratio is still finite."""
    just_below = PRESSURE_PA * (1 - 1e-6)
    return sp.optimize.brentq(lambda t: saturation_pressure_Pa(t) - just_below, 0.0, 200.0)


def _ratio_from_wet_bulb(dry, wet):
    """Humidity ratio by the energy balance of adiabatic saturation (ASHRAE Fundamentals 2017, ch. 1, eq. 33 and 35)."""
    saturated = humidity_ratio(saturation_pressure_Pa(wet))

    def balance(latent, fall, condensed):
        return ((latent - fall * wet) * saturated - _AIR_HEAT * (dry - wet)) / (
            latent + _VAPOUR_HEAT * dry - condensed * wet
        )

    return np.where(wet >= 0, balance(*_OVER_WATER), balance(*_OVER_ICE))


def dry_air(film_C) -> Fluid:
    """Air by Sutherland's law and the ideal gas; 0 to 250 °C within 2 %. Humidity is left out of the transport properties."""
    T = np.asarray(film_C, float) + KELVIN

    def sutherland(at_zero, s):
        return at_zero * (T / KELVIN) ** 1.5 * (KELVIN + s) / (T + s)

    molar = value("cook_air_molar_mass")
    conducts = sutherland(value("cook_air_conductivity"), value("cook_air_conductivity_s"))
    viscosity = sutherland(value("cook_air_viscosity"), value("cook_air_viscosity_s"))
    density = PRESSURE_PA * molar / (value("cook_gas_constant") * T)
    return Fluid(conducts[()], viscosity[()], density[()], value("cook_air_molar_heat") / molar)


def water(film_C) -> Fluid:
    """Liquid water, 0 to 98 °C; brine is taken as water."""
    t = np.asarray(film_C, float)
    k0, k1, k2 = (value(f"cook_water_conductivity_{i}") for i in range(3))
    a, b, c = (value(f"cook_water_viscosity_{name}") for name in "abc")
    viscosity = a * np.exp(b / (t + KELVIN - c))
    conducts = k0 + t * (k1 + t * k2)
    return Fluid(conducts[()], viscosity[()], water_density(t), value("cook_water_heat"))


def water_density(temperature_C):
    """kg/m³, with the maximum near 4 °C that stills an ice bath (Kell 1975)."""
    t = np.asarray(temperature_C, float)
    d = [value(f"cook_water_density_{i}") for i in range(7)]
    return (np.polynomial.polynomial.polyval(t, d[:6]) / (1 + d[6] * t))[()]

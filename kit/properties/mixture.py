"""How do the components add up to a food: heat, density, conductivity?

All functions take a Makeup and °C, broadcast together, and return SI units. Air counts only by volume.
"""

import numpy as np

from kit.errors import need_all_between
from kit.properties.components import (
    component_conductivity_W_per_mK,
    component_cp_J_per_kgK,
    component_density_kg_per_m3,
    heat_inside_kJ_per_kg,
    within_range,
)
from kit.properties.makeup import Makeup
from kit.tables import value


def cp_J_per_kgK(makeup: Makeup, t_C):
    """Heat capacity by mass, without melting of ice or fat."""
    return sum(share * component_cp_J_per_kgK(name, t_C) for name, share in makeup.parts())


def heat_kJ_per_kg(makeup: Makeup, t_C):
    """Enthalpy against all-liquid food at 0 °C: the heat of each component from 0 °C, ice at its latent heat below that.

    makeup: mass fractions
    t_C: temperature, −40 to 150 °C, a float or an array
    Returns kJ/kg, in the shape of t_C.
    Raises OutOfRange outside −40 to 150 °C.
    Trusted to about 5 %.
    Source: data/reference/properties.csv.
    """
    t = within_range(t_C)
    parts = [part for part in makeup.parts() if np.ndim(part[1]) or part[1]]
    heat = sum(share * heat_inside_kJ_per_kg(name, t) for name, share in parts)
    return heat - makeup.ice_fraction * value("ice_latent_heat")


def density_kg_per_m3(makeup: Makeup, t_C, air_pct=0.0):
    """Volumes add; `air_pct` of the final volume is air, without weight."""
    return (1 - _air(air_pct)) / _specific_volume(makeup, t_C)


def conductivity_W_per_mK(makeup: Makeup, t_C, air_pct=0.0):
    """Thermal conductivity: fat dispersed in the rest (itself parallel), then air dispersed in both.

    makeup: mass fractions
    t_C: temperature, −40 to 150 °C, a float or an array
    air_pct: air by volume, 0 to below 100 %
    Returns W/(m·K), in the shape of t_C.
    Raises OutOfRange outside −40 to 150 °C, or for air outside its range.
    Trusted to about 15 %.
    Source: Maxwell and Eucken; data/reference/properties.csv.
    """
    rest, rest_v, fat_v, fat_k = 0.0, 0.0, 0.0, 1.0
    whole = _specific_volume(makeup, t_C)
    for name, share in makeup.parts():
        v = share / component_density_kg_per_m3(name, t_C) / whole
        k = component_conductivity_W_per_mK(name, t_C)
        if name == "fat":
            fat_v, fat_k = v, k
        else:
            rest, rest_v = rest + v * k, rest_v + v
    any_rest = np.greater(rest_v, 0)
    rest_k = np.where(any_rest, rest / np.where(any_rest, rest_v, 1), fat_k)
    solid_k = _maxwell(rest_k, fat_k, fat_v)
    return _maxwell(solid_k, value("air_conductivity"), _air(air_pct))


def _maxwell(continuous_k, dispersed_k, dispersed_volume_fraction):
    """Conductivity of drops of one thing in another."""
    c, d, e = continuous_k, dispersed_k, dispersed_volume_fraction
    return c * (2 * c + d - 2 * e * (c - d)) / (2 * c + d + e * (c - d))


def _specific_volume(makeup, t_C):
    return sum(share / component_density_kg_per_m3(name, t_C) for name, share in makeup.parts())


def _air(air_pct):
    return need_all_between("air, % of the volume", air_pct, 0, 100 - 1e-6) / 100

"""What does a link of this diameter and length weigh, and the other way round? Cylinders.

All functions are vectorised and broadcast.
"""

import numpy as np

from kit.errors import OutOfRange

_MM3_TO_G = 1e-6
"""kg/m3 × mm3 × this = g"""


def fill_g_per_m(diameter_mm, density_kg_per_m3):
    """Grams of batter per metre of a round casing."""
    diameter = _positive("diameter_mm", diameter_mm)
    density = _positive("density_kg_per_m3", density_kg_per_m3)
    return np.pi / 4 * diameter**2 * density / 1000


def diameter_of_fill_mm(g_per_m, density_kg_per_m3):
    """The solid round that holds `g_per_m`: the inverse of `fill_g_per_m`."""
    density = _positive("density_kg_per_m3", density_kg_per_m3)
    return np.sqrt(4000 * _positive("g_per_m", g_per_m) / (np.pi * density))


def link_weight_g(diameter_mm, length_mm, density_kg_per_m3):
    """Weight of one link."""
    diameter, length = _positive("diameter_mm", diameter_mm), _positive("length_mm", length_mm)
    density = _positive("density_kg_per_m3", density_kg_per_m3)
    return np.pi / 4 * diameter**2 * length * density * _MM3_TO_G


def link_diameter_mm(weight_g, length_mm, density_kg_per_m3):
    """Diameter at which a link of this length weighs `weight_g`."""
    weight, length = _positive("weight_g", weight_g), _positive("length_mm", length_mm)
    density = _positive("density_kg_per_m3", density_kg_per_m3)
    return np.sqrt(4 * weight / (np.pi * density * _MM3_TO_G) / length)


def _positive(name: str, given):
    try:
        values = np.asarray(given, float)
    except (TypeError, ValueError):
        raise OutOfRange(f"{name} is {given!r}, which is no number") from None
    bad = ~(np.isfinite(values) & (values > 0))
    if bad.any():
        raise OutOfRange(
            f"{name} is {values[bad].flat[0]:g}; it must be a finite number greater than 0"
        )
    return values if values.ndim else float(values)

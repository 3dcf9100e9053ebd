"""What does a link of this diameter and length weigh, and the other way round? Cylinders.

All functions are vectorised and broadcast; what they are given is above 0.
"""

import numpy as np

_MM3_TO_G = 1e-6
"""kg/m3 × mm3 × this = g"""


def fill_g_per_m(diameter_mm, density_kg_per_m3):
    """Grams of batter per metre of a round casing."""
    return np.pi / 4 * diameter_mm**2 * density_kg_per_m3 / 1000


def diameter_of_fill_mm(g_per_m, density_kg_per_m3):
    """The solid round that holds `g_per_m`: the inverse of `fill_g_per_m`."""
    return np.sqrt(4000 * g_per_m / (np.pi * density_kg_per_m3))


def link_weight_g(diameter_mm, length_mm, density_kg_per_m3):
    """Weight of one link."""
    return np.pi / 4 * diameter_mm**2 * length_mm * density_kg_per_m3 * _MM3_TO_G


def link_diameter_mm(weight_g, length_mm, density_kg_per_m3):
    """Diameter at which a link of this length weighs `weight_g`."""
    return np.sqrt(4 * weight_g / (np.pi * density_kg_per_m3 * _MM3_TO_G) / length_mm)

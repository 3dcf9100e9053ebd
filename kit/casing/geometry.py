"""What does a link of this diameter and length weigh, and the other way round? Cylinders, with flat or round ends.

All functions are vectorised and broadcast. `ends` is "flat" (the cylinder of the same diameter: the usual sum) or "round" (the length
is the whole link and both ends are half balls, which hold a third of a diameter less).
"""

import numpy as np

from kit.errors import OutOfRange, UnknownName, need

FLAT, ROUND = "flat", "round"
ENDS = (FLAT, ROUND)
_MM3_TO_G = 1e-6
"""kg/m3 × mm3 × this = g"""


def fill_g_per_m(diameter_mm, density_kg_per_m3):
    """Grams of batter per metre of a round casing."""
    diameter, density = (
        _positive("diameter_mm", diameter_mm),
        _positive("density_kg_per_m3", density_kg_per_m3),
    )
    return np.pi / 4 * diameter**2 * density / 1000


def diameter_of_fill_mm(g_per_m, density_kg_per_m3):
    """The solid round that holds `g_per_m`: the inverse of `fill_g_per_m`."""
    return np.sqrt(
        4000
        * _positive("g_per_m", g_per_m)
        / (np.pi * _positive("density_kg_per_m3", density_kg_per_m3))
    )


def link_weight_g(diameter_mm, length_mm, density_kg_per_m3, ends: str = FLAT):
    """Weight of one link. With round ends the length must be at least the diameter."""
    diameter, length = _positive("diameter_mm", diameter_mm), _positive("length_mm", length_mm)
    density = _positive("density_kg_per_m3", density_kg_per_m3)
    if is_round(ends):
        _long_enough(diameter, length)
        length = length - diameter / 3
    return np.pi / 4 * diameter**2 * length * density * _MM3_TO_G


def link_length_mm(weight_g, diameter_mm, density_kg_per_m3, ends: str = FLAT):
    """Length at which a link of this diameter weighs `weight_g`."""
    weight, diameter = _positive("weight_g", weight_g), _positive("diameter_mm", diameter_mm)
    length = weight / (
        np.pi / 4 * diameter**2 * _positive("density_kg_per_m3", density_kg_per_m3) * _MM3_TO_G
    )
    if is_round(ends):
        length = length + diameter / 3
        _long_enough(diameter, length)
    return length


def link_diameter_mm(weight_g, length_mm, density_kg_per_m3, ends: str = FLAT):
    """Diameter at which a link of this length weighs `weight_g`. Round ends: the cubic D²(L − D/3) = 4m/(πρ), solved exactly."""
    weight, length = _positive("weight_g", weight_g), _positive("length_mm", length_mm)
    c = 4 * weight / (np.pi * _positive("density_kg_per_m3", density_kg_per_m3) * _MM3_TO_G)
    if not is_round(ends):
        return np.sqrt(c / length)
    cosine = 1 - 3 * c / (2 * length**3)
    if np.any(cosine < -1e-9):
        raise OutOfRange(
            "no link with round ends is that heavy at that length: the heaviest is a ball as wide as it is long; "
            "give a longer length, or flat ends"
        )
    return length * (1 + 2 * np.cos(2 * np.pi / 3 - np.arccos(np.maximum(cosine, 0)) / 3))


def is_round(ends: str) -> bool:
    if ends not in ENDS:
        raise UnknownName("kind of ends", str(ends), ENDS)
    return ends == ROUND


def _long_enough(diameter, length):
    need(
        bool(np.all(length >= diameter * (1 - 1e-12))),
        "a link with round ends must be at least as long as it is wide; give flat ends, or a longer link",
    )


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

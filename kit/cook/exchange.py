"""How fast does heat cross the surface of a link? Heat transfer coefficients in W/(m² K), floats or arrays."""

import numpy as np

from kit.cook.moist_air import KELVIN, dry_air, water, water_density
from kit.faults import need_said
from kit.tables import value


def cross_flow_h(diameter_mm, speed_m_per_s, film_C, medium: str = "air"):
    """A cylinder in cross flow (Churchill and Bernstein 1977), for Re Pr above 0.2; measured data scatter by 20 to 30 %."""
    fluid = dry_air(film_C) if medium == "air" else water(film_C)
    size_m = np.asarray(diameter_mm, float) / 1000
    reynolds = np.asarray(speed_m_per_s, float) * size_m / fluid.kinematic_m2_per_s
    forced, slowest = np.all(reynolds * fluid.prandtl > 0.2), np.min(speed_m_per_s)
    need_said(bool(forced), "too slow", slowest=slowest, medium=medium)
    prandtl = fluid.prandtl
    base, factor, pr, turbulent = (
        value(f"cook_cross_flow_{part}") for part in ("base", "factor", "prandtl", "turbulent")
    )
    slow = factor * reynolds**0.5 * prandtl ** (1 / 3) / (1 + (pr / prandtl) ** (2 / 3)) ** 0.25
    nusselt = base + slow * (1 + (reynolds / turbulent) ** (5 / 8)) ** (4 / 5)
    return (nusselt * fluid.conductivity_W_per_mK / size_m)[()]


def still_h(diameter_mm, surface_C, medium_C, medium: str = "air"):
    """A long horizontal cylinder in still air or water (Churchill and Chu 1975), Rayleigh up to 1e12.

    Buoyancy comes from the density difference itself, so that the maximum of water near 4 °C is in it.
    """
    surface, far = np.asarray(surface_C, float), np.asarray(medium_C, float)
    film, size_m = (surface + far) / 2, np.asarray(diameter_mm, float) / 1000
    if medium == "air":
        fluid, buoyancy = dry_air(film), np.abs(surface - far) / (film + KELVIN)
    else:
        fluid = water(film)
        buoyancy = np.abs(water_density(surface) - water_density(far)) / fluid.density_kg_per_m3
    grashof = value("cook_gravity") * buoyancy * size_m**3 / fluid.kinematic_m2_per_s**2
    prandtl = fluid.prandtl
    base, factor, pr = (value(f"cook_still_{part}") for part in ("base", "factor", "prandtl"))
    slope = factor / (1 + (pr / prandtl) ** (9 / 16)) ** (8 / 27)
    nusselt = (base + slope * (grashof * prandtl) ** (1 / 6)) ** 2
    return (nusselt * fluid.conductivity_W_per_mK / size_m)[()]

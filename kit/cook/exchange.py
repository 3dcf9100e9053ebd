"""How fast does heat cross the surface of a link? Heat transfer coefficients in W/(m² K), floats or arrays."""

import numpy as np

from kit.cook.moist_air import KELVIN, Fluid, dry_air, water, water_density
from kit.errors import need
from kit.tables import value


def cross_flow_h(diameter_mm, speed_m_per_s, film_C, medium: str = "air"):
    """A cylinder in cross flow (Churchill and Bernstein 1977), for Re Pr above 0.2; measured data scatter by 20 to 30 %."""
    fluid = dry_air(film_C) if medium == "air" else water(film_C)
    reynolds = (
        np.asarray(speed_m_per_s, float)
        * np.asarray(diameter_mm, float)
        / 1000
        / fluid.kinematic_m2_per_s
    )
    need(
        bool(np.all(reynolds * fluid.prandtl > 0.2)),
        f"speed {np.min(speed_m_per_s):g} m/s is too slow for forced flow (Re Pr must exceed 0.2); use still {medium} instead",
    )
    return (
        cross_flow_nusselt(reynolds, fluid.prandtl)
        * fluid.conductivity_W_per_mK
        / (np.asarray(diameter_mm, float) / 1000)
    )[()]


def cross_flow_nusselt(reynolds, prandtl):
    base, factor, pr, turbulent = (
        value(f"cook_cross_flow_{part}") for part in ("base", "factor", "prandtl", "turbulent")
    )
    return base + (
        factor
        * reynolds**0.5
        * prandtl ** (1 / 3)
        / (1 + (pr / prandtl) ** (2 / 3)) ** 0.25
        * (1 + (reynolds / turbulent) ** (5 / 8)) ** (4 / 5)
    )


def still_h(diameter_mm, surface_C, medium_C, medium: str = "air"):
    """A long horizontal cylinder in still air or water (Churchill and Chu 1975), Rayleigh up to 1e12.

    Buoyancy comes from the density difference itself, so that the maximum of water near 4 °C is in it.
    """
    surface, far = np.asarray(surface_C, float), np.asarray(medium_C, float)
    film = (surface + far) / 2
    if medium == "air":
        fluid, buoyancy = dry_air(film), np.abs(surface - far) / (film + KELVIN)
    else:
        fluid = water(film)
        buoyancy = np.abs(water_density(surface) - water_density(far)) / fluid.density_kg_per_m3
    return (
        still_nusselt(_rayleigh(diameter_mm, buoyancy, fluid), fluid.prandtl)
        * fluid.conductivity_W_per_mK
        / (np.asarray(diameter_mm, float) / 1000)
    )[()]


def still_nusselt(rayleigh, prandtl):
    base, factor, pr = (value(f"cook_still_{part}") for part in ("base", "factor", "prandtl"))
    return (base + factor * rayleigh ** (1 / 6) / (1 + (pr / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2


def _rayleigh(diameter_mm, buoyancy, fluid: Fluid):
    return (
        value("cook_gravity")
        * buoyancy
        * (np.asarray(diameter_mm, float) / 1000) ** 3
        / fluid.kinematic_m2_per_s**2
        * fluid.prandtl
    )

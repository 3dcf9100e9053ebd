"""What does a link do below its freezing point, where ice gives off heat?

The march has one heat capacity and no ice. From the stage on in which its surface falls below the freezing point, the same rings are followed by their
enthalpy: Chen's below that point, the link's own heat capacity above. Ice forms at once (no supercooling); water leaves the
surface as in the march, diameter stays.
"""

from dataclasses import replace

import numpy as np
import scipy as sp

from kit.cook.link import Link
from kit.cook.march import Run, modes
from kit.cook.stages import Stage
from kit.cook.surface import SCALAR, exchange, flux
from kit.properties.components import LOWEST_C
from kit.properties.freezing import enthalpy_kJ_per_kg, frozen
from kit.properties.mixture import conductivity_W_per_mK
from kit.tables import value

ROWS = (
    "freezing_C_meat",
    "bound_water_per_protein",
    "chen_latent_heat",
    "chen_cp_frozen",
    "cook_batter_water_pct",
    "cook_batter_protein_pct",
)


def freezes_at(surface_C) -> int | None:
    """First row in which the surface is below the freezing point of meat; None where it never is."""
    below = np.asarray(surface_C) < value("freezing_C_meat")
    return int(below.argmax()) if below.any() else None


def with_ice(link: Link, stages: tuple[Stage, ...], run: Run) -> Run:
    """The run of one link with the heat of its ice, from the first stage that freezes its surface; `run` itself where none does.

    `run` holds the temperature of every ring (places 0 to 1). The energy balance closes: heat through the surface is the change of enthalpy.
    """
    row = freezes_at(run.probes_C[:, -1])
    if row is None:
        return run
    first = max(int(np.searchsorted(run.first_rows, row)) - 1, 0)
    # under ice the skin dries no further
    dried = float(run.skin_activity[first - 1]) if first else link.water_activity
    T, H, k = _curves(link)
    temps, heat, mean = (np.array(a) for a in (run.probes_C, run.heat_J_per_m2, run.mean_C))
    laws, shares = list(run.exchanges), modes().volumes
    per_m2 = link.density_kg_per_m3 * link.radius_m / 2
    latent, fall = 1000 * value("cook_latent"), 1000 * value("cook_latent_fall")

    def heat_of(t_C):
        thawed = link.heat_capacity_J_per_kgK * (t_C - T[-1])
        return np.where(t_C > T[-1], thawed, np.interp(t_C, T, H))

    for n, stage in enumerate(stages[first:], first):
        rows = slice(run.first_rows[n], run.first_rows[n + 1] + 1)
        laws[n] = law = exchange(stage, link.diameter_mm, mean[rows.start], dried, float, SCALAR)
        dry = replace(law, evaporates=False)
        seconds = run.seconds[rows] - run.seconds[rows.start]
        leaves = np.diff(run.water_kg_per_m2[rows]) / np.diff(seconds)

        def into(s, at_s, dry=dry, seconds=seconds, leaves=leaves):
            step = min(int(np.searchsorted(seconds, at_s, "right")) - 1, len(leaves) - 1)
            return flux(s, dry)[0] - (latent - fall * s) * leaves[step]

        start = heat_of(temps[rows.start])
        change, span = _change(link, (T, H, k), shares, into), (0, seconds[-1])
        exact = {"rtol": 1e-5, "atol": 10.0, "lband": 1, "uband": 1}
        found = sp.integrate.solve_ivp(change, span, start, "LSODA", seconds, **exact).y.T
        temps[rows] = _temperature(found, T, H, link)
        mean[rows] = temps[rows] @ shares
        heat[rows] = heat[rows.start] + per_m2 * (found - start) @ shares
    return replace(run, probes_C=temps, mean_C=mean, heat_J_per_m2=heat, exchanges=tuple(laws))


def _curves(link: Link):
    """Temperature (°C, rising to the freezing point), enthalpy against the freezing point (J/kg) and conductivity (W/(m K)) of the freezing batter."""
    point = value("freezing_C_meat")
    T = np.append(point - np.geomspace(point - LOWEST_C, 1e-4, 300), point)
    H = 1000 * enthalpy_kJ_per_kg(link.batter, T, point)
    k = conductivity_W_per_mK(frozen(link.batter, T, point), T)
    return T, H - H[-1], link.conductivity_W_per_mK * k / k[-1]


def _temperature(H_J_per_kg, T, H, link: Link):
    thawed = T[-1] + H_J_per_kg / link.heat_capacity_J_per_kgK
    return np.where(H_J_per_kg > 0, thawed, np.interp(H_J_per_kg, H, T))


def _change(link: Link, curves, shares, into):
    """dH/dt of the rings: conduction between neighbours, and what crosses the surface."""
    T, H, k = curves
    between = np.arange(len(shares) - 1) + 0.5
    inside = 2 / (link.density_kg_per_m3 * link.radius_m**2)
    outside = inside * link.radius_m / shares[-1]

    def change(at_s, heat):
        t, conducts = _temperature(heat, T, H, link), np.interp(heat, H, k)
        flow = between * (conducts[1:] + conducts[:-1]) / 2 * np.diff(t)
        rate = np.diff(flow, prepend=0.0, append=0.0) * inside / shares
        rate[-1] += outside * into(t[-1], at_s)
        return rate

    return change

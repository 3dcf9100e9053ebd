"""How much of a food's water is ice below its freezing point, and how much heat does that take?

`freezing_C` is the initial freezing point (below 0 °C). Chen's enthalpy is used for foods that come in frozen; Tchigeov's
rule gives the ice. Everything is vectorised.
"""

import numpy as np

from kit.errors import need_all_between
from kit.properties.components import LOWEST_C, within_range
from kit.properties.makeup import Makeup
from kit.properties.mixture import heat_kJ_per_kg
from kit.tables import value


def bound_water_fraction(makeup: Makeup):
    """Water held by protein that does not freeze: 0.4 per protein, at most all the water."""
    bound = value("bound_water_per_protein") * makeup.protein_fraction
    return np.minimum(bound, makeup.all_water_fraction)


def ice_fraction_tchigeov(water_fraction, freezing_C, t_C):
    """Ice per mass of food: 1.105 xw / (1 + 0.7138 / ln(tf − t + 1)) below tf, else 0."""
    below = np.maximum(_freezing(freezing_C) - within_range(t_C), 0.0)
    scale, log = value("tchigeov_scale"), value("tchigeov_log")
    with np.errstate(divide="ignore"):
        return scale * water_fraction / (1 + log / np.log1p(below))


def chen_enthalpy_kJ_per_kg(makeup: Makeup, freezing_C, t_C):
    """Chen (1985): enthalpy against the frozen food at −40 °C."""
    t, solids = within_range(t_C), makeup.solids_fraction
    frozen = np.minimum(t, _freezing(freezing_C))
    freezable = makeup.all_water_fraction - bound_water_fraction(makeup)
    below = (frozen - LOWEST_C) * (
        value("chen_cp_frozen")
        + value("chen_cp_frozen_solids") * solids
        - freezable * value("chen_latent_heat") * freezing_C / (LOWEST_C * frozen)
    )
    unfrozen_cp = (
        value("chen_cp_unfrozen")
        - value("chen_cp_unfrozen_solids") * solids
        - value("chen_cp_unfrozen_solids_cubed") * solids**3
    )
    return below + np.maximum(t - freezing_C, 0) * unfrozen_cp


def enthalpy_kJ_per_kg(makeup: Makeup, t_C, freezing_C=None):
    """Enthalpy against the unfrozen food at 0 °C: by components above the freezing point, by Chen below it.

    `freezing_C` defaults to that of lean meat (a cited row). Continuous at the freezing point.
    """
    freezing = value("freezing_C_meat") if freezing_C is None else _freezing(freezing_C)
    thawed, t = makeup.thawed, within_range(t_C)
    at_point = chen_enthalpy_kJ_per_kg(thawed, freezing, freezing)
    drop = at_point - chen_enthalpy_kJ_per_kg(thawed, freezing, np.minimum(t, freezing))
    return heat_kJ_per_kg(thawed, np.maximum(t, freezing)) - drop


def frozen(makeup: Makeup, t_C, freezing_C=None) -> Makeup:
    """The food with its ice at `t_C` by Tchigeov's rule, for density and conductivity; ice never exceeds the water."""
    freezing = value("freezing_C_meat") if freezing_C is None else freezing_C
    ice = ice_fraction_tchigeov(makeup.all_water_fraction, freezing, t_C)
    return makeup.with_ice(np.minimum(ice, makeup.all_water_fraction))


def _freezing(freezing_C):
    remedy = "near −1 to −3 for meat"
    return need_all_between("initial freezing point in °C", freezing_C, -39, -1e-6, remedy)[()]

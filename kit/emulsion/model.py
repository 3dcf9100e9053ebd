"""Pools, margins and cook-out. One small function for each line of the model; every input broadcasts.

A batter holds its fat while dissolved protein covers it, the fat is neither too hard nor too melted, and the gel has
protein enough for the load. It holds its water while the heat-set gel does. A margin is 0 at the edge of what the model
takes as holding, above 0 with a margin. Grams are of 100 g raw batter.

`b` is a Batter, `p` is Parameters. The picture is a teaching model; which mechanism rules is not settled in published work.
"""

from dataclasses import dataclass

import numpy as np
import scipy as sp

from kit.emulsion.batter import Batter
from kit.emulsion.parameters import Parameters
from kit.tables import value

LIMIT_WORDS = {
    "coverage": "protein film on fat globules",
    "temperature": "chopping temperature",
    "fat load": "fat : functional protein",
    "water": "water binding",
}
LIMITS = tuple(LIMIT_WORDS)


# pools


def functional_protein(b: Batter, p: Parameters):
    """Protein that can bind, g: meat protein without collagen, and non-meat protein at its worth."""
    meat = b.protein_pct * (1 - b.collagen_pct_of_protein / 100)
    return meat + p.nonmeat_worth * b.nonmeat_protein_pct


def salt_mol_per_kg_water(b: Batter, p: Parameters):
    """Moles of salt in a kilogram of the batter's water; 0 where there is no water."""
    water_kg = np.asarray(b.water_pct) / 1000
    nothing = np.zeros(np.broadcast_shapes(np.shape(b.salt_pct), water_kg.shape))
    return np.divide(
        b.salt_pct / value("nacl_g_per_mol"), water_kg, out=nothing, where=water_kg > 0
    )


def phosphate_effect(b: Batter, p: Parameters):
    """0 without phosphate, towards 1 with plenty."""
    return 1 - np.exp(-b.phosphate_pct / p.phosphate_scale_pct)


def dissolved_share(b: Batter, p: Parameters):
    """Share of the salt-soluble protein that has dissolved."""
    gained = p.dissolved_share_phosphate - p.dissolved_share_salt
    most = p.dissolved_share_salt + gained * phosphate_effect(b, p)
    salt = salt_mol_per_kg_water(b, p) ** p.salt_steepness
    return most * salt / (salt + p.half_salt_mol_per_kg**p.salt_steepness)


def dissolved_protein(b: Batter, p: Parameters):
    """Protein in solution that can make films, g."""
    meat = b.protein_pct * (1 - b.collagen_pct_of_protein / 100)
    other = p.nonmeat_film_share * p.nonmeat_worth * b.nonmeat_protein_pct
    return dissolved_share(b, p) * p.myofibrillar_share * meat + other


# what the fat asks for, and the three fat margins


def fat_area_m2(b: Batter, p: Parameters):
    """Surface of the fat that left its cells, m2: 6 V / d."""
    return 6 * (1 - p.intact_cell_share) * b.fat_pct / (p.fat_density_kg_per_L * b.drop_um)


def film_protein(b: Batter, p: Parameters):
    """Protein that would coat that surface, g."""
    return p.film_mg_per_m2 / 1000 * fat_area_m2(b, p)


def capped(margin, p: Parameters):
    return np.clip(margin, -p.margin_cap, p.margin_cap)


def coverage_margin(b: Batter, p: Parameters):
    """ln of dissolved protein over the protein that the fat's surface asks for."""
    have, asked = np.broadcast_arrays(dissolved_protein(b, p), film_protein(b, p))
    with np.errstate(divide="ignore", invalid="ignore"):
        return capped(np.where(asked > 0, np.log(have) - np.log(asked), np.inf), p)


def temperature_margin(b: Batter, p: Parameters):
    """1 at the best final chopping temperature of the fat, 0 one width away on either side; of several fats the mean by share."""
    return sum(share * temperature_margin_of(kind, b, p) for kind, share in b.fat_shares.items())


def temperature_margin_of(kind: str, b: Batter, p: Parameters):
    fat = p.fats[kind]
    away = b.end_C - fat.best_end_C
    return capped(1 - np.where(away > 0, away / fat.hot_width_C, -away / fat.cold_width_C), p)


def load_margin(b: Batter, p: Parameters):
    """How far fat per functional protein stays below what the gel can carry."""
    return capped((p.fat_load_limit - b.fat_pct / functional_protein(b, p)) / p.fat_load_width, p)


def fat_margin(b: Batter, p: Parameters):
    """The three fat margins as one: a smooth minimum, near the weakest."""
    return blended(p, coverage_margin(b, p), temperature_margin(b, p), load_margin(b, p))


def blended(p: Parameters, *margins):
    """−ln(mean exp(−β m)) / β, calculated from the smallest up so that nothing overflows."""
    low = np.minimum.reduce(np.broadcast_arrays(*margins))
    mean = sum(np.exp(-p.blend_sharpness * (m - low)) for m in margins) / len(margins)
    return low - np.log(mean) / p.blend_sharpness


# cook-out


def melted_share(b: Batter, p: Parameters):
    """Share of the fat that is liquid at the core temperature: a logistic line through the two published shares."""
    cold, warm = sp.special.logit(p.melted_share_10C), sp.special.logit(p.melted_share_40C)
    return sp.special.expit(cold + (warm - cold) * (b.core_C - 10) / (40 - 10))


def most_lost(b: Batter, p: Parameters):
    """Share of the fat released if nothing held it; of several fats the mean by share."""
    return sum(share * p.fats[kind].most_lost for kind, share in b.fat_shares.items())


def fat_share_out(b: Batter, p: Parameters, margin):
    """Share of the fat that is released at a blended fat margin."""
    leaves = sp.special.expit(p.fat_level - p.fat_steepness * margin)
    return most_lost(b, p) * melted_share(b, p) * leaves


def denatured(b: Batter, p: Parameters):
    """0 while the protein is raw, 1 once it is set: no heat-set gel loses water before it is one."""
    return sp.special.expit((b.core_C - p.denature_C) / p.denature_width_C)


def levelling(amount, gain, scale):
    """Log-odds by which an ingredient lowers it: in step with the first grams, towards `gain` with plenty."""
    return gain * (1 - np.exp(-amount / scale))


def nonmeat_pull(b: Batter, p: Parameters):
    return levelling(b.nonmeat_protein_pct, p.nonmeat_gain, p.nonmeat_scale_pct)


def starch_pull(b: Batter, p: Parameters):
    return levelling(b.starch_pct, p.starch_gain, p.starch_scale_pct)


def fibre_pull(b: Batter, p: Parameters):
    return levelling(b.fibre_pct, p.fibre_gain, p.fibre_scale_pct)


def water_pull_dry(b: Batter, p: Parameters):
    """Log-odds that water is released when water and meat protein stand at the reference ratio."""
    return (
        p.water_level
        + p.water_per_10C * (b.core_C - p.core_reference_C) / 10
        - levelling(b.salt_pct, p.salt_gain, p.salt_scale_pct)
        - p.phosphate_gain * phosphate_effect(b, p)
        - p.pH_gain * (b.pH - p.pH_reference)
        + p.collagen_gain * (b.collagen_pct_of_protein - p.collagen_reference_pct)
        - nonmeat_pull(b, p)
        - starch_pull(b, p)
        - fibre_pull(b, p)
    )


def water_ratio(b: Batter, p: Parameters):
    """Water per meat protein, its collagen counted, g/g."""
    return b.water_pct / b.protein_pct


def water_pull(b: Batter, p: Parameters):
    """Log-odds that water is released at this batter's own ratio; −infinite without water."""
    with np.errstate(divide="ignore"):
        return water_pull_dry(b, p) + p.ratio_gain * np.log(water_ratio(b, p) / p.ratio_reference)


def water_share_out(b: Batter, p: Parameters):
    return denatured(b, p) * sp.special.expit(water_pull(b, p))


def water_ratio_at_edge(b: Batter, p: Parameters):
    """Water per meat protein at which `water_edge_share` of the water would leave; infinite where the cook cannot take that much."""
    share = np.minimum(p.water_edge_share / denatured(b, p), 1.0)
    with np.errstate(over="ignore", divide="ignore"):
        away = sp.special.logit(share) - water_pull_dry(b, p)
        return p.ratio_reference * np.exp(away / p.ratio_gain)


@dataclass(frozen=True)
class BatterState:
    """Everything the model says of a batter. Floats, or arrays of one shape. Grams are of 100 g raw batter."""

    functional_protein_g: float
    salt_mol_per_kg_water: float
    dissolved_protein_g: float
    fat_area_m2: float
    film_protein_g: float
    coverage_margin: float
    temperature_margin: float
    load_margin: float
    fat_margin: float
    water_margin: float
    water_ratio: float
    water_ratio_at_edge: float
    headroom_g: float
    """water that could be added before `water_edge_share` of it would leave; negative: too much already"""
    water_out_g: float
    fat_out_g: float
    solids_out_g: float
    total_out_g: float

    @property
    def margins(self) -> dict[str, float]:
        """By limit, in the order of LIMITS."""
        fat = self.coverage_margin, self.temperature_margin, self.load_margin
        return dict(zip(LIMITS, (*fat, self.water_margin)))

    @property
    def weakest(self):
        """Index into LIMITS of the smallest margin."""
        return np.argmin(np.stack(np.broadcast_arrays(*self.margins.values())), axis=0)

    @property
    def least_margin(self):
        return np.minimum.reduce(np.broadcast_arrays(*self.margins.values()))


def work_out(b: Batter, p: Parameters) -> BatterState:
    """The whole model, once, for one batter or many and one set of parameters or many."""
    coverage, temperature, load = coverage_margin(b, p), temperature_margin(b, p), load_margin(b, p)
    fat = blended(p, coverage, temperature, load)
    ratio, edge = water_ratio(b, p), water_ratio_at_edge(b, p)
    water_out = b.water_pct * water_share_out(b, p)
    fat_out = b.fat_pct * fat_share_out(b, p, fat)
    solids_out = p.solids_share * water_out
    return BatterState(
        functional_protein_g=functional_protein(b, p),
        salt_mol_per_kg_water=salt_mol_per_kg_water(b, p),
        dissolved_protein_g=dissolved_protein(b, p),
        fat_area_m2=fat_area_m2(b, p),
        film_protein_g=film_protein(b, p),
        coverage_margin=coverage,
        temperature_margin=temperature,
        load_margin=load,
        fat_margin=fat,
        water_margin=capped((edge - ratio) / p.ratio_reference, p),
        water_ratio=ratio,
        water_ratio_at_edge=edge,
        headroom_g=(edge - ratio) * b.protein_pct,
        water_out_g=water_out,
        fat_out_g=fat_out,
        solids_out_g=solids_out,
        total_out_g=water_out + fat_out + solids_out,
    )

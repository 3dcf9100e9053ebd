"""How salty is the water in the sausage, and what does that stop?

Only the salt dissolved in the water counts for microbes: brine strength (water-phase salt), and the water activity it gives.
Water activity by Pitzer's equation at 25 °C.
"""

from dataclasses import dataclass, replace

import numpy as np

from kit.errors import need_between
from kit.faults import need_said
from kit.tables import cite, number, numbers, value
from kit.working import Result, Step, notes_of, working_of

_PITZER = ("nacl_beta0", "nacl_beta1", "nacl_cphi", "debye_a", "b", "alpha")


def brine_pct(salt, moisture):
    """Salt in the water phase, % = 100 salt / (salt + moisture). Both in one unit (kg, or % of one base); arrays allowed."""
    return 100 * np.divide(salt, np.add(salt, moisture))


def molality(brine_strength_pct):
    """mol NaCl per kg of water, from brine strength in %; arrays allowed."""
    strength = np.asarray(brine_strength_pct, dtype=float)
    return (strength / (100 - strength) * 1000 / value("nacl_g_per_mol"))[()]


def osmotic_coefficient(mol_per_kg):
    """Pitzer, NaCl in water, 25 °C, 0 to 6.148 mol/kg; arrays allowed. OutOfRange beyond."""
    m = np.asarray(mol_per_kg, dtype=float)
    most = value("pitzer_nacl_most_molality")
    low, high = np.min(m), np.max(m)
    need_said(bool(low >= 0 and high <= most), "past saturation", low=low, high=high, most=most)
    b0, b1, c, a, b, alpha = (value(f"pitzer_{name}") for name in _PITZER)
    root = np.sqrt(m)
    return (1 - a * root / (1 + b * root) + m * (b0 + b1 * np.exp(-alpha * root)) + m**2 * c)[()]


def water_activity(mol_per_kg):
    """aw of NaCl in water at 25 °C from molality; arrays allowed; range as `osmotic_coefficient`."""
    m = np.asarray(mol_per_kg, dtype=float)
    return np.exp(-2 * osmotic_coefficient(m) * m * value("h2o_g_per_mol") / 1000)[()]


def aw_of_brine(brine_strength_pct):
    """aw from brine strength in %; arrays allowed."""
    return water_activity(molality(brine_strength_pct))


def sodium_mg_per_100g(salt_pct):
    """Sodium from NaCl alone; nitrite, ascorbate and phosphate add a little more. Arrays allowed."""
    return np.multiply(salt_pct, 1000) * value("na_g_per_mol") / value("nacl_g_per_mol")


@dataclass(frozen=True)
class Growth:
    """Does this water activity alone stop this organism? `stopped` False means it can grow, all else being right for it."""

    organism: str
    least_aw: float
    stopped: bool
    source: str


def growth_table(aw: float) -> tuple[Growth, ...]:
    """Published lowest aw for growth, against `aw`. Stopped only if aw is below every published figure for that organism."""
    need_between("water activity", aw, 0, 1)
    held = (row for name, row in numbers().items() if name.startswith("growth_aw_"))
    rows = sorted(held, key=lambda row: row.value)
    return tuple(Growth(r.basis, r.value, aw < min(r.value, r.low), r.cite()) for r in rows)


@dataclass(frozen=True)
class Brine(Result):
    """Salt and water of one product. `salt_kg` counts the cure's own salt."""

    salt_kg: float
    water_kg: float
    product_kg: float
    salt_pct: float
    brine_pct: float
    molality: float
    aw: float
    sodium_mg_per_100g: float
    growth: tuple[Growth, ...]


def brine(
    salt_kg: float,
    water_kg: float,
    product_kg: float,
    cure_salt_kg: float = 0.0,
    water_lost_kg: float = 0.0,
) -> Brine:
    """Salt in all the water of a product, and the water activity that it gives.

    salt_kg: salt put in, kg, 0 to 1e6
    water_kg: all water of the batter, kg
    product_kg: the whole batter, kg, at least its salt and water
    cure_salt_kg: the cure's own salt, kg
    water_lost_kg: cook loss taken as water alone, kg; the salt stays. 0 for the batter
    Returns Brine: % salt of salt and water, molality, water activity.
    Raises OutOfRange for impossible masses or a brine past saturation.
    Valid for NaCl alone at 25 °C, 0 to 6.148 mol/kg.
    Source: Pitzer's equation; data/reference/cure.csv.
    """
    need_between("salt_kg", salt_kg, 0, 1e6)
    salt_kg += need_between("cure_salt_kg", cure_salt_kg, 0, 1e6)
    need_between("water_kg", water_kg, 1e-9, 1e7)
    remedy = "more water than the product holds cannot be lost"
    need_between("water_lost_kg", water_lost_kg, 0, water_kg, remedy)
    water, product = water_kg - water_lost_kg, product_kg - water_lost_kg
    held, known = salt_kg + water, {"product": product, "lost": water_lost_kg}
    enough = product >= held - 1e-9 and water > 0
    need_said(enough, "brine of too much", held=held, **known)
    strength, share = float(brine_pct(salt_kg, water)), 100 * salt_kg / product
    m, aw = float(molality(strength)), float(aw_of_brine(strength))
    growth, sodium = growth_table(aw), float(sodium_mg_per_100g(share))
    found = Brine(salt_kg, water, product, share, strength, m, aw, sodium, growth)
    constants = ("nacl_g_per_mol", "pitzer_nacl_beta0", "pitzer_debye_a")
    cited = (number(name).cite() for name in constants)
    stops = (one.source for one in growth)
    return replace(
        found,
        own_notes=_notes(found),
        own_sources=(*cited, *stops, cite("robinson_stokes_1965", "6 mol/kg")),
        own_working=_working(found),
    )


def _notes(found: Brine) -> tuple[str, ...]:
    can_grow = ", ".join(growth.organism for growth in found.growth if not growth.stopped)
    low, high = (value(f"frankfurter_brine_{end}_pct") for end in ("low", "high"))
    holds = {"grows": can_grow, "unusual": not low <= found.brine_pct <= high}
    said = {"can_grow": can_grow, "strength": found.brine_pct}
    return notes_of("brine", holds, low=low, high=high, **said)


def _working(found: Brine) -> tuple[Step, ...]:
    symbols = ("b0", "b1", "c", "a", "b", "alpha")
    pitzer = {s: value(f"pitzer_{name}") for s, name in zip(symbols, _PITZER)}
    masses = {"M": "nacl", "M_w": "h2o", "M_Na": "na"}
    known = pitzer | {symbol: value(f"{name}_g_per_mol") for symbol, name in masses.items()}
    known |= {"salt": found.salt_kg, "water": found.water_kg, "product": found.product_kg}
    known |= {"brine": found.brine_pct, "m": found.molality, "aw": found.aw, "s": found.salt_pct}
    phi = float(osmotic_coefficient(found.molality))
    return working_of("brine", phi=phi, Na=found.sodium_mg_per_100g, **known)

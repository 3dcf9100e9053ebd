"""What would restore a limit of this batch, counting what ice and a colder start do to the final chopping temperature?

The emulsion model alone takes ice as water. Here the bowl of the sheet is followed too: the knives give the heat per kg that brings this bowl to the
batter's final chopping temperature, and each change is followed through the same balance.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT, ice
from kit.emulsion.batter import Batter, possible
from kit.emulsion.calibrate import Calibration
from kit.emulsion.corrective_actions import CorrectiveActions, corrective_actions
from kit.emulsion.factors import FACTORS, Factor
from kit.working import notes_of

KNOTS = 241


def corrective_actions_in(
    bowl: Bowl,
    batter: Batter,
    wanted: float = 0.0,
    limit: str | None = None,
    calibration: Calibration | None = None,
) -> CorrectiveActions:
    """`corrective_actions` with the factors of `factors_of`; the notes say what was counted."""
    factors = factors_of(bowl, batter)
    found = corrective_actions(batter, wanted, limit, calibration, factors)
    knives = factors is not FACTORS
    holds = {"no knives": not knives, "same knives": knives, "free end": knives}
    counted = notes_of("corrective actions of a bowl", holds)
    return replace(found, own_notes=(*found.own_notes, *counted))


def factors_of(bowl: Bowl, batter: Batter) -> Mapping[str, Factor]:
    """FACTORS with ice that cools and with the temperature of the meat as it goes in; FACTORS itself where the knives could not have put in heat."""
    heat = float(bowl.energy_to_kJ_per_kg(batter.end_C))
    meats = bowl.of_kind(*LIKE_MEAT)
    if heat < 0 or not meats:
        return FACTORS
    end, *others = (_ice(bowl, heat) if each.name == "ice_g" else each for each in FACTORS.values())
    return {factor.name: factor for factor in (end, _start(bowl, meats, heat), *others)}


def _start(bowl: Bowl, meats, heat: float) -> Factor:
    """Every meat colder or warmer by the same, named by the mean; none of it is taken below the row's bound, where it freezes in part."""
    here = float(sum(c.kg * c.temperature_C for c in meats) / sum(c.kg for c in meats))
    factor = Factor(
        "start_C",
        "meat as it goes in",
        "°C",
        lambda b: here,
        lambda b, x: b,
        down="start with colder meat",
        up="start with warmer meat",
    )
    coldest, warmest = min(c.temperature_C for c in meats), max(c.temperature_C for c in meats)
    knots = here + np.linspace(
        min(factor.row.low - coldest, 0.0), max(factor.row.high - warmest, 0.0), KNOTS
    )
    at = bowl.with_meat(lambda charge: charge.temperature_C + knots - here)
    return _followed(factor, knots, at.end_C(heat))


def _ice(bowl: Bowl, heat: float) -> Factor:
    """Grams for 100 g of batter, at the temperature of the ice that is there; no more is taken out than there is."""
    plain, kg = FACTORS["ice_g"], float(bowl.kg)
    held = bowl.of_kind("ice")
    in_bowl = bowl.kg_of("ice")
    knots = np.linspace(max(plain.row.low, -100 * in_bowl / kg), plain.row.high, KNOTS)
    iced = ice(np.maximum(in_bowl + knots / 100 * kg, 0.0), held[0].temperature_C if held else None)
    at = bowl.with_charges((*(c for c in bowl.charges if c.kind != "ice"), iced))
    return _followed(replace(plain, label="ice added, its cold counted"), knots, at.end_C(heat))


def _followed(factor: Factor, knots, ends) -> Factor:
    """The factor with the final chopping temperature that follows from it, as far as a batter can end; straight between the knots."""
    low, high = possible("end_C")
    inside = (ends >= low) & (ends <= high)
    knots, ends = knots[inside], ends[inside]
    return replace(
        factor,
        at=lambda b, x: factor.at(b, x).but(end_C=np.interp(x, knots, ends)),
        bounds=(float(knots[0]), float(knots[-1])),
    )

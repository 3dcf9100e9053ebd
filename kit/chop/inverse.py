"""Which ice, energy or meat temperature gives the final chopping temperature that is wanted?"""

from dataclasses import dataclass
from math import ceil, isfinite
from typing import NamedTuple

import numpy as np

from kit.chop.bowl import Bowl, with_added_water
from kit.chop.charge import LIKE_MEAT
from kit.errors import OutOfRange, attempt, need, need_between
from kit.faults import need_said
from kit.properties.components import component_heat_kJ_per_kg, ice_heat_kJ_per_kg
from kit.tables import number
from kit.working import Result, Step, notes_of, working_of

COLDEST_MEAT_C, WARMEST_MEAT_C, _POINTS = -18.0, 12.0, 241
SHARES = {"all ice": 1.0, "half ice, half water": 0.5, "all water": 0.0}
DRY_ICE = "Dry ice of water is meant; drained flake ice carries melt water that cools nothing."
_SOURCES = ("ice_latent_heat", "bound_water_per_protein", "water_freezing_constant")


@dataclass(frozen=True)
class IceAnswer(Result):
    """Ice and water that share the added water so that the bowl ends at `end_C`."""

    end_C: float
    ice_kg: float
    water_kg: float
    bowl: Bowl


@dataclass(frozen=True, eq=False)
class CoolingOptions(Result):
    """One bowl with its added water as ice, half and half, or water, all at one energy; and what else would reach `planned_C`.

    `ice_needed_kg` has one number per `meat_C`: below 0 or above `added_kg` no share of ice does it. `meat_with_water_C`: the
    meat temperature that does without any ice, nan where none down to COLDEST_MEAT_C does. The two energies reach `planned_C`
    from the bowl without ice and from the bowl as it is; 0 where it starts warmer. `frozen_C`: meat is frozen in part below it.
    """

    added_kg: float
    ends_C: tuple[tuple[str, float], ...]
    end_C: float
    planned_C: float
    meat_C: np.ndarray
    ice_needed_kg: np.ndarray
    meat_with_water_C: float
    energy_with_water_kJ_per_kg: float
    energy_as_set_kJ_per_kg: float
    ice_worth_in_water: float
    frozen_C: float


class Stages(NamedTuple):
    """A chop broken off and chilled back between its stages."""

    number: int
    first_kJ_per_kg: float
    each_kJ_per_kg: float


def energy_to_reach(bowl: Bowl, end_C: float) -> tuple[float, Step]:
    """Specific mechanical energy, kJ/kg, that takes a bowl to a final temperature (−20 to 60 °C), and its step.

    Raises OutOfRange when the bowl is warmer than that before the knives start.
    """
    end = need_between("final chopping temperature in °C", end_C, -20, 60)
    energy = float(bowl.energy_to_kJ_per_kg(end))
    need_said(energy >= 0, "warm before the knives", before_C=bowl.end_C(0.0), end=end)
    return energy, _energy_step("energy per kg of batter", "enthalpy of all charges", bowl, end)


def ice_for(bowl: Bowl, end_C: float, energy_kJ_per_kg: float) -> IceAnswer:
    """How much of the added water must be ice to end at a temperature.

    bowl: with ice or water; ice and water together stay unchanged
    end_C: final chopping temperature, −20 to 60 °C
    energy_kJ_per_kg: specific mechanical energy, 0 to 1000 kJ per kg of batter
    Returns IceAnswer: kg of ice and water, and the bowl with them.
    Raises OutOfRange, with the ends that can be reached, when no share does it.
    Valid for dry ice; each kg of ice for water takes the same heat, so the answer is a line.
    Source: the balance of `chop`.
    """
    end = need_between("final chopping temperature in °C", end_C, -20, 60)
    energy = need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000)
    added = _added_kg(bowl)
    wet = with_added_water(bowl, 0.0, added)
    (water_C, h_water), (ice_C, h_ice) = _water_heat(bowl), _ice_heat(bowl)
    swap, h_end = h_water - h_ice, float(wet.enthalpy_kJ(end))
    h_wet = float(wet.heat_in_kJ)
    surplus = float(h_wet + wet.kg * energy - h_end)
    ice_kg = surplus / swap
    if not -1e-9 <= ice_kg <= added + 1e-9:
        coldest = float(wet.temperature_C(wet.heat_in_kJ + wet.kg * energy - added * swap))
        raise OutOfRange(
            f"no share of ice in the {added:.2f} kg of added water ends at {end:g} °C: all ice ends at {coldest:.1f} °C, "
            f"all water at {wet.end_C(energy):.1f} °C; change the energy, the meat temperature or the added water"
        )
    known = {"S": surplus, "H_wet": h_wet, "M": bowl.kg, "e": energy, "H_end": h_end, "s": swap}
    known |= {"h_water": h_water, "h_ice": h_ice, "ice": ice_kg, "end_C": end}
    steps = working_of("ice for an end", water_C=water_C, ice_C=ice_C, **known)
    ice_kg = min(max(ice_kg, 0.0), added)
    return IceAnswer(
        end,
        ice_kg,
        added - ice_kg,
        with_added_water(bowl, ice_kg, added - ice_kg),
        own_notes=(DRY_ICE,),
        own_sources=_sources(),
        own_working=steps,
    )


def ice_or_why(
    bowl: Bowl, planned_C: float, energy: float
) -> tuple[IceAnswer | None, tuple[str, ...]]:
    """The share of ice that ends at `planned_C`, or a note why none does."""
    found, why = attempt(lambda: ice_for(bowl, planned_C, energy))
    return found, (f"Ice for {planned_C:g} °C: {why}.",) if why else ()


def cooling_options(bowl: Bowl, energy_kJ_per_kg: float, planned_C: float) -> CoolingOptions:
    """Ice, water, colder meat or less work: what gets a bowl with added water to the end that is wanted?

    energy_kJ_per_kg: 0 to 1000. planned_C: the end that is wanted, °C.
    Weights stay: only what is ice, and how cold the meat is, changes. Raises OutOfRange without ice or water.
    """
    usual = "usually 5 to 150"
    energy = need_between("energy in kJ per kg of batter", energy_kJ_per_kg, 0, 1000, usual)
    added, share = _added_kg(bowl), np.array(list(SHARES.values()))
    ends = with_added_water(bowl, share * added, (1 - share) * added).end_C(energy)
    wet = with_added_water(bowl, 0.0, added)
    meat_C = np.linspace(COLDEST_MEAT_C, WARMEST_MEAT_C, _POINTS)
    needed = same_end_ice_kg(bowl, meat_C, planned_C, energy)
    meat = float(np.interp(0.0, needed, meat_C, left=np.nan, right=np.nan))
    freezing = [float(c.first_freezing_C) for c in bowl.of_kind(*LIKE_MEAT)]
    frozen = max(freezing, default=float("nan"))
    notes = notes_of("cooling options", {"frozen": meat < frozen}, frozen_C=frozen)
    worth, steps = _worth(wet, bowl, planned_C)
    without, as_set = (max(float(b.energy_to_kJ_per_kg(planned_C)), 0.0) for b in (wet, bowl))
    return CoolingOptions(
        added_kg=added,
        ends_C=tuple(zip(SHARES, map(float, ends), strict=True)),
        end_C=float(bowl.end_C(energy)),
        planned_C=planned_C,
        meat_C=meat_C,
        ice_needed_kg=needed,
        meat_with_water_C=meat,
        energy_with_water_kJ_per_kg=without,
        energy_as_set_kJ_per_kg=as_set,
        ice_worth_in_water=worth,
        frozen_C=frozen,
        own_notes=(*notes, DRY_ICE),
        own_sources=_sources(),
        own_working=steps,
    )


def same_end_ice_kg(bowl: Bowl, meat_C, end_C: float, energy_kJ_per_kg: float) -> np.ndarray:
    """kg of the added water that would have to be ice so that the bowl ends at `end_C`, for each meat temperature.

    Not clipped: below 0 or above the added water no share of ice does it. A line in the ice, as in `ice_for`.
    """
    wet = with_added_water(bowl, 0.0, _added_kg(bowl)).with_meat(np.asarray(meat_C, dtype=float))
    swap = _water_heat(bowl)[1] - _ice_heat(bowl)[1]
    return np.asarray((wet.heat_in_kJ + wet.kg * energy_kJ_per_kg - wet.enthalpy_kJ(end_C)) / swap)


def in_stages(bowl: Bowl, energy_kJ_per_kg: float, limit_C: float, back_to_C: float) -> Stages:
    """How many stages put in the energy (kJ per kg) without passing `limit_C`, chilled back to `back_to_C` between them."""
    energy = need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000)
    need_said(back_to_C < limit_C, "back below the limit", back_to_C=back_to_C, limit_C=limit_C)
    first, _ = energy_to_reach(bowl, limit_C)
    later = float((bowl.enthalpy_kJ(limit_C) - bowl.enthalpy_kJ(back_to_C)) / bowl.kg)
    further = max(energy - first, 0.0)
    return Stages(1 + ceil(further / later - 1e-9), min(first, energy), later if further else 0.0)


def _added_kg(bowl: Bowl) -> float:
    added = bowl.kg_of("ice", "water")
    need(added > 0, "there is no ice or water in the bowl to share out; add a line of water")
    return added


def _water_heat(bowl: Bowl) -> tuple[float, float]:
    """Temperature of the bowl's water and its enthalpy; the usual temperature where it has none."""
    t = float(bowl.mean_C("water", "water_temperature_usual"))
    return t, float(component_heat_kJ_per_kg("water", t))


def _ice_heat(bowl: Bowl) -> tuple[float, float]:
    t = float(bowl.mean_C("ice", "ice_temperature_usual"))
    return t, float(ice_heat_kJ_per_kg(t))


def _energy_step(what: str, as_it_goes_in: str, bowl: Bowl, end_C: float) -> Step:
    H_end, H_in, kg = float(bowl.enthalpy_kJ(end_C)), float(bowl.heat_in_kJ), float(bowl.kg)
    known = {"e": (H_end - H_in) / kg, "H_end": H_end, "H_in": H_in, "M": kg, "end_C": end_C}
    return working_of("energy to an end", what=what, goes_in=as_it_goes_in, **known)[0]


def _worth(wet: Bowl, bowl: Bowl, planned_C: float) -> tuple[float, tuple[Step, ...]]:
    """How many kg of water do what 1 kg of ice does (nan where water cools nothing), with the steps."""
    h_end = float(component_heat_kJ_per_kg("water", planned_C))
    (ice_C, h_ice), (water_C, h_water) = _ice_heat(bowl), _water_heat(bowl)
    by_ice, by_water = h_end - h_ice, h_end - h_water
    worth = by_ice / by_water if by_water > 1e-9 else float("nan")
    known = {"h_end": h_end, "h_ice": h_ice, "h_water": h_water, "q_ice": by_ice}
    known |= {"q_water": by_water, "end_C": planned_C, "ice_C": ice_C, "water_C": water_C}
    work = working_of("worth of ice", r=worth if isfinite(worth) else None, **known)
    what = "energy the knives may put in when no ice is there"
    goes_in = "enthalpy as it goes in, all added water liquid"
    return worth, (*work, _energy_step(what, goes_in, wet, planned_C))


def _sources() -> tuple[str, ...]:
    return tuple(number(name).cite() for name in _SOURCES)

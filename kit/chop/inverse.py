"""Which ice, energy, meat temperature or batch size gives the end temperature that is wanted?"""

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import COLDEST_C, LIKE_MEAT, ice, water
from kit.chop.machines import energy_from_power
from kit.chop.path import Surroundings, path_by_time
from kit.errors import OutOfRange, need, need_between
from kit.properties import ice_heat_kJ_per_kg
from kit.properties.components import component_heat_kJ_per_kg
from kit.tables import number, value
from kit.working import Step, step

_HALVINGS = 60
FROZEN_MEAT = "The meat is frozen in part: only a machine built for it may take frozen meat, in pieces, with its guards on."


@dataclass(frozen=True)
class EnergyAnswer:
    """Energy that takes the bowl to `end_C`."""

    end_C: float
    energy_kJ_per_kg: float
    energy_kJ: float
    energy_Wh_per_kg: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True)
class IceAnswer:
    """Ice and water that share the added water so that the bowl ends at `end_C`."""

    end_C: float
    ice_kg: float
    water_kg: float
    ice_pct_of_batch: float
    K_per_pct_of_batch: float
    bowl: Bowl
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True)
class WithoutIce:
    """The same bowl with its ice as water: where it ends, how much energy it still allows, or how cold the meat must be.

    `energy_left_kJ_per_kg` is 0 and `meat_C` is nan where there is no way; a note says so.
    """

    end_with_ice_C: float
    end_with_water_C: float
    ice_worth_in_water: float
    energy_left_kJ_per_kg: float
    meat_C: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True)
class MeatAnswer:
    """The temperature all meat must have, and how much of it is ice then."""

    end_C: float
    meat_C: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """One part of a split batch."""

    waits_min: float
    start_C: float
    end_C: float
    energy_kJ_per_kg: float


@dataclass(frozen=True)
class Split:
    """A batch chopped in equal parts, one after the other, on the same machine. `whole_end_C`: all of it at once, in the minutes of one part."""

    parts: tuple[Part, ...]
    total_min: float
    whole_end_C: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Goes:
    """A chop broken off and chilled back between goes."""

    goes: int
    first_kJ_per_kg: float
    each_kJ_per_kg: float
    energy_kJ_per_kg: float
    notes: tuple[str, ...]


def energy_to_reach(bowl: Bowl, end_C: float) -> EnergyAnswer:
    """Energy from the knives that takes a scalar bowl to `end_C`. OutOfRange when it is warmer than that to begin with."""
    end = need_between("end temperature in °C", end_C, -20, 60)
    energy = float(bowl.energy_to_kJ_per_kg(end))
    need(
        energy >= 0,
        f"the bowl is at {bowl.end_C(0.0):.1f} °C before the knives start, warmer than {end:g} °C; use more ice or colder meat",
    )
    h_end, h_in = float(bowl.enthalpy_kJ(end)), float(bowl.heat_in_kJ)
    steps = (
        step(
            "energy per kg of batter",
            "e = (H_end − H_in) / M",
            energy,
            "kJ/kg",
            H_end=(h_end, "kJ", f"enthalpy of the batter at {end:g} °C"),
            H_in=(h_in, "kJ", "enthalpy of all charges"),
            M=(bowl.kg, "kg"),
        ),
        step(
            "the same as electricity would be counted",
            "E = e / 3.6",
            energy / 3.6,
            "Wh/kg",
            e=(energy, "kJ/kg"),
        ),
    )
    return EnergyAnswer(end, energy, energy * float(bowl.kg), energy / 3.6, (), _sources(), steps)


def ice_for(bowl: Bowl, end_C: float, energy_kJ_per_kg: float) -> IceAnswer:
    """How much of the added water (ice and water together, unchanged) must be ice to end at `end_C`.

    A line: each kg of ice for water takes the same heat. OutOfRange, with the ends that can be reached, when no share does it.
    """
    end, energy = (
        need_between("end temperature in °C", end_C, -20, 60),
        need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000),
    )
    added, others, ice_C, water_C = _added_water(bowl)
    wet = bowl.with_charges((*others, water(added, water_C)))
    swap = float(component_heat_kJ_per_kg("water", water_C) - ice_heat_kJ_per_kg(ice_C))
    surplus = float(wet.heat_in_kJ + wet.kg * energy - wet.enthalpy_kJ(end))
    ice_kg = surplus / swap
    if not -1e-9 <= ice_kg <= added + 1e-9:
        coldest = float(wet.temperature_C(wet.heat_in_kJ + wet.kg * energy - added * swap))
        raise OutOfRange(
            f"no share of ice in the {added:.2f} kg of added water ends at {end:g} °C: all ice ends at {coldest:.1f} °C, "
            f"all water at {wet.end_C(energy):.1f} °C; change the energy, the meat temperature or the added water"
        )
    ice_kg = min(max(ice_kg, 0.0), added)
    mixed = bowl.with_charges(
        (
            *others,
            *([ice(ice_kg, ice_C)] if ice_kg else []),
            *([water(added - ice_kg, water_C)] if added > ice_kg else []),
        )
    )
    per_pct = float(swap * bowl.kg / 100 / (bowl.thawed_kJ(end + 0.5) - bowl.thawed_kJ(end - 0.5)))
    steps = (
        step(
            "heat too much with all the added water liquid",
            "S = H_wet + M × e − H_end",
            surplus,
            "kJ",
            H_wet=(float(wet.heat_in_kJ), "kJ"),
            M=(bowl.kg, "kg"),
            e=(energy, "kJ/kg"),
            H_end=(float(wet.enthalpy_kJ(end)), "kJ", f"enthalpy of the batter at {end:g} °C"),
        ),
        step(
            "heat that 1 kg of ice takes instead of 1 kg of water",
            "s = h_water − h_ice",
            swap,
            "kJ/kg",
            h_water=(
                float(component_heat_kJ_per_kg("water", water_C)),
                "kJ/kg",
                f"water at {water_C:g} °C",
            ),
            h_ice=(float(ice_heat_kJ_per_kg(ice_C)), "kJ/kg", f"ice at {ice_C:g} °C"),
        ),
        step("ice", "ice = S / s", surplus / swap, "kg", S=(surplus, "kJ"), s=(swap, "kJ/kg")),
    )
    return IceAnswer(
        end,
        ice_kg,
        added - ice_kg,
        100 * ice_kg / float(bowl.kg),
        per_pct,
        mixed,
        ("Dry ice of water is meant; drained flake ice carries melt water that cools nothing.",),
        _sources(),
        steps,
    )


def water_instead_of_ice(
    bowl: Bowl, energy_kJ_per_kg: float, water_C: float | None = None
) -> WithoutIce:
    """What the ice does for this bowl: the same energy with water in its place, and the two ways back to the same end."""
    energy = need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000)
    at = need_between(
        "water in °C", value("water_temperature_usual") if water_C is None else water_C, 0, 60
    )
    need(bool(bowl.of_kind("ice")), "there is no ice in the bowl to be replaced by water")
    wet = bowl.with_charges(
        water(charge.kg, at, charge.name, charge.minute) if charge.kind == "ice" else charge
        for charge in bowl.charges
    )
    end, end_wet = float(bowl.end_C(energy)), float(wet.end_C(energy))
    ice_C = float(bowl.of_kind("ice")[0].temperature_C)
    h_end, h_water = (float(component_heat_kJ_per_kg("water", t)) for t in (end, at))
    h_ice = float(ice_heat_kJ_per_kg(ice_C))
    notes, left = [], float(wet.energy_to_kJ_per_kg(end))
    if left < 0:
        notes.append(f"With water the bowl is warmer than {end:.1f} °C before the knives start.")
    try:
        meat = colder_meat(wet, end, energy).meat_C
    except OutOfRange as cause:
        meat = float("nan")
        notes.append(f"Colder meat alone does not do it: {cause}")
    worth, steps = float("nan"), []
    if h_end > h_water + 1e-9:
        worth = (h_end - h_ice) / (h_end - h_water)
        steps = [
            step(
                "one kg of ice takes up as much as this many kg of water",
                "r = (h_end − h_ice) / (h_end − h_water)",
                worth,
                "kg/kg",
                h_end=(h_end, "kJ/kg", f"water at {end:.2f} °C"),
                h_ice=(h_ice, "kJ/kg", f"ice at {ice_C:g} °C"),
                h_water=(h_water, "kJ/kg", f"water at {at:g} °C"),
            )
        ]
    else:
        notes.append(f"Water of {at:g} °C cools nothing in a bowl that ends at {end:.1f} °C.")
    steps.append(
        step(
            "how much warmer the bowl ends",
            "d = T_water − T_ice",
            end_wet - end,
            "K",
            T_water=(end_wet, "°C"),
            T_ice=(end, "°C"),
        )
    )
    return WithoutIce(
        end, end_wet, worth, max(left, 0.0), meat, tuple(notes), _sources(), tuple(steps)
    )


def colder_meat(bowl: Bowl, end_C: float, energy_kJ_per_kg: float) -> MeatAnswer:
    """The one temperature of all meat at which the bowl ends at `end_C`, frozen in part if need be."""
    end, energy = (
        need_between("end temperature in °C", end_C, -20, 60),
        need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000),
    )
    meats = [charge for charge in bowl.charges if charge.kind in LIKE_MEAT]
    need(bool(meats), "there is no meat in the bowl whose temperature could change")

    def heat(t_C):
        return float(
            bowl.with_charges(
                replace(c, temperature_C=t_C) if c.kind in LIKE_MEAT else c for c in bowl.charges
            ).heat_in_kJ
        )

    floor = max([COLDEST_C, *(c.first_freezing_C for c in meats if c.cp_kJ_per_kgK is not None)])
    low, high, wanted = floor, 40.0, float(bowl.enthalpy_kJ(end) - bowl.kg * energy)
    if not heat(low) <= wanted <= heat(high):
        raise OutOfRange(
            f"meat between {low:g} and {high:g} °C does not end the bowl at {end:g} °C with {energy:g} kJ/kg; "
            "change the energy or the ice"
        )
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if heat(middle) < wanted else (low, middle)
    meat_C = 0.5 * (low + high)
    frozen = meat_C < max(c.first_freezing_C for c in meats)
    return MeatAnswer(end, meat_C, (FROZEN_MEAT,) if frozen else ())


def split_batch(
    bowl: Bowl,
    parts: int,
    power_kW: float,
    minutes_each: float,
    share_into_batter: float = 1.0,
    surroundings: Surroundings | None = None,
) -> Split:
    """Equal parts, one after another, on a machine of the same power; parts that wait warm with `surroundings` (UA of the waiting part).

    The same power on less batter is more energy per kg in the same minutes: splitting warms, unless the minutes shrink too.
    """
    count = int(need_between("parts", parts, 1, 100))
    minutes = need_between("minutes for each part", minutes_each, 0, 600)
    one = bowl.with_charges(replace(charge, kg=charge.kg / count) for charge in bowl.charges)
    one = replace(one, steel_kg=bowl.steel_kg)
    energy = energy_from_power(power_kW, minutes, float(one.kg), share_into_batter)
    waits = minutes * np.arange(count)
    heat = one.heat_in_kJ + _waited(one, waits, surroundings)
    starts, ends = one.temperature_C(heat), one.temperature_C(heat + one.kg * energy)
    done = tuple(
        Part(float(wait), float(start), float(end), energy)
        for wait, start, end in zip(waits, starts, ends, strict=True)
    )
    whole = float(
        bowl.end_C(energy_from_power(power_kW, minutes, float(bowl.kg), share_into_batter))
    )
    notes = ["A bowl too full or too empty chops differently, which no balance shows."]
    if surroundings is None and count > 1:
        notes.append("Parts that wait are taken as kept cold.")
    return Split(done, count * minutes, whole, tuple(notes))


def in_goes(bowl: Bowl, energy_kJ_per_kg: float, limit_C: float, back_to_C: float) -> Goes:
    """How many goes it takes to put in the energy without passing `limit_C`, chilling back to `back_to_C` between them."""
    energy = need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000)
    need(
        back_to_C < limit_C,
        f"chilling back to {back_to_C:g} °C must end below the limit of {limit_C:g} °C",
    )
    first = energy_to_reach(bowl, limit_C).energy_kJ_per_kg
    each = float((bowl.enthalpy_kJ(limit_C) - bowl.enthalpy_kJ(back_to_C)) / bowl.kg)
    further = max(energy - first, 0.0)
    return Goes(
        1 + ceil(further / each - 1e-9),
        min(first, energy),
        each if further else 0.0,
        energy,
        (
            "Time above the limit counts as well as the peak: chill the batter spread thin and covered, and keep it within local rules.",
        ),
    )


def _waited(one, minutes, surroundings) -> np.ndarray:
    """Heat that parts take from the room while they wait, for rising minutes from 0."""
    if surroundings is None or minutes[-1] == 0:
        return np.zeros(len(minutes))
    together = one.with_charges(replace(charge, minute=0.0) for charge in one.charges)
    return path_by_time(together, 0.0, minutes, surroundings).gained_kJ


def _added_water(bowl):
    """Total kg of ice and water, the other charges, and the mean temperatures of ice and water."""
    ices, waters = bowl.of_kind("ice"), bowl.of_kind("water")
    added = float(sum(charge.kg for charge in (*ices, *waters)))
    need(added > 0, "there is no ice or water in the bowl to share out; add a line of water")
    others = tuple(charge for charge in bowl.charges if charge.kind not in ("ice", "water"))
    return (
        added,
        others,
        _mean_C(ices, "ice_temperature_usual"),
        _mean_C(waters, "water_temperature_usual"),
    )


def _mean_C(charges, usual) -> float:
    kg = sum(charge.kg for charge in charges)
    return (
        float(np.sum([charge.kg * charge.temperature_C for charge in charges]) / kg)
        if kg
        else value(usual)
    )


def _sources() -> tuple[str, ...]:
    return tuple(
        dict.fromkeys(
            number(name).cite()
            for name in ("ice_latent_heat", "bound_water_per_protein", "water_freezing_constant")
        )
    )


__all__ = [
    "EnergyAnswer",
    "Goes",
    "IceAnswer",
    "MeatAnswer",
    "Part",
    "Split",
    "WithoutIce",
    "colder_meat",
    "energy_to_reach",
    "ice_for",
    "in_goes",
    "split_batch",
    "water_instead_of_ice",
]

"""How warm does the batter end, with what uncertainty, and by which steps?"""

from dataclasses import dataclass

import numpy as np

from kit.chop.bowl import MELTING, Bowl, MeltingBowl
from kit.chop.charge import COLDEST_C, LIKE_MEAT, WARMEST_C, Charge
from kit.chop.machines import Machine
from kit.errors import need_between
from kit.faults import need_said
from kit.properties.components import (
    component_heat_kJ_per_kg,
    component_sources,
    ice_heat_kJ_per_kg,
)
from kit.properties.fat import CONFLICT, solid_fats
from kit.properties.mixture import heat_kJ_per_kg
from kit.tables import number, value
from kit.working import Result, Step, notes_of, working_of

_USED = (
    "ice_latent_heat",
    "bound_water_per_protein",
    "water_freezing_constant",
    "salt_osmotic_coefficient",
    "freezing_C_meat",
    "salt_dissolving",
)
_DRAWS, _SEED = 500, 3
_DISSOLVE = {"meat", "rework", "ice", "water", "salt", "cure", "sugar"}


@dataclass(frozen=True)
class Chopped(Result):
    """One bowl after one energy. `ice_left_kg` is all frozen water, of ice and of meat.

    `taken_kJ`: where the heat went: meat, ice, water, dry goods, and salt dissolving.
    """

    kg: float
    energy_kJ_per_kg: float
    gained_kJ: float
    end_C: float
    ice_left_kg: float
    ice_gone_kJ_per_kg: float
    taken_kJ: dict[str, float]


@dataclass(frozen=True)
class EndRange(Result):
    """Final chopping temperature when energy, meat temperature, ice and melting fat have their uncertainty: 10 and 90 % of the draws."""

    low_C: float
    high_C: float


def chop(bowl: Bowl, energy_kJ_per_kg: float, gained_kJ: float = 0.0) -> Chopped:
    """How warm one bowl ends.

    bowl: of floats, no arrays
    energy_kJ_per_kg: specific mechanical energy, 0 to 1000 kJ per kg of batter, usually 5 to 150
    gained_kJ: heat from room and machine, within 1000 kJ per kg
    Returns Chopped: final temperature, °C; ice left, kg; where the heat went, kJ.
    Raises OutOfRange where the bowl would boil.
    Valid for a mixed bowl; real ice lags behind.
    Source: enthalpies of kit.properties, data/reference/chop.csv.
    """
    need_said(not any(np.ndim(x) for x in (bowl.kg, bowl.heat_in_kJ)), "one bowl")
    usual = "usually 5 to 150"
    energy = need_between("energy in kJ per kg of batter", energy_kJ_per_kg, 0, 1000, usual)
    most = 1000 * float(bowl.kg)
    gained = need_between("heat gained in kJ", gained_kJ, -most, most)
    heat = bowl.heat_in_kJ + bowl.kg * energy + gained
    end = float(bowl.temperature_C(heat))
    left = float(bowl.ice_kg(heat, end))
    heats = _heats(bowl, end, left)
    return Chopped(
        kg=float(bowl.kg),
        energy_kJ_per_kg=energy,
        gained_kJ=gained,
        end_C=end,
        ice_left_kg=left,
        ice_gone_kJ_per_kg=float(bowl.ice_gone_kJ_per_kg),
        taken_kJ=_by_kind(bowl, heats),
        own_notes=_notes(bowl, energy + gained / bowl.kg, end, left),
        own_sources=(*component_sources(), *(number(name).cite() for name in _USED)),
        own_working=_working(bowl, energy, gained, heats),
    )


def sheet_uncertainties() -> tuple[float, float]:
    """Standard uncertainty of a sheet's meat temperature, K, and of its dry ice, %."""
    return value("meat_temperature_sd"), value("ice_weight_sd_pct")


def end_range(bowl: Bowl, machine: Machine) -> EndRange:
    """The 90 % interval of the final chopping temperature of one bowl on one machine, whose energy is drawn evenly over its range.

    The melting heat of fat is drawn from none to all; ice that is short becomes water of 0 °C.
    """
    meat_sd, ice_sd = sheet_uncertainties()
    rng = np.random.default_rng(_SEED)
    energy = rng.uniform(machine.low_kJ_per_kg, machine.high_kJ_per_kg, _DRAWS)
    meat_K = meat_sd * rng.standard_normal(_DRAWS)
    wet = np.minimum(np.abs(ice_sd / 100 * rng.standard_normal(_DRAWS)), 1)
    fat = MeltingBowl(bowl.charges, rng.uniform(0, 1, _DRAWS))
    heat = fat.heat_in_kJ + fat.kg * energy
    for charge in bowl.charges:
        if charge.kind in LIKE_MEAT:
            shifted = np.clip(charge.temperature_C + meat_K, COLDEST_C, WARMEST_C)
            heat = heat + charge.kg * (charge.heat_kJ_per_kg(shifted) - charge.heat_in_kJ_per_kg)
        elif charge.kind == "ice":
            heat = heat - charge.kg * wet * charge.heat_in_kJ_per_kg
    ends = fat.temperature_C(heat)
    low, high = (float(x) for x in np.percentile(ends, (5, 95)))
    given = machine.low_kJ_per_kg == machine.high_kJ_per_kg
    notes = notes_of(
        "range of an end",
        {"given": given, "energy": not given},
        machine=machine,
        meat_sd=meat_sd,
        ice_sd=ice_sd,
    )
    sources = (machine.cite, solid_fats()[MELTING].cite)
    return EndRange(low, high, own_notes=notes, own_sources=sources)


def _notes(bowl: Bowl, energy, end: float, left: float) -> tuple[str, ...]:
    """`energy`: all that went in, kJ per kg."""
    colder = end - float(MeltingBowl(bowl.charges).end_C(energy))
    holds = {
        "cold": end < 0,
        "still frozen": left > 0,
        "fat": colder > 0.05,
        "hot": end > value("chop_warm_C"),
        "others": {charge.kind for charge in bowl.charges} - _DISSOLVE,
        "salty": bowl.water_kg > 0 and bowl.freezing_C <= value("salt_eutectic_C") + 1,
    }
    said = {"left": left, "colder_K": colder, "conflict": CONFLICT, "end_C": end}
    return notes_of("chop", holds, freezing_C=bowl.freezing_C, **said)


def _heats(bowl: Bowl, end: float, left: float) -> dict[str, Step]:
    """The heat that each charge took up (Q1, Q2, ...) and what else took part, by the symbol of its step."""
    heats = {f"Q{n}": _of_charge(n, charge, end) for n, charge in enumerate(bowl.charges, 1)}
    if bowl.dissolving_kJ:
        taken, each = bowl.dissolving_kJ, value("salt_dissolving")
        (heats["Q_salt"],) = working_of("dissolving salt", Q_salt=taken, m=taken / each, h=each)
    if left > 0:
        water, ice = float(component_heat_kJ_per_kg("water", end)), float(ice_heat_kJ_per_kg(end))
        known = {"Q_ice": left * (water - ice), "m": left, "h_water": water, "h_ice": ice}
        (heats["Q_ice"],) = working_of("water still frozen", **known)
    return heats


def _of_charge(n: int, charge: Charge, end: float) -> Step:
    """With its water liquid: how the mixed balance counts it before ice is taken off."""
    at_end = float(heat_kJ_per_kg(charge.makeup.thawed, end))
    before, start_C = float(charge.heat_in_kJ_per_kg), charge.temperature_C
    known = {f"Q{n}": charge.kg * (at_end - before), "m": charge.kg, "name": charge.name, "n": n}
    known |= {"h_end": at_end, "h_start": before, "start_C": start_C, "end_C": end}
    return working_of("heat of a charge", **known)[0]


def _by_kind(bowl: Bowl, heats: dict[str, Step]) -> dict[str, float]:
    found: dict[str, float] = {}
    for n, charge in enumerate(bowl.charges, 1):
        kind = charge.kind if charge.kind in ("ice", "water") else "dry goods"
        kind = "meat" if charge.kind in LIKE_MEAT else kind
        found[kind] = found.get(kind, 0.0) + heats[f"Q{n}"].answer
    found["ice"] = found.get("ice", 0.0) - (heats["Q_ice"].answer if "Q_ice" in heats else 0.0)
    if "Q_salt" in heats:
        found["salt dissolving"] = heats["Q_salt"].answer
    return found


def _working(bowl: Bowl, energy: float, gained: float, heats: dict[str, Step]) -> tuple[Step, ...]:
    signed = {name: -one.answer if name == "Q_ice" else one.answer for name, one in heats.items()}
    work, total = bowl.kg * energy, sum(signed.values())
    each = {name: (one.answer, "kJ", "") for name, one in heats.items()}
    known = {"W": work, "M": bowl.kg, "e": energy, "G": gained, "Q": total}
    known |= each | {"left_over": work + gained - total}
    all_heats = " + ".join(heats).replace("+ Q_ice", "− Q_ice")
    freezing = _freezing_steps(bowl) if bowl.free_water_kg > 0 else ()
    knives, whole, balance = working_of("chop", all_heats=all_heats, **known)
    return (knives, *freezing, *heats.values(), whole, balance)


def _freezing_steps(bowl: Bowl) -> tuple[Step, ...]:
    bound, coldest = value("bound_water_per_protein"), value("salt_eutectic_C")
    capped, w = bowl.freezing_C <= coldest, bowl.free_water_kg
    held = {"water": bowl.water_kg, "b": bound, "protein": (bowl.water_kg - w) / bound}
    known = {"k": value("water_freezing_constant"), "n": bowl.particles_mol, "coldest": coldest}
    of = "coldest freezing point" if capped else "freezing point"
    point = working_of(of, tf=float(bowl.freezing_C), w=w, **known)
    return (*working_of("free water", w=w, **held), *point)

"""How warm does the batter end, how surely, and how was that worked out?"""

from dataclasses import dataclass, replace

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.machines import Machine
from kit.chop.path import LAG
from kit.errors import OutOfRange, need_between
from kit.properties import CONFLICT, component_sources, ice_heat_kJ_per_kg, solid_fats
from kit.properties.components import component_heat_kJ_per_kg
from kit.tables import number, value
from kit.working import Step, step

_USED = (
    "ice_latent_heat",
    "bound_water_per_protein",
    "water_freezing_constant",
    "salt_osmotic_coefficient",
    "freezing_C_meat",
    "salt_dissolving",
)


@dataclass(frozen=True)
class Chopped:
    """One bowl after one energy. `ice_left_kg` is all frozen water, of ice and of meat."""

    kg: float
    energy_kJ_per_kg: float
    gained_kJ: float
    start_C: float
    end_C: float
    freezing_C: float
    ice_left_kg: float
    ice_gone_kJ_per_kg: float
    rise_K_per_kJ_per_kg: float
    melting_fat_K: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True)
class EndRange:
    """End temperature when energy, meat temperature, ice and melting fat are as unsure as they are: 10, 50 and 90 % of the draws."""

    low_C: float
    middle_C: float
    high_C: float
    end_C: np.ndarray
    energy_kJ_per_kg: np.ndarray
    notes: tuple[str, ...]
    sources: tuple[str, ...]


def chop(bowl: Bowl, energy_kJ_per_kg: float, gained_kJ: float = 0.0) -> Chopped:
    """End temperature of a scalar bowl after `energy_kJ_per_kg` from the knives and `gained_kJ` from room and machine."""
    if any(np.ndim(x) for x in (bowl.kg, bowl.heat_in_kJ)):
        raise OutOfRange(
            "chop takes one bowl; for arrays ask bowl.end_C(energy), which is vectorised"
        )
    energy = need_between(
        "energy in kJ per kg of batter", energy_kJ_per_kg, 0, 1000, "usually 5 to 150"
    )
    most = 1000 * float(bowl.kg)
    gained = need_between("heat gained in kJ", gained_kJ, -most, most)
    heat = bowl.heat_in_kJ + bowl.kg * energy + gained
    end = float(bowl.temperature_C(heat))
    left = float(bowl.ice_kg(heat, end))
    rise = float(bowl.kg / (bowl.thawed_kJ(end + 0.5) - bowl.thawed_kJ(end - 0.5)))
    with_fat = replace(bowl, melting_fat=bowl.melting_fat or "lard")
    fat_K = float(
        with_fat.end_C(energy + gained / bowl.kg)
        - replace(bowl, melting_fat=None).end_C(energy + gained / bowl.kg)
    )
    curve = (solid_fats()[bowl.melting_fat].cite,) if bowl.melting_fat else ()
    return Chopped(
        float(bowl.kg),
        energy,
        gained,
        float(bowl.temperature_C(bowl.heat_in_kJ)),
        end,
        float(bowl.freezing_C),
        left,
        float(bowl.ice_gone_kJ_per_kg),
        rise,
        fat_K,
        _notes(bowl, end, left, fat_K),
        (*component_sources(), *dict.fromkeys(number(name).cite() for name in _USED), *curve),
        _working(bowl, energy, gained, end, left),
    )


def end_range(
    bowl: Bowl,
    machine: Machine,
    draws: int = 2000,
    seed: int = 0,
    meat_sd_K: float | None = None,
    ice_sd_pct: float | None = None,
) -> EndRange:
    """Draws energy evenly over the machine's range, mean meat temperature and dry ice normally, and the melting heat of fat from none to all.

    Ice that is short becomes water of 0 °C, so weights stay.
    """
    count = int(need_between("draws", draws, 10, 200_000))
    meat_sd = need_between(
        "doubt of the meat temperature in K",
        value("meat_temperature_doubt") if meat_sd_K is None else meat_sd_K,
        0,
        10,
    )
    ice_sd = need_between(
        "doubt of dry ice in %",
        value("ice_weight_doubt_pct") if ice_sd_pct is None else ice_sd_pct,
        0,
        50,
    )
    rng = np.random.default_rng(seed)
    energy = rng.uniform(machine.low_kJ_per_kg, machine.high_kJ_per_kg, count)
    meat_K, wet = (
        meat_sd * rng.standard_normal(count),
        np.abs(ice_sd / 100 * rng.standard_normal(count)),
    )
    fat = replace(
        bowl, melting_fat=bowl.melting_fat or "lard", melting_share=rng.uniform(0, 1, count)
    )
    heat = fat.heat_in_kJ + fat.kg * energy
    for charge in bowl.charges:
        if charge.kind in LIKE_MEAT:
            shifted = np.clip(charge.temperature_C + meat_K, -35, 60)
            heat = heat + charge.kg * (charge.heat_kJ_per_kg(shifted) - charge.heat_in_kJ_per_kg)
        elif charge.kind == "ice":
            heat = heat - charge.kg * np.minimum(wet, 1) * charge.heat_in_kJ_per_kg
    ends = fat.temperature_C(heat)
    low, middle, high = (float(x) for x in np.percentile(ends, (10, 50, 90)))
    notes = (
        f"Energy of {machine.low_kJ_per_kg:g} to {machine.high_kJ_per_kg:g} kJ per kg for a {machine.name}: {machine.status}. "
        "Your own log narrows it.",
        f"Meat temperature ±{meat_sd:g} K, dry ice short by about {ice_sd:g} %, melting fat from none to the whole curve: "
        "teaching assumptions.",
    )
    return EndRange(
        low, middle, high, ends, energy, notes, (machine.cite, solid_fats()[fat.melting_fat].cite)
    )


def _notes(bowl, end, left, fat_K) -> tuple[str, ...]:
    notes = []
    if end < 0 and bowl.brine:
        notes.append(
            f"The salt in the water lets ice melt down to {bowl.freezing_C:.1f} °C and below: readings under 0 °C are real, "
            "not a broken probe."
        )
    if left > 0:
        notes.append(
            f"{left:.2f} kg of the water is still frozen; a probe may read warmer or colder from spot to spot."
        )
    if bowl.melting_fat:
        notes.append(
            f"Melting {bowl.melting_fat} is counted and takes {-fat_K:.1f} K off the end. {CONFLICT}"
        )
    elif fat_K < -0.05:
        notes.append(
            f"Heat of melting fat is left out; by the lard curve it would end {-fat_K:.1f} K colder. {CONFLICT}"
        )
    if end > value("chop_warm_C"):
        notes.append(
            f"{end:.0f} °C is far above any chopping practice; at such temperatures fat is largely melted and protein starts to set."
        )
    if not bowl.brine:
        notes.append(
            "Pure-water rule: ice is taken to melt at 0 °C, although the salt lowers that."
        )
    kinds = {charge.kind for charge in bowl.charges}
    if kinds - {"meat", "rework", "ice", "water", "salt", "cure", "sugar"}:
        notes.append(
            "Dissolved phosphate, spice and other dry goods are left out of the freezing point; they lower it by about 0.1 K or less."
        )
    if bowl.water_kg > 0 and bowl.freezing_C <= value("salt_eutectic_C") + 1:
        notes.append(
            "The water is close to saturated brine; the freezing point is not to be trusted there."
        )
    return (*notes, LAG)


def _working(bowl, energy, gained, end, left) -> tuple[Step, ...]:
    t = (end, "°C", "end temperature")
    steps = [
        step(
            "heat from the knives",
            "W = M × e",
            bowl.kg * energy,
            "kJ",
            M=(bowl.kg, "kg", "batter"),
            e=(energy, "kJ/kg"),
        )
    ]
    if bowl.brine and bowl.free_water_kg > 0:
        steps += _freezing_steps(bowl)
    taken = {}
    for n, charge in enumerate(bowl.charges, 1):
        at_end = _thawed_kJ_per_kg(charge, end)
        before = float(charge.heat_in_kJ_per_kg)
        taken[f"Q{n}"] = charge.kg * (at_end - before)
        steps.append(
            step(
                f"heat taken up by {charge.name}, {charge.temperature_C:g} to {end:.2f} °C, all of it thawed",
                f"Q{n} = m × (h_end − h_start)",
                taken[f"Q{n}"],
                "kJ",
                m=(charge.kg, "kg"),
                h_end=(at_end, "kJ/kg", f"enthalpy at {end:.2f} °C"),
                h_start=(before, "kJ/kg", f"enthalpy at {charge.temperature_C:g} °C"),
            )
        )
    if bowl.dissolving_kJ:
        salt_kg = bowl.dissolving_kJ / value("salt_dissolving")
        taken["Q_salt"] = bowl.dissolving_kJ
        steps.append(
            step(
                "heat taken up by dissolving salt",
                "Q_salt = m × h",
                bowl.dissolving_kJ,
                "kJ",
                m=(salt_kg, "kg"),
                h=(value("salt_dissolving"), "kJ/kg"),
            )
        )
    if bowl.melting_fat:
        before = sum(
            c.kg
            * c.makeup.fat_fraction
            * solid_fats()[bowl.melting_fat].melting_kJ_per_kg(c.temperature_C)
            for c in bowl.charges
        )
        at_end = bowl.melting_kJ(end)
        taken["Q_fat"] = at_end - bowl.melting_share * before
        steps.append(
            step(
                "heat taken up by melting fat",
                "Q_fat = at_end − s × before",
                taken["Q_fat"],
                "kJ",
                at_end=(at_end, "kJ"),
                before=(before, "kJ"),
                s=(bowl.melting_share, "", "share of the curve counted"),
            )
        )
    if bowl.steel_kg:
        taken["Q_steel"] = bowl.steel_kg * value("steel_cp") * (end - bowl.steel_C)
        steps.append(
            step(
                "heat taken up by the bowl's steel",
                "Q_steel = m × c × (T − T_bowl)",
                taken["Q_steel"],
                "kJ",
                m=(bowl.steel_kg, "kg"),
                c=(value("steel_cp"), "kJ/(kg K)"),
                T=t,
                T_bowl=(bowl.steel_C, "°C"),
            )
        )
    signs = dict.fromkeys(taken, " + ")
    if left > 0:
        h_water, h_ice = (
            float(component_heat_kJ_per_kg("water", end)),
            float(ice_heat_kJ_per_kg(end)),
        )
        taken["Q_ice"], signs["Q_ice"] = left * (h_water - h_ice), " − "
        steps.append(
            step(
                "heat that the water still frozen did not take",
                "Q_ice = m × (h_water − h_ice)",
                taken["Q_ice"],
                "kJ",
                m=(left, "kg", "frozen water"),
                h_water=(h_water, "kJ/kg"),
                h_ice=(h_ice, "kJ/kg"),
            )
        )
    formula = "Q = " + "".join(signs[name] + name for name in taken).removeprefix(" + ")
    total = sum(heat if signs[name] == " + " else -heat for name, heat in taken.items())
    steps.append(
        step(
            "all heat taken up: what the knives and the room gave, which is what fixes the end temperature",
            formula,
            total,
            "kJ",
            **{name: (heat, "kJ") for name, heat in taken.items()},
        )
    )
    steps.append(
        step(
            "balance, which is 0",
            "left_over = W + G − Q",
            bowl.kg * energy + gained - total,
            "kJ",
            W=(bowl.kg * energy, "kJ"),
            G=(gained, "kJ", "from the room"),
            Q=(total, "kJ"),
        )
    )
    return tuple(steps)


def _thawed_kJ_per_kg(charge, t_C) -> float:
    """The charge's enthalpy at `t_C` with its water liquid: how the mixed balance counts it before ice is taken off."""
    if charge.cp_kJ_per_kgK is not None:
        return charge.cp_kJ_per_kgK * t_C
    return float(
        sum(
            share * component_heat_kJ_per_kg("water" if name == "ice" else name, t_C)
            for name, share in charge.makeup.parts()
        )
    )


def _freezing_steps(bowl) -> list[Step]:
    protein_kg = (bowl.water_kg - bowl.free_water_kg) / value("bound_water_per_protein")
    terms = {
        "k": (value("water_freezing_constant"), "K kg/mol"),
        "w": (bowl.free_water_kg, "kg"),
        "n": (bowl.particles_mol, "mol", "dissolved particles of salt, sugar and meat juice"),
    }
    formula = "tf = 0 − k × n / w"
    if bowl.freezing_C <= value("salt_eutectic_C"):
        formula, terms["coldest"] = (
            "tf = max(0 − k × n / w, coldest)",
            (value("salt_eutectic_C"), "°C", "coldest brine there is"),
        )
    return [
        step(
            "water that can freeze",
            "w = water − b × protein",
            bowl.free_water_kg,
            "kg",
            water=(bowl.water_kg, "kg"),
            b=(value("bound_water_per_protein"), "kg/kg", "held by protein"),
            protein=(protein_kg, "kg"),
        ),
        step(
            "freezing point of the batter's water, ice all melted",
            formula,
            float(bowl.freezing_C),
            "°C",
            **terms,
        ),
    ]

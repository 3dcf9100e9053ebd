"""Ice, water or colder meat: what gets the same end? And the plane of ice and energy."""

from dataclasses import dataclass

import numpy as np

from kit.chain.chop import with_added_water, with_meat_at
from kit.chop import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.errors import need, need_between
from kit.properties import ice_heat_kJ_per_kg
from kit.properties.components import component_heat_kJ_per_kg
from kit.tables import number, value
from kit.working import Step, step

COLDEST_MEAT_C = -18.0
SHARES = (("all ice", 1.0), ("half ice, half water", 0.5), ("all water", 0.0))


@dataclass(frozen=True, eq=False)
class Ways:
    """One bowl with its added water as ice, half and half, or water, all at one energy; and what else would reach `planned_C`.

    `ice_needed_kg` has one number per `meat_C`: below 0 or above `added_kg` no share of ice does it. `meat_with_water_C`: the meat temperature
    that does without any ice, nan where none down to COLDEST_MEAT_C does. The two energies reach `planned_C` from the bowl without ice and from the bowl
    as it is; 0 where it starts warmer. `frozen_C`: meat is frozen in part below it.
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
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True, eq=False)
class IceMap:
    """Energy at which each end temperature is reached, per amount of ice: rows of `energy_kJ_per_kg` are `end_C`, columns `ice_pct_of_meat`."""

    ice_pct_of_meat: np.ndarray
    end_C: np.ndarray
    energy_kJ_per_kg: np.ndarray
    ice_gone_kJ_per_kg: np.ndarray


def ways_of(bowl: Bowl, energy_kJ_per_kg: float, planned_C: float, points: int = 241) -> Ways:
    """The ways to `planned_C` for a bowl that has ice or water in it. Weights stay: only what is ice, and how cold the meat is, changes."""
    energy = need_between(
        "energy in kJ per kg of batter", energy_kJ_per_kg, 0, 1000, "usually 5 to 150"
    )
    added = _added_kg(bowl)
    share = np.array([s for _, s in SHARES])
    ends = with_added_water(bowl, share * added, (1 - share) * added).end_C(energy)
    wet = with_added_water(bowl, 0.0, added)
    meat_C = np.linspace(COLDEST_MEAT_C, 12.0, points)
    needed = same_end_ice_kg(bowl, meat_C, planned_C, energy)
    meat = float(np.interp(0.0, needed, meat_C, left=np.nan, right=np.nan))
    frozen = max(
        (float(c.first_freezing_C) for c in bowl.charges if c.kind in LIKE_MEAT),
        default=float("nan"),
    )
    notes = [
        "Weights stay the same: the recipe keeps its water, only its state changes.",
        "Dry ice of water is meant; drained flake ice carries melt water that cools nothing.",
    ]
    if meat < frozen:
        notes.append(
            f"Meat below {frozen:.1f} °C is frozen in part: only a machine built for it may take frozen meat, in pieces, with its guards on."
        )
    worth, steps = _worth(wet, bowl, planned_C)
    sources = tuple(
        dict.fromkeys(
            number(name).cite()
            for name in ("ice_latent_heat", "bound_water_per_protein", "water_freezing_constant")
        )
    )
    return Ways(
        added,
        tuple((name, float(end)) for (name, _), end in zip(SHARES, ends, strict=True)),
        float(bowl.end_C(energy)),
        planned_C,
        meat_C,
        needed,
        meat,
        *(max(float(b.energy_to_kJ_per_kg(planned_C)), 0.0) for b in (wet, bowl)),
        worth,
        frozen,
        tuple(notes),
        sources,
        steps,
    )


def same_end_ice_kg(bowl: Bowl, meat_C, end_C: float, energy_kJ_per_kg: float) -> np.ndarray:
    """kg of the added water that would have to be ice so that the bowl ends at `end_C`, for each meat temperature.

    Not clipped: below 0 or above the added water no share of ice does it. A line in the ice, as in chop.ice_for; meat is vectorised.
    """
    wet = with_meat_at(
        with_added_water(bowl, 0.0, _added_kg(bowl)), np.asarray(meat_C, dtype=float)
    )
    swap = _water_C(bowl)[1] - _ice_C(bowl)[1]
    return np.asarray((wet.heat_in_kJ + wet.kg * energy_kJ_per_kg - wet.enthalpy_kJ(end_C)) / swap)


def ice_map(bowl: Bowl, end_C, ice_high_pct: float = 60.0, points: int = 49) -> IceMap:
    """The plane of ice (in place of the bowl's own; its water kept) and energy. Exact: no root is sought."""
    meat_kg = float(sum(c.kg for c in bowl.charges if c.kind == "meat"))
    need(meat_kg > 0, "ice is counted on the meat here, and there is none in the bowl")
    pct, ends = np.linspace(0, ice_high_pct, points), np.asarray(end_C, dtype=float)
    plane = with_added_water(
        bowl, pct / 100 * meat_kg, float(sum(c.kg for c in bowl.of_kind("water")))
    )
    return IceMap(
        pct,
        ends,
        np.asarray(plane.energy_to_kJ_per_kg(ends[:, None])),
        np.broadcast_to(plane.ice_gone_kJ_per_kg, pct.shape),
    )


def _added_kg(bowl: Bowl) -> float:
    added = float(sum(c.kg for c in (*bowl.of_kind("ice"), *bowl.of_kind("water"))))
    need(added > 0, "there is no ice or water in the bowl to share out; add a line of water")
    return added


def _water_C(bowl: Bowl) -> tuple[float, float]:
    """Temperature of the bowl's water and its enthalpy; the usual temperature where it has none."""
    t = (
        float(bowl.of_kind("water")[0].temperature_C)
        if bowl.of_kind("water")
        else value("water_temperature_usual")
    )
    return t, float(component_heat_kJ_per_kg("water", t))


def _ice_C(bowl: Bowl) -> tuple[float, float]:
    t = (
        float(bowl.of_kind("ice")[0].temperature_C)
        if bowl.of_kind("ice")
        else value("ice_temperature_usual")
    )
    return t, float(ice_heat_kJ_per_kg(t))


def _worth(wet: Bowl, bowl: Bowl, planned_C: float) -> tuple[float, tuple[Step, ...]]:
    (water_C, h_water), (ice_C, h_ice) = _water_C(bowl), _ice_C(bowl)
    h_end = float(component_heat_kJ_per_kg("water", planned_C))
    end, cold, frost = (
        (h, "kJ/kg", f"{what} at {t:.4g} °C")
        for h, what, t in (
            (h_end, "water", planned_C),
            (h_water, "water", water_C),
            (h_ice, "ice", ice_C),
        )
    )
    steps = [
        step(
            "what 1 kg of ice takes up",
            "q_ice = h_end − h_ice",
            h_end - h_ice,
            "kJ",
            h_end=end,
            h_ice=frost,
        ),
        step(
            "what 1 kg of water takes up",
            "q_water = h_end − h_water",
            h_end - h_water,
            "kJ",
            h_end=end,
            h_water=cold,
        ),
    ]
    worth = float("nan")
    if h_end > h_water + 1e-9:
        worth = (h_end - h_ice) / (h_end - h_water)
        steps.append(
            step(
                "1 kg of ice takes up as much as this much water",
                "r = q_ice / q_water",
                worth,
                "kg",
                q_ice=(h_end - h_ice, "kJ"),
                q_water=(h_end - h_water, "kJ"),
            )
        )
    H_end, H_in = float(wet.enthalpy_kJ(planned_C)), float(wet.heat_in_kJ)
    steps.append(
        step(
            "energy the knives may put in when no ice is there",
            "e = (H_end − H_in) / M",
            (H_end - H_in) / float(wet.kg),
            "kJ/kg",
            H_end=(H_end, "kJ", f"enthalpy of the batter at {planned_C:.4g} °C"),
            H_in=(H_in, "kJ", "enthalpy as it goes in, all added water liquid"),
            M=(float(wet.kg), "kg"),
        )
    )
    return worth, tuple(steps)

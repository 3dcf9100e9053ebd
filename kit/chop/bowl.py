"""One enthalpy balance: everything in the bowl, mixed, at one temperature.

The batter's water holds the salt, so its ice melts below 0 °C: ice(T) = free water × (1 − tf / T) below the freezing point tf (ideal
solution; bound water, 0.4 per protein, never freezes). One function of temperature, rising, holds sensible heat and ice;
the final temperature is its inverse. All of it is vectorised over arrays in the charges and over heat.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from kit.chop.charge import DRY_SALT, LIKE_MEAT, Charge, ice, salt, water
from kit.errors import OutOfRange, need_between
from kit.faults import need_said
from kit.properties.components import heat_inside_kJ_per_kg, polynomials
from kit.properties.fat import solid_fats
from kit.tables import value

LOWEST_C, BOILS_C, MELTING = -40.0, 100.0, "lard"
_DRY = ("protein", "fat", "carbohydrate", "fibre", "ash")
_CLOSE_kJ_per_kg, _CLOSE_K = 1e-10, 1e-10
_HALVED_EVERY, _MOST_ROUNDS = 5, 250


@dataclass(frozen=True)
class Bowl:
    """What is in the bowl. Dry salt cools as it dissolves; the heat of melting fat is left out (see `MeltingBowl`)."""

    charges: tuple[Charge, ...]

    def __post_init__(self):
        object.__setattr__(self, "charges", tuple(self.charges))
        if not self.charges or not (np.asarray(self.kg) > 0).all():
            raise OutOfRange("the bowl is empty; put in at least one charge of more than 0 kg")

    def _sum(self, of):
        return sum((charge.kg * of(charge) for charge in self.charges), 0.0)

    @cached_property
    def kg(self):
        return self._sum(lambda charge: 1.0)

    @cached_property
    def water_kg(self):
        """All water, frozen or not."""
        return self._sum(lambda charge: charge.makeup.all_water_fraction)

    @cached_property
    def free_water_kg(self):
        """Water that can freeze and that holds the salt: all but what protein binds."""
        return np.maximum(
            self.water_kg
            - value("bound_water_per_protein")
            * self._sum(lambda charge: charge.makeup.protein_fraction),
            0.0,
        )

    @cached_property
    def fat_kg(self):
        return self._sum(lambda charge: charge.makeup.fat_fraction)

    @cached_property
    def particles_mol(self):
        return self._sum(lambda charge: charge.particles_mol_per_kg)

    @cached_property
    def freezing_C(self):
        """Freezing point of the batter with all its ice melted: −1.86 × particles / free water, not below −21.1."""
        free = np.asarray(self.free_water_kg, dtype=float)
        depression = (
            value("water_freezing_constant") * self.particles_mol / np.where(free > 0, free, 1)
        )
        return np.maximum(np.where(free > 0, -depression, -0.0), value("salt_eutectic_C"))[()]

    @cached_property
    def _dry(self):
        """kJ of everything but water as c1 t + c2 t² + c3 t³, and the kg of water counted apart."""
        c1, c2, c3, counted = 0.0, 0.0, 0.0, 0.0
        for charge in self.charges:
            counted = counted + charge.kg * charge.makeup.all_water_fraction
            for name in _DRY:
                row, kg = (
                    polynomials()["cp", name],
                    charge.kg * getattr(charge.makeup, f"{name}_fraction"),
                )
                c1, c2, c3 = c1 + kg * row.a / 1000, c2 + kg * row.b / 2000, c3 + kg * row.c / 3000
        return c1, c2, c3, counted

    @cached_property
    def dissolving_kJ(self):
        """Heat taken up as dry salt dissolves."""
        return value("salt_dissolving") * self._sum(
            lambda charge: charge.salt_fraction if charge.kind in DRY_SALT else 0.0
        )

    @cached_property
    def heat_in_kJ(self):
        """Enthalpy of all charges as they go in, less the heat that dissolving salt takes."""
        return self._sum(lambda charge: charge.heat_in_kJ_per_kg) - self.dissolving_kJ

    def thawed_kJ(self, t_C):
        """Enthalpy at `t_C` with no ice in it."""
        return self._thawed_kJ(t_C, _water_kJ_per_kg(t_C))

    def _thawed_kJ(self, t_C, water_kJ_per_kg):
        c1, c2, c3, counted = self._dry
        return t_C * (c1 + t_C * (c2 + t_C * c3)) + counted * water_kJ_per_kg

    def ice_at_C(self, t_C):
        """kg of frozen water in balance with the brine at `t_C`."""
        t, freezing = np.asarray(t_C, dtype=float), self.freezing_C
        cold = t < freezing
        return np.where(cold, self.free_water_kg * (1 - freezing / np.where(cold, t, -1.0)), 0.0)[
            ()
        ]

    def enthalpy_kJ(self, t_C):
        """Enthalpy at `t_C`, ice in balance; rises with temperature."""
        water = _water_kJ_per_kg(t_C)
        return self._thawed_kJ(t_C, water) - self.ice_at_C(t_C) * (water - _ice_kJ_per_kg(t_C))

    def temperature_C(self, heat_kJ):
        """°C at which the bowl holds `heat_kJ`, to 1e-10 K. OutOfRange where it would boil or fall below −40 °C.

        The root stays bracketed: a chord whose standing end is halved (Illinois), and a plain halving every few rounds.
        """
        heat = np.asarray(heat_kJ, dtype=float)
        freezing = np.asarray(self.freezing_C, dtype=float)
        top, bottom = self.enthalpy_kJ(BOILS_C), self.enthalpy_kJ(LOWEST_C)
        need_said(bool(np.isfinite(heat).all() and (heat <= top).all()), "bowl boils")
        need_said(bool((heat >= bottom).all()), "bowl too cold")
        melted = self.thawed_kJ(freezing)
        above = heat >= melted
        low, high = np.where(above, freezing, LOWEST_C), np.where(above, BOILS_C, freezing)
        short, over = np.where(above, melted, bottom) - heat, np.where(above, top, melted) - heat
        close, rose = _CLOSE_kJ_per_kg * np.asarray(self.kg), np.zeros(np.shape(short))
        for count in range(1, _MOST_ROUNDS):
            chord = high - over * (high - low) / np.where(over > short, over - short, 1.0)
            t = 0.5 * (low + high) if count % _HALVED_EVERY == 0 else np.clip(chord, low, high)
            left = self.enthalpy_kJ(t) - heat
            if ((np.abs(left) <= close) | (high - low <= _CLOSE_K)).all():
                break
            warm = left >= 0
            low, high = np.where(warm, low, t), np.where(warm, t, high)
            short, over = (
                np.where(warm, np.where(rose > 0, 0.5 * short, short), left),
                np.where(warm, left, np.where(rose < 0, 0.5 * over, over)),
            )
            rose = np.where(warm, 1, -1)
        return t[()]

    def ice_kg(self, heat_kJ, t_C=None):
        """Frozen water when the bowl holds `heat_kJ`; from the heat, not the temperature, so that a flat stretch of the curve counts."""
        t = self.temperature_C(heat_kJ) if t_C is None else t_C
        missing = (self.thawed_kJ(t) - heat_kJ) / _melting_kJ_per_kg(t)
        cold = np.asarray(heat_kJ) < self.thawed_kJ(np.asarray(self.freezing_C))
        return np.where(cold, np.clip(missing, 0.0, self.free_water_kg), 0.0)[()]

    def end_C(self, energy_kJ_per_kg):
        """Final chopping temperature for an energy per kg of batter: floats or arrays."""
        return self.temperature_C(
            self.heat_in_kJ + self.kg * np.asarray(energy_kJ_per_kg, dtype=float)
        )

    def energy_to_kJ_per_kg(self, end_C):
        """Energy per kg of batter that takes the bowl to `end_C`; negative where it starts warmer."""
        return (self.enthalpy_kJ(end_C) - self.heat_in_kJ) / self.kg

    @cached_property
    def ice_gone_kJ_per_kg(self):
        """Energy per kg at which the last ice melts; 0 where none is left even before the knives start."""
        return np.maximum((self.thawed_kJ(self.freezing_C) - self.heat_in_kJ) / self.kg, 0.0)

    def of_kind(self, *kinds: str) -> tuple[Charge, ...]:
        return tuple(charge for charge in self.charges if charge.kind in kinds)

    def kg_of(self, *kinds: str) -> float:
        return float(sum(charge.kg for charge in self.of_kind(*kinds)))

    def mean_C(self, kind: str, usual: str) -> float:
        """Mean temperature of a kind by weight; the value of the row `usual` where the bowl has none."""
        charges = self.of_kind(kind)
        kg = self.kg_of(kind)
        return sum(c.kg * c.temperature_C for c in charges) / kg if kg else value(usual)

    def with_charges(self, charges) -> "Bowl":
        return replace(self, charges=tuple(charges))

    def with_meat(self, temperature_C) -> "Bowl":
        """Meat and rework at another temperature (°C, float or array), or at what a function of the charge gives."""
        of = temperature_C if callable(temperature_C) else lambda charge: temperature_C
        return self.with_charges(
            replace(c, temperature_C=of(c)) if c.kind in LIKE_MEAT else c for c in self.charges
        )

    def until(self, minute: float) -> "Bowl":
        """Only what has gone in by `minute`."""
        return self.with_charges(charge for charge in self.charges if charge.minute <= minute)


@dataclass(frozen=True)
class MeltingBowl(Bowl):
    """A bowl whose fat takes a share of the melting heat of lard: 0 to 1, float or array."""

    share: float | np.ndarray = 1.0

    @cached_property
    def heat_in_kJ(self):
        curve = solid_fats()[MELTING]
        melted = self._sum(
            lambda c: c.makeup.fat_fraction * curve.melting_kJ_per_kg(c.temperature_C)
        )
        return super().heat_in_kJ + self.share * melted

    def _thawed_kJ(self, t_C, water_kJ_per_kg):
        melted = self.share * self.fat_kg * solid_fats()[MELTING].melting_kJ_per_kg(t_C)
        return super()._thawed_kJ(t_C, water_kJ_per_kg) + melted


def _melting_kJ_per_kg(t_C):
    """Heat between 1 kg of ice and 1 kg of liquid water at the same temperature."""
    return _water_kJ_per_kg(t_C) - _ice_kJ_per_kg(t_C)


def _water_kJ_per_kg(t_C):
    return heat_inside_kJ_per_kg("water", t_C)


def _ice_kJ_per_kg(t_C):
    return heat_inside_kJ_per_kg("ice", t_C) - value("ice_latent_heat")


def with_added_water(bowl: Bowl, ice_kg, water_kg) -> Bowl:
    """Other ice and water (kg, floats or arrays) in the place of all of the bowl's; their temperatures are kept."""
    added = []
    if np.any(ice_kg):
        added.append(ice(ice_kg, bowl.mean_C("ice", "ice_temperature_usual")))
    if np.any(water_kg):
        added.append(water(water_kg, bowl.mean_C("water", "water_temperature_usual")))
    others = (c for c in bowl.charges if c.kind not in ("ice", "water"))
    return bowl.with_charges((*others, *added))


def with_salt_pct(bowl: Bowl, pct_of_batch: float) -> Bowl:
    """Salt lines replaced by one of `pct_of_batch` of the whole bowl; the rest keeps its weight."""
    share = need_between("salt in percent of the batch", pct_of_batch, 0, 30) / 100
    rest = tuple(c for c in bowl.charges if c.kind != "salt")
    kg = share / (1 - share) * float(sum(c.kg for c in rest))
    return bowl.with_charges((*rest, salt(kg)) if kg else rest)

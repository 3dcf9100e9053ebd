"""Lesson 03: how warm does the batter end, and what does the ice do?"""

from kit.chain.chop import bowl_of, chop_of, machine_of_fit
from kit.chop import Bowl, chop
from kit.chop.bowl import with_added_water, with_salt_pct
from kit.chop.fit import fit_energy
from kit.chop.inverse import cooling_options
from kit.lab.lessons import Exercise, Guess, exercise, guess_of
from kit.lab.panels.sheets import demo_sheet
from kit.properties.components import component_heat_kJ_per_kg
from kit.reading import read_log
from kit.tables import value
from kit.working import steps_of

START = {
    "meat_C": 1.5,
    "added_pct_of_meat": 31.0,
    "ice_share_pct": 100.0,
    "salt_pct_of_batch": 2.0,
    "energy_kJ_per_kg": 115.0,
}
"""where the panels of this lesson start: the invented demo batch, on an energy that ends it near 13 °C"""


def set_bowl(
    base: Bowl,
    meat_kg: float,
    meat_C: float,
    added_pct_of_meat: float,
    ice_share_pct: float,
    salt_pct_of_batch: float,
) -> Bowl:
    """A sheet's bowl with the amounts that the sliders of this lesson move."""
    added, share = added_pct_of_meat / 100 * meat_kg, ice_share_pct / 100
    return with_salt_pct(
        with_added_water(base.with_meat(meat_C), share * added, (1 - share) * added),
        salt_pct_of_batch,
    )


def start_bowl(**moved) -> Bowl:
    """The bowl that the panels start with; `moved` as the sliders are called."""
    amounts = {key: amount for key, amount in (START | moved).items() if key != "energy_kJ_per_kg"}
    return set_bowl(bowl_of(demo_sheet()), demo_sheet().meat_kg, **amounts)


def energy_of_log(file, from_min: float, to_min: float) -> str:
    """What a log of the demo batch says of its chopper, and the final chopping temperatures that follow; the knives ran between these minutes."""
    fit = fit_energy(bowl_of(demo_sheet()), read_log(file), from_min=from_min, to_min=to_min)
    low, energy, high = fit.energy_kJ_per_kg
    ends = chop_of(demo_sheet(), machine_of_fit(fit)).range
    return f"{energy:.0f} kJ/kg ({low:.0f} to {high:.0f}): final chopping temperature {ends.low_C:.0f} to {ends.high_C:.0f} °C"


def guess() -> Guess:
    bowl, energy = start_bowl(), START["energy_kJ_per_kg"]
    known = {"kg": bowl.kg, "added": bowl.kg_of("ice"), "end_C": bowl.end_C(energy)}
    return guess_of("03 guess", known, lambda: float(start_bowl(ice_share_pct=0).end_C(energy)))


def exercises() -> tuple[Exercise, ...]:
    def water_kJ(t):
        return float(component_heat_kJ_per_kg("water", t))

    def of_ice(*keys):
        """Steps of what ice and water take up on the way to 13 °C."""
        options = cooling_options(start_bowl(), START["energy_kJ_per_kg"], 13.0)
        return lambda: steps_of(options.working, *keys)

    melting, plain = value("ice_latent_heat"), start_bowl(salt_pct_of_batch=0)
    power = {"e": 21 * 60 * 9 / 100, "P": 21, "t": 9, "M": 100}
    freezing = ("free water", "freezing point")
    return (
        exercise("03 ice", {}, lambda: water_kJ(13.0), lambda: melting, working=of_ice("ice")),
        exercise(
            "03 water",
            {},
            lambda: melting / (water_kJ(13.0) - water_kJ(2.0)),
            working=of_ice("ice", "water", "worth"),
        ),
        exercise("03 power", power, lambda: 21 * 9 / 100),
        exercise(
            "03 freezing point",
            {},
            lambda: float(plain.freezing_C),
            lambda: 0.0,
            working=lambda: steps_of(chop(start_bowl(), 0.0).working, *freezing),
        ),
    )

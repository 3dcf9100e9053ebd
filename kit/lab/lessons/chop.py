"""Lesson 03: how warm does the batter end, and what does the ice do?"""

from kit.chain.chop import bowl_of, chop_of, machine_of_fit
from kit.chop import Bowl, chop
from kit.chop.bowl import with_added_water, with_salt_pct
from kit.chop.fit import fit_energy
from kit.chop.inverse import cooling_options
from kit.lab.lessons import Exercise, Guess
from kit.lab.panels.sheets import demo_sheet
from kit.properties.components import component_heat_kJ_per_kg
from kit.reading import read_log
from kit.tables import value
from kit.working import step, steps_of

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
    added = bowl.kg_of("ice")
    return Guess(
        f"{bowl.kg:.0f} kg of batter contain {added:.1f} kg of ice; the final chopping temperature is {bowl.end_C(energy):.1f} °C. "
        "Now the ice has melted in the tub: the same weight is added as water of 2 °C, with the same meat and energy. What is the final chopping temperature, in °C?",
        "°C",
        lambda: float(start_bowl(ice_share_pct=0).end_C(energy)),
        3,
    )


def exercises() -> tuple[Exercise, ...]:
    def water_kJ(t):
        return float(component_heat_kJ_per_kg("water", t))

    def of_ice(*keys):
        """Steps of what ice and water take up on the way to 13 °C, and the last one's answer."""
        working = cooling_options(start_bowl(), START["energy_kJ_per_kg"], 13.0).working
        steps = steps_of(working, *keys)
        return steps[-1].answer, steps

    def from_the_motor():
        answer, given = 21 * 60 * 9 / 100, {"P": (21, "kW"), "t": (9, "min")}
        what, formula = "energy per kg of batter", "e = P × 60 × t / M"
        return answer, (step(what, formula, answer, "kJ/kg", **given, M=(100, "kg")),)

    def brine_reading():
        bowl = start_bowl()
        working = chop(bowl, 0.0).working
        return float(bowl.freezing_C), steps_of(working, "free water", "freezing point")

    plain = start_bowl(salt_pct_of_batch=0)
    return (
        Exercise(
            "How many kJ does 1 kg of ice at −5 °C take up until it is water at 13 °C? "
            "Ice warms with about 2.05 kJ/(kg K), melts with 333.6 kJ/kg, and water warms with about 4.18 kJ/(kg K).",
            "kJ",
            lambda: of_ice("ice"),
            3,
            (
                "Three parts: warm the ice to 0 °C, melt it, warm the water.",
                "5 × 2.05 + 333.6 + 13 × 4.18.",
            ),
            (
                (
                    "that is only the warming of the water. The ice must melt first.",
                    lambda: water_kJ(13.0),
                ),
                (
                    "that is only the melting. The water is then warmed to 13 °C.",
                    lambda: value("ice_latent_heat"),
                ),
            ),
        ),
        Exercise(
            "How many kg of water at 2 °C take up as much heat when warmed to 13 °C?",
            "kg",
            lambda: of_ice("ice", "water", "worth"),
            0.2,
            (
                "1 kg of that water takes up 11 K × 4.18 kJ/(kg K).",
                "Divide the answer of the previous exercise by that.",
            ),
            (
                (
                    "that counts only the melting; add the warming of the ice and of its water.",
                    lambda: value("ice_latent_heat") / (water_kJ(13.0) - water_kJ(2.0)),
                ),
            ),
        ),
        Exercise(
            "A chopper puts 21 kW into 100 kg of batter for 9 minutes. How many kJ per kg is that?",
            "kJ/kg",
            from_the_motor,
            1,
            ("1 kW is 1 kJ each second.", "21 × 60 × 9 kJ, over 100 kg."),
            (("you used minutes; 1 kW is 1 kJ per second.", lambda: 21 * 9 / 100),),
        ),
        Exercise(
            "While ice is present, this batter stays below its freezing point. What is that freezing point, in °C?",
            "°C",
            brine_reading,
            0.15,
            (
                "1.86 K for each mol of dissolved particles in 1 kg of water that can freeze.",
                "Open 'Redo it with a pencil' under the panel: the freezing point is among the first steps.",
            ),
            (
                (
                    "that is the freezing point without the 2 % of salt.",
                    lambda: float(plain.freezing_C),
                ),
                ("0 °C is the freezing point of pure water; this water is brine.", lambda: 0.0),
            ),
        ),
    )

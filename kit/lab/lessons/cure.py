"""Lesson 02: how much cure, on which basis, on which scale, and which dosing error is it?"""

from kit.cure import Scale, cure_for, mistakes, on_scale
from kit.cure.dose import nitrite_ppm, premix_kg_for
from kit.cure.premix import premix
from kit.cure.salts import convert_step
from kit.lab.lessons import Choosing, Exercise, Guess
from kit.rules.limits import limit
from kit.tables import cite
from kit.working import figure

STRONG, WEAK = "US curing salt, 6.25 % nitrite", "nitrite salt 0.6 %"


def guess() -> Guess:
    return Guess(
        "A recipe requires 20 g of curing salt per kg of meat. It was written for salt with 0.6 % nitrite; the label of your bag says 6.25 %. You weigh 20 g per kg anyway. How many ppm of ingoing nitrite is that, on the meat?",
        "ppm",
        lambda: float(nitrite_ppm(20, premix(STRONG).strength_pct, 1000)),
        100,
    )


def exercises() -> tuple[Exercise, ...]:
    strong, weak = premix(STRONG), premix(WEAK)
    kitchen = Scale(1.0, 0.5)

    def weigh():
        found = cure_for(140, strong, meat_kg=40, batch_kg=55)
        return found.cure_kg * 1000, found.working

    def ion():
        most = limit("eu_after_cooked").limit
        found = cure_for(most, weak, meat_kg=43, batch_kg=60, basis="batch", counted_as="NO2")
        return found.cure_kg * 1000, (convert_step(most, "NO2", "NaNO2"), *found.working)

    def smallest():
        found = on_scale(140, strong, 20, kitchen)
        return found.smallest_meat_kg, found.working

    wanted_of_batch = limit("eu_after_cooked").limit
    return (
        Exercise(
            "40 kg of meat in a 55 kg batch, target 140 ppm on the meat, cure with 6.25 % nitrite. How many g of cure?",
            "g",
            weigh,
            0.3,
            (
                "First the grams of nitrite, then the cure that carries them.",
                "140 mg × 40 = 5.6 g of nitrite, and 6.25 % of the cure is nitrite.",
            ),
            (
                (
                    "that is the nitrite itself. The cure carries only 6.25 % of it.",
                    lambda: 140 * 40 / 1000,
                ),
                (
                    "you dosed on the whole batch; the target ppm is on the meat.",
                    lambda: (
                        cure_for(140, strong, meat_kg=40, batch_kg=55, basis="batch").cure_kg * 1000
                    ),
                ),
            ),
        ),
        Exercise(
            f"A rule allows {wanted_of_batch:g} ppm on the whole batch, expressed as the nitrite ion NO2. The batch is 60 kg (43 kg of it meat), the cure has 0.6 % sodium nitrite. "
            "How many g of cure give exactly the limit?",
            "g",
            ion,
            3,
            (
                "Convert the ion to the salt first: one NaNO2 contains one NO2.",
                "80 × 69.0 / 46.0 ppm of NaNO2, on 60 kg, from 0.6 %.",
            ),
            (
                (
                    "you used the limit of the ion as if it were that of the salt, and dosed a third too little.",
                    lambda: float(premix_kg_for(wanted_of_batch, weak.strength_pct, 60)) * 1000,
                ),
            ),
        ),
        Exercise(
            "A scale has steps of 1 g and a repeatability of 0.5 g (one standard deviation). With 6.25 % cure at 140 ppm of the meat, from how many kg of meat is the dose always within ± 5 %?",
            "kg",
            smallest,
            0.3,
            (
                "Half-width of a weighing: 2 × √(step² / 12 + scatter²). Add half a step for the rounding to the nearest reading.",
                "(1.15 + 0.5) g may be at most 5 % of the dose, and the dose is 2.24 g per kg.",
            ),
            (
                (
                    "you counted the weighing but not the half step of rounding.",
                    lambda: kitchen.half_width_g / (0.05 * premix_kg_for(140, 6.25, 1.0) * 1000),
                ),
            ),
        ),
    )


def choices() -> tuple[Choosing, ...]:
    strong, meat_kg, batch_kg = premix(STRONG), 43.0, 60.0
    grams = {
        basis: 1000 * cure_for(100, strong, meat_kg=meat_kg, batch_kg=batch_kg, basis=basis).cure_kg
        for basis in ("meat", "batch")
    }
    more = max(grams, key=lambda basis: grams[basis])

    def judge(option: str) -> tuple[bool, str, str]:
        words = " and ".join(f"{figure(g, 3)} g on the {basis}" for basis, g in grams.items())
        return (
            option == f"on the {more}",
            f"100 ppm take {words}, so the basis decides.",
            cite("kit", "", "computed"),
        )

    return (
        Choosing(
            f"Two rules both say 100 ppm, one on the meat ({meat_kg:g} kg), one on the batch ({batch_kg:g} kg). Which of them allows more cure?",
            ("on the meat", "on the batch", "both the same"),
            judge,
        ),
    )


def planted() -> str:
    """What is wrong in the first ten weigh sheets of 'Find the mistake'."""
    return "\n".join(f"sheet {n}: {mistakes.case(n).planted.replace('_', ' ')}" for n in range(10))

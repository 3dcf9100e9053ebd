"""Lesson 02: how much cure, on which basis, on which scale, and which dosing error is it?"""

from kit.cure import Scale, cure_for, mistakes, on_scale
from kit.cure.dose import nitrite_ppm, premix_kg_for
from kit.cure.premix import premix
from kit.cure.salts import convert_step
from kit.lab.lessons import Choosing, Exercise, Guess, exercise, guess_of
from kit.rules.limits import limit
from kit.tables import cite
from kit.working import figure

STRONG, WEAK = "US curing salt, 6.25 % nitrite", "nitrite salt 0.6 %"


def guess() -> Guess:
    return guess_of(
        "02 guess", {}, lambda: float(nitrite_ppm(20, premix(STRONG).strength_pct, 1000))
    )


def exercises() -> tuple[Exercise, ...]:
    strong, weak, kitchen = premix(STRONG), premix(WEAK), Scale(1.0, 0.5)
    most = limit("eu_after_cooked").limit
    dose = cure_for(140, strong, meat_kg=40, batch_kg=55)
    of_ion = cure_for(most, weak, meat_kg=43, batch_kg=60, basis="batch", counted_as="NO2")
    return (
        exercise(
            "02 cure to weigh",
            {},
            lambda: 140 * 40 / 1000,
            lambda: cure_for(140, strong, meat_kg=40, batch_kg=55, basis="batch").cure_kg * 1000,
            working=lambda: dose.working,
            answer=lambda: dose.cure_kg * 1000,
        ),
        exercise(
            "02 nitrite ion",
            {"wanted_of_batch": most},
            lambda: float(premix_kg_for(most, weak.strength_pct, 60)) * 1000,
            working=lambda: (convert_step(most, "NO2", "NaNO2"), *of_ion.working),
            answer=lambda: of_ion.cure_kg * 1000,
        ),
        exercise(
            "02 smallest batch",
            {},
            lambda: kitchen.half_width_g / (0.05 * premix_kg_for(140, 6.25, 1.0) * 1000),
            working=lambda: on_scale(140, strong, 20, kitchen).working,
        ),
    )


def choices() -> tuple[Choosing, ...]:
    meat_kg, batch_kg = 43.0, 60.0
    sizes = {"meat_kg": meat_kg, "batch_kg": batch_kg}
    doses = {on: cure_for(100, premix(STRONG), basis=on, **sizes) for on in ("meat", "batch")}
    grams = {on: 1000 * dose.cure_kg for on, dose in doses.items()}
    more = max(grams, key=lambda on: grams[on])

    def judge(option: str) -> tuple[bool, str, str]:
        words = " and ".join(f"{figure(g, 3)} g on the {on}" for on, g in grams.items())
        why = f"100 ppm take {words}, so the basis decides."
        return option == f"on the {more}", why, cite("kit", "", "computed")

    question = f"Two rules both say 100 ppm, one on the meat ({meat_kg:g} kg), one on the batch ({batch_kg:g} kg). Which of them allows more cure?"
    return (Choosing(question, ("on the meat", "on the batch", "both the same"), judge),)


def planted() -> str:
    """What is wrong in the first ten weigh sheets of 'Find the mistake'."""
    return "\n".join(f"sheet {n}: {mistakes.case(n).planted.replace('_', ' ')}" for n in range(10))

"""Lesson 02b: what salt does and does not do, what the nitrite is for, and how much of it is left."""

from functools import partial

from scipy.optimize import brentq

from kit.cure import brine
from kit.cure.brine import Brine, growth_table
from kit.cure.colour import colour, myoglobin_mg_per_g
from kit.cure.salts import molar_mass
from kit.lab.lessons import Choosing, Exercise, Guess, exercise, guess_of
from kit.tables import cite, value

WATER_KG, BATTER_KG, LOST_KG, USUAL_SALT_KG = 58.0, 100.0, 10.0, 2.2
"""the demo batch, rounded: water of the batter, the batter, water lost in the cook, salt with the cure's own"""
SALTED = {"water_kg": WATER_KG, "usual_salt_kg": USUAL_SALT_KG, "lost_kg": LOST_KG}
INGOING_PPM = 140


def finished(salt_kg: float) -> Brine:
    """The brine of the finished product with so much salt in 100 kg of batter."""
    return brine(salt_kg, WATER_KG, BATTER_KG, water_lost_kg=LOST_KG)


def guess() -> Guess:
    floor = value("growth_aw_listeria_monocytogenes")
    enough = partial(brentq, lambda salt_kg: finished(salt_kg).aw - floor, 1, 12)
    return guess_of("02b guess", {"floor": floor, **SALTED}, enough)


def exercises() -> tuple[Exercise, ...]:
    done, pork = finished(USUAL_SALT_KG), myoglobin_mg_per_g("pork")
    strength, *_, of_product, sodium = done.working
    needed_ppm = colour(pork, INGOING_PPM).needed_ppm_of_meat
    pigment = {"m": pork, "N": molar_mass("NaNO2"), "P": value("myoglobin_g_per_mol")}
    before, of_all = (lambda: 100 * 2.2 / 60.2), (lambda: 100 * 2.2 / 90)
    return (
        exercise("02b brine", SALTED, before, of_all, working=lambda: (strength,)),
        exercise(
            "02b sodium", {}, lambda: 1000 * done.salt_pct, working=lambda: (of_product, sodium)
        ),
        exercise("02b colour", {"n": needed_ppm, **pigment}, lambda: needed_ppm / 1000),
    )


def choices() -> tuple[Choosing, ...]:
    usual = finished(USUAL_SALT_KG)

    def judge(option: str) -> tuple[bool, str, str]:
        stopped = any(one.stopped for one in growth_table(usual.aw))
        why = f"its water activity is {usual.aw:.3f}, above the published lower limit for growth of {'some' if stopped else 'all six'} of the organisms listed; cooking, chilling, refrigeration and hygiene stop them."
        source = cite("fda_factors_1999", "factors table", "read")
        return option == ("some" if stopped else "none"), why, source

    question = "Which of the organisms listed under the panel does the salt of this frankfurter stop from growing by itself?"
    return (Choosing(question, ("all", "some", "none"), judge),)

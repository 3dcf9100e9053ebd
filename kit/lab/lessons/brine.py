"""Lesson 02b: what salt does and does not do, what the nitrite is for, and how much of it is left."""

from scipy.optimize import brentq

from kit.cure import brine
from kit.cure.brine import Brine, growth_table
from kit.cure.colour import colour, myoglobin_mg_per_g
from kit.cure.salts import molar_mass
from kit.lab.lessons import Choosing, Exercise, Guess
from kit.tables import cite, value
from kit.working import step

WATER_KG, BATTER_KG, LOST_KG, USUAL_SALT_KG = 58.0, 100.0, 10.0, 2.2
"""the demo batch, rounded: water of the batter, the batter, water lost in the cook, salt with the cure's own"""
INGOING_PPM = 140


def finished(salt_kg: float) -> Brine:
    """The brine of the finished product with so much salt in 100 kg of batter."""
    return brine(salt_kg, WATER_KG, BATTER_KG, water_lost_kg=LOST_KG)


def guess() -> Guess:
    floor = value("growth_aw_listeria_monocytogenes")
    return Guess(
        f"100 kg of batter hold {WATER_KG:g} kg of water and {USUAL_SALT_KG:g} kg of salt; the cook takes {LOST_KG:g} kg of water. "
        f"How many kg of salt would it take until the water activity of the finished product is {floor:g}, a published lower limit for growth of Listeria?",
        "kg",
        lambda: brentq(lambda salt_kg: finished(salt_kg).aw - floor, 1, 12),
        1.0,
    )


def exercises() -> tuple[Exercise, ...]:
    done, pork = finished(USUAL_SALT_KG), myoglobin_mg_per_g("pork")
    strength, *_, of_product, sodium = done.working
    nitrite, pigment = molar_mass("NaNO2"), value("myoglobin_g_per_mol")

    def needed():
        answer = colour(pork, INGOING_PPM).needed_ppm_of_meat
        terms = dict(
            m=(pork, "mg/g"), N=(nitrite, "g/mol", "NaNO2"), P=(pigment, "g/mol", "myoglobin")
        )
        return answer, (
            step("nitrite for the pigment", "n = m × N × 1000 / P", answer, "ppm", **terms),
        )

    return (
        Exercise(
            f"100 kg of batter hold {WATER_KG:g} kg of water and {USUAL_SALT_KG:g} kg of salt, the cure's own counted. The cook takes {LOST_KG:g} kg of water. How many % salt has the water phase then?",
            "%",
            lambda: (done.brine_pct, (strength,)),
            0.04,
            ("Salt stays, water goes. Salt over salt and water.", "2.2 over (2.2 + 48)."),
            (
                ("that is before the cook; 10 kg of the water are gone.", lambda: 100 * 2.2 / 60.2),
                ("that is salt on the finished product, not in its water.", lambda: 100 * 2.2 / 90),
            ),
        ),
        Exercise(
            "How many mg of sodium does that salt bring to 100 g of the finished product? (58.44 g of salt hold 22.99 g of sodium.)",
            "mg",
            lambda: (done.sodium_mg_per_100g, (of_product, sodium)),
            15,
            (
                "First the salt in 100 g of product, in mg.",
                "2.2 / 90 of 100 g, times 22.99 / 58.44.",
            ),
            (("that is the salt itself; sodium is 39 % of it.", lambda: 1000 * done.salt_pct),),
        ),
        Exercise(
            f"Pork holds {pork:g} mg of myoglobin ({pigment:g} g/mol) in a gram. If one nitrite ({nitrite:.1f} g/mol) goes to each myoglobin, how many ppm of nitrite does the colour take?",
            "ppm",
            needed,
            0.6,
            (
                "One mole of nitrite for each mole of myoglobin.",
                f"{pork:g} × {nitrite:.1f} / {pigment:g}, in mg per g; times 1000 for ppm.",
            ),
            (("that is in mg per g; ppm are mg per kg.", lambda: needed()[0] / 1000),),
        ),
    )


def choices() -> tuple[Choosing, ...]:
    usual = finished(USUAL_SALT_KG)

    def judge(option: str) -> tuple[bool, str, str]:
        stopped = [one for one in growth_table(usual.aw) if one.stopped]
        why = f"its water activity is {usual.aw:.3f}, above the published lower limit for growth of {'some' if stopped else 'all six'} of the organisms listed"
        return (
            option == ("some" if stopped else "none"),
            f"{why}; cooking, chilling, refrigeration and hygiene stop them.",
            cite("fda_factors_1999", "factors table", "read"),
        )

    question = "Which of the organisms listed under the panel does the salt of this frankfurter stop from growing by itself?"
    return (Choosing(question, ("all", "some", "none"), judge),)

"""Lesson 04: why a batter releases fat or water, which limit fails first, and what would restore it."""

from functools import lru_cache

from kit import tables
from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.chain.mixes import mix_sheet
from kit.emulsion import Batter, corrective_actions, hold
from kit.lab.lessons import Choosing, Exercise, Guess
from kit.sheet import Sheet
from kit.working import step, steps_of

LEAN, BINDER, RULE = "beef ground 90/10", "nonfat dry milk", "us_frankfurter"
START = {
    "trim": "pork",
    "lean_pct_of_meat": 30,
    "trim_fat_pct": 40,
    "collagen_pct_of_protein": 22,
    "ice_pct_of_meat": 31,
    "binder_pct_of_batch": 3.0,
    "salt_pct_of_batch": 2.0,
    "phosphate_pct": 0.3,
    "end_C": 13,
    "drop_um": 20,
    "core_C": 71,
}
"""the batch that the panels start with; invented"""
HOT_END_C = 21


def start_sheet(values=START) -> Sheet:
    """Two meats, ice, milk powder and salt where the controls stand."""
    keys = ("trim", "lean_pct_of_meat", "trim_fat_pct")
    return mix_sheet(
        LEAN,
        *(values[key] for key in keys),
        0,
        values["ice_pct_of_meat"],
        BINDER,
        values["binder_pct_of_batch"],
        values["salt_pct_of_batch"],
        RULE,
    )


KNOWN = ("collagen_pct_of_protein", "drop_um")
"""what the sliders say of the batter itself, beside the sheet"""


def _answer(values, **known) -> EmulsionAnswer:
    known |= {key: START[key] for key in KNOWN}
    return emulsion_of(start_sheet(values), None, START["end_C"], START["core_C"], **known)


@lru_cache(maxsize=1)
def start_answer() -> EmulsionAnswer:
    """The answer of the emulsion model for the first values of the panels."""
    return _answer(START, phosphate_pct=START["phosphate_pct"])


def start_batter() -> Batter:
    return start_answer().batter


def guess() -> Guess:
    now = start_answer().held.total_out_g
    return Guess(
        f"Chopped to {START['end_C']} °C, the batch of this page has a cook-out of about {now:.0f} % in the teaching model. The same batch chopped to "
        f"{HOT_END_C} °C: what is the cook-out, in percent?",
        "% of the batter",
        lambda: hold(start_batter().but(end_C=HOT_END_C)).total_out_g,
        2.0,
    )


def exercises() -> tuple[Exercise, ...]:
    b, fine = start_batter(), start_batter().but(drop_um=5.0)
    held, fine_held = start_answer().held, hold(fine)
    film, density, cells = (
        tables.value(f"emulsion_{name}")
        for name in ("film_mg_per_m2", "fat_density_kg_per_L", "intact_cell_share")
    )
    edge, best, hot, cold = (
        tables.value(f"emulsion_{name}")
        for name in (
            "fat_load_limit",
            "best_end_C_soft_pork",
            "hot_width_C_soft_pork",
            "cold_width_C_soft_pork",
        )
    )
    soft = b.but(fat_kind="soft pork", end_C=16.0)
    fat_batter = _answer(START | {"lean_pct_of_meat": 10, "trim_fat_pct": 58}).batter

    def surface():
        return fine_held.fat_area_m2, steps_of(fine_held.working, "surface")

    def enough():
        have, asked = fine_held.dissolved_protein_g, fine_held.film_protein_g
        times = step("times enough", "t = Ps / Pc", have / asked, Ps=(have, "g"), Pc=(asked, "g"))
        keys = ("protein in solution", "surface", "film protein")
        return have / asked, (*steps_of(fine_held.working, *keys), times)

    def most_fat():
        binds = held.functional_protein_g
        fat = step(
            "fat at the limit", "F = R × Pf", edge * binds, "g", R=(edge, "g/g"), Pf=(binds, "g")
        )
        return edge * binds, (*steps_of(held.working, "protein that can bind"), fat)

    def warm():
        found = hold(soft)
        return found.temperature_margin, steps_of(found.working, "temperature margin")

    def water_in_hand():
        keys = ("dry pull", "water per meat protein", "set", "edge ratio")
        binders = (one for one in held.working if one.key.startswith("binder"))
        return held.headroom_g, (
            *binders,
            *steps_of(held.working, *keys, "water below the margin's zero"),
        )

    def less_fat():
        found = corrective_actions(fat_batter, limit="fat load")
        one = next(r for r in found.actions if r.factor == "fat_pct")
        load = steps_of(hold(one.batter).working, "protein that can bind", "fat load margin")
        return one.after, (*load, *steps_of(found.working, "fat_pct"))

    return (
        Exercise(
            f"100 g of the batch hold {b.fat_pct:.1f} g fat, of which {100 * cells:.0f} % stays inside its cells. The rest is chopped to globules of 5 µm (fat: {density:g} kg/L). "
            "How many square metres of surface do they have?",
            "m²",
            surface,
            0.3,
            (
                "The surface of globules is 6 × volume / diameter.",
                "With F in g, density in kg/L and d in µm: 6 × free fat / (density × d) gives m² directly.",
            ),
            (
                (
                    "that counts the fat that is still inside its cells.",
                    lambda: fine_held.fat_area_m2 / (1 - cells),
                ),
                (
                    "you used the radius in place of the diameter, or the reverse.",
                    lambda: fine_held.fat_area_m2 * 2,
                ),
            ),
        ),
        Exercise(
            f"All of that surface needs a protein film of {film:g} mg/m². How many times is the dissolved protein, {fine_held.dissolved_protein_g:.2f} g, enough?",
            "times",
            enough,
            0.12,
            (
                "First the protein needed for the film: mg/m² × m², in grams.",
                "Then dissolved protein over protein needed.",
            ),
            (
                (
                    "that is the inverse: needed over dissolved.",
                    lambda: fine_held.film_protein_g / fine_held.dissolved_protein_g,
                ),
            ),
        ),
        Exercise(
            f"The batch has {held.functional_protein_g:.2f} g functional protein in 100 g. In the teaching model the limit is {edge:g} g fat per g of functional protein. How many grams of fat is that in 100 g?",
            "g",
            most_fat,
            0.3,
            (
                "Multiply; collagen has already been left out.",
                "The limit × the functional protein.",
            ),
            (
                (
                    "you took all the meat protein. Collagen is not functional protein.",
                    lambda: edge * (b.protein_pct + b.nonmeat_protein_pct),
                ),
            ),
        ),
        Exercise(
            f"The optimum of soft pork fat is {best:g} °C; above it the margin falls from 1 to 0 within {hot:g} K, below it within {cold:g} K. The final chopping temperature is 16 °C: what is the temperature margin?",
            "of margin",
            warm,
            0.02,
            (
                "How far from the optimum, and on which side?",
                "1 − distance / width, with the width of the warm side.",
            ),
            (
                (
                    "you used the width of the cold side. The margin falls faster on the warm side.",
                    lambda: 1 - (16 - best) / cold,
                ),
            ),
        ),
        Exercise(
            "How many grams of water more could 100 g of the batch take before its water margin reaches 0, all else the same? (Open the pencil fold of the first panel.)",
            "g",
            water_in_hand,
            0.3,
            (
                "Find the water : meat protein ratio at margin 0, and that of the batch.",
                "The difference × the meat protein.",
            ),
            (
                (
                    "that is per gram of protein; multiply by the meat protein.",
                    lambda: held.water_ratio_at_edge - held.water_ratio,
                ),
            ),
        ),
        Exercise(
            f"Press 'Too fat' in the panel 'Corrective actions' with ice at {START['ice_pct_of_meat']} %. To how many percent of the batter must the fat be reduced to bring the margin of fat : functional protein to 0?",
            "% of the batter",
            less_fat,
            0.3,
            (
                "With less fat, 100 g contain more of everything else, so the protein rises a little.",
                "(1 − x/100) shares with x the fat: solve F = limit × protein, where both change.",
            ),
            (
                (
                    "that keeps the protein constant. With less fat, 100 g of batter contain more protein.",
                    lambda: edge * hold(fat_batter).functional_protein_g,
                ),
            ),
        ),
    )


def choices() -> tuple[Choosing, ...]:
    """What comes out when the batch is chopped hot, and when its salt is left out."""

    def changed(**change):
        now, then = start_answer().held, hold(start_batter().but(**change))
        return {
            part: getattr(then, f"{part}_out_g") - getattr(now, f"{part}_out_g")
            for part in ("fat", "water")
        }

    def asked(what: str, **change) -> Choosing:
        def judge(option: str) -> tuple[bool, str, str]:
            more = changed(**change)
            words = " and ".join(f"{grams:+.1f} g of {part}" for part, grams in more.items())
            return (
                option == max(more, key=lambda part: more[part]),
                f"in 100 g of batter the cook-out changes by {words}.",
                tables.cite("kit", "", "teaching"),
            )

        return Choosing(
            f"{what} Of which part does the cook-out rise more?",
            ("fat", "water", "both alike"),
            judge,
        )

    return (
        asked(f"The batch is chopped to {HOT_END_C} °C.", end_C=HOT_END_C),
        asked("The salt is left out.", salt_pct=0.0),
    )

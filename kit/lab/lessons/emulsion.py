"""Lesson 04: why a batter releases fat or water, which limit fails first, and what would restore it."""

from functools import lru_cache

from kit import tables
from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.chain.mixes import mix_sheet
from kit.emulsion import Batter, corrective_actions, hold
from kit.lab.lessons import Choosing, Exercise, Guess, exercise, guess_of
from kit.sheet import Sheet
from kit.working import steps_of, working_of

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
    return guess_of(
        "04 guess",
        lambda: hold(start_batter().but(end_C=HOT_END_C)).total_out_g,
        end_C=START["end_C"],
        now=now,
        hot_C=HOT_END_C,
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
        times = working_of("04 film", t=have / asked, Ps=have, Pc=asked)
        keys = ("protein in solution", "surface", "film protein")
        return have / asked, (*steps_of(fine_held.working, *keys), *times)

    def most_fat():
        binds = held.functional_protein_g
        fat = working_of("04 most fat", F=edge * binds, R=edge, Pf=binds)
        return edge * binds, (*steps_of(held.working, "protein that can bind"), *fat)

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
        one = next(r for r in found.actions if r.factor.name == "fat_pct")
        load = steps_of(hold(one.batter).working, "protein that can bind", "fat load margin")
        return one.after, (*load, *steps_of(found.working, "fat_pct"))

    return (
        exercise(
            "04 surface",
            surface,
            lambda: fine_held.fat_area_m2 / (1 - cells),
            lambda: fine_held.fat_area_m2 * 2,
            fat_pct=b.fat_pct,
            cells_pct=100 * cells,
            density=density,
        ),
        exercise(
            "04 film",
            enough,
            lambda: fine_held.film_protein_g / fine_held.dissolved_protein_g,
            film=film,
            dissolved_protein_g=fine_held.dissolved_protein_g,
        ),
        exercise(
            "04 most fat",
            most_fat,
            lambda: edge * (b.protein_pct + b.nonmeat_protein_pct),
            functional_protein_g=held.functional_protein_g,
            edge=edge,
        ),
        exercise("04 warm", warm, lambda: 1 - (16 - best) / cold, best=best, hot=hot, cold=cold),
        exercise("04 water", water_in_hand, lambda: held.water_ratio_at_edge - held.water_ratio),
        exercise(
            "04 less fat",
            less_fat,
            lambda: edge * hold(fat_batter).functional_protein_g,
            ice_pct=START["ice_pct_of_meat"],
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

"""Lesson 04: why a batter releases fat or water, which limit fails first, and what would restore it."""

from functools import cache, lru_cache

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
    known = {"end_C": START["end_C"], "now": start_answer().held.total_out_g, "hot_C": HOT_END_C}
    return guess_of(
        "04 guess", known, lambda: hold(start_batter().but(end_C=HOT_END_C)).total_out_g
    )


def exercises() -> tuple[Exercise, ...]:
    b, held = start_batter(), start_answer().held
    fine = hold(b.but(drop_um=5.0))
    soft = b.but(fat_kind="soft pork", end_C=16.0)
    fat_batter = _answer(START | {"lean_pct_of_meat": 10, "trim_fat_pct": 58}).batter
    cells, edge, best, hot, cold = (
        tables.value(f"emulsion_{name}")
        for name in (
            "intact_cell_share",
            "fat_load_limit",
            "best_end_C_soft_pork",
            "hot_width_C_soft_pork",
            "cold_width_C_soft_pork",
        )
    )
    drops = {"fat_pct": b.fat_pct, "cells_pct": 100 * cells}
    drops["density"] = tables.value("emulsion_fat_density_kg_per_L")
    films = {"Ps": fine.dissolved_protein_g, "Pc": fine.film_protein_g}
    films |= {"t": films["Ps"] / films["Pc"], "film": tables.value("emulsion_film_mg_per_m2")}
    load = {"F": edge * held.functional_protein_g, "R": edge, "Pf": held.functional_protein_g}

    def filmed():
        keys = ("protein in solution", "surface", "film protein")
        return *steps_of(fine.working, *keys), *working_of("04 film", **films)

    def loaded():
        binding = steps_of(held.working, "protein that can bind")
        return *binding, *working_of("04 most fat", **load)

    def warm():
        return steps_of(hold(soft).working, "temperature margin")

    def watered():
        keys = ("dry pull", "water per meat protein", "set", "edge ratio")
        binders = (one for one in held.working if one.key.startswith("binder"))
        return *binders, *steps_of(held.working, *keys, "water below the margin's zero")

    @cache
    def least():
        found = corrective_actions(fat_batter, limit="fat load")
        return found, next(r for r in found.actions if r.factor.name == "fat_pct")

    def less_fat():
        found, one = least()
        load = steps_of(hold(one.batter).working, "protein that can bind", "fat load margin")
        return *load, *steps_of(found.working, "fat_pct")

    return (
        exercise(
            "04 surface",
            drops,
            lambda: fine.fat_area_m2 / (1 - cells),
            lambda: fine.fat_area_m2 * 2,
            working=lambda: steps_of(fine.working, "surface"),
        ),
        exercise("04 film", films, lambda: films["Pc"] / films["Ps"], working=filmed),
        exercise(
            "04 most fat",
            load,
            lambda: edge * (b.protein_pct + b.nonmeat_protein_pct),
            working=loaded,
        ),
        exercise(
            "04 warm",
            {"best": best, "hot": hot, "cold": cold},
            lambda: 1 - (16 - best) / cold,
            working=warm,
        ),
        exercise(
            "04 water", {}, lambda: held.water_ratio_at_edge - held.water_ratio, working=watered
        ),
        exercise(
            "04 less fat",
            {"ice_pct": START["ice_pct_of_meat"]},
            lambda: edge * hold(fat_batter).functional_protein_g,
            working=less_fat,
            answer=lambda: least()[1].after,
        ),
    )


def choices() -> tuple[Choosing, ...]:
    """What comes out when the batch is chopped hot, and when its salt is left out."""

    def asked(what: str, **change) -> Choosing:
        def judge(option: str) -> tuple[bool, str, str]:
            now, then = start_answer().held, hold(start_batter().but(**change))
            more = {
                "fat": then.fat_out_g - now.fat_out_g,
                "water": then.water_out_g - now.water_out_g,
            }
            words = " and ".join(f"{grams:+.1f} g of {part}" for part, grams in more.items())
            why = f"in 100 g of batter the cook-out changes by {words}."
            right = max(more, key=lambda part: more[part])
            return option == right, why, tables.cite("kit", "", "teaching")

        question = f"{what} Of which part does the cook-out rise more?"
        return Choosing(question, ("fat", "water", "both alike"), judge)

    return (
        asked(f"The batch is chopped to {HOT_END_C} °C.", end_C=HOT_END_C),
        asked("The salt is left out.", salt_pct=0.0),
    )

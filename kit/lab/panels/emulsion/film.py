"""The same fat in smaller drops has more surface: how much protein does it ask for, and how much is in solution?"""

from typing import NamedTuple

from kit import tables
from kit.chain.emulsion import EmulsionAnswer
from kit.emulsion.spread import LEAST_DRAWS
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.batch import batch_answer, batch_controls
from kit.lab.panels.emulsion.words import cautions, kilograms
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.view import row

SHOWN = (
    "trim",
    "lean_pct_of_meat",
    "trim_fat_pct",
    "collagen_pct_of_protein",
    "ice_pct_of_meat",
    "binder_pct_of_batch",
    "salt_pct_of_batch",
    "phosphate_pct",
    "drop_um",
)
STEPS = (
    "protein that can bind",
    "salt in the water",
    "phosphate at work",
    "dissolved share",
    "protein in solution",
    "surface",
    "film protein",
    "coverage margin",
)
"""keys of the steps that lead to the film"""


class Film(NamedTuple):
    """The fat's surface and the protein for it. `thinnest`, `thickest`: bounds of the film's thickness over its value."""

    answer: EmulsionAnswer
    times: float
    """how many times the protein in solution would coat the drops"""
    thinnest: float
    thickest: float


def film_panel() -> Panel:
    """Drop size against the protein in solution."""
    every = batch_controls()
    still = {spec.key: spec.value for spec in every if spec.key not in SHOWN}
    film = tables.number("emulsion_film_mg_per_m2")

    def compute(values) -> Film:
        answer = batch_answer(still | dict(values), draws=LEAST_DRAWS)
        have, asked = answer.held.dissolved_protein_g, answer.held.film_protein_g
        times = have / asked if asked else float("inf")
        return Film(answer, times, film.low / film.value, film.high / film.value)

    return Panel(
        "Finer drops, more surface",
        tuple(spec for spec in every if spec.key in SHOWN),
        compute,
        film_view,
        lambda system: {"film": charts.film_chart(system), "drops": charts.drops_chart(system)},
        {
            "Very fine": {"drop_um": 3},
            "Very fine, no salt, no milk": {
                "drop_um": 3,
                "salt_pct_of_batch": 0,
                "binder_pct_of_batch": 0,
            },
            "Coarse": {"drop_um": 50},
        },
    )


def film_view(film: Film, values, system) -> View:
    answer, held, times = film.answer, film.answer.held, film.times
    area_m2 = held.fat_area_m2 * answer.batch_kg * 10
    binds, have, asked = (
        kilograms(answer, grams, system, None)
        for grams in (held.functional_protein_g, held.dissolved_protein_g, held.film_protein_g)
    )
    thin, thick = times / film.thinnest, times / film.thickest
    sentence = (
        f"In drops of {answer.batter.drop_um:g} µm the free fat of this batch has a surface of {area_m2:,.0f} m². "
        f"In the teaching model a film on all of it asks for {asked} protein; {have} are in solution, {_times(times)}. "
        f"Nobody knows well how thick such a film is: if thick, {_times(thick)}; if thin, {_times(thin)}."
    )
    covered_share = min(times, 1.0)
    bare = covered_share < 1
    brine = f"{held.salt_mol_per_kg_water:.2f} mol/kg ({held.brine_pct:.1f} % brine)"
    protein = "meat protein without collagen, and the protein of binders"
    covered = f"{'✗ ' if bare else ''}{100 * covered_share:.0f} %"
    rows = (
        row("salt in the water", brine, ""),
        row(protein, f"{held.functional_protein_g:.2f} g", binds),
        row("of that, in solution", f"{held.dissolved_protein_g:.2f} g", have),
        row("surface of the free fat", f"{held.fat_area_m2:.2f} m²", f"{area_m2:,.0f} m²"),
        row("protein for a film on it", f"{held.film_protein_g:.2f} g", asked),
        row(
            "share of the surface that can be coated",
            covered,
            "",
            mark="fails" if bare else "strong",
        ),
    )
    columns = ("what", "value", "in this batch")
    notes = (
        "Films are one picture of why fat stays; fat caught in the gel is another. Published work has not settled which rules.",
        "The film's thickness is borrowed from a dairy model and taken thicker; the yellow field is that uncertainty.",
    )
    from_sheet = answer.described.working
    of_film = tuple(one for one in held.working if one.key in STEPS)
    return View(
        sentence,
        {"film": charts.film_data(film), "drops": charts.drops_data(film)},
        tables=(Table("From salt to surface, in 100 g batter", columns, rows),),
        notes=(*notes, *answer.described.notes),
        steps=(*from_sheet, *of_film),
        sources=answer.sources,
        cautions=cautions(),
    )


def _times(times: float) -> str:
    if times == float("inf"):
        return "more than any fat could ask"
    if times >= 1:
        return f"{times:.1f} times enough" if times < 10 else f"{times:.0f} times enough"
    return f"enough for {100 * times:.0f} % of it" if times >= 0.01 else "next to nothing"

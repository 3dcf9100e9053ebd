"""The same fat in smaller drops has more surface: how much protein does it ask for, and how much is in solution?"""

from dataclasses import dataclass

from kit import tables, units
from kit.chain.emulsion import Holds
from kit.emulsion import Batter, Held
from kit.emulsion.spread import LEAST_DRAWS
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.batch import batch_controls, batch_holds
from kit.lab.panels.emulsion.words import assumed_notes, cautions
from kit.lab.panels.panel import Panel, Row, Table, View

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


@dataclass(frozen=True)
class Film:
    """The fat's surface and the protein for it. `thinnest_share`, `thickest_share`: bounds of the film's thickness over its value."""

    holds: Holds
    thinnest_share: float
    thickest_share: float

    @property
    def held(self) -> Held:
        return self.holds.held

    @property
    def batter(self) -> Batter:
        return self.holds.batter

    @property
    def times_over(self) -> float:
        """How many times the protein in solution would coat the drops."""
        return (
            self.held.dissolved_protein_g / self.held.film_protein_g
            if self.held.film_protein_g
            else float("inf")
        )

    @property
    def covered_share(self) -> float:
        return min(self.times_over, 1.0)

    @property
    def free_fat_share(self) -> float:
        """Volume of the fat that left its cells in a volume of batter, the batter taken as 1 kg/L."""
        p = self.held.parameters
        return (1 - p.intact_cell_share) * self.batter.fat_pct / 100 / p.fat_density_kg_per_L


def film_panel() -> Panel:
    """Drop size against the protein in solution."""
    every = batch_controls()
    still = {spec.key: spec.value for spec in every if spec.key not in SHOWN}
    row = tables.number("emulsion_film_mg_per_m2")

    def compute(values) -> Film:
        return Film(
            batch_holds(still | dict(values), draws=LEAST_DRAWS),
            row.low / row.value,
            row.high / row.value,
        )

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
    held, kg = film.held, film.holds.kg
    area_m2 = held.fat_area_m2 * film.holds.batch_kg * 10
    have, asked = (
        units.show(kg(g), "kg", system) for g in (held.dissolved_protein_g, held.film_protein_g)
    )
    thin, thick = (film.times_over / share for share in (film.thinnest_share, film.thickest_share))
    sentence = (
        f"In drops of {film.batter.drop_um:g} µm the free fat of this batch has a surface of {area_m2:,.0f} m². "
        f"In the teaching model a film on all of it asks for {asked} protein; {have} are in solution, {_times(film.times_over)}. "
        f"Nobody knows well how thick such a film is: if thick, {_times(thick)}; if thin, {_times(thin)}."
    )
    table = Table(
        "From salt to surface, in 100 g batter",
        ("what", "value", "in this batch"),
        (
            Row(
                (
                    "salt in the water",
                    f"{held.salt_mol_per_kg_water:.2f} mol/kg ({held.brine_pct:.1f} % brine)",
                    "",
                )
            ),
            Row(
                (
                    "meat protein without collagen, and the protein of binders",
                    f"{held.functional_protein_g:.2f} g",
                    units.show(kg(held.functional_protein_g), "kg", system),
                )
            ),
            Row(("of that, in solution", f"{held.dissolved_protein_g:.2f} g", have)),
            Row(("surface of the free fat", f"{held.fat_area_m2:.2f} m²", f"{area_m2:,.0f} m²")),
            Row(("protein for a film on it", f"{held.film_protein_g:.2f} g", asked)),
            Row(
                (
                    "share of the surface that can be coated",
                    f"{'✗ ' if film.covered_share < 1 else ''}{100 * film.covered_share:.0f} %",
                    "",
                ),
                "fails" if film.covered_share < 1 else "strong",
            ),
        ),
    )
    notes = (
        "Films are one picture of why fat stays; fat caught in the gel is another. Print has not settled which rules.",
        "The film's thickness is borrowed from a dairy model and taken thicker; the yellow field is that doubt.",
        *assumed_notes(film.holds),
    )
    steps = tuple(
        s
        for s in film.holds.working
        if any(
            word in s.what
            for word in ("salt", "protein", "surface", "coverage", "fat in", "phosphate")
        )
    )
    return View(
        sentence,
        {"film": charts.film_data(film), "drops": charts.drops_data(film)},
        {"film": charts.film_text(film), "drops": charts.drops_text(film)},
        (table,),
        notes,
        steps,
        film.holds.sources,
        cautions(),
    )


def _times(times: float) -> str:
    if times == float("inf"):
        return "more than any fat could ask"
    if times >= 1:
        return f"{times:.1f} times enough" if times < 10 else f"{times:.0f} times enough"
    return f"enough for {100 * times:.0f} % of it" if times >= 0.01 else "next to nothing"

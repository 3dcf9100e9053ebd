"""The same cure chopped in, pumped in, or left to soak in: what is under the line?"""

from kit import units
from kit.chain.cure import CAUTIONS
from kit.cure.addition_methods import AdditionMethods, addition_methods
from kit.cure.premix import premix
from kit.lab.charts import cure_methods as charts
from kit.lab.panels.cure import pieces
from kit.lab.panels.cure.pieces import ppm
from kit.lab.panels.panel import Panel, Row, Slider, Table, View


def addition_methods_panel() -> Panel:
    """One weight of cure, three methods of bringing it into the meat."""
    controls = (
        Slider("meat_kg", "Meat, green", "kg", 5, 200, 1, 50, "Meat block"),
        pieces.MIX,
        pieces.RATE,
        Slider("pickle_pct_of_meat", "Pickle made up, % of meat", "", 30, 150, 1, 50, "Process"),
        Slider("pump_pct", "Pickle pumped in, % of meat", "", 5, 30, 1, 10, "Process"),
    )

    def compute(values) -> AdditionMethods:
        meat = values["meat_kg"]
        cure, pickle = (
            meat * values["rate_g_per_kg"] / 1000,
            meat * values["pickle_pct_of_meat"] / 100,
        )
        return addition_methods(premix(values["mix"]), cure, meat, pickle, values["pump_pct"])

    presets = {
        "All the pickle is pumped": {"pickle_pct_of_meat": 30, "pump_pct": 30},
        "The pickle's rate, chopped in": {"rate_g_per_kg": 12},
    }
    return Panel(
        "Three ways to cure",
        controls,
        compute,
        addition_methods_view,
        lambda system: {"methods": charts.methods_chart(system)},
        presets,
    )


def addition_methods_view(found: AdditionMethods, values, system) -> View:
    chopped, pumped, soaked = found.methods
    cure = units.show(values["meat_kg"] * values["rate_g_per_kg"], "g", system)
    pickle = units.show(found.pumped_kg, "kg", system, 1)
    over = [one for one in found.methods if one.ppm > one.limit.limit * 1.001]
    verdict = "A sausage is chopped: all of its cure stays, so no other way's rate is right for it."
    if over:
        names = " and ".join(one.name for one in over).capitalize()
        verdict = f"✗ {names}, that is above the figure for it: do not weigh it."
    sentence = (
        f"The same {cure} of cure is {ppm(chopped.ppm)} ppm chopped in, {ppm(pumped.ppm)} when {pickle} of its pickle are pumped, and "
        f"{ppm(soaked.ppm)} soaked to the end, per kg of meat and pickle. {verdict}"
    )
    table = Table(
        "What is under the line",
        ("way", "formula", "base", "ppm", "US figure for that way", "formula from"),
        tuple(
            Row(
                (
                    one.name,
                    one.formula,
                    f"{one.base}, {units.show(one.base_kg, 'kg', system, 1)}",
                    f"{'✗ ' if one in over else ''}{one.ppm:.1f}",
                    f"at most {one.limit.limit:g}",
                    one.source,
                ),
                "fails" if one in over else "strong" if one is chopped else "",
            )
            for one in found.methods
        ),
    )
    return View(
        sentence,
        {"methods": charts.methods_data(found, system)},
        tables=(table,),
        notes=(*found.notes, *(one.limit.note for one in found.methods if one.limit.note)),
        steps=found.working,
        sources=found.sources,
        cautions=CAUTIONS,
    )

"""The same cure chopped in, pumped in, or left to soak in: what is under the line?"""

from kit import units
from kit.chain.cure import CAUTIONS
from kit.cure import Ways, premix, three_ways
from kit.lab.charts import cure_ways as charts
from kit.lab.panels.cure.pieces import MIXES, USUAL, ppm
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View


def ways_panel() -> Panel:
    """One weight of cure, three ways into the meat."""
    controls = (
        Slider("meat_kg", "Meat, green", "kg", 5, 200, 1, 50, "Meat block"),
        Choice("mix", "Premix in the bag", MIXES, USUAL, "Cure"),
        Slider("rate_g_per_kg", "Premix per weight of meat", "g/kg", 0.5, 50, 0.1, 2.4, "Cure"),
        Slider("pickle_pct_of_meat", "Pickle made up, % of meat", "", 30, 150, 1, 50, "Process"),
        Slider("pump_pct", "Pickle pumped in, % of meat", "", 5, 30, 1, 10, "Process"),
    )

    def compute(values) -> Ways:
        meat = values["meat_kg"]
        return three_ways(
            premix(values["mix"]),
            meat * values["rate_g_per_kg"] / 1000,
            meat,
            meat * values["pickle_pct_of_meat"] / 100,
            values["pump_pct"],
        )

    presets = {
        "All the pickle is pumped": {"pickle_pct_of_meat": 30, "pump_pct": 30},
        "The pickle's rate, chopped in": {"rate_g_per_kg": 12},
    }
    return Panel(
        "Three ways to cure",
        controls,
        compute,
        ways_view,
        lambda system: {"ways": charts.ways_chart(system)},
        presets,
    )


def ways_view(found: Ways, values, system) -> View:
    chopped, pumped, soaked = found.ways
    cure = units.show(values["meat_kg"] * values["rate_g_per_kg"], "g", system)
    over = [way for way in found.ways if way.limit and way.ppm > way.limit.limit * 1.001]
    sentence = (
        f"The same {cure} of cure is {ppm(chopped.ppm)} ppm chopped in, {ppm(pumped.ppm)} when {units.show(found.pumped_kg, 'kg', system, 1)} of its pickle are pumped, and "
        f"{ppm(soaked.ppm)} soaked to the end, per kg of meat and pickle. "
        + (
            f"✗ {' and '.join(way.name for way in over).capitalize()}, that is above the figure for it: do not weigh it."
            if over
            else "A sausage is chopped: all of its cure stays, so no other way's rate is right for it."
        )
    )
    table = Table(
        "What is under the line",
        ("way", "formula", "base", "ppm", "US figure for that way", "formula from"),
        tuple(
            Row(
                (
                    way.name,
                    way.formula,
                    f"{way.base}, {units.show(way.base_kg, 'kg', system, 1)}",
                    f"{'✗ ' if way in over else ''}{way.ppm:.1f}",
                    f"at most {way.limit.limit:g}" if way.limit else "",
                    way.source,
                ),
                "fails" if way in over else "strong" if way is chopped else "",
            )
            for way in found.ways
        ),
    )
    return View(
        sentence,
        {"ways": charts.ways_data(found, system)},
        {"ways": charts.ways_text(found)},
        (table,),
        (*found.notes, *(way.limit.note for way in found.ways if way.limit and way.limit.note)),
        found.working,
        found.sources,
        CAUTIONS,
    )

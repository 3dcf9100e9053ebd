"""What each stage loses over time, and where to look first."""

import numpy as np

from kit import units
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import marks, recipe_starts, report_tables, view
from kit.lab.panels.panel import Panel, Slider, Switch, View
from kit.reading.plant import Analysed, demo_analysis


def look_panel() -> Panel:
    """The invented records: losses over time and the findings, with and without what the chain expects of each recipe."""
    controls = (
        Switch("recipe", "Judge beside what the recipe lets expect", True, "What is shown"),
        Slider("over", "Batches averaged in the picture", "", 1, 30, 1, 8, "What is shown"),
    )
    return Panel(
        "Where do the kilos go, and where to look first?",
        controls,
        lambda values: demo_analysis(values["recipe"]),
        look_view,
        lambda system: {"share": charts.share_chart(system)},
        {
            "Take the recipe for the process": {"recipe": False},
            "Every batch by itself": {"over": 1},
        },
    )


def look_view(answer: Analysed, values, system) -> View:
    analysis, weighed = answer.analysis, answer.table
    recipes = None if values["recipe"] else recipe_starts(demo_analysis(True).analysis)
    tables = report_tables(analysis, system, recipes)
    lost = units.show(float(np.nansum(weighed.lost_kg)), "kg", system, 0)
    share = float(np.nansum(weighed.loss_share_pct, axis=1).mean())
    sentence = f"{weighed.span}: {lost} lost, {share:.1f} % of what went in. Look here first: {analysis.findings.verdict}"
    if any(row.mark for row in tables[0].rows):
        sentence += " But that is where the recipe changed."
    return view(
        sentence,
        {"share": charts.share_data(weighed, int(values["over"]), marks(analysis))},
        {"share": charts.share_text(weighed)},
        tables,
        (answer,),
    )

"""How far is this batter from each limit of the model, and what is the cook-out?"""

from dataclasses import replace

from kit.chain.emulsion import EmulsionAnswer
from kit.lab.charts import emulsion as charts
from kit.lab.charts import section
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    HOT_END_C,
    batch_answer,
    batch_controls,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import (
    before_after_table,
    cautions,
    cook_out_words,
    margins_table,
    margins_words,
    plain_notes,
    section_of_held,
)
from kit.lab.panels.panel import Panel, View


def margins_panel(**start) -> Panel:
    """Margins, the smallest of them, and cook-out with its uncertainty."""
    return Panel(
        "Emulsion margins and cook-out",
        (*batch_controls(**start), saved_control()),
        batch_answer,
        margins_view,
        lambda system: {
            "margins": charts.margins_chart(system),
            "section": section.one_section_chart(system),
            "cook-out": charts.cook_out_chart(system),
        },
        BREAKS | {"Chopped too warm, beef fat": {"end_C": HOT_END_C, "fat_kind": "beef"}},
    )


def margins_view(answer: EmulsionAnswer, values, system) -> View:
    pictured, said = section_of_held(answer.held)
    own, tables = calibration_of(values["calibration"]), ()
    if own:
        before = batch_answer({**values, "calibration": None})
        tables = (
            before_after_table(f"This batch, calibration {own.name!r}", before, answer, system),
        )
    return View(
        f"{cook_out_words(answer, system)} {margins_words(answer)}",
        {
            "margins": charts.margins_data(answer),
            **pictured,
            "cook-out": charts.cook_out_data(answer),
        },
        said,
        tables=(*tables, replace(margins_table(answer, system), folded=True)),
        notes=plain_notes(answer.notes),
        steps=answer.working,
        sources=answer.sources,
        cautions=cautions(),
    )

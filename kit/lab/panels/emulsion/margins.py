"""How far is this batter from each limit of the model, and what is the cook-out?"""

from dataclasses import replace
from functools import partial

from kit import units
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
from kit.lab.panels.sheets import STOP, stopped_C

STARTS_AT_STOP = (
    f"The final chopping temperature starts at your stop in lesson 03, kept in my_batches/{STOP}; without that file it "
    "starts where the lesson does."
)


def margins_panel(**start) -> Panel:
    """Margins, the smallest of them, and cook-out with its uncertainty; it starts at the stop of lesson 03, where one was made."""
    return Panel(
        "Emulsion margins and cook-out",
        (*batch_controls(**start), saved_control()),
        batch_answer,
        partial(margins_view, stop_C=stopped_C()),
        {
            "margins": charts.margins_chart,
            "section": section.section_chart,
            "cook-out": charts.cook_out_chart,
        },
        BREAKS | {"Chopped too warm, beef fat": {"end_C": HOT_END_C, "fat_kind": "beef"}},
    )


def margins_view(answer: EmulsionAnswer, values, system, *, stop_C: float | None = None) -> View:
    pictured, said = section_of_held(answer.held)
    own, tables = calibration_of(values["calibration"]), ()
    if own:
        before = batch_answer({**values, "calibration": None})
        tables = (
            before_after_table(f"This batch, calibration {own.name!r}", before, answer, system),
        )
    sentence, notes = f"{cook_out_words(answer, system)} {margins_words(answer)}", ()
    if stop_C is not None:
        notes = (STARTS_AT_STOP,)
        if abs(values["end_C"] - stop_C) < 0.05:
            at = units.show(stop_C, "°C", system)
            sentence = f"You stopped chopping at {at} in lesson 03. {margins_words(answer)} {cook_out_words(answer, system)}"
    return View(
        sentence,
        {
            "margins": charts.margins_data(answer),
            **pictured,
            "cook-out": charts.cook_out_data(answer),
        },
        said,
        tables=(*tables, replace(margins_table(answer, system), folded=True)),
        notes=(*notes, *plain_notes(answer.notes)),
        steps=answer.working,
        sources=answer.sources,
        cautions=cautions(),
    )

"""How far is this batter from each edge, and what leaves in the cook?"""

from kit.chain.emulsion import Holds
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    HOT_END_C,
    batch_controls,
    batch_holds,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import (
    before_after_table,
    cautions,
    leaves_table,
    leaves_words,
    margins_table,
    margins_words,
    plain_notes,
)
from kit.lab.panels.panel import Panel, View


def margins_panel(**start) -> Panel:
    """Margins, what fails first, and what leaves with its doubt."""
    return Panel(
        "Does it hold?",
        (*batch_controls(**start), saved_control()),
        batch_holds,
        margins_view,
        lambda system: {
            "margins": charts.margins_chart(system),
            "leaves": charts.leaves_chart(system),
        },
        BREAKS | {"Hot end, beef fat": {"end_C": HOT_END_C, "fat_kind": "beef"}},
    )


def margins_view(holds: Holds, values, system) -> View:
    own = calibration_of(values["calibration"])
    beside = (
        (
            before_after_table(
                f"This batch by {own.name!r}",
                batch_holds({**values, "calibration": None}),
                holds,
                system,
            ),
        )
        if own
        else ()
    )
    return View(
        f"{leaves_words(holds, system)} {margins_words(holds)}",
        {"margins": charts.margins_data(holds), "leaves": charts.leaves_data(holds)},
        {"margins": charts.margins_text(holds), "leaves": charts.leaves_text(holds)},
        (*beside, margins_table(holds, system), leaves_table(holds, system)),
        plain_notes(holds.notes),
        holds.working,
        holds.sources,
        cautions(),
    )

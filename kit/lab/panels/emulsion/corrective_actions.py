"""Which single change would restore a limit, and which cannot?"""

from typing import NamedTuple

from kit import units
from kit.chain.chop import bowl_of
from kit.chain.corrective_actions import corrective_actions_in
from kit.chain.emulsion import EmulsionAnswer
from kit.emulsion.corrective_actions import CorrectiveAction, CorrectiveActions, OutOfReach
from kit.emulsion.model import LIMITS
from kit.emulsion.spread import LEAST_DRAWS
from kit.lab.charts import emulsion as charts
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.lessons.emulsion import start_sheet
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    batch_answer,
    batch_controls,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import cautions, kilograms, limits_in_words, plain_notes
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.lab.panels.view import row

WEAKEST = "the one that fails first"
COLUMNS = (
    "change",
    "unit steps",
    "final chopping temperature",
    "margin after",
    "smallest margin after",
    "cook-out after",
)
STEPS_ARE = (
    "One unit step is what a person would call one: 1 °C, 1 % fat, 0.1 % salt, 1 g ice on 100 g; a choice of ours. The first are those of fewest unit steps; "
    "no price is in them."
)


class Corrected(NamedTuple):
    answer: EmulsionAnswer
    found: CorrectiveActions


def corrective_actions_panel() -> Panel:
    """The smallest changes that bring a limit to the margin wanted. Starts from a batch that was chopped fat and with much ice."""

    def compute(values) -> Corrected:
        answer, bowl = batch_answer(values, draws=LEAST_DRAWS), bowl_of(start_sheet(values))
        limit = None if values["limit"] == WEAKEST else values["limit"]
        own = calibration_of(values["calibration"])
        found = corrective_actions_in(bowl, answer.batter, values["wanted"], limit, own)
        return Corrected(answer, found)

    limits = ((WEAKEST, WEAKEST), *((LIMIT_WORDS[name], name) for name in LIMITS))
    choice = (
        Choice("limit", "Limit to restore", limits, WEAKEST, "What is wanted"),
        Slider("wanted", "Margin wanted", "", 0, 1.5, 0.1, 0.0, "What is wanted"),
    )
    start = {"lean_pct_of_meat": 26, "trim_fat_pct": 50, "ice_pct_of_meat": 60}
    return Panel(
        "Corrective actions",
        (*batch_controls(**start), *choice, saved_control()),
        compute,
        corrected_view,
        lambda system: {"changes": charts.actions_chart(system)},
        BREAKS,
    )


def in_words(action: CorrectiveAction, system: str) -> str:
    """The change with its amounts in the chosen units."""
    if action.unit == "g per 100 g":
        mass = units.shown_unit("kg", system)
        return f"{action.change}: {abs(action.after):.1f} {mass} on 100 {mass}"
    places = 2 if action.unit_step < 1 else 1
    before, after = (
        units.show(x, "°C", system) if action.unit == "°C" else f"{x:.{places}f}"
        for x in (action.before, action.after)
    )
    unit = "" if action.unit == "°C" else f" {action.unit}"
    return f"{action.change}: {before} to {after}{unit}"


def corrected_view(corrected: Corrected, values, system) -> View:
    found, answer = corrected.found, corrected.answer
    caption = "Single changes that restore it and push no other limit below what is wanted"
    columns = ("factor", "highest margin it reaches", "at")
    tables = (
        Table(
            caption,
            COLUMNS,
            tuple(_change(n, corrected, system) for n in range(len(found.actions))),
        ),
        Table(
            "Factors that do not restore it by themselves",
            columns,
            tuple(_beyond(o, found, system) for o in found.out_of_reach),
        ),
    )
    changes = charts.actions_data(found.actions, [in_words(a, system) for a in found.actions])
    return View(
        _sentence(corrected, system),
        {"changes": changes} if found.actions else {},
        tables=tuple(table for table in tables if table.rows),
        notes=(*plain_notes(found.notes), STEPS_ARE),
        steps=(*found.working, *answer.working),
        sources=(*found.sources, *answer.sources),
        cautions=cautions(),
    )


def _sentence(corrected: Corrected, system: str) -> str:
    found, answer, model = corrected.found, corrected.answer, "in this teaching model"
    out = kilograms(answer, found.total_out_g, system)
    batch = units.show(answer.batch_kg, "kg", system, 1)
    margin, wanted = signed(found.margin), signed(found.wanted, 1)
    now = f"The margin of {LIMIT_WORDS[found.limit]} is {margin}, {wanted} is wanted; the cook-out is {out} of {batch}"
    if found.actions:
        said = f"{now}. The smallest single change {model}: {in_words(found.actions[0], system)}."
        if not found.others_below:
            return said
        others = limits_in_words(found.others_below)
        return f"{said} That does not restore {others}, also below what is wanted."
    if not found.short_by:
        return f"{now}: nothing to restore {model}. Press a break, or ask for a larger margin."
    return f"{now}. No single change within its bounds restores it {model}; change two things."


def _change(n: int, corrected: Corrected, system: str) -> Row:
    action = corrected.found.actions[n]
    margins = action.margins_after
    first = min(margins, key=margins.__getitem__)
    return row(
        in_words(action, system),
        f"{action.steps:.1f}",
        units.show(action.batter.end_C, "°C", system),
        signed(margins[corrected.found.limit]),
        f"{LIMIT_WORDS[first]} {signed(margins[first])}",
        kilograms(corrected.answer, action.total_out_after_g, system),
        mark="strong" if n < charts.SMALLEST else "",
    )


def _beyond(o: OutOfReach, found: CorrectiveActions, system: str) -> Row:
    if abs(o.best - found.margin) < 0.005:
        return row(o.label, f"{signed(o.best)}, as now", "no value helps")
    at = f"{o.at:.2f} {o.unit}".replace("-", "−")
    if o.unit == "°C":
        at = units.show(o.at, "°C", system)
    pushes = "; but it pushes another limit down" if o.best >= found.wanted else ""
    return row(o.label, signed(o.best), at + pushes)

"""Which single change would restore a margin, and which cannot?"""

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
from kit.lab.panels.controls import controls_of
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    batch_answer,
    batch_controls,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import cautions, kilograms, limits_in_words, plain_notes
from kit.lab.panels.panel import Panel, Row, Table, View, row

WEAKEST = "the smallest margin"
COLUMNS = (
    "corrective action",
    "size (unit steps)",
    "final chopping temperature",
    "margin after",
    "smallest margin after",
    "cook-out after",
)
STEPS_ARE = (
    "A unit step is our choice for comparing changes: 1 K, 1 % fat, 0.1 % salt, 1 g ice on 100 g. The list begins with the fewest unit steps; "
    "cost is not considered."
)


def corrective_actions_panel() -> Panel:
    """The smallest changes that bring a margin to its target. Starts from a batch that was chopped fat and with much ice."""

    def compute(values) -> tuple[EmulsionAnswer, CorrectiveActions]:
        answer, bowl = batch_answer(values, draws=LEAST_DRAWS), bowl_of(start_sheet(values))
        limit = None if values["limit"] == WEAKEST else values["limit"]
        own = calibration_of(values["calibration"])
        return answer, corrective_actions_in(bowl, answer.batter, values["wanted"], limit, own)

    limits = ((WEAKEST, WEAKEST), *((LIMIT_WORDS[name], name) for name in LIMITS))
    choice = controls_of("corrective actions", options={"limit": limits})
    start = {"lean_pct_of_meat": 22, "trim_fat_pct": 50, "ice_pct_of_meat": 60}
    return Panel(
        "Corrective actions",
        (*batch_controls(**start), *choice, saved_control()),
        compute,
        corrected_view,
        {"changes": charts.actions_chart},
        BREAKS,
    )


def in_words(action: CorrectiveAction, system: str) -> str:
    """The change with its amounts in the chosen units."""
    unit = action.factor.unit
    if unit == "g per 100 g":
        mass = units.shown_unit("kg", system)
        return f"{action.change}: {abs(action.after):.1f} {mass} on 100 {mass}"
    places = 2 if action.factor.unit_step < 1 else 1
    before, after = (
        units.show(x, "°C", system) if unit == "°C" else f"{x:.{places}f}"
        for x in (action.before, action.after)
    )
    return f"{action.change}: {before} to {after}{'' if unit == '°C' else f' {unit}'}"


def corrected_view(result: tuple[EmulsionAnswer, CorrectiveActions], values, system) -> View:
    answer, found = result
    caption = "Single changes that restore the margin and keep the others at target"
    columns = ("factor", "highest margin reached", "at")
    tables = (
        Table(
            caption,
            COLUMNS,
            tuple(
                _change(n, action, found.limit, answer, system)
                for n, action in enumerate(found.actions)
            ),
            folded=True,
        ),
        Table(
            "Factors that cannot restore it alone",
            columns,
            tuple(_beyond(o, found, system) for o in found.out_of_reach),
            folded=True,
        ),
    )
    changes = charts.actions_data(found.actions, [in_words(a, system) for a in found.actions])
    return View(
        _sentence(answer, found, system),
        {"changes": changes} if found.actions else {},
        tables=tuple(table for table in tables if table.rows),
        notes=(*plain_notes(found.notes), STEPS_ARE),
        steps=(*found.working, *answer.working),
        sources=(*found.sources, *answer.sources),
        cautions=cautions(),
    )


def _sentence(answer: EmulsionAnswer, found: CorrectiveActions, system: str) -> str:
    model = "in the teaching model"
    out = kilograms(answer, found.total_out_g, system)
    batch = units.show(answer.batch_kg, "kg", system, 1)
    margin, wanted = signed(found.margin), signed(found.wanted, 1)
    now = f"Margin, {LIMIT_WORDS[found.limit]}: {margin}, target {wanted}; predicted cook-out {out} of {batch}"
    if found.actions:
        said = f"{now}. Smallest single corrective action {model}: {in_words(found.actions[0], system)}."
        if not found.others_below:
            return said
        others = limits_in_words(found.others_below)
        return f"{said} It does not restore {others}, also below target."
    if not found.short_by:
        return f"{now}: no corrective action needed {model}. Choose one of the preset failures, or raise the target margin."
    return f"{now}. No single change within its range restores it {model}; change two factors."


def _change(n: int, action: CorrectiveAction, limit: str, answer: EmulsionAnswer, system) -> Row:
    margins = action.state.margins
    first = min(margins, key=margins.__getitem__)
    return row(
        in_words(action, system),
        f"{action.steps:.1f}",
        units.show(action.batter.end_C, "°C", system),
        signed(margins[limit]),
        f"{LIMIT_WORDS[first]} {signed(margins[first])}",
        kilograms(answer, action.state.total_out_g, system),
        mark="strong" if n < charts.SMALLEST else "",
    )


def _beyond(o: OutOfReach, found: CorrectiveActions, system: str) -> Row:
    if abs(o.best - found.margin) < 0.005:
        return row(o.factor.label, f"{signed(o.best)}, as now", "no value improves it")
    at = f"{o.at:.2f} {o.factor.unit}".replace("-", "−")
    if o.factor.unit == "°C":
        at = units.show(o.at, "°C", system)
    pushes = "; but another margin falls below target" if o.best >= found.wanted else ""
    return row(o.factor.label, signed(o.best), at + pushes)

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
from kit.lab.panels.view import listing

WEAKEST = "the smallest margin"
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
    smallest = found.actions[: charts.SMALLEST]

    def least(action: CorrectiveAction) -> str:
        margins = action.state.margins
        first = min(margins, key=margins.__getitem__)
        return f"{LIMIT_WORDS[first]} {signed(margins[first])}"

    restoring = listing(
        "Single changes that restore the margin and keep the others at target",
        {
            "corrective action": lambda one: in_words(one, system),
            "size (unit steps)": lambda one: f"{one.steps:.1f}",
            "final chopping temperature": lambda one: units.show(one.batter.end_C, "°C", system),
            "margin after": lambda one: signed(one.state.margins[found.limit]),
            "smallest margin after": least,
            "cook-out after": lambda one: kilograms(answer, one.state.total_out_g, system),
        },
        found.actions,
        folded=True,
        mark=lambda one: "strong" if any(one is each for each in smallest) else "",
    )
    beyond = Table(
        "Factors that cannot restore it alone",
        ("factor", "highest margin reached", "at"),
        (_beyond(one, found, system) for one in found.out_of_reach),
        folded=True,
    )
    changes = charts.actions_data(found.actions, [in_words(a, system) for a in found.actions])
    return View(
        _sentence(answer, found, system),
        {"changes": changes} if found.actions else {},
        tables=tuple(table for table in (restoring, beyond) if table.rows),
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


def _beyond(o: OutOfReach, found: CorrectiveActions, system: str) -> Row:
    if abs(o.best - found.margin) < 0.005:
        return row(o.factor.label, f"{signed(o.best)}, as now", "no value improves it")
    at = f"{o.at:.2f} {o.factor.unit}".replace("-", "−")
    if o.factor.unit == "°C":
        at = units.show(o.at, "°C", system)
    pushes = "; but another margin falls below target" if o.best >= found.wanted else ""
    return row(o.factor.label, signed(o.best), at + pushes)

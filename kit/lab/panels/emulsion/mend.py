"""Which single change would lift a limit, and which cannot?"""

from dataclasses import dataclass

from kit import units
from kit.chain.chop import bowl_of
from kit.chain.corrective_actions import corrective_actions
from kit.chain.emulsion import EmulsionAnswer
from kit.emulsion.model import LIMITS
from kit.emulsion.remedies import OutOfReach, Remedies, Remedy
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
    "plain steps",
    "chopping then ends at",
    "margin after",
    "first to go after",
    "leaves after",
)


@dataclass(frozen=True)
class Mended:
    answer: EmulsionAnswer
    remedies: Remedies


def mend_panel() -> Panel:
    """The smallest changes that lift a limit to the margin wanted. Starts from a batch that was chopped fat and with much ice."""

    def compute(values) -> Mended:
        answer, bowl = batch_answer(values, draws=LEAST_DRAWS), bowl_of(start_sheet(values))
        limit = None if values["limit"] == WEAKEST else values["limit"]
        own = calibration_of(values["calibration"])
        found = corrective_actions(bowl, answer.batter, values["wanted"], limit, own)
        return Mended(answer, found)

    limits = ((WEAKEST, WEAKEST), *((LIMIT_WORDS[name], name) for name in LIMITS))
    choice = (
        Choice("limit", "Lift which limit?", limits, WEAKEST, "What is wanted"),
        Slider("wanted", "Margin wanted", "", 0, 1.5, 0.1, 0.0, "What is wanted"),
    )
    start = {"lean_pct_of_meat": 26, "trim_fat_pct": 50, "ice_pct_of_meat": 60}
    return Panel(
        "What would lift it?",
        (*batch_controls(**start), *choice, saved_control()),
        compute,
        mend_view,
        lambda system: {"changes": charts.remedies_chart(system)},
        BREAKS,
    )


def in_words(remedy: Remedy, system: str) -> str:
    """The change with its amounts in the chosen units."""
    words, unit = remedy.change, remedy.unit
    if unit == "°C":
        return f"{words}: {units.show(remedy.before, '°C', system)} to {units.show(remedy.after, '°C', system)}"
    if unit == "g per 100 g":
        mass = units.shown_unit("kg", system)
        return f"{words}: {abs(remedy.after):.1f} {mass} on 100 {mass}"
    places = 2 if remedy.plain_step < 1 else 1
    return f"{words}: {remedy.before:.{places}f} to {remedy.after:.{places}f} {unit}"


def mend_view(mended: Mended, values, system) -> View:
    found, answer = mended.remedies, mended.answer
    tables = []
    if found.all:
        caption = "Single changes that lift it and push no other limit below what is wanted"
        rows = tuple(_change(r, mended, system) for r in found.all)
        tables.append(Table(caption, COLUMNS, rows))
    if found.out_of_reach:
        columns = ("lever", "highest margin it reaches", "at")
        rows = tuple(_beyond(o, found, system) for o in found.out_of_reach)
        tables.append(Table("Levers that do not get there by themselves", columns, rows))
    steps_are = "One plain step is what a person would call one: 1 °C, 1 % fat, 0.1 % salt, 1 g ice on 100 g; a choice of ours. The cheapest are those of fewest plain steps; no price is in them."
    return View(
        _sentence(mended, system),
        {"changes": charts.remedies_data(found, system, in_words)} if found.all else {},
        tables=tuple(tables),
        notes=(*plain_notes(found.notes), steps_are),
        steps=(*found.working, *answer.working),
        sources=(*found.sources, *answer.sources),
        cautions=cautions(),
    )


def _sentence(mended: Mended, system: str) -> str:
    found, answer, model = mended.remedies, mended.answer, "in this teaching model"
    margin, wanted = signed(found.margin), signed(found.wanted, 1)
    leave = kilograms(answer, found.total_out_g, system)
    batch = units.show(answer.batch_kg, "kg", system, 1)
    stands = f"The margin of {LIMIT_WORDS[found.limit]} is {margin}, {wanted} is wanted"
    leaves = f"{leave} of {batch} leave"
    if found.all:
        best = in_words(found.all[0], system)
        said = f"{stands}; {leaves}. The smallest single change {model}: {best}."
        if not found.others_below:
            return said
        others = limits_in_words(found.others_below)
        return f"{said} That does not mend {others}, also below what is wanted."
    if not found.short_by:
        return f"{stands}: nothing to lift {model}; {leaves}. Press a break, or want more."
    return f"{stands}; {leaves}. No single change within its bounds gets there {model}; change two things."


def _change(r: Remedy, mended: Mended, system: str) -> Row:
    margins = r.margins_after
    first = min(margins, key=margins.__getitem__)
    return row(
        in_words(r, system),
        f"{r.steps:.1f}",
        units.show(r.batter.end_C, "°C", system),
        signed(margins[mended.remedies.limit]),
        f"{LIMIT_WORDS[first]} {signed(margins[first])}",
        kilograms(mended.answer, r.total_out_after_g, system),
        mark="strong" if r in mended.remedies.cheapest else "",
    )


def _beyond(o: OutOfReach, found: Remedies, system: str) -> Row:
    if abs(o.best - found.margin) < 0.005:
        return row(o.label, f"{signed(o.best)}, as now", "no value helps")
    at = f"{o.at:.2f} {o.unit}".replace("-", "−")
    if o.unit == "°C":
        at = units.show(o.at, "°C", system)
    pushes = "; but it pushes another limit down" if o.best >= found.wanted else ""
    return row(o.label, signed(o.best), at + pushes)

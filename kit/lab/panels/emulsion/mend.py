"""Which single change would lift a limit, and which cannot?"""

from dataclasses import dataclass

from kit import units
from kit.chain.chop import bowl_of
from kit.chain.emulsion import Holds
from kit.chain.mend import mended
from kit.emulsion import LIMITS, OutOfReach, Remedies, Remedy
from kit.emulsion.spread import LEAST_DRAWS
from kit.lab.charts import emulsion as charts
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.lessons.emulsion import start_sheet
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    batch_controls,
    batch_holds,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import cautions, limits_in_words, plain_notes
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View

WEAKEST = "the one that fails first"


@dataclass(frozen=True)
class Mended:
    holds: Holds
    remedies: Remedies


def mend_panel() -> Panel:
    """The smallest changes that lift a limit to the margin wanted. Starts from a batch that was chopped fat and with much ice."""

    def compute(values) -> Mended:
        holds = batch_holds(values, draws=LEAST_DRAWS)
        limit = None if values["limit"] == WEAKEST else values["limit"]
        return Mended(
            holds,
            mended(
                bowl_of(start_sheet(values)),
                holds.batter,
                values["wanted"],
                limit,
                calibration_of(values["calibration"]),
            ),
        )

    choice = (
        Choice(
            "limit",
            "Lift which limit?",
            ((WEAKEST, WEAKEST), *((LIMIT_WORDS[name], name) for name in LIMITS)),
            WEAKEST,
            "What is wanted",
        ),
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


def mend_view(answer: Mended, values, system) -> View:
    found, holds = answer.remedies, answer.holds
    limit, all_found = LIMIT_WORDS[found.limit], (*found.cheapest, *found.dearer)
    stands = f"The margin of {limit} is {signed(found.margin)}, {signed(found.wanted, 1)} is wanted"
    leaves = f"{units.show(holds.kg(found.total_out_g), 'kg', system, 1)} of {units.show(holds.batch_kg, 'kg', system, 1)} leave"
    if not found.short_by and not all_found:
        sentence = f"{stands}: nothing to lift in this teaching model; {leaves}. Press a break, or want more."
    elif all_found:
        sentence = f"{stands}; {leaves}. The smallest single change in this teaching model: {in_words(all_found[0], system)}."
    else:
        sentence = f"{stands}; {leaves}. No single change within its bounds gets there in this teaching model; change two things."
    if found.others_below and all_found:
        sentence += (
            f" That does not mend {limits_in_words(found.others_below)}, also below what is wanted."
        )
    tables = ()
    if all_found:
        tables += (
            Table(
                "Single changes that lift it and push no other limit below what is wanted",
                (
                    "change",
                    "plain steps",
                    "chopping then ends at",
                    "margin after",
                    "first to go after",
                    "leaves after",
                ),
                tuple(
                    Row(
                        (
                            in_words(r, system),
                            f"{r.steps:.1f}",
                            units.show(r.batter.end_C, "°C", system),
                            signed(r.margins_after[found.limit]),
                            _first(r),
                            units.show(holds.kg(r.total_out_after_g), "kg", system, 1),
                        ),
                        "strong" if r in found.cheapest else "",
                    )
                    for r in all_found
                ),
            ),
        )
    if found.out_of_reach:
        tables += (
            Table(
                "Levers that do not get there by themselves",
                ("lever", "highest margin it reaches", "at"),
                tuple(_beyond(o, found, system) for o in found.out_of_reach),
            ),
        )
    steps = (*found.working, *holds.working)
    return View(
        sentence,
        {"changes": charts.remedies_data(found, system, in_words)} if all_found else {},
        {"changes": charts.remedies_text(found)},
        tables,
        (
            *plain_notes(found.notes),
            "One plain step is what a person would call one: 1 °C, 1 % fat, 0.1 % salt, 1 g ice on 100 g; a choice of ours. The cheapest are those of fewest plain steps; no price is in them.",
        ),
        steps,
        tuple(dict.fromkeys((*found.sources, *holds.sources))),
        cautions(),
    )


def _beyond(o: OutOfReach, found: Remedies, system: str) -> Row:
    if abs(o.best - found.margin) < 0.005:
        return Row((o.label, f"{signed(o.best)}, as now", "no value helps"))
    at = (
        units.show(o.at, "°C", system)
        if o.unit == "°C"
        else f"{o.at:.2f} {o.unit}".replace("-", "−")
    )
    return Row(
        (
            o.label,
            signed(o.best),
            f"{at}; but it pushes another limit down" if o.best >= found.wanted else at,
        )
    )


def _first(remedy: Remedy) -> str:
    name = min(remedy.margins_after, key=remedy.margins_after.get)
    return f"{LIMIT_WORDS[name]} {signed(remedy.margins_after[name])}"

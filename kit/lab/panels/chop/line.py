"""A line of machines, one after the other."""

from typing import NamedTuple

from kit.chain.chop import CUTTERS
from kit.chop.bowl import Bowl
from kit.chop.inverse import IceAnswer, ice_or_why
from kit.chop.machines import Guide, Machine, guides, machines
from kit.chop.processing_line import MAIN, ProcessingLine, through_line
from kit.lab.charts import chop_machines as charts
from kit.lab.panels.chop.pieces import (
    GUIDE_WORDS,
    Batch,
    beside_guide,
    celsius,
    chop_view,
    guide_row,
    heat,
    ice_row,
    panel_of_bowl,
    planned_C,
)
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View, row
from kit.sheet import Sheet

ROUTE = ("main", "grinds", "mills")
PUT_IN = ("machine", "usual energy", "range", "basis")
MACHINE_BREAKS = {
    "Grind twice, then knead": {"grinds": 2, "main": "kneader", "mills": 0},
    "Emulsifier after the cutter": {"mills": 1},
}


class Routed(NamedTuple):
    line: ProcessingLine
    guide: Guide
    planned_C: float
    ice: IceAnswer | None
    why_no_ice: tuple[str, ...]
    needs: tuple[float, float]
    """energies that take this bowl to the two edges of the guide"""


def machines_panel(sheet: Sheet | None = None) -> Panel:
    """The machines a maker has, each with a range of energy; none of them measured on yours."""
    parts = CUTTERS[sheet.process.cutter or "bowl cutter"] if sheet else ("grinder", "bowl cutter")
    main = next(part for part in parts if part in MAIN)
    grinds, mills = parts.count("grinder"), parts.count("emulsifier")

    def compute(bowl: Bowl, values, batch: Batch) -> Routed:
        guide, line = guides()[values["fat"]], through_line(bowl, *(values[key] for key in ROUTE))
        planned, energy = planned_C(guide, batch), line.machine.usual_kJ_per_kg
        needs = tuple(float(bowl.energy_to_kJ_per_kg(t)) for t in (guide.low_C, guide.high_C))
        return Routed(line, guide, planned, *ice_or_why(bowl, planned, energy), needs)

    return panel_of_bowl(
        "Temperature rise over a line of machines",
        sheet,
        compute,
        line_view,
        {"stops": charts.stops_chart},
        MACHINE_BREAKS,
        ("grinds", "main", "mills"),
        {"main": MAIN},
        lambda batch: {"grinds": grinds, "main": main, "mills": mills},
    )


def _span(low: float, high: float, system: str) -> str:
    return f"{heat(low, system)} to {heat(high, system)}"


def _range(m: Machine, system: str) -> tuple[str, str]:
    return _span(m.low_kJ_per_kg, m.high_kJ_per_kg, system), f"{m.basis}, {m.status}"


def line_view(found: Routed, values, system: str, batch: Batch) -> View:
    line, guide, every = found.line, found.guide, machines().values()
    end, machine = line.stops[-1], line.machine
    low, usual, high = (celsius(t, system) for t in (end.low_C, end.usual_C, end.high_C))
    where = beside_guide(end.usual_C, guide, system)
    span, _ = _range(machine, system)
    energy = f"{heat(machine.usual_kJ_per_kg, system)} of batter"
    rows = (
        guide_row("final chopping temperature, usual energy", end.usual_C, guide, where, system),
        ("energy of the machines", energy, span, "", machine.status),
        ice_row(found.ice, found.planned_C, system),
    )
    put_in = (
        row(
            "energy for the published range",
            "",
            _span(*found.needs, system),
            "whole line",
            mark="strong",
        ),
        *((m.name, heat(m.usual_kJ_per_kg, system), *_range(m, system)) for m in every),
    )
    return chop_view(
        f"Final chopping temperature after {machine.name}: {usual}, {where} for {GUIDE_WORDS[guide.name]}. "
        f"The range of these machines gives {low} to {high}; a log of your own narrows it.",
        {"stops": charts.stops_data(line, guide, system)},
        (
            Table("Outcome", COLUMNS, rows),
            Table("Energy of machines: rough ranges, not constants", PUT_IN, put_in),
        ),
        line,
        (*found.why_no_ice, *batch.notes),
        (guide.cite, *(m.cite for m in every)),
    )

"""Machines stop by stop, with the heat of bowl and room."""

from dataclasses import replace
from typing import NamedTuple

from kit import units
from kit.chain.chop import CUTTERS
from kit.chop.bowl import Bowl
from kit.chop.inverse import IceAnswer, ice_or_why
from kit.chop.machines import Guide, guides, machines
from kit.chop.path import Surroundings
from kit.chop.processing_line import MAIN, ProcessingLine, through_line
from kit.lab.charts import chop_machines as charts
from kit.lab.panels.chop.pieces import (
    COLUMNS,
    GUIDE_WORDS,
    PER_K,
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
from kit.lab.panels.panel import Choice, Panel, Slider, Table, View
from kit.lab.panels.view import row
from kit.sheet import Sheet
from kit.tables import value

MACHINE_BREAKS = {
    "Small maker: grind twice, knead": {"grinds": 2, "main": "kneader", "minutes": 10, "mills": 0},
    "An emulsifier after the cutter": {"mills": 1},
    "Warm room, warm bowl": {"room_C": 25, "UA_W_per_K": 40, "steel_kg": 100, "ice_share_pct": 85},
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
    """The machines a maker has, each as a range of heat; none of them measured on yours."""
    parts = CUTTERS[sheet.process.cutter or "bowl cutter"] if sheet else ("grinder", "bowl cutter")
    main = next(part for part in parts if part in MAIN)
    grinds, mills = parts.count("grinder"), parts.count("emulsifier")

    def compute(bowl: Bowl, values, batch: Batch) -> Routed:
        guide, flow = guides()[values["fat"]], values["UA_W_per_K"]
        steel = replace(bowl, steel_kg=values["steel_kg"], steel_C=values["room_C"])
        line = through_line(
            steel,
            values["main"],
            values["grinds"],
            values["mills"],
            minutes=values["minutes"],
            surroundings=Surroundings(flow, values["room_C"]) if flow else None,
        )
        energy = line.machine.usual_kJ_per_kg + line.gained_kJ_per_kg
        planned = planned_C(guide, batch)
        needs = tuple(float(steel.energy_to_kJ_per_kg(t)) for t in (guide.low_C, guide.high_C))
        return Routed(line, guide, planned, *ice_or_why(steel, planned, energy), needs)

    usual = value("chop_usual_minutes")
    controls = (
        Slider("grinds", "Grinder passes, meat alone", "", 0, 4, 1, grinds, "Process"),
        Choice("main", "Then the batter in a", MAIN, main, "Process"),
        Slider("minutes", "Minutes in it", "", 1, 30, 1, usual, "Process"),
        Slider("mills", "Passes through an emulsifier", "", 0, 3, 1, mills, "Process"),
        Slider("room_C", "Room and bowl are at", "°C", 0, 30, 1, 12, "Process"),
        Slider("UA_W_per_K", "Heat gain from the room, W per K", "", 0, 60, 5, 0, "Process"),
        Slider("steel_kg", "Steel of the bowl", "kg", 0, 150, 10, 0, "Process"),
    )
    return panel_of_bowl(
        "Your machines, your room",
        sheet,
        compute,
        line_view,
        {"stops": charts.stops_chart, "machines": charts.machines_chart},
        MACHINE_BREAKS,
        lambda batch: controls,
        energy=False,
    )


def line_view(found: Routed, values, system: str, batch: Batch) -> View:
    line, guide, every = found.line, found.guide, machines().values()
    end, machine = line.stops[-1], line.machine
    low, usual, high = (celsius(t, system) for t in (end.low_C, end.usual_C, end.high_C))
    where = beside_guide(end.usual_C, guide, system)
    span = f"{heat(machine.low_kJ_per_kg, system)} to {heat(machine.high_kJ_per_kg, system)}"
    energy = f"{heat(machine.usual_kJ_per_kg, system)} of batter"
    rows = [
        guide_row("end, usual heat", end.usual_C, guide, where, system),
        row("heat of the machines", energy, span, "", machine.status),
    ]
    if line.gained_kJ_per_kg or values["steel_kg"]:
        what, change = "room and steel change the end by", units.show(line.warmed_K, "K", system)
        gave = f"the room gave {heat(line.gained_kJ_per_kg, system)}"
        rows.append(row(what, change, "", gave, "computed"))
    rows.append(ice_row(found.ice, found.planned_C, system))
    stops = []
    for stop in line.stops:
        ends = f"{celsius(stop.low_C, system)} to {celsius(stop.high_C, system)}"
        stops.append(row(stop.name, celsius(stop.usual_C, system), ends))
    ranges = []
    for m in every:
        put_in = f"{heat(m.low_kJ_per_kg, system, 0)} to {heat(m.high_kJ_per_kg, system, 0)}"
        ranges.append(row(m.name, put_in, m.basis, m.status, m.note))
    caption = "What machines put into the batter: no figure is a constant of the machine"
    columns = ("machine", "heat", "basis", "status", "note")
    return chop_view(
        f"After {machine.name} this batter ends at {usual}, {where} for {GUIDE_WORDS[guide.name]}. "
        f"By the whole range of these machines it could end at {low} or at {high}: only a log of your own narrows that.",
        {
            "stops": charts.stops_data(line, guide, system),
            "machines": charts.machines_data(every, found.needs, system),
        },
        (
            Table("Outcome", COLUMNS, tuple(rows)),
            Table("Stop by stop", ("after", "usual", "low to high"), tuple(stops)),
            Table(caption, columns, tuple(ranges)),
        ),
        line,
        (*found.why_no_ice, PER_K, *batch.notes),
        (guide.cite, *(m.cite for m in every)),
    )

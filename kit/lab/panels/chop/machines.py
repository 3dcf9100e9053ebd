"""Grinder, main machine and emulsifier: stop by stop, with the heat of bowl and room."""

from kit import units
from kit.chain.chop import BLADES, COLD, CUTTERS
from kit.chop.bowl import with_steel
from kit.chop.machines import guides, usual_minutes
from kit.chop.processing_line import MAIN, ProcessingLine, through_line
from kit.lab.charts import chop_machines as charts
from kit.lab.panels.chop.pieces import (
    COLUMNS,
    GUIDE_WORDS,
    PER_K,
    batch_of,
    beside_guide,
    bowl_as_set,
    bowl_controls,
    celsius,
    guide_row,
    heat,
    ice_row,
    planned_C,
    room_as_set,
)
from kit.lab.panels.panel import Choice, Panel, Slider, Table, View
from kit.lab.panels.view import row
from kit.sheet import Sheet

PRESETS = {
    "Small maker: grind twice, knead": {"grinds": 2, "main": "kneader", "minutes": 10, "mills": 0},
    "An emulsifier after the cutter": {"mills": 1},
    "Warm room, warm bowl": {
        "room_C": 25,
        "UA_W_per_K": 40,
        "steel_kg": 100,
        "ice_share_pct": 85,
    },
}


def machines_panel(sheet: Sheet | None = None) -> Panel:
    """The machines a maker has, each as a range of heat; none of them measured on yours."""
    batch = batch_of(sheet)
    parts = CUTTERS[sheet.process.cutter or "bowl cutter"] if sheet else ("grinder", "bowl cutter")
    main = next(part for part in parts if part in MAIN)
    grinds, mills = parts.count("grinder"), parts.count("emulsifier")

    def compute(values) -> ProcessingLine:
        bowl, guide = bowl_as_set(values, batch), guides()[values["fat"]]
        return through_line(
            with_steel(bowl, values["steel_kg"], values["room_C"]),
            guide,
            planned_C(guide, batch),
            values["main"],
            values["grinds"],
            values["mills"],
            minutes=values["minutes"],
            surroundings=room_as_set(values),
        )

    controls = (
        *bowl_controls(batch, energy=False),
        Slider("grinds", "Grinder passes, meat alone", "", 0, 4, 1, grinds, "Process"),
        Choice("main", "Then the batter in a", MAIN, main, "Process"),
        Slider("minutes", "Minutes in it", "", 1, 30, 1, usual_minutes(), "Process"),
        Slider("mills", "Passes through an emulsifier", "", 0, 3, 1, mills, "Process"),
        Slider("room_C", "Room and bowl are at", "°C", 0, 30, 1, 12, "Process"),
        Slider("UA_W_per_K", "Room gives, W per K", "", 0, 60, 5, 0, "Process"),
        Slider("steel_kg", "Steel warmed with it", "kg", 0, 150, 10, 0, "Process"),
    )
    return Panel(
        "Your machines, your room",
        controls,
        compute,
        lambda result, values, system: line_view(result, values, system, batch.notes),
        lambda system: {"stops": charts.stops_chart(system)},
        PRESETS,
    )


def line_view(line: ProcessingLine, values, system, notes=()) -> View:
    end, machine = line.end, line.machine
    low, usual, high = (celsius(t, system) for t in (end.low_C, end.usual_C, end.high_C))
    where = beside_guide(end.usual_C, line.guide, system)
    span = f"{heat(machine.low_kJ_per_kg, system)} to {heat(machine.high_kJ_per_kg, system)}"
    energy = f"{heat(machine.usual_kJ_per_kg, system)} of batter"
    rows = [
        guide_row("end, usual heat", end.usual_C, line.guide, where, system),
        row("heat of the machines", energy, span, "", machine.status),
    ]
    if line.gained_kJ_per_kg or values["steel_kg"]:
        what, change = "room and steel change the end by", units.show(line.warmed_K, "K", system)
        gave = f"the room gave {heat(line.gained_kJ_per_kg, system)}"
        rows.append(row(what, change, "", gave, "computed"))
    rows.append(ice_row(line.ice, line.planned_C, system))
    stops = []
    for stop in line.stops:
        ends = f"{celsius(stop.low_C, system)} to {celsius(stop.high_C, system)}"
        stops.append(row(stop.name, celsius(stop.usual_C, system), ends))
    return View(
        f"After {machine.name} this batter ends at {usual}, {where} for {GUIDE_WORDS[line.guide.name]}. "
        f"By the whole range of these machines it could end at {low} or at {high}: only a log of your own narrows that.",
        {"stops": charts.stops_data(line, system)},
        tables=(
            Table("Outcome", COLUMNS, tuple(rows)),
            Table("Stop by stop", ("after", "usual", "low to high"), tuple(stops)),
        ),
        notes=(*line.notes, PER_K, *notes),
        steps=line.working,
        sources=line.sources,
        cautions=(BLADES, COLD),
    )

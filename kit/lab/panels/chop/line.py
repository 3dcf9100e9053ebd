"""Machines stop by stop with the heat of bowl and room; the batch whole, in parts, or in stages with a chill between."""

from dataclasses import replace

from kit import units
from kit.chain.chop import CUTTERS
from kit.chop.bowl import Bowl
from kit.chop.machines import guides
from kit.chop.processing_line import (
    MAIN,
    SAME_HEAT,
    SAME_MINUTES,
    ProcessingLine,
    Split,
    split_batch,
    through_line,
)
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
    published,
    room_as_set,
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
SPLITS = {
    "Same minutes for half the batch": {"each": SAME_MINUTES},
    "Four parts wait in a warm room": {"parts": 4, "room_C": 25, "UA_W_per_K": 15},
    "Too much work, in stages": {"parts": 1, "energy_kJ_per_kg": 150},
}


def machines_panel(sheet: Sheet | None = None) -> Panel:
    """The machines a maker has, each as a range of heat; none of them measured on yours."""
    parts = CUTTERS[sheet.process.cutter or "bowl cutter"] if sheet else ("grinder", "bowl cutter")
    main = next(part for part in parts if part in MAIN)
    grinds, mills = parts.count("grinder"), parts.count("emulsifier")

    def compute(bowl: Bowl, values, batch: Batch) -> ProcessingLine:
        guide = guides()[values["fat"]]
        return through_line(
            replace(bowl, steel_kg=values["steel_kg"], steel_C=values["room_C"]),
            guide,
            planned_C(guide, batch),
            values["main"],
            values["grinds"],
            values["mills"],
            minutes=values["minutes"],
            surroundings=room_as_set(values),
        )

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
        {"stops": charts.stops_chart},
        MACHINE_BREAKS,
        lambda batch: controls,
        energy=False,
    )


def line_view(line: ProcessingLine, values, system: str, batch: Batch) -> View:
    end, machine = line.stops[-1], line.machine
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
    return chop_view(
        f"After {machine.name} this batter ends at {usual}, {where} for {GUIDE_WORDS[line.guide.name]}. "
        f"By the whole range of these machines it could end at {low} or at {high}: only a log of your own narrows that.",
        {"stops": charts.stops_data(line, system)},
        (
            Table("Outcome", COLUMNS, tuple(rows)),
            Table("Stop by stop", ("after", "usual", "low to high"), tuple(stops)),
        ),
        line,
        (PER_K, *batch.notes),
    )


def split_panel(sheet: Sheet | None = None) -> Panel:
    """What splitting does on one motor, and what chilling between stages does."""

    def compute(bowl: Bowl, values, batch: Batch) -> Split:
        return split_batch(
            bowl,
            values["energy_kJ_per_kg"],
            values["minutes"],
            values["parts"],
            values["each"],
            room_as_set(values),
            guides()[values["fat"]].high_C,
            values["back_C"],
        )

    controls = (
        Slider("minutes", "Minutes, the whole batch", "", 1, 20, 0.5, 9, "Process"),
        Slider("parts", "Parts", "", 1, 6, 1, 2, "Process"),
        Choice("each", "Each part gets", (SAME_HEAT, SAME_MINUTES), SAME_HEAT, "Process"),
        Slider("room_C", "Parts wait at", "°C", 0, 30, 1, 12, "Process"),
        Slider("UA_W_per_K", "Heat gain of a part, W per K", "", 0, 30, 1, 5, "Process"),
        Slider("back_C", "Between stages chilled to", "°C", -2, 10, 0.5, 4, "Process"),
    )
    return panel_of_bowl(
        "Split the batch?",
        sheet,
        compute,
        split_view,
        {"parts": charts.parts_chart},
        SPLITS,
        lambda batch: controls,
    )


def split_view(split: Split, values, system: str, batch: Batch) -> View:
    guide, count, stages = guides()[values["fat"]], len(split.portions), split.stages
    top = celsius(guide.high_C, system)
    parts = tuple(
        row(
            f"{n} of {count}",
            f"{part.waits_min:.1f} min",
            celsius(part.start_C, system),
            heat(part.energy_kJ_per_kg, system),
            celsius(part.end_C, system),
            mark="fails" if part.end_C > guide.high_C else "",
        )
        for n, part in enumerate(split.portions, 1)
    )
    rows = [
        row("power into the batter", f"{split.power_kW:.1f} kW"),
        row("chopping time of each part", f"{split.minutes_each:.1f} min"),
        row("minutes for all parts", f"{count * split.minutes_each:.1f} min"),
        row(f"published for this fat (a guide): {published(guide, system)}", guide.cite),
    ]
    if stages:
        rows.append(row(f"stages to stay at or below {top}", f"{stages.number}"))
        rows.append(row("energy of the first stage", heat(stages.first_kJ_per_kg, system)))
        if stages.number > 1:
            rows.append(row("energy of each later stage", heat(stages.each_kJ_per_kg, system)))
    return chop_view(
        _split_sentence(split, values, system, top),
        {"parts": charts.parts_data(split, guide, system)},
        (
            Table("Part by part", ("part", "waits", "goes in at", "gets", "ends at"), parts),
            Table("The motor, and chopping in stages", ("what", "value"), tuple(rows)),
        ),
        split,
        (PER_K, *batch.notes),
        (guide.cite,),
    )


def _split_sentence(split: Split, values, system: str, top: str) -> str:
    """`top`: the warm edge of the guide in words."""
    count, stages, last_C = len(split.portions), split.stages, split.portions[-1].end_C
    said = f"In one run the batch ends at {celsius(split.whole_end_C, system)}"
    if count > 1:
        gap, compared = last_C - split.whole_end_C, "as warm as"
        if abs(gap) >= 0.05:
            how = "warmer" if gap > 0 else "colder"
            compared = f"{units.show(abs(gap), 'K', system)} {how} than"
        last = celsius(last_C, system)
        said += f"; in {count} parts the last one ends at {last}, {compared} that"
    if stages and stages.number > 1:
        back = celsius(values["back_C"], system)
        return f"{said}. In {stages.number} stages, chilled back to {back} between them, it never passes {top}."
    return f"{said}. A single run stays at or below {top}." if stages else f"{said}."

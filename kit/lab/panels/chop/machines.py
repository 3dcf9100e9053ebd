"""Grinder, main machine and emulsifier: stop by stop, with the heat of bowl and room."""

from kit import units
from kit.chain.chop import BLADES, COLD, CUTTERS
from kit.chain.chop_route import MAIN, Route, route_of, with_steel
from kit.chop import Surroundings, guides, usual_minutes
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import (
    COLUMNS,
    GUIDE_WORDS,
    PER_K,
    batch_of,
    beside_guide,
    bowl_as_set,
    bowl_controls,
    planned_C,
    printed,
)
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.sheet import Sheet


def machines_panel(sheet: Sheet | None = None) -> Panel:
    """The machines a maker has, each as a range of heat; none of them measured on yours."""
    batch = batch_of(sheet)
    parts = CUTTERS[sheet.process.cutter or "bowl cutter"] if sheet else ("grinder", "bowl cutter")

    def compute(values) -> Route:
        bowl, guide = (
            with_steel(bowl_as_set(values, batch), values["steel_kg"], values["room_C"]),
            guides()[values["fat"]],
        )
        around = (
            Surroundings(values["UA_W_per_K"], values["room_C"]) if values["UA_W_per_K"] else None
        )
        return route_of(
            bowl,
            guide,
            planned_C(guide, batch),
            values["main"],
            values["grinds"],
            values["mills"],
            minutes=values["minutes"],
            surroundings=around,
        )

    controls = (
        *bowl_controls(batch, energy=False),
        Slider(
            "grinds", "Grinder passes, meat alone", "", 0, 4, 1, parts.count("grinder"), "Process"
        ),
        Choice(
            "main",
            "Then the batter in a",
            MAIN,
            next(part for part in parts if part in MAIN),
            "Process",
        ),
        Slider("minutes", "Minutes in it", "", 1, 30, 1, usual_minutes(), "Process"),
        Slider(
            "mills",
            "Passes through an emulsifier",
            "",
            0,
            3,
            1,
            parts.count("emulsifier"),
            "Process",
        ),
        Slider("room_C", "Room and bowl are at", "°C", 0, 30, 1, 12, "Process"),
        Slider("UA_W_per_K", "Room gives, W per K", "", 0, 60, 5, 0, "Process"),
        Slider("steel_kg", "Steel warmed with it", "kg", 0, 150, 10, 0, "Process"),
    )
    return Panel(
        "Your machines, your room",
        controls,
        compute,
        lambda result, values, system: route_view(result, values, system, batch.notes),
        lambda system: {"stops": charts.stops_chart(system)},
        {
            "Small maker: grind twice, knead": {
                "grinds": 2,
                "main": "kneader",
                "minutes": 10,
                "mills": 0,
            },
            "An emulsifier after the cutter": {"mills": 1},
            "Warm room, warm bowl": {
                "room_C": 25,
                "UA_W_per_K": 40,
                "steel_kg": 100,
                "ice_share_pct": 85,
            },
        },
    )


def route_view(route: Route, values, system, notes=()) -> View:
    end, machine = route.end, route.machine

    def shown(t):
        return units.show(t, "°C", system)

    def heat(value):
        return units.show(value, "kJ/kg", system)

    where = beside_guide(end.usual_C, route.guide, system)
    sentence = (
        f"After {machine.name} this batter ends at {shown(end.usual_C)}, {where} for {GUIDE_WORDS[route.guide.name]}. "
        f"By the whole range of these machines it could end at {shown(end.low_C)} or at {shown(end.high_C)}: only a log of your own narrows that."
    )
    room = Row(
        (
            "room and steel change the end by",
            units.show(route.warmed_K, "K", system),
            "",
            f"the room gave {heat(route.gained_kJ_per_kg)}",
            "computed",
        )
    )
    ice = (
        "no share of ice does it"
        if route.ice is None
        else f"{units.show(route.ice.ice_kg, 'kg', system)} ice, {units.show(route.ice.water_kg, 'kg', system)} water"
    )
    rows = (
        Row(
            (
                "end, usual heat",
                shown(end.usual_C),
                f"{printed(route.guide, system)} ({route.guide.name}, a guide)",
                where,
                route.guide.cite,
            ),
            "fails" if end.usual_C > route.guide.high_C else "",
        ),
        Row(
            (
                "heat of the machines",
                f"{heat(machine.usual_kJ_per_kg)} of batter",
                f"{heat(machine.low_kJ_per_kg)} to {heat(machine.high_kJ_per_kg)}",
                "",
                machine.status,
            )
        ),
        *((room,) if route.gained_kJ_per_kg or values["steel_kg"] else ()),
        Row((f"of the added water as ice, for {shown(route.planned_C)}", ice, "", "", "computed")),
    )
    stops = Table(
        "Stop by stop",
        ("after", "usual", "low to high"),
        tuple(
            Row((s.name, shown(s.usual_C), f"{shown(s.low_C)} to {shown(s.high_C)}"))
            for s in route.stops
        ),
    )
    return View(
        sentence,
        {"stops": charts.stops_data(route, system)},
        {"stops": charts.stops_text(route)},
        (Table("Outcome", COLUMNS, rows), stops),
        (*route.notes, PER_K, *notes),
        route.working,
        route.sources,
        (BLADES, COLD),
    )

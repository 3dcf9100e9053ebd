"""The map of ice and energy, and what the machines of the trade put in."""

from dataclasses import dataclass, replace

import numpy as np

from kit import units
from kit.chain.chop import BLADES, COLD, ChopAnswer, chopped_bowl
from kit.chain.chop_ways import IceMap, ice_map
from kit.chop import guides, machines
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import (
    BREAKS,
    COLUMNS,
    DOUBT_PCT,
    batch_of,
    bowl_as_set,
    bowl_controls,
    chop_rows,
    machine_as_set,
    planned_C,
    verdict,
)
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.sheet import Sheet


@dataclass(frozen=True, eq=False)
class Mapped:
    answer: ChopAnswer
    plane: IceMap
    edges: np.ndarray
    needs: tuple[float, float]
    ice_pct: float


def map_panel(sheet: Sheet | None = None) -> Panel:
    """Ice against energy, and what the machines of the trade put in."""
    batch = batch_of(sheet)

    def compute(values) -> Mapped:
        bowl, guide = bowl_as_set(values, batch), guides()[values["fat"]]
        answer = chopped_bowl(
            bowl,
            machine_as_set(values),
            guide,
            planned_C(guide, batch),
            name=batch.sheet.name,
            energy_from="set with the sliders",
        )
        plane = ice_map(bowl, (*charts.ENDS_C, guide.low_C, guide.high_C))
        needs = tuple(float(bowl.energy_to_kJ_per_kg(t)) for t in (guide.low_C, guide.high_C))
        lines = replace(plane, end_C=plane.end_C[:-2], energy_kJ_per_kg=plane.energy_kJ_per_kg[:-2])
        return Mapped(
            answer,
            lines,
            plane.energy_kJ_per_kg[-2:],
            needs,
            100 * float(sum(c.kg for c in bowl.of_kind("ice"))) / batch.sheet.meat_kg,
        )

    controls = (
        *bowl_controls(batch),
        Slider("doubt_pct", "± doubt of that heat, %", "", 0, 50, 5, DOUBT_PCT, "Process"),
    )
    return Panel(
        "The map of ice and energy",
        controls,
        compute,
        lambda result, values, system: map_view(result, values, system, batch.notes),
        lambda system: {"map": charts.map_chart(system), "machines": charts.machines_chart(system)},
        BREAKS,
    )


def map_view(mapped: Mapped, values, system, notes=()) -> View:
    answer, (low, high) = mapped.answer, mapped.needs
    most = units.show(high, "kJ/kg", system, 0)
    window = (
        f"this bowl needs {units.show(max(low, 0), 'kJ/kg', system, 0)} to {most}"
        if high - low > 0.5
        else f"this bowl needs {most}"
    )
    if high < 0:
        window = "this bowl is warmer than that before the knives start"
    rows = tuple(
        Row(
            (
                m.name,
                f"{units.show(m.low_kJ_per_kg, 'kJ/kg', system, 0)} to {units.show(m.high_kJ_per_kg, 'kJ/kg', system, 0)}",
                m.basis,
                m.status,
                m.note,
            )
        )
        for m in machines().values()
    )
    return View(
        f"{verdict(answer, system)} To end inside the guide {window}; it gets {units.show(answer.energy_kJ_per_kg, 'kJ/kg', system, 0)}.",
        {
            "map": charts.map_data(
                mapped.plane, mapped.edges, mapped.ice_pct, answer.machine, system
            ),
            "machines": charts.machines_data(machines().values(), mapped.needs, system),
        },
        {
            "map": charts.map_text(mapped.ice_pct, answer),
            "machines": charts.machines_text(machines().values()),
        },
        (
            Table("Outcome", COLUMNS, chop_rows(answer, system)),
            Table(
                "What machines put into the batter: no figure is a constant of the machine",
                ("machine", "heat", "basis", "status", "note"),
                rows,
            ),
        ),
        (*answer.notes, *notes),
        answer.working,
        (*answer.sources, *(m.cite for m in machines().values())),
        (BLADES, COLD),
    )

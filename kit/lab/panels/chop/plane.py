"""The map of ice and energy, and what the machines of the trade put in."""

from dataclasses import dataclass, replace

import numpy as np

from kit.chain.chop import BLADES, COLD, ChopAnswer
from kit.chop.inverse import IceMap, ice_map
from kit.chop.machines import machines
from kit.lab.charts import chop as charts
from kit.lab.charts import chop_machines
from kit.lab.panels.chop.pieces import (
    BREAKS,
    COLUMNS,
    answer_as_set,
    batch_of,
    bowl_as_set,
    bowl_controls,
    chop_rows,
    doubt_control,
    heat,
    verdict,
)
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.view import row
from kit.sheet import Sheet


@dataclass(frozen=True, eq=False)
class IceMapped:
    answer: ChopAnswer
    plane: IceMap
    edges: np.ndarray
    """energies at the two edges of the guide, per ice"""
    needs: tuple[float, float]
    """energies that take this bowl to the two edges of the guide"""
    ice_pct: float


def map_panel(sheet: Sheet | None = None) -> Panel:
    """Ice against energy, and what the machines of the trade put in."""
    batch = batch_of(sheet)

    def compute(values) -> IceMapped:
        bowl = bowl_as_set(values, batch)
        answer = answer_as_set(values, batch, bowl)
        low_C, high_C = answer.guide.low_C, answer.guide.high_C
        plane = ice_map(bowl, (*charts.ENDS_C, low_C, high_C))
        lines = replace(plane, end_C=plane.end_C[:-2], energy_kJ_per_kg=plane.energy_kJ_per_kg[:-2])
        needs = (float(bowl.energy_to_kJ_per_kg(low_C)), float(bowl.energy_to_kJ_per_kg(high_C)))
        ice_pct = 100 * bowl.kg_of("ice") / batch.sheet.meat_kg
        return IceMapped(answer, lines, plane.energy_kJ_per_kg[-2:], needs, ice_pct)

    return Panel(
        "The map of ice and energy",
        (*bowl_controls(batch), doubt_control()),
        compute,
        map_view,
        lambda system: {
            "map": charts.map_chart(system),
            "machines": chop_machines.machines_chart(system),
        },
        BREAKS,
    )


def map_view(mapped: IceMapped, values, system) -> View:
    answer, (low, high) = mapped.answer, mapped.needs
    most, window = heat(high, system, 0), "this bowl is warmer than that before the knives start"
    if high >= 0:
        least = f"{heat(max(low, 0), system, 0)} to " if high - low > 0.5 else ""
        window = f"this bowl needs {least}{most}"
    gets = heat(answer.energy_kJ_per_kg, system, 0)
    every = machines().values()
    rows = []
    for m in every:
        span = f"{heat(m.low_kJ_per_kg, system, 0)} to {heat(m.high_kJ_per_kg, system, 0)}"
        rows.append(row(m.name, span, m.basis, m.status, m.note))
    caption = "What machines put into the batter: no figure is a constant of the machine"
    columns = ("machine", "heat", "basis", "status", "note")
    return View(
        f"{verdict(answer, system)} To end inside the guide {window}; it gets {gets}.",
        {
            "map": charts.map_data(
                mapped.plane, mapped.edges, mapped.ice_pct, answer.machine, system
            ),
            "machines": chop_machines.machines_data(every, mapped.needs, system),
        },
        tables=(
            Table("Outcome", COLUMNS, chop_rows(answer, system)),
            Table(caption, columns, tuple(rows)),
        ),
        notes=answer.notes,
        steps=answer.working,
        sources=(*answer.sources, *(m.cite for m in every)),
        cautions=(BLADES, COLD),
    )

"""How warm does the batter get, against the heat of the knives or their minutes?"""

from dataclasses import dataclass, replace

from kit.chain.chop import BLADES, COLD, ChopAnswer
from kit.chop.bowl import Bowl, with_added_water
from kit.chop.machines import Machine, machines
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import (
    BREAKS,
    COLUMNS,
    answer_as_set,
    batch_of,
    bowl_as_set,
    bowl_controls,
    celsius,
    chop_rows,
    doubt_control,
    heat,
    verdict,
)
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.lab.panels.view import row
from kit.properties.fat import solid_fats
from kit.sheet import Sheet

LEFT_OUT = ""


@dataclass(frozen=True)
class Warmed:
    answer: ChopAnswer
    wet: Bowl
    """with water in place of the ice"""
    wet_end_C: float

    @property
    def taken(self) -> dict[str, float]:
        return self.answer.chopped.taken_kJ


def path_panel(sheet: Sheet | None = None) -> Panel:
    """Temperature along the chop: ice, energy, meat temperature, salt, and the machine that was named."""
    batch = batch_of(sheet)

    def compute(values) -> Warmed:
        bowl = replace(bowl_as_set(values, batch), melting_fat=values["melting"] or None)
        added = values["added_pct_of_meat"] / 100 * batch.sheet.meat_kg
        wet = with_added_water(bowl, 0.0, added)
        end_C = float(wet.end_C(values["energy_kJ_per_kg"]))
        return Warmed(answer_as_set(values, batch, bowl), wet, end_C)

    curves = (("left out", LEFT_OUT), *((f"by the {name} curve", name) for name in solid_fats()))
    controls = (
        *bowl_controls(batch),
        doubt_control(),
        Slider("minutes", "Chopping time, min", "", 1, 20, 0.5, 9, "Process"),
        Choice("machine", "Machine to compare with", tuple(machines()), "bowl cutter", "Process"),
        Choice("against", "Drawn against", ("energy", "time"), "energy", "What is shown"),
        Choice("melting", "Heat of melting fat", curves, LEFT_OUT, "What is shown"),
    )
    return Panel(
        "Keep it cold: how warm does the batter end?",
        controls,
        compute,
        path_view,
        lambda system: {
            "path": charts.path_chart(system),
            "time": charts.time_chart(system),
            "heat": charts.heat_chart(system),
        },
        BREAKS,
    )


def path_view(result: Warmed, values, system) -> View:
    answer, minutes, against = result.answer, values["minutes"], values["against"]
    sentence = verdict(answer, system)
    if values["ice_share_pct"]:
        wet = celsius(result.wet_end_C, system)
        sentence += f" With water in place of the ice it would end at {wet}."
    power_kW = answer.energy_kJ_per_kg * answer.chopped.kg / (60 * minutes)
    sentence += f" In {minutes:g} min of chopping that takes {power_kW:.1f} kW at the batter."
    rows = (*chop_rows(answer, system), _machine_row(machines()[values["machine"]], answer, system))
    chart = "time" if against == "time" else "path"
    return View(
        sentence,
        {
            chart: charts.path_data(answer, result.wet, system, minutes, against),
            "heat": charts.heat_data(result.taken, answer.chopped.kg, system),
        },
        tables=(Table("Outcome", COLUMNS, rows),),
        notes=answer.notes,
        steps=answer.working,
        sources=answer.sources,
        cautions=(BLADES, COLD),
    )


def _machine_row(machine: Machine, answer: ChopAnswer, system: str) -> Row:
    low, high, energy = machine.low_kJ_per_kg, machine.high_kJ_per_kg, answer.energy_kJ_per_kg
    off = max(low - energy, energy - high, 0.0)
    side = "below" if energy < low else "above"
    return row(
        f"heat set, beside that of a {machine.name}",
        heat(energy, system),
        f"{heat(low, system)} to {heat(high, system)} {machine.basis}",
        f"{heat(off, system)} {side}" if off else "inside",
        machine.cite,
    )

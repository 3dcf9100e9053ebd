"""How warm does the batter get, against the heat of the knives or their minutes?"""

from dataclasses import dataclass, replace

from kit import units
from kit.chain.chop import BLADES, COLD, ChopAnswer, chopped_bowl, taken_kJ, with_added_water
from kit.chop import Bowl, Machine, guides, machines
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
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.properties import solid_fats
from kit.sheet import Sheet

LEFT_OUT = ""


@dataclass(frozen=True)
class Warmed:
    answer: ChopAnswer
    wet: Bowl
    wet_end_C: float
    taken: dict


def path_panel(sheet: Sheet | None = None) -> Panel:
    """Temperature along the chop: ice, energy, meat temperature, salt, and the machine that was named."""
    batch = batch_of(sheet)

    def compute(values) -> Warmed:
        bowl, guide = (
            replace(bowl_as_set(values, batch), melting_fat=values["melting"] or None),
            guides()[values["fat"]],
        )
        answer = chopped_bowl(
            bowl,
            machine_as_set(values),
            guide,
            planned_C(guide, batch),
            name=batch.sheet.name,
            energy_from="set with the sliders",
            notes=batch.notes,
        )
        added = values["added_pct_of_meat"] / 100 * batch.sheet.meat_kg
        wet = with_added_water(bowl, 0.0, added)
        return Warmed(
            answer,
            wet,
            float(wet.end_C(values["energy_kJ_per_kg"])),
            taken_kJ(bowl, answer.chopped),
        )

    controls = (
        *bowl_controls(batch),
        Slider("doubt_pct", "± doubt of that heat, %", "", 0, 50, 5, DOUBT_PCT, "Process"),
        Slider("minutes", "Chopping time, min", "", 1, 20, 0.5, 9, "Process"),
        Choice("machine", "Machine to compare with", tuple(machines()), "bowl cutter", "Process"),
        Choice("against", "Drawn against", ("energy", "time"), "energy", "What is shown"),
        Choice(
            "melting",
            "Heat of melting fat",
            (("left out", LEFT_OUT), *((f"by the {name} curve", name) for name in solid_fats())),
            LEFT_OUT,
            "What is shown",
        ),
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
    answer = result.answer
    chart = "time" if values["against"] == "time" else "path"
    wet = (
        f" With water in place of the ice it would end at {units.show(result.wet_end_C, '°C', system)}."
        if values["ice_share_pct"]
        else ""
    )
    power_kW = answer.energy_kJ_per_kg * answer.chopped.kg / (60 * values["minutes"])
    pace = f" In {values['minutes']:g} min of chopping that takes {power_kW:.1f} kW at the batter."
    return View(
        f"{verdict(answer, system)}{wet}{pace}",
        {
            chart: charts.path_data(
                answer, result.wet, system, values["minutes"], values["against"]
            ),
            "heat": charts.heat_data(result.taken, answer.chopped.kg, system),
        },
        {
            chart: charts.path_text(answer, result.wet_end_C),
            "heat": charts.heat_text(result.taken, answer.chopped.kg),
        },
        (
            Table(
                "Outcome",
                COLUMNS,
                (
                    *chop_rows(answer, system),
                    _machine_row(machines()[values["machine"]], answer, system),
                ),
            ),
        ),
        answer.notes,
        answer.working,
        answer.sources,
        (BLADES, COLD),
    )


def _machine_row(machine: Machine, answer: ChopAnswer, system: str) -> Row:
    low, high, energy = machine.low_kJ_per_kg, machine.high_kJ_per_kg, answer.energy_kJ_per_kg
    off = max(low - energy, energy - high, 0.0)
    where = (
        f"{units.show(off, 'kJ/kg', system)} {'below' if energy < low else 'above'}"
        if off
        else "inside"
    )
    return Row(
        (
            f"heat set, beside that of a {machine.name}",
            units.show(energy, "kJ/kg", system),
            f"{units.show(low, 'kJ/kg', system)} to {units.show(high, 'kJ/kg', system)} {machine.basis}",
            where,
            machine.cite,
        )
    )

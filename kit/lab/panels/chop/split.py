"""The batch whole, in parts one after another, or in goes with a chill between."""

from kit import units
from kit.chain.chop import BLADES, COLD
from kit.chain.chop_route import SAME_HEAT, SAME_MINUTES, Parted, parted
from kit.chop import Surroundings, guides
from kit.lab.charts import chop as charts
from kit.lab.panels.chop.pieces import PER_K, batch_of, bowl_as_set, bowl_controls, printed
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.sheet import Sheet


def split_panel(sheet: Sheet | None = None) -> Panel:
    """What splitting does on one motor, and what chilling between goes does."""
    batch = batch_of(sheet)

    def compute(values) -> Parted:
        around = (
            Surroundings(values["UA_W_per_K"], values["room_C"]) if values["UA_W_per_K"] else None
        )
        return parted(
            bowl_as_set(values, batch),
            values["energy_kJ_per_kg"],
            values["minutes"],
            values["parts"],
            values["each"],
            around,
            guides()[values["fat"]].high_C,
            values["back_C"],
        )

    controls = (
        *bowl_controls(batch),
        Slider("minutes", "Minutes, the whole batch", "", 1, 20, 0.5, 9, "Process"),
        Slider("parts", "Parts", "", 1, 6, 1, 2, "Process"),
        Choice("each", "Each part gets", (SAME_HEAT, SAME_MINUTES), SAME_HEAT, "Process"),
        Slider("room_C", "Parts wait at", "°C", 0, 30, 1, 12, "Process"),
        Slider("UA_W_per_K", "Room gives a part, W per K", "", 0, 30, 1, 5, "Process"),
        Slider("back_C", "Between goes chilled back to", "°C", -2, 10, 0.5, 4, "Process"),
    )

    def view(answer, values, system):
        return split_view(answer, values, system, guides()[values["fat"]], batch.notes)

    return Panel(
        "Split the batch?",
        controls,
        compute,
        view,
        lambda system: {"parts": charts.parts_chart(system)},
        {
            "Same minutes for half the batch": {"each": SAME_MINUTES},
            "Four parts wait in a warm room": {"parts": 4, "room_C": 25, "UA_W_per_K": 15},
            "Too much work, in goes": {"parts": 1, "energy_kJ_per_kg": 150},
        },
    )


def split_view(answer: Parted, values, system, guide, notes=()) -> View:
    split, last = answer.split, answer.split.parts[-1]

    def shown(t):
        return units.show(t, "°C", system)

    gap = last.end_C - answer.whole_end_C
    if len(split.parts) == 1:
        sentence = f"In one go the batch ends at {shown(answer.whole_end_C)}."
    else:
        compared = (
            "as warm as"
            if abs(gap) < 0.05
            else f"{units.show(abs(gap), 'K', system)} {'warmer' if gap > 0 else 'colder'} than"
        )
        sentence = f"In one go the batch ends at {shown(answer.whole_end_C)}; in {len(split.parts)} parts the last one ends at {shown(last.end_C)}, {compared} that."
    goes = answer.goes
    if goes and goes.goes > 1:
        sentence += f" In {goes.goes} goes, chilled back to {shown(values['back_C'])} between them, it never passes {shown(guide.high_C)}."
    elif goes:
        sentence += f" It stays at or below {shown(guide.high_C)} in one go."
    parts = Table(
        "Part by part",
        ("part", "waits", "goes in at", "gets", "ends at"),
        tuple(
            Row(
                (
                    f"{n} of {len(split.parts)}",
                    f"{p.waits_min:.1f} min",
                    shown(p.start_C),
                    units.show(p.energy_kJ_per_kg, "kJ/kg", system),
                    shown(p.end_C),
                ),
                "fails" if p.end_C > guide.high_C else "",
            )
            for n, p in enumerate(split.parts, 1)
        ),
    )
    rows = [
        Row(("power into the batter", f"{answer.power_kW:.1f} kW")),
        Row(("minutes of the knives for each part", f"{answer.minutes_each:.1f} min")),
        Row(("minutes for all parts", f"{split.total_min:.1f} min")),
        Row((f"in print for this fat (a guide): {printed(guide, system)}", guide.cite)),
    ]
    if goes:
        rows += [
            Row((f"goes to stay at or below {shown(guide.high_C)}", f"{goes.goes}")),
            Row(("the first go puts in", units.show(goes.first_kJ_per_kg, "kJ/kg", system))),
            *(
                (Row(("each later go", units.show(goes.each_kJ_per_kg, "kJ/kg", system))),)
                if goes.goes > 1
                else ()
            ),
        ]
    return View(
        sentence,
        {"parts": charts.parts_data(answer, guide, system)},
        {"parts": charts.parts_text(answer)},
        (parts, Table("The motor, and chopping in goes", ("what", "value"), tuple(rows))),
        (*answer.notes, PER_K, *notes),
        answer.working,
        (guide.cite,),
        (BLADES, COLD),
    )

"""The batch whole, in parts one after another, or in goes with a chill between."""

from kit import units
from kit.chain.chop import BLADES, COLD
from kit.chop.machines import Guide, guides
from kit.chop.processing_line import SAME_HEAT, SAME_MINUTES, Split, split_batch
from kit.lab.charts import chop_machines as charts
from kit.lab.panels.chop.pieces import (
    PER_K,
    batch_of,
    bowl_as_set,
    bowl_controls,
    celsius,
    heat,
    printed,
    room_as_set,
)
from kit.lab.panels.panel import Choice, Panel, Slider, Table, View
from kit.lab.panels.view import row
from kit.sheet import Sheet

PRESETS = {
    "Same minutes for half the batch": {"each": SAME_MINUTES},
    "Four parts wait in a warm room": {"parts": 4, "room_C": 25, "UA_W_per_K": 15},
    "Too much work, in goes": {"parts": 1, "energy_kJ_per_kg": 150},
}


def split_panel(sheet: Sheet | None = None) -> Panel:
    """What splitting does on one motor, and what chilling between goes does."""
    batch = batch_of(sheet)

    def compute(values) -> Split:
        return split_batch(
            bowl_as_set(values, batch),
            values["energy_kJ_per_kg"],
            values["minutes"],
            values["parts"],
            values["each"],
            room_as_set(values),
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

    def view(split: Split, values, system) -> View:
        return split_view(split, values, system, guides()[values["fat"]], batch.notes)

    return Panel(
        "Split the batch?",
        controls,
        compute,
        view,
        lambda system: {"parts": charts.parts_chart(system)},
        PRESETS,
    )


def split_view(split: Split, values, system, guide: Guide, notes=()) -> View:
    count, goes, top = len(split.portions), split.goes, celsius(guide.high_C, system)
    parts = Table(
        "Part by part",
        ("part", "waits", "goes in at", "gets", "ends at"),
        tuple(
            row(
                f"{n} of {count}",
                f"{part.waits_min:.1f} min",
                celsius(part.start_C, system),
                heat(part.energy_kJ_per_kg, system),
                celsius(part.end_C, system),
                mark="fails" if part.end_C > guide.high_C else "",
            )
            for n, part in enumerate(split.portions, 1)
        ),
    )
    rows = [
        row("power into the batter", f"{split.power_kW:.1f} kW"),
        row("minutes of the knives for each part", f"{split.minutes_each:.1f} min"),
        row("minutes for all parts", f"{split.total_min:.1f} min"),
        row(f"in print for this fat (a guide): {printed(guide, system)}", guide.cite),
    ]
    if goes:
        rows.append(row(f"goes to stay at or below {top}", f"{goes.goes}"))
        rows.append(row("the first go puts in", heat(goes.first_kJ_per_kg, system)))
        if goes.goes > 1:
            rows.append(row("each later go", heat(goes.each_kJ_per_kg, system)))
    return View(
        _sentence(split, values, system, top),
        {"parts": charts.parts_data(split, guide, system)},
        tables=(parts, Table("The motor, and chopping in goes", ("what", "value"), tuple(rows))),
        notes=(*split.notes, PER_K, *notes),
        steps=split.working,
        sources=(guide.cite,),
        cautions=(BLADES, COLD),
    )


def _sentence(split: Split, values, system: str, top: str) -> str:
    """`top`: the warm edge of the guide in words."""
    count, goes, last_C = len(split.portions), split.goes, split.portions[-1].end_C
    said = f"In one go the batch ends at {celsius(split.whole_end_C, system)}"
    if count > 1:
        gap, compared = last_C - split.whole_end_C, "as warm as"
        if abs(gap) >= 0.05:
            how = "warmer" if gap > 0 else "colder"
            compared = f"{units.show(abs(gap), 'K', system)} {how} than"
        said += (
            f"; in {count} parts the last one ends at {celsius(last_C, system)}, {compared} that"
        )
    if goes and goes.goes > 1:
        back = celsius(values["back_C"], system)
        return f"{said}. In {goes.goes} goes, chilled back to {back} between them, it never passes {top}."
    return f"{said}. It stays at or below {top} in one go." if goes else f"{said}."

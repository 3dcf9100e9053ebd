"""What the panels of 03 share: controls of the bowl, rows for an outcome table, the verdict in words."""

from dataclasses import dataclass

from kit import units
from kit.chain.chop import PREDICTED, ChopAnswer, bowl_of, chop_of, guide_of
from kit.chop import Bowl, Guide, Machine
from kit.chop.charge import LIKE_MEAT
from kit.lab.lessons.chop import START, demo_sheet, set_bowl
from kit.lab.panels.panel import Choice, Row, Slider
from kit.sheet import Sheet

COLUMNS = ("what", "value", "limit", "margin", "source")
FATS = (
    ("pork", "pork"),
    ("beef", "beef"),
    ("poultry", "poultry"),
    ("any, scalded sausage", "any"),
    ("any, no phosphate", "without phosphate"),
)
GUIDE_WORDS = {
    "pork": "pork fat",
    "beef": "beef fat",
    "poultry": "poultry fat",
    "any": "any scalded sausage",
    "without phosphate": "a batter without phosphate",
}
DOUBT_PCT = 10.0
BREAKS = {
    "Water instead of ice": {"ice_share_pct": 0},
    "Warm meat": {"meat_C": 10},
    "Chop too long": {"energy_kJ_per_kg": 150},
}
INVENTED = "The demo batch and the demo log are invented."
PER_K = "W per K: the heat that flows in from the room for each kelvin that it is warmer than the batter; a bowl of 100 L takes a few tens (teaching assumption)."


@dataclass(frozen=True)
class Batch:
    """The sheet that a panel works on and where its sliders start."""

    sheet: Sheet
    base: Bowl
    fat: str
    start: dict[str, float]
    notes: tuple[str, ...]
    planned_C: float | None = None


def batch_of(sheet: Sheet | None) -> Batch:
    """A person's own sheet, with the sliders where it stands, the knives' heat where the bowl ends as written; without one the invented demo batch, where the lesson
    starts."""
    if sheet is None:
        return Batch(demo_sheet(), bowl_of(demo_sheet()), "pork", START, (INVENTED,))
    base = bowl_of(sheet)

    def kg(*kinds):
        return float(sum(c.kg for c in base.charges if c.kind in kinds))

    meats = [c for c in base.charges if c.kind in LIKE_MEAT]
    added, answer = kg("ice", "water"), chop_of(sheet)
    start = {
        "meat_C": round(2 * sum(c.kg * c.temperature_C for c in meats) / kg(*LIKE_MEAT)) / 2,
        "added_pct_of_meat": round(100 * added / sheet.meat_kg),
        "ice_share_pct": 5 * round(20 * kg("ice") / added) if added else 0,
        "salt_pct_of_batch": round(100 * kg("salt") / float(base.kg), 1),
        "energy_kJ_per_kg": max(round(answer.energy_kJ_per_kg), 0),
    }
    said = f"The sliders start where {sheet.name} stands, each to its own step; all meat goes in at one temperature."
    from_energy = (
        ""
        if answer.end_from == PREDICTED
        else f" The energy starts where this batter reaches the {answer.end_from} final chopping temperature, {answer.end_C:.1f} °C."
    )
    return Batch(
        sheet, base, guide_of(sheet).name, start, (said + from_energy,), sheet.process.chop_end_C
    )


def bowl_controls(batch: Batch, energy: bool = True) -> tuple:
    """The bowl's sliders in the fixed order; the heat from the knives too, unless machines give it. A start beyond a slider's usual ends widens it."""

    def slider(key, label, unit, low, high, step, group):
        start = batch.start[key]
        return Slider(key, label, unit, min(low, start), max(high, start), step, start, group)

    bowl = (
        Choice("fat", "Most of the fat is", FATS, batch.fat, "Meat block"),
        slider("meat_C", "Meat goes in at", "°C", -6, 12, 0.5, "Meat block"),
        slider("added_pct_of_meat", "Ice and water, % of meat", "", 5, 60, 1, "Ice"),
        slider("ice_share_pct", "of that as ice, %", "", 0, 100, 5, "Ice"),
        slider("salt_pct_of_batch", "Salt, % of batch", "", 0, 4, 0.1, "Salt"),
    )
    return (
        (*bowl, slider("energy_kJ_per_kg", "Heat from the knives", "kJ/kg", 0, 160, 1, "Process"))
        if energy
        else bowl
    )


def bowl_as_set(values, batch: Batch) -> Bowl:
    return set_bowl(
        batch.base,
        batch.sheet.meat_kg,
        *(
            values[key]
            for key in ("meat_C", "added_pct_of_meat", "ice_share_pct", "salt_pct_of_batch")
        ),
    )


def machine_as_set(values) -> Machine:
    energy, doubt = values["energy_kJ_per_kg"], values.get("doubt_pct", DOUBT_PCT) / 100
    return Machine(
        "chopper as set",
        energy * (1 - doubt),
        energy,
        energy * (1 + doubt),
        "of what is in the bowl",
        "as set with the sliders",
        "set with the sliders",
        "",
    )


def planned_C(guide: Guide, batch: Batch) -> float:
    """The end that a person's own sheet plans, else the middle of the printed range for the fat; a range that goes below 0 is a top."""
    if batch.planned_C is not None:
        return batch.planned_C
    return guide.high_C if guide.low_C < 0 else 0.5 * (guide.low_C + guide.high_C)


def printed(guide: Guide, system: str) -> str:
    """The printed range, or the one temperature that is printed."""
    low, high = (units.show(t, "°C", system) for t in (guide.low_C, guide.high_C))
    return high if low == high else f"{low} to {high}"


def beside_guide(end_C: float, guide: Guide, system: str) -> str:
    """'inside the printed guide', '3.2 K warmer than the printed guide'."""
    off = max(end_C - guide.high_C, 0.0) + min(end_C - guide.low_C, 0.0)
    return (
        "inside the printed guide"
        if not off
        else f"{units.show(abs(off), 'K', system)} {'warmer' if off > 0 else 'colder'} than the printed guide"
    )


def chop_rows(answer: ChopAnswer, system: str) -> tuple[Row, ...]:
    """Lines for an outcome table: the end of chopping, its range, the ice left, and the ice that the planned end would need."""

    def shown(t):
        return units.show(t, "°C", system)

    guide, off = answer.guide, answer.off_guide_K
    margin = (
        "inside"
        if not off
        else f"✗ {units.show(off, 'K', system)} warmer"
        if off > 0
        else f"{units.show(-off, 'K', system)} colder"
    )
    written = answer.end_from != PREDICTED
    beside = (
        (
            Row(
                (
                    "specific mechanical energy to that temperature",
                    units.show(answer.energy_kJ_per_kg, "kJ/kg", system),
                    "",
                    "",
                    "computed",
                )
            ),
            Row(
                (
                    "estimate of the chopping model",
                    shown(answer.estimate_C),
                    "",
                    "",
                    f"{answer.energy_from}, {units.show(answer.estimate_kJ_per_kg, 'kJ/kg', system)}",
                )
            ),
        )
        if written
        else ()
    )
    rows = [
        Row(
            (
                f"end of chopping{f', {answer.end_from}' if written else ''}",
                shown(answer.end_C),
                f"{printed(guide, system)} ({guide.name}, a guide)",
                margin,
                guide.cite,
            ),
            "fails" if off > 0 else "",
        ),
        *beside,
        Row(
            (
                f"{'that estimate' if written else 'end of chopping'}, eight draws in ten",
                f"{shown(answer.range.low_C)} to {shown(answer.range.high_C)}",
                "",
                "",
                f"energy: {answer.machine.cite}",
            )
        ),
        Row(
            (
                "ice left at that end",
                units.show(answer.chopped.ice_left_kg, "kg", system),
                "",
                "",
                "computed",
            )
        ),
        Row(
            (
                "last ice melts at",
                units.show(answer.chopped.ice_gone_kJ_per_kg, "kJ/kg", system),
                "",
                "",
                "computed",
            )
        ),
    ]
    needed = "no share of ice does it"
    if answer.ice is not None:
        needed = f"{units.show(answer.ice.ice_kg, 'kg', system)} ice, {units.show(answer.ice.water_kg, 'kg', system)} water"
    return (
        *rows,
        Row(
            (
                f"of the added water as ice, for {shown(answer.planned_C)}",
                needed,
                "",
                "",
                "computed",
            )
        ),
    )


def verdict(answer: ChopAnswer, system: str) -> str:
    end, where = (
        units.show(answer.end_C, "°C", system),
        beside_guide(answer.end_C, answer.guide, system),
    )
    left = (
        f" {units.show(answer.chopped.ice_left_kg, 'kg', system)} of water is still frozen."
        if answer.chopped.ice_left_kg > 0.005
        else ""
    )
    return f"The batter ends at {end}, {where} for {GUIDE_WORDS[answer.guide.name]}.{left}"

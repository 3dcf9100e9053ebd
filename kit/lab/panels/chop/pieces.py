"""What the panels of 03 share: one builder, controls of the bowl, rows for an outcome table, the verdict in words."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from kit import units
from kit.chain.chop import BLADES, COLD, PREDICTED, ChopAnswer, bowl_of, chop_of, guide_of
from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.inverse import IceAnswer
from kit.chop.machines import Guide
from kit.lab.lessons.chop import START, set_bowl
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, Row, Table, View, row
from kit.lab.panels.sheets import current_sheet, demo_sheet
from kit.sheet import Sheet
from kit.working import Result

FATS = (
    ("pork", "pork"),
    ("beef", "beef"),
    ("poultry", "poultry"),
    ("any scalded sausage", "any"),
    ("any, without phosphate", "without phosphate"),
)
GUIDE_WORDS = {
    "pork": "pork fat",
    "beef": "beef fat",
    "poultry": "poultry fat",
    "any": "any scalded sausage",
    "without phosphate": "a batter without phosphate",
}
BREAKS = {
    "Water instead of ice": {"ice_share_pct": 0},
    "Warm meat": {"meat_C": 10},
    "Chop too long": {"energy_kJ_per_kg": 150},
}
BOWL = ("fat", "meat_C", "added_pct_of_meat", "ice_share_pct", "salt_pct_of_batch")
"""the controls of what is in the bowl"""
INVENTED = "The demo batch and the demo log are invented."
FINAL = "final chopping temperature"


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
    """A person's own sheet, with the sliders at its values, the energy at which the bowl ends as recorded; without one the invented demo batch, where the lesson
    starts."""
    sheet = sheet or current_sheet()
    if sheet is None:
        return Batch(demo_sheet(), bowl_of(demo_sheet()), "pork", START, (INVENTED,))
    base, answer = bowl_of(sheet), chop_of(sheet)
    added = base.kg_of("ice", "water")
    meat_heat = sum(c.kg * c.temperature_C for c in base.of_kind(*LIKE_MEAT))
    start = {
        "meat_C": round(2 * meat_heat / base.kg_of(*LIKE_MEAT)) / 2,
        "added_pct_of_meat": round(100 * added / sheet.meat_kg),
        "ice_share_pct": 5 * round(20 * base.kg_of("ice") / added) if added else 0,
        "salt_pct_of_batch": round(100 * base.kg_of("salt") / float(base.kg), 1),
        "energy_kJ_per_kg": max(round(answer.energy_kJ_per_kg), 0),
    }
    said = f"The sliders start at the values of {sheet.name}, rounded to their steps; all meat has one temperature."
    if answer.end_from != PREDICTED:
        said += f" The energy is that at which this batter reaches the {answer.end_from} final chopping temperature, {answer.end_C:.1f} °C."
    return Batch(sheet, base, guide_of(sheet).name, start, (said,), sheet.process.chop_end_C)


def panel_of_bowl(
    title: str,
    sheet: Sheet | None,
    compute: Callable[[Bowl, Mapping, Batch], object],
    view: Callable[..., View],
    charts: Mapping[str, Callable[[str], dict]],
    presets: Mapping[str, Mapping],
    keys: tuple[str, ...],
    options: Mapping[str, tuple] = MappingProxyType({}),
    start: Callable[[Batch], Mapping] = lambda batch: {},
) -> Panel:
    """A panel on the bowl of a sheet: the bowl's controls, and those of `keys`; `compute(bowl, values, batch)`, `view(result, values, system, batch)`."""
    batch = batch_of(sheet)
    at = batch.start | {"fat": batch.fat} | start(batch)
    controls = controls_of("bowl", *BOWL, *keys, options={"fat": FATS} | options, **at)
    return Panel(
        title,
        controls,
        lambda values: compute(bowl_as_set(values, batch), values, batch),
        lambda result, values, system: view(result, values, system, batch),
        charts,
        presets,
    )


def chop_view(
    sentence: str,
    data: Mapping,
    tables: tuple[Table, ...],
    result: Result,
    notes: tuple[str, ...] = (),
    sources: tuple[str, ...] = (),
    idle: Mapping[str, str] | None = None,
) -> View:
    """A view of a result with its own notes, working and sources, then these, and the cautions of the chopper."""
    return View(
        sentence,
        data,
        tables=tables,
        notes=notes,
        sources=sources,
        cautions=(BLADES, COLD),
        idle=idle or {},
    ).of(result)


def bowl_as_set(values, batch: Batch) -> Bowl:
    """The batch's bowl with what the sliders say."""
    return set_bowl(batch.base, batch.sheet.meat_kg, *(values[key] for key in BOWL[1:]))


def planned_C(guide: Guide, batch: Batch) -> float:
    """The end that a person's own sheet plans, else the middle of the published range for the fat; a range that goes below 0 is a top."""
    if batch.planned_C is not None:
        return batch.planned_C
    return guide.high_C if guide.low_C < 0 else 0.5 * (guide.low_C + guide.high_C)


def celsius(t_C: float, system: str) -> str:
    return units.show(t_C, "°C", system)


def heat(energy: float, system: str, places: int | None = None) -> str:
    return units.show(energy, "kJ/kg", system, places)


def published(guide: Guide, system: str) -> str:
    """The published range, or the one published temperature."""
    low, high = (f"{t:g}".replace("-", "−") for t in (guide.low_C, guide.high_C))
    return units.in_text(f"{high} °C" if low == high else f"{low} to {high} °C", system)


def beside_guide(end_C: float, guide: Guide, system: str) -> str:
    """'within the published range', '3.2 °C above the published range'."""
    off = guide.off_K(end_C)
    if not off:
        return "within the published range"
    side = "above" if off > 0 else "below"
    return f"{units.show(abs(off), 'K', system)} {side} the published range"


def guide_row(what: str, end_C: float, guide: Guide, margin: str, system: str) -> Row:
    """An end beside the published range."""
    limit = f"{published(guide, system)} ({guide.name}; a guide)"
    warm = guide.off_K(end_C) > 0
    return row(what, celsius(end_C, system), limit, margin, guide.cite, fails=warm)


def ice_row(ice: IceAnswer | None, planned_C: float, system: str) -> Row:
    """The ice that the planned end would need."""
    needed = "no share of ice is enough"
    if ice is not None:
        ice_kg, water_kg = (units.show(kg, "kg", system) for kg in (ice.ice_kg, ice.water_kg))
        needed = f"{ice_kg} ice, {water_kg} water"
    what = f"ice and water for a final temperature of {celsius(planned_C, system)}"
    return row(what, needed, "", "", "computed")


def chop_rows(answer: ChopAnswer, system: str) -> tuple[Row, ...]:
    """Lines for an outcome table: the final chopping temperature, its range, the ice left, and the ice that the planned end would need."""
    off, written = answer.off_guide_K, answer.end_from != PREDICTED
    margin = "within"
    if off:
        away = units.show(abs(off), "K", system)
        margin = f"✗ {away} above" if off > 0 else f"{away} below"
    what, estimate = FINAL, f"{FINAL}, 90 % interval"
    if written:
        what, estimate = f"{FINAL}, {answer.end_from}", "estimate, 90 % interval"
    rows = [guide_row(what, answer.end_C, answer.guide, margin, system)]
    if written:
        took = "specific mechanical energy to that temperature"
        source = f"{answer.energy_from}, {heat(answer.estimate_kJ_per_kg, system)}"
        rows += [
            row(took, heat(answer.energy_kJ_per_kg, system), "", "", "computed"),
            row(f"{FINAL}, chopping model", celsius(answer.estimate_C, system), "", "", source),
        ]
    ends = f"{celsius(answer.range.low_C, system)} to {celsius(answer.range.high_C, system)}"
    left = units.show(answer.chopped.ice_left_kg, "kg", system)
    gone = heat(answer.chopped.ice_gone_kJ_per_kg, system)
    return (
        *rows,
        row(estimate, ends, "", "", f"energy: {answer.machine.cite}"),
        row("ice left at the end", left, "", "", "computed"),
        row("energy at which the last ice melts", gone, "", "", "computed"),
        ice_row(answer.ice, answer.planned_C, system),
    )


def verdict(answer: ChopAnswer, system: str) -> str:
    """The end in one sentence."""
    end, where = celsius(answer.end_C, system), beside_guide(answer.end_C, answer.guide, system)
    said = f"Final chopping temperature {end}: {where} for {GUIDE_WORDS[answer.guide.name]}."
    if answer.chopped.ice_left_kg > 0.005:
        left = units.show(answer.chopped.ice_left_kg, "kg", system)
        said += f" Ice left: {left}."
    return said

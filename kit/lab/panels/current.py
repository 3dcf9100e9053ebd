"""The batch that a person handed to the lessons, and the stop of lesson 03: every panel starts there, as far as it has a control for it."""

from collections.abc import Sequence
from dataclasses import replace

from kit.chain.chop import chop_of
from kit.chain.emulsion import described
from kit.chain.mixes import amounts_of
from kit.errors import KitError
from kit.lab.panels.controls import Slider
from kit.lab.panels.sheets import current_sheet, stopped_C
from kit.sheet import Sheet


def at_current_batch(controls: Sequence) -> tuple:
    """The same controls, each slider moved to the current batch, at most to its own ends; as they are where there is no current batch."""
    if not any(isinstance(spec, Slider) for spec in controls):
        return tuple(controls)
    sheet = current_sheet()
    known = values_of(sheet) if sheet else {}
    if sheet and any(spec.key == "trim_fat_pct" for spec in controls):
        known |= two_meats(sheet)
    if all(spec.key != "core_C" for spec in controls):
        known.pop("end_C", None)  # in lesson 05 it is what somebody measured
    elif (stop_C := stopped_C()) is not None:
        known["end_C"] = stop_C
    return tuple(
        replace(spec, value=min(max(float(f"{known[spec.key]:.6g}"), spec.low), spec.high))
        if isinstance(spec, Slider) and known.get(spec.key) is not None
        else spec
        for spec in controls
    )


def values_of(sheet: Sheet) -> dict[str, float | None]:
    """Where a batch stands, under the keys of the panels' sliders; None where the sheet does not say."""
    plan, meat_kg = sheet.process, sheet.meat_kg
    cures = sheet.of_kind("cure")
    nitrite_ppm = sum(line.kg * (line.nitrite_pct or 0.0) for line in cures) / meat_kg * 1e4
    return {
        **amounts_of(sheet),
        **_of_batter(sheet),
        "meat_kg": meat_kg,
        "batter_kg": sheet.batch_kg,
        "rest_pct_of_meat": 100 * (sheet.batch_kg / meat_kg - 1),
        "rate_g_per_kg": 1000 * sum(line.kg for line in cures) / meat_kg,
        "target_ppm": nitrite_ppm or None,
        "dose_ppm": nitrite_ppm or None,
        "diameter_mm": plan.stuffed_mm,
        "length_mm": plan.link_mm,
        "wanted_g": plan.link_g,
        "target_C": plan.core_target_C,
        "chill_min": plan.chill_min,
        "cook_yield_pct": plan.cook_yield_pct,
    }


def two_meats(sheet: Sheet) -> dict[str, float | None]:
    """The meat block as lessons 01 and 04 make it, of a lean meat and a trim: with the fat of the sheet's fattest meat in the trim, the block keeps its fat."""
    meats = sheet.of_kind("meat")
    fat_pct = sum(line.kg * line.material.fat_pct for line in meats) / sheet.meat_kg
    trim_pct = min(max(line.material.fat_pct for line in meats), FATTEST_TRIM_PCT)
    if not LEAN_FAT_PCT <= fat_pct < trim_pct:
        return {"lean_pct_of_meat": None, "trim_fat_pct": None}
    lean = (trim_pct - fat_pct) / (trim_pct - LEAN_FAT_PCT)
    return {"lean_pct_of_meat": round(100 * lean), "trim_fat_pct": trim_pct}


LEAN_FAT_PCT, FATTEST_TRIM_PCT = 10.0, 60.0
"""fat of the lean meat of those lessons, and the fattest trim that both can show"""


def _of_batter(sheet: Sheet) -> dict[str, float | None]:
    """What the emulsion room reads off the sheet; nothing where it cannot."""
    try:
        end_C = chop_of(sheet).end_C
        batter = described(sheet, end_C=end_C).batter
    except KitError:
        return {}
    names = ("collagen_pct_of_protein", "drop_um", "core_C", "end_C", "phosphate_pct")
    return {name: float(getattr(batter, name)) for name in names} | {"start_C": end_C}

"""The batch of the lesson and its controls: two meats, ice, milk powder, salt, and how it is chopped and cooked."""

from collections.abc import Mapping
from functools import lru_cache

from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.emulsion.batter import FAT_KINDS
from kit.emulsion.calibrate import Calibration
from kit.emulsion.saved import from_toml
from kit.lab.lessons.emulsion import HOT_END_C, KNOWN, START, start_sheet
from kit.lab.panels.panel import Choice, File, Slider

AS_THE_MEATS = "of the meats chosen"
MEATS, BINDING = "Meat block", "Binder and salt"
SLIDERS = (
    ("lean_pct_of_meat", "Lean beef (% of meat block)", "", 0, 100, 1, MEATS),
    ("trim_fat_pct", "Fat of the trim (%)", "", 5, 70, 1, MEATS),
    ("collagen_pct_of_protein", "Collagen (% of meat protein)", "", 10, 60, 1, MEATS),
    ("ice_pct_of_meat", "Ice (% of meat block)", "", 0, 60, 1, "Ice"),
    ("binder_pct_of_batch", "Milk powder (% of batch)", "", 0, 4, 0.1, BINDING),
    ("salt_pct_of_batch", "Salt (% of batch)", "", 0, 3, 0.1, BINDING),
    ("phosphate_pct", "Phosphate (% of batch)", "", 0, 0.5, 0.1, BINDING),
    ("end_C", "Final chopping temperature", "°C", 2, 30, 0.5, "Process"),
    ("drop_um", "Fat globule diameter (µm)", "", 3, 60, 1, "Process"),
    ("core_C", "Core temperature, end of cook", "°C", 60, 95, 1, "Process"),
)
"""key, label, unit, lowest, highest, step, group"""
BREAKS = {
    "Chopped too warm": {"end_C": HOT_END_C},
    "Too fat": {"lean_pct_of_meat": 10, "trim_fat_pct": 58},
    "No salt": {"salt_pct_of_batch": 0},
    "Too much collagen": {"collagen_pct_of_protein": 50},
}
"""breaks on purpose, one for each lesson of the page"""


def batch_controls(**start) -> tuple:
    """The controls of the lesson's batch; `start` replaces some of their first values."""
    at = START | {"fat_kind": AS_THE_MEATS} | start
    sliders = [Slider(*how, at[how[0]], group) for *how, group in SLIDERS]
    trim = Choice("trim", "Trim species", ("pork", "beef"), at["trim"], MEATS)
    kinds = (AS_THE_MEATS, *FAT_KINDS)
    kind = Choice("fat_kind", "Fat melts like", kinds, at["fat_kind"], "Process")
    first = next(n for n, (*_, group) in enumerate(SLIDERS) if group == "Process")
    return (trim, *sliders[:first], kind, *sliders[first:])


def saved_control() -> File:
    return File("calibration", "Saved calibration (TOML)", ".toml", "What is shown")


def known_of(values: Mapping) -> dict:
    """What the sliders know better than the sheet."""
    kind = values["fat_kind"]
    return {
        **{key: values[key] for key in KNOWN},
        "phosphate_pct": values["phosphate_pct"],
        "fat_kind": None if kind == AS_THE_MEATS else kind,
    }


def batch_answer(values: Mapping, **more) -> EmulsionAnswer:
    """The answer of the emulsion model for the values of the controls."""
    return emulsion_of(
        start_sheet(values),
        calibration_of(values.get("calibration")),
        values["end_C"],
        values["core_C"],
        **known_of(values),
        **more,
    )


@lru_cache(maxsize=4)
def calibration_of(file: tuple[str, bytes] | None) -> Calibration | None:
    """A saved calibration from an uploaded file's name and bytes, read like a file on disk."""
    return from_toml(file[1], file[0]) if file else None

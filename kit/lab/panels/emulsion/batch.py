"""The batch of the lesson and its controls: two meats, ice, milk powder, salt, and how it is chopped and cooked."""

from collections.abc import Mapping
from functools import lru_cache

from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.emulsion.batter import FAT_KINDS
from kit.emulsion.calibrate import Calibration
from kit.emulsion.saved import from_toml
from kit.lab.lessons.emulsion import HOT_END_C, KNOWN, START, start_sheet
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import File

AS_THE_MEATS = "of the meats chosen"
BREAKS = {
    "Chopped too warm": {"end_C": HOT_END_C},
    "Too fat": {"lean_pct_of_meat": 10, "trim_fat_pct": 58},
    "No salt": {"salt_pct_of_batch": 0},
    "Too much collagen": {"collagen_pct_of_protein": 50},
}
"""breaks on purpose, one for each lesson of the page"""


def batch_controls(**start) -> tuple:
    """The controls of the lesson's batch; `start` replaces some of their first values."""
    options = {"trim": ("pork", "beef"), "fat_kind": (AS_THE_MEATS, *FAT_KINDS)}
    return controls_of("emulsion", options=options, **START | start)


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

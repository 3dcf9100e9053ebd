"""The batch of the lesson and its controls: two meats, ice, milk powder, salt, and how it is chopped and cooked."""

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from kit.chain.emulsion import Holds, holds_of
from kit.emulsion import FAT_KINDS, Calibration, load_calibration
from kit.lab.lessons.emulsion import HOT_END_C, START, start_sheet
from kit.lab.panels.panel import Choice, File, Slider

AS_THE_MEATS = "as the meats say"
SLIDERS = (
    Slider(
        "lean_pct_of_meat",
        "Lean beef, % of meat",
        "",
        0,
        100,
        1,
        START["lean_pct_of_meat"],
        "Meat block",
    ),
    Slider("trim_fat_pct", "Fat of the trim, %", "", 5, 70, 1, START["trim_fat_pct"], "Meat block"),
    Slider(
        "collagen_pct_of_protein",
        "Collagen, % of meat protein",
        "",
        10,
        60,
        1,
        START["collagen_pct_of_protein"],
        "Meat block",
    ),
    Slider("ice_pct_of_meat", "Ice, % of meat", "", 0, 60, 1, START["ice_pct_of_meat"], "Ice"),
    Slider(
        "binder_pct_of_batch",
        "Milk powder, % of batch",
        "",
        0,
        4,
        0.1,
        START["binder_pct_of_batch"],
        "Binder and salt",
    ),
    Slider(
        "salt_pct_of_batch",
        "Salt, % of batch",
        "",
        0,
        3,
        0.1,
        START["salt_pct_of_batch"],
        "Binder and salt",
    ),
    Slider(
        "phosphate_pct",
        "Phosphate, % of batch",
        "",
        0,
        0.5,
        0.1,
        START["phosphate_pct"],
        "Binder and salt",
    ),
    Slider("end_C", "Chopping ends at", "°C", 2, 30, 0.5, START["end_C"], "Process"),
    Slider("drop_um", "Fat drops, µm", "", 3, 60, 1, START["drop_um"], "Process"),
    Slider("core_C", "Cooked to a core of", "°C", 60, 95, 1, START["core_C"], "Process"),
)
BREAKS = {
    "Hot end": {"end_C": HOT_END_C},
    "Too fat": {"lean_pct_of_meat": 10, "trim_fat_pct": 58},
    "No salt": {"salt_pct_of_batch": 0},
    "Too much collagen": {"collagen_pct_of_protein": 50},
}
"""breaks on purpose, one for each lesson of the page"""


def batch_controls(**start) -> tuple:
    """The controls of the lesson's batch; `start` moves where some of them stand."""
    sliders = {
        s.key: Slider(
            s.key, s.label, s.unit, s.low, s.high, s.step, start.get(s.key, s.value), s.group
        )
        for s in SLIDERS
    }
    trim = Choice(
        "trim", "Trim of", ("pork", "beef"), start.get("trim", START["trim"]), "Meat block"
    )
    kind = Choice(
        "fat_kind",
        "Its fat behaves like",
        (AS_THE_MEATS, *FAT_KINDS),
        start.get("fat_kind", AS_THE_MEATS),
        "Process",
    )
    keys = list(sliders)
    return (trim, *(sliders[key] for key in keys[:-3]), kind, *(sliders[key] for key in keys[-3:]))


def saved_control() -> File:
    return File("calibration", "Use a saved calibration (.toml)", ".toml", "What is shown")


def known_of(values: Mapping) -> dict:
    """What the sliders know better than the sheet."""
    kind = values["fat_kind"]
    return {
        "collagen_pct_of_protein": values["collagen_pct_of_protein"],
        "phosphate_pct": values["phosphate_pct"],
        "drop_um": values["drop_um"],
        "fat_kind": None if kind == AS_THE_MEATS else kind,
    }


def batch_holds(values: Mapping, **more) -> Holds:
    """The emulsion room's answer for where the controls stand."""
    return holds_of(
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
    if file is None:
        return None
    with TemporaryDirectory() as folder:
        path = Path(folder) / (Path(file[0]).name or "calibration.toml")
        path.write_bytes(file[1])
        return load_calibration(path)

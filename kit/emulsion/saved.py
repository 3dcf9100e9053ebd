"""A calibration as a TOML file: the rows that set it, and the levels for a person to read."""

import tomllib
from dataclasses import replace
from pathlib import Path

from kit.emulsion.batter import NUMBERS, Batter
from kit.emulsion.calibrate import LEVELS, QUANTITIES, Calibration, MeasuredLoss, calibrate
from kit.errors import KitError
from kit.faults import Faults, said
from kit.files import put, toml_lines

KIND = "emulsion calibration"
SAME_LEVEL = 0.01
"""log-odds: a level that moved by less is the same level"""


def save_calibration(calibration: Calibration, path, overwrite: bool = False) -> Path:
    """Write the whole file or nothing. Refuses to overwrite unless told to."""
    return put(path, as_toml(calibration), overwrite=overwrite)


def as_toml(calibration: Calibration) -> str:
    """The text of the file."""
    levels = ("water_level", "water_level_90", "fat_level", "fat_level_90")
    parts = [
        toml_lines({"kind": KIND, "name": calibration.name}),
        "# calculated from the rows below, and again when the file is read\n[levels]\n"
        + toml_lines({level: getattr(calibration, level) for level in levels}),
    ]
    for row in calibration.rows:
        given = {"label": row.label} | {name: getattr(row, name) for name in row.given}
        batter = {name: getattr(row.batter, name) for name in NUMBERS}
        batter["fat_kind"] = dict(row.batter.fat_shares)
        parts += [f"[[measured]]\n{toml_lines(given)}[measured.batter]\n{toml_lines(batter)}"]
    return "\n".join(parts)


def from_toml(content: bytes, name: str) -> Calibration:
    """Read the rows and fit them again. Every fault of the file at once as Faulty; a level that moved since is noted."""
    faults, rows = Faults(name, name), []
    try:
        found = tomllib.loads(content.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as cause:
        faults.stop("no calibration", why=cause)
    if found.get("kind") != KIND:
        remedy = "choose a file that the kit saved as a calibration"
        faults.add(f"kind is {found.get('kind')!r}, not {KIND!r}", name="kind", remedy=remedy)
    given = found.get("measured", [])
    if not isinstance(given, list) or not given:
        faults.add("holds no [[measured]] rows", name="measured", remedy="give at least one")
        given = []
    for number, row in enumerate(given, 1):
        try:
            rows.append(_row(row))
        except (KitError, TypeError, AttributeError) as cause:
            faults.add(str(cause), name=f"measured, number {number}", remedy="correct the row")
    faults.stop_if_any()
    again = calibrate(rows, str(found.get("name", Path(name).stem)))
    shifted = []
    for level in LEVELS:
        was, now = found.get("levels", {}).get(level), getattr(again, level)
        if isinstance(was, (int, float)) and abs(was - now) > SAME_LEVEL:
            shifted.append(
                f"{level} was {was:g} when saved and is {now:g} with the numbers of this version"
            )
    return replace(again, own_notes=(*again.own_notes, *shifted))


def _row(row: dict) -> MeasuredLoss:
    known = {"label", "batter", *QUANTITIES}
    strange = sorted(set(row) - known)
    if strange:
        raise KitError(said("no such field", field=strange[0], known=", ".join(sorted(known))))
    if "batter" not in row:
        raise KitError("the row has no [measured.batter]")
    return MeasuredLoss(
        Batter(**row["batter"]),
        **{name: row.get(name) for name in QUANTITIES},
        label=str(row.get("label", "")),
    )

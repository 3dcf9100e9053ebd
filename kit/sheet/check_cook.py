"""Do the steps of the cook, and what is counted beside them, make sense together?"""

from kit.faults import Faults
from kit.sheet.draft import DraftEntry
from kit.sheet.entries import GRILL


def cook_step(entry: dict, record: DraftEntry, faults: Faults) -> dict:
    """The checked values of one cook step, once their sense is checked too."""
    if "wet_bulb_C" in entry and "rh_pct" in entry:
        faults.add(
            "the step gives both wet_bulb_C and rh_pct",
            record.cells["rh_pct"],
            "rh_pct",
            "keep one; the other follows from it",
        )
    wet, dry = entry.get("wet_bulb_C"), entry.get("dry_bulb_C")
    if wet is not None and dry is not None and wet > dry:
        faults.add(
            f"wet_bulb_C {wet:g} is above dry_bulb_C {dry:g}; a wet bulb never reads higher",
            record.cells["wet_bulb_C"],
            "wet_bulb_C",
            "check that the two are not swapped",
        )
    low, high = entry.get("air_low_C"), entry.get("air_high_C")
    if low is None and high is None or not {"kind", "dry_bulb_C"} <= set(entry):
        return entry
    cell = record.cells["air_low_C" if high is None else "air_high_C"]
    if low is None or high is None or not low <= dry <= high:
        faults.add(
            "the range of the air needs air_low_C and air_high_C, with dry_bulb_C between them",
            cell,
            "air_low_C" if high is None else "air_high_C",
            "write all three, or leave the range out",
        )
    elif entry["kind"] not in ("charcoal cooker", "gas cooker"):
        faults.add(
            f"a range of the air is for a covered cooker, but the step is of kind {entry['kind']!r}",
            cell,
            "air_high_C",
            "take air_low_C and air_high_C out",
        )
    elif wet is not None and wet > low:
        faults.add(
            f"wet_bulb_C {wet:g} is above air_low_C {low:g}; a wet bulb never reads higher",
            record.cells["wet_bulb_C"],
            "wet_bulb_C",
            "give rh_pct, or correct the range",
        )
    return entry


def check_kitchen(
    records: list[DraftEntry],
    process: dict,
    places: list[DraftEntry],
    steps: list[dict],
    faults: Faults,
) -> None:
    """Counts are whole, a holding time has its core temperature, and a grill comes last."""

    def add(what: str, name: str, remedy: str) -> None:
        cell = next(record.cells[name] for record in records if name in record.cells)
        faults.add(what, cell, name, remedy)

    for name in ("grind_passes", "core_probes"):
        if process.get(name, 0.0) % 1:
            add(f"{name} is {process[name]:g}; it counts whole ones", name, "write 1, 2 or 3")
    if "core_held_min" in process and "core_measured_C" not in process:
        what = "core_held_min stands without core_measured_C"
        add(what, "core_held_min", "write the core temperature that was held")
    kinds = [step.get("kind") for step in steps]
    for place, kind, after in zip(places, kinds, [*kinds[1:], GRILL]):
        if kind == GRILL and (kinds[0] == GRILL or after != GRILL):
            faults.add(
                "a grill step finishes a link that is cooked and chilled, so it comes last and never alone",
                place.cells["kind"],
                "kind",
                "put it after the steps that cook; for the cook itself over a fire write 'charcoal cooker' or 'gas cooker'",
            )

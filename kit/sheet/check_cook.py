"""Do the steps of the cook, and what is counted beside them, make sense together?"""

from collections.abc import Iterator

from kit.sheet.draft import Wrong
from kit.sheet.entries import GRILL


def wrong_step(entry: dict, kinds: list[str | None], n: int) -> Iterator[Wrong]:
    """What does not go together in one step of the cook, the n-th of these kinds. A grill comes last, and never alone."""
    if kinds[n] == GRILL and (kinds[0] == GRILL or set(kinds[n:]) != {GRILL}):
        what = "a grill step finishes a link that is cooked and chilled, so it comes last and never alone"
        remedy = "put it after the steps that cook; for the cook itself over a fire write 'charcoal cooker' or 'gas cooker'"
        yield "kind", what, remedy
    if "wet_bulb_C" in entry and "rh_pct" in entry:
        what = "the step gives both wet_bulb_C and rh_pct"
        yield "rh_pct", what, "keep one; the other follows from it"
    wet, dry = entry.get("wet_bulb_C"), entry.get("dry_bulb_C")
    above = f"wet_bulb_C {wet or 0.0:g} is above {{}}; a wet bulb never reads higher"
    if wet is not None and dry is not None and wet > dry:
        remedy = "check that the two are not swapped"
        yield "wet_bulb_C", above.format(f"dry_bulb_C {dry:g}"), remedy
    low, high = entry.get("air_low_C"), entry.get("air_high_C")
    if low is None and high is None or not {"kind", "dry_bulb_C"} <= set(entry):
        return
    if low is None or high is None or not low <= dry <= high:
        name = "air_low_C" if high is None else "air_high_C"
        what = "the range of the air needs air_low_C and air_high_C, with dry_bulb_C between them"
        yield name, what, "write all three, or leave the range out"
    elif entry["kind"] not in ("charcoal cooker", "gas cooker"):
        what = (
            f"a range of the air is for a covered cooker, but the step is of kind {entry['kind']!r}"
        )
        yield "air_high_C", what, "take air_low_C and air_high_C out"
    elif wet is not None and wet > low:
        remedy = "give rh_pct, or correct the range"
        yield "wet_bulb_C", above.format(f"air_low_C {low:g}"), remedy


def wrong_process(process: dict) -> Iterator[Wrong]:
    """Counts are whole, and a holding time has its core temperature."""
    for name in ("grind_passes", "core_probes"):
        if process.get(name, 0.0) % 1:
            yield name, f"{name} is {process[name]:g}; it counts whole ones", "write 1, 2 or 3"
    if "core_held_min" in process and "core_measured_C" not in process:
        what = "core_held_min stands without core_measured_C"
        yield "core_held_min", what, "write the core temperature that was held"

"""Does this draft make a sheet? Reads every entry and collects every fault."""

from collections.abc import Callable, Iterator, Sequence

from kit.errors import KitError
from kit.faults import NOWHERE, REFUSED, Cell, Faults, blank
from kit.materials import Material
from kit.materials.words import cure_word
from kit.sheet.amount import LEAST_KG, MOST_KG, Amount, resolve, sums
from kit.sheet.draft import MANY, MAX_LINES, Draft, DraftEntry, Wrong, near
from kit.sheet.entries import GRILL, PARTS, Line, fields, made
from kit.sheet.own import find, same_recipe, way
from kit.sheet.values import NotUsable, checked

Entries = Callable[[DraftEntry], dict]
"""the checked values of a record"""

LABEL_READ = (
    "if you have read the label and it names no nitrite or nitrate, write cure_label_read = 'yes'"
)
_NO_WEIGHTS = ("stage", "sd_kg", "note")
_NOT_COMPOSITION = {"name", "amount", "temperature_C", "pH", "price_per_kg", "stock_kg", "note"}
_BLAMED = {
    "lean": "lean",
    "eye": "fat_low_pct",
    "lab": "moisture_pct",
    "recipe": "composition",
    "label": "nitrite_pct",
}


def check(draft: Draft, faults: Faults, name: str) -> dict:
    """The fields of the Sheet that `draft` holds; `name`: what it is called where it does not say.

    Raises Faulty with everything found here and everything already in `faults`.
    """
    parts = {part: [record for record in draft.records if record.part == part] for part in PARTS}
    for part in MANY:
        if len(parts[part]) > MAX_LINES:
            place, count = parts[part][MAX_LINES].place, len(parts[part])
            faults.stop("many entries", place, count=count, part=part, most=MAX_LINES)
    decimals = (record.cells.get("decimal") for record in parts["batch"])
    comma = any(cell is not None and str(cell.value).strip() == "," for cell in decimals)

    def entries(record: DraftEntry) -> dict:
        return _entries(record, draft.typed, comma, faults)

    one = _merged("process", parts["process"], faults)
    head, process = entries(_merged("batch", parts["batch"], faults)), entries(one)
    one.note(wrong_process(process), faults)
    lines = _lines(parts["line"], entries, faults)
    steps = [entries(record) for record in parts["cook"]]
    kinds = [step.get("kind") for step in steps]
    for n, (record, step) in enumerate(zip(parts["cook"], steps)):
        record.note(wrong_step(step, kinds, n), faults)
    weighings = _weighings(parts["weighing"], entries, faults)
    faults.stop_if_any()
    cook = tuple(made("cook", step) for step in steps)
    head.pop("decimal", None)
    return {
        "name": name,
        **head,
        "lines": lines,
        "process": made("process", process, cook=cook),
        "weighings": tuple(made("weighing", entry) for entry in weighings),
        "notes": tuple(draft.notes),
    }


def _entries(record: DraftEntry, typed: bool, comma: bool, faults: Faults) -> dict:
    """Checked values in the order of the fields; what is refused becomes a fault and is left out."""
    known = fields(record.part)
    for name in record.cells:
        if name not in known:
            faults.add(
                f"a {record.part} entry has no field {name[:60]!r}; nearest: {near(name, known)}",
                record.cells[name],
                name[:60],
                "correct the name or take it out",
            )
    values = {}
    for name, field in known.items():
        cell: Cell | None = record.cells.get(name)
        if cell is not None and cell.value is REFUSED:
            continue
        if cell is not None and not blank(cell):
            try:
                values[name] = checked(field, cell, typed, comma)
            except NotUsable as refused:
                faults.add(refused.what, cell, name, refused.remedy)
        elif field.needed:
            at = record.place if cell is None else cell
            what = f"{name} is missing ({field.meaning})"
            faults.add(what, at, name, "every such entry needs it")
    return values


def _merged(part: str, records: list[DraftEntry], faults: Faults) -> DraftEntry:
    """Batch and process entries, which a grid holds one to a row, as one."""
    whole = DraftEntry(part, records[0].place if records else NOWHERE)
    for record in records:
        for name in record.cells.keys() & whole.cells.keys():
            what = f"{name} is given twice"
            faults.add(what, record.cells[name], name, "keep one of the two")
        whole.cells |= record.cells
    return whole


# --- lines ---


def _lines(records: list[DraftEntry], entries: Entries, faults: Faults) -> tuple[Line, ...]:
    if not records:
        if not faults.lost:
            faults.add(
                "the sheet holds no ingredient lines",
                remedy="write at least one line with a name and an amount, such as 'pork trim' and '25 kg'",
            )
        return ()
    values = [entries(record) for record in records]
    _find_duplicates(records, values, faults)
    known = [_known(record, entry, faults) for record, entry in zip(records, values)]
    kinds = [kind for kind, _ in known]
    if all(kinds) and "meat" not in kinds:
        faults.add("the sheet holds no meat", remedy="add a line of kind 'meat'")
    kg = _kilograms(records, [entry.get("amount") for entry in values], kinds, faults)
    if faults.found or kg is None:
        return ()
    others = [(m, x) for (_, m), x in zip(known, kg) if m is not None]
    lines = []
    for entry, (kind, found), x in zip(values, known, kg):
        material = found or same_recipe(entry["name"], *zip(*others))
        lines.append(made("line", entry | {"kind": kind}, kg=x, material=material))
    return tuple(lines)


def _find_duplicates(records: list[DraftEntry], values: list[dict], faults: Faults) -> None:
    first: dict[str, Cell] = {}
    for record, entry in zip(records, values):
        if "name" not in entry:
            continue
        name, cell = entry["name"].casefold(), record.cells["name"]
        if name in first:
            row = first[name].row
            where = f"row {row}" if row is not None else first[name].label or "an earlier line"
            faults.add(
                f"name {entry['name']!r} stands twice, first in {where}",
                cell,
                "name",
                "add the amounts up, or give the second another name and the first one as its material",
            )
        first.setdefault(name, cell)


def _known(record: DraftEntry, entry: dict, faults: Faults) -> tuple[str, Material | None]:
    """Kind and material of a line; ('', None) where they could not be found, with the fault noted."""
    kind = entry.get("kind", "")
    # a composition that is faulty already gets no second fault
    refused = (_filled(record) - set(entry)) & (set(fields("line")) - _NOT_COMPOSITION)
    if "name" not in entry or refused:
        return kind, None
    try:
        kind, material = find(entry["name"], kind, entry)
    except KitError as cause:
        name = _blamed(entry)
        faults.add(str(cause), record.cells.get(name, record.place), name)
        return kind, None
    record.note(_wrong_line(entry, kind, material), faults)
    return kind, material


def _blamed(entry: dict) -> str:
    """The field that a fault about the composition is reported at."""
    try:
        how = way(entry)
    except KitError:
        return "name"
    return _BLAMED.get(how, "material" if "material" in entry else "name")


def _wrong_line(entry: dict, kind: str, material: Material | None) -> Iterator[Wrong]:
    """What does not go together on one line."""
    name = entry["name"]
    yield from _hidden_cure(entry, kind)
    if kind == "cure" and not entry.get("nitrite_pct", 0) + entry.get("nitrate_pct", 0):
        remedy = "read it from the label and write nitrite_pct (and nitrate_pct, if it holds any); it is never guessed"
        yield "nitrite_pct", f"{name!r} is a cure without its strength", remedy
    if kind != "cure" and ("nitrite_pct" in entry or "nitrate_pct" in entry):
        what = f"{name!r} has a nitrite or nitrate strength but is of kind {kind!r}"
        yield "nitrite_pct", what, "write kind = 'cure'"
    chemical, compounds = kind in ("accelerator", "phosphate"), fields("line")["form"].choices
    listed = material is not None and material.name in compounds
    if chemical and "form" not in entry and not listed:
        remedy = f"write form as one of: {', '.join(compounds)}"
        yield "form", f"{name!r} does not say which compound it is", remedy
    if "form" in entry and not chemical:
        what = f"{name!r} names a compound but is of kind {kind!r}"
        yield "form", what, "form is for accelerator and phosphate"


def _hidden_cure(entry: dict, kind: str) -> Iterator[Wrong]:
    """A cure counted as something else hides its nitrite.

    A label that was read clears every line but table salt.
    """
    if kind in ("cure", "meat", "rework", "accelerator"):
        return
    if kind != "salt" and entry.get("cure_label_read") == "yes":
        return
    counts, way_out = kind, LABEL_READ
    if kind == "salt":
        counts = "table salt"
        way_out = "if the label names no nitrite or nitrate, call the line 'salt'"
    words = ((name, cure_word(entry.get(name, ""))) for name in ("name", "material"))
    for name, word in words:
        if word is not None:
            yield (
                name,
                f"STOP: {entry[name]!r} is what the trade calls a salt that carries {word.brings}, but the line counts as "
                f"{counts}, so its {word.brings} would be in no sum. Which strength is it",
                f"write kind = 'cure' and nitrite_pct or nitrate_pct from the bag's label; {way_out}",
            )
            return


def _kilograms(
    records: list[DraftEntry], amounts: Sequence[Amount | None], kinds: list[str], faults: Faults
) -> tuple[float, ...] | None:
    """Kilograms of each line, or None with the fault noted."""
    known = [a for a in amounts if a is not None]
    is_meat = [kind == "meat" for a, kind in zip(amounts, kinds) if a is not None]
    share = sums(known)["batch"]
    at = NOWHERE
    for record, amount in reversed(list(zip(records, amounts))):
        if amount is not None and amount.basis == "batch":
            at = record.cells["amount"]
    if share >= 100:
        faults.add(
            f"the shares of batch add up to {share:g} %",
            at,
            "amount",
            "they must add up to less than 100 %; give at least one line as a mass",
        )
        return None
    if len(known) < len(records) or not all(kinds):
        return None
    try:
        kg = resolve(known, is_meat)
    except KitError as cause:
        what, _, remedy = str(cause).partition("; ")
        place = at if share else Cell(None, label=records[0].place.label)
        faults.add(what, place, "amount", remedy)
        return None
    for record, amount, weight in zip(records, known, kg):
        if not LEAST_KG <= weight <= MOST_KG and "meat" in kinds:
            faults.add(
                f"amount {amount.written!r} is {weight:g} kg; a line must weigh between {LEAST_KG:g} and {MOST_KG:g} kg",
                record.cells["amount"],
                "amount",
                "check the unit and the amount of meat",
            )
    return kg


# --- weighings ---


def _weighings(records: list[DraftEntry], entries: Entries, faults: Faults) -> list[dict]:
    weights = set(fields("weighing")) - set(_NO_WEIGHTS)
    found: dict[str, dict] = {}
    for record in records:
        entry = entries(record)
        stage = entry.get("stage", "")
        if not weights & _filled(record):
            faults.add(
                f"stage {stage or 'without a name'} has no weight",
                record.place,
                "in_kg",
                "write in_kg, out_kg or both, or take the stage out",
            )
        if stage and stage in found:
            faults.add(
                f"stage {stage!r} is weighed twice",
                record.cells["stage"],
                "stage",
                "add the weights of several lots up",
            )
        found.setdefault(stage, entry)
    return list(found.values())


def _filled(record: DraftEntry) -> set[str]:
    return {name for name, cell in record.cells.items() if not blank(cell)}


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

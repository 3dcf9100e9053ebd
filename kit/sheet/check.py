"""Does this draft make a sheet? Reads every entry and collects every fault."""

from collections.abc import Callable, Iterator, Sequence

from kit.errors import KitError
from kit.faults import NOWHERE, REFUSED, Cell, Faults, blank
from kit.materials import Material
from kit.materials.words import cure_word
from kit.sheet.amount import LEAST_KG, MOST_KG, Amount, resolve, sums
from kit.sheet.draft import MANY, MAX_LINES, Draft, DraftEntry, Wrong, near
from kit.sheet.entries import GRILL, PARTS, Line, fields, made
from kit.sheet.own import blamed, find, same_recipe
from kit.sheet.values import NotUsable, checked, said_of

Entries = Callable[[DraftEntry], dict]
"""the checked values of a record"""

LABEL_READ = (
    "if you have read the label and it names no nitrite or nitrate, write cure_label_read = 'yes'"
)
_NO_WEIGHTS = ("stage", "sd_kg", "note")
_NOT_COMPOSITION = {"name", "amount", "temperature_C", "pH", "price_per_kg", "stock_kg", "note"}


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
    for name in (name for name in record.cells if name not in known):
        gaps = {"part": record.part, "entry": name[:60], "near": near(name, known)}
        faults.say("unknown field", record.cells[name], name[:60], **gaps)
    values = {}
    for name, field in known.items():
        cell = record.cells.get(name)
        if cell is not None and cell.value is REFUSED:
            continue
        if cell is None or blank(cell):
            if field.needed:
                at = cell or record.place
                faults.say("missing field", at, name, field=name, meaning=field.meaning)
            continue
        try:
            values[name] = checked(field, cell, typed, comma)
        except NotUsable as refused:
            faults.say(refused.key, cell, name, **said_of(field, cell) | refused.gaps)
        except KitError as refused:
            faults.refuse(refused, cell, name)
    return values


def _merged(part: str, records: list[DraftEntry], faults: Faults) -> DraftEntry:
    """Batch and process entries, which a grid holds one to a row, as one."""
    whole = DraftEntry(part, records[0].place if records else NOWHERE)
    for record in records:
        for name in record.cells.keys() & whole.cells.keys():
            faults.say("field twice", record.cells[name], name, field=name)
        whole.cells |= record.cells
    return whole


# --- lines ---


def _lines(records: list[DraftEntry], entries: Entries, faults: Faults) -> tuple[Line, ...]:
    if not records:
        if not faults.lost:
            faults.say("no lines")
        return ()
    values = [entries(record) for record in records]
    _find_duplicates(records, values, faults)
    known = [_known(record, entry, faults) for record, entry in zip(records, values)]
    kinds = [kind for kind, _ in known]
    if all(kinds) and "meat" not in kinds:
        faults.say("no meat")
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
            faults.say("line twice", cell, "name", line=entry["name"], first=where)
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
        name = blamed(entry)
        faults.refuse(cause, record.cells.get(name, record.place), name)
        return kind, None
    record.note(_wrong_line(entry, kind, material), faults)
    return kind, material


def _wrong_line(entry: dict, kind: str, material: Material | None) -> Iterator[Wrong]:
    """What does not go together on one line."""
    gaps = {"line": entry["name"], "kind": kind}
    yield from _hidden_cure(entry, kind)
    if kind == "cure" and not entry.get("nitrite_pct", 0) + entry.get("nitrate_pct", 0):
        yield "nitrite_pct", "cure without strength", gaps
    if kind != "cure" and ("nitrite_pct" in entry or "nitrate_pct" in entry):
        yield "nitrite_pct", "strength of no cure", gaps
    chemical, compounds = kind in ("accelerator", "phosphate"), fields("line")["form"].choices
    listed = material is not None and material.name in compounds
    if chemical and "form" not in entry and not listed:
        yield "form", "no compound", gaps | {"compounds": ", ".join(compounds)}
    if "form" in entry and not chemical:
        yield "form", "compound of another kind", gaps


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
    for name in ("name", "material"):
        word = cure_word(entry.get(name, ""))
        if word is not None:
            said = {"said": entry[name], "brings": word.brings, "counts": counts}
            yield name, "hidden cure", said | {"way_out": way_out}
            return


def _kilograms(
    records: list[DraftEntry], amounts: Sequence[Amount | None], kinds: list[str], faults: Faults
) -> tuple[float, ...] | None:
    """Kilograms of each line, or None with the fault noted."""
    known = [a for a in amounts if a is not None]
    is_meat = [kind == "meat" for a, kind in zip(amounts, kinds) if a is not None]
    share = sums(known)["batch"]
    of_batch = (r for r, a in zip(records, amounts) if a is not None and a.basis == "batch")
    at = next((record.cells["amount"] for record in of_batch), NOWHERE)
    if share >= 100:
        faults.say("shares of batch", at, "amount", share=share)
        return None
    if len(known) < len(records) or not all(kinds):
        return None
    try:
        kg = resolve(known, is_meat)
    except KitError as cause:
        place = at if share else Cell(None, label=records[0].place.label)
        faults.refuse(cause, place, "amount")
        return None
    for record, amount, weight in zip(records, known, kg):
        if not LEAST_KG <= weight <= MOST_KG and "meat" in kinds:
            ends = {"least": LEAST_KG, "most": MOST_KG}
            at = record.cells["amount"]
            faults.say("line weight", at, "amount", amount=amount.written, kg=weight, **ends)
    return kg


# --- weighings ---


def _weighings(records: list[DraftEntry], entries: Entries, faults: Faults) -> list[dict]:
    weights = set(fields("weighing")) - set(_NO_WEIGHTS)
    found: dict[str, dict] = {}
    for record in records:
        entry = entries(record)
        stage = entry.get("stage", "")
        if not weights & _filled(record):
            named = stage or "without a name"
            faults.say("stage without weight", record.place, "in_kg", stage=named)
        if stage and stage in found:
            faults.say("stage twice", record.cells["stage"], "stage", stage=stage)
        found.setdefault(stage, entry)
    return list(found.values())


def _filled(record: DraftEntry) -> set[str]:
    return {name for name, cell in record.cells.items() if not blank(cell)}


def wrong_step(entry: dict, kinds: list[str | None], n: int) -> Iterator[Wrong]:
    """What does not go together in one step of the cook, the n-th of these kinds. A grill comes last, and never alone."""
    if kinds[n] == GRILL and (kinds[0] == GRILL or set(kinds[n:]) != {GRILL}):
        yield "kind", "grill before the cook", {}
    if "wet_bulb_C" in entry and "rh_pct" in entry:
        yield "rh_pct", "both humidities", {}
    wet, dry = entry.get("wet_bulb_C"), entry.get("dry_bulb_C")
    if wet is not None and dry is not None and wet > dry:
        yield "wet_bulb_C", "wet above dry", {"wet": wet, "dry": dry}
    low, high = entry.get("air_low_C"), entry.get("air_high_C")
    if low is None and high is None or not {"kind", "dry_bulb_C"} <= set(entry):
        return
    if low is None or high is None or not low <= dry <= high:
        yield "air_low_C" if high is None else "air_high_C", "half a range of air", {}
    elif entry["kind"] not in ("charcoal cooker", "gas cooker"):
        yield "air_high_C", "range of another kind", {"kind": entry["kind"]}
    elif wet is not None and wet > low:
        yield "wet_bulb_C", "wet above the range", {"wet": wet, "low": low}


def wrong_process(process: dict) -> Iterator[Wrong]:
    """Counts are whole, and a holding time has its core temperature."""
    for name in ("grind_passes", "core_probes"):
        if process.get(name, 0.0) % 1:
            yield name, "part of a count", {"field": name, "count": process[name]}
    if "core_held_min" in process and "core_measured_C" not in process:
        yield "core_held_min", "held at what", {}

"""Does this draft make a sheet? Reads every entry, collects every fault, and only then builds the Sheet."""

from collections.abc import Iterable

from kit.errors import KitError
from kit.materials import Material, cure_word
from kit.reading.faults import REFUSED, Cell, Faults, blank
from kit.sheet.amount import Amount, resolve, sums, weighable_kg
from kit.sheet.fields import NEEDED, PARTS, fields
from kit.sheet.model import CookStep, Line, Process, Sheet, Weighing
from kit.sheet.own import find, same_recipe, way
from kit.sheet.records import MAX_LINES, Draft, Record
from kit.sheet.values import NotUsable, checked, near

_WEIGHTS = {
    "in_kg",
    "out_kg",
    "additions_kg",
    "rework_in_kg",
    "rework_out_kg",
    "samples_kg",
    "scrap_kg",
    "giveaway_kg",
}

_NOT_COMPOSITION = {"name", "amount", "temperature_C", "pH", "price_per_kg", "stock_kg", "note"}


def check(draft: Draft, faults: Faults, default_name: str) -> Sheet:
    """The Sheet that `draft` holds. Raises Faulty with everything found here and everything already in `faults`."""
    parts = {part: [record for record in draft.records if record.part == part] for part in PARTS}
    for part in ("line", "cook", "weighing"):
        if len(parts[part]) > MAX_LINES:
            faults.stop(
                f"the sheet holds {len(parts[part])} {part} entries; the limit is {MAX_LINES}",
                parts[part][MAX_LINES].place,
                remedy="a sheet is one batch; split it into several",
            )
    comma = _declares_comma(parts["batch"])
    head, process = (_merged(parts[part], draft, comma, faults) for part in ("batch", "process"))
    lines = _lines(parts["line"], draft, comma, faults)
    cook = [
        CookStep(tuple(_cook_step(record, draft, comma, faults).items()))
        for record in parts["cook"]
    ]
    weighings = _weighings(parts["weighing"], draft, comma, faults)
    faults.stop_if_any()
    return Sheet(
        head.get("name", default_name),
        lines,
        Process(tuple(process.items()), tuple(cook)),
        weighings,
        head.get("rule", ""),
        head.get("currency", ""),
        head.get("note", ""),
        tuple(draft.notes),
    )


def _declares_comma(batch: Iterable[Record]) -> bool:
    return any(
        str(record.cells["decimal"].value).strip() == ","
        for record in batch
        if "decimal" in record.cells
    )


def _entries(record: Record, draft: Draft, comma: bool, faults: Faults) -> dict:
    """Checked values of one record, in the order of the table of fields; what is refused becomes a fault and is left out."""
    known = fields(record.part)
    for name, cell in record.cells.items():
        if name not in known:
            faults.add(
                f"a {record.part} entry has no field {name[:60]!r}; nearest: {near(name, known)}",
                cell,
                name[:60],
                "correct the name or take it out",
            )
    values = {}
    for name, field in known.items():
        cell = record.cells.get(name)
        if cell is not None and cell.value is REFUSED:
            continue
        if not blank(cell):
            try:
                values[name] = checked(field, cell, draft.typed, comma)
            except NotUsable as refused:
                faults.add(refused.what, cell, name, refused.remedy)
        elif name in NEEDED.get(record.part, ()):
            faults.add(
                f"{name} is missing ({field.meaning})",
                record.place if cell is None else cell,
                name,
                "every such entry needs it",
            )
    return values


def _merged(records: list[Record], draft: Draft, comma: bool, faults: Faults) -> dict:
    """Batch and process entries, which a grid holds one to a row."""
    merged = {}
    for record in records:
        for name in record.cells:
            if name in merged:
                faults.add(
                    f"{name} is given twice", record.cells[name], name, "keep one of the two"
                )
        merged |= record.cells
    if not records:
        return {}
    return _entries(Record(records[0].part, records[0].place, merged), draft, comma, faults)


def _lines(records: list[Record], draft: Draft, comma: bool, faults: Faults) -> tuple[Line, ...]:
    if not records and faults.lost:
        return ()
    if not records:
        faults.add(
            "the sheet holds no ingredient lines",
            remedy="write at least one line with a name and an amount, such as 'pork trim' and '25 kg'",
        )
        return ()
    values = [_entries(record, draft, comma, faults) for record in records]
    _find_duplicates(records, values, faults)
    known = [_known(record, entry, faults) for record, entry in zip(records, values)]
    kinds = [kind for kind, _ in known]
    if all(kinds) and "meat" not in kinds:
        faults.add("the sheet holds no meat", remedy="add a line of kind 'meat'")
    amounts = [entry.get("amount") for entry in values]
    kg = _kilograms(records, amounts, kinds, faults)
    if faults.found or kg is None:
        return ()
    made = [(m, x) for (_, m), x in zip(known, kg) if m is not None]
    return tuple(
        Line(
            kind,
            entry["name"],
            entry["amount"],
            x,
            m or same_recipe(entry["name"], *zip(*made)),
            tuple(
                (key, value)
                for key, value in entry.items()
                if key not in ("kind", "name", "amount")
            ),
        )
        for entry, (kind, m), x in zip(values, known, kg)
    )


def _find_duplicates(records, values, faults) -> None:
    first: dict[str, Cell] = {}
    for record, entry in zip(records, values):
        if "name" not in entry:
            continue
        name, cell = entry["name"].casefold(), record.cells["name"]
        if name in first:
            where = (
                f"row {first[name].row}"
                if first[name].row is not None
                else first[name].label or "an earlier line"
            )
            faults.add(
                f"name {entry['name']!r} stands twice, first in {where}",
                cell,
                "name",
                "add the amounts up, or give the second another name and the first one as its material",
            )
        first.setdefault(name, cell)


def _known(record: Record, entry: dict, faults: Faults):
    """Kind and material of one line; ('', None) where they could not be found, with the fault noted."""
    if "name" not in entry:
        return entry.get("kind", ""), None
    if (_filled(record) - set(entry)) & (set(fields("line")) - _NOT_COMPOSITION):
        return (
            entry.get("kind", ""),
            None,
        )  # what it is made of is faulty already; a second fault about the same thing helps nobody
    try:
        kind, made = find(entry["name"], entry.get("kind", ""), entry)
    except KitError as cause:
        name = _blamed(entry)
        faults.add(str(cause), record.cells.get(name, record.place), name)
        return entry.get("kind", ""), None
    _check_cure_word(record, entry, kind, faults)
    _check_label(record, entry, kind, faults)
    _check_form(record, entry, kind, made, faults)
    return kind, made


def _blamed(entry: dict) -> str:
    """The field that a fault about the composition is reported at."""
    try:
        how = way(entry)
    except KitError:
        return "name"
    return {
        "lean": "lean",
        "eye": "fat_low_pct",
        "lab": "moisture_pct",
        "recipe": "composition",
        "label": "nitrite_pct",
    }.get(how, "material" if "material" in entry else "name")


def _check_cure_word(record: Record, entry: dict, kind: str, faults: Faults) -> None:
    """A cure counted as something else hides its nitrite. A label that was read clears every line but table salt."""
    if (
        kind in ("cure", "meat", "rework", "accelerator")
        or kind != "salt"
        and entry.get("cure_label_read") == "yes"
    ):
        return
    for name in ("name", "material"):
        if (word := cure_word(entry.get(name, ""))) is None:
            continue
        way_out = (
            "if the label names no nitrite or nitrate, call the line 'salt'"
            if kind == "salt"
            else "if you have read the label and it names no nitrite or nitrate, write cure_label_read = 'yes'"
        )
        faults.add(
            f"STOP: {entry[name]!r} is what the trade calls a salt that carries {word.brings}, but the line counts as "
            f"{'table salt' if kind == 'salt' else kind}, so its {word.brings} would be in no sum. Which strength is it",
            record.cells[name],
            name,
            f"write kind = 'cure' and nitrite_pct or nitrate_pct from the bag's label; {way_out}",
        )
        return


def _check_label(record: Record, entry: dict, kind: str, faults: Faults) -> None:
    label = entry.get("nitrite_pct", 0) + entry.get("nitrate_pct", 0)
    if kind == "cure" and not label:
        faults.add(
            f"{entry['name']!r} is a cure without its strength",
            record.place,
            "nitrite_pct",
            "read it from the label and write nitrite_pct (and nitrate_pct, if it holds any); it is never guessed",
        )
    if kind != "cure" and ("nitrite_pct" in entry or "nitrate_pct" in entry):
        faults.add(
            f"{entry['name']!r} has a nitrite or nitrate strength but is of kind {kind!r}",
            record.place,
            "nitrite_pct",
            "write kind = 'cure'",
        )


def _check_form(
    record: Record, entry: dict, kind: str, made: Material | None, faults: Faults
) -> None:
    chemical = kind in ("accelerator", "phosphate")
    compounds = fields("line")["form"].choices
    if chemical and "form" not in entry and made.name not in compounds:
        faults.add(
            f"{entry['name']!r} does not say which compound it is",
            record.place,
            "form",
            f"write form as one of: {', '.join(compounds)}",
        )
    if "form" in entry and not chemical:
        faults.add(
            f"{entry['name']!r} names a compound but is of kind {kind!r}",
            record.cells["form"],
            "form",
            "form is for accelerator and phosphate",
        )


def _kilograms(
    records, amounts: list[Amount | None], kinds: list[str], faults: Faults
) -> tuple[float, ...] | None:
    """Kilograms of each line, or None with the fault noted."""
    written = [(a, kind == "meat") for a, kind in zip(amounts, kinds) if a is not None]
    share = sums(*zip(*written)).pct_of_batch if written else 0.0
    at = next(
        (
            record.cells["amount"]
            for record, a in zip(records, amounts)
            if a is not None and a.basis == "batch"
        ),
        Cell(None),
    )
    if share >= 100:
        faults.add(
            f"the shares of batch add up to {share:g} %",
            at,
            "amount",
            "they must add up to less than 100 %; give at least one line as a mass",
        )
    elif len(written) == len(records) and all(kinds):
        try:
            kg = resolve(*zip(*written))
        except KitError as cause:
            what, _, remedy = str(cause).partition("; ")
            faults.add(
                what, at if share else Cell(None, label=records[0].place.label), "amount", remedy
            )
            return None
        least, most = weighable_kg()
        for record, amount, weight in zip(records, amounts, kg):
            if not least <= weight <= most and "meat" in kinds:
                faults.add(
                    f"amount {amount.written!r} comes to {weight:g} kg; a line must weigh between {least:g} and {most:g} kg",
                    record.cells["amount"],
                    "amount",
                    "check the unit and the amount of meat",
                )
        return kg
    return None


def _cook_step(record: Record, draft: Draft, comma: bool, faults: Faults) -> dict:
    entry = _entries(record, draft, comma, faults)
    if "wet_bulb_C" in entry and "rh_pct" in entry:
        faults.add(
            "the step gives both wet_bulb_C and rh_pct",
            record.cells["rh_pct"],
            "rh_pct",
            "keep one; the other follows from it",
        )
    if "wet_bulb_C" in entry and entry["wet_bulb_C"] > entry.get("dry_bulb_C", entry["wet_bulb_C"]):
        faults.add(
            f"wet_bulb_C {entry['wet_bulb_C']:g} is above dry_bulb_C {entry['dry_bulb_C']:g}; a wet bulb never reads higher",
            record.cells["wet_bulb_C"],
            "wet_bulb_C",
            "check that the two are not swapped",
        )
    return entry


def _weighings(
    records: list[Record], draft: Draft, comma: bool, faults: Faults
) -> tuple[Weighing, ...]:
    found: dict[str, Weighing] = {}
    for record in records:
        entry = _entries(record, draft, comma, faults)
        stage = entry.get("stage", "")
        if not _WEIGHTS & _filled(record):
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
        found.setdefault(stage, Weighing(tuple(entry.items())))
    return tuple(found.values())


def _filled(record: Record) -> set[str]:
    return {name for name, cell in record.cells.items() if not blank(cell)}

"""A class's own tube tests and cook losses, as typed lines or as a CSV file, become measured rows for a calibration.

A row starts from one batter and says what was different at that station (end_C=20, salt_pct=1, ...) and what was measured: sample_g with fat_ml and
gel_water_ml, or raw_kg with cooked_kg and, where the smokehouse dries, drying_pct. Every fault of every row is told at once.
"""

from collections.abc import Iterable, Mapping, Sequence
from statistics import fmean

from kit import units
from kit.emulsion.batter import NUMBERS, Batter
from kit.emulsion.calibrate import MeasuredLoss, from_cook, from_tube
from kit.emulsion.factors import FACTORS
from kit.errors import KitError, WrongUnit, need_known
from kit.faults import Faults
from kit.reading.cells import as_text
from kit.reading.columns import headed, only_table
from kit.reading.shapes import FileLimits, Form

TUBE, COOK = ("sample_g", "fat_ml", "gel_water_ml"), ("raw_kg", "cooked_kg", "drying_pct")
TEXTS = ("label", "note")
OF_CLASS = (
    *("plan", "code", "station", "batter", "tube", "level", "response"),
    *("empty_g", "filled_g", "after_g", "loss_pct", "fold", "depth_mm"),
)
"""columns of merged.csv, the tubes of a whole class: they become one row for each level"""
COLUMNS = (*TEXTS, *TUBE, *COOK, *NUMBERS)
_UNITS = {"g": "g", "ml": "ml", "kg": "kg", "C": "°C", "um": "µm"}
"""how a column's name ends -> the unit of its numbers"""
BY_DILUTION = ("fat_pct", "phosphate_pct", "salt_pct")
"""more of these makes less of all else"""
SHORT = {"g": "sample_g", "water": "gel_water_ml"} | {
    name.rpartition("_")[0]: name
    for name in ("fat_ml", *COOK, "end_C", "core_C", "salt_pct", "phosphate_pct")
}
"""short names for typed rows only"""
LIMITS = FileLimits(
    (".csv", ".xlsx"), 200_000, "a class makes a few rows; cut the table down to them"
)
_FORM = Form(LIMITS, headed((*COLUMNS, *OF_CLASS).__contains__, 1), "no tube tests")


def measured_rows(
    rows: Iterable[tuple[str, Mapping[str, str]]], base: Batter
) -> tuple[MeasuredLoss, ...]:
    """Measured losses from (place, {column: text}) rows on a batter. Raises Faulty with every fault."""
    faults, found = Faults("", "the measured rows"), []
    for place, row in rows:
        try:
            found.append(_measured(row, base, place))
        except KitError as cause:
            faults.add(str(cause), name=place)
    if not found and not faults.found:
        faults.say("no measured row")
    faults.stop_if_any()
    return tuple(found)


def typed(lines: Sequence[str]) -> tuple[tuple[str, dict[str, str]], ...]:
    """Rows from lines such as 'warm, end=20, g=30, fat=0.9, water=2.1': a name, then short or full names of columns. Empty lines are left out."""
    faults, rows = Faults("", "the typed rows"), []
    for number, line in enumerate(lines, 1):
        place, row = f"row {number}", {}
        pairs = [pair.strip() for pair in line.replace(";", ",").split(",") if pair.strip()]
        for n, pair in enumerate(pairs):
            name, sign, value = (part.strip() for part in pair.partition("="))
            name = SHORT.get(name, name) if sign else "label"
            if not sign and n:
                faults.say("no equals sign", name=place, pair=pair)
            elif name in row:
                faults.say("given twice", name=place, given=name)
            else:
                row[name] = value if sign else pair
        if row:
            rows.append((place, row))
    faults.stop_if_any()
    return tuple(rows)


def as_typed(row: Mapping[str, str]) -> str:
    """One row as the short text that `typed` reads."""
    short = {full: name for name, full in SHORT.items()}
    said = {name: text for name, text in row.items() if name not in TEXTS}
    return ", ".join([row["label"], *(f"{short.get(n, n)}={text}" for n, text in said.items())])


def from_csv(name: str, content: bytes) -> tuple[tuple[str, dict[str, str]], ...]:
    """Rows of a CSV file or a workbook of one sheet; semicolons between columns mean decimal commas."""
    table = only_table(content, name, _FORM)
    comma = "," if "columns separated by semicolons" in table.notes else "."
    columns = {
        key: [
            text if key in TEXTS else text.replace(comma, ".")
            for text in as_text(column).to_pylist()
        ]
        for key, column in zip(table.names, table.columns)
    }
    places = (f"{name}, row {number}" for number in table.row)
    rows = (dict(zip(columns, row)) for row in zip(*columns.values()))
    found = tuple((place, {k: v for k, v in row.items() if v}) for place, row in zip(places, rows))
    return _by_level(found, name) if "loss_pct" in columns else found


def _by_level(
    rows: Sequence[tuple[str, dict[str, str]]], name: str
) -> tuple[tuple[str, dict[str, str]], ...]:
    """A class's tubes as one cook loss for each level: the mean of its batters' means, for tubes of a batter and stations of a level share what the model misses."""
    levels: dict[tuple, dict[tuple, list[float]]] = {}
    for place, row in rows:
        if row.get("response", "cook_loss_pct") != "cook_loss_pct":
            raise KitError(
                f"{place}: this class measured {row['response']}; the levels need the whole cook loss"
            )
        if missing := [key for key in ("level", "station", "batter", *NUMBERS) if key not in row]:
            raise KitError(
                f"{place}: {missing[0]} is missing; hand in merged.csv as the class wrote it"
            )
        if "loss_pct" in row:
            its = levels.setdefault((row["level"], *(row[key] for key in NUMBERS)), {})
            its.setdefault((row["station"], row["batter"]), []).append(
                _number("loss_pct", row["loss_pct"])
            )
    found = []
    for (level, *numbers), batters in levels.items():
        loss = fmean(fmean(losses) for losses in batters.values())
        label = f"{level} ({len({s for s, _ in batters})} stations, {sum(map(len, batters.values()))} tubes)"
        row = {
            "label": label,
            "raw_kg": "100",
            "cooked_kg": repr(100 - loss),
            **dict(zip(NUMBERS, numbers)),
        }
        found.append((f"{name}, {level}", row))
    return tuple(found)


def _measured(row: Mapping[str, str], base: Batter, place: str) -> MeasuredLoss:
    for name in row:
        need_known("column", name, COLUMNS)
    label = row.get("label", "") or place
    said = {name: _number(name, text) for name, text in row.items() if name not in TEXTS}
    batter = _changed(base, {name: value for name, value in said.items() if name in NUMBERS})
    tube, cook = [name for name in TUBE if name in said], [name for name in COOK if name in said]
    if tube and cook:
        raise KitError("it holds a tube test and a cook loss; put them in two rows")
    if tube:
        _need_all(said, TUBE, "a tube test")
        sample_g, fat_ml, gel_water_ml = (said[name] for name in TUBE)
        return from_tube(batter, sample_g, fat_ml, gel_water_ml, label)
    _need_all(said, COOK[:2], "a cook loss" if cook else "a row")
    return from_cook(
        batter, said["raw_kg"], said["cooked_kg"], said.get("drying_pct", 0.0), label=label
    )


def _need_all(said: Mapping[str, float], names: Sequence[str], what: str):
    missing = [name for name in names if name not in said]
    other = f" or {', '.join(TUBE)}" if what == "a row" else ""
    if missing:
        raise KitError(f"{what} needs {', '.join(names)}{other}; {missing[0]} is missing")


def _number(name: str, text: str) -> float:
    unit = _UNITS.get(name.rpartition("_")[2])
    if unit and unit != "µm":
        return units.read(text, unit, name, bare=unit)
    try:
        return float(str(text).removesuffix("%").removesuffix("µm").strip().replace("−", "-"))
    except ValueError:
        wanted = f"give one number in {unit}" if unit else "give one number"
        raise WrongUnit(f"{name} is {text!r}; {wanted}") from None


def _changed(base: Batter, changes: Mapping[str, float]) -> Batter:
    """The station's batter. Fat, salt and phosphate are stirred in or left out, unless the row gives the water, and so the composition, itself."""
    if "water_pct" in changes:
        return base.but(**changes)
    batter = base.but(**{name: value for name, value in changes.items() if name not in BY_DILUTION})
    for _ in range(3):
        for name in BY_DILUTION:
            if name in changes:
                batter = FACTORS[name].at(batter, changes[name])
    return batter.but(**{name: float(getattr(batter, name)) for name in NUMBERS})

"""What limits did a person write? TOML, CSV or a workbook becomes rule sets; every fault is found before any is raised."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from math import inf
from pathlib import Path

from kit import tables
from kit.errors import nearest
from kit.faults import Cell, Faults, blank
from kit.meat_block.quantities import quantities
from kit.reading import opener
from kit.reading.cells import as_text
from kit.reading.columns import headed, only_table
from kit.reading.shapes import ColumnTable, FileLimits, Form
from kit.rules.limits import (
    BASES,
    COMPARISONS,
    PER_MILLION,
    QUANTITIES,
    day_of,
    forms_of,
)
from kit.rules.rule_sets import RuleSet, rule_sets, sets_of

_HEAD = "rule_set set_title jurisdiction product_kind edition date_from date_to set_note"
_LIMIT = "quantity title comparison limit unit basis as_salt source where status note"
SET_COLUMNS, LIMIT_COLUMNS = tuple(_HEAD.split()), tuple(_LIMIT.split())
COLUMNS = (*SET_COLUMNS, *LIMIT_COLUMNS)
_OPTIONAL = (
    "set_title",
    "date_to",
    "set_note",
    "title",
    "unit",
    "basis",
    "as_salt",
    "where",
    "note",
)
_REQUIRED = tuple(column for column in COLUMNS if column not in _OPTIONAL)
_SIGNS = {"<=": "max", "≤": "max", "<": "below", ">=": "min", "≥": "min", ">": "above"}
_SAID = {sign: COMPARISONS[key] for sign, key in _SIGNS.items()} | {
    words: words for words in COMPARISONS.values()
}
_TOML_NAMES = {"key": "rule_set", "title": "set_title", "note": "set_note"}
_HEAD_KEYS = (
    *(column for column in SET_COLUMNS if column[:4] not in ("rule", "set_")),
    *_TOML_NAMES,
)
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?$")
_FILE = FileLimits((".toml", ".csv", ".xlsx"), 5_000_000, "keep one file for each kind of product")
_MISSING = ("there are no rules", f"the first row names the columns {', '.join(COLUMNS)}")
_FORM = Form(_FILE, headed(COLUMNS.__contains__, 1), _MISSING, separators=",;\t|")
_EXAMPLE = "see the example in kit.reading.rules.read_rule_set"
_REMEDIES = {
    "comparison": f"write one of: {', '.join(COMPARISONS.values())}",
    "status": "say how you know it; write one of: "
    + ", ".join(f"{key} ({words})" for key, words in tables.STATUSES.items()),
    "date_from": "write a year, a month or a day: 2024, 2024-07 or 2024-07-01",
    "source": "name where the rule is written",
    "quantity": "write a name from kit.rules.quantities() or kit.rules.QUANTITIES",
}

Row = tuple[dict[str, str], Cell]


def read_rule_set(source) -> RuleSet:
    """A rule set that a person wrote.

        [rule_set]
        key = "somewhere_frankfurter"
        title = "Frankfurter of somewhere"
        jurisdiction = "Somewhere"
        product_kind = "frankfurter"
        edition = "2024"
        date_from = "2024-01-01"            # a year, a month or a day
        source = "Food code of somewhere"   # in your own words, for every limit below that names no other

        [[rule]]
        quantity = "fat_pct_of_finished"    # a name from kit.rules.quantities()
        comparison = "at most"              # at most, below, at least, above (or <=, <, >=, >)
        limit = 25
        where = "section 12"
        status = "read"                     # read, quoted, memory, practice, teaching or computed

        [[rule]]
        quantity = "nitrite ingoing"        # or one of kit.rules.QUANTITIES, with unit, basis and as_salt
        comparison = "at most"
        limit = 120
        unit = "mg/kg"                      # mg/kg or %
        basis = "meat"                      # meat, batch, finished or accelerators
        as_salt = "NaNO2"                   # NaNO2, KNO2, NO2, NaNO3, KNO3, NO3 or "as used"
        status = "memory"

    source: a path (.toml, .csv, .xlsx), TOML or CSV text, or a dict of the TOML's shape. A table holds one row for each limit with
    the set's columns repeated (rule_set for key). Optional: title, date_to and set_note of the set; title, source, where and note of
    a limit; unit and basis of a share of the mix, which, where written, must be the quantity's own.

    Returns RuleSet. Raises Faulty with every fault at once.
    """
    rows, faults, said = _rows(source)
    for row, place in rows:
        _check(row, place, faults)
    _check_together(rows, faults)
    faults.stop_if_any()
    found = next(iter(sets_of(row for row, _ in rows).values()))
    return replace(found, note="; ".join(filter(None, (found.note, *said))))


# --- getting at the rows ---


def _rows(source) -> tuple[list[Row], Faults, tuple[str, ...]]:
    """The rows as text, the list of faults, and what was taken on trust."""
    if isinstance(source, Mapping):
        faults = Faults("", "The rules in the given table cannot be used")
        return _toml_rows(source, faults), faults, ()
    whole, name = opener.load(source, "the given text", _FILE)
    faults = Faults(name, f"The rules in {name} cannot be used")
    is_text = isinstance(source, str) and "\n" in source
    in_toml = is_text and re.search(r"^\s*\[", source, re.M) is not None
    if in_toml or Path(name).suffix.lower() == ".toml":
        data, _, said = opener.toml_of(whole, faults)
        return _toml_rows(data, faults), faults, said
    found = only_table(whole, name, _FORM)
    said = tuple(note for note in found.notes if note.startswith(opener.NOT_UTF8))
    return _table_rows(found, faults), faults, said


def _table_rows(table: ColumnTable, faults: Faults) -> list[Row]:
    for column in table.names:
        at = Cell(column, table.header_row, column)
        first = re.sub(r" \(\d+\)$", "", column)
        if first != column and first in COLUMNS:
            faults.add(f"column {first!r} is there twice", at, remedy="keep one")
        elif column not in COLUMNS:
            faults.add(f"column {column!r} is not known", at, remedy=_nearest(column, COLUMNS))
    if missing := [column for column in _REQUIRED if column not in table.names]:
        what = f"the header lacks {', '.join(missing)}"
        faults.stop(what, Cell(None, table.header_row), remedy="the first row names the columns")
    table.say(faults)
    if not table.row.size:
        faults.add("there are no rules", remedy="write at least one row")
        faults.stop_if_any()
    cells = zip(*(as_text(column).to_pylist() for column in table.columns))
    places = (Cell(None, int(number)) for number in table.row)
    return [(_whole(dict(zip(table.names, row))), at) for row, at in zip(cells, places)]


def _toml_rows(table: Mapping, faults: Faults) -> list[Row]:
    for key in table:
        if key not in ("rule_set", "rule"):
            remedy = "a file holds one [rule_set] and [[rule]] entries"
            faults.add(f"{key!r} is not known here", name=str(key), remedy=remedy)
    head, rules = table.get("rule_set", {}), table.get("rule", [])
    if (
        not isinstance(head, Mapping)
        or not isinstance(rules, list)
        or not all(isinstance(rule, Mapping) for rule in rules)
    ):
        what = "[rule_set] must be one table and every [[rule]] a table of its own"
        faults.stop(what, remedy=_EXAMPLE)
    if not rules:
        faults.stop("there are no rules", name="rule", remedy="write at least one [[rule]]")
    shared = _known(head, (*_HEAD_KEYS, "source"), "rule_set", faults)
    shared = {_TOML_NAMES.get(key, key): text for key, text in shared.items()}
    rows = []
    for number, rule in enumerate(rules, start=1):
        label = f"rule {number}"
        own = _known(rule, LIMIT_COLUMNS, label, faults)
        rows.append((_whole(shared | own), Cell(None, label=label)))
    return rows


def _known(table: Mapping, allowed: Sequence[str], label: str, faults: Faults) -> dict[str, str]:
    for key in table:
        if key not in allowed:
            remedy = _nearest(str(key), allowed)
            faults.add(f"{key!r} is not known", Cell(None, label=label), str(key), remedy)
    return {key: _text(value) for key, value in table.items() if key in allowed}


def _nearest(name: str, known) -> str:
    return f"nearest: {', '.join(nearest(name, known))}"


def _text(value) -> str:
    if isinstance(value, date | datetime):
        return value.isoformat()[:10]
    return "" if blank(Cell(value)) else str(value).strip()


def _whole(row: Mapping[str, str]) -> dict[str, str]:
    return {column: row.get(column, "") for column in COLUMNS}


# --- checking one row ---


def _check(row: dict[str, str], place: Cell, faults: Faults) -> None:
    """Notes what is wrong; the row is left as text that `sets_of` can take."""

    def fault(column: str, what: str, remedy: str = "") -> None:
        if place.row is not None:
            faults.add(what, Cell(None, place.row, column), remedy=remedy)
            return
        names = {column: key for key, column in _TOML_NAMES.items()}
        label = "rule_set" if column in SET_COLUMNS else place.label
        faults.add(what, Cell(None, label=label), names.get(column, column), remedy)

    for column in _REQUIRED:
        if not row[column]:
            fault(column, f"{column} is empty", _REMEDIES.get(column, "fill it in"))
    said = _SAID.get(row["comparison"].casefold(), "")
    for column, known in (("comparison", said), ("status", row["status"] in tables.STATUSES)):
        if row[column] and not known:
            fault(column, f"{column} {row[column]!r} is not known", _REMEDIES[column])
    row["comparison"] = said
    _check_dates(row, fault)
    if row["quantity"] in quantities():
        _check_share(row, fault)
    elif row["quantity"] in QUANTITIES:
        _check_additive(row, fault)
    elif row["quantity"]:
        what = f"quantity {row['quantity']!r} is not known"
        fault("quantity", what, _nearest(row["quantity"], (*quantities(), *QUANTITIES)))
    if row["limit"]:
        row["limit"] = _number(row["limit"], row["unit"], fault)


def _check_dates(row, fault) -> None:
    for column in ("date_from", "date_to"):
        if row[column] and not _is_date(row[column]):
            fault(column, f"{column} {row[column]!r} is no date", _REMEDIES["date_from"])
            row[column] = ""
    since, until = day_of(row["date_from"]), day_of(row["date_to"], last=True)
    if since and until and until < since:
        what = f"date_to {row['date_to']} is before date_from {row['date_from']}"
        fault("date_to", what, "swap or correct them")


def _check_share(row, fault) -> None:
    """Unit and basis of a share of the mix are the quantity's own."""
    quantity = quantities()[row["quantity"]]
    for column, own in (("unit", quantity.unit), ("basis", quantity.basis)):
        if row[column] and row[column] != own:
            what = f"{column} is {row[column]!r}, but {row['quantity']} is in {own!r}"
            others = ", ".join(nearest(row["quantity"], quantities()))
            fault(
                column,
                what,
                f"leave it empty, or choose the quantity with the basis you mean: {others}",
            )
        row[column] = own


def _check_additive(row, fault) -> None:
    """Unit, basis and salt of a limit on cure or an additive have to be said."""
    for column, known in (
        ("unit", PER_MILLION),
        ("basis", BASES),
        ("as_salt", forms_of(row["quantity"])),
    ):
        if row[column] not in known:
            what = f"{column} {row[column]!r} is none of those for {row['quantity']}"
            fault(column, what, f"write one of: {', '.join(known)}")


def _number(text: str, unit: str, fault) -> str:
    """The number without its unit; '' where it is none."""
    bare = text.removesuffix(unit).strip()
    most, said = (100, "a percentage lies between 0 and 100") if unit == "%" else (inf, "")
    try:
        if 0 <= float(bare) <= most and float(bare) < inf:
            return bare
        fault("limit", f"limit {text} is not possible", said or "write a number from 0 up")
    except ValueError:
        if "," in text:
            what = f"limit {text!r} holds a comma, which can mean 3.5 or 3500"
            fault("limit", what, "write a decimal point")
        else:
            what = f"limit {text!r} is no number" + (f" in {unit}" if unit else "")
            fault("limit", what, "write the number alone, such as 30")
    return ""


def _is_date(text: str) -> bool:
    try:
        return bool(_DATE.match(text)) and day_of(text) is not None
    except ValueError:
        return False


# --- checking the rows against each other ---


def _check_together(rows: Sequence[Row], faults: Faults) -> None:
    seen: dict[tuple[str, ...], dict[str, str]] = {}
    head, first = rows[0]
    if head["rule_set"] in rule_sets():
        what = f"rule set {head['rule_set']!r} is one of the kit's own"
        faults.add(what, first, remedy="choose another key")
    for row, place in rows:
        for column in SET_COLUMNS:
            if row[column] != head[column]:
                what = f"{column} is {row[column]!r}, but {head[column]!r} in the first rule"
                remedy = (
                    "a file holds one rule set: one jurisdiction, product kind, edition and date"
                )
                faults.add(what, place, remedy=remedy)
        if row["quantity"] and row["comparison"]:
            _check_pair(row, place, seen, faults)


def _check_pair(row, place: Cell, seen: dict, faults: Faults) -> None:
    """One ceiling and one floor for each quantity on each base, the floor below the ceiling."""
    upper = row["comparison"] in ("at most", "below")
    side, other_side = ("ceiling", "floor") if upper else ("floor", "ceiling")
    what = (row["quantity"], row["basis"])
    if (*what, side) in seen:
        text = f"{row['quantity']} has a {side} already"
        faults.add(text, place, remedy="keep one of the two")
    seen.setdefault((*what, side), row)
    other = seen.get((*what, other_side))
    if not other or not row["limit"] or not other["limit"]:
        return
    low, high = sorted((row, other), key=lambda one: one["comparison"] in ("at most", "below"))
    if float(high["limit"]) < float(low["limit"]) and high["unit"] == low["unit"]:
        text = f"{row['quantity']} cannot be at least {float(low['limit']):g} and at most {float(high['limit']):g}"
        faults.add(text, place, remedy="correct one of the two")

"""What is wrong with this table of rules? Reads TOML or CSV into checked rows; every fault is found before any is raised."""

import csv
import io
import re
import tomllib
from calendar import monthrange
from collections.abc import Mapping
from datetime import date, datetime
from math import isfinite
from pathlib import Path

from kit import tables
from kit.errors import Fault, Faulty, nearest
from kit.rules.quantities import quantities as kit_quantities

SET_COLUMNS = (
    "rule_set",
    "set_title",
    "jurisdiction",
    "product_kind",
    "edition",
    "date_from",
    "date_to",
    "set_note",
)
RULE_COLUMNS = (
    "quantity",
    "title",
    "comparison",
    "limit",
    "unit",
    "basis",
    "source",
    "where",
    "status",
    "note",
)
COLUMNS = (*SET_COLUMNS, *RULE_COLUMNS)
_REQUIRED = (
    "rule_set",
    "jurisdiction",
    "product_kind",
    "edition",
    "date_from",
    "quantity",
    "comparison",
    "limit",
    "source",
    "status",
)
_TOML_SET = {"key": "rule_set", "title": "set_title", "note": "set_note"}
_TOML_NAMES = {column: key for key, column in _TOML_SET.items()}
COMPARISONS = {
    "at most": "at most",
    "<=": "at most",
    "≤": "at most",
    "below": "below",
    "<": "below",
    "at least": "at least",
    ">=": "at least",
    "≥": "at least",
    "above": "above",
    ">": "above",
}
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?$")


def read_table(source, quantities: Mapping | None = None, taken=()) -> list[dict]:
    """Checked rows with every column of COLUMNS, `limit` as a float. Raises Faulty. `taken` are keys that are in use already."""
    known = kit_quantities() if quantities is None else quantities
    name, rows, faults = _rows(source)
    checked = [_check_row(row, place, known, faults) for row, place in rows]
    _check_together(checked, [place for _, place in rows], taken, faults)
    if faults:
        # dict.fromkeys: what [rule_set] of a TOML lacks is found again under every rule, and said once
        raise Faulty(
            f"The rules in {name} cannot be used",
            sorted(dict.fromkeys(faults), key=lambda fault: fault.row or 0),
        )
    return checked


# --- getting at the rows ---


def _rows(source):
    """(name for messages, [(row of text, place)], faults)."""
    if isinstance(source, Mapping):
        return "the given table", *_toml_rows(source, "")
    if isinstance(source, str) and "\n" in source:
        form, text, name = (
            ("toml" if re.search(r"^\s*\[", source, re.M) else "csv"),
            source,
            "the given text",
        )
    else:
        path = Path(source)
        form, name = path.suffix.lower().lstrip("."), path.name
        if form not in ("toml", "csv"):
            return (
                name,
                [],
                [
                    Fault(
                        f"a file ending in {path.suffix or 'nothing'} cannot be read",
                        file=name,
                        remedy="save it as .toml or .csv",
                    )
                ],
            )
        try:
            text = path.read_bytes().decode("utf-8-sig")
        except OSError as cause:
            fault = Fault(
                f"the file cannot be opened ({cause.strerror})",
                file=name,
                remedy="check its name and folder",
            )
            return name, [], [fault]
        except UnicodeDecodeError as cause:
            return (
                name,
                [],
                [
                    Fault(
                        f"byte {cause.start + 1} is not UTF-8 text",
                        file=name,
                        remedy="save the file as UTF-8",
                    )
                ],
            )
    if form == "csv":
        return name, *_csv_rows(text, name)
    try:
        return name, *_toml_rows(tomllib.loads(text), name)
    except tomllib.TOMLDecodeError as cause:
        return (
            name,
            [],
            [
                Fault(
                    f"this is no TOML: {cause}",
                    file=name,
                    remedy="see the example in kit.rules.read_rule_sets",
                )
            ],
        )


def _csv_rows(text, name):
    lines = list(csv.reader(io.StringIO(text)))
    header = [cell.strip() for cell in lines[0]] if lines else []
    if len(header) == 1 and ";" in header[0]:
        return [], [
            Fault(
                "columns are parted by semicolons",
                file=name,
                row=1,
                remedy="save with commas between columns and points in numbers",
            )
        ]
    faults = [
        Fault(
            f"column {column!r} is not known",
            file=name,
            row=1,
            column=column,
            remedy=f"nearest: {', '.join(nearest(column, COLUMNS))}",
        )
        for column in header
        if column not in COLUMNS
    ]
    faults += [
        Fault(
            f"column {column!r} is there twice", file=name, row=1, column=column, remedy="keep one"
        )
        for column in dict.fromkeys(header)
        if header.count(column) > 1
    ]
    missing = [column for column in _REQUIRED if column not in header]
    if missing:
        return [], [
            *faults,
            Fault(
                f"the header lacks {', '.join(missing)}",
                file=name,
                row=1,
                remedy="the first row names the columns",
            ),
        ]
    rows = []
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            faults.append(
                Fault(
                    f"{len(cells)} cells under {len(header)} columns",
                    file=name,
                    row=number,
                    remedy='put text that holds a comma between "quotes"',
                )
            )
            continue
        rows.append(
            (dict(zip(header, (cell.strip() for cell in cells))), {"file": name, "row": number})
        )
    return rows, faults or (
        [] if rows else [Fault("there are no rules", file=name, remedy="write at least one row")]
    )


def _toml_rows(table, name):
    faults = [
        Fault(
            f"{key!r} is not known here",
            file=name,
            field=key,
            remedy="a file holds one [rule_set] and [[rule]] entries",
        )
        for key in table
        if key not in ("rule_set", "rule")
    ]
    head, rules = table.get("rule_set", {}), table.get("rule", [])
    if (
        not isinstance(head, Mapping)
        or not isinstance(rules, list)
        or not all(isinstance(rule, Mapping) for rule in rules)
    ):
        return [], [
            *faults,
            Fault(
                "[rule_set] must be one table and every [[rule]] a table of its own",
                file=name,
                remedy="see the example in kit.rules.read_rule_sets",
            ),
        ]
    if not rules:
        return [], [
            *faults,
            Fault(
                "there are no rules", file=name, field="rule", remedy="write at least one [[rule]]"
            ),
        ]
    allowed = (
        "key",
        "title",
        "jurisdiction",
        "product_kind",
        "edition",
        "date_from",
        "date_to",
        "note",
        "source",
    )
    faults += _unknown_keys(head, allowed, name, "rule_set")
    shared = {
        _TOML_SET.get(key, key): _text(value) for key, value in head.items() if key in allowed
    }
    rows = []
    for number, rule in enumerate(rules, start=1):
        faults += _unknown_keys(rule, RULE_COLUMNS, name, f"rule {number}")
        own = {key: _text(value) for key, value in rule.items() if key in RULE_COLUMNS}
        rows.append((shared | own, {"file": name, "field": f"rule {number}"}))
    return rows, faults


def _unknown_keys(table, allowed, name, place):
    return [
        Fault(
            f"{key!r} is not known",
            file=name,
            field=f"{place}, {key}",
            remedy=f"nearest: {', '.join(nearest(str(key), allowed))}",
        )
        for key in table
        if key not in allowed
    ]


def _text(value) -> str:
    return value.isoformat() if isinstance(value, (date, datetime)) else str(value).strip()


# --- checking one row ---


def _check_row(row, place, known, faults) -> dict:
    """The row with every column, filled from its quantity where it may be; what is wrong goes to `faults`."""
    checked = {column: row.get(column, "") or "" for column in COLUMNS}

    def fault(column, what, remedy=""):
        if "field" in place:
            spot = {
                **place,
                "field": f"{'rule_set' if column in SET_COLUMNS else place['field']}, {_TOML_NAMES.get(column, column)}",
            }
        else:
            spot = {**place, "column": column}
        faults.append(Fault(what, remedy=remedy, **spot))

    for column in _REQUIRED:
        if not checked[column]:
            fault(column, f"{column} is empty", _HELP.get(column, "fill it in"))
    quantity = known.get(checked["quantity"])
    if checked["quantity"] and quantity is None:
        fault(
            "quantity",
            f"quantity {checked['quantity']!r} is not known",
            f"nearest: {', '.join(nearest(checked['quantity'], known))}",
        )
    if checked["comparison"]:
        said = COMPARISONS.get(checked["comparison"].casefold())
        if said is None:
            fault(
                "comparison",
                f"comparison {checked['comparison']!r} is not known",
                _HELP["comparison"],
            )
        checked["comparison"] = said or ""
    if checked["status"] and checked["status"] not in tables.STATUSES:
        fault("status", f"status {checked['status']!r} is not known", _HELP["status"])
    for column in ("date_from", "date_to"):
        if checked[column] and not _is_date(checked[column]):
            fault(column, f"{column} {checked[column]!r} is no date", _HELP["date_from"])
    if (
        _is_date(checked["date_from"])
        and _is_date(checked["date_to"])
        and checked["date_to"] < checked["date_from"]
    ):
        fault(
            "date_to",
            f"date_to {checked['date_to']} is before date_from {checked['date_from']}",
            "swap or correct them",
        )
    if quantity is not None:
        for column in ("unit", "basis"):
            own = getattr(quantity, column)
            if checked[column] and checked[column] != own:
                fault(
                    column,
                    f"{column} is {checked[column]!r}, but {checked['quantity']} is in {own!r}",
                    "leave it empty, or choose the quantity with the basis you mean: "
                    + ", ".join(nearest(checked["quantity"], known)),
                )
            checked[column] = own
        checked["title"] = checked["title"] or quantity.title
    checked["limit"] = (
        _limit(checked["limit"], checked["unit"], fault) if checked["limit"] else None
    )
    return checked


def _limit(text, unit, fault):
    if "," in text:
        fault(
            "limit",
            f"limit {text!r} holds a comma, which can mean 3.5 or 3500",
            "write a decimal point",
        )
        return None
    bare = text.removesuffix(unit).strip() if unit else text
    try:
        limit = float(bare)
    except ValueError:
        fault(
            "limit",
            f"limit {text!r} is no number" + (f" in {unit}" if unit else ""),
            "write the number alone, such as 30",
        )
        return None
    if not isfinite(limit) or limit < 0 or (unit == "%" and limit > 100):
        fault(
            "limit",
            f"limit {text} is not possible",
            "a percentage lies between 0 and 100" if unit == "%" else "write a number from 0 up",
        )
        return None
    return limit


def day_of(text: str, last: bool = False) -> date | None:
    """The first (or last) day of '2024', '2024-07' or '2024-07-01'; None for ''."""
    if not text:
        return None
    if len(text) == 10:
        return date.fromisoformat(text)
    year, month = int(text[:4]), int(text[5:] or (12 if last else 1))
    return date(year, month, monthrange(year, month)[1] if last else 1)


def _is_date(text: str) -> bool:
    try:
        return bool(_DATE.match(text)) and day_of(text) is not None
    except ValueError:
        return False


_HELP = {
    "comparison": "write one of: at most, below, at least, above",
    "status": "say how you know it; write one of: "
    + ", ".join(f"{key} ({words})" for key, words in tables.STATUSES.items()),
    "date_from": "write a year, a month or a day: 2024, 2024-07 or 2024-07-01",
    "source": "name where the rule is written",
    "quantity": "write a name from kit.rules.quantities()",
}


# --- checking the rows against each other ---


def _check_together(rows, places, taken, faults) -> None:
    first: dict[str, dict] = {}
    seen: dict[tuple, dict] = {}
    for row, place in zip(rows, places):
        key = row["rule_set"]
        head = first.setdefault(key, row)
        if head is row and key in taken:
            faults.append(
                Fault(
                    f"rule set {key!r} is one of the kit's own",
                    remedy="choose another key",
                    **place,
                )
            )
        for column in SET_COLUMNS[1:]:
            if row[column] != head[column]:
                faults.append(
                    Fault(
                        f"{column} is {row[column]!r}, but {head[column]!r} in the first rule of {key!r}",
                        remedy="one rule set has one jurisdiction, product kind, edition and date",
                        **place,
                    )
                )
        side = "ceiling" if row["comparison"] in ("at most", "below") else "floor"
        if row["quantity"] and row["comparison"]:
            if (key, row["quantity"], side) in seen:
                faults.append(
                    Fault(
                        f"{row['quantity']} has a {side} in {key!r} already",
                        remedy="keep one of the two",
                        **place,
                    )
                )
            seen.setdefault((key, row["quantity"], side), row)
            other = seen.get((key, row["quantity"], "floor" if side == "ceiling" else "ceiling"))
            if other and None not in (row["limit"], other["limit"]):
                high, low = (row, other) if side == "ceiling" else (other, row)
                if high["limit"] < low["limit"]:
                    faults.append(
                        Fault(
                            f"{row['quantity']} cannot be at least {low['limit']:g} and at most {high['limit']:g}",
                            remedy="correct one of the two",
                            **place,
                        )
                    )

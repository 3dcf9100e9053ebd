"""Rows and columns to entries and back: what CSV and workbook share.

A grid has its header in row 1. Each row is one entry. In a grid of several parts the column `part` says which: line, batch, process,
cook or weighing; without it every row is an ingredient line. Batch and process entries stand one to a row, as `name` and `value`.
The amount of a line stands in `amount` and `unit` ('25' and 'kg', '2' and '% of meat'), or whole in `amount` ('1 lb 4 oz').
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from kit.faults import REFUSED, Cell, Faults, blank
from kit.files import number_text
from kit.sheet.amount import NUMBER
from kit.sheet.draft import Record, near
from kit.sheet.entries import PARTS, fields

PAIRS = ("batch", "process")
_PAIR_COLUMNS = ("name", "value")
_ONE_AMOUNT = re.compile(rf"({NUMBER}) (\D.*)")
MAX_ROWS, MAX_COLUMNS = 2000, 100
_LOOKED_AT = 30


def columns(part: str) -> tuple[str, ...]:
    """The columns of a part, in the order in which they are written."""
    if part in PAIRS:
        return _PAIR_COLUMNS
    return tuple(
        name
        for field in fields(part)
        for name in ((field, "unit") if field == "amount" else (field,))
    )


def records(rows: Sequence[Sequence[Cell]], part: str, faults: Faults) -> list[Record]:
    """The entries of a grid. `part` is the part that every row belongs to; '' lets the column `part` decide."""
    rows = [row for row in rows if any(not blank(cell) for cell in row)]
    header = _header(rows, part, faults) if rows else {}
    if not header:
        return []
    found = []
    for row in rows[1:]:
        cells = {name: row[n] for n, name in header.items() if n < len(row) and not blank(row[n])}
        for n, cell in enumerate(row):
            if not blank(cell) and (n >= len(rows[0]) or blank(rows[0][n])):
                what = f"{_shown(cell)} stands in a column without a header"
                remedy = 'name the column, or take the entry out; a comma inside text needs "quotes" around it'
                faults.add(what, cell, remedy=remedy)
        record = _record(cells, part or _part(cells.pop("part", None), faults), row[0], faults)
        if record:
            found.append(record)
    return found


def _title(cell: Cell) -> str:
    return cell.value.strip().casefold() if isinstance(cell.value, str) else ""


def _shown(cell: Cell) -> str:
    return repr(str(cell.value)[:60])


def _header(rows: Sequence[Sequence[Cell]], part: str, faults: Faults) -> dict[int, str]:
    """Column number -> field name; {} with the fault noted where row 1 is no header."""
    known = {name.casefold(): name for one in ([part] if part else PARTS) for name in columns(one)}
    if not part:
        known["part"] = "part"

    def is_header(row) -> bool:
        named = sum(_title(cell) in known for cell in row)
        filled = sum(not blank(cell) for cell in row)
        return named >= min(2, filled) and 2 * named >= min(filled, 4)

    best = next((row for row in rows[:_LOOKED_AT] if is_header(row)), None)
    if best is None:
        faults.lost = True
        names = ", ".join(columns(part)[:5]) if part else "kind, name, amount, unit"
        remedy = f"row 1 must name the columns, such as {names}"
        faults.add("the table has no header", rows[0][0], remedy=remedy)
        return {}
    if best[0].row != 1:
        faults.lost = True
        what = f"the header stands in row {best[0].row}; it must be row 1"
        faults.add(what, best[0], remedy="delete the rows above it")
        return {}
    header: dict[int, str] = {}
    seen: dict[str, str] = {}
    for n, cell in enumerate(rows[0]):
        if blank(cell):
            continue
        name = known.get(_title(cell))
        if name is None:
            nearby = near(str(cell.value), known.values())
            what = f"column {_shown(cell)} is not known; nearest: {nearby}"
            faults.add(what, cell, remedy="correct the name, or delete the column")
        elif name in seen:
            what = f"column {name!r} stands twice, in columns {seen[name]} and {cell.column}"
            faults.add(what, cell, remedy="delete one of them")
        else:
            header[n], seen[name] = name, cell.column
    return header


def _part(cell: Cell | None, faults: Faults) -> str:
    if cell is None:
        return "line"
    part = _title(cell)
    if part in PARTS:
        return part
    what = f"part is {_shown(cell)}; nearest: {near(str(cell.value), PARTS)}"
    faults.add(what, cell, "part", f"write one of: {', '.join(PARTS)}")
    return ""


def _record(cells: dict[str, Cell], part: str, start: Cell, faults: Faults) -> Record | None:
    place = Cell(None, start.row, "", start.sheet)
    if not part:
        return None
    if part in PAIRS:
        return _pair(cells, part, place, faults)
    unit = cells.pop("unit", None) if part == "line" else None
    if unit is not None and "amount" in cells:
        cells["amount"] = _joined(cells["amount"], unit, faults)
    elif unit is not None:
        what = f"unit {_shown(unit)} stands without an amount"
        faults.add(what, unit, "unit", "write the number in the column amount")
        cells["amount"] = Cell(REFUSED, unit.row, "", unit.sheet)
    return Record(part, place, cells)


def _joined(amount: Cell, unit: Cell, faults: Faults) -> Cell:
    """Number and unit as one amount. What is neither number nor text stays as it is and is refused later."""
    value = amount.value
    if value is REFUSED or unit.value is REFUSED:
        return replace(amount, value=REFUSED)
    if not isinstance(unit.value, str):
        what = f"unit is {_shown(unit)}; it needs text such as 'kg' or '% of meat'"
        faults.add(what, unit, "unit", "correct the unit")
        return replace(amount, value=REFUSED)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        try:
            value = number_text(value)
        except OverflowError:
            return amount
    return replace(
        amount, value=f"{value} {unit.value.strip()}" if isinstance(value, str) else value
    )


def _pair(cells: dict[str, Cell], part: str, place: Cell, faults: Faults) -> Record | None:
    written = cells.get("name", place)
    if not isinstance(written.value, str):
        what = f"a {part} row needs the name of its entry"
        faults.add(what, written, "name", f"write one of: {', '.join(fields(part))}")
        return None
    name = written.value.strip()
    for column in cells.keys() - set(_PAIR_COLUMNS):
        what = f"column {column!r} has no meaning in a {part} row"
        faults.add(what, cells[column], column, "such a row holds name and value only")
    if "value" not in cells:
        what = f"{part} {name[:60]!r} has no value"
        faults.add(what, place, "value", "write it in the column value, or delete the row")
        return None
    return Record(part, place, {name: replace(cells["value"], label="")})


def table(data: Mapping, part: str, fits: Callable[[str], bool]) -> list[dict]:
    """The rows of one part of `Sheet.as_dict()`. An amount is split into number and unit where `fits(number)` holds, else kept whole."""
    if part == "batch":
        return [{"name": key, "value": value} for key, value in data.items() if key not in PARTS]
    if part == "process":
        return [{"name": key, "value": value} for key, value in data.get("process", {}).items()]
    rows = [dict(entry) for entry in data.get(part, [])]
    for row in rows:
        hit = _ONE_AMOUNT.fullmatch(row.get("amount", ""))
        two = hit and re.search(rf"^\S+ {NUMBER}", hit[2])
        if hit and not two and fits(hit[1]):
            row["amount"], row["unit"] = hit.groups()
    return rows

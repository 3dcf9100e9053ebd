"""Rows and columns to entries and back: what CSV and workbook share.

A grid has its header in row 1. Each row is one entry. In a grid of several parts the column `part` says which: line, batch, process,
cook or weighing; without it every row is an ingredient line. Batch and process entries stand one to a row, as `name` and `value`.
The amount of a line stands in `amount` and `unit` ('25' and 'kg', '2' and '% of meat'), or whole in `amount` ('1 lb 4 oz').
"""

import re
from collections.abc import Callable, Mapping, Sequence

from kit.errors import nearest
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
    if not rows:
        return []
    header = _header(rows, (part,) if part else PARTS, bool(part), faults)
    if not header:
        return []
    found = []
    for row in rows[1:]:
        cells = {name: row[n] for n, name in header.items() if n < len(row) and not blank(row[n])}
        beyond = [
            cell
            for n, cell in enumerate(row)
            if (n >= len(rows[0]) or blank(rows[0][n])) and not blank(cell)
        ]
        for cell in beyond:
            faults.add(
                f"{str(cell.value)[:60]!r} stands in a column without a header",
                cell,
                remedy='name the column, or take the entry out; a comma inside text needs "quotes" around it',
            )
        record = _record(cells, part or _part(cells.pop("part", None), faults), row[0], faults)
        if record:
            found.append(record)
    return found


def _title(cell: Cell) -> str:
    return cell.value.strip().casefold() if isinstance(cell.value, str) else ""


def _header(rows, parts, alone: bool, faults: Faults) -> dict[int, str]:
    """Column number -> field name; {} with the fault noted where row 1 is no header."""
    known = {name.casefold(): name for part in parts for name in columns(part)} | (
        {} if alone else {"part": "part"}
    )

    def is_header(row) -> bool:
        named, filled = (
            sum(_title(cell) in known for cell in row),
            sum(not blank(cell) for cell in row),
        )
        return named >= min(2, filled) and 2 * named >= min(filled, 4)

    best, first = (
        next((n for n, row in enumerate(rows[:_LOOKED_AT]) if is_header(row)), None),
        rows[0][0],
    )
    faults.lost = best is None or rows[best][0].row != 1 or faults.lost
    if best is None:
        faults.add(
            "the table has no header",
            first,
            remedy=f"row 1 must name the columns, such as {', '.join(columns(parts[0])[:5] if alone else ('kind', 'name', 'amount', 'unit'))}",
        )
        return {}
    if rows[best][0].row != 1:
        faults.add(
            f"the header stands in row {rows[best][0].row}; it must be row 1",
            rows[best][0],
            remedy="delete the rows above it",
        )
        return {}
    header: dict[int, str] = {}
    seen: dict[str, str] = {}
    for n, cell in enumerate(rows[0]):
        if blank(cell):
            continue
        name = known.get(_title(cell))
        if name is None:
            faults.add(
                f"column {str(cell.value)[:60]!r} is not known; nearest: {', '.join(nearest(str(cell.value)[:80], known.values()))}",
                cell,
                remedy="correct the name, or delete the column",
            )
        elif name in seen:
            faults.add(
                f"column {name!r} stands twice, in columns {seen[name]} and {cell.column}",
                cell,
                remedy="delete one of them",
            )
        else:
            header[n], seen[name] = name, cell.column
    return header


def _part(cell: Cell | None, faults: Faults) -> str:
    if cell is None:
        return "line"
    part = _title(cell)
    if part not in PARTS:
        faults.add(
            f"part is {str(cell.value)[:60]!r}; nearest: {near(str(cell.value), PARTS)}",
            cell,
            "part",
            f"write one of: {', '.join(PARTS)}",
        )
        return ""
    return part


def _record(cells: dict[str, Cell], part: str, start: Cell, faults: Faults) -> Record | None:
    place = Cell(None, start.row, "", start.sheet)
    if not part:
        return None
    if part in PAIRS:
        return _pair(cells, part, place, faults)
    if part == "line" and "unit" in cells:
        cells = dict(cells)
        unit = cells.pop("unit")
        if "amount" not in cells:
            faults.add(
                f"unit {str(unit.value)[:60]!r} stands without an amount",
                unit,
                "unit",
                "write the number in the column amount",
            )
            cells["amount"] = Cell(REFUSED, unit.row, "", unit.sheet)
        else:
            cells["amount"] = _joined(cells["amount"], unit, faults)
    return Record(part, place, cells)


def _joined(amount: Cell, unit: Cell, faults: Faults) -> Cell:
    """Number and unit as one amount. What is neither number nor text stays as it is and is refused later."""
    if amount.value is REFUSED or unit.value is REFUSED:
        return Cell(REFUSED, amount.row, amount.column, amount.sheet)
    if not isinstance(unit.value, str):
        faults.add(
            f"unit is {str(unit.value)[:60]!r}; it needs text such as 'kg' or '% of meat'",
            unit,
            "unit",
            "correct the unit",
        )
        return Cell(REFUSED, amount.row, amount.column, amount.sheet)
    value = amount.value
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        try:
            value = number_text(value)
        except OverflowError:
            return amount
    return Cell(
        f"{value} {unit.value.strip()}" if isinstance(value, str) else value,
        amount.row,
        amount.column,
        amount.sheet,
    )


def _pair(cells: dict[str, Cell], part: str, place: Cell, faults: Faults) -> Record | None:
    if "name" not in cells or not isinstance(cells["name"].value, str):
        faults.add(
            f"a {part} row needs the name of its entry",
            cells.get("name", place),
            "name",
            f"write one of: {', '.join(fields(part))}",
        )
        return None
    name = cells["name"].value.strip()
    for column in cells.keys() - set(_PAIR_COLUMNS):
        faults.add(
            f"column {column!r} has no meaning in a {part} row",
            cells[column],
            column,
            "such a row holds name and value only",
        )
    if "value" not in cells:
        faults.add(
            f"{part} {name[:60]!r} has no value",
            place,
            "value",
            "write it in the column value, or delete the row",
        )
        return None
    value = cells["value"]
    return Record(part, place, {name: Cell(value.value, value.row, value.column, value.sheet)})


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

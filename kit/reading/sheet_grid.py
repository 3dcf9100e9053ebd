"""The sheet as rows and columns: CSV, or a workbook with one sheet for each part or all in one.

A grid has its header in row 1. Each row is one entry. In a grid of several parts the column `part` says which: line, batch, process,
cook or weighing; without it every row is an ingredient line. Batch and process entries stand one to a row, as `name` and `value`; one with a
blank value is left out.
The amount of a line stands in `amount` and `unit` ('25' and 'kg', '2' and '% of meat'), or whole in `amount` ('1 lb 4 oz').
CSV has commas, semicolons, tabs or bars. Where commas do not part the columns, they are decimal signs if all numbers agree with that; a row batch;decimal;,
under part;name;value says so where '1,250' leaves it open.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from kit.faults import NOWHERE, REFUSED, Cell, Faults, blank
from kit.files import number_text
from kit.reading.opener import column_letter, text_page
from kit.reading.shapes import FileLimits, Page
from kit.reading.words import read_header
from kit.sheet.amount import NUMBER
from kit.sheet.draft import Draft, DraftEntry, near
from kit.sheet.entries import PARTS, fields

CSV = FileLimits((".csv",), 1_000_000, "a sheet is one batch; split it", 2000, 100)
_SPLIT = "a sheet is one batch; take pictures and other tables out"
XLSX = FileLimits((".xlsx",), 5_000_000, _SPLIT, 2000, 100, 20_000_000)
PAIRS, _PAIR = ("batch", "process"), ("name", "value")
"""parts whose entries stand one to a row, and their columns"""
LISTS = "lists"
"""the hidden tab of a blank workbook that holds its choices"""
_ONE_AMOUNT = re.compile(rf"({NUMBER}) (\D.*)")
_DIGITS = re.compile(r"\s*[+-]?\d[\d.,]*(\s*[A-Za-z%].*)?$")


def columns(part: str) -> tuple[str, ...]:
    """The columns of a part."""
    if part in PAIRS:
        return _PAIR
    both = (("amount", "unit") if field == "amount" else (field,) for field in fields(part))
    return tuple(name for names in both for name in names)


def table_rows(data: Mapping, part: str, fits: Callable[[str], bool]) -> list[dict]:
    """The rows of one part of `Sheet.as_dict()`. An amount is split into number and unit where `fits(number)` holds, else kept whole."""
    if part in PAIRS:
        entries = data.get("process", {}) if part == "process" else data
        return [{"name": k, "value": v} for k, v in entries.items() if k not in PARTS]
    rows = [dict(entry) for entry in data.get(part, [])]
    for row in rows:
        hit = _ONE_AMOUNT.fullmatch(row.get("amount", ""))
        two = hit and re.search(rf"^\S+ {NUMBER}", hit[2])
        if hit and not two and fits(hit[1]):
            row["amount"], row["unit"] = hit.groups()
    return rows


# --- reading ---


def draft_csv(whole: bytes, faults: Faults) -> Draft:
    """The entries of a CSV file. Where commas do not part its columns, they may be decimal signs."""
    import pyarrow as pa

    from kit.reading.cells import comma_style

    page, notes = text_page(whole, faults, CSV), list[str]()
    entries = _records(_cells(page, faults, []), "", faults)
    said = any("decimal" in entry.cells for entry in entries if entry.part == "batch")
    if page.separator != "," and not said:
        written = [str(text) for row in page.rows for text in row if _DIGITS.match(str(text))]
        style = comma_style([pa.array(written, pa.string())])
        if style == "decimal":
            entries.append(DraftEntry("batch", NOWHERE, {"decimal": Cell(",")}))
            notes = ["commas read as decimal signs"]
        elif style == "mixed":
            what = "some numbers have decimal commas, others decimal points"
            faults.add(what, remedy="make them alike")
    return Draft(entries, typed=False, notes=[*page.notes, *notes])


def draft_xlsx(whole: bytes, faults: Faults) -> Draft:
    """The entries of a workbook."""
    from kit.reading.workbook import workbook_pages

    notes: list[str] = []
    found = {
        page.title: _cells(page, faults, notes)
        for page in workbook_pages(whole, faults, XLSX)
        if page.title != LISTS
    }
    filled = {
        title: rows
        for title, rows in found.items()
        if any(cell.value is not None for row in rows for cell in row)
    }
    parts = [title.strip().casefold() for title in filled]
    if len(parts) == 1 and parts[0] not in PARTS:
        return Draft(_records(next(iter(filled.values())), "", faults), notes=notes)
    entries = []
    for n, (title, part) in enumerate(zip(filled, parts)):
        at = Cell(None, sheet=title)
        if part not in PARTS:
            what = f"sheet {title!r} is not known; the sheets are {', '.join(PARTS)}"
            faults.add(what, at, remedy="rename or delete it")
        elif part in parts[:n]:
            faults.add(f"there are two sheets for {part}", at, remedy="put them together")
        else:
            entries += _records(filled[title], part, faults)
    return Draft(entries, notes=notes)


def _cells(page: Page, faults: Faults, notes: list[str]) -> list[list[Cell]]:
    """The cells of a page; what cannot be taken as it stands is refused and said."""
    from kit.reading.workbook import ERRORS, covered_places

    for area in page.merged:
        what = f"cells {area} are merged, which hides what belongs to which row"
        faults.add(what, Cell(None, sheet=page.title), remedy="unmerge them and fill each cell")
    covered = covered_places(page.merged, XLSX)

    def cell(row: int, n: int, value) -> Cell:
        at, what, remedy = Cell(REFUSED, row, column_letter(n), page.title), "", ""
        if (row, n) in covered:
            return at
        if (row, n) in page.formulas and value is None:
            what = "the cell holds a formula whose value was never saved; formulas are not calculated here"
            remedy = "open and save the workbook in a spreadsheet, or type the value in"
        elif isinstance(value, str) and value in ERRORS:
            what, remedy = f"the cell holds the error {value}", "correct it or empty the cell"
        elif (row, n) in page.shares:
            what = f"the cell is shown as a percentage but holds {value:g}, a hundred times less"
            remedy = (
                f"set the cell to plain number and write {100 * value:g}; write a share in the column "
                "unit as '% of meat' or '% of batch'"
            )
        elif (row, n) in page.formulas:
            said = f"holds a formula; the value it was last saved with ({value}) was read"
            notes.append(f"{page.title}!{at.column}{row} {said}")
        if what:
            faults.add(what, at, remedy=remedy)
        return at if what else replace(at, value=value)

    return [
        [cell(row, n, value) for n, value in enumerate(values, 1)]
        for row, values in enumerate(page.rows, 1)
    ]


def _title(cell: Cell) -> str:
    return cell.value.strip().casefold() if isinstance(cell.value, str) else ""


def _shown(cell: Cell) -> str:
    return repr(str(cell.value)[:60])


def _records(rows: Sequence[Sequence[Cell]], part: str, faults: Faults) -> list[DraftEntry]:
    """The entries of a grid. `part` is the part that every row belongs to; '' lets the column `part` decide."""
    rows = [row for row in rows if any(not blank(cell) for cell in row)]
    named = _ingredient_list(rows[0], faults) if rows and part in ("", "line") else None
    header, unit = named or (_header(rows, part, faults) if rows else {}, "")
    found = []
    for row in rows[1:] if header else ():
        filled = {n: cell for n, cell in enumerate(row) if not blank(cell)}
        for n, cell in filled.items():
            if n >= len(rows[0]) or blank(rows[0][n]):
                what = f"{_shown(cell)} stands in a column without a header"
                remedy = 'name the column, or take the entry out; a comma inside text needs "quotes" around it'
                faults.add(what, cell, remedy=remedy)
        cells = {name: filled[n] for n, name in header.items() if n in filled}
        if unit and "amount" in cells:
            cells.setdefault("unit", replace(cells["amount"], value=unit))
        place = Cell(None, row[0].row, "", row[0].sheet)
        own = part or _part(cells.pop("part", None), faults)
        record = _pair(cells, own, place, faults) if own in PAIRS else None
        if own and own not in PAIRS:
            record = DraftEntry(own, place, _with_unit(cells, faults) if own == "line" else cells)
        found += [record] if record else []
    return found


def _ingredient_list(header: Sequence[Cell], faults: Faults) -> tuple[dict[int, str], str] | None:
    """Column number -> field name, and the unit, of a table of ingredients and weights under headers of its own; said as one fault with what a sheet needs.

    Its rows are taken all the same, so that a form can make the sheet of them.
    """
    titles = [_title(cell) for cell in header]
    heads = [read_header(title[:100]) for title in titles]
    called = next((n for n, head in enumerate(heads) if head.role == "name"), None)
    weighed = [
        n
        for n, head in enumerate(heads)
        if titles[n] and (head.measure or titles[n] in ("amount", "quantity", "qty"))
    ]
    if "name" in titles or called is None or not weighed:
        return None
    name, amount, unit = header[called], header[weighed[0]], heads[weighed[0]].unit
    beside = "" if "unit" in titles else f", with a column unit that holds {unit or 'kg'!r}"
    faults.lost = True
    faults.add(
        f"this is an ingredient list ({_shown(name)}, {_shown(amount)}), not yet a batch sheet: a sheet "
        "needs the columns name and amount, with unit unless the amount holds it",
        name,
        remedy=f"in row 1 write name for {_shown(name)} and amount for {_shown(amount)}{beside}; or open it "
        "in the form of notebook 00, which makes the sheet",
    )
    found = {called: "name", weighed[0]: "amount"}
    if "unit" in titles:
        return found | {titles.index("unit"): "unit"}, ""
    return found, unit or "kg"


def _header(rows: Sequence[Sequence[Cell]], part: str, faults: Faults) -> dict[int, str]:
    """Column number -> field name; {} with the fault noted where row 1 is no header."""
    known = {name.casefold(): name for one in ([part] if part else PARTS) for name in columns(one)}
    if not part:
        known["part"] = "part"

    named = sum(_title(cell) in known for cell in rows[0])
    filled = sum(not blank(cell) for cell in rows[0])
    if rows[0][0].row != 1 or named < min(2, filled) or 2 * named < min(filled, 4):
        faults.lost = True
        names = ", ".join(columns(part)[:5]) if part else "kind, name, amount, unit"
        remedy = f"row 1 must name the columns, such as {names}; delete what stands above them"
        faults.add("the table has no header", rows[0][0], remedy=remedy)
        return {}
    header: dict[int, str] = {}
    seen: dict[str, str] = {}
    for n, cell in enumerate(rows[0]):
        name = known.get(_title(cell))
        if blank(cell):
            continue
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
    part = _title(cell) if cell else "line"
    if part in PARTS or cell is None:
        return part
    what = f"part is {_shown(cell)}; nearest: {near(str(cell.value), PARTS)}"
    faults.add(what, cell, "part", f"write one of: {', '.join(PARTS)}")
    return ""


def _with_unit(cells: dict[str, Cell], faults: Faults) -> dict[str, Cell]:
    """Number and unit of a line as one amount. What is neither number nor text stays as it is and is refused later."""
    unit = cells.pop("unit", None)
    if unit is None:
        return cells
    amount, what, remedy = cells.get("amount"), "", "correct the unit"
    if amount is None:
        amount = Cell(REFUSED, unit.row, "", unit.sheet)
        what = f"unit {_shown(unit)} stands without an amount"
        remedy = "write the number in the column amount"
    elif REFUSED not in (amount.value, unit.value) and not isinstance(unit.value, str):
        what = f"unit is {_shown(unit)}; it needs text such as 'kg' or '% of meat'"
    if what:
        faults.add(what, unit, "unit", remedy)
    value = amount.value
    if what or REFUSED in (value, unit.value):
        value = REFUSED
    elif isinstance(value, (str, int, float)) and not isinstance(value, bool):
        number = number_text(value) if isinstance(value, float) else value
        value = f"{number} {str(unit.value).strip()}"
    return {**cells, "amount": replace(amount, value=value)}


def _pair(cells: dict[str, Cell], part: str, place: Cell, faults: Faults) -> DraftEntry | None:
    written = cells.get("name", place)
    if not isinstance(written.value, str):
        what = f"a {part} row needs the name of its entry"
        faults.add(what, written, "name", f"write one of: {', '.join(fields(part))}")
        return None
    name = written.value.strip()
    for column in cells.keys() - set(_PAIR):
        what = f"column {column!r} has no meaning in a {part} row"
        faults.add(what, cells[column], column, "such a row holds name and value only")
    if "value" not in cells:
        return None
    return DraftEntry(part, place, {name: replace(cells["value"], label="")})

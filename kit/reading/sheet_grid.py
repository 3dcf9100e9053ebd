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
            faults.say("mixed decimals")
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
            faults.say("unknown sheet", at, title=title, parts=", ".join(PARTS))
        elif part in parts[:n]:
            faults.say("two sheets", at, part=part)
        else:
            entries += _records(filled[title], part, faults)
    return Draft(entries, notes=notes)


def _cells(page: Page, faults: Faults, notes: list[str]) -> list[list[Cell]]:
    """The cells of a page; what cannot be taken as it stands is refused and said."""
    from kit.reading.workbook import ERRORS, covered_places

    for area in page.merged:
        faults.say("merged", Cell(None, sheet=page.title), area=area)
    covered = covered_places(page.merged, XLSX)

    def cell(row: int, n: int, value) -> Cell:
        at = Cell(REFUSED, row, column_letter(n), page.title)
        if (row, n) in covered:
            return at
        if (row, n) in page.formulas and value is None:
            faults.say("unsaved formula", at)
        elif isinstance(value, str) and value in ERRORS:
            faults.say("error in a cell", at, error=value)
        elif (row, n) in page.shares:
            faults.say("shown as a percentage", at, share=value, percent=100 * value)
        else:
            if (row, n) in page.formulas:
                said = f"holds a formula; the value it was last saved with ({value}) was read"
                notes.append(f"{page.title}!{at.column}{row} {said}")
            return replace(at, value=value)
        return at

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
                faults.say("no header above", cell, text=_shown(cell))
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
    said = {"names": _shown(name), "amounts": _shown(amount), "beside": beside}
    faults.say("ingredient list", name, **said)
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
        faults.say("no header", rows[0][0], names=names)
        return {}
    header: dict[int, str] = {}
    seen: dict[str, str] = {}
    for n, cell in enumerate(rows[0]):
        name = known.get(_title(cell))
        if blank(cell):
            continue
        if name is None:
            nearby = near(str(cell.value), known.values())
            faults.say("unknown column", cell, title=_shown(cell), near=nearby)
        elif name in seen:
            faults.say("column twice", cell, title=name, first=seen[name], second=cell.column)
        else:
            header[n], seen[name] = name, cell.column
    return header


def _part(cell: Cell | None, faults: Faults) -> str:
    part = _title(cell) if cell else "line"
    if part in PARTS or cell is None:
        return part
    said = {"text": _shown(cell), "near": near(str(cell.value), PARTS), "parts": ", ".join(PARTS)}
    faults.say("unknown part", cell, "part", **said)
    return ""


def _with_unit(cells: dict[str, Cell], faults: Faults) -> dict[str, Cell]:
    """Number and unit of a line as one amount. What is neither number nor text stays as it is and is refused later."""
    unit = cells.pop("unit", None)
    if unit is None:
        return cells
    amount = cells.get("amount", Cell(REFUSED, unit.row, "", unit.sheet))
    if "amount" not in cells:
        faults.say("unit alone", unit, "unit", unit=_shown(unit))
    value = amount.value
    if REFUSED in (value, unit.value):
        value = REFUSED
    elif not isinstance(unit.value, str):
        faults.say("no text as unit", unit, "unit", unit=_shown(unit))
        value = REFUSED
    elif isinstance(value, (str, int, float)) and not isinstance(value, bool):
        number = number_text(value) if isinstance(value, float) else value
        value = f"{number} {str(unit.value).strip()}"
    return {**cells, "amount": replace(amount, value=value)}


def _pair(cells: dict[str, Cell], part: str, place: Cell, faults: Faults) -> DraftEntry | None:
    written = cells.get("name", place)
    if not isinstance(written.value, str):
        faults.say("no entry name", written, "name", part=part, known=", ".join(fields(part)))
        return None
    name = written.value.strip()
    for column in (name for name in cells if name not in _PAIR):
        faults.say("not in a pair", cells[column], column, title=column, part=part)
    if "value" not in cells:
        return None
    return DraftEntry(part, place, {name: replace(cells["value"], label="")})

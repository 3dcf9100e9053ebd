"""A sheet in each of its forms, as a file: whole or not at all, and nothing in it that a spreadsheet would run."""

import csv
import io
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from kit.files import RISKY, guarded, number_text, put
from kit.reading.sheet_grid import PAIRS, columns
from kit.sheet import Sheet
from kit.sheet.amount import NUMBER
from kit.sheet.draft import MANY
from kit.sheet.entries import PARTS

_ONE_AMOUNT = re.compile(rf"({NUMBER}) (\D.*)")


def write_sheet(sheet: Sheet, path, overwrite: bool = False) -> Path:
    """Write a sheet into a new .toml, .csv or .xlsx file; reading it back gives an equal sheet. KitError if it cannot be."""
    forms = {".toml": written_toml, ".csv": written_csv, ".xlsx": written_xlsx}
    written = forms.get(Path(path).suffix.lower())
    return put(path, written(sheet.as_dict()) if written else b"", forms, overwrite)


def written_toml(data: Mapping) -> bytes:
    """The TOML of `Sheet.as_dict()`."""
    blocks = [_entries({key: value for key, value in data.items() if key not in PARTS})]
    if "process" in data:
        blocks.append("[process]\n" + _entries(data["process"]))
    for part in MANY:
        blocks += [f"[[{part}]]\n" + _entries(entry) for entry in data.get(part, [])]
    return "\n".join(block for block in blocks if block).encode()


def _entries(entries: Mapping) -> str:
    return "".join(
        f"{key} = {json.dumps(v, ensure_ascii=False) if isinstance(v, str) else number_text(v)}\n"
        for key, v in entries.items()
    )


def _table(data: Mapping, part: str, fits: Callable[[str], bool]) -> list[dict]:
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


def written_csv(data: Mapping) -> bytes:
    """The CSV of `Sheet.as_dict()`: typed rows, only the columns that are used."""
    rows = [{"part": part, **row} for part in PARTS for row in _table(data, part, lambda _: True)]
    used = {name for row in rows for name in row}
    every = dict.fromkeys(("part", *(name for part in PARTS for name in columns(part))))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, [name for name in every if name in used], lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        cells = {k: guarded(v) if isinstance(v, str) else number_text(v) for k, v in row.items()}
        writer.writerow(cells)
    return out.getvalue().encode()


def written_xlsx(data: Mapping) -> bytes:
    """The workbook of `Sheet.as_dict()`: a sheet for each part that holds something."""
    sheets = {}
    for part in PARTS:
        rows = _table(data, part, lambda number: number_text(float(number)) == number)
        for row in rows:
            row["amount"] = float(row["amount"]) if "unit" in row else row.get("amount")
        names = [n for n in columns(part) if any(row.get(n) is not None for row in rows)]
        if rows:
            sheets[part] = names, [[row.get(name) for name in names] for row in rows]
    return _written_book(sheets)


def _put_cell(cell, value) -> None:
    """Write text as text, never as a formula, and a float so that it comes back the same."""
    if isinstance(value, str):
        cell.value = value
        cell.data_type = "s"  # openpyxl would turn '=...' into a formula
        cell.quotePrefix = value.startswith((*RISKY, "'"))
    else:
        # openpyxl writes 16 digits; a float needs up to 17
        cell._value, cell.data_type = number_text(value), "n"


def _written_book(sheets: Mapping[str, tuple[Sequence[str], Iterable[Sequence]]]) -> bytes:
    """A workbook of title -> (names of the columns, rows); text stays text, None an empty cell."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    book.remove(book.active)
    for title, (names, rows) in sheets.items():
        sheet = book.create_sheet(title)
        widths = [len(name) for name in names]
        for number, row in enumerate((names, *rows), 1):
            for n, value in enumerate(row, 1):
                if value is None or value == "":
                    continue
                cell = sheet.cell(number, n)
                _put_cell(cell, value)
                widths[n - 1] = max(widths[n - 1], len(str(value)))
        for n, width in enumerate(widths, 1):
            sheet.cell(1, n).font = Font(bold=True)
            sheet.column_dimensions[sheet.cell(1, n).column_letter].width = 2 + min(40, width)
        sheet.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()

"""What lengths, diameters or weights did the person measure? Typed text, a file or a plain list.

Every fault is found before any is raised; blank cells are counted and said; nothing is dropped
silently.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from numbers import Real

import numpy as np
import pyarrow as pa

from kit.casing.measurements import GRAMS, MILLIMETRES, MeasuredColumn, far_out
from kit.errors import Faulty, nearest
from kit.faults import Cell, Faults
from kit.reading.amounts import amounts
from kit.reading.cells import ColumnTable, as_text, comma_style
from kit.reading.columns import only_table
from kit.reading.shapes import FileLimits, Form, FoundTable, unique_names

LIMITS = FileLimits((".csv", ".tsv", ".txt", ".xlsx"), 20_000_000, "keep the column that matters")
MEASUREMENTS = "measurements"
LARGEST = 1e5
_NUMBER = r"[+\-−]?(?:\d+(?:[.,]\d+)*|\.\d+)(?:[eE][+-]?\d+)?"
_UNITS = "kg|g|oz|lb|mm|cm|in|m"
_LOOKS = re.compile(rf"\s*{_NUMBER}\s*(?:{_UNITS}|\")?\.?\s*$", re.I)
_TYPED = re.compile(rf"{_NUMBER}(?:\s*(?:{_UNITS})(?![A-Za-z]))?(?=[\s,;|]|$)|\S+", re.I)


def read_measured(
    source,
    unit: str,
    *,
    column: str | None = None,
    decimal: str | None = None,
    sheet: str | None = None,
) -> MeasuredColumn:
    """One column of link weights or lengths.

    source: typed text ("52.1 51 50,8"), a path (.csv .tsv .txt .xlsx), bytes, a pandas Series or DataFrame, or a sequence
    unit: "g" or "mm", what is wanted, and what bare numbers are in where the header names no unit
    column: its name where there are several
    decimal: "." or "," settles commas that could mean two things
    sheet: of a workbook
    Returns MeasuredColumn: values in `unit`.
    Raises Faulty with every fault at once.
    Source: the file.
    """
    return _column(_table(source, sheet), unit, column, decimal)


def read_paired(source, units: dict[str, str]) -> dict[str, MeasuredColumn]:
    """Several columns of one table, {name: unit}, row by row; a row with a blank in any is left out of all."""
    table, found = _table(source), {}
    faults = Faults(table.file, MEASUREMENTS)
    for name, unit in units.items():
        try:
            found[name] = _column(table, unit, name)
        except Faulty as cause:
            faults.found |= dict.fromkeys(cause.faults)
    faults.stop_if_any()
    held = [set(m.row) for m in found.values()]
    common = set.intersection(*held) if held else set()
    if len(common) < 2:
        faults.stop("few pairs", count=len(common), columns=" and ".join(units))
    left_out = sorted(set.union(*held) - common)
    rows = ", ".join(map(str, left_out[:10])) + (" and more" if len(left_out) > 10 else "")
    said = (f"rows without all of {', '.join(units)} left out: {rows}",) if left_out else ()
    for name, m in found.items():
        values, understood = m.values[[r in common for r in m.row]], (*m.understood, *said)
        row = tuple(sorted(common))
        found[name] = replace(m, values=values, row=row, understood=understood)
    return found


def _is_list(table: ColumnTable) -> bool:
    """Are its values counted, not the rows of a file?"""
    return not table.file and table.header_row == 0


def _column(
    table: ColumnTable, unit: str, name: str | None, decimal: str | None = None
) -> MeasuredColumn:
    if unit not in (GRAMS, MILLIMETRES):
        table.stop("no unit of links", unit=unit)
    at = _place(table, name)
    title, cells = table.names[at], as_text(table.columns[at]).to_pylist()
    named = re.search(rf"[\[(]\s*([A-Za-z]+)\s*[\])]|(?:,|[\s_])({_UNITS})\s*$", title)
    bare = (named and (named[1] or named[2])) or unit
    filled = {n: text for n, text in zip(table.row.tolist(), cells) if text}
    faults, text = Faults(table.file, MEASUREMENTS), pa.array(filled.values(), pa.string())
    sign = _decimal(table, filled, decimal, title, faults)
    read = amounts(text, str(bare), sign, into=unit)
    for n, written, number in zip(filled, filled.values(), read.values):
        wrong = "no measurement in" if np.isnan(number) else "not above 0" if number <= 0 else ""
        wrong = "too large a link" if number > LARGEST else wrong
        if wrong:
            place, written = _cell(table, n, title), written[:40]
            faults.say(wrong, place, written=written, number=number, unit=unit)
    faults.stop_if_any()
    if not filled:
        table.stop("no measurement", title)
    said = [
        *table.notes,
        f"values read: {len(filled)}, from {title!r}; bare numbers taken as {bare}",
    ]
    if len(filled) < len(cells) + table.blank:
        said.append(f"blank cells left out: {len(cells) + table.blank - len(filled)}")
    if sign == ",":
        said.append("commas read as decimal signs")
    numbers, row = read.values, tuple(filled)
    counts = "value" if _is_list(table) else "row"
    notes = tuple(
        f"{counts} {row[i]}: {numbers[i]:g} {unit} lies far from the rest; "
        "kept, look again (a slipped decimal sign, a wrong unit?)"
        for i in far_out(numbers)[:20]
    )
    return MeasuredColumn(title, unit, numbers, row, tuple(said), notes)


def _cell(table: ColumnTable, n: int, title: str) -> Cell:
    return Cell(None, label=f"value {n}") if _is_list(table) else Cell(None, n, title)


def _place(table: ColumnTable, name: str | None) -> int:
    """Where the column stands."""
    if name is None:
        numeric = [i for i, cells in enumerate(table.columns) if _mostly_numbers(cells)]
        if len(table.columns) == 1 or len(numeric) == 1:
            return 0 if len(table.columns) == 1 else numeric[0]
        table.stop("many numbers", count=len(numeric), names=", ".join(table.names))
    wanted = name.casefold().strip()
    folded = [title.casefold().strip() for title in table.names]
    bare = [re.sub(rf"[\[(,].*|[\s_](?:{_UNITS})$", "", title).strip() for title in folded]
    hits = [i for i, title in enumerate(folded) if title == wanted]
    hits = hits or [i for i, title in enumerate(bare) if title == wanted]
    if len(hits) != 1:
        near = ", ".join(nearest(name[:80], table.names))
        key = "columns of a name" if hits else "no column"
        table.stop(key, count=len(hits), title=name, near=near)
    return hits[0]


def _decimal(
    table: ColumnTable, filled: dict[int, str], decimal: str | None, title: str, faults: Faults
) -> str:
    """The decimal sign: what is said, else what all cells agree with."""
    if decimal not in (None, ".", ","):
        table.stop("no decimal", decimal=decimal)
    style = comma_style([pa.array(filled.values(), pa.string())])
    if decimal or not style:
        return decimal or "."
    n, text = next((n, text) for n, text in filled.items() if "," in text)
    if _is_list(table) and len(filled) == 1:
        table.stop("one value or two", text=text)
    if style in ("unclear", "mixed"):
        ways = {"point": text.replace(",", "."), "bare": text.replace(",", "")}
        faults.stop(f"{style} comma", _cell(table, n, title), text=text, **ways)
    return "," if style == "decimal" else "."


def _mostly_numbers(column: pa.Array) -> bool:
    filled = [cell for cell in as_text(column).to_pylist() if cell]
    return 2 * sum(bool(_LOOKS.match(cell)) for cell in filled) > len(filled)


# --- where the cells are ---


def _table(source, sheet: str | None = None) -> ColumnTable:
    """Typed text and sequences value by value; everything else through the one opener."""
    if isinstance(source, str):
        text = source.replace("\u00a0", " ")
        titled = re.search(r"^[^\d\n\r]*[A-Za-z][^\d\n\r]*$", text, re.M)
        if not titled and not text.strip().lower().endswith(LIMITS.suffixes):
            return _typed(text)
        source = text if text.strip().lower().endswith(LIMITS.suffixes) else f"{text}\n"
    elif hasattr(source, "to_frame"):
        source = source.to_frame()
    elif isinstance(source, (Sequence, np.ndarray)) and not isinstance(source, (bytes, bytearray)):
        return _values(["" if _gap(cell) else str(cell) for cell in source], "a list")
    sheets = () if sheet is None else (sheet,)
    form = Form(LIMITS, _find, "no measurement", MEASUREMENTS, 1000, "\t;|,", sheets, typed=False)
    return only_table(source, "", form)


def _find(rows: Sequence[Sequence[str]]) -> FoundTable | None:
    """The rows from the first measurement on, split into as many cells as the header above them."""
    measured = [n for n, row in enumerate(rows) if any(map(_LOOKS.match, row))]
    if not measured:
        return None
    start, width = measured[0], max(len(rows[n]) for n in measured)
    above = [n for n in range(start) if any(cell.strip() for cell in rows[n])]
    header = rows[above[-1]] if above else [""] * width
    if len(header) < width:
        return None
    names = ("values",) if len(header) == 1 and not above else unique_names(header)
    place = f"header in row {above[-1] + 1}" if above else "no header row"
    score = sum(len(rows[n]) > 1 for n in measured)
    return FoundTable((score,), start, names, (place,))


def _gap(cell) -> bool:
    return cell is None or isinstance(cell, Real) and np.isnan(float(cell))


def _values(cells: list[str], said: str) -> ColumnTable:
    if not cells:
        Faults("", MEASUREMENTS).stop("no measurement")
    column = pa.array(map(str.strip, cells), pa.string())
    row = np.arange(1, len(cells) + 1)
    return ColumnTable("", "", ("values",), (column,), row, 0, notes=(said,), what=MEASUREMENTS)


def _typed(text: str) -> ColumnTable:
    """Numbers as typed: between spaces, semicolons, lines, or commas that are no decimal signs."""
    lists = re.search(r",\s|\d\.\d|\d,\d+,|[A-Za-z]\s*,", text)
    pieces = re.split(r"[;\r\n\t|]|,(?!\d)|,(?=\d)" if lists else r"[;\r\n\t|]", text)
    cells = [hit for piece in pieces for hit in _TYPED.findall(piece)]
    return _values(cells, "typed values, commas between them" if lists else "typed values")

"""What lengths, diameters or weights did the person measure? Typed text, a file or a plain list.

Every fault is found before any is raised; blank cells are counted and said; nothing is dropped
silently.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from numbers import Real
from typing import NoReturn

import numpy as np

from kit.casing.measurements import GRAMS, MILLIMETRES, MeasuredColumn, far_out
from kit.errors import Fault, Faulty, KitError, nearest
from kit.faults import Faults
from kit.reading.opener import is_workbook, load, utf8
from kit.reading.shapes import SEPARATORS, FileLimits
from kit.reading.workbook import workbook_pages
from kit.units import read

LIMITS = FileLimits(
    (".csv", ".tsv", ".txt", ".xlsx"), 20_000_000, "keep the column that matters", 1_000_000
)
MEASUREMENTS = "measurements"
LARGEST = 1e5
_NUMBER = r"[+\-−]?(?:\d+(?:[.,]\d+)*|\.\d+)(?:[eE][+-]?\d+)?"
_UNITS = "kg|g|oz|lb|mm|cm|in|m"
_CELL = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z\"]*)\.?\s*$")
_LOOKS = re.compile(rf"\s*{_NUMBER}\s*(?:{_UNITS}|\")?\.?\s*$", re.I)
_TYPED = re.compile(rf"{_NUMBER}(?:\s*(?:{_UNITS})(?![A-Za-z]))?(?=[\s,;|]|$)|\S+", re.I)
_SEPARATORS = "\t;|,"


def read_measured(
    source,
    unit: str,
    *,
    column: str | None = None,
    written_in: str | None = None,
    decimal: str | None = None,
    sheet: str | None = None,
) -> MeasuredColumn:
    """One column of link weights or lengths.

    source: typed text ("52.1 51 50,8"), a path (.csv .tsv .txt .xlsx), bytes, a pandas Series or DataFrame, or a sequence
    unit: "g" or "mm", what is wanted
    column: its name where there are several
    written_in: unit of bare numbers; the one in brackets in the header, else `unit`, where left out
    decimal: "." or "," settles commas that could mean two things
    sheet: of a workbook
    Returns MeasuredColumn: values in `unit`.
    Raises Faulty with every fault at once.
    Source: the file.
    """
    return _table(source, sheet).column(unit, column, written_in, decimal)


def read_paired(
    source,
    units: dict[str, str],
    *,
    written_in: str | None = None,
    decimal: str | None = None,
    sheet: str | None = None,
) -> dict[str, MeasuredColumn]:
    """Several columns of one table, row by row: {"weight": "g", "length": "mm"}; else as above.

    A row with a blank in any of them is left out of all and said.
    """
    table, found = _table(source, sheet), {}
    faults: list[Fault] = []
    for name, unit in units.items():
        try:
            found[name] = table.column(unit, name, written_in, decimal)
        except Faulty as cause:
            faults += cause.faults
    if faults:
        raise Faulty(MEASUREMENTS, faults)
    held = [set(m.row) for m in found.values()]
    common = set.intersection(*held) if held else set()
    if len(common) < 2:
        what = f"only {len(common)} rows hold {' and '.join(units)} together"
        _stop(what, "measure the same links, one row each", file=table.file)
    left_out = sorted(set.union(*held) - common)
    more = f" and {len(left_out) - 10} more" if len(left_out) > 10 else ""
    rows = ", ".join(map(str, left_out[:10])) + more
    said = f"rows without all of {', '.join(units)} left out: {rows}"
    return {
        name: replace(
            m,
            values=m.values[[r in common for r in m.row]],
            row=tuple(sorted(common)),
            understood=(*m.understood, *((said,) if left_out else ())),
        )
        for name, m in found.items()
    }


def _stop(what: str, remedy: str = "", **place) -> NoReturn:
    raise Faulty(MEASUREMENTS, [Fault(what, remedy=remedy, **place)])


@dataclass(frozen=True)
class _Table:
    header: tuple[str, ...]
    """empty where there is none"""
    rows: tuple[tuple[str, ...], ...]
    first: int
    """the person's number of the first row of `rows`"""
    file: str
    said: tuple[str, ...]
    counts: str = "row"

    def column(
        self, unit: str, name: str | None, written_in: str | None, decimal: str | None
    ) -> MeasuredColumn:
        if unit not in (GRAMS, MILLIMETRES):
            _stop(f"unit is {unit!r}", "ask for 'g' or 'mm'")
        at = self._place(name)
        title = "values" if len(self.rows[0]) == 1 else f"column {at + 1}"
        if self.header:
            title = self.header[at]
        named = re.search(rf"[\[(]\s*([A-Za-z]+)\s*[\])]|(?:,|[\s_])({_UNITS})\s*$", title)
        bare = written_in or (named and (named[1] or named[2])) or unit
        cells = [row[at].strip() if at < len(row) else "" for row in self.rows]
        filled = {self.first + n: text for n, text in enumerate(cells) if text}
        comma = self._comma(filled, decimal, title)
        values, faults = [], []
        for n, text in filled.items():
            try:
                values.append(_value(text, unit, bare, comma))
            except ValueError as cause:
                remedy = "correct it, or take it out"
                if self.counts == "value":
                    faults.append(Fault(str(cause), f"value {n}", remedy=remedy))
                else:
                    fault = Fault(str(cause), "", n, title, self.file, remedy=remedy)
                    faults.append(fault)
        if faults:
            raise Faulty(MEASUREMENTS, faults)
        if not filled:
            _nothing(column=title, file=self.file)
        said = [
            *self.said,
            f"values read: {len(values)}, from {title!r}; bare numbers taken as {bare}",
        ]
        if len(filled) < len(cells):
            said.append(f"blank cells left out: {len(cells) - len(filled)}")
        if comma:
            said.append("commas read as decimal signs")
        numbers, row = np.array(values), tuple(filled)
        notes = tuple(
            f"{self.counts} {row[i]}: {numbers[i]:g} {unit} lies far from the rest; "
            "kept, look again (a slipped decimal sign, a wrong unit?)"
            for i in far_out(numbers)[:20]
        )
        return MeasuredColumn(title, unit, numbers, row, tuple(said), notes)

    def _place(self, name: str | None) -> int:
        """Where the column stands."""
        width = max(len(row) for row in self.rows)
        if name is None:
            numeric = [i for i in range(width) if self._mostly_numbers(i)]
            if width == 1 or len(numeric) == 1:
                return 0 if width == 1 else numeric[0]
            names = ", ".join(self.header) or f"{width} columns without a header"
            what = f"the table has {len(numeric)} columns of numbers ({names})"
            _stop(what, "say which: column='...'", file=self.file)
        wanted = name.casefold().strip()
        folded = [title.casefold().strip() for title in self.header]
        bare = [re.sub(rf"[\[(,].*|[\s_](?:{_UNITS})$", "", title).strip() for title in folded]
        hits = [i for i, title in enumerate(folded) if title == wanted]
        hits = hits or [i for i, title in enumerate(bare) if title == wanted]
        if len(hits) == 1:
            return hits[0]
        what = (
            f"{len(hits)} columns are called {name!r}" if hits else f"there is no column {name!r}"
        )
        near = f"nearest: {', '.join(nearest(name[:80], self.header))}"
        _stop(what, near if self.header else "the table has no header row", file=self.file)

    def _mostly_numbers(self, at: int) -> bool:
        cells = [row[at] for row in self.rows if at < len(row) and row[at].strip()]
        return 2 * sum(bool(_LOOKS.match(cell)) for cell in cells) > len(cells)

    def _comma(self, filled: dict[int, str], decimal: str | None, title: str) -> bool:
        """Are commas decimal signs?"""
        if decimal not in (None, ".", ","):
            _stop(f"decimal is {decimal!r}", "give '.' or ','")
        if decimal:
            return decimal == ","
        commas = {n: text for n, text in filled.items() if "," in text}
        if not commas or any("." in text for text in filled.values()):
            return False
        n, text = next(iter(commas.items()))
        if self.counts == "value" and len(filled) == 1:
            remedy = "say decimal=',', or write a space between two values"
            _stop(f"{text!r} can be one value or two", remedy)
        if all(re.search(r",\d{3}(?!\d)", text) for text in commas.values()):
            what = f"{text!r} can mean {text.replace(',', '.')} or {text.replace(',', '')}"
            remedy = "say decimal=',' or decimal='.', or take the commas out"
            _stop(what, remedy, row=n, column=title, file=self.file)
        return True


def _value(text: str, unit: str, bare: str, comma: bool) -> float:
    hit, written = _CELL.match(text), repr(text[:40])
    if not hit:
        raise ValueError(f"{written} is no measurement")
    digits = hit[1].replace("−", "-")
    if not comma and "," in digits:
        raise ValueError(f"{written} has a comma where the others have a point")
    if comma and "." in digits or digits.count(",") > 1 or digits.count(".") > 1:
        raise ValueError(f"{written} has signs of thousands; write plain digits")
    said = {'"': "in"}.get(hit[2], hit[2].casefold()) or bare
    number = float(digits.replace(",", ".")) * _factor(said, unit)
    if not number > 0:
        raise ValueError(f"{written} is not greater than 0")
    if number > LARGEST:
        raise ValueError(f"{written} is {number:g} {unit}, larger than any sausage")
    return number


@lru_cache(maxsize=64)
def _factor(said: str, unit: str) -> float:
    return read(f"1 {said}", unit, "a measurement")


def _table(source, sheet: str | None) -> _Table:
    if hasattr(source, "to_csv"):
        frame = source.to_frame() if hasattr(source, "to_frame") else source
        cells = [[_text(cell) for cell in row] for row in frame.itertuples(index=False)]
        header = tuple(map(str, frame.columns))
        return _Table(header, _rows(cells, "table"), 1, "", ("a table of data",))
    text = isinstance(source, str)
    if isinstance(source, (Sequence, np.ndarray)) and not isinstance(
        source, (str, bytes, bytearray)
    ):
        cells = [[_text(cell)] for cell in source]
        return _Table((), _rows(cells, ""), 1, "", ("a list",), "value")
    if text and ("\n" in source or not source.strip().lower().endswith(LIMITS.suffixes)):
        return _from_text(source.replace("\r\n", "\n").replace("\r", "\n"), "")
    try:
        whole, name = load(source, "", LIMITS)
    except Faulty:
        raise
    except KitError as cause:
        raise Faulty(MEASUREMENTS, [Fault(str(cause))]) from None
    faults = Faults(name, MEASUREMENTS)
    if is_workbook(whole):
        return _from_workbook(whole, faults, sheet)
    body, notes = utf8(whole, faults)
    return _from_text(body.decode("utf-8", "surrogatepass"), name, notes)


def _nothing(**place) -> NoReturn:
    _stop("no measurement was found", "give at least one number", **place)


def _rows(rows: Sequence[Sequence[str]], file: str) -> tuple[tuple[str, ...], ...]:
    if not rows:
        _nothing(file=file)
    if len(rows) > LIMITS.rows:
        _stop(f"{len(rows):,} rows; the limit is {LIMITS.rows:,}", "take a sample", file=file)
    return tuple(tuple(row) for row in rows)


def _text(cell) -> str:
    if isinstance(cell, Real) and not isinstance(cell, bool):
        return "" if np.isnan(float(cell)) else repr(float(cell))
    return "" if cell is None else str(cell)


def _from_workbook(whole: bytes, faults: Faults, sheet: str | None) -> _Table:
    filled = {}
    for page in workbook_pages(whole, faults, LIMITS):
        rows = [[_text(cell) for cell in row] for row in page.rows]
        if any(map(any, rows)):
            filled[page.title] = rows
    if sheet not in filled and (sheet is not None or len(filled) != 1):
        names = ", ".join(filled) or "none"
        what = f"the workbook has {len(filled)} filled sheets: {names}"
        faults.stop(what, remedy="say which: sheet='...'")
    title = sheet or next(iter(filled))
    return _of_cells(filled[title], faults.file, (f"sheet {title}",))


def _from_text(text: str, name: str, notes: Sequence[str] = ()) -> _Table:
    text = text.replace("\u00a0", " ")
    if not text.strip():
        _nothing(file=name)
    lines = text.split("\n")
    titled = any(re.search(r"[A-Za-z]", line) and not re.search(r"\d", line) for line in lines)
    if not name and not titled:
        return _typed(text)
    separator = _separator([line for line in lines if line.strip()])
    split = any(separator in line for line in lines)
    said = f"columns separated by {SEPARATORS[separator]}" if split else "one value per line"
    cells = list(csv.reader(io.StringIO(text), delimiter=separator))
    return _of_cells(cells, name, (*notes, said))


def _separator(lines: list[str]) -> str:
    """The sign that splits most rows into cells with a measurement among them.

    A comma only where the row above the first measurement has one too.
    """

    def rows(sign: str) -> list[int]:
        return [
            n
            for n, line in enumerate(lines)
            if sign in line and any(_LOOKS.match(cell) for cell in line.split(sign))
        ]

    best = max(_SEPARATORS, key=lambda sign: (len(rows(sign)), -_SEPARATORS.index(sign)))
    found = rows(best)
    decimal = best == "," and bool(found) and found[0] > 0 and "," not in lines[found[0] - 1]
    return best if found and not decimal else "\t"


def _of_cells(cells: list[list[str]], name: str, said: tuple[str, ...]) -> _Table:
    """Header: the last row before the first measurement, where it holds text."""
    measured = [n for n, row in enumerate(cells) if any(_LOOKS.match(cell) for cell in row)]
    if not measured:
        _nothing(file=name)
    start = measured[0]
    above = [n for n in range(start) if any(cell.strip() for cell in cells[n])]
    header: tuple[str, ...] = ()
    if above:
        titles = enumerate(cells[above[-1]], 1)
        header = tuple(cell.strip() or f"column {n}" for n, cell in titles)
    body = cells[start:]
    while body and not any(cell.strip() for cell in body[-1]):
        body.pop()
    width = max(len(header), max(len(row) for row in body))
    even = [[*row, *[""] * (width - len(row))] for row in body]
    place = f"header in row {above[-1] + 1}" if above else "no header row"
    return _Table(header, _rows(even, name), start + 1, name, (*said, place))


def _typed(text: str) -> _Table:
    """Numbers as typed: between spaces, semicolons, lines, or commas that are no decimal signs."""
    lists = re.search(r",\s|\d\.\d|\d,\d+,|[A-Za-z]\s*,", text)
    pieces = re.split(r"[;\n\t|]|,(?!\d)|,(?=\d)" if lists else r"[;\n\t|]", text)
    cells = [[hit] for piece in pieces for hit in _TYPED.findall(piece)]
    said = "typed values, commas between them" if lists else "typed values"
    return _Table((), _rows(cells, ""), 1, "", (said,), "value")

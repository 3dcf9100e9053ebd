"""What lengths, diameters or weights did the person measure? Typed text, a CSV, a spreadsheet column or a plain list.

Every fault is found before any is raised; blank cells are counted and said; nothing is dropped silently.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from numbers import Real

import numpy as np

from kit.casing.outlying import far_out
from kit.errors import Fault, Faulty, KitError, nearest
from kit.faults import Faults
from kit.reading.opener import is_workbook, load, utf8
from kit.reading.shapes import SEPARATORS, Limits
from kit.reading.workbook import workbook_pages
from kit.units import read

GRAMS, MILLIMETRES = "g", "mm"
LIMITS = Limits(
    (".csv", ".tsv", ".txt", ".xlsx"), 20_000_000, "keep the column that matters", 1_000_000
)
_NUMBER = r"[+\-−]?(?:\d+(?:[.,]\d+)*|\.\d+)(?:[eE][+-]?\d+)?"
_UNITS = "kg|g|oz|lb|mm|cm|in|m"
_CELL = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z\"]*)\.?\s*$")
_LOOKS = re.compile(rf"\s*{_NUMBER}\s*(?:{_UNITS}|\")?\.?\s*$", re.I)
_SEPARATORS = "\t;|,"


@dataclass(frozen=True)
class Measured:
    """A column of measurements in `unit` ("g" or "mm"); `row` is where each stood, as the person counts."""

    name: str
    unit: str
    values: np.ndarray
    row: tuple[int, ...]
    understood: tuple[str, ...]
    """what the reader took the text to mean, and what it left out"""
    notes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.values)


def read_measured(
    source,
    unit: str,
    *,
    column: str | None = None,
    written_in: str | None = None,
    decimal: str | None = None,
    sheet: str | None = None,
) -> Measured:
    """One column of link weights (`unit` "g") or lengths and diameters ("mm").

    `source`: typed text ("52.1 51 50,8"), a path (.csv .tsv .txt .xlsx), bytes, a pandas Series or DataFrame, or a sequence of numbers
    or texts. `column` names the column where there are several. `written_in` is the unit of bare numbers (default: `unit`, or the one
    in brackets in the header). `decimal` ("." or ",") settles commas that could mean two things. Raises Faulty with every fault at once.
    """
    return _table(source, sheet).column(unit, column, written_in, decimal)


def read_paired(
    source,
    units: dict[str, str],
    *,
    written_in: str | None = None,
    decimal: str | None = None,
    sheet: str | None = None,
) -> dict[str, Measured]:
    """Several columns of one table, row by row: {"weight": "g", "length": "mm", ...}. A row with a blank in any of them is left out of all
    and said. Raises Faulty with the faults of all columns at once."""
    table, faults, found = _table(source, sheet), [], {}
    for name, unit in units.items():
        try:
            found[name] = table.column(unit, name, written_in, decimal)
        except Faulty as cause:
            faults += cause.faults
    if faults:
        raise Faulty("measurements", faults)
    common = sorted(set.intersection(*(set(m.row) for m in found.values()))) if found else []
    if len(common) < 2:
        raise Faulty(
            "measurements",
            [
                Fault(
                    f"only {len(common)} rows hold {' and '.join(units)} together",
                    file=table.file,
                    remedy="measure the same links, one row each",
                )
            ],
        )
    keep = set(common)
    left_out = sorted(set.union(*(set(m.row) for m in found.values())) - keep)
    said = (
        (f"rows without all of {', '.join(units)} left out: {_few(left_out)}",) if left_out else ()
    )
    return {
        name: Measured(
            m.name,
            m.unit,
            m.values[[r in keep for r in m.row]],
            tuple(common),
            (*m.understood, *said),
            m.notes,
        )
        for name, m in found.items()
    }


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

    def column(self, unit, name, written_in, decimal) -> Measured:
        if unit not in (GRAMS, MILLIMETRES):
            raise Faulty("measurements", [Fault(f"unit is {unit!r}", remedy="ask for 'g' or 'mm'")])
        at = self._place(name)
        title = (
            self.header[at]
            if self.header
            else ("values" if len(self.rows[0]) == 1 else f"column {at + 1}")
        )
        bracket = re.search(rf"[\[(]\s*([A-Za-z]+)\s*[\])]|(?:,|[\s_])({_UNITS})\s*$", title)
        bare = written_in or (bracket and (bracket[1] or bracket[2])) or unit
        cells = [
            (self.first + n, row[at].strip() if at < len(row) else "")
            for n, row in enumerate(self.rows)
        ]
        filled = [(n, text) for n, text in cells if text]
        comma = _comma(filled, decimal, title, self.file, self.counts)
        values, faults = [], []
        for n, text in filled:
            try:
                values.append(_value(text, unit, bare, comma))
            except ValueError as cause:
                place = (
                    {"field": f"value {n}"}
                    if self.counts == "value"
                    else {"row": n, "column": title, "file": self.file}
                )
                faults.append(Fault(str(cause), **place, remedy="correct it, or take it out"))
        if not filled:
            faults.append(
                Fault(
                    "no measurement was found",
                    column=title,
                    file=self.file,
                    remedy="give at least one number",
                )
            )
        if faults:
            raise Faulty("measurements", faults)
        blanks = len(cells) - len(filled)
        said = (
            *self.said,
            f"values read: {len(values)}, from {title!r}; bare numbers taken as {bare}",
            *((f"blank cells left out: {blanks}",) if blanks else ()),
            *(("commas read as decimal signs",) if comma else ()),
        )
        numbers, row = np.array(values), tuple(n for n, _ in filled)
        notes = tuple(
            f"{self.counts} {row[i]}: {numbers[i]:g} {unit} lies far from the rest; kept, look again (a slipped decimal sign, a wrong unit?)"
            for i in far_out(numbers)[:20]
        )
        return Measured(title, unit, numbers, row, said, notes)

    def _mostly_numbers(self, at: int) -> bool:
        cells = [row[at] for row in self.rows if at < len(row) and row[at].strip()]
        return 2 * sum(bool(_LOOKS.match(cell)) for cell in cells) > len(cells)

    def _place(self, name) -> int:
        width = max(len(row) for row in self.rows)
        if name is None:
            numeric = [i for i in range(width) if self._mostly_numbers(i)]
            if width == 1:
                return 0
            if len(numeric) == 1:
                return numeric[0]
            names = ", ".join(self.header) or f"{width} columns without a header"
            raise Faulty(
                "measurements",
                [
                    Fault(
                        f"the table has {len(numeric)} columns of numbers ({names})",
                        file=self.file,
                        remedy="say which: column='...'",
                    )
                ],
            )
        folded = [title.casefold().strip() for title in self.header]
        exact = [i for i, title in enumerate(folded) if title == name.casefold().strip()]
        stems = exact or [
            i
            for i, title in enumerate(folded)
            if re.sub(rf"[\[(,].*|[\s_](?:{_UNITS})$", "", title).strip() == name.casefold().strip()
        ]
        if len(stems) != 1:
            what = (
                f"there is no column {name!r}"
                if not stems
                else f"{len(stems)} columns are called {name!r}"
            )
            raise Faulty(
                "measurements",
                [
                    Fault(
                        what,
                        file=self.file,
                        remedy=f"nearest: {', '.join(nearest(name[:80], self.header))}"
                        if self.header
                        else "the table has no header row",
                    )
                ],
            )
        return stems[0]


def _value(text: str, unit: str, bare: str, comma: bool) -> float:
    hit = _CELL.match(text)
    if not hit:
        raise ValueError(f"{text[:40]!r} is no measurement")
    digits = hit[1].replace("−", "-")
    if not comma and "," in digits:
        raise ValueError(f"{text[:40]!r} has a comma where the others have a point")
    if comma and "." in digits or digits.count(",") > 1 or digits.count(".") > 1:
        raise ValueError(f"{text[:40]!r} has signs of thousands; write plain digits")
    said = {'"': "in"}.get(hit[2], hit[2].casefold()) or bare
    number = float(digits.replace(",", ".")) * _factor(said, unit)
    if not number > 0:
        raise ValueError(f"{text[:40]!r} is not greater than 0")
    if number > 1e5:
        raise ValueError(f"{text[:40]!r} is {number:g} {unit}, larger than any sausage")
    return number


@lru_cache(maxsize=64)
def _factor(said: str, unit: str) -> float:
    return read(f"1 {said}", unit, "a measurement")


def _comma(filled, decimal, title, file, counts) -> bool:
    if decimal not in (None, ".", ","):
        raise Faulty("measurements", [Fault(f"decimal is {decimal!r}", remedy="give '.' or ','")])
    if decimal:
        return decimal == ","
    commas = [(n, text) for n, text in filled if "," in text]
    if not commas:
        return False
    if any("." in text for _, text in filled):
        return False
    n, text = commas[0]
    if counts == "value" and len(filled) == 1:
        raise Faulty(
            "measurements",
            [
                Fault(
                    f"{text!r} can be one value or two",
                    remedy="say decimal=',', or write a space between two values",
                )
            ],
        )
    if all(re.search(r",\d{3}(?!\d)", text) for _, text in commas):
        raise Faulty(
            "measurements",
            [
                Fault(
                    f"{text!r} can mean {text.replace(',', '.')} or {text.replace(',', '')}",
                    row=n,
                    column=title,
                    file=file,
                    remedy="say decimal=',' or decimal='.', or take the commas out",
                )
            ],
        )
    return True


def _table(source, sheet) -> _Table:
    if hasattr(source, "to_csv"):
        frame = source.to_frame() if hasattr(source, "to_frame") else source
        cells = [[_text(cell) for cell in row] for row in frame.itertuples(index=False)]
        return _Table(
            tuple(map(str, frame.columns)), _rows(cells, "table"), 1, "", ("a table of data",)
        )
    if isinstance(source, (Sequence, np.ndarray)) and not isinstance(
        source, (str, bytes, bytearray)
    ):
        return _Table(
            (), _rows([[_text(cell)] for cell in source], ""), 1, "", ("a list",), "value"
        )
    typed = isinstance(source, str) and not re.search(
        rf"({'|'.join(LIMITS.suffixes)})$", source.strip(), re.I
    )
    if typed or isinstance(source, str) and "\n" in source:
        return _from_text(source.replace("\r\n", "\n").replace("\r", "\n"), "")
    try:
        whole, name = load(source, "", LIMITS)
    except Faulty:
        raise
    except KitError as cause:
        raise Faulty("measurements", [Fault(str(cause))]) from None
    faults = Faults(name, "measurements")
    if is_workbook(whole):
        return _from_workbook(whole, faults, sheet)
    body, notes = utf8(whole, faults)
    return _from_text(body.decode("utf-8", "surrogatepass"), name, notes)


def _rows(rows, file) -> tuple[tuple[str, ...], ...]:
    if not rows:
        raise Faulty(
            "measurements",
            [Fault("no measurement was found", file=file, remedy="give at least one number")],
        )
    if len(rows) > LIMITS.rows:
        raise Faulty(
            "measurements",
            [
                Fault(
                    f"{len(rows):,} rows; the limit is {LIMITS.rows:,}",
                    file=file,
                    remedy="take a sample",
                )
            ],
        )
    return tuple(tuple(row) for row in rows)


def _text(cell) -> str:
    if cell is None or isinstance(cell, Real) and not isinstance(cell, bool) and np.isnan(cell):
        return ""
    return repr(float(cell)) if isinstance(cell, Real) and not isinstance(cell, bool) else str(cell)


def _from_workbook(whole: bytes, faults: Faults, sheet) -> _Table:
    pages = {
        page.title: [[_text(cell) for cell in row] for row in page.rows]
        for page in workbook_pages(whole, faults, LIMITS)
    }
    filled = {title: rows for title, rows in pages.items() if any(map(any, rows))}
    if sheet is None and len(filled) != 1 or sheet is not None and sheet not in filled:
        faults.stop(
            f"the workbook has {len(filled)} filled sheets: {', '.join(filled) or 'none'}",
            remedy="say which: sheet='...'",
        )
    title = sheet or next(iter(filled))
    return _of_cells(filled[title], faults.file, (f"sheet {title}",))


def _from_text(text: str, name: str, notes=()) -> _Table:
    text = text.replace("\u00a0", " ")
    lines = text.split("\n")
    if not text.strip():
        return _rows([], name)
    if not name and not any(_is_title(line) for line in lines):
        return _typed(lines)
    separator = _separator([line for line in lines if line.strip()])
    said = (
        f"columns separated by {SEPARATORS[separator]}"
        if any(separator in line for line in lines)
        else "one value per line"
    )
    return _of_cells(list(csv.reader(io.StringIO(text), delimiter=separator)), name, (*notes, said))


def _separator(lines: list[str]) -> str:
    """The sign that splits most rows into cells with a measurement among them. A comma only where the row above the first measurement has one too."""

    def rows(sign):
        return [
            n
            for n, line in enumerate(lines)
            if sign in line and any(_LOOKS.match(cell) for cell in line.split(sign))
        ]

    best = max(_SEPARATORS, key=lambda sign: (len(rows(sign)), -_SEPARATORS.index(sign)))
    found = rows(best)
    return (
        "\t"
        if not found or best == "," and found[0] > 0 and "," not in lines[found[0] - 1]
        else best
    )


def _of_cells(cells: list[list[str]], name: str, said) -> _Table:
    """Header: the last row before the first measurement, where it holds text."""
    start = next(
        (n for n, row in enumerate(cells) if any(_LOOKS.match(cell) for cell in row)), None
    )
    if start is None:
        return _rows([], name)
    above = next(
        (n for n in range(start - 1, -1, -1) if any(cell.strip() for cell in cells[n])), None
    )
    header = (
        tuple(cell.strip() or f"column {i + 1}" for i, cell in enumerate(cells[above]))
        if above is not None
        else ()
    )
    body = cells[start:]
    while body and not any(cell.strip() for cell in body[-1]):
        body.pop()
    width = max(len(header), max(len(row) for row in body))
    return _Table(
        header,
        _rows([[*row, *[""] * (width - len(row))] for row in body], name),
        start + 1,
        name,
        (*said, f"header in row {above + 1}" if above is not None else "no header row"),
    )


def _is_title(line: str) -> bool:
    return bool(re.search(r"[A-Za-z]", line)) and not re.search(r"\d", line)


def _typed(lines: list[str]) -> _Table:
    """Numbers as a person types them: separated by spaces, semicolons, line breaks, or commas that cannot be decimal signs."""
    cells = []
    text = "\n".join(lines)
    comma_lists = bool(re.search(r",\s|\d\.\d|\d,\d+,", text)) or bool(
        re.search(r"[A-Za-z]\s*,", text)
    )
    for piece in re.split(r"[;\n\t|]|,(?!\d)|,(?=\d)" if comma_lists else r"[;\n\t|]", text):
        rest = piece.strip()
        while rest:
            hit = re.match(
                rf"{_NUMBER}(?:\s*(?:{_UNITS})(?![A-Za-z]))?(?=[\s,;|]|$)|\S+", rest, re.I
            )
            cells.append([hit[0]])
            rest = rest[hit.end() :].strip()
    return _Table(
        (),
        _rows(cells, ""),
        1,
        "",
        ("typed values" + (", commas between them" if comma_lists else ""),),
        "value",
    )


def _few(rows) -> str:
    return ", ".join(map(str, rows[:10])) + (
        f" and {len(rows) - 10} more" if len(rows) > 10 else ""
    )

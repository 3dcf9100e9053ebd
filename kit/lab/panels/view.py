"""What one answer looks like: a sentence, rows for each chart, tables, the working and the sources."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any

from kit.errors import KitError
from kit.working import Result, Step, figure


@dataclass(frozen=True)
class Row:
    """One table line; `mark` is "", "fails" (drawn strong, its text must say so too) or "strong"."""

    cells: tuple[str, ...]
    mark: str = ""


def row(*cells: str, mark: str = "", fails: bool = False) -> Row:
    """A Row from its cells, marked where it fails."""
    return Row(cells, "fails" if fails else mark)


def _marked(*cells: str) -> Row:
    return Row(cells, "fails" if any(cell.startswith("✗") for cell in cells) else "")


@dataclass(frozen=True)
class Table:
    caption: str
    columns: Sequence[str]
    rows: Iterable[Row | Sequence] = ()
    """Rows, or cells alone: then a row with a cell that begins with ✗ fails"""
    folded: bool = False
    """shown as its caption only, until it is opened"""
    later: Callable[[], Iterable[Row | Sequence]] | None = None
    """for a folded table that costs time: gives the rows when the table is opened, or when the panel is put into words"""
    fault: Exception | None = None
    """an error in `later` that is none of ours: said in the table, and raised once all else is shown"""

    def __post_init__(self):
        rows = [one if type(one) is Row else _marked(*map(str, one)) for one in self.rows]
        object.__setattr__(self, "rows", tuple(rows))

    def filled(self) -> "Table":
        """With its rows, or with one row that says why there are none: an error here leaves the rest of the panel alone."""
        if self.later is None:
            return self
        try:
            return replace(self, rows=self.later(), later=None)
        except Exception as error:
            why = (
                f"✗ This table cannot be computed: {said(error)}",
                *("" for _ in self.columns[1:]),
            )
            fault = None if isinstance(error, KitError) else error
            return replace(self, rows=(why,), later=None, fault=fault)

    def as_text(self) -> str:
        """Caption and rows; the caption alone of a table that is calculated later."""
        if self.fault:
            raise self.fault
        lines = [] if self.later else [self.columns, *(row.cells for row in self.rows)]
        widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
        padded = (map(str.ljust, line, widths) for line in lines)
        return "\n".join([self.caption, *("  ".join(line).rstrip() for line in padded)])


def listing(
    caption: str,
    columns: Mapping[str, Callable[[Any], str]],
    items: Iterable,
    empty: tuple[str, ...] = (),
    *,
    folded: bool = False,
    numbered: bool = False,
    mark: Callable[[Any], str] = lambda one: "",
) -> Table:
    """A line for each item, each column by its function.

    empty: one line that is said where there are no items, if there is such. numbered: the first column counts the lines. mark: as in `Row`.
    """
    names = ("number", *columns) if numbered else tuple(columns)
    rows = []
    for n, one in enumerate(items, 1):
        cells = tuple(cell(one) for cell in columns.values())
        made = _marked(str(n), *cells) if numbered else _marked(*cells)
        rows.append(Row(made.cells, made.mark or mark(one)))
    if empty and not rows:
        said = ("", *empty) if numbered else empty
        rows.append(Row((*said, *("" for _ in names[len(said) :]))))
    return Table(caption, names, rows, folded)


@dataclass(frozen=True)
class View:
    """Everything a panel shows for one result. `data[chart][set]` is a list of rows; `text[chart]` its text alternative."""

    sentence: str
    data: Mapping[str, Mapping[str, list[dict]]] = field(default_factory=dict)
    text: Mapping[str, str] = field(default_factory=dict)
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    sources: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    page: tuple[str, Callable[[], str]] | None = None
    """file name of a page that can be saved and printed from the panel, and what makes its HTML when it is asked for"""
    idle: Mapping[str, str] = field(default_factory=dict)
    """controls that have no effect beside this answer, by key, and why"""

    def of(self, *results: Result | None) -> "View":
        """With the notes, the working and the sources of these results, as far as there are such, after its own."""
        found = [one for one in results if one is not None]
        parts = {"notes": "notes", "steps": "working", "sources": "sources"}
        more = {own: [x for one in found for x in getattr(one, its)] for own, its in parts.items()}
        return replace(self, **{own: (*getattr(self, own), *its) for own, its in more.items()})

    def filled(self, opened: Collection[str]) -> "View":
        """With the rows of the folded tables whose captions are in `opened`."""
        tables = (one.filled() if one.caption in opened else one for one in self.tables)
        return replace(self, tables=tuple(tables))

    def payload(self, worked: bool = True) -> dict:
        """The view as plain JSON: floats rounded, NaN as null, arrays as lists. Not `worked`: without the steps, which stand in a fold."""
        return {
            "sentence": self.sentence,
            "data": {
                chart: {name: plain(rows) for name, rows in sets.items()}
                for chart, sets in self.data.items()
            },
            "text": {
                name: self.text.get(name) or in_words(sets, self.sentence)
                for name, sets in self.data.items()
            },
            "tables": [
                {
                    "caption": t.caption,
                    "folded": t.folded,
                    "columns": list(t.columns),
                    "rows": [{"cells": list(r.cells), "mark": r.mark} for r in t.rows],
                }
                for t in self.tables
            ],
            "notes": list(dict.fromkeys(self.notes)),
            "steps": [_step(step) for step in self.steps] if worked else [],
            "has_steps": bool(self.steps),
            "sources": list(dict.fromkeys(self.sources)),
            "cautions": list(self.cautions),
            "page": self.page[0] if self.page else "",
        }


def said(error: Exception) -> str:
    """An error in words; one that is none of ours with its kind, so that it can be reported."""
    return (
        str(error)
        if isinstance(error, KitError)
        else f"an error of the kit itself, please report it ({type(error).__name__}: {error})"
    )


def _step(step: Step) -> dict:
    terms = [
        f"{t.symbol} = {figure(t.value)} {t.unit}".rstrip()
        + (f": {t.meaning}" if t.meaning else "")
        for t in step.terms
    ]
    return {
        "what": step.what,
        "formula": step.formula,
        "put_in": step.put_in,
        "answered": step.answered,
        "terms": terms,
    }


def plain(value):
    """JSON-safe: six significant digits are enough for a picture and keep the message small."""
    kind = type(value)
    if kind is float:
        return float(f"{value:.6g}") if isfinite(value) else None
    if kind in _AS_IT_IS:
        return value
    if kind is dict:
        return {k: v if type(v) in _AS_IT_IS else plain(v) for k, v in value.items()}
    if kind in (list, tuple):
        return [v if type(v) in _AS_IT_IS else plain(v) for v in value]
    if isinstance(value, Mapping):
        return plain(dict(value))
    return plain(value.tolist()) if hasattr(value, "tolist") else value


_AS_IT_IS = {str, int, bool, type(None)}


def columns(**arrays) -> list[dict]:
    """Rows from equal-length arrays: columns(x=xs, y=ys)."""
    listed = {
        key: (values.tolist() if hasattr(values, "tolist") else list(values))
        for key, values in arrays.items()
    }
    keys = tuple(listed)
    return [dict(zip(keys, row, strict=True)) for row in zip(*listed.values(), strict=True)]


def in_words(sets: Mapping[str, list[dict]], sentence: str) -> str:
    """What a chart shows: each named row with its words; where lines are drawn, the sentence of the panel first."""
    named = [[row for row in rows if row.get("words")] for rows in sets.values()]
    said = [f"{_name(row)}{row['words']}." for rows in named for row in rows]
    lines = any(len(rows) > 1 and not words for rows, words in zip(sets.values(), named))
    return " ".join([sentence, *said] if lines or not said else said)


def _name(row: dict) -> str:
    name = row.get("label") or str(
        next(filter(None, map(row.get, ("place", "what", "name", "limit"))), "")
    )
    return f"{name.split('|')[-1]}: " if name else ""

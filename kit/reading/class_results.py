"""What the stations handed in: workbooks or text tables, any order of columns, several stations in a file or several files of a station.

A row with a fault is set aside whole and waits for a decision; nothing is converted, repaired or left out silently.
"""

import os
import re
from collections.abc import Iterable
from dataclasses import replace
from math import isfinite, nan
from pathlib import Path
from typing import Any

from kit.classroom.codes import WrongCode, code, read_code
from kit.classroom.plan import ClassPlan
from kit.classroom.results import ClassResults, Key
from kit.errors import Fault, Faulty, KitError, nearest
from kit.faults import Cell, Faults
from kit.reading.cells import ColumnTable, as_text, comma_style
from kit.reading.class_book import ENTRIES, ENTRIES_OF_BATTER, KNOWN, KNOWN_OF_BATTER, NOTE
from kit.reading.columns import headed, tables
from kit.reading.dates import dated
from kit.reading.shapes import FileLimits, Form, FoundTable
from kit.trial.findings import UNITS, near
from kit.trial.readings import BatterReading, TubeReading

SUFFIXES = (".xlsx", ".csv", ".txt", ".tsv")
LIMITS = FileLimits(
    SUFFIXES,
    5_000_000,
    "a station fills a few rows; cut the file down to them",
    rows=5000,
    columns=60,
    unpacked_bytes=60_000_000,
)
COLUMNS = tuple(dict.fromkeys((*KNOWN, *ENTRIES, NOTE, *KNOWN_OF_BATTER, *ENTRIES_OF_BATTER)))
_WEIGHTS_G = 1e-5, 1e6
"""wide enough for weights in another unit, which the findings then name"""
_NEEDED = ("code", "empty_g", "filled_g", "after_g")
_NUMBER = re.compile(r"[+\-−]?(\d+([.,]\d*)?|[.,]\d+)")
_DATE = re.compile(r"(\d{4})-(\d\d)-(\d\d)")
_UNITS = {"g": ("g",), "C": ("°C", "C", "° C"), "min": ("min", "min."), "mm": ("mm",), "fold": ()}
_MOST_FILES = 400


def _name(header: str) -> str:
    return re.sub(r"[\s()-]+", "_", header.strip()).strip("_").casefold()


_BY_NAME = {name.casefold(): name for name in COLUMNS}


def _find(rows) -> FoundTable | None:
    hit = headed(lambda cell: _name(cell) in _BY_NAME)(rows)
    return hit if hit and sum(_name(one) in _BY_NAME for one in hit.names) >= 2 else None


_FORM = Form(
    LIMITS,
    _find,
    "no tubes",
    decimal=".",
)


def read_results(sources, plan: ClassPlan) -> ClassResults:
    """What a class handed in.

    sources: a folder, a path, or several paths or pairs of (file name, bytes or text). plan: the class's own.
    Returns ClassResults with every fault listed: file, sheet, row, column, value, remedy. KitError where there is no file at all.
    """
    gathered = _Gathered(plan)
    for name, source in files_of(sources):
        try:
            for table in tables(source, name, _FORM):
                gathered.take(table)
        except Faulty as cause:
            gathered.faults += cause.faults
        except KitError as cause:
            gathered.faults.append(Fault(str(cause), file=name))
    return gathered.results()


def files_of(sources, pattern: str = "*", suffixes=SUFFIXES) -> list[tuple[str, object]]:
    """(name, path or bytes) of a folder, a path, or several paths or pairs. KitError where there is none, or nothing that could be a file."""
    if isinstance(sources, (str, os.PathLike)) and Path(sources).is_dir():
        held = sorted(p for p in Path(sources).glob(pattern) if p.suffix.lower() in suffixes)
        sources = [p for p in held if not p.name.startswith(("~", ".", "merged", "marks"))]
        if not sources:
            what = f"{pattern} ({', '.join(suffixes)})"
            raise KitError(f"the folder holds no filled file of a station: {what}")
    if isinstance(sources, (str, os.PathLike)):
        sources = [sources]
    if not isinstance(sources, Iterable):
        raise KitError("give a folder, a path, or a list of paths")
    found: list[tuple[str, object]] = []
    for one in sources:
        name, source = one if isinstance(one, tuple) and len(one) == 2 else ("", one)
        if name and isinstance(source, str):
            source = source.encode("utf-8", "surrogatepass")
        if not name and not isinstance(source, (str, os.PathLike)):
            raise KitError(
                f"a file cannot be a {type(source).__name__}; give a path, or a name with its bytes"
            )
        found.append((name or Path(source).name, source))
    if not found or len(found) > _MOST_FILES:
        raise KitError(f"{len(found)} files were given; give 1 to {_MOST_FILES}")
    return found


class _Gathered:
    """Rows of every file, put together by code."""

    def __init__(self, plan: ClassPlan):
        self.plan = plan
        self.faults: list[Fault] = []
        self.tubes: dict[Key, TubeReading] = {}
        self.aside: dict[Key, tuple[TubeReading, str]] = {}
        self.batters: dict[tuple[int, int], BatterReading] = {}
        self.notes: list[str] = []

    def take(self, table: ColumnTable) -> None:
        faults = Faults(table.file)
        table.say(faults)
        header = Cell(None, table.header_row, sheet=table.sheet)
        names = [_BY_NAME.get(_name(one), "") for one in table.names]
        columns = {
            name: as_text(column).to_pylist() for name, column in zip(names, table.columns) if name
        }
        of_tubes, of_batters = "code" in columns, not columns.keys().isdisjoint(ENTRIES_OF_BATTER)
        if not of_tubes and not of_batters:
            if not columns.keys().isdisjoint(ENTRIES):
                near = ", ".join(nearest("code", table.names))
                what = "the table has weights but no column code"
                faults.add(what, header, "code", f"nearest: {near}")
            self.faults += faults.found
            return
        left = [one for one, known in zip(table.names, names) if not known]
        for name in _NEEDED if of_tubes and not of_batters else ():
            if name not in columns:
                hint = f"rename {nearest(name, left)[0]!r} if that is it, " if left else ""
                faults.add(
                    f"there is no column {name}", header, name, f"{hint}with the weights in g"
                )
        entries = ENTRIES if of_tubes else ENTRIES_OF_BATTER
        texts = [t for name in entries for t in columns.get(name, ()) if "," in t or "." in t]
        semicolons = any("semicolons" in note for note in table.notes)
        style = "decimal" if semicolons else _style(texts)
        bad = {row for _, row, *_ in table.lost}
        self.notes += table.notes
        other = set[str]()
        for n, row in enumerate(map(int, table.row)):
            cells = {name: column[n] for name, column in columns.items()}
            reader = _RowReader(faults, table.sheet, row, cells, style)
            marked = cells.get("plan", "")
            if marked and marked.casefold() != self.plan.fingerprint:
                if marked not in other:
                    remedy = f"this plan is {self.plan.fingerprint}; hand in the files that were made with it"
                    reader.say("plan", f"the row belongs to another plan ({marked[:20]!r})", remedy)
                    other.add(marked)
            elif any(cells.get(name) for name in (*entries, NOTE)):
                (self._tube if of_tubes else self._batter)(reader, row in bad)
        self.faults += faults.found

    def _tube(self, reader: "_RowReader", bad: bool) -> None:
        try:
            key = read_code(reader.cells["code"])
        except WrongCode as cause:
            reader.say("code", str(cause), "copy the code from the label")
            return
        if key not in self.plan.design.fill_g:
            why = "is not in this plan"
            if key[0] in self.plan.absent:
                why = "its station is absent in this plan"
            elif key in self.plan.whole.fill_g:
                why = "this tube was dropped in this plan"
            remedy = "check the label, or the plan's stations and tubes"
            reader.say("code", f"{code(*key)}: {why}", remedy)
            return
        for name, mine in zip(("station", "batter", "tube"), key):
            said = reader.cells.get(name, "")
            if said and said != str(mine):
                what = f"{name} is {said[:20]!r}, the code says {mine}"
                reader.say(name, what, "one of both is wrong: look at the label")
        read: dict[str, Any] = {name: reader.number(name) for name in ENTRIES}
        if read["fold"] is not None:
            read["fold"] = int(read["fold"])
        reading = TubeReading(*key, **{**read, **reader.said_of})
        self._weights(reader, reading)
        if reader.said or bad:
            self._set_aside(reading, "; ".join(reader.said) or "merged or unsaved cells")
        elif key not in self.aside:
            self._again(reader, reading)

    def _weights(self, reader: "_RowReader", t: TubeReading) -> None:
        if t.empty_g is not None and t.filled_g is not None and t.filled_g <= t.empty_g:
            target = self.plan.design.fill_g[t.key]
            fits = [
                f"; as {unit} it would be {t.filled_g / factor:.4g} g and fit"
                for unit, factor in UNITS.items()
                if near(t.filled_g / factor - t.empty_g, target)
            ]
            what = f"filled {t.filled_g:g} g is not above empty {t.empty_g:g} g{''.join(fits[:1])}"
            reader.say("filled_g", what, "look at the paper: exchanged cells, or another unit")
        if t.usable and t.loss_pct < -2:
            what = f"after {t.after_g:g} g is above filled {t.filled_g:g} g"
            reader.say("after_g", what, "look at the paper: exchanged cells, or another tube")

    def _again(self, reader: "_RowReader", new: TubeReading) -> None:
        """A second row of one tube: what was empty is filled in; other numbers set the tube aside."""
        old = self.tubes.get(new.key)
        filled, clash = _joined(old, new, ENTRIES)
        if old is None or not clash:
            self.tubes[new.key] = replace(old or new, **filled)
            if old:
                again = f"{reader.faults.file} holds tubes of station {new.station} once more; they are counted once"
                self.notes.append(again)
            return
        a, b = getattr(old, clash), getattr(new, clash)
        what = f"the tube comes twice with other numbers: {clash} {a:g} in {old.where}, {b:g} here"
        reader.say("code", what, "decide which is right: correct the tube, or leave it out")
        self._set_aside(old, what)

    def _set_aside(self, reading: TubeReading, why: str) -> None:
        self.tubes.pop(reading.key, None)
        self.aside[reading.key] = (reading, f"{reading.where}: {why}")

    def _batter(self, reader: "_RowReader", bad: bool) -> None:
        station, batter = (reader.whole(name) for name in ("station", "batter"))
        if station is None or batter is None:
            return
        key = (station, batter)
        if key not in self.plan.design.level:
            what = f"station {station}, batter {batter} is not in this plan"
            reader.say("batter", what, "check the station and the batter")
            return
        read: dict[str, Any] = {name: reader.number(name) for name in ENTRIES_OF_BATTER}
        new, old = BatterReading(station, batter, **read, **reader.said_of), self.batters.get(key)
        filled, clash = _joined(old, new, ENTRIES_OF_BATTER)
        if old and clash:
            what = (
                f"the batter comes twice with other numbers; {old.where} was read first and stays"
            )
            reader.say("batter", what, "keep one row for each batter")
        elif not reader.said and not bad:
            self.batters[key] = replace(new, **filled)

    def results(self) -> ClassResults:
        return ClassResults(
            self.plan,
            tuple(self.tubes[key] for key in sorted(self.tubes)),
            tuple(self.batters[key] for key in sorted(self.batters)),
            tuple(self.faults),
            dict(self.aside),
            own_notes=tuple(dict.fromkeys(self.notes)),
        )


def _joined(old, new, names: Iterable[str]) -> tuple[dict[str, Any], str]:
    """(numbers of the older of two readings, what it lacks from the newer; the first name of which both say another number)."""
    pairs = {name: (getattr(old, name, None), getattr(new, name)) for name in names}
    clash = (n for n, (a, b) in pairs.items() if a is not None and b is not None and a != b)
    return {n: b if a is None else a for n, (a, b) in pairs.items()}, next(clash, "")


def _style(texts: list[str]) -> str:
    import pyarrow as pa

    return comma_style([pa.array([t for t in texts if _NUMBER.fullmatch(t)], pa.string())])


class _RowReader:
    """One row: numbers of its cells, and what is wrong with them."""

    def __init__(self, faults: Faults, sheet: str, row: int, cells: dict[str, str], style: str):
        self.faults, self.sheet, self.row, self.cells, self.style = faults, sheet, row, cells, style
        self.said: list[str] = []

    @property
    def said_of(self) -> dict[str, Any]:
        """The note of a row, and where it stands."""
        sheet = f", sheet {self.sheet}" if self.sheet else ""
        where = f"{self.faults.file}{sheet}, row {self.row}"
        return {"note": self.cells.get(NOTE, "")[:200], "where": where}

    def say(self, column: str, what: str, remedy: str) -> None:
        self.said.append(what)
        self.faults.add(what, Cell(None, self.row, column, self.sheet), remedy=remedy)

    def whole(self, name: str) -> int | None:
        text = self.cells.get(name, "").strip()
        if text.isascii() and text.isdigit() and len(text) < 4:
            return int(text)
        self.say(name, f"{name} is {text[:40]!r}", "write the whole number")
        return None

    def number(self, name: str) -> float | None:
        """The number of a cell, None where nothing stands or what stands is faulty."""
        text = self.cells.get(name, "").strip()
        if not text:
            return None
        unit = name.rpartition("_")[2]
        bare = text
        for one in _UNITS[unit]:
            bare = bare.removesuffix(one).rstrip()
        value = self._plain(bare)
        low, high = (ENTRIES | ENTRIES_OF_BATTER)[name] if unit != "g" else _WEIGHTS_G
        if value is None:
            self.say(name, *self._why(name, text, unit))
        elif not low <= value <= high or name == "fold" and value != int(value):
            whole = "a whole number" if name == "fold" else "a number"
            remedy = f"give {whole} from {low:g} to {high:g} {'' if name == 'fold' else unit}"
            self.say(name, f"{name} is {text[:40]!r}", remedy.rstrip().replace(" C", " °C"))
        else:
            return value
        return None

    def _plain(self, text: str) -> float | None:
        if not text.isascii() and "−" not in text or not _NUMBER.fullmatch(text):
            return None
        if len(text.partition(",")[2]) == 3 and self.style != "decimal":
            return None  # it could group thousands
        value = float(text.replace(",", ".").replace("−", "-"))
        return value if isfinite(value) else nan

    def _why(self, name: str, text: str, unit: str) -> tuple[str, str]:
        """(what, remedy) of a cell that holds no number."""
        said = f"{name} is {text[:40]!r}"
        date = _DATE.match(text)
        if date or dated(text):
            typed = f"{int(date[3])}.{int(date[2])}" if date else "4.3"
            what = f"{said}, a date: a spreadsheet made it of an entry such as {typed}"
            return what, f"type the number again ({typed}?) in a cell of numbers"
        if _NUMBER.fullmatch(text) and "," in text:
            remedy = "use a point, or semicolons between the columns"
            return f"{said}: its comma can be read in two ways", remedy
        if re.fullmatch(r"[+\-−]?[\d.,]+\s*[^\d\s.,:][^\d:]{0,12}", text):
            words = "nothing but a number" if name == "fold" else f"in {unit.replace('C', '°C')}"
            return f"{said}: it has a unit that the header does not say", f"give it {words}"
        if text.startswith("="):
            return f"{said}, a formula", "type the value in"
        return f"{said}, no number", "type the number, or leave the cell empty"

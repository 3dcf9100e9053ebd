"""What the stations handed in: workbooks or text tables, any order of columns, several stations in a file or several files of a station.

A row with a fault is set aside whole and waits for a decision; nothing is converted, repaired or left out silently.
"""

import os
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import isfinite, nan
from pathlib import Path
from typing import Any

from kit.classroom.codes import WrongCode, code, read_code
from kit.classroom.plan import ClassPlan
from kit.classroom.results import ClassResults, Key
from kit.errors import Fault, Faulty, KitError, nearest
from kit.faults import Cell, Faults, said
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


_FORM = Form(LIMITS, _find, "no tubes", decimal=".")


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
            raise KitError(said("no file of a class", kind=type(source).__name__))
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
        faults, header = Faults(table.file), Cell(None, table.header_row, sheet=table.sheet)
        table.say(faults)
        names = [_BY_NAME.get(_name(one), "") for one in table.names]
        columns = {
            name: as_text(column).to_pylist() for name, column in zip(names, table.columns) if name
        }
        of_tubes, of_batters = "code" in columns, not columns.keys().isdisjoint(ENTRIES_OF_BATTER)
        left = [one for one, known in zip(table.names, names) if not known]
        for name in _NEEDED if of_tubes and not of_batters else ():
            if name not in columns:
                hint = f"rename {nearest(name, left)[0]!r} if that is it, " if left else ""
                faults.say("no class column", header, name, field=name, hint=hint)
        if of_tubes or of_batters:
            self._rows(table, columns, faults)
        elif not columns.keys().isdisjoint(ENTRIES):
            alike = ", ".join(nearest("code", table.names))
            faults.say("no code column", header, "code", near=alike)
        self.faults += faults.found

    def _rows(self, table: ColumnTable, columns: dict[str, list[str]], faults: Faults) -> None:
        take, entries = (
            (self._tube, ENTRIES) if "code" in columns else (self._batter, ENTRIES_OF_BATTER)
        )
        texts = [t for name in entries for t in columns.get(name, ()) if "," in t or "." in t]
        semicolons = any("semicolons" in note for note in table.notes)
        style = "decimal" if semicolons else _style(texts)
        bad = {row for _, row, *_ in table.lost}
        self.notes += table.notes
        other = set[str]()
        for row, *texts in zip(map(int, table.row), *columns.values()):
            reader = _RowReader(faults, table.sheet, row, dict(zip(columns, texts)), style)
            marked = reader.cells.get("plan", "")
            if marked and marked.casefold() != self.plan.fingerprint:
                if marked not in other:
                    reader.say("plan", "other plan", marked=marked[:20], plan=self.plan.fingerprint)
                    other.add(marked)
            elif any(reader.cells.get(name) for name in (*entries, NOTE)):
                take(reader, row in bad)

    def _tube(self, reader: "_RowReader", bad: bool) -> None:
        try:
            key = read_code(reader.cells["code"])
        except WrongCode as cause:
            reader.say("code", "wrong code", why=cause)
            return
        if key not in self.plan.design.fill_g:
            dropped = "tube dropped" if key in self.plan.whole.fill_g else "tube not planned"
            why = "station absent" if key[0] in self.plan.absent else dropped
            reader.say("code", why, code=code(*key))
            return
        for name, mine in zip(("station", "batter", "tube"), key):
            said = reader.cells.get(name, "")
            if said and said != str(mine):
                reader.say(name, "code says other", field=name, said=said[:20], mine=mine)
        new = TubeReading(*key, **reader.entries(ENTRIES))
        self._weights(reader, new)
        old = self.tubes.get(key)
        filled, clash = _joined(old, new, ENTRIES)
        if reader.said or bad:
            self._set_aside(new, "; ".join(reader.said) or "merged or unsaved cells")
        elif old and clash:
            one, other = getattr(old, clash), getattr(new, clash)
            where = {"field": clash, "one": one, "where": old.where, "other": other}
            self._set_aside(old, reader.say("code", "tube twice", **where))
        elif key not in self.aside:
            self.tubes[key] = replace(old or new, **filled)
            if old:
                again = f"{reader.faults.file} holds tubes of station {new.station} once more; they are counted once"
                self.notes.append(again)

    def _weights(self, reader: "_RowReader", t: TubeReading) -> None:
        if t.empty_g is not None and t.filled_g is not None and t.filled_g <= t.empty_g:
            target = self.plan.design.fill_g[t.key]
            fits = [
                f"; as {unit} it would be {t.filled_g / factor:.4g} g and fit"
                for unit, factor in UNITS.items()
                if near(t.filled_g / factor - t.empty_g, target)
            ]
            how = {"filled": t.filled_g, "empty": t.empty_g, "fits": "".join(fits[:1])}
            reader.say("filled_g", "not above empty", **how)
        if t.usable and t.loss_pct < -2:
            reader.say("after_g", "above filled", after=t.after_g, filled=t.filled_g)

    def _set_aside(self, reading: TubeReading, why: str) -> None:
        self.tubes.pop(reading.key, None)
        self.aside[reading.key] = (reading, f"{reading.where}: {why}")

    def _batter(self, reader: "_RowReader", bad: bool) -> None:
        station, batter = (reader.whole(name) for name in ("station", "batter"))
        if station is None or batter is None:
            return
        key = (station, batter)
        if key not in self.plan.design.level:
            reader.say("batter", "batter not planned", station=station, batter=batter)
            return
        new, old = BatterReading(*key, **reader.entries(ENTRIES_OF_BATTER)), self.batters.get(key)
        filled, clash = _joined(old, new, ENTRIES_OF_BATTER)
        if old and clash:
            reader.say("batter", "batter twice", where=old.where)
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


@dataclass
class _RowReader:
    """One row: numbers of its cells, and what is wrong with them."""

    faults: Faults
    sheet: str
    row: int
    cells: dict[str, str]
    style: str
    said: list[str] = field(default_factory=list)

    def say(self, column: str, key: str, **gaps) -> str:
        """Note a fault of data/words/faults.csv, and hand back its words."""
        self.faults.say(key, Cell(None, self.row, column, self.sheet), **gaps)
        self.said.append([*self.faults.found][-1].what)
        return self.said[-1]

    def entries(self, names: Iterable[str]) -> dict[str, Any]:
        """The numbers of a row, its note, and where it stands."""
        found: dict[str, Any] = {name: self.number(name) for name in names}
        sheet = f", sheet {self.sheet}" if self.sheet else ""
        where = f"{self.faults.file}{sheet}, row {self.row}"
        return found | {"note": self.cells.get(NOTE, "")[:200], "where": where}

    def whole(self, name: str) -> int | None:
        text = self.cells.get(name, "").strip()
        if text.isascii() and text.isdigit() and len(text) < 4:
            return int(text)
        self.say(name, "no whole number", field=name, text=text[:40])
        return None

    def number(self, name: str) -> float | None:
        """The number of a cell, None where nothing stands or what stands is faulty."""
        text, unit = self.cells.get(name, "").strip(), name.rpartition("_")[2]
        bare = text
        for one in _UNITS[unit]:
            bare = bare.removesuffix(one).rstrip()
        low, high = (ENTRIES | ENTRIES_OF_BATTER)[name] if unit != "g" else _WEIGHTS_G
        shown, fold = unit.replace("C", "°C"), name == "fold"
        if not text:
            return None
        value, said = self._plain(bare), {"field": name, "text": text[:40]}
        if value is None:
            why, gaps = self._why(text, "nothing but a number" if fold else f"in {shown}")
            self.say(name, why, **said, **gaps)
        elif not low <= value <= high or fold and value != int(value):
            wanted, of = ("a whole number", "") if fold else ("a number", f" {shown}")
            self.say(name, "beyond limits", **said, low=low, high=high, wanted=wanted, unit=of)
        else:
            return int(value) if fold else value
        return None

    def _plain(self, text: str) -> float | None:
        if not text.isascii() and "−" not in text or not _NUMBER.fullmatch(text):
            return None
        if len(text.partition(",")[2]) == 3 and self.style != "decimal":
            return None  # it could group thousands
        value = float(text.replace(",", ".").replace("−", "-"))
        return value if isfinite(value) else nan

    def _why(self, text: str, wanted: str) -> tuple[str, dict[str, str]]:
        """Which fault it is that a cell holds no number, and what fills its words."""
        date = _DATE.match(text)
        if date or dated(text):
            typed = f"{int(date[3])}.{int(date[2])}" if date else "4.3"
            return "number made a date", {"typed": typed}
        if _NUMBER.fullmatch(text) and "," in text:
            return "two commas", {}
        if re.fullmatch(r"[+\-−]?[\d.,]+\s*[^\d\s.,:][^\d:]{0,12}", text):
            return "unit not in header", {"wanted": wanted}
        return "number a formula" if text.startswith("=") else "no number here", {}

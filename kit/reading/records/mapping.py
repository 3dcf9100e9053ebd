"""Which column means what? The mapping: a small TOML file that the kit drafts, with reasons, and the person edits."""

import json
import tomllib
from collections.abc import Mapping as Dict
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

from kit import units
from kit.errors import Fault, Faulty, KitError, nearest
from kit.files import put
from kit.reading.records.words import KINDS, LEFT_OUT, ROLES, plain
from kit.stages import STAGES

DATE_ORDERS = {"ymd": "year, month, day", "dmy": "day, month, year", "mdy": "month, day, year"}
ASK = "?"
"""what a draft writes where the file does not tell; a mapping that still holds one is refused with the question"""
_TOP = (
    "decimal",
    "dates",
    "header_row",
    "sheets",
    "from_sheet",
    "fill_down",
    "columns",
    "weight",
    "carry",
    "stages",
    "kinds",
)


_QUESTIONS = (
    (
        "decimal",
        "commas can be decimals or thousands",
        'write decimal = "," or decimal = "."',
    ),
    (
        "dates",
        "dates such as 03/04/2026 can be day/month or month/day",
        'write dates = "dmy" or dates = "mdy"',
    ),
    (
        "columns, batch",
        "no column is known as the batch",
        'write batch = "..." under [columns]',
    ),
    (
        "weight",
        "no column is known as a weight",
        "write a [[weight]] with its column, stage, kind and unit",
    ),
)
"""(place, what is open, what to write)"""


@dataclass(frozen=True)
class Weight:
    """One column of weights. An empty stage, kind, name or unit is read from the row's own column of that role.

    With `tare` (a column) the weight is gross and net is worked out; `net` (a column) is then held against it.
    """

    column: str
    stage: str = ""
    kind: str = ""
    name: str = ""
    unit: str = ""
    tare: str = ""
    net: str = ""


@dataclass(frozen=True)
class Mapping:
    """What the columns of a person's records mean. `str(mapping)` is its TOML form."""

    columns: tuple[tuple[str, str], ...]
    """(role, column); several columns of role batch are joined with ' / '"""
    weights: tuple[Weight, ...]
    carry: tuple[tuple[str, str], ...] = ()
    """(column, "number" or "text"): carried along beside each weighing"""
    decimal: str = "."
    dates: str = "ymd"
    header_row: int = 1
    sheets: tuple[str, ...] = ()
    """sheets of a workbook to read; none named: every filled one"""
    from_sheet: str = ""
    """role that the name of the sheet stands for, such as stage"""
    fill_down: tuple[str, ...] = ()
    """roles written once for several rows, empty or merged below: the person says so, and the rows concerned are counted"""
    stages: tuple[tuple[str, str], ...] = ()
    kinds: tuple[tuple[str, str], ...] = ()
    reasons: tuple[tuple[str, str], ...] = field(default=(), compare=False)
    """(place in the mapping, why the draft says so)"""

    def column(self, role: str) -> str:
        return next((column for held, column in self.columns if held == role), "")

    @property
    def batch_columns(self) -> tuple[str, ...]:
        return tuple(column for role, column in self.columns if role == "batch")

    def has(self, role: str) -> bool:
        return bool(self.column(role)) or self.from_sheet == role

    @property
    def used(self) -> tuple[str, ...]:
        """Every column that is read."""
        named = [
            *(column for _, column in self.columns),
            *(c for w in self.weights for c in (w.column, w.tare, w.net)),
            *(column for column, _ in self.carry),
        ]
        return tuple(dict.fromkeys(column for column in named if column))

    @property
    def questions(self) -> tuple[Fault, ...]:
        """What the person has to answer before the records can be read."""
        asked = [
            Fault(what, field=place, remedy=remedy)
            for open_, (place, what, remedy) in zip(
                (self.decimal == ASK, self.dates == ASK, not self.has("batch"), not self.weights),
                _QUESTIONS,
                strict=True,
            )
            if open_
        ]
        for w in self.weights:
            asked += self._questions_of(w)
        for title, pairs, known in (("stages", self.stages, STAGES), ("kinds", self.kinds, KINDS)):
            asked += [
                Fault(
                    f"the word {word[:60]!r} is not known",
                    field=f"{title}, {word[:60]!r}",
                    remedy=f"nearest: {', '.join(nearest(word[:60], known))}; or write {LEFT_OUT!r} where it is no part of the books",
                )
                for word, means in pairs
                if means == ASK
            ]
        return tuple(asked)

    def _questions_of(self, w: Weight) -> list[Fault]:
        place, asked = f"weight {w.column!r}", []
        for what, known in (("stage", STAGES), ("kind", KINDS)):
            if getattr(w, what) == ASK or not getattr(w, what) and not self.has(what):
                said = f"the {what} of this weight is not written in the file"
                remedy = f"write {what} = one of: {', '.join(known)}"
                asked.append(Fault(said, field=f"{place}, {what}", remedy=remedy))
        if w.unit == ASK:
            remedy = 'write unit = "kg", "lb", "g" or another mass'
            said = "the unit is not written in the file"
            asked.append(Fault(said, field=f"{place}, unit", remedy=remedy))
        return asked

    def answered(self, **changes) -> "Mapping":
        """The same mapping with some entries changed, such as `dates="dmy"`."""
        known = [entry.name for entry in fields(self)]
        unknown = sorted(set(changes) - set(known))
        if unknown:
            raise KitError(f"a mapping has no {unknown[0]!r}; it has {', '.join(known)}")
        return replace(self, **changes)

    def __str__(self) -> str:
        return _toml(self)


def write_mapping(mapping: Mapping, path) -> Path:
    """Write the mapping as TOML, whole or not at all. KitError if the file exists: a mapping that was edited is never lost."""
    return put(path, str(mapping), overwrite=None)


def read_mapping(source) -> Mapping:
    """A Mapping from a path, TOML text with line breaks, or a dict. Raises Faulty with everything wrong in it."""
    name, table = "the mapping", source
    if not isinstance(source, Dict):
        fault = None
        try:
            if isinstance(source, str) and "\n" in source:
                text = source
            else:
                name, text = Path(source).name, Path(source).read_bytes().decode("utf-8-sig")
            table = tomllib.loads(text)
        except OSError as cause:
            fault = f"the file cannot be opened ({cause.strerror})", "check the name and the folder"
        except (ValueError, TypeError) as cause:
            remedy = "draft one with draft_mapping, and edit that"
            fault = f"this is no mapping in TOML: {cause}", remedy
        if fault:
            raise Faulty(name, [Fault(fault[0], file=name, remedy=fault[1])])
    faults: list[Fault] = []
    mapping = _from_table(table, name, faults)
    if faults or mapping is None:
        raise Faulty(f"{name} cannot be used", faults)
    return mapping


def _from_table(table: Dict, name: str, faults: list[Fault]) -> Mapping | None:
    def wrong(place, what, remedy=""):
        faults.append(Fault(what, field=place, file=name, remedy=remedy))

    def text_of(entry, place, among=None, empty=True):
        if not isinstance(entry, str):
            wrong(place, f"{entry!r} is no text", "put it in quotes")
        elif among is not None and entry not in (*among, ASK) and (entry or not empty):
            wrong(place, f"{entry!r} is not known", f"nearest: {', '.join(nearest(entry, among))}")
        return entry if isinstance(entry, str) else ""

    def listed(key, among=None):
        given = table.get(key, [])
        if not isinstance(given, list):
            wrong(key, f"{given!r} is no list", 'write it as ["..."]')
            return ()
        return tuple(text_of(entry, key, among) for entry in given)

    def pairs(key, among):
        given = table.get(key, {})
        if not isinstance(given, Dict):
            wrong(key, f"[{key}] must be a table")
            return ()
        return tuple(
            (str(word), text_of(means, f"{key}, {word}", among, False))
            for word, means in given.items()
        )

    for key in table:
        if key not in _TOP:
            wrong(
                str(key), f"{key!r} is not known", f"nearest: {', '.join(nearest(str(key), _TOP))}"
            )
    row = table.get("header_row", 1)
    if isinstance(row, bool) or not isinstance(row, int) or not 0 < row <= 1000:
        wrong("header_row", f"{row!r} is no row", "write the row of the headers, counted from 1")
    roles, columns = table.get("columns", {}), []
    if not isinstance(roles, Dict):
        wrong("columns", "[columns] must be a table")
        roles = {}
    for role, given in roles.items():
        text_of(role, f"columns, {role}", ROLES, False)
        if isinstance(given, list) and role != "batch":
            wrong(f"columns, {role}", "only a batch can be named by several columns")
        columns += [
            (role, text_of(column, f"columns, {role}"))
            for column in (given if isinstance(given, list) else [given])
        ]
    weights, known = [], [entry.name for entry in fields(Weight)]
    given = table.get("weight", [])
    if not isinstance(given, list) or not all(isinstance(w, Dict) for w in given):
        wrong("weight", "every weight must be a table of its own, under [[weight]]")
        given = []
    for n, w in enumerate(given, 1):
        for key in w:
            if key not in known:
                wrong(
                    f"weight {n}, {key}",
                    f"{key!r} is not known",
                    f"nearest: {', '.join(nearest(str(key), known))}",
                )
        entry = {
            key: text_of(
                w.get(key, ""), f"weight {n}, {key}", {"stage": STAGES, "kind": KINDS}.get(key)
            )
            for key in known
        }
        if not entry["column"]:
            wrong(f"weight {n}", "the weight has no column", 'write column = "..."')
        if entry["unit"] not in ("", ASK):
            try:
                units.read(f"1 {entry['unit']}", "kg", f"weight {n}, unit")
            except KitError as cause:
                wrong(f"weight {n}, unit", str(cause))
        if entry["net"] and not entry["tare"]:
            wrong(
                f"weight {n}, net",
                "a net column is held against gross and tare, but there is no tare",
                "name the tare column, or read the net column as the weight",
            )
        weights.append(Weight(**entry))
    slots = [(w.column, w.stage, w.kind, w.name) for w in weights]
    for slot in sorted({slot for slot in slots if slots.count(slot) > 1}):
        wrong(
            "weight",
            f"the column {slot[0]!r} is mapped twice to the same thing",
            "keep one of the two",
        )
    decimal = text_of(table.get("decimal", "."), "decimal", (".", ","), False)
    dates = text_of(table.get("dates", "ymd"), "dates", DATE_ORDERS, False)
    from_sheet = text_of(table.get("from_sheet", ""), "from_sheet", ROLES)
    rest = (
        listed("sheets"),
        from_sheet,
        listed("fill_down", ROLES),
        pairs("stages", (*STAGES, LEFT_OUT)),
        pairs("kinds", (*KINDS, LEFT_OUT)),
    )
    carry = pairs("carry", ("number", "text"))
    return (
        None
        if faults
        else Mapping(tuple(columns), tuple(weights), carry, decimal, dates, row, *rest)
    )


def _toml(m: Mapping) -> str:
    why = dict(m.reasons)

    def line(key, given, place):
        listed = isinstance(given, (list, tuple))
        shown = f"[{', '.join(map(_quoted, given))}]" if listed else _quoted(given)
        return f"{key} = {shown}{_because(why.get(place))}"

    def pairs(title, entries, comment):
        if entries:
            yield f"\n[{title}]   # {comment}"
            for key, means in entries:
                yield line(_quoted(key), means, f"{title}, {key}")

    lines = [
        '# What the columns mean. Drafted from the headers: look it over and correct what is wrong. "?" is a question to you.',
        line("decimal", m.decimal, "decimal"),
        line("dates", m.dates, "dates"),
        f"header_row = {m.header_row}{_because(why.get('header_row'))}",
    ]
    if m.sheets or why.get("sheets"):
        lines.append(line("sheets", m.sheets, "sheets"))
    lines += [line("from_sheet", m.from_sheet, "")] if m.from_sheet else []
    lines += [line("fill_down", m.fill_down, "")] if m.fill_down else []
    lines.append(f"\n[columns]   # roles: {', '.join(ROLES)}")
    batch = m.batch_columns
    lines += [line("batch", batch[0] if len(batch) == 1 else batch, "batch")] if batch else []
    lines += [line(role, column, role) for role, column in m.columns if role != "batch"]
    for w in m.weights:
        lines.append(f"\n[[weight]]{_because(why.get('weight ' + w.column))}")
        lines += [line(e.name, getattr(w, e.name), "") for e in fields(w) if getattr(w, e.name)]
    yours = f'; or "{LEFT_OUT}"'
    return "\n".join(
        (
            *lines,
            *pairs("carry", m.carry, "carried along beside each weighing, as number or text"),
            *pairs("stages", m.stages, f"your words for the stages: {', '.join(STAGES)}{yours}"),
            *pairs(
                "kinds", m.kinds, f"your words for the kinds of weight: {', '.join(KINDS)}{yours}"
            ),
            "",
        )
    )


def _because(reason: str | None) -> str:
    return f"   # {' '.join(reason.split())}" if reason else ""


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def lookup(pairs, group: dict[str, str]) -> dict[str, str]:
    """plain word -> meaning: the person's own words before the kit's."""
    return {**group, **{plain(word): means for word, means in pairs}}

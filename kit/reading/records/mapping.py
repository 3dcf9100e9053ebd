"""Which column means what? The mapping: a small TOML file that the kit drafts, with reasons, and the person edits."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator
from collections.abc import Mapping as Dict
from dataclasses import dataclass, field, fields, replace
from functools import partial
from pathlib import Path

import numpy as np

from kit.errors import Fault, KitError, nearest, need_known
from kit.faults import Faults
from kit.files import put, toml_value
from kit.reading.amounts import factor
from kit.reading.dates import ORDERS
from kit.reading.opener import load, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.words import LEFT_OUT, ROLES, first_few
from kit.stages import STAGES
from kit.tables import rows_by
from kit.yields.ledger import IN, KINDS, OUT

_FILE = FileLimits((), 5_000_000, "a mapping is a few lines; draft one with draft_mapping")
ASK = "?"
"""what a draft writes where the file does not tell; a mapping that still holds one is refused with the question"""
SHEET_NAME = "sheet name"
"""stands for a column where the name of the sheet says a role"""
_KNOWN = {"stage": tuple(STAGES), "kind": KINDS}
_BY_SHEET = tuple(role for role in ROLES if role not in ("date", "clock", "unit"))
_TEXTS = {"decimal": (".", ","), "dates": ORDERS, "from_sheet": ("", *_BY_SHEET)}
_LISTS = {"sheets": None, "fill_down": ROLES}
_PAIRS: dict[str, tuple[str, ...] | None] = {
    "carry": ("number", "text"),
    "stages": (*STAGES, LEFT_OUT),
    "kinds": (*KINDS, LEFT_OUT),
    "facts": None,
}
"""entries of a mapping, with what each may hold"""
_TITLES = {
    "carry": "carried along beside each weighing, as number or text",
    "stages": f'your words for the stages: {", ".join(STAGES)}; or "{LEFT_OUT}"',
    "kinds": f'your words for the kinds of weight: {", ".join(KINDS)}; or "{LEFT_OUT}"',
    "facts": "columns of numbers, and the fact that each is, with its unit: cook_end_C, fat_pct",
}
_TYPES = {str: "text; put it in quotes", int: "whole number", list: 'list, as in ["..."]'}


@dataclass(frozen=True)
class Question:
    """What a person has to say before records can be read: a panel offers the `options`, `Mapping.answer` takes them by `key`."""

    key: str
    text: str
    options: tuple[str, ...]
    remedy: str
    label: str = ""
    """of the field in which it is answered"""
    columns: tuple[str, ...] = ()
    """the columns that it is about; what stands in them helps to answer"""

    @property
    def fault(self) -> Fault:
        """The question as one of the faults of a file."""
        return Fault(self.text, self.key, remedy=self.remedy)


@dataclass(frozen=True)
class WeightColumn:
    """One column of weights. An empty stage, kind, name or unit is read from the row's own column of that role.

    With `tare` (a column) the weight is gross and net is calculated; `net` (a column) is then held against it.
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
    weights: tuple[WeightColumn, ...]
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
    facts: tuple[tuple[str, str], ...] = ()
    """(column of numbers, fact that it is, with its unit: cook_end_C, fat_pct or a name of your own)"""
    reasons: tuple[tuple[str, str], ...] = field(default=(), compare=False)
    """(place in the mapping, why the draft says so)"""
    said: tuple[str, ...] = field(default=(), compare=False)
    """what the draft took on trust or left out, to be told with the records"""

    def column(self, role: str) -> str:
        """The (first) column of this role, SHEET_NAME where the sheet says it, '' where nothing does."""
        by_sheet = SHEET_NAME if role == self.from_sheet else ""
        return next((column for held, column in self.columns if held == role), by_sheet)

    @property
    def batch_columns(self) -> tuple[str, ...]:
        found = tuple(column for role, column in self.columns if role == "batch")
        return found or (self.column("batch"),)

    @property
    def used(self) -> tuple[str, ...]:
        """Every column that is read."""
        named = [column for _, column in self.columns]
        named += [c for w in self.weights for c in (w.column, w.tare, w.net) if c]
        return tuple(dict.fromkeys((*named, *(column for column, _ in self.carry))))

    def lines(self) -> Iterator[tuple[str, str, str]]:
        """(column, read as, reason) of every column that it reads."""
        because = dict(self.reasons)
        for role, column in self.columns:
            yield column, role, because.get(role, "")
        for w in self.weights:
            taken = ", ".join(part for part in (w.stage, w.kind, w.name, w.unit) if part)
            yield w.column, taken, because.get(f"weight {w.column}", "")
        for column, kind in self.carry:
            yield column, f"kept as {kind}", because.get(f"carry, {column}", "")

    @property
    def questions(self) -> tuple[Question, ...]:
        """What the person has to answer before the records can be read."""
        return tuple(question for question, _ in _open(self))

    def answer(self, answers: Dict[str, str]) -> "Mapping":
        """The mapping with questions answered, {key of a Question: one of its options}. Raises KitError for what was not asked or offered."""
        found = self
        for key, said in answers.items():
            asked = {question.key: (question, change) for question, change in _open(found)}
            if key not in asked:
                raise KitError(f"{key!r} is no open question; open: {', '.join(asked) or 'none'}")
            question, change = asked[key]
            if said not in question.options:
                offered = ", ".join(question.options)
                raise KitError(f"{said!r} does not answer {key!r}; one of: {offered}")
            found = change(said)
        return found

    def answered(self, **changes) -> "Mapping":
        """The same mapping with some entries changed, such as `dates="dmy"`."""
        for name in changes:
            need_known("entry of a mapping", name, [entry.name for entry in fields(self)])
        return replace(self, **changes)

    def __str__(self) -> str:
        return _toml(self)


def _open(m: Mapping) -> Iterator[tuple[Question, Callable[[str], Mapping]]]:
    """Each open question, and the mapping that an answer makes of this one."""

    def ask(key: str, words: str, options: Iterable[str], change, about: Iterable[str], **said):
        row = rows_by("key", "records", "questions.csv")[words]
        text, remedy, label = (row[part].format(**said) for part in ("what", "remedy", "label"))
        label = label[:1].upper() + label[1:]
        return Question(key, text, tuple(options), remedy, label, tuple(about)), change

    carried = [column for column, _ in m.carry]
    numeric = [column for column, kind in m.carry if kind == "number"]
    weighed = [*(w.column for w in m.weights), *numeric]
    for entry, offered, about in (
        ("decimal", (".", ","), weighed),
        ("dates", ("dmy", "mdy", "ymd"), [m.column("date")]),
    ):
        if getattr(m, entry) == ASK:
            change = partial(lambda at, said: m.answered(**{at: said}), entry)
            yield ask(entry, entry, offered, change, about)
    if not m.column("batch"):
        yield ask("columns, batch", "batch", carried, partial(_as_batch, m), carried)
    if not m.weights:
        yield ask("weight", "weight", numeric, partial(_as_weight, m), numeric)
    for role, known in (*_KNOWN.items(), ("unit", ("kg", "g", "lb", "oz", "t"))):
        rows_say = role == "unit" or m.column(role)
        asked = [w for w in m.weights if (getattr(w, role) or ("" if rows_say else ASK)) == ASK]
        slots = {(w.stage, w.name) for w in asked}
        if len(asked) > 1 and (role == "unit" or role == "kind" and len(slots) == len(asked)):
            options = known if role == "unit" else (IN, OUT)
            said = {"columns": first_few(w.column for w in asked), "known": ", ".join(options)}
            change = partial(_weigh, m, tuple(w.column for w in asked), role)
            about = [w.column for w in asked]
            yield ask(f"weights, {role}", f"every {role}", options, change, about, **said)
            continue
        for w in asked:
            own = (w.stage, w.name)
            again = [o.column for o in m.weights if own == (o.stage, o.name) and w.stage != ASK]
            said = {"role": role, "known": ", ".join(known), "columns": " and ".join(again)}
            said |= {"column": w.column}
            how = "unit" if role == "unit" else "role" if len(again) < 2 else "twice"
            options = known if role == "unit" else (*known, LEFT_OUT)
            change = partial(_weigh, m, (w.column,), role)
            about = again if how == "twice" else [w.column]
            yield ask(f"weight {w.column!r}, {role}", how, options, change, about, **said)
    for title, pairs, among in (("stages", m.stages, STAGES), ("kinds", m.kinds, KINDS)):
        for word in (word for word, means in pairs if means == ASK):
            said = {"word": word[:60], "near": ", ".join(nearest(word[:60], among))}
            said |= {"role": title.removesuffix("s")}
            change = partial(_mean, m, title, word)
            about, offered = [m.column(title.removesuffix("s"))], (*among, LEFT_OUT)
            yield ask(f"{title}, {word[:60]!r}", "word", offered, change, about, **said)


def _as_batch(m: Mapping, column: str) -> Mapping:
    carry = tuple(pair for pair in m.carry if pair[0] != column)
    return replace(m, columns=(("batch", column), *m.columns), carry=carry)


def _as_weight(m: Mapping, column: str) -> Mapping:
    """What its header does not say is asked next."""
    roles = {role: "" if m.column(role) else ASK for role in (*_KNOWN, "unit")}
    carry = tuple(pair for pair in m.carry if pair[0] != column)
    return replace(m, weights=(WeightColumn(column, **roles),), carry=carry)


def _weigh(m: Mapping, columns: Collection[str], role: str, said: str) -> Mapping:
    """The role of these weights; what is left out is carried along."""
    if said == LEFT_OUT:
        weights = tuple(w for w in m.weights if w.column not in columns)
        return replace(m, weights=weights, carry=(*m.carry, *((c, "number") for c in columns)))
    return replace(
        m,
        weights=tuple(replace(w, **{role: said}) if w.column in columns else w for w in m.weights),
    )


def _mean(m: Mapping, title: str, word: str, said: str) -> Mapping:
    pairs = tuple((w, said if w == word else means) for w, means in getattr(m, title))
    return m.answered(**{title: pairs})


def write_mapping(mapping: Mapping, path) -> Path:
    """Write the mapping as TOML, whole or not at all. KitError if the file exists: a mapping that was edited is never lost."""
    return put(path, str(mapping), overwrite=None)


def read_mapping(source) -> Mapping:
    """A Mapping from a path, TOML text with line breaks, or a dict. Raises Faulty with everything wrong in it."""
    name, table = "the mapping", source
    if not isinstance(source, Dict):
        whole, name = load(source, name, _FILE)
        table = toml_of(whole, Faults(name, f"{name} cannot be used"))[0]
    faults = Faults(name, f"{name} cannot be used")
    mapping = _mapping(table, faults)
    faults.stop_if_any()
    return mapping


def _taken(entry, kind: type, place: str, faults: Faults, among: Iterable | None = None):
    """The entry, or an empty one where it is of another kind; what it may not hold is a fault too."""
    if not isinstance(entry, kind) or isinstance(entry, bool):
        faults.say("other type", name=place, entry=entry, type=_TYPES.get(kind, "table"))
        return kind()
    if among is not None and entry not in (*among, ASK):
        near = ", ".join(nearest(str(entry), map(str, among)))
        faults.say("not known", name=place, entry=entry, near=near)
    return entry


def _mapping(table: Dict, faults: Faults) -> Mapping:
    """The mapping of a table; what cannot be taken becomes a fault."""

    def part(key: str, kind: type):
        return _taken(table.get(key, kind()), kind, key, faults)

    known = (*_TEXTS, "header_row", *_LISTS, "columns", "weight", *_PAIRS)
    for key in table:
        _taken(key, str, str(key), faults, known)
    held: dict = {
        key: _taken(table[key], str, key, faults, among)
        for key, among in _TEXTS.items()
        if key in table
    }
    for key, roles in _LISTS.items():
        held[key] = tuple(_taken(entry, str, key, faults, roles) for entry in part(key, list))
    for key, among in _PAIRS.items():
        pairs = part(key, dict).items()
        held[key] = tuple((k, _taken(v, str, f"{key}, {k}", faults, among)) for k, v in pairs)
    carried = dict(held["carry"])
    held["carry"] += tuple((c, "number") for c, _ in held["facts"] if c not in carried)
    row = _taken(table.get("header_row", 1), int, "header_row", faults, range(1, 1001))
    columns = []
    for role, given in part("columns", dict).items():
        _taken(role, str, f"columns, {role}", faults, ROLES)
        several = given if isinstance(given, list) and role == "batch" else [given]
        columns += [(role, _taken(one, str, f"columns, {role}", faults)) for one in several]
    weights = tuple(
        _weight(f"weight {n}", _taken(w, dict, "weight", faults), faults)
        for n, w in enumerate(part("weight", list), 1)
    )
    slots = Counter((w.column, w.stage, w.kind, w.name) for w in weights)
    for column, *_ in sorted(slot for slot, times in slots.items() if times > 1):
        faults.say("mapped twice", name="weight", title=column)
    return Mapping(tuple(columns), weights, header_row=row, **held)


def _weight(place: str, w: Dict, faults: Faults) -> WeightColumn:
    parts = [entry.name for entry in fields(WeightColumn)]
    for key, entry in w.items():
        _taken(key, str, f"{place}, {key}", faults, parts)
        if key in parts:
            among = (*_KNOWN[key], "") if key in _KNOWN else None
            _taken(entry, str, f"{place}, {key}", faults, among)
    found = WeightColumn(**{key: str(w.get(key, "")) for key in parts})
    if not found.column:
        faults.say("no weight column", name=place)
    if found.unit not in ("", ASK) and np.isnan(factor(found.unit)):
        faults.say("no unit of mass", name=f"{place}, unit", unit=found.unit)
    if found.net and not found.tare:
        faults.say("net without tare", name=f"{place}, net")
    return found


def _toml(m: Mapping) -> str:
    """By hand, for the reason beside each line is half of what a draft says."""
    why = dict(m.reasons)

    def line(key: str, given, place: str = "") -> str:
        return f"{key} = {toml_value(given)}{_because(why.get(place))}"

    batch = [column for role, column in m.columns if role == "batch"]
    roles = {"batch": batch[0] if len(batch) == 1 else batch} if batch else {}
    roles |= {role: column for role, column in m.columns if role != "batch"}
    where = [
        key for key in ("sheets", "from_sheet", "fill_down") if getattr(m, key) or why.get(key)
    ]
    lines = [
        '# What the columns mean. Drafted from the headers: look it over and correct what is wrong. "?" is a question to you.',
        *(line(key, getattr(m, key), key) for key in ("decimal", "dates", "header_row", *where)),
        f"\n[columns]   # roles: {', '.join(ROLES)}",
        *(line(role, column, role) for role, column in roles.items()),
    ]
    for w in m.weights:
        lines.append(f"\n[[weight]]{_because(why.get('weight ' + w.column))}")
        lines += [line(e.name, getattr(w, e.name)) for e in fields(w) if getattr(w, e.name)]
    for title, comment in _TITLES.items():
        if getattr(m, title):
            lines.append(f"\n[{title}]   # {comment}")
            lines += [line(toml_value(k), means, f"{title}, {k}") for k, means in getattr(m, title)]
    return "\n".join((*lines, ""))


def _because(reason: str | None) -> str:
    return f"   # {' '.join(reason.split())}" if reason else ""

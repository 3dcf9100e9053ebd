"""How was this answer calculated, so that a learner can redo it with a pencil?

A result carries `working`: steps with a formula, the numbers put in with their units, and the answer.
The formulas are written in a small fixed notation (+ − × / ^ ( ) √ ln exp log10 min max) so that the
tests can work every step again by an independent reading and compare (tests/pencil.py). What is always
written alike is a row of data/words/working.csv (`working_of`), as notes are rows of notes.csv (`notes_of`); code gives them the numbers.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from functools import cache, cached_property, lru_cache
from typing import Any, NamedTuple

import numpy as np

from kit.errors import look_up, need_known
from kit.tables import read_rows

PRINTED_LINES = 40
"""the most that a result prints"""


@dataclass(frozen=True)
class Term:
    """One symbol of a formula: its value, unit and meaning."""

    symbol: str
    value: float
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class Step:
    """`formula` is `answer symbol = expression`, e.g. "AW = TW − 4 × TP"."""

    what: str
    formula: str
    terms: tuple[Term, ...]
    answer: float
    unit: str = ""
    key: str = ""
    """what code asks for this step by; the words may change, the key may not"""

    def _shown(self, value: float, unit: str) -> str:
        """As figures; what rounding left of 0, less than a millionth of a millionth of what else is in its unit, is 0."""
        most = max((abs(term.value) for term in self.terms if term.unit == unit), default=0.0)
        return figure(0.0 if unit and abs(value) < 1e-12 * most else value)

    @property
    def expression(self) -> str:
        return self.formula.split("=", 1)[1].strip()

    @property
    def put_in(self) -> str:
        """The expression with the numbers in place of the symbols."""
        by_symbol = {
            term.symbol: f"({shown})" if shown.startswith(("-", "−")) else shown
            for term in self.terms
            for shown in [self._shown(term.value, term.unit)]
        }
        names = "|".join(sorted((re.escape(symbol) for symbol in by_symbol), key=len, reverse=True))
        if not names:
            return self.expression
        return re.sub(rf"(?<!\w)({names})(?!\w)", lambda hit: by_symbol[hit[1]], self.expression)

    @property
    def answered(self) -> str:
        return f"{self._shown(self.answer, self.unit)} {self.unit}".strip()

    def __str__(self) -> str:
        return f"{self.what}: {self.formula} = {self.put_in} = {self.answered}"


def step(what: str, formula: str, answer: float, unit: str = "", *, key: str = "", **terms) -> Step:
    """A Step from keyword terms: value, (value, unit) or (value, unit, meaning)."""
    found = tuple(Term(symbol, *_three(given)) for symbol, given in terms.items())
    return Step(what, formula, found, float(answer), unit, key)


def steps_of(working: Iterable[Step], *keys: str) -> tuple[Step, ...]:
    """The steps with these keys, in this order. UnknownName where one is missing."""
    by_key = {one.key: one for one in working if one.key}
    return tuple(look_up("step", key, by_key) for key in keys)


class Interval(NamedTuple):
    """An estimate and the two ends of its interval, 90 % where nothing else is said."""

    low: float
    value: float
    high: float

    def each(self, what: Callable[[float], float]) -> "Interval":
        """The same done to all three."""
        return Interval(*map(what, self))

    def __str__(self) -> str:
        low, value, high = map(figure, self)
        return f"{value} ({low} to {high})"


@dataclass(frozen=True)
class Result:
    """Base of every answer: its own numbers, and what it was made from.

    `notes`, `sources` and `working` are its own (`own_notes`, `own_sources`, `own_working`) after those of every Result among its fields, in the
    order of the fields, each once: nobody gathers them by hand.
    """

    own_notes: tuple[str, ...] = field(default=(), kw_only=True, repr=False)
    own_sources: tuple[str, ...] = field(default=(), kw_only=True, repr=False)
    own_working: tuple[Step, ...] = field(default=(), kw_only=True, repr=False)

    @property
    def notes(self) -> tuple[str, ...]:
        """What lies outside where a source tested it, and what was assumed."""
        return self._gathered("notes")

    @property
    def sources(self) -> tuple[str, ...]:
        """One line for each source used, with place and status."""
        return self._gathered("sources")

    @property
    def working(self) -> tuple[Step, ...]:
        """The steps that a pencil can redo."""
        return self._gathered("working")

    def _gathered(self, name: str) -> tuple:
        """Those of the parts, then its own, each once."""
        of_parts = (one for part in self._parts for one in getattr(part, name))
        return tuple(dict.fromkeys((*of_parts, *getattr(self, f"own_{name}"))))

    @cached_property
    def _parts(self) -> tuple["Result", ...]:
        return tuple(self.parts())  # kept: notes, sources and working of a whole tree each ask

    def parts(self) -> Iterator["Result"]:
        """The results among the fields."""
        for one in fields(self):
            value = getattr(self, one.name)
            several = tuple(value.values()) if isinstance(value, Mapping) else value
            items = several if isinstance(several, (tuple, list)) else (several,)
            yield from (item for item in items if isinstance(item, Result))

    def __str__(self) -> str:
        """Name and value of each field, then the notes, in at most 40 lines."""
        lines = [type(self).__name__]
        for one in fields(self):
            if one.repr and not one.name.startswith("_"):
                lines.append(f"  {one.name}: {_shown(getattr(self, one.name))}")
        lines += [f"  note: {note}" for note in self.notes]
        if len(lines) > PRINTED_LINES:
            more = len(lines) - PRINTED_LINES + 1
            lines = [*lines[: PRINTED_LINES - 1], f"  and {more} more lines"]
        return "\n".join(lines)


def _shown(value) -> str:
    """One line for one field."""
    if isinstance(value, Result):
        return type(value).__name__
    if isinstance(value, float):
        return figure(value)
    if isinstance(value, np.ndarray) and value.ndim:
        if not value.size or value.dtype.kind != "f":
            return f"{value.size} values"
        low, high = float(np.nanmin(value)), float(np.nanmax(value))
        return f"{value.shape[0]} values, {figure(low)} to {figure(high)}"
    if isinstance(value, (tuple, list, Mapping)) and len(value) > 4:
        return f"{len(value)} entries"
    text = str(value)
    return text if len(text) <= 110 and "\n" not in text else f"{' '.join(text.split())[:107]}..."


def _three(given) -> tuple[float, str, str]:
    value, *rest = given if isinstance(given, tuple) else (given,)
    unit, meaning = (*rest, "", "")[:2]
    return float(value), unit, meaning


def figure(value: float, digits: int = 5) -> str:
    """A number as written by hand: five significant digits, no exponent for ordinary sizes."""
    if value == 0:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-6 < abs(value) < 1e9:
        text = f"{value:.10f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.0f}"
    return text.replace("-", "−") if not text.startswith("-") else "−" + text[1:]


_SYMBOL = re.compile(r"[^\W\d]\w*")
_FUNCTIONS = {"ln", "exp", "log10", "min", "max", "abs"}


@lru_cache(maxsize=1024)
def _symbols(formula: str) -> tuple[str, tuple[str, ...]]:
    """The answer of a formula, and what it is made from."""
    answer, expression = formula.split("=", 1)
    names = dict.fromkeys(_SYMBOL.findall(expression))
    return answer.strip(), tuple(name for name in names if name not in _FUNCTIONS)


def steps_from(known: Mapping[str, Any], *rows: tuple[str, ...]) -> tuple[Step, ...]:
    """Steps over one table of symbols: each row is (what, formula, unit of the answer) and, if code asks for it, its key.

    known: symbol -> value, or (value, unit, meaning) as far as they are needed; the answers are symbols of it too.
    """
    made = []
    for what, formula, unit, *key in rows:
        answer, names = _symbols(formula)
        terms = tuple(Term(name, *_three(known[name])) for name in names)
        made.append(Step(what, formula, terms, _three(known[answer])[0], unit, "".join(key)))
    return tuple(made)


@cache
def _notes() -> dict[str, dict[str, str]]:
    """name -> its rows of data/words/notes.csv: key -> words."""
    found: dict[str, dict[str, str]] = {}
    for row in read_rows("words", "notes.csv"):
        found.setdefault(row["of"], {})[row["key"]] = row["words"]
    return found


def notes_of(of: str, holds: Mapping[str, object], /, **known: Any) -> tuple[str, ...]:
    """The notes written in data/words/notes.csv under this name, but those whose key `holds` names and denies.

    known: what a row names in braces.
    """
    for key in holds:
        need_known(f"note of {of}", key, _notes()[of])
    rows = _notes()[of].items()
    return tuple(words.format_map(known) for key, words in rows if holds.get(key, True))


@cache
def _written() -> dict[str, tuple[list[tuple[str, ...]], dict[str, tuple[str, str]]]]:
    """name -> its rows of data/words/working.csv (formula, what, unit, key), and unit and meaning of its symbols."""
    found: dict[str, tuple[list, dict]] = {}
    for row in read_rows("words", "working.csv"):
        rows, symbols = found.setdefault(row["of"], ([], {}))
        rows.append((row["formula"], row["what"], row["unit"], row["key"]))
        parts = (one.partition(": ") for one in row["terms"].split(" | "))
        symbols |= {symbol: said.partition(", ")[::2] for symbol, _, said in parts if symbol}
    return found


def working_of(of: str, /, **known: Any) -> tuple[Step, ...]:
    """The steps written in data/words/working.csv under this name, over the numbers of one case.

    known: symbol -> value, or (value, unit, meaning) where the row's own do not hold; the answers are symbols too, and a row whose answer
    is left out or None is not written. What a row names in braces is put into its words.
    """
    rows, symbols = _written()[of]
    made = []

    def filled(texts: Iterable[str]) -> list[str]:
        return [text.format_map(known) if "{" in text else text for text in texts]

    def term(symbol: str) -> Term:
        given = known[symbol]
        if isinstance(given, tuple) or symbol not in symbols:
            return Term(symbol, *_three(given))
        return Term(symbol, float(given), *filled(symbols[symbol]))

    for row in rows:
        formula, what, unit, key = filled(row)
        answer, names = _symbols(formula)
        if (found := known.get(answer)) is not None:
            made.append(Step(what, formula, tuple(map(term, names)), _three(found)[0], unit, key))
    return tuple(made)

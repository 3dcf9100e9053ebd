"""What the reader of records asks a person: a field for each question, what stands in the file about it, and the answers kept as a mapping for the next file."""

from collections.abc import Mapping as Dict
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from kit.errors import KitError
from kit.files import put
from kit.lab.command import file_stem
from kit.lab.panels.panel import Choice, Table, row
from kit.lab.panels.sheets import batches_folder
from kit.reading.cells import as_text, sample
from kit.reading.columns import table_blocks, tables
from kit.reading.dates import ORDERS
from kit.reading.records import Mapping, Question, read_mapping
from kit.reading.records.draft import draft_of, form_of

ASK = "Questions of the reader"
SHOWN = 4
"""cells of a column that are shown beside its question"""
SAID = {".": "point", ",": "comma", **ORDERS}
"""options that a person knows by other words"""


@dataclass(frozen=True, eq=False)
class Asked:
    """A file's mapping with what was answered so far. `met`: every question met on the way, answered or open; `found`: {column: cells in it}."""

    mapping: Mapping
    met: tuple[Question, ...]
    found: Dict[str, tuple[str, ...]]
    kept_as: str = ""
    """the file that the mapping was kept in, '' where it was drafted"""


def asked_of(source, name: str, answers: Dict[str, str], among=()) -> Asked:
    """The mapping of a file, drafted or the kept one of the same columns `among` those, with those of the answers that it asks for."""
    first = next(table_blocks(source, name, form_of(None)))
    whole = tables(source, name, form_of(None)) if first.sheet else [first]
    mapping, met = draft_of(whole), dict[str, Question]()
    own = kept_for(mapping, among)
    kept_as, mapping = own or ("", mapping)
    while True:
        met |= {question.key: question for question in mapping.questions}
        taken = next((q.key for q in mapping.questions if answers.get(q.key) in q.options), None)
        if taken is None:
            break
        mapping = mapping.answer({taken: answers[taken]})
    about = {column for question in met.values() for column in question.columns}
    found = {
        column: tuple(dict.fromkeys(sample(as_text(table.column(column)), 400)))[:SHOWN]
        for table in whole
        for column in about.intersection(table.names)
    }
    return Asked(mapping, tuple(met.values()), found, kept_as)


def controls_of(asked: Asked, digest: str, anew: bool = False) -> tuple[Choice, ...]:
    """A field for each question, and whether to ask again where answers were kept. Keys hold the file, so that no answer is taken over by another."""

    def field(key: str, label: str, options: tuple) -> Choice:
        return Choice(key, label, options, "", ASK, stays=True)

    def offered(q: Question) -> tuple:
        return (("choose", ""), *((SAID.get(option, option), option) for option in q.options))

    again = (("as kept", ""), ("ask again", "anew"))
    kept_ones = (field(f"kept {digest}", "Answers of an earlier file", again),)
    return (kept_ones if asked.kept_as or anew else ()) + tuple(
        field(_key(digest, q.key), q.label, offered(q)) for q in asked.met
    )


def answers_of(values: Dict, digest: str) -> dict[str, str]:
    """{key of a question: the answer in its field}."""
    start = _key(digest, "")
    return {k.removeprefix(start): v for k, v in values.items() if k.startswith(start) and v}


def _key(digest: str, question: str) -> str:
    return f"asked {digest} {question}"


def questions_table(asked: Asked) -> Table:
    """Each question with what stands in the file; open ones are marked."""
    open_ones = {question.key for question in asked.mapping.questions}
    rows = []
    for question in asked.met:
        cells = (f"{c}: {', '.join(asked.found.get(c, ()))}" for c in question.columns[:SHOWN])
        is_open = question.key in open_ones
        what = f"✗ {question.text}" if is_open else question.text
        rows.append(row(question.label, what, "; ".join(cells), mark="fails" if is_open else ""))
    return Table(
        "Questions of the reader", ("question", "what is not clear", "in the file"), tuple(rows)
    )


# --- answers kept for the next file ---


def kept() -> tuple[tuple[Path, int], ...]:
    """The mappings kept beside the notebooks, newest first, each with the time of its last change."""
    found = ((path, path.stat().st_mtime_ns) for path in _folder().glob("*.toml"))
    return tuple(sorted(found, key=lambda one: -one[1]))


def kept_for(drafted: Mapping, among: tuple[tuple[Path, int], ...]) -> tuple[str, Mapping] | None:
    """The newest kept mapping of the same columns, with the rows, sheets and new words of this file."""
    for path, _ in among:
        with suppress(KitError):
            held = read_mapping(path)
            if set(held.used) == set(drafted.used):
                new = {
                    title: (*own, *(p for p in getattr(drafted, title) if p[0] not in dict(own)))
                    for title, own in (("stages", held.stages), ("kinds", held.kinds))
                }
                place = {"header_row": drafted.header_row, "sheets": drafted.sheets}
                return path.name, held.answered(**place, **new)
    return None


def keep(mapping: Mapping, name: str) -> str:
    """Write the mapping beside the notebooks, under the name of its file, over an earlier one of the same columns only; where to, or why not, in words."""
    path = _place_for(mapping, file_stem(Path(name).stem))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        put(path, str(mapping), overwrite=True)
    except (KitError, OSError) as error:
        return f"your answers could not be kept for the next file ({error})"
    return f"your answers are kept in {path.parent.name}/{path.name}: a file with the same columns is read with them"


def _place_for(mapping: Mapping, stem: str) -> Path:
    for n in count(1):
        path = _folder() / (f"{stem}_{n}.toml" if n > 1 else f"{stem}.toml")
        try:
            if not path.exists() or set(read_mapping(path).used) == set(mapping.used):
                return path
        except KitError:
            continue  # a file that is no mapping stays as it is
    raise AssertionError("counting never ends")


def _folder() -> Path:
    return batches_folder() / "mappings"

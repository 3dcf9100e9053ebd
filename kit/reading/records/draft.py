"""What do these headers probably mean? A mapping with its reasons; what the file does not tell becomes a question, never a guess."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import pyarrow as pa
import pyarrow.compute as pc

from kit.reading import dates
from kit.reading.amounts import AMOUNT, amount, factor
from kit.reading.cells import ColumnTable, as_text, comma_style, is_text, sample, ungrouped
from kit.reading.columns import headed, tables
from kit.reading.logs.table import looks_like, unnumbered
from kit.reading.records.faults import ASIDE
from kit.reading.records.mapping import ASK, Mapping, WeightColumn
from kit.reading.shapes import FileLimits, Form
from kit.reading.words import (
    Header,
    first_few,
    is_total,
    known_header,
    languages,
    meaning,
    note,
    plain,
    read_header,
    words,
)
from kit.tables import value
from kit.yields.ledger import IN, OUT

_SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".parquet")
LIMITS = FileLimits(_SUFFIXES, 2_000_000_000_000, "read it in parts")
_MANY_WORDS = 60
_RANK = {"smoke": 0, "shower": 0, "link": 2}
"""when a part of a stage comes, beside its main part, 1"""


def form_of(header_row: int | None, mapping: Mapping | None = None) -> Form:
    """Where records stand in a file: under a header that they know, or in the row that is said."""
    rows, find = max(40, header_row or 0), headed(known_header, header_row)
    sheets, decimal = (mapping.sheets, mapping.decimal) if mapping else ((), None)
    return Form(LIMITS, find, "no records", rows=rows, sheets=sheets, decimal=decimal)


def draft_mapping(source, name: str = "", header_row: int | None = None) -> Mapping:
    """A Mapping for the records in `source`; `mapping.questions` lists what the person must answer."""
    return draft_of(tables(source, name, form_of(header_row)))


def draft_of(found: list[ColumnTable]) -> Mapping:
    """The mapping of the table with the most headers that are known, and of those like it."""
    table = max(found, key=lambda t: (sum(map(known_header, t.names)), t.row.size))
    alike = [
        t for t in found if set(t.names) == set(table.names) and t.header_row == table.header_row
    ]
    said: list[str] = []
    kinds = {c: content(table.column(c)) for c in table.names if not c.startswith(ASIDE)}
    language = _language(table, kinds)
    told = {c: read_header(unnumbered(c)[:100], language) for c in kinds}
    heads = {c: _fitting(c, head, kinds[c]) for c, head in told.items()}
    heads = _first_table(heads, kinds, said)
    words_in = [repr(c) for c, head in heads.items() if told[c].measure and head == Header()]
    if words_in:
        said.append(note("text weights", columns=first_few(words_in, 8)))
    kinds = {column: kinds[column] for column in heads}
    by_sheet = len(alike) > 1 and all(meaning("stage", t.sheet) for t in alike)
    from_sheet = "stage" if by_sheet and all(h.role != "stage" for h in heads.values()) else ""
    reasons = [("header_row", "the row with the most headers that are known")]
    columns = _roles(heads, reasons)
    weights = _weights(table, heads, columns, from_sheet, reasons, said)
    known = {*columns.values(), *(c for w in weights for c in (w.column, w.tare, w.net))}
    carry = {c: "number" if kind == "number" else "text" for c, kind in kinds.items()}
    carry = {column: kind for column, kind in carry.items() if column not in known}
    uncounted = [column for column in carry if heads[column].unit]
    if uncounted:
        said.append(note("no weights", columns=first_few(map(repr, uncounted), 8)))
    reasons += [(f"carry, {column}", "not known as a part of the mass balance") for column in carry]
    numeric = [c for w in weights for c in (w.column, w.tare) if c]
    numeric += [column for column, kind in carry.items() if kind == "number"]
    texts = (t.column(column) for t in alike for column in numeric)
    style = _style([text for text in texts if is_text(text)])
    decimal = {"decimal": ",", "thousands": ".", "": "."}.get(style, ASK)
    reasons.append(("decimal", note(f"commas {style}".strip())))
    order = "none"
    if "date" in columns:
        order = _order([t.column(columns["date"]) for t in alike]) or "dates"
    reasons.append(("dates", note(f"order {order}")))
    order = order if order in dates.ORDERS else "ymd" if order in ("none", "dates") else ASK
    others = [t.sheet for t in found if t not in alike]
    if others:
        reasons.append(("sheets", f"left out, with other headers: {', '.join(others)}"))
        said.append(note("other sheets", sheets=first_few(map(repr, others))))
    sheets = tuple(t.sheet for t in alike) if others else ()
    own = {
        role: _own_words(alike, columns[role], role, language)
        for role in ("stage", "kind")
        if role in columns and not all(getattr(w, role) for w in weights)
    }
    return Mapping(
        tuple(columns.items()),
        weights,
        tuple(carry.items()),
        decimal,
        order,
        table.header_row,
        sheets,
        from_sheet,
        stages=own.get("stage", ()),
        kinds=own.get("kind", ()),
        facts=_facts(carry, language),
        reasons=tuple(reasons),
        said=tuple(said),
    )


def _language(table: ColumnTable, kinds: dict[str, str]) -> str:
    """The one whose words know the most headers; English where it knows as many."""

    def known(language: str) -> list[int]:
        heads = (_fitting(c, read_header(c[:100], language), kind) for c, kind in kinds.items())
        asides = words(language)["aside"]
        return [
            2 * bool(head.role or head.stage or head.kind)
            + bool(head.measure or plain(c) in asides)
            for c, head in zip(kinds, heads)
        ]

    if all(known("en")):
        return "en"
    return max(languages(), key=lambda language: (sum(known(language)), language == "en"))


def _first_table(
    heads: dict[str, Header], kinds: dict[str, str], said: list[str]
) -> dict[str, Header]:
    """The columns before an empty one behind which a batch stands again: there a second table begins."""
    names = list(heads)
    for n, gap in enumerate(names):
        after = next((c for c in names[n + 1 :] if heads[c].role == "batch"), "")
        if after and not kinds[gap] and any(heads[c].role == "batch" for c in names[:n]):
            said.append(note("second table", column=after))
            return {column: heads[column] for column in names[:n]}
    return heads


def _facts(carry: dict[str, str], language: str) -> tuple[tuple[str, str], ...]:
    """(column of numbers, the fact it is), where its header says so with its unit."""
    known, found = words(language), list[tuple[str, str]]()
    for column, kind in carry.items():
        unit = "C" if re.search(r"°\s*C\b|\(C\)", column) else "pct" if "%" in column else ""
        bare = " ".join(word for word in plain(column).split() if word != "c")
        fact = known["fact"].get(known["aside"].get(bare, ""), "")
        if kind == "number" and fact.endswith(unit or "?") and fact not in dict(found).values():
            found.append((column, fact))
    return tuple(found)


def _style(columns: list[pa.Array]) -> str:
    """How commas and points are used: as `comma_style`, or "points" where they could group thousands."""
    style = comma_style(columns)
    cells = [re.sub(r"\s*[A-Za-z]+\.?$", "", c) for one in columns for c in sample(one) if "." in c]
    grouped = cells and all(re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", cell) for cell in cells)
    largest = value("records_heaviest_kg")
    plausible = grouped and max(float(cell) * 1000 for cell in cells) <= largest
    return "points" if not style and plausible else style


def content(column: pa.Array) -> str:
    """ "number", "date", "stamp" (date and clock), "clock", "text", or "" where nothing stands in it."""
    if not is_text(column):
        return "stamp" if pa.types.is_timestamp(column.type) else "number"
    some = ungrouped(pa.array(sample(column, 300), pa.string()))
    kinds = Counter[str]()
    for text, times in Counter(some.to_pylist()).items():
        kinds[_cell(text)] += times
    return max(("number", "stamp", "date", "clock", "text"), key=kinds.__getitem__) if kinds else ""


def _cell(text: str) -> str:
    kind = looks_like(text)
    if kind == "time":
        return ("stamp" if ":" in text else "date") if dates.dated(text) else "clock"
    if kind == "number" or len(text) >= 40:
        return kind
    hit = re.fullmatch(AMOUNT, text)
    return "number" if (factor(hit["unit"]) if hit else amount(text, ".")) > 0 else "text"


def _fitting(column: str, head: Header, kind: str) -> Header:
    """The header, unless what stands under it cannot be that: a weight needs numbers, a date needs dates."""
    if head.role == "clock" and kind in ("date", "stamp"):
        return Header(role="date")
    if head.role == "date" and kind == "clock":
        return Header(role="clock")
    if head.role == "scale" and kind == "number" and plain(column) in words()["measure"]:
        return Header(measure="weight")
    allowed = ("number", "") if head.measure else ("clock", "number", "")
    return Header() if (head.measure or head.role == "clock") and kind not in allowed else head


def _roles(heads: dict[str, Header], reasons) -> dict[str, str]:
    """role -> the first column whose header says so."""
    chosen: dict[str, str] = {}
    for column, head in heads.items():
        if head.role in chosen:
            reasons.append((head.role, f"{column!r} could be it too; it is carried along"))
        elif head.role:
            chosen[head.role] = column
            reasons.append((head.role, f"the header reads {plain(column)!r}"))
    return chosen


def _weights(
    table: ColumnTable, heads: dict[str, Header], columns, from_sheet: str, reasons, said: list[str]
) -> tuple[WeightColumn, ...]:
    """Nets before grosses; a gross needs a tare beside it. What stage, kind or unit is written nowhere is asked."""
    held = {*columns, from_sheet}
    nets, gross, tares = (
        [column for column, head in heads.items() if head.measure == measure]
        for measure in ("weight", "gross", "tare")
    )
    found = []
    if gross and tares:
        told = (c for c in nets if not heads[c].stage and not heads[c].kind)
        net = next((c for c in told if "net" in plain(c).split() or len(nets) == 1), "")
        nets = [c for c in nets if c != net]
        found = [(column, tares[0], net) for column in gross]
    found += [(column, "", "") for column in nets]
    usual, weights = words()["usual"], []
    for column, tare, net in found:
        head = heads[column]
        stage, kind = head.stage, head.kind
        if not stage and kind in usual and "stage" not in held:
            stage = usual[kind]
            said.append(note("usual stage", column=column, kind=kind, stage=stage))
        if stage in ("pack", "receive") and not kind and "kind" not in held:
            kind = OUT
        second = "stage" in held and not (stage or kind) and column != found[0][0]
        named = {"stage": stage, "kind": ASK if second else kind, "unit": head.unit}
        in_file = held | ({"unit"} if _cells_say_unit(table.column(column)) else set())
        given = {role: word or ("" if role in in_file else ASK) for role, word in named.items()}
        weights.append(WeightColumn(column, name=head.name, tare=tare, net=net, **given))
        what = ", ".join(f"{role} {word!r}" for role, word in named.items() if word) or "a weight"
        net_of = f"; net is calculated with {tare!r}" if tare else ""
        reasons.append((f"weight {column}", f"the header says {what}{net_of}"))
    return tuple(_one_each(_after_each(weights, heads, said), heads, said))


def _after_each(weights: list[WeightColumn], heads, said: list[str]) -> list[WeightColumn]:
    """One weight for each of several stages, the last as packed, and no way into a stage in any header: weights after the stage."""
    ways = [heads[w.column].kind for w in weights if w.stage not in ("pack", "receive")]
    bare = [w for w in weights if w.kind == ASK and w.stage not in ("", ASK)]
    packed = any(w.stage == "pack" and w.kind == OUT for w in weights)
    if len(bare) < 2 or not packed or IN in ways:
        return weights
    said.append(note("after", columns=first_few(w.column for w in bare)))
    return [replace(w, kind=OUT) if w in bare else w for w in weights]


def _one_each(weights: list[WeightColumn], heads, said: list[str]) -> list[WeightColumn]:
    """Of the parts of a stage, such as smoke and cook, the first into it and the last out of it; two columns for one weight are a question."""
    known = (w for w in weights if w.stage and w.kind and ASK not in (w.stage, w.kind))
    slot = {w.column: (w.stage, w.kind, w.name) for w in known}
    kept = []
    for w in weights:
        same = [c for c in slot if slot[c] == slot.get(w.column)]
        ranks = [_RANK.get(heads[c].part, 1) for c in same]
        if len(same) > 1 and ranks == sorted(set(ranks)) and w.kind in (IN, OUT):
            use = same[0 if w.kind == IN else -1]
            if w.column != use:
                said.append(note("between", column=w.column, used=use, stage=w.stage))
                continue
        elif len(same) > 1 and w.kind != ASK:
            w = replace(w, kind=ASK)
        kept.append(w)
    return kept


def _cells_say_unit(column: pa.Array) -> bool:
    found = sample(column, 300) if is_text(column) else []
    lettered = [cell for cell in found if any(letter.isalpha() for letter in cell)]
    return bool(found) and len(lettered) > 0.9 * len(found)


def _order(columns: Sequence[pa.Array]) -> str:
    """The order of day and month that all cells agree with."""
    days = (dates.split_stamp(column)[0].unique() for column in columns if is_text(column))
    short = (
        pc.filter(day, pc.match_substring_regex(day, r"^(\pL+[.,]* +)?\d{1,2}[-./]"))
        for day in days
    )
    return dates.day_order(text for day in short for text in day.to_pylist())


def _own_words(
    found: list[ColumnTable], column: str, role: str, language: str
) -> tuple[tuple[str, str], ...]:
    """The file's words for stages or kinds, each with what it means here, or a question."""
    said = (as_text(table.column(column)).unique().to_pylist() for table in found)
    every = dict.fromkeys(word for words in said for word in words if word)
    # a total or a repeated header is no stage; far more words than stages cannot be asked one by one, and become faults of their rows
    asked = [w for w in every if not is_total(w) and w != column and len(w) < 100]
    means = {w: meaning(role, w, language) or meaning(role, w) for w in asked[:_MANY_WORDS]}
    if role == "stage":
        parts = {word: meaning("part", word, language) for word in means}
        whole = Counter(means[word] for word, part in parts.items() if not part)
        # smoke and cook weighed each by itself must not be added up
        means |= {word: "" for word, part in parts.items() if part and whole[means[word]]}
    return tuple((word, m or ASK) for word, m in means.items() if m != plain(word) or m == "?")

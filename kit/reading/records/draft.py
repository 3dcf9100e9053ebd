"""What do these headers probably mean? A mapping with its reasons; what the file does not tell becomes a question, never a guess."""

import re

import pyarrow as pa
import pyarrow.compute as pc

from kit.reading import cells
from kit.reading.logs.table import looks_like
from kit.reading.records import values
from kit.reading.records.faults import ASIDE
from kit.reading.records.mapping import ASK, Mapping, Weight
from kit.reading.records.table import open_tables
from kit.reading.records.words import KINDS, Header, meaning, plain, read_header, words
from kit.reading.shapes import Table
from kit.stages import STAGES

_MANY_WORDS = 60
_DAY = re.compile(r"(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})")


def draft_mapping(source, name: str = "", header_row: int | None = None) -> Mapping:
    """A Mapping for the records in `source` (as read_records takes it). `mapping.questions` lists what the person must answer.

    Raises Faulty where the source holds no table.
    """
    return draft_of(open_tables(source, name, header_row))


def draft_of(tables: list[Table]) -> Mapping:
    table = max(tables, key=lambda t: (_score(t), t.row.size))
    alike = [
        t for t in tables if set(t.names) == set(table.names) and t.header_row == table.header_row
    ]
    kinds = {c: content(table.column(c)) for c in table.names if not c.startswith(ASIDE)}
    heads = {column: _fitting(read_header(column[:100]), kind) for column, kind in kinds.items()}
    reasons: list[tuple[str, str]] = [
        ("header_row", "the row with the most headers that are known")
    ]
    from_sheet = (
        "stage"
        if len(alike) > 1
        and all(meaning("stage", t.sheet) for t in alike)
        and not any(h.role == "stage" for h in heads.values())
        else ""
    )
    columns = _roles(table, heads, reasons)
    weights = _weights(table, heads, columns, from_sheet, reasons)
    used = {column for _, column in columns} | {
        c for w in weights for c in (w.column, w.tare, w.net)
    }
    carry = tuple(
        (column, "number" if kind == "number" else "text")
        for column, kind in kinds.items()
        if column not in used
    )
    reasons += [(f"carry, {column}", "not known as a part of the books") for column, _ in carry]
    numeric = (
        [w.column for w in weights]
        + [w.tare for w in weights if w.tare]
        + [column for column, kind in carry if kind == "number"]
    )
    decimal, why = _decimal([t.column(column) for t in alike for column in numeric])
    reasons.append(("decimal", why))
    date = next((column for role, column in columns if role == "date"), "")
    dates, why = (
        _dates([t.column(date) for t in alike]) if date else ("ymd", "there is no column of dates")
    )
    reasons.append(("dates", why))
    others = [t.sheet for t in tables if t not in alike]
    if others:
        reasons.append(("sheets", f"left out, with other headers: {', '.join(others)}"))
    mapping = Mapping(
        columns,
        weights,
        carry,
        decimal,
        dates,
        table.header_row,
        tuple(t.sheet for t in alike) if others else (),
        from_sheet,
        reasons=tuple(reasons),
    )
    return mapping.answered(
        stages=_own_words(alike, mapping, "stage", STAGES),
        kinds=_own_words(alike, mapping, "kind", KINDS),
    )


def content(column: pa.Array) -> str:
    """ "number", "date", "stamp" (date and clock), "clock", "text", or "" where nothing stands in it."""
    if not values.is_text(column):
        return "stamp" if pa.types.is_timestamp(column.type) else "number"
    found = cells.sample(column, 300)
    if not found:
        return ""
    kinds = [_cell(text) for text in found]
    return max(("number", "stamp", "date", "clock", "text"), key=kinds.count)


def _cell(text: str) -> str:
    kind, numeric, dated = looks_like(text), bool(_DAY.match(text)), _names_a_day(text)
    if kind == "time" or dated:
        return "clock" if not (numeric or dated) else "stamp" if ":" in text else "date"
    if kind == "number":
        return "number"
    amount = re.fullmatch(values.AMOUNT, text)
    mass = values.factor(amount["unit"]) if amount else values.amount(text, ".")
    return "number" if mass > 0 and len(text) < 40 else "text"


def _names_a_day(text: str) -> bool:
    """A date with its month in words."""
    return (
        text[:1].isalnum()
        and len(text) < 40
        and any(month in text.casefold() for month in values.MONTHS)
        and str(values.odd_day(text)) != "NaT"
    )


def _score(table: Table) -> int:
    heads = [read_header(name[:100]) for name in table.names]
    return sum(bool(head.role or head.measure) for head in heads)


def _fitting(head: Header, kind: str) -> Header:
    """The header, unless what stands under it cannot be that: a weight needs numbers, a date needs dates."""
    if head.measure and kind not in ("number", ""):
        return Header()
    if head.role == "clock" and kind in ("date", "stamp"):
        return Header(role="date")
    if head.role == "date" and kind == "clock":
        return Header(role="clock")
    if head.role == "clock" and kind not in ("clock", "number", ""):
        return Header()
    return head


def _roles(table: Table, heads, reasons) -> tuple[tuple[str, str], ...]:
    chosen: dict[str, str] = {}
    for column, head in heads.items():
        if not head.role:
            continue
        if head.role in chosen:
            reasons.append((head.role, f"{column!r} could be it too; it is carried along"))
            continue
        chosen[head.role] = column
        reasons.append((head.role, f"the header reads {plain(column)!r}"))
    return tuple(chosen.items())


def _weights(table: Table, heads, columns, from_sheet, reasons) -> tuple[Weight, ...]:
    """Nets before grosses; a gross needs a tare beside it. What stage, kind or unit is written nowhere is asked."""
    held = {role for role, _ in columns} | {from_sheet}
    by = {
        measure: [c for c, head in heads.items() if head.measure == measure]
        for measure in ("weight", "gross", "tare")
    }
    tare = by["tare"][0] if by["tare"] else ""
    nets = by["weight"]
    found = []
    if by["gross"] and tare:
        net = next(
            (
                c
                for c in nets
                if (heads[c].stage, heads[c].kind) == ("", "") and "net" in plain(c).split()
            ),
            "",
        )
        nets = [c for c in nets if c != net]
        found = [(column, tare, net) for column in by["gross"]]
    found += [(column, "", "") for column in nets]
    if len(found) > 1 and any(heads[c].stage or heads[c].kind for c, _, _ in found):
        found = [
            entry for entry in found if heads[entry[0]].stage or heads[entry[0]].kind or entry[1]
        ]
    weights = []
    for column, tare_column, net in found:
        head = heads[column]
        stage = head.stage or ("" if "stage" in held else ASK)
        kind = head.kind or ("" if "kind" in held else ASK)
        unit = head.unit or ("" if "unit" in held or _cells_say_unit(table.column(column)) else ASK)
        weights.append(Weight(column, stage, kind, head.name, unit, tare_column, net))
        named = {"stage": head.stage, "kind": head.kind, "unit": head.unit}
        said = ", ".join(f"{what} {word!r}" for what, word in named.items() if word) or "a weight"
        net_of = f"; net is worked out with {tare_column!r}" if tare_column else ""
        reasons.append((f"weight {column}", f"the header says {said}{net_of}"))
    return tuple(weights)


def _cells_say_unit(column: pa.Array) -> bool:
    found = cells.sample(column, 300) if values.is_text(column) else []
    return bool(found) and sum(
        any(letter.isalpha() for letter in cell) for cell in found
    ) > 0.9 * len(found)


def _decimal(columns) -> tuple[str, str]:
    texts = [
        pa.array(re.sub(r"\s*[A-Za-z#]+\.?$", "", cell) for cell in cells.sample(column, 20_000))
        for column in columns
        if values.is_text(column)
    ]
    style = cells.comma_style([text for text in texts if pa.types.is_string(text.type)], None)
    return {
        "decimal": (",", "weights are written with decimal commas"),
        "thousands": (".", "commas group thousands"),
        "": (".", "no commas in the numbers"),
        "unclear": (ASK, "commas can be decimals or thousands"),
        "mixed": (ASK, "some numbers have decimal commas, others decimal points"),
    }[style]


def _dates(columns) -> tuple[str, str]:
    """The order of day and month that all cells agree with; asked where the cells do not tell."""
    days = [
        pc.struct_field(
            pc.extract_regex(column, r"^(?P<day>\d{1,2}[-./]\d{1,2}[-./]\d{1,4})"), "day"
        )
        for column in columns
        if values.is_text(column)
    ]
    texts = [cell for day in days for cell in pc.drop_null(day.unique()).to_pylist() if cell]
    hits = [hit.groups() for text in texts if (hit := _DAY.match(text))]
    if not hits:
        return "ymd", "the year stands first, or the cells are dates"
    day, month = (
        any(int(first) > 12 for first, _, _ in hits),
        any(int(second) > 12 for _, second, _ in hits),
    )
    if day and month:
        return ASK, "some dates can only be day first, others only month first"
    if day or month:
        return (
            ("dmy", "a first number above 12 must be the day")
            if day
            else ("mdy", "a second number above 12 must be the day")
        )
    if all("." in text for text in texts):
        return "dmy", "points between day, month and year"
    return ASK, "no number above 12 tells day from month"


def _own_words(tables, mapping: Mapping, role: str, known) -> tuple[tuple[str, str], ...]:
    """The file's words for stages or kinds, each with what it means here, or a question."""
    column = mapping.column(role)
    if not column or all(getattr(w, role) for w in mapping.weights):
        return ()
    found = dict.fromkeys(
        word
        for table in tables
        for word in values.as_text(table.column(column)).unique().to_pylist()
        if word
    )
    # a total or a repeated header is no stage; far more words than stages cannot be asked one by one, and become faults of their rows
    asked = [
        word
        for word in found
        if plain(word) not in words()["total"] and word != column and len(word) < 100
    ]
    pairs = [(word, meaning(role, word)) for word in asked[:_MANY_WORDS]]
    return tuple((word, means or ASK) for word, means in pairs if means != plain(word))

"""One table and its mapping become weighings: every row is used whole, or set aside whole with its reason."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from kit.errors import Fault, Faulty, nearest
from kit.reading.records import values
from kit.reading.records.faults import Log, set_aside
from kit.reading.records.mapping import Mapping, lookup
from kit.reading.records.weighings import (
    ATTRIBUTES,
    carried_cells,
    check_weight,
    kilograms_of,
    tidy_table,
)
from kit.reading.records.words import KINDS, LEFT_OUT, plain, words
from kit.reading.shapes import Table
from kit.stages import STAGES
from kit.tables import value

_MAX_NAME = 200


@dataclass
class State:
    """What one block of a long file hands on to the next: the last filled cells, and the sum since the last total."""

    last: dict[str, str] = field(default_factory=dict)
    sum_kg: float = 0.0
    count: int = 0


@dataclass(frozen=True)
class Part:
    """The weighings of one table, its faults, and its rows set aside as they stand in the file."""

    tidy: pa.Table
    faults: pd.DataFrame
    aside: pd.DataFrame
    read: int
    used: int
    set_aside: int
    blank: int
    table: Table
    lost: frozenset[str]
    """batches that lost a row"""
    notes: tuple[str, ...]


def read_rows(table: Table, mapping: Mapping, state: State | None = None) -> Part:
    """Raises Faulty where a mapped column is not in the table."""
    _need_columns(table, mapping)
    log, state, notes = Log(table), state or State(), list(table.notes)
    log.torn(table.torn)
    texts = _role_texts(table, mapping, state, notes)
    batch = _batch(texts, mapping)
    _structure(table, mapping, log, texts, batch)
    reads = [kilograms_of(table, mapping, w, notes) for w in mapping.weights]
    _empty_batches(log, batch, mapping, reads, state)
    time, clocked = _times(table, mapping, log, texts, notes)
    stage = _codes(
        log, mapping, "stage", texts, lookup(mapping.stages, words()["stage"]), tuple(STAGES)
    )
    kind = _codes(log, mapping, "kind", texts, lookup(mapping.kinds, words()["kind"]), KINDS)
    there = [
        check_weight(log, mapping, w, read, stage, kind)
        for w, read in zip(mapping.weights, reads, strict=True)
    ]
    log.add(
        "no weight",
        ~np.logical_or.reduce([~read.empty for read in reads]),
        mapping.weights[0].column,
    )
    carried = carried_cells(table, mapping, log)
    good = ~log.aside
    weights = [(read.values, has & good) for read, has in zip(reads, there, strict=True)]
    named = {
        role: text
        for role in ("name", *ATTRIBUTES)
        if (text := _text_of(role, mapping, texts)) is not None
    }
    tidy = tidy_table(table, mapping, batch, time, clocked, named, stage, kind, weights, carried)
    faults = log.frame()
    return Part(
        tidy,
        faults,
        set_aside(table, log, faults),
        table.row.size + len(table.torn),
        int(good.sum()),
        int(log.aside.sum()) + len(table.torn),
        table.blank,
        table,
        frozenset(batch.filter(pa.array(log.lost)).unique().to_pylist()) - {""},
        tuple(notes),
    )


def _need_columns(table: Table, mapping: Mapping) -> None:
    faults = [
        Fault(
            f"there is no column {column[:60]!r}",
            column[:60],
            file=table.file,
            sheet=table.sheet,
            row=table.header_row,
            remedy=f"nearest: {', '.join(nearest(column[:60], table.names))}; correct the mapping, or name the sheets to read",
        )
        for column in mapping.used
        if column not in table.names
    ]
    if faults:
        raise Faulty(f"{table.file or 'The table'} does not fit the mapping", faults)


# --- the cells of each role ---


def _role_texts(
    table: Table, mapping: Mapping, state: State, notes: list[str]
) -> dict[str, pa.Array]:
    """column -> its cells as text, filled down where the mapping says so; the sheet's name under the role it stands for."""
    texts = {}
    for role, column in mapping.columns:
        if role in ("date", "clock"):
            continue
        text = values.as_text(table.column(column))
        if role in mapping.fill_down:
            text, count = _filled_down(text, state.last.get(column, ""))
            state.last[column] = (
                text[len(text) - 1].as_py() if len(text) else state.last.get(column, "")
            )
            if count:
                notes.append(
                    f"{column}: {count} empty cells stand for the entry above, as the mapping says"
                )
        texts[column] = text
    if mapping.from_sheet:
        texts["sheet name"] = pa.array([table.sheet] * table.row.size, pa.string())
    return texts


def _filled_down(text: pa.Array, last: str) -> tuple[pa.Array, int]:
    empty = values.empty_cells(text)
    source = np.maximum.accumulate(np.where(empty, 0, np.arange(1, len(text) + 1)))
    whole = pa.concat_arrays([pa.array([last], pa.string()), text])
    return whole.take(pa.array(source)), int(empty.sum())


def _text_of(role: str, mapping: Mapping, texts) -> pa.Array | None:
    column = mapping.column(role)
    return texts[column] if column else texts["sheet name"] if mapping.from_sheet == role else None


def _batch(texts, mapping: Mapping) -> pa.Array:
    parts = [texts[column] for column in mapping.batch_columns] or [texts["sheet name"]]
    if len(parts) == 1:
        return parts[0]
    missing = np.logical_or.reduce([values.empty_cells(part) for part in parts])
    return pc.if_else(pa.array(missing), "", pc.binary_join_element_wise(*parts, " / "))


def _structure(table: Table, mapping: Mapping, log: Log, texts, batch: pa.Array) -> None:
    """Rows that are no records: repeated headers, totals, cells under a merged area, formulas without a value."""
    again = np.ones(table.row.size, dtype=bool)
    for column in dict.fromkeys((*mapping.batch_columns, mapping.weights[0].column)):
        again &= pc.equal(values.as_text(table.column(column)), column).to_numpy(
            zero_copy_only=False
        )
    log.add("header again", again, mapping.weights[0].column)
    for column, text in texts.items():
        log.add("total row", values.each_text(text, _is_total), column)
    empty = values.empty_cells(batch)
    if empty.any():
        at = pa.array(np.flatnonzero(empty))
        for column in (
            name
            for name in table.names
            if name not in mapping.used and values.is_text(table.column(name))
        ):
            mask = np.zeros(table.row.size, dtype=bool)
            mask[empty] = values.each_text(table.column(column).take(at), _is_total)
            log.add("total row", mask, column)
    filled = {column for role, column in mapping.columns if role in mapping.fill_down}
    unsaved = [(row, column, "") for row, column in table.unsaved]
    covered = [cell for cell in table.covered if cell[1] not in filled]
    for key, cells in (("merged cells", covered), ("formula", unsaved)):
        by_column: dict[tuple[str, str], list[int]] = {}
        for row, column, area in cells:
            if column in mapping.used:
                by_column.setdefault((column, area), []).append(row)
        for (column, area), rows in by_column.items():
            log.add(key, np.isin(table.row, rows), column, area)


def _is_total(text: str) -> bool:
    """'Total', 'Subtotal:', 'TOTAL MARCH', 'Week 12 total', 'Average'."""
    if "tot" not in text.casefold() and len(text) > 20:
        return False
    said = plain(text)
    return (
        said in words()["total"]
        or said.startswith(
            ("total ", "totals ", "subtotal ", "sub total ", "grand total ", "sum of ")
        )
        or said.endswith((" total", " totals", " subtotal"))
    )


# --- batch, time, stage and kind ---


def _empty_batches(log: Log, batch: pa.Array, mapping: Mapping, reads, state: State) -> None:
    column = (mapping.batch_columns or ("",))[0]
    empty = values.empty_cells(batch)
    kg = np.nan_to_num(reads[0].values)
    counted = ~empty & ~log.out
    run, many = np.cumsum(np.where(counted, kg, 0)) + state.sum_kg, np.cumsum(counted) + state.count
    at = np.flatnonzero(empty & ~log.out & (kg > 0))
    before, n_before = np.concatenate([[0.0], run[at][:-1]]), np.concatenate([[0], many[at][:-1]])
    sums = np.isclose(kg[at], run[at] - before, rtol=1e-6, atol=1e-3) & (many[at] - n_before >= 2)
    is_sum = np.zeros(empty.size, dtype=bool)
    is_sum[at[sums]] = True
    last = at[-1] if at.size else None
    state.sum_kg, state.count = (
        (
            (run[-1] - (run[last] if at.size else 0.0)),
            int(many[-1] - (many[last] if at.size else 0)),
        )
        if empty.size
        else (state.sum_kg, state.count)
    )
    log.add("sum of rows", is_sum, mapping.weights[0].column)
    log.add("no batch", empty, column)
    long = pc.greater(pc.utf8_length(batch), _MAX_NAME).to_numpy(zero_copy_only=False)
    log.add("long batch", long, column, most=_MAX_NAME)


def _times(table: Table, mapping: Mapping, log: Log, texts, notes) -> tuple[np.ndarray, np.ndarray]:
    """Time of each row (NaT where none is written), and whether it has a clock of its own beside the date."""
    time, clocked = np.full(table.row.size, values.NO_TIME), np.zeros(table.row.size, dtype=bool)
    column = mapping.column("date")
    if column:
        read = values.stamps(table.column(column), mapping.dates)
        time = read.values
        notes += [f"{column}: {note}" for note in read.notes]
        log.add("date", read.unread, column, order=mapping.dates)
        log.add("no date", read.empty, column)
        years = time.astype("datetime64[Y]").astype(float) + 1970
        first, last = value("records_first_year"), value("records_last_year")
        log.add(
            "far date",
            ~np.isnat(time) & ((years < first) | (years > last)),
            column,
            first=first,
            last=last,
        )
    column = mapping.column("clock")
    if column:
        read = values.clock_times(table.column(column))
        log.add("time of day", read.unread, column)
        clocked = np.isfinite(read.values) & ~np.isnat(time)
        time = np.where(
            clocked,
            time.astype("datetime64[D]") + np.nan_to_num(read.values).astype("timedelta64[s]"),
            time,
        )
    return time, clocked


def _codes(
    log: Log, mapping: Mapping, role: str, texts, known: dict[str, str], among
) -> np.ndarray | None:
    """Place in `among` for each row, -1 where it cannot be told; None where no column holds the role or every weight says its own."""
    text = _text_of(role, mapping, texts)
    if text is None or all(getattr(w, role) for w in mapping.weights):
        return None
    column = mapping.column(role) or "sheet name"

    def code(word: str) -> int:
        meant = known.get(plain(word), "") if word else ""
        return among.index(meant) if meant in among else -2 if meant == LEFT_OUT else -1

    codes = values.each_text(text, code, int)
    log.add("left out", codes == -2, column, role=role)
    blank, named = values.empty_cells(text), ", ".join(among)
    log.add("no code", blank, column, role=role, among=named)
    log.add("code", (codes == -1) & ~blank, column, role=role, among=named)
    return codes

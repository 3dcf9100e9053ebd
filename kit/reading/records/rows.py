"""One table and its mapping become weighings: every row is used whole, or set aside whole with its reason."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from kit.errors import nearest
from kit.faults import Cell, Faults
from kit.reading import dates
from kit.reading.amounts import Read, amounts, numbers
from kit.reading.cells import NOTHING, ColumnTable, as_text, coded, each_text, empty_cells, of_each
from kit.reading.records.faults import Log
from kit.reading.records.mapping import SHEET_NAME, Mapping, WeightColumn
from kit.reading.words import (
    ATTRIBUTES,
    LABELS,
    LEFT_OUT,
    is_total,
    note,
    plain,
    total_pattern,
    words,
)
from kit.stages import STAGES
from kit.tables import value
from kit.yields.ledger import KINDS

_MAX_NAME, _MOST_SUMS = 200, 2000
_AMONG = {"stage": tuple(STAGES), "kind": KINDS}


def read_rows(table: ColumnTable, mapping: Mapping, log: Log) -> None:
    """Adds the weighings of the table, its faults and its rows set aside to the log. Raises Faulty where a mapped column is not in the table."""
    _need_columns(table, mapping)
    log.open(table)
    texts = _texts(table, mapping, log)
    batch = _batch([texts[column] for column in mapping.batch_columns])
    _no_records(table, mapping, log, texts, batch)
    reads = [_kilograms(table, mapping, w.column, w.unit) for w in mapping.weights]
    log.notes += [f"{w.column}: {said}" for w, r in zip(mapping.weights, reads) for said in r.notes]
    log.add("sum row", _sums(table, mapping, reads, log.out), mapping.weights[0].column)
    log.add("no batch", empty_cells(batch), mapping.batch_columns[0])
    long = pc.greater(pc.utf8_length(batch.dictionary), _MAX_NAME).to_numpy(zero_copy_only=False)
    log.add("long batch", of_each(batch, long), mapping.batch_columns[0], most=_MAX_NAME)
    time, clocked = _times(table, mapping, log)
    codes = {role: _codes(log, mapping, role, texts) for role in _AMONG}
    for w, read in zip(mapping.weights, reads):
        _check_weight(log, mapping, w, read, codes)
    none = np.logical_and.reduce([read.empty for read in reads])
    log.add("no weight", none, mapping.weights[0].column)
    carried = _carried(table, mapping, log)
    good, count = ~log.aside, table.row.size
    said = {
        role: texts[column] if (column := mapping.column(role)) else _same("", count)
        for role in ("name", *ATTRIBUTES, *filter(mapping.column, LABELS))
    }
    first = {"batch": batch, "time": pa.array(time, pa.timestamp("s"))}
    first |= {role: _coded(found, _AMONG[role]) for role, found in codes.items()}
    first |= {"name": said.pop("name")}
    place = {"file": _same(table.file, count), "sheet": _same(table.sheet, count)}
    place |= {"row": pa.array(table.row.astype("int64")), "clocked": pa.array(clocked)}
    tidy = [
        _weighings(w, read.values, good & ~read.empty, first, said | carried | place)
        for w, read in zip(mapping.weights, reads)
    ]
    whole = pa.concat_tables(tidy).unify_dictionaries().combine_chunks()
    if len(tidy) > 1:
        whole = whole.take(pa.array(np.argsort(whole["row"].to_numpy(), kind="stable")))
    log.close(whole, batch)


def _need_columns(table: ColumnTable, mapping: Mapping) -> None:
    faults = Faults(table.file, f"{table.file or 'The table'} does not fit the mapping")
    for column in mapping.used:
        if column not in table.names:
            shown, place = column[:60], Cell(None, table.header_row, sheet=table.sheet)
            near = ", ".join(nearest(shown, table.names))
            faults.say("no mapped column", place, shown, title=shown, near=near)
    faults.stop_if_any()


# --- the cells of each role ---


def _texts(table: ColumnTable, mapping: Mapping, log: Log) -> dict[str, pa.DictionaryArray]:
    """column -> its cells as coded text, filled down where the mapping says so; the sheet's name too."""
    texts = {SHEET_NAME: _same(table.sheet, table.row.size)}
    for role, column in mapping.columns:
        if role in ("date", "clock"):
            continue
        text = table.coded(column)
        if role in mapping.fill_down and len(text):
            empty = empty_cells(text)
            above = pa.array([log.last.get(column) or None], pa.string())
            filled = pc.if_else(pa.array(empty), NOTHING, as_text(text))
            filled = pc.fill_null_forward(pa.concat_arrays([above, filled]))
            text = coded(pc.fill_null(filled, "")[1:])
            log.last[column] = text[len(text) - 1].as_py()
            if empty.any():
                log.notes.append(note("filled down", column=column, count=empty.sum()))
        texts[column] = text
    return texts


def _batch(parts: list[pa.DictionaryArray]) -> pa.DictionaryArray:
    """Name of the batch of each row: its parts joined, empty where one is missing."""
    if len(parts) == 1:
        return parts[0]
    missing = np.logical_or.reduce([empty_cells(part) for part in parts])
    joined = pc.binary_join_element_wise(*map(as_text, parts), " / ")
    return coded(pc.if_else(pa.array(missing), "", joined))


def _no_records(table: ColumnTable, mapping: Mapping, log: Log, texts, batch: pa.Array) -> None:
    """Rows that are no records: repeated headers, totals, hidden cells, formulas without a value."""
    again = np.ones(table.row.size, dtype=bool)
    named = [column for column in mapping.batch_columns if column != SHEET_NAME]
    for column in dict.fromkeys((*named, mapping.weights[0].column)):
        if again.any():
            text = table.coded(column)
            same = pc.equal(text.dictionary, column).to_numpy(zero_copy_only=False)
            again &= of_each(text, same)
    log.add("header again", again, mapping.weights[0].column)
    for column, text in texts.items():
        log.add("total row", each_text(text, is_total, rough=total_pattern()), column)
    empty = empty_cells(batch)
    for column in table.names if empty.any() else ():
        if column not in mapping.used:
            total = each_text(table.coded(column), is_total, rough=total_pattern())
            log.add("total row", empty & total, column)
    filled = {column for role, column in mapping.columns if role in mapping.fill_down}
    rows: dict[tuple[str, str, str], list[int]] = {}
    for why, row, column, area in table.lost:
        if column in mapping.used and not (why == "merged cells" and column in filled):
            rows.setdefault((why, column, area), []).append(row)
    for (why, column, area), at in rows.items():
        log.add(why, np.isin(table.row, at), column, area)


def _sums(table: ColumnTable, mapping: Mapping, reads: list[Read], known: np.ndarray) -> np.ndarray:
    """Rows of which each weight is the sum or the mean of those above, all or since the last such row: no batch in any language."""
    found = np.zeros(table.row.size, dtype=bool)
    if not found.size or not all(w.stage and w.kind for w in mapping.weights):
        return found
    kg = np.nan_to_num(np.column_stack([np.where(known, np.nan, r.values) for r in reads]))
    beside = [table.column(c) for c in table.names if c not in {w.column for w in mapping.weights}]
    filled = np.sum([~empty_cells(column) for column in beside], axis=0)
    size, sparse = kg.sum(axis=1), filled < np.median(filled)
    above, held = (np.vstack([np.zeros(kg.shape[1]), np.cumsum(x, axis=0)]) for x in (kg, kg > 0))
    total, count, start = np.zeros(kg.shape[1]), 0, 0
    told = (sparse | (size > 1.5 * np.median(size))) & (size > 0)
    for i in np.flatnonzero(told | known)[:_MOST_SUMS].tolist():
        x, own = kg[i], kg[i] > 0
        start = i + 1 if known[i] else start
        for sums, n, rows in (
            (above[i] - above[start], held[i] - held[start], i - start),
            (above[i] - total, held[i], i - count),
        ):
            near = 0.051 if (x % 1).any() else 0.5
            mean = np.divide(sums, n, out=np.zeros_like(x), where=n > 0)
            same = rows >= 3 - sparse[i] and (np.abs(x - sums)[own] <= 0.051 + 1e-6 * x[own]).all()
            same = same or rows > 1 and sparse[i] and (np.abs(x - mean)[own] <= near).all()
            if same and own.sum() >= min(2, x.size):
                found[i], total, count, start = True, total + x, count + 1, i + 1
                break
    return found


# --- batch, time, stage and kind ---


def _times(table: ColumnTable, mapping: Mapping, log: Log) -> tuple[np.ndarray, np.ndarray]:
    """Time of each row (NaT where none is written), and whether it has a clock beside the date."""
    time = np.full(table.row.size, dates.NO_TIME)
    clocked = np.zeros(table.row.size, dtype=bool)
    column = mapping.column("date")
    if column:
        time, said = dates.stamps(table.column(column), mapping.dates)
        log.notes += [f"{column}: {note}" for note in said]
        empty = empty_cells(table.column(column))
        log.add("date", np.isnat(time) & ~empty, column, order=mapping.dates)
        log.add("no date", empty, column)
        first, last = int(value("records_first_year")), int(value("records_last_year"))
        far = (time < np.datetime64(str(first))) | (time >= np.datetime64(str(last + 1)))
        log.add("far date", far, column, first=first, last=last)
    column = mapping.column("clock")
    if column:
        clock = dates.clock_times(table.column(column))
        log.add("time of day", np.isnan(clock) & ~empty_cells(table.column(column)), column)
        clocked = np.isfinite(clock) & ~np.isnat(time)
        moved = time.astype("datetime64[D]") + np.nan_to_num(clock).astype("timedelta64[s]")
        time = np.where(clocked, moved, time)
    return time, clocked


def _codes(log: Log, mapping: Mapping, role: str, texts) -> np.ndarray:
    """Place of each row's stage or kind among those known, -1 where it cannot be told or the columns of weights say it."""
    column = mapping.column(role)
    if not column or all(getattr(w, role) for w in mapping.weights):
        return np.full(log.table.row.size, -1)
    among, own = _AMONG[role], mapping.stages if role == "stage" else mapping.kinds
    known = {**words()[role], **{plain(word): means for word, means in own}}

    def code(word: str) -> int:
        meant = known.get(plain(word), "") if word else ""
        return among.index(meant) if meant in among else -2 if meant == LEFT_OUT else -1

    codes = each_text(texts[column], code, int)
    blank, named = empty_cells(texts[column]), ", ".join(among)
    log.add("left out", codes == -2, column, role=role)
    log.add("no code", blank, column, role=role, among=named)
    log.add("code", (codes == -1) & ~blank, column, role=role, among=named)
    return codes


# --- weights ---


def _kilograms(table: ColumnTable, mapping: Mapping, column: str, unit: str) -> Read:
    unit_cells = table.column(mapping.column("unit")) if mapping.column("unit") else None
    return amounts(table.column(column), unit, mapping.decimal, unit_cells)


def _check_weight(log: Log, mapping: Mapping, w: WeightColumn, read: Read, codes) -> None:
    """The faults of one column of weights; `read.values` becomes net in place where there is a tare."""
    kg, there = read.values, ~read.empty
    how = " with a decimal comma" if mapping.decimal == "," else ""
    log.add("unit", read.no_unit, w.column)
    log.add("weight", read.unread & ~read.no_unit, w.column, how=how)
    if w.tare:
        _net(log, mapping, w, kg, there)

    def is_(role: str, name: str) -> np.ndarray:
        own = getattr(w, role)
        return (codes[role] == _AMONG[role].index(name)) if not own else np.array(own == name)

    log.add("negative", kg < 0, w.column)
    log.add("zero in", (kg == 0) & is_("kind", "in"), w.column)
    log.add("heavy", kg > value("records_heaviest_kg"), w.column)
    log.add("giveaway", there & is_("kind", "giveaway") & ~is_("stage", "pack"), w.column)


def _net(log: Log, mapping: Mapping, w: WeightColumn, kg: np.ndarray, there: np.ndarray) -> None:
    tare = _kilograms(log.table, mapping, w.tare, w.unit)
    log.add("tare", tare.unread & there, w.tare)
    log.add("no tare", tare.empty & there, w.tare)
    log.add("tare above gross", there & (tare.values > kg), w.tare)
    if w.net:
        net = _kilograms(log.table, mapping, w.net, w.unit)
        log.add("net", net.unread & there, w.net)
        near = value("records_net_match_pct") / 100 * kg
        log.add("net differs", np.abs(net.values - (kg - tare.values)) > near, w.net)
    kg -= np.where(tare.values > kg, np.nan, tare.values)


def _carried(table: ColumnTable, mapping: Mapping, log: Log) -> dict[str, pa.Array]:
    carried = {}
    for column, kind in mapping.carry:
        cells = table.coded(column)
        if kind == "number":
            read = numbers(table.column(column), mapping.decimal)
            log.add("carried", read.unread, column)
            cells = pa.array(read.values)
        carried[f"carry: {column}"] = cells
    return carried


def _weighings(w: WeightColumn, kg: np.ndarray, use: np.ndarray, first, beside) -> pa.Table:
    """One line for each weight of a column that may be used; what stands in other columns goes along, `first` before the weight."""
    keep, count = pa.array(use), int(use.sum())
    before, after = (
        {title: cells if use.all() else cells.filter(keep) for title, cells in columns.items()}
        for columns in (first, beside)
    )
    own = {"stage": w.stage, "kind": w.kind, "name": w.name}
    before |= {role: _same(word, count) for role, word in own.items() if word}
    after |= {"column": _same(w.column, count)}
    after |= {"fixed": pa.array(np.full(count, bool(w.stage and w.kind)))}
    return pa.table({**before, "kg": pa.array(kg[use]), **after})


def _same(word: str, count: int) -> pa.DictionaryArray:
    return _coded(np.zeros(count), [word])


def _coded(codes: np.ndarray, known: Sequence[str]) -> pa.DictionaryArray:
    """Words by their place among those known; null below 0."""
    places = pa.array(codes.astype("int32"), mask=codes < 0)
    return pa.DictionaryArray.from_arrays(places, pa.array(known, pa.string()))

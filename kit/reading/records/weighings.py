"""Weights become kilograms, net of their tare; then one line for each weighing."""

import numpy as np
import pyarrow as pa

from kit.reading.records import values
from kit.reading.records.faults import Log
from kit.reading.records.mapping import Mapping, Weight
from kit.reading.records.words import KINDS
from kit.reading.shapes import Table
from kit.stages import STAGES
from kit.tables import value

ATTRIBUTES = ("lot", "operator", "cooker", "scale")
_STAGES = tuple(STAGES)


def kilograms_of(table: Table, mapping: Mapping, w: Weight, notes: list[str]) -> values.Read:
    """What stands in the column of a weight, in kg."""
    read = _kilograms(table, mapping, w.column, w.unit)
    notes += [f"{w.column}: {note}" for note in read.notes]
    return read


def _kilograms(table: Table, mapping: Mapping, column: str, unit: str) -> values.Read:
    unit_cells = table.column(mapping.column("unit")) if mapping.column("unit") else None
    return values.kilograms(table.column(column), unit, mapping.decimal, unit_cells)


def check_weight(
    log: Log, mapping: Mapping, w: Weight, read: values.Read, stage, kind
) -> np.ndarray:
    """Where this weight stands and may be used; `read.values` becomes net in place where there is a tare."""
    kg, there = read.values, ~read.empty
    no_unit = read.no_unit if read.no_unit is not None else np.zeros(kg.size, dtype=bool)
    log.add("unit", no_unit, w.column)
    log.add(
        "weight",
        read.unread & ~no_unit,
        w.column,
        how=" with a decimal comma" if mapping.decimal == "," else "",
    )
    if w.tare:
        _net(log, mapping, w, kg, there)
    kinds = kind if not w.kind else np.full(kg.size, KINDS.index(w.kind))
    stages = stage if not w.stage else np.full(kg.size, _STAGES.index(w.stage))
    log.add("negative", kg < 0, w.column)
    log.add("zero in", (kg == 0) & (kinds == 0), w.column)
    log.add("heavy", kg > value("records_heaviest_kg"), w.column)
    log.add(
        "giveaway",
        there & (kinds == KINDS.index("giveaway")) & (stages != _STAGES.index("pack")),
        w.column,
    )
    return there


def _net(log: Log, mapping: Mapping, w: Weight, kg: np.ndarray, there: np.ndarray) -> None:
    tare = _kilograms(log.table, mapping, w.tare, w.unit)
    log.add("tare", tare.unread & there, w.tare)
    log.add("no tare", tare.empty & there, w.tare)
    log.add("tare above gross", there & (tare.values > kg), w.tare)
    if w.net:
        net = _kilograms(log.table, mapping, w.net, w.unit)
        log.add("net", net.unread & there, w.net)
        log.add(
            "net differs",
            np.abs(net.values - (kg - tare.values)) > value("records_net_match_pct") / 100 * kg,
            w.net,
        )
    kg -= np.where(tare.values > kg, np.nan, tare.values)


def carried_cells(table: Table, mapping: Mapping, log: Log) -> dict[str, pa.Array]:
    carried = {}
    for column, kind in mapping.carry:
        if kind == "number":
            read = values.numbers(table.column(column), mapping.decimal)
            log.add("carried", read.unread, column)
            carried[column] = pa.array(read.values)
        else:
            carried[column] = values.as_text(table.column(column))
    return carried


def tidy_table(table, mapping, batch, time, clocked, named, stage, kind, weights, carried):
    """One line for each weight that may be used. named: the cells of name, lot, operator, ... where a column holds them."""
    blank = pa.array([""] * table.row.size, pa.string())
    by_row = {"batch": batch, "time": pa.array(time, pa.timestamp("s"))}
    texts = {role: named.get(role, blank) for role in ("name", *ATTRIBUTES)}
    carried = {f"carry: {column}": cells for column, cells in carried.items()}
    parts = []
    for w, (kg, use) in zip(mapping.weights, weights, strict=True):
        keep = pa.array(use)
        coded = {role: text.filter(keep).dictionary_encode() for role, text in texts.items()}
        if w.name:
            coded["name"] = _same(w.name, use)
        columns = {name: cells.filter(keep) for name, cells in by_row.items()}
        columns["stage"] = _same(w.stage, use) if w.stage else _coded(stage[use], _STAGES)
        columns["kind"] = _same(w.kind, use) if w.kind else _coded(kind[use], KINDS)
        columns |= {"name": coded.pop("name"), "kg": pa.array(kg[use]), **coded}
        columns |= {name: cells.filter(keep) for name, cells in carried.items()}
        columns |= {"file": _same(table.file, use), "sheet": _same(table.sheet, use)}
        columns |= {"row": pa.array(table.row[use].astype("int64")), "column": _same(w.column, use)}
        columns["clocked"] = pa.array(clocked[use])
        columns["fixed"] = pa.array(np.full(use.sum(), bool(w.stage and w.kind)))
        parts.append(pa.table(columns))
    whole = pa.concat_tables(parts).unify_dictionaries().combine_chunks()
    if len(parts) > 1:
        whole = whole.take(pa.array(np.argsort(whole["row"].to_numpy(), kind="stable")))
    return whole


def _coded(codes: np.ndarray, words) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(
        pa.array(codes.astype("int32")), pa.array(words, pa.string())
    )


def _same(word: str, use: np.ndarray) -> pa.DictionaryArray:
    return _coded(np.zeros(use.sum()), [word])

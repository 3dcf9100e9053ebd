"""The door: from files of any length to Records, in blocks of whole rows."""

import os
from collections import Counter
from collections.abc import Iterable

import pandas as pd
import pyarrow as pa

from kit.errors import Faulty, KitError, need
from kit.reading.columns import BLOCK_BYTES, is_frame, table_blocks, tables
from kit.reading.records import draft
from kit.reading.records.faults import Log, joined
from kit.reading.records.findings import find
from kit.reading.records.mapping import Mapping, read_mapping
from kit.reading.records.model import ReadReport, Records
from kit.reading.records.rows import read_rows
from kit.reading.records.summary import in_order, summary
from kit.reading.words import first_few, note

_OPEN = "The records cannot be read before these questions are answered (draft_mapping writes a mapping to edit)"


def read_records(source, mapping=None, *, name: str = "", header_row: int | None = None) -> Records:
    """Records of a plant's weighings.

    source: path (.csv .tsv .txt .xlsx .parquet), bytes or text with the file's `name`, a table in memory (pandas, or any that speaks the Arrow interface), or a list of these
    mapping: a Mapping, or what read_mapping takes; drafted from the headers where left out
    name: the file name that goes with bytes or text
    header_row: row of the headers as the person counts, from 1; found where left out
    Returns Records; faults of rows do not raise: they are in it, with the rows set aside.
    Raises Faulty with the questions where a mapping holds some, and where there is no table.
    Source: the file.
    """
    chosen = None if mapping is None else settled(mapping)
    log = Log()
    try:
        for one in _several(source):
            log.last = {}
            form = draft.form_of(chosen.header_row if chosen else header_row, chosen)
            for table in table_blocks(one, name, form, BLOCK_BYTES):
                if chosen is None:
                    whole_book = tables(one, name, form) if table.sheet else [table]
                    chosen = settled(draft.draft_of(whole_book))
                if not chosen.sheets or table.sheet in chosen.sheets:
                    read_rows(table, chosen, log)
    except OSError as cause:
        raise KitError(
            f"the records could not be read ({cause.strerror}); check the paths"
        ) from None
    assert chosen is not None
    return _records(chosen, log)


def _several(source) -> list:
    whole = isinstance(source, (str, bytes, bytearray, memoryview, os.PathLike)) or is_frame(source)
    sources = [source] if whole or not isinstance(source, Iterable) else list(source)
    need(bool(sources), "the list of files is empty; give at least one path", KitError)
    return sources


def settled(mapping) -> Mapping:
    """The mapping, if it leaves nothing open; else Faulty with its questions."""
    found = mapping if isinstance(mapping, Mapping) else read_mapping(mapping)
    if found.questions:
        raise Faulty(_OPEN, [question.fault for question in found.questions])
    return found


def _records(mapping: Mapping, log: Log) -> Records:
    """Everything summed up, batch by batch."""
    whole = pa.concat_tables(log.tidy)
    log.tidy.clear()
    whole, moved, batches = in_order(whole)
    s = summary(whole)
    if moved:
        log.notes.append(note("midnight", count=moved, batches=first_few(batches, 5)))
    fault_table, lost = joined(log.found), frozenset(log.incomplete)
    asides = [rows for rows in log.asides if len(rows)]
    stops = fault_table[fault_table["sets_aside"]].drop_duplicates(["file", "sheet", "row"])
    there = (s.count > 0).sum(axis=0)
    read, used, aside, blank = map(int, log.counts)
    report = ReadReport(
        read,
        used,
        aside,
        blank,
        weighings=int(s.count.sum()),
        batches=len(s.batches),
        by_reason=tuple(Counter(stops["kind"].tolist()).most_common()),
        coverage=tuple((*key, int(n)) for key, n in zip(s.keys, there)),
    )
    return Records(
        mapping,
        whole.drop_columns(["key", "clocked", "fixed"]),
        s,
        report,
        fault_table,
        pd.concat(asides, ignore_index=True) if asides else pd.DataFrame(),
        find(s, lost),
        lost,
        tuple(dict.fromkeys((*mapping.said, *log.notes))),
    )

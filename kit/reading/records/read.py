"""The door: from files of any length to Records, in blocks of whole rows."""

import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow as pa

from kit.errors import Faulty, KitError
from kit.reading.columns import BLOCK_BYTES, is_frame, table_blocks, tables
from kit.reading.records import draft, faults
from kit.reading.records.findings import find
from kit.reading.records.mapping import Mapping, read_mapping
from kit.reading.records.model import ReadReport, Records
from kit.reading.records.rows import Part, read_rows
from kit.reading.records.summary import Summary, in_order, summary
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
    parts = list[Part]()
    try:
        for one in _several(source):
            last = dict[str, str]()
            form = draft.form_of(chosen.header_row if chosen else header_row, chosen)
            for table in table_blocks(one, name, form, BLOCK_BYTES):
                if chosen is None:
                    whole_book = tables(one, name, form) if table.sheet else [table]
                    chosen = settled(draft.draft_of(whole_book))
                if not chosen.sheets or table.sheet in chosen.sheets:
                    parts.append(read_rows(table, chosen, last))
    except OSError as cause:
        raise KitError(
            f"the records could not be read ({cause.strerror}); check the paths"
        ) from None
    assert chosen is not None
    return _records(chosen, parts)


def _several(source) -> list:
    if isinstance(source, (str, bytes, bytearray, memoryview, os.PathLike)) or is_frame(source):
        return [source]
    if not isinstance(source, Iterable):
        kind = type(source).__name__
        how = "give a path, text, bytes with a file name, or a table"
        raise KitError(f"records cannot be read from a {kind}; {how}")
    sources = list(source)
    if not sources:
        raise KitError("the list of files is empty; give at least one path")
    return sources


def settled(mapping) -> Mapping:
    """The mapping, if it leaves nothing open; else Faulty with its questions."""
    found = mapping if isinstance(mapping, Mapping) else read_mapping(mapping)
    if found.questions:
        raise Faulty(_OPEN, [question.fault for question in found.questions])
    return found


def _records(mapping: Mapping, parts: list[Part]) -> Records:
    """Everything summed up, batch by batch."""
    whole = pa.concat_tables(part.tidy for part in parts)
    parts = [replace(part, tidy=whole.slice(0, 0)) for part in parts]
    whole, moved, batches = in_order(whole)
    s = summary(whole)
    notes = [*mapping.said, *(said for part in parts for said in part.notes)]
    if moved:
        notes.append(note("midnight", count=moved, batches=first_few(batches, 5)))
    fault_table = faults.joined([part.faults for part in parts])
    asides = [part.aside for part in parts if len(part.aside)]
    aside = pd.concat(asides, ignore_index=True) if asides else pd.DataFrame()
    lost = frozenset[str]().union(*(part.lost for part in parts))
    return Records(
        mapping,
        whole.drop_columns(["key", "clocked", "fixed"]),
        s,
        _report(np.sum([part.counts for part in parts], axis=0), fault_table, s),
        fault_table,
        aside,
        find(s, lost),
        lost,
        tuple(dict.fromkeys(notes)),
    )


def _report(counts: np.ndarray, fault_table: pd.DataFrame, s: Summary) -> ReadReport:
    """Counts of rows that add up, also reason by reason."""
    stops = fault_table[fault_table["sets_aside"]].drop_duplicates(["file", "sheet", "row"])
    reasons = Counter(stops["kind"].tolist()).most_common()
    there = (s.count > 0).sum(axis=0)
    coverage = tuple((*key, int(n)) for key, n in zip(s.keys, there))
    read, used, aside, blank = (int(n) for n in counts)
    weighings, batches = int(s.count.sum()), len(s.batches)
    return ReadReport(read, used, aside, blank, weighings, batches, tuple(reasons), coverage)

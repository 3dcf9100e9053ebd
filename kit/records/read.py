"""The door: from files to Records."""
from collections.abc import Iterable
from pathlib import Path

import pandas as pd
import pyarrow as pa

from kit.errors import Faulty, KitError
from kit.records import draft, faults
from kit.records.find import find
from kit.records.mapping import Mapping, read_mapping
from kit.records.model import Records, Report
from kit.records.rows import Part, read_rows
from kit.records.summary import Summary, in_order, past_midnight, summary
from kit.records.table import open_tables


def read_records(source, mapping=None, *, name: str = "", header_row: int | None = None) -> Records:
    """Records from a path (.csv .tsv .txt .xlsx .parquet), bytes or text with the file's `name`, a DataFrame, or a list of paths.

    `mapping` is a Mapping, or what read_mapping takes; without one it is drafted from the headers. Raises Faulty with the questions where a
    mapping holds some. Faults of rows do not raise: they are in the result, with the rows set aside.
    """
    chosen = None if mapping is None else _settled(mapping if isinstance(mapping, Mapping) else read_mapping(mapping))
    row, sheets, decimal = (header_row, (), None) if chosen is None else (chosen.header_row, chosen.sheets, chosen.decimal)
    tables = [table for one in _several(source) for table in open_tables(one, name, row, sheets, decimal)]
    if chosen is None:
        chosen = _settled(draft.draft_of(tables))
        tables = [table for table in tables if not chosen.sheets or table.sheet in chosen.sheets]
    return _records(chosen, [read_rows(table, chosen) for table in tables])


def _several(source) -> list:
    if isinstance(source, (str, bytes, bytearray, memoryview, Path)) or hasattr(source, "columns"):
        return [source]
    if not isinstance(source, Iterable):
        raise KitError(f"records cannot be read from a {type(source).__name__}; give a path, text, bytes with a file name, or a DataFrame")
    sources = list(source)
    if not sources:
        raise KitError("the list of files is empty; give at least one path")
    return sources


def _settled(mapping: Mapping) -> Mapping:
    """The mapping, if it leaves nothing open."""
    if mapping.questions:
        raise Faulty("The records cannot be read before these questions are answered (draft_mapping writes a mapping to edit)", mapping.questions)
    return mapping


def _records(mapping: Mapping, parts: list[Part]) -> Records:
    whole = pa.concat_tables([part.tidy for part in parts]).unify_dictionaries().combine_chunks()
    frame, moved, batches = past_midnight(in_order(whole))
    notes = [note for part in parts for note in part.notes]
    if moved:
        notes.append(midnight_note(moved, batches))
    s = summary(frame)
    fault_table = faults.joined([part.faults for part in parts])
    tidy = frame.drop(columns=["cell", "clocked", "fixed"]).rename(columns=lambda title: title.removeprefix("carry: "))
    aside = [part.aside for part in parts if len(part.aside)]
    lost = frozenset().union(*(part.lost for part in parts))
    counts = report_of([(p.table.file, p.table.sheet, p.read, p.used, p.set_aside, p.blank) for p in parts], fault_table, s, len(tidy))
    return Records(mapping, tidy, s, counts, fault_table, pd.concat(aside, ignore_index=True) if aside else pd.DataFrame(), find(s, lost), lost, tuple(dict.fromkeys(notes)))


def midnight_note(moved: int, batches: list[str]) -> str:
    some = ", ".join(batches[:5]) + (f" and {len(batches) - 5} more" if len(batches) > 5 else "")
    return f"{moved:,} weighings after midnight bear the date on which their batch began; they are taken as the day after (batches {some})"


def report_of(tables, fault_table: pd.DataFrame, s: Summary, weighings: int) -> Report:
    stops = fault_table[fault_table["sets_aside"]].drop_duplicates(["file", "sheet", "row"])
    reasons = tuple((str(reason), int(count)) for reason, count in stops["kind"].value_counts().items())
    return report(tables, reasons, s, weighings)


def report(tables, reasons, s: Summary, weighings: int) -> Report:
    read, used, aside, blank = (sum(table[n] for table in tables) for n in (2, 3, 4, 5))
    return Report(read, used, aside, blank, weighings, len(s.batches), reasons, tuple(tables),
                  tuple((stage, kind, int((s.count[:, n] > 0).sum())) for n, (stage, kind) in enumerate(s.keys)))

"""The door: from files of any length to Records, in blocks of whole rows."""

import os
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from kit.errors import Faulty, KitError
from kit.reading.columns import BLOCK_BYTES, is_frame, table_blocks, tables
from kit.reading.records import draft, faults
from kit.reading.records.find import find
from kit.reading.records.mapping import Mapping, read_mapping
from kit.reading.records.model import ReadReport, Records
from kit.reading.records.rows import Part, State, read_rows
from kit.reading.records.summary import Summary, in_order, past_midnight, pieces, summary
from kit.reading.records.write import csv_bytes

WEIGHINGS, SET_ASIDE, FAULTS = "weighings.parquet", "set_aside.csv", "faults.csv"
ROWS_AT_ONCE = 2_000_000
"""weighings summed up at once; more are shared out by batch, on the disk"""
_SHARES = 64
_OPEN = "The records cannot be read before these questions are answered (draft_mapping writes a mapping to edit)"


def read_records(
    source,
    mapping=None,
    *,
    name: str = "",
    header_row: int | None = None,
    folder=None,
    block_bytes: int = BLOCK_BYTES,
    rows_at_once: int = ROWS_AT_ONCE,
) -> Records:
    """Records of a plant's weighings.

    source: path (.csv .tsv .txt .xlsx .parquet), bytes or text with the file's `name`, a table in memory (pandas, or any that speaks the Arrow interface), or a list of these
    mapping: a Mapping, or what read_mapping takes; drafted from the headers where left out
    name: the file name that goes with bytes or text
    header_row: row of the headers as the person counts, from 1; found where left out
    folder: an empty place on the disk that takes weighings, rows set aside and faults as files; needed where they are more than fit in memory
    block_bytes: how much of a text or Parquet file is held at a time, bytes (1000 or more)
    rows_at_once: how many weighings are summed up at once
    Returns Records; faults of rows do not raise: they are in it, with the rows set aside.
    Raises Faulty with the questions where a mapping holds some, and where there is no table.
    Source: the file.
    """
    chosen = None if mapping is None else settled(mapping)
    kept = _Kept(None if folder is None else Path(folder), rows_at_once)
    try:
        for one in _several(source):
            state, form = State(), draft.form_of(header_row)
            if chosen is not None:
                form = draft.form_of(chosen.header_row, chosen)
            for table in table_blocks(one, name, form, block_bytes):
                if chosen is None:
                    whole_book = tables(one, name, form) if table.sheet else [table]
                    chosen = settled(draft.draft_of(whole_book))
                if not chosen.sheets or table.sheet in chosen.sheets:
                    kept.take(read_rows(table, chosen, state))
        assert chosen is not None
        return kept.records(chosen)
    except OSError as cause:
        why = f"the records could not be read or written ({cause.strerror})"
        raise KitError(f"{why}; check the paths, and the room on the disk") from None
    finally:
        kept.close()


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
        raise Faulty(_OPEN, found.questions)
    return found


@dataclass
class _Kept:
    """What was read so far: in memory, or in files of a folder, shared out by batch."""

    folder: Path | None
    rows_at_once: int
    parts: list[pa.Table] = field(default_factory=list)
    counts: np.ndarray = field(default_factory=lambda: np.zeros(4, int))
    fault_frames: list[pd.DataFrame] = field(default_factory=list)
    aside: list[pd.DataFrame] = field(default_factory=list)
    lost: set[str] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)
    order: dict[str, int] = field(default_factory=dict)
    """batch -> its place among all, first met first"""
    place: Path | None = None
    """the folder in which the files are made"""
    spilled: int = 0

    def __post_init__(self):
        if self.folder is None:
            return
        if not self.folder.is_dir():
            raise KitError(f"{self.folder.name!r} is no folder; make it first")
        for name in (WEIGHINGS, SET_ASIDE, FAULTS):
            if (self.folder / name).exists():
                what = f"{name} exists in the folder and is left as it is"
                raise KitError(f"{what}; choose another folder")
        self.place = Path(tempfile.mkdtemp(prefix=".reading-", dir=self.folder))

    def close(self) -> None:
        if self.place is not None:
            shutil.rmtree(self.place, ignore_errors=True)

    def take(self, part: Part) -> None:
        """One block's weighings, faults and counts."""
        self.counts += part.counts
        self.lost |= part.lost
        for batch in part.tidy["batch"].unique().to_pylist():
            self.order.setdefault(batch, len(self.order))
        self.notes += part.notes
        self.fault_frames.append(part.faults)
        if len(part.aside):
            self.aside.append(part.aside)
        self.parts.append(part.tidy)
        if self.place is not None and sum(len(p) for p in self.parts) > self.rows_at_once:
            self._spill(self.place)

    def _spill(self, place: Path) -> None:
        """Share the weighings held out to files by their batch, so that each file holds whole batches."""
        import pyarrow.ipc as ipc

        whole = _plain(pa.concat_tables(self.parts))
        share = np.array([hash(b) % _SHARES for b in whole["batch"].to_pylist()])
        for n in np.unique(share):
            with ipc.new_file(place / f"{n:03d}-{self.spilled:06d}.arrow", whole.schema) as out:
                out.write_table(whole.filter(pa.array(share == n)))
        self.parts, self.spilled = [], self.spilled + 1

    def _shares(self) -> Iterator[pa.Table]:
        import pyarrow.ipc as ipc

        if self.place is None or not self.spilled:
            yield pa.concat_tables(self.parts).unify_dictionaries().combine_chunks()
            return
        if self.parts:
            self._spill(self.place)
        for n in range(_SHARES):
            paths = sorted(self.place.glob(f"{n:03d}-*.arrow"))
            if paths:
                yield pa.concat_tables([ipc.open_file(path).read_all() for path in paths])

    def records(self, mapping: Mapping) -> Records:
        """Everything summed up, batch by batch."""
        import pyarrow.parquet as pq

        sums, moved, writer = [], 0, None
        batches: list[str] = []
        tidy: pd.DataFrame | Path = Path()
        for whole in self._shares():
            frame, more, names = past_midnight(in_order(whole))
            moved, batches = moved + more, [*batches, *names]
            sums.append(pieces(frame))
            tidy = frame.drop(columns=["cell", "clocked", "fixed"])
            tidy = tidy.rename(columns=lambda title: title.removeprefix("carry: "))
            if self.place is not None:
                made = _plain(pa.Table.from_pandas(tidy, preserve_index=False))
                writer = writer or pq.ParquetWriter(self.place / WEIGHINGS, made.schema)
                writer.write_table(made)
        s = summary(sums, self.order)
        if moved:
            self.notes.append(midnight_note(moved, sorted(batches, key=self.order.__getitem__)))
        fault_table = faults.joined(self.fault_frames)
        aside = pd.concat(self.aside, ignore_index=True) if self.aside else pd.DataFrame()
        if writer is not None:
            writer.close()
            tidy = self._files({SET_ASIDE: aside, FAULTS: fault_table})
        return Records(
            mapping,
            tidy,
            s,
            report_of(self.counts, fault_table, s),
            fault_table,
            aside,
            find(s, self.lost),
            frozenset(self.lost),
            tuple(dict.fromkeys(self.notes)),
        )

    def _files(self, frames: dict[str, pd.DataFrame]) -> Path:
        """The files in their folder, the weighings last; the path of these."""
        assert self.folder is not None and self.place is not None
        for name, frame in frames.items():
            if len(frame):
                (self.place / name).write_bytes(csv_bytes(frame))
                os.replace(self.place / name, self.folder / name)
        os.replace(self.place / WEIGHINGS, self.folder / WEIGHINGS)
        return self.folder / WEIGHINGS


def _plain(table: pa.Table) -> pa.Table:
    """Codes written out as text, so that tables of different blocks can stand together."""
    columns = (
        pc.cast(column, pa.string()) if pa.types.is_dictionary(column.type) else column
        for column in table.columns
    )
    return pa.table(dict(zip(table.column_names, columns)))


def midnight_note(moved: int, batches: list[str]) -> str:
    """How many weighings were taken as the day after."""
    more = f" and {len(batches) - 5} more" if len(batches) > 5 else ""
    return (
        f"{moved:,} weighings after midnight bear the date on which their batch began; they are taken "
        f"as the day after (batches {', '.join(batches[:5])}{more})"
    )


def report_of(counts: np.ndarray, fault_table: pd.DataFrame, s: Summary) -> ReadReport:
    """Counts of rows that add up, also reason by reason."""
    stops = fault_table[fault_table["sets_aside"]].drop_duplicates(["file", "sheet", "row"])
    reasons = Counter(stops["kind"].tolist()).most_common()
    there = (s.count > 0).sum(axis=0)
    coverage = tuple((*key, int(n)) for key, n in zip(s.keys, there))
    read, used, aside, blank = (int(n) for n in counts)
    weighings, batches = int(s.count.sum()), len(s.batches)
    return ReadReport(read, used, aside, blank, weighings, batches, tuple(reasons), coverage)

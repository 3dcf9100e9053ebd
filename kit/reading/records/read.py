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
from kit.reading.columns import table_blocks
from kit.reading.records import draft, faults
from kit.reading.records.find import find
from kit.reading.records.mapping import Mapping, read_mapping
from kit.reading.records.model import Records, Report
from kit.reading.records.rows import Part, State, read_rows
from kit.reading.records.summary import Summary, in_order, past_midnight, pieces, summary
from kit.reading.records.table import LIMITS, known_header
from kit.reading.records.write import csv_bytes
from kit.reading.shapes import Table

WEIGHINGS, SET_ASIDE, FAULTS = "weighings.parquet", "set_aside.csv", "faults.csv"
BLOCK_BYTES = 16_000_000
ROWS_AT_ONCE = 2_000_000
"""weighings summed up at once; more are shared out by batch, on the disk"""


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

    source: path (.csv .tsv .txt .xlsx .parquet), bytes or text with the file's `name`, a table in
        memory (pandas, or any that speaks the Arrow interface), or a list of these.
    mapping: a Mapping, or what read_mapping takes; drafted from the headers where left out.
    header_row: row of the headers as the person counts, from 1; found where left out.
    folder: an empty place on the disk that takes the weighings, the rows set aside and the faults
        as files; needed where they are more than fit in memory.
    block_bytes: how much of a text or Parquet file is held at a time, bytes (1000 or more).
    rows_at_once: how many weighings are summed up at once.
    Returns Records; faults of rows do not raise: they are in it, with the rows set aside.
    Raises Faulty with the questions where a mapping holds some, and where there is no table.
    """
    chosen = None if mapping is None else settled(mapping)
    sources = _several(source)
    kept = _Kept(None if folder is None else Path(folder), rows_at_once)
    try:
        for one in sources:
            state = State()
            for table in _blocks(one, name, header_row, chosen, block_bytes):
                if chosen is None:
                    chosen = settled(_drafted(one, name, header_row, table))
                if chosen.sheets and table.sheet not in chosen.sheets:
                    continue
                kept.take(read_rows(table, chosen, state))
        assert chosen is not None
        return kept.records(chosen)
    except OSError as cause:
        why = cause.strerror
        raise KitError(
            f"the records could not be read or written ({why}); check the paths, and the room on the disk"
        ) from None
    finally:
        kept.close()


def _blocks(one, name, header_row, chosen: Mapping | None, size: int) -> Iterator[Table]:
    row, decimal = header_row, None
    sheets: tuple[str, ...] = ()
    if chosen is not None:
        row, sheets, decimal = chosen.header_row, chosen.sheets, chosen.decimal
    return table_blocks(one, name, LIMITS, known_header, row, sheets, decimal, block_bytes=size)


def _drafted(one, name: str, header_row: int | None, first: Table) -> Mapping:
    """A mapping from the first block; of a workbook from all its sheets."""
    if not first.sheet:
        return draft.draft_of([first])
    return draft.draft_of(list(_blocks(one, name, header_row, None, BLOCK_BYTES)))


def _several(source) -> list:
    table = hasattr(source, "__arrow_c_stream__") or hasattr(source, "to_parquet")
    if isinstance(source, (str, bytes, bytearray, memoryview, os.PathLike)) or table:
        return [source]
    if not isinstance(source, Iterable):
        kind = type(source).__name__
        raise KitError(
            f"records cannot be read from a {kind}; give a path, text, bytes with a file name, or a "
            "table"
        )
    sources = list(source)
    if not sources:
        raise KitError("the list of files is empty; give at least one path")
    return sources


def settled(mapping) -> Mapping:
    """The mapping, if it leaves nothing open; else Faulty with its questions."""
    found = mapping if isinstance(mapping, Mapping) else read_mapping(mapping)
    if found.questions:
        raise Faulty(
            "The records cannot be read before these questions are answered (draft_mapping writes a "
            "mapping to edit)",
            found.questions,
        )
    return found


@dataclass
class _Kept:
    """What was read so far: in memory, or in files of a folder, shared out by batch."""

    folder: Path | None
    rows_at_once: int
    parts: list[pa.Table] = field(default_factory=list)
    counts: dict[tuple[str, str], np.ndarray] = field(default_factory=dict)
    fault_frames: list[pd.DataFrame] = field(default_factory=list)
    aside: list[pd.DataFrame] = field(default_factory=list)
    lost: set[str] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)
    order: dict[str, int] = field(default_factory=dict)
    """batch -> its place among all, first met first"""
    draft: Path | None = None
    shares: int = 0

    def __post_init__(self):
        if self.folder is None:
            return
        if not self.folder.is_dir():
            raise KitError(f"{self.folder.name!r} is no folder; make it first")
        for name in (WEIGHINGS, SET_ASIDE, FAULTS):
            if (self.folder / name).exists():
                raise KitError(
                    f"{name} exists in the folder and is left as it is; choose another folder"
                )
        self.draft = Path(tempfile.mkdtemp(prefix=".reading-", dir=self.folder))

    @property
    def place(self) -> Path:
        """The folder in which the files are made."""
        assert self.draft is not None
        return self.draft

    def close(self) -> None:
        if self.draft is not None:
            shutil.rmtree(self.draft, ignore_errors=True)

    def take(self, part: Part) -> None:
        """One block's weighings, faults and counts."""
        table = part.table
        counted = np.array([part.read, part.used, part.set_aside, part.blank])
        place = (table.file, table.sheet)
        self.counts[place] = self.counts.get(place, 0) + counted
        self.lost |= part.lost
        for batch in part.tidy["batch"].unique().to_pylist():
            self.order.setdefault(batch, len(self.order))
        self.notes += part.notes
        self.fault_frames.append(part.faults)
        if len(part.aside):
            self.aside.append(part.aside)
        self.parts.append(part.tidy)
        if self.draft is not None and sum(len(p) for p in self.parts) > self.rows_at_once:
            self._spill()

    def _spill(self) -> None:
        """Share the weighings held out to files by their batch, so that each file holds whole batches."""
        import pyarrow.ipc as ipc

        whole = _plain(pa.concat_tables(self.parts))
        self.shares = self.shares or 64
        share = np.array([hash(b) % self.shares for b in whole["batch"].to_pylist()])
        at = sum(1 for _ in self.place.iterdir())
        for n in np.unique(share):
            path = self.place / f"{n:03d}-{at:06d}.arrow"
            with ipc.new_file(path, whole.schema) as out:
                out.write_table(whole.filter(pa.array(share == n)))
        self.parts = []

    def _shares(self) -> Iterator[pa.Table]:
        import pyarrow.ipc as ipc

        if not self.shares:
            yield pa.concat_tables(self.parts).unify_dictionaries().combine_chunks()
            return
        if self.parts:
            self._spill()
        for n in range(self.shares):
            paths = sorted(self.place.glob(f"{n:03d}-*.arrow"))
            if paths:
                yield pa.concat_tables([ipc.open_file(path).read_all() for path in paths])

    def records(self, mapping: Mapping) -> Records:
        """Everything summed up, batch by batch."""
        import pyarrow.parquet as pq

        frames, sums, moved, writer = [], [], 0, None
        batches: list[str] = []
        for whole in self._shares():
            frame, more, names = past_midnight(in_order(whole))
            moved, batches = moved + more, [*batches, *names]
            sums.append(pieces(frame))
            tidy = frame.drop(columns=["cell", "clocked", "fixed"])
            tidy = tidy.rename(columns=lambda title: title.removeprefix("carry: "))
            if self.draft is None:
                frames.append(tidy)
            else:
                texts = [c for c in tidy.columns if tidy[c].dtype == "category"]
                made = pa.Table.from_pandas(
                    tidy.astype(dict.fromkeys(texts, "str")), preserve_index=False
                )
                writer = writer or pq.ParquetWriter(self.place / WEIGHINGS, made.schema)
                writer.write_table(made)
        if writer is not None:
            writer.close()
        s = summary(sums, self.order)
        notes = [
            *self.notes,
            *([midnight_note(moved, sorted(batches, key=self.order.__getitem__))] if moved else []),
        ]
        fault_table = faults.joined(self.fault_frames)
        aside = pd.concat(self.aside, ignore_index=True) if self.aside else pd.DataFrame()
        tidy = frames[0] if frames else self._files(fault_table, aside)
        weighings = int(s.count.sum())
        report = report_of(self.counts, fault_table, s, weighings)
        found = find(s, self.lost)
        lost, said = frozenset(self.lost), tuple(dict.fromkeys(notes))
        return Records(mapping, tidy, s, report, fault_table, aside, found, lost, said)

    def _files(self, fault_table: pd.DataFrame, aside: pd.DataFrame) -> Path:
        """The three files in their folder, the weighings last; the path of these."""
        assert self.folder is not None
        for name, frame in ((SET_ASIDE, aside), (FAULTS, fault_table)):
            if len(frame):
                (self.place / name).write_bytes(csv_bytes(frame))
                os.replace(self.place / name, self.folder / name)
        os.replace(self.place / WEIGHINGS, self.folder / WEIGHINGS)
        return self.folder / WEIGHINGS


def _plain(table: pa.Table) -> pa.Table:
    """Codes written out as text, so that tables of different blocks can stand together."""
    columns = {}
    for name, column in zip(table.column_names, table.columns, strict=True):
        coded = pa.types.is_dictionary(column.type)
        columns[name] = pc.cast(column, pa.string()) if coded else column
    return pa.table(columns)


def midnight_note(moved: int, batches: list[str]) -> str:
    """How many weighings were taken as the day after."""
    more = f" and {len(batches) - 5} more" if len(batches) > 5 else ""
    return (
        f"{moved:,} weighings after midnight bear the date on which their batch began; they are taken "
        f"as the day after (batches {', '.join(batches[:5])}{more})"
    )


def report_of(counts, fault_table: pd.DataFrame, s: Summary, weighings: int) -> Report:
    """Counts of rows that add up, table by table and reason by reason."""
    stops = fault_table[fault_table["sets_aside"]].drop_duplicates(["file", "sheet", "row"])
    reasons = Counter(stops["kind"].tolist()).most_common()
    tables = tuple((file, sheet, *(int(n) for n in c)) for (file, sheet), c in counts.items())
    read, used, aside, blank = (sum(table[n] for table in tables) for n in (2, 3, 4, 5))
    pairs = enumerate(s.keys)
    coverage = tuple((stage, kind, int((s.count[:, n] > 0).sum())) for n, (stage, kind) in pairs)
    return Report(
        read, used, aside, blank, weighings, len(s.batches), tuple(reasons), tables, coverage
    )

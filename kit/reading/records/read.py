"""The door: from files of any length to Records, in blocks of whole rows."""

import os
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

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
from kit.reading.records.summary import CARRY, Summary, in_order, past_midnight, pieces, summary
from kit.reading.words import first_few, note

WEIGHINGS, SET_ASIDE, FAULTS = "weighings.parquet", "set_aside.csv", "faults.csv"
_SHARES = 64
"""files among which the batches of large records are shared out, to be summed up one by one"""
_OPEN = "The records cannot be read before these questions are answered (draft_mapping writes a mapping to edit)"


def read_records(
    source,
    mapping=None,
    *,
    name: str = "",
    header_row: int | None = None,
    folder=None,
) -> Records:
    """Records of a plant's weighings.

    source: path (.csv .tsv .txt .xlsx .parquet), bytes or text with the file's `name`, a table in memory (pandas, or any that speaks the Arrow interface), or a list of these
    mapping: a Mapping, or what read_mapping takes; drafted from the headers where left out
    name: the file name that goes with bytes or text
    header_row: row of the headers as the person counts, from 1; found where left out
    folder: an empty place on the disk that takes weighings, rows set aside and faults as files; needed where they are more than fit in memory
    Returns Records; faults of rows do not raise: they are in it, with the rows set aside.
    Raises Faulty with the questions where a mapping holds some, and where there is no table.
    Source: the file.
    """
    chosen = None if mapping is None else settled(mapping)
    place = None if folder is None else _place_in(Path(folder))
    weighings, parts = _Weighings(place), list[Part]()
    try:
        for one in _several(source):
            last, form = dict[str, str](), draft.form_of(header_row)
            if chosen is not None:
                form = draft.form_of(chosen.header_row, chosen)
            for table in table_blocks(one, name, form, BLOCK_BYTES):
                if chosen is None:
                    whole_book = tables(one, name, form) if table.sheet else [table]
                    chosen = settled(draft.draft_of(whole_book))
                if not chosen.sheets or table.sheet in chosen.sheets:
                    part = read_rows(table, chosen, last)
                    weighings.take(part.tidy)
                    parts.append(replace(part, tidy=pa.table({})))
        assert chosen is not None
        return _records(chosen, parts, weighings)
    except OSError as cause:
        why = f"the records could not be read or written ({cause.strerror})"
        raise KitError(f"{why}; check the paths, and the room on the disk") from None
    finally:
        if place is not None:
            shutil.rmtree(place, ignore_errors=True)


def _place_in(folder: Path) -> Path:
    """A folder of its own in `folder`, in which the files are made before they appear."""
    if not folder.is_dir():
        raise KitError(f"{folder.name!r} is no folder; make it first")
    for name in (WEIGHINGS, SET_ASIDE, FAULTS):
        if (folder / name).exists():
            what = f"{name} exists in the folder and is left as it is"
            raise KitError(f"{what}; choose another folder")
    return Path(tempfile.mkdtemp(prefix=".reading-", dir=folder))


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
class _Weighings:
    """The weighings read so far: in memory, or shared out by batch to files in `place`."""

    place: Path | None
    held: list[pa.Table] = field(default_factory=list)
    order: dict[str, int] = field(default_factory=dict)
    """batch -> its place among all, first met first"""
    blocks: int = 0

    def take(self, tidy: pa.Table) -> None:
        for batch in tidy["batch"].unique().to_pylist():
            self.order.setdefault(batch, len(self.order))
        if self.place is None:
            self.held.append(tidy)
            return
        import pyarrow.dataset as ds

        self.held, self.blocks = [tidy.slice(0, 0)], self.blocks + 1
        share = pa.array([self.order[batch] % _SHARES for batch in tidy["batch"].to_pylist()])
        ds.write_dataset(
            _plain(tidy).append_column("share", share),
            self.place,
            format="arrow",
            partitioning=["share"],
            basename_template=f"{self.blocks:06d}-{{i}}.arrow",
            existing_data_behavior="overwrite_or_ignore",
        )

    def shares(self) -> Iterator[pa.Table]:
        """Tables that hold whole batches: one, or one for each share on the disk."""
        import pyarrow.dataset as ds

        yield pa.concat_tables(self.held).unify_dictionaries()
        for share in sorted(self.place.glob("[0-9]*")) if self.place else ():
            yield ds.dataset(sorted(map(str, share.iterdir())), format="arrow").to_table()


def _records(mapping: Mapping, parts: list[Part], weighings: _Weighings) -> Records:
    """Everything summed up, batch by batch; in a folder, the files appear once all is read."""
    import pyarrow.parquet as pq

    place, writer = weighings.place, None
    sums, moved, batches = [], 0, list[str]()
    tidy: pd.DataFrame | Path = Path()
    for whole in weighings.shares():
        frame, more, names = past_midnight(in_order(whole))
        moved, batches = moved + more, [*batches, *names]
        sums.append(pieces(frame))
        tidy = frame.drop(columns=["key", "clocked", "fixed"])
        tidy = tidy.rename(columns=lambda title: title.removeprefix(CARRY))
        if place is not None:
            made = _plain(pa.Table.from_pandas(tidy, preserve_index=False))
            writer = writer or pq.ParquetWriter(place / WEIGHINGS, made.schema)
            writer.write_table(made)
    s = summary(sums, weighings.order)
    notes = [said for part in parts for said in part.notes]
    if moved:
        named = sorted(batches, key=weighings.order.__getitem__)
        notes.append(note("midnight", count=moved, batches=first_few(named, 5)))
    fault_table = faults.joined([part.faults for part in parts])
    asides = [part.aside for part in parts if len(part.aside)]
    aside = pd.concat(asides, ignore_index=True) if asides else pd.DataFrame()
    lost = frozenset[str]().union(*(part.lost for part in parts))
    if writer is not None and place is not None:
        writer.close()
        for name, table in ((SET_ASIDE, aside), (FAULTS, fault_table)):
            if len(table):
                (place / name).write_bytes(faults.csv_bytes(table))
                os.replace(place / name, place.parent / name)
        tidy = (place / WEIGHINGS).replace(place.parent / WEIGHINGS)
    return Records(
        mapping,
        tidy,
        s,
        _report(np.sum([part.counts for part in parts], axis=0), fault_table, s),
        fault_table,
        aside,
        find(s, lost),
        lost,
        tuple(dict.fromkeys(notes)),
    )


def _plain(table: pa.Table) -> pa.Table:
    """Codes written out as text, so that tables of different blocks can stand together."""
    text = pa.string()
    kinds = [(f.name, text if pa.types.is_dictionary(f.type) else f.type) for f in table.schema]
    return table.cast(pa.schema(kinds))


def _report(counts: np.ndarray, fault_table: pd.DataFrame, s: Summary) -> ReadReport:
    """Counts of rows that add up, also reason by reason."""
    stops = fault_table[fault_table["sets_aside"]].drop_duplicates(["file", "sheet", "row"])
    reasons = Counter(stops["kind"].tolist()).most_common()
    there = (s.count > 0).sum(axis=0)
    coverage = tuple((*key, int(n)) for key, n in zip(s.keys, there))
    read, used, aside, blank = (int(n) for n in counts)
    weighings, batches = int(s.count.sum()), len(s.batches)
    return ReadReport(read, used, aside, blank, weighings, batches, tuple(reasons), coverage)

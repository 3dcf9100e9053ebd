"""Records larger than memory: read block by block into Parquet beside the person's file, then summed up by DuckDB, with the same answers."""
import os
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from kit.errors import Fault, Faulty, KitError
from kit.records import faults as fault_frames
from kit.records.draft import draft_of
from kit.records.find import DUPLICATE, WEIGHED_TWICE, Finding, find
from kit.records.mapping import Mapping, read_mapping
from kit.records.model import _NUMBERS, INCOMPLETE, Report, WideWeights, as_html, wide
from kit.records.read import _settled, midnight_note, report
from kit.records.rows import ASIDE, ATTRIBUTES, State, read_rows
from kit.records.summary import ADDED, CARRY, SEVERAL, Summary, keys_of, matrices
from kit.records.table import Table, _typed, blocks, csv_layout, need_suffix, parse_rows
from kit.records.write import csv_bytes
from kit.sheet.encoding import text_of
from kit.sheet.records import Cell, Faults
from kit.tables import number

WEIGHINGS, SET_ASIDE, FAULTS = "weighings.parquet", "set_aside.csv", "faults.csv"
_HEAD = 1_000_000


@dataclass(frozen=True)
class LargeRecords:
    """As `Records`, with the tables in files: `weighings` (Parquet, the tidy table), `set_aside` and `faults` (CSV; None where there are none)."""

    mapping: Mapping
    weighings: Path
    set_aside: Path | None
    faults: Path | None
    summary: Summary
    report: Report
    findings: tuple[Finding, ...]
    incomplete: frozenset[str]
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = field(default_factory=lambda: tuple(dict.fromkeys(number(name).cite() for name in _NUMBERS)))

    def weights(self, leave_out: Iterable[str] = (DUPLICATE, WEIGHED_TWICE, INCOMPLETE)) -> WideWeights:
        """As Records.weights."""
        return wide(self.summary, self.findings, self.incomplete, leave_out)

    def _repr_html_(self) -> str:
        return as_html(self.report, self.notes, fault_frames.joined([]), self.findings)


def read_large(source, folder, mapping=None, *, block_bytes: int = 16_000_000, memory: str = "400MB") -> LargeRecords:
    """Records from CSV or Parquet of any size: one path, or several of the same columns. `folder` takes the three files that are made.

    About `block_bytes` of the file and `memory` for DuckDB are held at a time, and one row for each batch. Nothing is written over: KitError where
    one of the files is there already. Without a mapping one is drafted from the first block. Raises as read_records does.
    """
    paths = [Path(one) for one in ([source] if isinstance(source, (str, os.PathLike)) else source)]
    folder, made = Path(folder), []
    if not paths or not folder.is_dir():
        raise KitError("the list of files is empty; give at least one path" if not paths else f"{folder.name!r} is no folder; make it first")
    for name in (WEIGHINGS, SET_ASIDE, FAULTS):
        if (folder / name).exists():
            raise KitError(f"{name} exists in the folder and is left as it is; choose another folder")
    drafts = {name: folder / f".{name}.part" for name in (WEIGHINGS, SET_ASIDE, FAULTS, "staged")}
    try:
        chosen = _settled(draft_of([next(_tables(paths[0], None, block_bytes), None) or _nothing(paths[0])]) if mapping is None
                          else mapping if isinstance(mapping, Mapping) else read_mapping(mapping))
        tally = _stage(paths, chosen, drafts, block_bytes)
        s, moved, count = _summed(drafts["staged"], drafts[WEIGHINGS], chosen, memory, folder)
        notes = [*tally.notes, *([midnight_note(len(moved), list(dict.fromkeys(moved)))] if moved else [])]
        reasons = tuple(tally.reasons.most_common())
        for name in (WEIGHINGS, SET_ASIDE, FAULTS):
            if drafts[name].exists():
                os.replace(drafts[name], folder / name)
                made.append(name)
        return LargeRecords(chosen, folder / WEIGHINGS, *(folder / name if name in made else None for name in (SET_ASIDE, FAULTS)), s,
                            report(tally.tables, reasons, s, count), find(s, tally.lost), frozenset(tally.lost), tuple(dict.fromkeys(notes)))
    except OSError as cause:
        raise KitError(f"the records could not be read or written ({cause.strerror}); check the paths, and the room on the disk") from None
    finally:
        for path in drafts.values():
            path.unlink(missing_ok=True)


def _nothing(path: Path):
    return Faults(path.name).stop("there are no rows below the header", remedy="check that the file is the entire table")


# --- blocks ---

def _tables(path: Path, header_row: int | None, block_bytes: int) -> Iterator[Table]:
    """The file's rows as tables of about `block_bytes` each."""
    faults = Faults(path.name)
    need_suffix(path, faults)
    if path.suffix.lower() == ".parquet":
        yield from _parquet_tables(path, block_bytes)
        return
    if path.suffix.lower() == ".xlsx":
        faults.stop("a workbook is never larger than memory", remedy="read it with read_records")
    with path.open("rb") as handle:
        head = handle.read(_HEAD)
        mark = len(b"\xef\xbb\xbf") if head.startswith(b"\xef\xbb\xbf") else 0
        cut = head.rfind(b"\n") + 1 or len(head)
        text_of(head[:cut], _HEAD, faults)
        layout = csv_layout(head[mark:], faults, header_row)
        handle.seek(mark + layout.start)
        row = layout.header_row + 1
        for block in blocks(handle, block_bytes, faults):
            try:
                block.decode()
            except UnicodeDecodeError as cause:
                faults.stop("the file is not in UTF-8", Cell(None, row=row + block[:cause.start].count(b"\n")), remedy="save it again as UTF-8")
            table = parse_rows(block, layout, path.name, row)
            yield table
            row += table.row.size + table.blank + len(table.torn)


def _parquet_tables(path: Path, block_bytes: int) -> Iterator[Table]:
    import pyarrow.parquet as pq

    try:
        file, row = pq.ParquetFile(path), 2
        for batch in file.iter_batches(batch_size=max(block_bytes // (12 * max(file.metadata.num_columns, 1)), 1)):
            yield _typed(pa.Table.from_batches([batch]), path.name, row)
            row += batch.num_rows
    except KitError:
        raise
    except OSError:
        raise
    except Exception as cause:  # damaged Parquet fails in many ways
        raise Faulty(f"{path.name} cannot be read", [Fault(f"the Parquet file is damaged ({type(cause).__name__})", file=path.name, remedy="write it again")]) from None


@dataclass
class _Tally:
    tables: list = field(default_factory=list)
    reasons: Counter = field(default_factory=Counter)
    lost: set = field(default_factory=set)
    notes: list = field(default_factory=list)


def _stage(paths, mapping: Mapping, drafts, block_bytes: int) -> _Tally:
    """Every block read by the same rules as a small file; weighings to Parquet, rows set aside and faults to CSV."""
    import pyarrow.parquet as pq

    tally, writer, weighings, names = _Tally(), None, 0, None
    with drafts[SET_ASIDE].open("wb") as aside_file, drafts[FAULTS].open("wb") as fault_file:
        try:
            for path in paths:
                state, counts = State(), np.zeros(4, dtype="int64")
                for table in _tables(path, mapping.header_row, block_bytes):
                    names = names or table.names
                    if table.names != names:
                        raise KitError(f"{path.name} has other columns than {paths[0].name}; read the two apart")
                    part = read_rows(table, mapping, state)
                    counts += (part.read, part.used, part.set_aside, part.blank)
                    tally.lost |= part.lost
                    tally.notes += part.notes
                    _append(aside_file, part.aside, [f"{ASIDE}{n}" for n in ("file", "sheet", "row", "why", "remedy")] + [*table.names, f"{ASIDE}as written"])
                    _append(fault_file, part.faults, list(fault_frames.COLUMNS))
                    tally.reasons.update(part.faults[part.faults["sets_aside"]].drop_duplicates("row")["kind"].tolist())
                    plain = _decoded(part.tidy)
                    plain = plain.append_column("key", pa.array(keys_of(part.tidy), pa.int16())).append_column("ord", pa.array(np.arange(weighings, weighings + len(plain))))
                    weighings += len(plain)
                    writer = writer or pq.ParquetWriter(drafts["staged"], plain.schema)
                    writer.write_table(plain)
                tally.tables.append((path.name, "", *(int(n) for n in counts)))
        finally:
            if writer:
                writer.close()
    if writer is None:
        _nothing(paths[0])
    for name in (SET_ASIDE, FAULTS):
        if not drafts[name].stat().st_size:
            drafts[name].unlink()
    return tally


def _append(handle, frame: pd.DataFrame, names: list[str]) -> None:
    if len(frame):
        handle.write(csv_bytes(frame.reindex(columns=names), header=handle.tell() == 0))


def _decoded(table: pa.Table) -> pa.Table:
    return pa.table({name: pc.cast(column, pa.string()) if pa.types.is_dictionary(column.type) else column for name, column in zip(table.column_names, table.columns, strict=True)})


# --- sums ---

_ORDER = "key, name, ord"
_LINE = f"partition by batch order by {_ORDER}"
_MOVED = f"""
    with clocks as (select ord, batch, key, name, time, lag(time) over ({_LINE}) as earlier from staged where clocked),
    steps as (select *, coalesce(cast(time as date) = cast(earlier as date), false) as same from clocks),
    runs as (select *, sum(case when same then 0 else 1 end) over ({_LINE}) as run from steps),
    falls as (select ord, batch, sum(case when same and time - earlier < interval (-12) hour then 1 else 0 end)
                     over (partition by batch, run order by {_ORDER}) as days from runs)
    select ord, batch, days from falls where days > 0"""


def _summed(staged: Path, final: Path, mapping: Mapping, memory: str, folder: Path) -> tuple[Summary, list[str], int]:
    """The Summary of the staged weighings, the batch of each weighing moved past midnight, and how many weighings there are."""
    import duckdb

    db = duckdb.connect(config={"memory_limit": memory, "temp_directory": str(folder), "threads": 2, "preserve_insertion_order": False})
    try:
        db.execute("set enable_progress_bar = false")
        db.execute(f"create view staged as select * from read_parquet({_text(str(staged))})")
        db.execute(f"create table moved as {_MOVED}")
        db.execute("create table batches as select batch, min(ord) as first from staged group by batch")
        db.execute("create view weighings as select staged.* replace (staged.time + to_days(cast(coalesce(moved.days, 0) as integer)) as time) from staged left join moved using (ord)")
        columns = [row[0] for row in db.execute("describe staged").fetchall()]
        kept = ", ".join(f"{_name('w', c)} as {_name('', c.removeprefix(CARRY))}" for c in columns if c not in ("key", "ord", "clocked", "fixed"))
        db.execute(f"copy (select {kept} from weighings w join batches b on b.batch = w.batch order by b.first, w.key, w.name, w.ord) to {_text(str(final))} (format parquet)")
        cells = db.execute("""select b.first, w.key, sum(w.kg) as kg, count(*) as count, min(w.row) as row
                              from weighings w join batches b on b.batch = w.batch group by all order by b.first, w.key""").fetchnumpy()
        per_batch = _per_batch(db, columns, mapping)
        repeats = db.execute("""
            select batch, stage, kind, name, kg, count(*) as count, min(row) as first_row, max(row) as last_row, false as fixed
            from weighings where not fixed group by batch, stage, kind, name, lot, time, kg having count(*) > 1
            union all select batch, stage, kind, name, min(kg), count(*), min(row), max(row), true
            from weighings where fixed group by batch, stage, kind, name having count(*) > 1""").df()
        parts = db.execute(f"""select b.first as place, key, name, sum(kg) as kg, min(row) as row from weighings w join batches b on b.batch = w.batch
                               where key in ({', '.join(map(str, ADDED))}) group by all order by place, key, name""").df()
        moved = [row[0] for row in db.execute("select batch from moved join batches using (batch) order by first").fetchall()]
        count = db.execute("select count(*) from staged").fetchone()[0]
    finally:
        db.close()
    first, place = np.unique(cells["first"], return_inverse=True)
    parts = parts.assign(place=np.searchsorted(first, parts["place"]))
    names = per_batch["batch"].to_numpy(dtype=object)
    return matrices(names, place, cells["key"].astype("int64"), cells["kg"], cells["count"], cells["row"], per_batch, repeats, parts), moved, count


def _per_batch(db, columns, mapping: Mapping) -> pd.DataFrame:
    numeric = {CARRY + column for column, kind in mapping.carry if kind == "number"}
    asked = []
    for column in (*ATTRIBUTES, *(c for c in columns if c.startswith(CARRY))):
        held, title = _name("", column), _name("", column.removeprefix(CARRY))
        asked.append(f"avg(case when isfinite({held}) then {held} end) as {title}" if column in numeric else
                     f"case when min(nullif({held}, '')) is null then '' when min(nullif({held}, '')) = max({held}) then max({held}) else '{SEVERAL}' end as {title}")
    found = db.execute(f"""select w.batch, min(time) as "first", max(time) as "last", count(*) as weighings, {', '.join(asked)}
                           from weighings w join batches b on b.batch = w.batch group by w.batch, b.first order by b.first""").df()
    return found


def _text(value: str) -> str:
    return "'" + value.replace("'", "''") + "'"


def _name(table: str, column: str) -> str:
    quoted = '"' + column.replace('"', '""') + '"'
    return f"{table}.{quoted}" if table else quoted

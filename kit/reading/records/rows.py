"""One table and its mapping become weighings: every row is used whole, or set aside whole with its reason."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from kit.errors import Fault, Faulty, nearest
from kit.reading.columns import Table
from kit.reading.records import values
from kit.reading.records.faults import Log
from kit.reading.records.mapping import Mapping, Weight, lookup
from kit.reading.records.words import KINDS, LEFT_OUT, plain, words
from kit.stages import STAGES
from kit.tables import value

ATTRIBUTES = ("lot", "operator", "cooker", "scale")
TIDY = ("batch", "time", "stage", "kind", "name", "kg", *ATTRIBUTES)
PLACES = ("file", "sheet", "row", "column")
ASIDE = "set aside: "
"""how the kit's own columns in a file of set-aside rows begin"""
_MAX_NAME = 200
_STAGES, _KINDS = tuple(STAGES), KINDS


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
    reads = [_weight(table, mapping, w, notes) for w in mapping.weights]
    _empty_batches(log, batch, mapping, reads, state)
    time, clocked = _times(table, mapping, log, texts, notes)
    stage = _codes(log, mapping, "stage", texts, lookup(mapping.stages, words()["stage"]), _STAGES)
    kind = _codes(log, mapping, "kind", texts, lookup(mapping.kinds, words()["kind"]), _KINDS)
    there = [
        _check_weight(log, mapping, w, read, stage, kind)
        for w, read in zip(mapping.weights, reads, strict=True)
    ]
    log.add(
        "no weight",
        ~np.logical_or.reduce([~read.empty for read in reads]),
        mapping.weights[0].column,
        "the row holds no weight",
        "write the weight, or take the row out",
    )
    carried = _carried(table, mapping, log)
    good = ~log.aside
    tidy = _tidy(
        table,
        mapping,
        batch,
        time,
        clocked,
        texts,
        stage,
        kind,
        [(read.values, has & good) for read, has in zip(reads, there, strict=True)],
        carried,
    )
    faults = log.frame()
    return Part(
        tidy,
        faults,
        _set_aside(table, log, faults),
        table.row.size + len(table.torn),
        int(good.sum()),
        int(log.aside.sum()) + len(table.torn),
        table.blank,
        table,
        frozenset(batch.filter(pa.array(log.lost)).unique().to_pylist()) - {""},
        tuple(notes),
    )


def _need_columns(table: Table, mapping: Mapping) -> None:
    missing = [column for column in mapping.used if column not in table.names]
    if missing:
        raise Faulty(
            f"{table.file or 'The table'} does not fit the mapping",
            [
                Fault(
                    f"there is no column {column[:60]!r}",
                    column[:60],
                    file=table.file,
                    sheet=table.sheet,
                    row=table.header_row,
                    remedy=f"nearest: {', '.join(nearest(column[:60], table.names))}; correct the mapping, or name the sheets to read",
                )
                for column in missing
            ],
        )


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
    log.add(
        "header again",
        again,
        mapping.weights[0].column,
        "the row repeats the headers",
        "nothing to do; it is left out",
        out=True,
    )
    for column, text in texts.items():
        log.add(
            "total row",
            _marked(text, _is_total),
            column,
            "the row is a total, not a weighing",
            "nothing to do; it is left out",
            out=True,
        )
    empty = values.empty_cells(batch)
    if empty.any():
        at = pa.array(np.flatnonzero(empty))
        for column in (
            name
            for name in table.names
            if name not in mapping.used and values.is_text(table.column(name))
        ):
            mask = np.zeros(table.row.size, dtype=bool)
            mask[empty] = _marked(table.column(column).take(at), _is_total)
            log.add(
                "total row",
                mask,
                column,
                "the row is a total, not a weighing",
                "nothing to do; it is left out",
                out=True,
            )
    filled = {column for role, column in mapping.columns if role in mapping.fill_down}
    for cells, kind, why, remedy in (
        (
            ((row, c, f"{why}") for row, c, why in table.covered),
            "merged cells",
            "the cell is hidden under a merged area",
            "unmerge and fill each cell, or name its role in fill_down",
        ),
        (
            ((row, c, "") for row, c in table.unsaved),
            "formula",
            "the cell holds a formula whose value was never saved",
            "open and save the workbook in a spreadsheet, or type the value in",
        ),
    ):
        by_column: dict[tuple[str, str], list[int]] = {}
        for row, column, area in cells:
            if column in mapping.used and not (kind == "merged cells" and column in filled):
                by_column.setdefault((column, area), []).append(row)
        for (column, area), rows in by_column.items():
            log.add(
                kind,
                np.isin(table.row, rows),
                column,
                why,
                remedy,
                values=np.full(table.row.size, area, dtype=object),
                out=True,
            )


def _numpy(text: pa.Array) -> np.ndarray:
    return text.to_numpy(zero_copy_only=False)


def _marked(text: pa.Array, says) -> np.ndarray:
    coded = text.dictionary_encode()
    each = np.array([says(word) for word in coded.dictionary.to_pylist()], dtype=bool)
    return (
        each[coded.indices.to_numpy(zero_copy_only=False)]
        if each.size
        else np.zeros(len(text), dtype=bool)
    )


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
    log.add(
        "total row",
        is_sum,
        mapping.weights[0].column,
        "the row has no batch, and its weight is the sum of the rows above: a total",
        "nothing to do; it is left out",
        out=True,
    )
    log.add(
        "no batch",
        empty,
        column,
        "the row does not say its batch",
        'write the batch in each row; if it is written once for several rows, say fill_down = ["batch"]',
    )
    long = pc.greater(pc.utf8_length(batch), _MAX_NAME).to_numpy(zero_copy_only=False)
    log.add(
        "no batch",
        long,
        column,
        f"the name of the batch is longer than {_MAX_NAME} characters",
        "look for a quotation mark that is never closed",
    )


def _times(table: Table, mapping: Mapping, log: Log, texts, notes) -> tuple[np.ndarray, np.ndarray]:
    """Time of each row (NaT where none is written), and whether it has a clock of its own beside the date."""
    time, clocked = np.full(table.row.size, values.NO_TIME), np.zeros(table.row.size, dtype=bool)
    column = mapping.column("date")
    if column:
        read = values.stamps(table.column(column), mapping.dates)
        time = read.values
        notes += [f"{column}: {note}" for note in read.notes]
        log.add(
            "date",
            read.unread,
            column,
            f"this is no date that can be read (order: {mapping.dates})",
            "write it as 2026-03-31, or correct dates in the mapping",
        )
        log.add(
            "no date",
            read.empty,
            column,
            "the row has no date; it is used without a time",
            "write the date",
            keeps=True,
        )
        years = time.astype("datetime64[Y]").astype(float) + 1970
        first, last = value("records_first_year"), value("records_last_year")
        log.add(
            "date",
            ~np.isnat(time) & ((years < first) | (years > last)),
            column,
            f"the date lies outside {first:g} to {last:g}",
            "correct the date",
        )
    column = mapping.column("clock")
    if column:
        read = values.clock_times(table.column(column))
        log.add(
            "time of day",
            read.unread,
            column,
            "this is no time of day",
            "write it as 22:10, or 10:10 PM",
        )
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
    coded = text.dictionary_encode()
    said, index = coded.dictionary.to_pylist(), coded.indices.to_numpy(zero_copy_only=False)
    means = [known.get(plain(word), "") if word else None for word in said]
    each = np.array(
        [among.index(m) if m in among else -2 if m == LEFT_OUT else -1 for m in means] or [-1]
    )
    codes = each[index] if said else np.full(log.table.row.size, -1)
    log.add(
        "left out",
        codes == -2,
        column,
        f"the mapping leaves this {role} out",
        "nothing to do; change the mapping to read it",
        out=True,
    )
    if (codes == -1).any():
        blank = (
            np.array([word == "" for word in said] or [True])[index]
            if said
            else np.ones(codes.size, dtype=bool)
        )
        log.add(
            role,
            blank,
            column,
            f"the row does not say its {role}",
            f"write one of: {', '.join(among)}",
        )
        log.add(
            role,
            (codes == -1) & ~blank,
            column,
            f"this {role} is not known",
            f"add the word to [{role}s] in the mapping; the {role}s are {', '.join(among)}",
        )
    return codes


# --- weights ---


def _weight(table: Table, mapping: Mapping, w: Weight, notes: list[str]) -> values.Read:
    unit_cells = table.column(mapping.column("unit")) if mapping.column("unit") else None
    read = values.kilograms(table.column(w.column), w.unit, mapping.decimal, unit_cells)
    notes += [f"{w.column}: {note}" for note in read.notes]
    return read


def _check_weight(
    log: Log, mapping: Mapping, w: Weight, read: values.Read, stage, kind
) -> np.ndarray:
    """Where this weight stands and may be used; `read.values` becomes net in place where there is a tare."""
    kg, there = read.values, ~read.empty
    no_unit = read.no_unit if read.no_unit is not None else np.zeros(kg.size, dtype=bool)
    log.add(
        "unit",
        no_unit,
        w.column,
        "the weight has no unit, or one that is no mass",
        "write kg, lb, g or another mass, in the unit column or in the mapping",
    )
    log.add(
        "weight",
        read.unread & ~no_unit,
        w.column,
        "this is no weight that can be read",
        "write a plain number"
        + (" with a decimal comma" if mapping.decimal == "," else "")
        + ", with its unit if it is another; leave a missing weight empty",
    )
    if w.tare:
        _net(log, mapping, w, kg, there)
    kinds = kind if not w.kind else np.full(kg.size, KINDS.index(w.kind))
    stages = stage if not w.stage else np.full(kg.size, _STAGES.index(w.stage))
    log.add(
        "negative",
        kg < 0,
        w.column,
        "nothing weighs less than 0 kg",
        "check the tare and the sign; what leaves has a kind of its own",
    )
    log.add(
        "zero in",
        (kg == 0) & (kinds == 0),
        w.column,
        "0 kg came in",
        "leave a stage that was not weighed empty",
    )
    log.add(
        "weight",
        kg > value("records_heaviest_kg"),
        w.column,
        "no weighing is this heavy",
        "look for two numbers run together",
    )
    log.add(
        "giveaway",
        there & (kinds == KINDS.index("giveaway")) & (stages != _STAGES.index("pack")),
        w.column,
        "giveaway is written outside pack",
        "giveaway is what packs weigh above their labels; write it at pack",
    )
    return there


def _net(log: Log, mapping: Mapping, w: Weight, kg: np.ndarray, there: np.ndarray) -> None:
    table, unit_cells = (
        log.table,
        log.table.column(mapping.column("unit")) if mapping.column("unit") else None,
    )
    tare = values.kilograms(table.column(w.tare), w.unit, mapping.decimal, unit_cells)
    log.add(
        "tare",
        tare.unread & there,
        w.tare,
        "this is no tare that can be read",
        "write a plain number in the unit of the weight",
    )
    log.add(
        "tare",
        tare.empty & there,
        w.tare,
        "the weight is gross but has no tare",
        "write the tare, 0 if there was none",
    )
    log.add(
        "tare",
        there & (tare.values > kg),
        w.tare,
        "the tare is more than the gross weight",
        "look for gross and tare swapped",
    )
    if w.net:
        net = values.kilograms(table.column(w.net), w.unit, mapping.decimal, unit_cells)
        log.add(
            "tare",
            net.unread & there,
            w.net,
            "this is no net weight that can be read",
            "write a plain number, or leave it empty",
        )
        log.add(
            "tare",
            np.abs(net.values - (kg - tare.values)) > value("records_net_match_pct") / 100 * kg,
            w.net,
            "the net weight is not gross less tare",
            "weigh again, or correct the one that is wrong",
        )
    kg -= np.where(tare.values > kg, np.nan, tare.values)


def _carried(table: Table, mapping: Mapping, log: Log) -> dict[str, pa.Array]:
    carried = {}
    for column, kind in mapping.carry:
        if kind == "number":
            read = values.numbers(table.column(column), mapping.decimal)
            log.add(
                "carried",
                read.unread,
                column,
                "this is no number; the row is used without it",
                "write a plain number, or carry the column as text",
                keeps=True,
            )
            carried[column] = pa.array(read.values)
        else:
            carried[column] = values.as_text(table.column(column))
    return carried


# --- the tidy table ---


def _tidy(table, mapping, batch, time, clocked, texts, stage, kind, weights, carried) -> pa.Table:
    n = table.row.size
    blank = pa.array([""], pa.string()).take(pa.array(np.zeros(n, dtype="int64")))
    attributes = {
        role: found if (found := _text_of(role, mapping, texts)) is not None else blank
        for role in ("name", *ATTRIBUTES)
    }
    time = pa.array(time, pa.timestamp("s"))
    parts = []
    for w, (kg, use) in zip(mapping.weights, weights, strict=True):
        keep = pa.array(use)
        count = int(use.sum())

        def same(word, among=None):
            return pa.DictionaryArray.from_arrays(
                pa.array(np.zeros(count, dtype="int32")), pa.array([word], pa.string())
            )

        def named(codes, fixed, among):
            return (
                same(fixed)
                if fixed
                else pa.DictionaryArray.from_arrays(
                    pa.array(codes[use].astype("int32")), pa.array(among, pa.string())
                )
            )

        parts.append(
            pa.table(
                {
                    "batch": batch.filter(keep),
                    "time": time.filter(keep),
                    "stage": named(stage, w.stage, _STAGES),
                    "kind": named(kind, w.kind, _KINDS),
                    "name": same(w.name)
                    if w.name
                    else attributes["name"].filter(keep).dictionary_encode(),
                    "kg": pa.array(kg[use]),
                    **{
                        role: attributes[role].filter(keep).dictionary_encode()
                        for role in ATTRIBUTES
                    },
                    **{f"carry: {column}": cells.filter(keep) for column, cells in carried.items()},
                    "file": same(table.file),
                    "sheet": same(table.sheet),
                    "row": pa.array(table.row[use].astype("int64")),
                    "column": same(w.column),
                    "clocked": pa.array(clocked[use]),
                    "fixed": pa.array(np.full(count, bool(w.stage and w.kind))),
                }
            )
        )
    whole = pa.concat_tables(parts).unify_dictionaries().combine_chunks()
    if len(parts) > 1:
        whole = whole.take(pa.array(np.argsort(whole["row"].to_numpy(), kind="stable")))
    return whole


def _set_aside(table: Table, log: Log, faults: pd.DataFrame) -> pd.DataFrame:
    """The rows set aside, whole, with every reason: what the file of set-aside rows holds."""
    stops = faults[faults["sets_aside"]]
    if not len(stops):
        return pd.DataFrame()
    head = stops[["row", "why", "remedy"]].drop_duplicates()
    if head["row"].duplicated().any():
        head = head.groupby("row", as_index=False, sort=False).agg(
            {"why": "; ".join, "remedy": lambda said: "; ".join(dict.fromkeys(said))}
        )
    head = head.rename(columns=lambda name: f"{ASIDE}{name}")
    keep = pa.array(log.aside)
    own = pd.DataFrame(
        {
            f"{ASIDE}row": table.row[log.aside],
            **{
                name: _numpy(values.as_text(column.filter(keep)))
                for name, column in zip(table.names, table.columns, strict=True)
            },
        }
    )
    if table.torn:
        torn = pd.DataFrame(
            {
                f"{ASIDE}row": [n for n, _ in table.torn],
                f"{ASIDE}as written": [text.rstrip("\r\n") for _, text in table.torn],
            }
        )
        own = pd.concat([own, torn], ignore_index=True)
    whole = head.merge(own, on=f"{ASIDE}row", how="left")
    whole.insert(0, f"{ASIDE}sheet", table.sheet)
    whole.insert(0, f"{ASIDE}file", table.file)
    return whole.sort_values(f"{ASIDE}row", kind="stable", ignore_index=True)

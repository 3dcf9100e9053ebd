"""All that was found in a person's records, out again: a folder of CSV files, one workbook of the same tables, the mapping and the page of findings."""

import io
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import ipywidgets as W
import numpy as np
import pandas as pd

from kit.batches import BatchTable
from kit.errors import KitError
from kit.files import RISKY, file_stem, put_folder
from kit.lab.pages.findings import findings_html
from kit.reading.plant import SIDES, Analysed
from kit.reading.records.faults import ASIDE, csv_bytes
from kit.units import METRIC

WORKBOOK, PAGE, MAPPING = "losses.xlsx", "findings.html", "mapping.toml"
MOST_ROWS = 100_000
"""of a table in the workbook; a longer one stands in its CSV file alone, and its tab says so"""
MOST_SIGNS = 32_767
"""in a cell of a workbook, by its format"""
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def export(answer: Analysed, folder, *, system: str = METRIC, overwrite: bool = False) -> Path:
    """Write everything into a folder of its own, whole or not at all.

    answer: records read and analysed
    folder: where; it may not be there yet, or with `overwrite` hold only what an earlier export wrote
    system: units of the page; the tables are in kg
    overwrite: whether an earlier export may be replaced
    Returns the folder: each table as CSV and as a tab of losses.xlsx, mapping.toml and findings.html.
    Raises KitError where the folder is in use or cannot be written.
    Source: the person's own records.
    """
    return put_folder(folder, export_files(answer, system), overwrite)


def export_files(answer: Analysed, system: str = METRIC) -> dict[str, bytes | str]:
    """{name: content} of the files that `export` writes; their names are always the same."""
    frames = export_tables(answer)
    page = findings_html(answer.analysis, notes=answer.notes, system=system)
    return {
        **{f"{name}.csv": csv_bytes(frame) for name, frame in frames.items()},
        MAPPING: str(answer.records.mapping),
        PAGE: page,
        WORKBOOK: _workbook(frames),
    }


def export_button(current: Callable[[], Analysed], folder="my_losses") -> W.Widget:
    """A button that exports what `current` gives into a folder beside the notebook, named as the file of the records, in place of an earlier export of it; what came of it is said beside it."""
    button, said = W.Button(description="Save all tables (CSV, XLSX)"), W.Label()
    button.layout.width = "auto"

    def save(_):
        try:
            answer = current()
            name = file_stem(Path(str(answer.records.weighings["file"][0])).stem)
            put = export(answer, Path(folder) / name, overwrite=True)
            said.value = f"Saved: {len(list(put.iterdir()))} files in the folder {put.as_posix()}, beside this notebook."
        except KitError as error:
            said.value = f"Not saved: {error}"

    button.on_click(save)
    return W.HBox([button, said])


def export_tables(answer: Analysed) -> dict[str, pd.DataFrame]:
    """The tables by name. Every row of the file is in `weighings` or in `set_aside`; weights in kg, losses in % of all that went into the stage."""
    records = answer.records
    aside, odd = records.set_aside, ("kind", "batch", "stage", "what", "remedy", "rows")
    return {
        "findings": _rounded(_findings(answer)),
        "losses": _rounded(_losses(answer.analysis.findings.cleaned)),
        "stages": _rounded(_stages(answer)),
        "weighings": _weighings(answer),
        "set_aside": aside if len(aside) else pd.DataFrame(columns=(f"{ASIDE}row",)),
        "faults": records.fault_table,
        "suspect_values": _texts(
            ([getattr(one, part) for part in odd] for one in records.findings), odd
        ),
        "mapping": _texts(records.mapping.lines(), ("column", "read as", "reason")),
        "notes": _texts(
            ((line,) for line in (*str(records.report).splitlines(), *answer.notes)), ("note",)
        ),
    }


def _rounded(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.round(dict.fromkeys(frame.select_dtypes("number"), 6))


def _texts(lines: Iterable[Iterable], columns: tuple[str, ...]) -> pd.DataFrame:
    rows = [
        [cell if isinstance(cell, str) else ", ".join(map(str, cell)) for cell in line]
        for line in lines
    ]
    return pd.DataFrame(rows, columns=columns)


def _findings(answer: Analysed) -> pd.DataFrame:
    table, lines = answer.table, []
    for n, f in enumerate(answer.analysis.findings.findings, 1):
        low, high = sorted(f.kg_interval or (np.nan, np.nan))
        lines.append(
            {
                "number": n,
                "finding": f.sentence,
                "cause": f.cause,
                "stage": f.stage,
                "from batch": "" if f.start is None else table.batches[f.start],
                "batches touched": len(f.touched_batches),
                "kg": f.kg,
                "kg, 90 % from": low,
                "kg, 90 % to": high,
                "your currency": np.nan if f.money is None else f.money,
                "chance from random variation": f.chance,
                "fault of the records": "yes" if f.is_record_fault else "no",
                "evidence": f.evidence,
                "uncertainty": f.uncertainty,
                "next measurement": f.next_measurement,
            }
        )
    return pd.DataFrame(lines or [{"number": 0, "finding": answer.analysis.findings.verdict}])


def _losses(table: BatchTable) -> pd.DataFrame:
    """A row for each batch, as analysed: figures that slipped a unit are blank."""
    columns: dict[str, object] = {"batch": table.batches}
    if table.dates is not None:
        columns["date"] = table.dates
    columns |= {**table.labels, **table.facts}
    for j, stage in enumerate(table.stages):
        columns[f"{stage}: all in (kg)"] = table.all_in_kg[:, j]
        columns[f"{stage}: lost (kg)"] = table.lost_kg[:, j]
        columns[f"{stage}: loss (%)"] = table.loss_pct[:, j]
    for name, kg in zip(table.handovers(), table.missing_kg.T):
        columns[f"{name}: missing (kg)"] = kg
    return pd.DataFrame(columns | {"overall yield (%)": table.overall_yield_pct})


def _stages(answer: Analysed) -> pd.DataFrame:
    """Every stage and transfer: kilograms, share and cost."""
    found = answer.analysis.pareto
    lines = [
        (b.name, b.kg, *b.kg_interval, b.pct_of_all, b.price_per_kg, b.money) for b in found.bars
    ]
    share = f"share by {found.by} (%)"
    names = ("stage", "lost (kg)", "90 % from", "90 % to", share, "price per kg", "your currency")
    return pd.DataFrame(lines, columns=names)


def _weighings(answer: Analysed) -> pd.DataFrame:
    """Every weighing that was read, with its place in the file; `analysed` says which were not, and why."""
    tidy, table, why = answer.records.tidy, answer.table, answer.records.left_out
    cleaned = answer.analysis.findings.cleaned
    batch, stage, kind = (tidy[name] for name in ("batch", "stage", "kind"))
    said = pd.Series("yes", tidy.index)
    said[~batch.isin(table.batches)] = "no: of another product or period"
    said[~stage.isin(table.stages)] = "no: the stage is weighed on one side only"
    for side in ("in", "out"):
        before, after = (getattr(one, SIDES[side]) for one in (table, cleaned))
        gone = np.isfinite(before) & np.isnan(after)
        for j in np.flatnonzero(gone.any(axis=0)):
            here = (stage == table.stages[j]) & (kind == side)
            far = np.array(table.batches)[gone[:, j]]
            said[here & batch.isin(far)] = "no: far off, see the findings"
    left = batch.isin(list(why))
    said[left] = "no: " + batch[left].astype(str).map(why)
    return tidy.assign(analysed=said)


def _workbook(frames: Mapping[str, pd.DataFrame]) -> bytes:
    """A tab for each table. Text is text, whatever it begins with."""
    from openpyxl import Workbook  # loads what writes workbooks
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    book, bold = Workbook(write_only=True), Font(bold=True)
    for name, frame in frames.items():
        tab = book.create_sheet(name)
        tab.freeze_panes = "A2"
        if len(frame) > MOST_ROWS:
            long = f"{len(frame):,} rows, too many for this workbook: see {name}.csv"
            frame = pd.DataFrame({"note": [long]})

        def cell(value, font=None, tab=tab):
            held = WriteOnlyCell(tab)
            if isinstance(value, str):
                text = _NOT_XML.sub("\ufffd", value)
                cut = f"{text[: MOST_SIGNS - 20]} ... (see the CSV)"
                held._value, held.data_type = text if len(text) <= MOST_SIGNS else cut, "s"
                held.quotePrefix = value.startswith((*RISKY, "'"))
            elif isinstance(value, pd.Timestamp):
                held.value = value.to_pydatetime()
            elif value is not None and np.isfinite(value):
                held.value = value
            if font:
                held.font = font
            return held

        tab.append([cell(str(title), bold) for title in frame.columns])
        for row in frame.astype(object).where(frame.notna(), None).itertuples(index=False):
            tab.append(list(map(cell, row)))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()

"""A table of any engine is taken by the same function as a file, with the same mapping and the same faults: pandas, Arrow, and whatever speaks the Arrow interface."""

import decimal
import json
import re
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from kit.reading.plant import analysis_of, arranged
from kit.reading.records import draft_mapping, read_records

ENGLISH = ("Batch", "Date", "Stage", "Kind", "Weight (kg)")
GERMAN = ("Charge", "Datum", "Stufe", "Art", "Gewicht (kg)")


def long_table(batches=40, changed=None) -> pd.DataFrame:
    """A row for each weighing of stuff and cook; the cook loses more from batch `changed` on. One weight is below 0."""
    rng, rows = np.random.default_rng(12), []
    for k in range(batches):
        kg = round(400 + 5 * rng.random(), 2)
        day = np.datetime64("2026-01-05") + k // 2
        for stage, loss, sd in (
            ("stuff", 1.0, 0.1),
            ("cook", 9.0 + (changed is not None and k >= changed), 0.3),
        ):
            out = round(kg * (1 - (loss + rng.normal(0, sd)) / 100), 2)
            rows += [(f"B{k:03d}", day, stage, "in", kg), (f"B{k:03d}", day, stage, "out", out)]
            kg = out
    frame = pd.DataFrame(rows, columns=ENGLISH)
    frame.loc[5, ENGLISH[4]] = -1.0
    return frame


class Capsule:
    """A frame of another engine: nothing but the Arrow interface, in views of strings, decimals, codes and days."""

    def __init__(self, frame: pd.DataFrame, chunk: int = 33):
        batch, day, stage, kind, kg = (frame[name].tolist() for name in frame)
        weights = [decimal.Decimal(f"{x:.2f}") for x in kg]
        columns = [
            pa.array(batch, pa.string_view()),
            pa.array([d.date() for d in day], pa.date32()),
            pa.array(stage).dictionary_encode(),
            pa.array(kind, pa.large_string()),
            pa.array(weights, pa.decimal128(38, 2)),
        ]
        whole = pa.table(dict(zip(frame.columns, columns)))
        self._stream = pa.Table.from_batches(whole.to_batches(max_chunksize=chunk))

    def __arrow_c_stream__(self, requested_schema=None):
        return self._stream.__arrow_c_stream__(requested_schema)


@pytest.mark.parametrize("headers", [ENGLISH, GERMAN])
def test_every_engine_is_read_as_the_file_of_the_same_rows(tmp_path, headers):
    frame = long_table().set_axis(list(headers), axis=1)
    file = tmp_path / "plant.csv"
    frame.to_csv(file, index=False)
    pq.write_table(pa.Table.from_pandas(frame), tmp_path / "plant.parquet")
    mapping = draft_mapping(file)
    want = read_records(file, mapping)
    assert want.report.by_reason == (("negative", 1),)
    for given in (frame, pa.Table.from_pandas(frame), Capsule(frame), tmp_path / "plant.parquet"):
        for how in (mapping, None):
            found = read_records(given, how)
            assert found.report == want.report
            assert [(f.row, f.column, f.field) for f in found.faults] == [
                (f.row, f.column, f.field) for f in want.faults
            ]
            table, other = arranged(found)[0], arranged(want)[0]
            assert table.batches == other.batches and (table.dates == other.dates).all()
            np.testing.assert_allclose(table.loss_pct, other.loss_pct, rtol=1e-12)


def test_several_results_are_one_table():
    frame = long_table()
    parts = [Capsule(frame[:80]), frame[80:]]
    assert read_records(parts).report.weighings == read_records(frame).report.weighings


def test_records_that_outgrow_one_machine_are_summed_where_they_are(tmp_path, monkeypatch):
    """The example of lesson 09 as it stands there: many Parquet files of single links, summed by DuckDB under a limit of memory, analysed as sums."""
    book = Path(__file__).parents[1] / "notebooks" / "09_across_batches.ipynb"
    cells = ("".join(cell["source"]) for cell in json.loads(book.read_text("utf-8"))["cells"])
    (code,) = (
        hit[1]
        for cell in cells
        for hit in re.finditer(r"```python\n(import duckdb.*?)```", cell, re.S)
    )
    frame = long_table(changed=20)
    frame = frame[frame[ENGLISH[4]] > 0]
    (tmp_path / "weighings").mkdir()
    links = 500
    for month, part in frame.groupby(np.arange(len(frame)) // 20):
        many = part.loc[part.index.repeat(links)]
        many[ENGLISH[4]] /= links
        whole = pa.Table.from_pandas(many, preserve_index=False)
        pq.write_table(whole, tmp_path / "weighings" / f"{month}.parquet")
    monkeypatch.chdir(tmp_path)
    duckdb.execute("SET memory_limit = '60MB'; SET threads = 1")
    known = {"analysis_of": analysis_of}
    exec(code, known)
    found, want = known["answer"], analysis_of(frame)
    assert found.records.report.weighings == len(frame) == want.records.report.weighings
    np.testing.assert_allclose(found.table.loss_pct, want.table.loss_pct, rtol=1e-9)
    assert found.analysis.findings.findings[0].start == want.analysis.findings.findings[0].start
    assert abs(found.analysis.findings.findings[0].start - 20) <= 2

"""What was found goes out again: whole or not at all, with nothing lost on the way and nothing that a spreadsheet would run."""

import csv
import io
import os

import openpyxl
import pandas as pd
import pytest

from kit.errors import KitError
from kit.files import RISKY, put_folder
from kit.lab.pages.export import (
    MAPPING,
    PAGE,
    WORKBOOK,
    export,
    export_button,
    export_files,
    export_tables,
)
from kit.reading.plant import analysed, demo_analysis
from kit.reading.records import read_mapping, read_records

HEAD = "Batch,Date,Supplier,Cook in (kg),Cook out (kg),Chill in (kg)"
ROWS = [
    f"B{n},2026-03-{n:02d},=1+1,{500 + n % 7},{455 + n % 5},{454 + n % 5}" for n in range(1, 29)
]
ODD = (
    "B40,2026-04-01,@cmd,5oo,455,454",
    "B41,2026-02-31,Farm,500,455,454",
    "B42,2026-04-02,+Farm,500,455",
    "Total,,,14000,12000,12000",
    "B5,2026-03-05,=1+1,505,455,454",
    "B43,2026-04-03,Farm,1102.3,455,454",
    "B44,2026-04-04,-Farm,500,,454",
    "B45,2026-04-05,a\x07bell,501,456,455",
)
"""no number, no date, torn, a total, written twice, in pounds, a gap, a character that no workbook may hold"""


@pytest.fixture(scope="module")
def messy():
    text = "\n".join((HEAD, *ROWS, *ODD, ""))
    return analysed(read_records(text.encode(), name="=messy.csv"))


def test_every_row_of_the_file_is_a_weighing_or_set_aside(messy):
    found = export_tables(messy)
    used = set(found["weighings"]["row"])
    aside = set(found["set_aside"]["set aside: row"])
    assert used | aside == set(range(2, 2 + len(ROWS) + len(ODD))) and not used & aside
    assert len(aside) == 4 and messy.records.report.rows_set_aside == 4
    kg = found["weighings"]["kg"].sum()
    written = [line.split(",") for n, line in enumerate((*ROWS, *ODD), 2) if n in used]
    assert kg == pytest.approx(sum(float(c) for cells in written for c in cells[3:] if c))


def test_a_weighing_that_was_not_analysed_says_why(messy):
    said = export_tables(messy)["weighings"].set_index("batch")["analysed"]
    assert set(said["B1"]) == {"yes", "no: the stage is weighed on one side only"}
    assert all(one.startswith("no: ") for one in said["B5"])
    assert "no: far off, see the findings" in set(said["B43"])
    assert len(export_tables(messy)["losses"]) == messy.table.n


def test_the_workbook_holds_the_same_tables_and_text_stays_text(messy):
    files, frames = export_files(messy), export_tables(messy)
    book = openpyxl.load_workbook(io.BytesIO(files[WORKBOOK]))
    assert book.sheetnames == list(frames)
    for name, frame in frames.items():
        rows = list(csv.reader(io.StringIO(files[f"{name}.csv"].decode())))
        assert len(rows) == book[name].max_row == len(frame) + 1, name
        assert not [c for row in rows for c in row if c.startswith(RISKY) and not _is_number(c)]
        assert "f" not in {c.data_type for row in book[name] for c in row}, name
    suppliers = [cell.value for cell in book["weighings"]["J"]]
    texts = {c.value: c.quotePrefix for row in book["weighings"] for c in row}
    assert texts["=1+1"] and not texts["cook"] and suppliers
    assert "a\x07bell" in files["weighings.csv"].decode() and "a\ufffdbell" in texts


def _is_number(cell: str) -> bool:
    return cell.replace("-", "", 1).replace(".", "", 1).replace("e-", "", 1).isdigit()


def test_exported_weighings_are_read_again_as_they_were(tmp_path):
    answer = demo_analysis()
    put = export(answer, tmp_path / "deep" / "out")
    again = read_records(put / "weighings.csv")
    assert again.report.weighings == answer.records.report.weighings
    pd.testing.assert_series_equal(again.tidy["kg"], answer.records.tidy["kg"])
    assert "caution" in (put / PAGE).read_text(encoding="utf-8")
    assert read_mapping(put / MAPPING) == answer.records.mapping


def test_the_folder_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    target = put_folder(tmp_path / "a", {"x.csv": "1", "y.csv": b"2"})
    with pytest.raises(KitError, match="a exists and is left as it is"):
        put_folder(target, {"x.csv": "3", "y.csv": "4"})
    with pytest.raises(KitError, match=r"a holds other files \(y.csv\)"):
        put_folder(target, {"x.csv": "3"}, overwrite=True)
    full = OSError(28, "No space left on device")
    calls = []

    def last_one_fails(*_):
        calls.append(1)
        if len(calls) == 2:
            raise full

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", last_one_fails)
        with pytest.raises(KitError, match="No space left"):
            put_folder(target, {"x.csv": "3", "y.csv": "4"}, overwrite=True)
    assert os.listdir(tmp_path) == ["a"] and (target / "x.csv").read_text() == "1"
    put_folder(target, {"x.csv": "3", "y.csv": "4", "z.csv": ""}, overwrite=True)
    assert sorted(os.listdir(target)) == ["x.csv", "y.csv", "z.csv"]
    assert os.listdir(tmp_path) == ["a"] and (target / "x.csv").read_text() == "3"
    with pytest.raises(KitError, match="exists"):
        put_folder(target / "x.csv", {"x.csv": "3"}, overwrite=True)
    with pytest.raises(KitError, match="could not be written"):
        put_folder(target / "x.csv" / "deep", {"x.csv": "3"})


def test_the_button_says_what_it_saved_and_what_it_could_not(tmp_path):
    held = export_button(demo_analysis, tmp_path)
    button, said = held.children
    for _ in range(2):
        button.click()
        assert said.value.startswith("Saved: 12 files") and "demo_records" in said.value
    (tmp_path / "demo_records" / "my notes.txt").write_text("mine")
    button.click()
    assert said.value.startswith("Not saved: demo_records holds other files (my notes.txt)")
    assert (tmp_path / "demo_records" / "my notes.txt").read_text() == "mine"

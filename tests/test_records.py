"""What people's batch records say: shapes, files, units, dates, and the mapping that tells the columns apart. All data invented."""

import io
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from kit.errors import Faulty, KitError
from kit.reading.records import (
    Mapping,
    WeightColumn,
    draft_mapping,
    read_mapping,
    read_records,
    write_mapping,
    write_set_aside,
)
from kit.reading.words import UNKNOWN, read_header, words
from kit.stages import STAGES
from kit.yields import WeightEntry, mass_balance
from kit.yields.ledger import KINDS, SIGN
from kit.yields.ledger import KINDS as BOOK_KINDS
from kit.yields.ledger import SIGN as BOOK_SIGN

LONG = """Batch No.,Date,Step,In/Out,Item,Weight (kg),Crew
B1,2026-03-01,chop,in,,100,Ann
B1,2026-03-01,chop,added,ice,28.5,Ann
B1,2026-03-01,chop,out,,128,Ann
B1,2026-03-01,cook,in,,127.5,Ann
B1,2026-03-01,cook,out,,114.75,Ann
B2,2026-03-02,chop,in,,101,Bo
B2,2026-03-02,chop,added,ice,28,Bo
B2,2026-03-02,chop,out,,128.5,Bo
B2,2026-03-02,cook,in,,128,Bo
B2,2026-03-02,cook,out,,115,Bo
"""
WIDE = """Batch,Date,Chop in (kg),Chop ice (kg),Chop out (kg),Cook in (kg),Cook out (kg),Operator
B1,2026-03-01,100,28.5,128,127.5,114.75,Ann
B2,2026-03-02,101,28,128.5,128,115,Bo
"""
BETWEEN = """Batch,Date,Stage,In (kg),Ice (kg),Out (kg),Operator
B1,2026-03-01,chop,100,28.5,128,Ann
B1,2026-03-01,cook,127.5,,114.75,Ann
B2,2026-03-02,chop,101,28,128.5,Bo
B2,2026-03-02,cook,128,,115,Bo
"""
CORE = ["batch", "time", "stage", "kind", "name", "kg", "operator"]


def core(records, columns=CORE):
    return records.tidy[columns].astype(
        {name: "str" for name in columns if name not in ("time", "kg")}
    )


def book(pages, merged=()):
    made = Workbook()
    made.remove(made.active)
    for title, rows in pages.items():
        page = made.create_sheet(title)
        for row in rows:
            page.append(row)
    for title, area in merged:
        made[title].merge_cells(area)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


# --- shapes ---


def test_long_wide_and_between_give_the_same_tidy_table():
    long, wide, between = (
        read_records(text, name=f"{n}.csv") for n, text in enumerate((LONG, WIDE, BETWEEN))
    )
    pd.testing.assert_frame_equal(core(long), core(wide))
    pd.testing.assert_frame_equal(core(long), core(between))
    assert core(long)["kg"].tolist() == [100, 28.5, 128, 127.5, 114.75, 101, 28, 128.5, 128, 115]
    assert [r.report.rows_read for r in (long, wide, between)] == [10, 2, 4]
    assert all(
        r.report.weighings == 10 and r.report.batches == 2 and not len(r.faults) and not r.findings
        for r in (long, wide, between)
    )


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".parquet"])
def test_round_trip_through_every_file(tmp_path, suffix):
    rng = np.random.default_rng(4)
    rows = [
        (
            f"B{b}",
            f"2026-03-{1 + b:02d}",
            stage,
            kind,
            name,
            round(float(rng.uniform(1, 300)), 3),
            f"L{b % 3}",
            "Ann" if b % 2 else "Bo",
            f"{b % 2 + 1}",
            68 + b / 2,
        )
        for b in range(8)
        for stage, kind, name in (
            ("chop", "in", ""),
            ("chop", "addition", "ice"),
            ("chop", "addition", "dry goods"),
            ("chop", "out", ""),
            ("cook", "in", ""),
            ("cook", "out", ""),
            ("pack", "out", ""),
        )
    ]
    frame = pd.DataFrame(
        rows,
        columns=[
            "Batch",
            "Date",
            "Stage",
            "Kind",
            "Item",
            "Weight (kg)",
            "Lot",
            "Operator",
            "Cooker",
            "End temp C",
        ],
    )
    first = read_records(frame)
    assert first.report.rows_used == len(rows)
    path = tmp_path / f"out{suffix}"
    write = {".csv": frame.to_csv, ".xlsx": frame.to_excel, ".parquet": frame.to_parquet}
    write[suffix](path, index=False)
    again = read_records(path)
    columns = [
        "batch",
        "time",
        "stage",
        "kind",
        "name",
        "kg",
        "lot",
        "operator",
        "smokehouse",
        "End temp C",
    ]
    pd.testing.assert_frame_equal(core(first, columns), core(again, columns))
    assert set(first.tidy["operator"]) == {"Ann", "Bo"}


def test_written_files_never_run_and_never_overwrite(tmp_path):
    records = read_records(LONG.replace("Ann", "=1+1").replace(",28.5,", ",lots,"))
    path = write_set_aside(records, tmp_path / "a.csv")
    assert "'=1+1" in path.read_text() and ",=1+1" not in path.read_text()
    before = path.read_bytes()
    with pytest.raises(KitError, match="exists"):
        write_set_aside(records, path)
    assert path.read_bytes() == before and [p.name for p in tmp_path.iterdir()] == ["a.csv"]


def test_several_files_and_several_sheets_are_read_together(tmp_path):
    head, *rows = LONG.strip().split("\n")
    for n, part in enumerate((rows[:5], rows[5:])):
        (tmp_path / f"{n}.csv").write_text("\n".join([head, *part]) + "\n")
    both = read_records([tmp_path / "0.csv", tmp_path / "1.csv"])
    pd.testing.assert_frame_equal(core(both), core(read_records(LONG)))
    assert set(both.tidy["file"]) == {"0.csv", "1.csv"}
    cells = [line.split(",") for line in rows]
    typed = [[*row[:5], float(row[5]), row[6]] for row in cells]
    two = read_records(
        book(
            {
                "March": [head.split(","), *typed[:5]],
                "April": [head.split(","), *typed[5:]],
                "Notes": [["call the plumber"], ["on Friday"]],
            }
        ),
        name="b.xlsx",
    )
    pd.testing.assert_frame_equal(core(two), core(both))
    assert set(two.tidy["sheet"]) == {"March", "April"}


def test_a_sheet_for_each_stage():
    pages = {
        "Chopper": [["Batch", "In (kg)", "Out (kg)"], ["B1", 100, 128], ["B2", 101, 129]],
        "Smokehouse": [["Batch", "In (kg)", "Out (kg)"], ["B1", 127.5, 114], ["B2", 128, 115]],
    }
    records = read_records(book(pages), name="b.xlsx")
    assert records.mapping.from_sheet == "stage"
    assert core(records, ["batch", "stage", "kind", "kg"]).values.tolist()[:4] == [
        ["B1", "chop", "in", 100],
        ["B1", "chop", "out", 128],
        ["B1", "cook", "in", 127.5],
        ["B1", "cook", "out", 114],
    ]


# --- units, decimals, tare ---


def test_units_by_header_by_column_and_by_cell():
    by_header = read_records(WIDE.replace("Cook in (kg)", "Cook in [lb]"))
    assert by_header.tidy["kg"].iloc[3] == pytest.approx(127.5 * 0.45359237)
    text = "Batch,Stage,Kind,Weight,Unit\nB1,cook,in,100,kg\nB1,cook,out,200 lb,kg\nB2,cook,in,90000,g\nB2,cook,out,3 lb 8 oz,\nB3,cook,in,1.2,t\n"
    records = read_records(text)
    assert records.tidy["kg"].tolist() == pytest.approx(
        [100, 200 * 0.45359237, 90, 3.5 * 0.45359237, 1200]
    )
    assert any("unit of their own" in note for note in records.notes)
    with pytest.raises(Faulty, match="unit is not written") as refused:
        read_records("Batch,Stage,Kind,Weight\nB1,cook,in,100\n")
    assert refused.value.faults[0].field == "weight 'Weight', unit"


def test_decimal_commas_and_grouped_thousands():
    text = "Batch;Stage;Kind;Weight (kg)\nB1;cook;in;1.127,5\nB1;cook;out;998,25\n"
    records = read_records(text)
    assert records.mapping.decimal == "," and records.tidy["kg"].tolist() == [1127.5, 998.25]
    grouped = read_records(
        'Batch,Stage,Kind,Weight (kg)\nB1,cook,in,"1,127.5"\nB1,cook,out,"1,000"\n'
    )
    assert grouped.tidy["kg"].tolist() == [1127.5, 1000]
    with pytest.raises(Faulty, match="commas or points can be decimals or thousands"):
        read_records('Batch,Stage,Kind,Weight (kg)\nB1,cook,in,"1,127"\n')
    book_comma = read_records(
        book(
            {
                "a": [
                    ["Batch", "Stage", "Kind", "Weight (kg)"],
                    ["B1", "cook", "in", 100.5],
                    ["B1", "cook", "out", "90,25"],
                ]
            }
        ),
        name="a.xlsx",
    )
    assert book_comma.tidy["kg"].tolist() == [100.5, 90.25]


def test_tare_and_net():
    text = "Batch,Stage,Kind,Gross (lb),Tare (lb),Net (lb)\nB1,cook,in,150,50,100\nB1,cook,out,141,50,\nB2,cook,in,150,160,\nB2,cook,in,150,,\nB2,cook,out,150,50,90\nB3,cook,in,150,x,\n"
    records = read_records(text)
    assert records.mapping.weights == (
        WeightColumn("Gross (lb)", unit="lb", tare="Tare (lb)", net="Net (lb)"),
    )
    assert records.tidy["kg"].tolist() == pytest.approx([100 * 0.45359237, 91 * 0.45359237])
    assert [(fault.row, fault.column) for fault in records.faults] == [
        (4, "Tare (lb)"),
        (5, "Tare (lb)"),
        (6, "Net (lb)"),
        (7, "Tare (lb)"),
    ]


# --- dates ---


@pytest.mark.parametrize(
    "cells",
    [
        ("2026-03-01", "2026-03-31"),
        ("01.03.2026", "31.03.2026"),
        ("1/3/2026", "31/3/2026"),
        ("3/1/26", "3/31/26"),
        ("1 Mar 2026", "31 March 2026"),
        ("Mar 1, 2026", "March 31, 2026"),
        ("20260301", "20260331"),
        ("46082", "46112"),
        ("2026/3/1", "2026/3/31"),
        ("Sun, 1 Mar 2026", "31-Mar-26"),
    ],
)
def test_dates_in_the_usual_forms(cells):
    text = "Batch;Date;Stage;Kind;Weight (kg)\n" + "".join(
        f"B{n};{cell};cook;in;100\n" for n, cell in enumerate(cells)
    )
    records = read_records(text)
    assert records.tidy["time"].tolist() == [
        pd.Timestamp("2026-03-01"),
        pd.Timestamp("2026-03-31"),
    ], records.mapping


@pytest.mark.parametrize(
    "cell,hour",
    [
        ("2026-03-01 22:10", 22.1667),
        ("2026-03-01T22:10:00", 22.1667),
        ("1/3/2026 10:10 PM", 22.1667),
        ("01.03.2026 22:10:00", 22.1667),
        ("1 Mar 2026 22:10", 22.1667),
        ("46082.5", 12),
        ("2026-03-01T22:10:00Z", 22.1667),
    ],
)
def test_dates_with_a_clock(cell, hour):
    records = read_records(
        f"Batch;Date;Stage;Kind;Weight (kg)\nB1;{cell};cook;in;100\nB2;{cell};cook;in;100\n",
        Mapping(
            (("batch", "Batch"), ("date", "Date"), ("stage", "Stage"), ("kind", "Kind")),
            (WeightColumn("Weight (kg)", unit="kg"),),
            dates="dmy",
        ),
    )
    assert (records.tidy["time"].iloc[0] - pd.Timestamp("2026-03-01")) / pd.Timedelta(
        hours=1
    ) == pytest.approx(hour, abs=1e-3)


def test_day_and_month_are_asked_not_guessed():
    text = (
        "Batch,Date,Stage,Kind,Weight (kg)\nB1,03/04/2026,cook,in,100\nB2,05/04/2026,cook,in,100\n"
    )
    drafted = draft_mapping(text)
    assert drafted.dates == "?" and [q.key for q in drafted.questions] == ["dates"]
    with pytest.raises(Faulty, match="day/month or month/day"):
        read_records(text)
    assert read_records(text, drafted.answered(dates="dmy")).tidy["time"].iloc[0] == pd.Timestamp(
        "2026-04-03"
    )
    assert read_records(text, drafted.answered(dates="mdy")).tidy["time"].iloc[0] == pd.Timestamp(
        "2026-03-04"
    )


def test_workbook_dates_and_clocks():
    rows = [
        ["Batch", "Date", "Time", "Stage", "Kind", "Weight (kg)"],
        ["B1", datetime(2026, 3, 1), datetime(2026, 3, 1, 22, 10).time(), "cook", "in", 100.5],
        ["B1", datetime(2026, 3, 1), datetime(2026, 3, 1, 23, 50).time(), "cook", "out", 90],
    ]
    records = read_records(book({"a": rows}), name="a.xlsx")
    assert records.tidy["time"].tolist() == [
        pd.Timestamp("2026-03-01 22:10"),
        pd.Timestamp("2026-03-01 23:50"),
    ]


def test_a_batch_spanning_midnight_under_the_date_it_began():
    text = "Batch,Date,Time,Stage,Kind,Weight (kg)\n" + "".join(
        f"{batch},2026-03-01,{clock},{stage},{kind},{kg}\n"
        for batch, clocks in (
            ("B1", ("21:00", "22:30", "00:15", "03:20")),
            ("B2", ("08:00", "09:00", "10:00", "11:00")),
        )
        for clock, stage, kind, kg in zip(
            clocks,
            ("chop", "chop", "cook", "cook"),
            ("in", "out", "in", "out"),
            (100, 99.5, 99, 90),
        )
    )
    records = read_records(text)
    assert records.tidy["time"].dt.strftime("%d %H:%M").tolist()[:4] == [
        "01 21:00",
        "01 22:30",
        "02 00:15",
        "02 03:20",
    ]
    assert records.tidy["time"].dt.day.tolist()[4:] == [1] * 4
    assert any("after midnight" in note and "B1" in note for note in records.notes)
    own_date = read_records(
        text.replace("B1,2026-03-01,00:15", "B1,2026-03-02,00:15").replace(
            "B1,2026-03-01,03:20", "B1,2026-03-02,03:20"
        )
    )
    assert own_date.tidy["time"].tolist() == records.tidy["time"].tolist() and not any(
        "midnight" in note for note in own_date.notes
    )


# --- mapping ---


def test_a_mapping_is_drafted_with_reasons_written_edited_and_read_again(tmp_path):
    drafted = draft_mapping(
        LONG.replace(",added,", ",Zugabe 7,").replace(",chop,", ',Kutter "A",').replace('"', "")
    )
    assert {q.key for q in drafted.questions} == {"stages, 'Kutter A'", "kinds, 'Zugabe 7'"}
    assert dict(drafted.reasons)["batch"] == "the header reads 'batch no'"
    path = write_mapping(drafted, tmp_path / "map.toml")
    assert read_mapping(path) == drafted
    with pytest.raises(KitError, match="exists"):
        write_mapping(drafted, path)
    path.write_text(
        path.read_text()
        .replace('"Kutter A" = "?"', '"Kutter A" = "chop"')
        .replace('"Zugabe 7" = "?"', '"Zugabe 7" = "addition"')
    )
    pd.testing.assert_frame_equal(
        core(
            read_records(
                LONG.replace(",added,", ",Zugabe 7,").replace(",chop,", ",Kutter A,"), path
            )
        ),
        core(read_records(LONG)),
    )


def test_every_wrong_entry_of_a_mapping_is_told_at_once():
    with pytest.raises(Faulty) as refused:
        read_mapping(
            'decimal = ";"\ndates = "dym"\nheader_row = 0\ncolour = 1\nfill_down = ["batches"]\n[columns]\nbach = "B"\n[[weight]]\nstage = "cooking"\nunit = "litre"\n[stages]\nx = "smoke"\n'
        )
    places = [fault.field for fault in refused.value.faults]
    assert set(places) == {
        "decimal",
        "dates",
        "header_row",
        "colour",
        "fill_down",
        "columns, bach",
        "weight 1, stage",
        "weight 1, unit",
        "weight 1",
        "stages, x",
    }
    with pytest.raises(Faulty, match="not TOML"):
        read_mapping("a = \n = b\n")
    with pytest.raises(Faulty, match="nearest: Batch No."):
        read_records(
            LONG,
            Mapping(
                (("batch", "Batch No"), ("stage", "Step"), ("kind", "In/Out")),
                (WeightColumn("Weight (kg)", unit="kg"),),
            ),
        )


@pytest.mark.parametrize(
    "header,stage,kind,name,unit",
    [
        ("Cook in (kg)", "cook", "in", "", "kg"),
        ("Smokehouse Out [lb]", "cook", "out", "", "lb"),
        ("chop_ice_kg", "chop", "addition", "ice", "kg"),
        ("Ice", "chop", "addition", "ice", ""),
        ("Packed weight", "pack", "out", "", ""),
        ("stuff rework in (kg)", "stuff", "rework in", "", "kg"),
        ("Weight into oven kg", "cook", "in", "", "kg"),
        ("chop addition dry goods (kg)", "chop", "addition", "dry goods", "kg"),
        ("Trim scrap lbs", "trim", "scrap", "", "lb"),
        ("pack giveaway (g)", "pack", "giveaway", "", "g"),
    ],
)
def test_headers_of_weights(header, stage, kind, name, unit):
    head = read_header(header)
    assert (head.measure, head.stage, head.kind, head.name, head.unit) == (
        "weight",
        stage,
        kind,
        name,
        unit,
    )


@pytest.mark.parametrize(
    "header",
    [
        "Cook end temp (C)",
        "Cook yield %",
        "Cook out time",
        "Chill minutes",
        "pH",
        "Fat %",
        "Remarks",
        "Cook in RH",
    ],
)
def test_what_is_no_weight_is_not_read_as_one(header):
    assert read_header(header).measure == "" and read_header(header).role == ""


def test_the_words_are_those_of_the_books():
    assert KINDS == BOOK_KINDS and SIGN == BOOK_SIGN
    assert set(words()["stage"].values()) == set(STAGES) and set(words()["kind"].values()) == {
        *KINDS,
        UNKNOWN,
    }


def test_what_is_not_known_is_carried_along():
    text = (
        WIDE.replace("Operator", "Supplier")
        .replace("Batch,", "Batch,Cook end temp (C),")
        .replace("B1,", "B1,68.5,")
        .replace("B2,", "B2,n/a,")
    )
    records = read_records(text)
    assert dict(records.mapping.columns)["supplier"] == "Supplier"
    number = read_records(text, records.mapping.answered(carry=(("Cook end temp (C)", "number"),)))
    assert number.summary.per_batch["supplier"].tolist() == ["Ann", "Bo"]
    assert number.summary.per_batch["Cook end temp (C)"].iloc[0] == 68.5 and np.isnan(
        number.summary.per_batch["Cook end temp (C)"].iloc[1]
    )
    assert number.report.rows_used == 2 and [(f.row, f.column) for f in number.faults] == [
        (3, "Cook end temp (C)")
    ]


# --- what comes out ---


def test_the_wide_form_feeds_the_books():
    wide = read_records(LONG).weights()
    assert wide.batches.tolist() == ["B1", "B2"]
    for row, (cook, chop) in enumerate(((12.75, 0.5), (13, 0.5))):
        weights = ((mark, kg[row]) for mark, kg in wide.weights.items())
        found = mass_balance(WeightEntry(*mark, kg) for mark, kg in weights if kg == kg)
        assert found.stage("cook").lost_kg == pytest.approx(cook)
        assert found.stage("chop").lost_kg == pytest.approx(chop)
    assert wide.per_batch["operator"].tolist() == ["Ann", "Bo"]


def test_a_batch_that_lost_a_row_is_left_out_of_the_wide_form_and_named():
    records = read_records(LONG.replace(",28.5,", ",lots,"))
    assert records.incomplete == {"B1"}
    assert records.weights().batches.tolist() == ["B2"]
    assert records.left_out == {"B1": "incomplete"}


def test_missing_stages_are_counted():
    report = read_records(WIDE.replace(",128,115,", ",,115,")).report
    assert (
        "cook",
        "in",
        1,
    ) in report.coverage and "1 of 2 batches have no in weight at cook" in str(report)


def test_records_cite_their_numbers_and_show_what_a_person_wrote():
    records = read_records(LONG + "<b>x</b>,2026-03-02,cook,in,,<script>,Bo\n")
    assert records.sources and "<script>" in str(records)

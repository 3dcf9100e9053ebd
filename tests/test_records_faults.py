"""What is wrong in people's records: each fault in its place, rows whole or set aside, counts that always add up, rubbish refused in words."""

import io
import zipfile

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from test_records import LONG, WIDE, book, core

from kit.errors import Faulty, KitError
from kit.reading.records import (
    Mapping,
    Records,
    WeightColumn,
    draft_mapping,
    read_records,
    write_set_aside,
)

MAPPING = Mapping(
    (
        ("batch", "Batch No."),
        ("date", "Date"),
        ("stage", "Step"),
        ("kind", "In/Out"),
        ("name", "Item"),
        ("operator", "Crew"),
    ),
    (WeightColumn("Weight (kg)", unit="kg"),),
)
HEAD = LONG.split("\n")[0]


def with_row(row):
    return LONG + row + "\n"


@pytest.mark.parametrize(
    "row,kind,column,says,tries",
    [
        (
            "B3,2026-03-03,cook,in,,n/a,Bo",
            "weight",
            "Weight (kg)",
            "no weight that can be read",
            "plain number",
        ),
        (
            "B3,2026-03-03,cook,in,,1.2.3,Bo",
            "weight",
            "Weight (kg)",
            "no weight that can be read",
            "plain number",
        ),
        ("B3,2026-03-03,cook,in,,1e99,Bo", "weight", "Weight (kg)", "this heavy", "run together"),
        (
            "B3,2026-03-03,cook,in,,12 litre,Bo",
            "weight",
            "Weight (kg)",
            "no weight that can be read",
            "plain number",
        ),
        ("B3,2026-03-03,cook,in,,-4,Bo", "negative", "Weight (kg)", "less than 0", "tare"),
        ("B3,2026-03-03,cook,in,,0,Bo", "zero in", "Weight (kg)", "0 kg came in", "empty"),
        ("B3,2026-03-03,cook,in,,,Bo", "no weight", "Weight (kg)", "no weight", "take the row out"),
        ("B3,2026-02-30,cook,in,,100,Bo", "date", "Date", "no date", "2026-03-31"),
        ("B3,someday,cook,in,,100,Bo", "date", "Date", "no date", "2026-03-31"),
        (
            "B3,1026-03-03,cook,in,,100,Bo",
            "date",
            "Date",
            "outside 1970 to 2100",
            "correct the date",
        ),
        ("B3,2026-03-03,polish,in,,100,Bo", "stage", "Step", "stage is not known", "[stages]"),
        ("B3,2026-03-03,,in,,100,Bo", "stage", "Step", "does not say its stage", "one of: receive"),
        ("B3,2026-03-03,cook,sideways,,100,Bo", "kind", "In/Out", "kind is not known", "[kinds]"),
        ("B3,2026-03-03,cook,giveaway,,1,Bo", "giveaway", "Weight (kg)", "outside pack", "at pack"),
        (
            ",2026-03-03,cook,in,,100,Bo",
            "no batch",
            "Batch No.",
            "does not say its batch",
            "fill_down",
        ),
        (
            "B" * 201 + ",2026-03-03,cook,in,,100,Bo",
            "no batch",
            "Batch No.",
            "longer than 200",
            "quotation mark",
        ),
        ("B3,2026-03-03,cook,in,100,Bo", "torn row", "", "another number of cells", "quotes"),
        ("Total,,,,,999.25,", "total row", "Batch No.", "a total", "left out"),
        (
            "Batch No.,Date,Step,In/Out,Item,Weight (kg),Crew",
            "header again",
            "Weight (kg)",
            "repeats the headers",
            "left out",
        ),
    ],
)
def test_each_fault_is_told_in_its_place_and_its_row_set_aside(row, kind, column, says, tries):
    records = read_records(with_row(row), MAPPING, name="march.csv")
    assert (records.report.rows_read, records.report.rows_used, records.report.rows_set_aside) == (
        11,
        10,
        1,
    )
    assert records.report.by_reason == ((kind, 1),)
    (fault,) = records.faults
    assert (fault.file, fault.row, fault.column, fault.field) == ("march.csv", 12, column, kind)
    assert says in str(fault) and tries in fault.remedy
    assert (
        records.set_aside["set aside: row"].tolist() == [12]
        and says in records.set_aside["set aside: why"].iloc[0]
    )
    assert len(records.tidy) == 10


def test_a_total_without_a_name_is_a_row_without_a_batch():
    records = read_records(with_row(",,,,,999.25,"), MAPPING)
    assert records.report.by_reason == (("no batch", 1),) and records.incomplete == frozenset()
    assert "nothing to do where it is a total" in records.faults[0].remedy


def test_a_row_without_a_date_is_used_and_said():
    records = read_records(with_row("B3,,cook,in,,100,Bo"), MAPPING)
    assert records.report.rows_used == 11 and records.tidy["time"].isna().sum() == 1
    assert [(f.row, f.column) for f in records.faults] == [(12, "Date")] and not len(
        records.set_aside
    )


def test_several_faults_of_one_row_are_all_told_and_the_row_counts_once():
    records = read_records(with_row("B3,someday,polish,in,,n/a,Bo"), MAPPING)
    assert records.report.rows_set_aside == 1 and sum(n for _, n in records.report.by_reason) == 1
    assert {fault.column for fault in records.faults} == {"Date", "Step", "Weight (kg)"}
    assert records.set_aside["set aside: why"].iloc[0].count(";") == 2


def test_totals_by_their_names_and_batches_that_only_look_so():
    for name in (
        "Total",
        "TOTALS:",
        "Sub-total",
        "Grand total",
        "Week 12 total",
        "Total March",
        "Average",
        "Sum",
    ):
        assert read_records(with_row(f"{name},,,,,5,"), MAPPING).report.by_reason == (
            ("total row", 1),
        ), name
    for name in ("Totem", "Summer", "Maxi 3"):
        assert (
            read_records(with_row(f"{name},2026-03-03,cook,in,,5,Bo"), MAPPING).report.rows_used
            == 11
        ), name


def test_a_wide_row_is_used_whole_or_not_at_all():
    records = read_records(WIDE.replace("28,128.5", "28,x"))
    assert (
        records.report.rows_used == 1
        and set(records.tidy["batch"]) == {"B1"}
        and records.faults[0].column == "Chop out (kg)"
    )
    assert records.set_aside["Cook out (kg)"].tolist() == ["115"]


def test_blank_rows_are_passed_over_and_counted_apart():
    report = read_records(
        LONG.replace("B2,2026-03-02,chop,in", "\n,,,,,,\nB2,2026-03-02,chop,in"), MAPPING
    ).report
    assert (report.rows_read, report.rows_used, report.rows_blank) == (10, 10, 2)


def test_row_numbers_hold_below_titles_blank_rows_torn_rows_and_line_ends_in_quotes():
    text = (
        "Sausage room\n\n"
        + HEAD
        + '\nB1,2026-03-01,chop,in,"two\nlines",100,Ann\n\nx,y\nB1,2026-03-01,chop,out,,oops,Ann\n'
    )
    records = read_records(text, MAPPING.answered(header_row=3))
    assert [(fault.field, fault.row) for fault in records.faults] == [
        ("torn row", 6),
        ("weight", 7),
    ]
    assert records.tidy["row"].tolist() == [4] and draft_mapping(text).header_row == 3


def test_merged_cells_are_left_out_by_name_or_filled_down_when_the_person_says_so():
    rows = [
        ["Batch", "Stage", "Kind", "Weight (kg)"],
        ["B1", "cook", "in", 100],
        [None, "cook", "out", 90],
        ["B2", "cook", "in", 100],
        ["B2", "cook", "out", 91],
    ]
    raw = book({"a": rows}, [("a", "A2:A3")])
    records = read_records(raw, name="m.xlsx")
    (fault,) = records.faults
    assert (fault.field, fault.sheet, fault.row, fault.column) == (
        "merged cells",
        "a",
        3,
        "Batch",
    ) and "A2:A3" in str(fault)
    filled = read_records(raw, records.mapping.answered(fill_down=("batch",)), name="m.xlsx")
    assert (
        filled.report.rows_used == 4
        and filled.tidy["batch"].tolist() == ["B1", "B1", "B2", "B2"]
        and any("stand for the entry above" in note for note in filled.notes)
    )


def test_formulas_give_their_saved_value_or_are_named():
    raw = book(
        {
            "a": [
                ["Batch", "Stage", "Kind", "Weight (kg)"],
                ["B1", "cook", "in", 100],
                ["B1", "cook", "out", "=D2*0.9"],
            ]
        }
    )
    records = read_records(raw, name="f.xlsx")
    assert [(fault.field, fault.row, fault.column) for fault in records.faults] == [
        ("formula", 3, "Weight (kg)")
    ]
    patched = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(patched, "w") as new:
        for part in old.infolist():
            text = old.read(part)
            new.writestr(
                part,
                text.replace(b"<f>D2*0.9</f><v />", b"<f>D2*0.9</f><v>90</v>").replace(
                    b"<f>D2*0.9</f><v></v>", b"<f>D2*0.9</f><v>90</v>"
                ),
            )
    saved = read_records(patched.getvalue(), name="f.xlsx")
    assert saved.tidy["kg"].tolist() == [100, 90] and any(
        "last saved" in note for note in saved.notes
    )


def test_the_set_aside_rows_can_be_corrected_and_read_again(tmp_path):
    text = with_row("B3,2026-03-03,cook,in,=1+1,n/a,Bo") + "B3,2026-03-03,cook,out,,90,Bo\n"
    records = read_records(text, MAPPING)
    path = write_set_aside(records, tmp_path / "aside.csv")
    assert "'=1+1" in path.read_text()
    with pytest.raises(KitError, match="exists"):
        write_set_aside(records, path)
    path.write_text(path.read_text().replace("n/a", "100"))
    again = read_records(path, MAPPING)
    assert (
        again.report.rows_used == 1
        and again.tidy["kg"].tolist() == [100]
        and again.tidy["name"].tolist() == ["=1+1"]
    )
    assert draft_mapping(path).columns == MAPPING.columns and not draft_mapping(path).carry
    with pytest.raises(KitError, match="no row was set aside"):
        write_set_aside(read_records(LONG), tmp_path / "b.csv")


def test_western_and_wide_text_is_read_and_said():
    plain = read_records(LONG.replace("Bo", "Bö"))
    for encoding in ("cp1252", "utf-16", "utf-32", "utf-8-sig"):
        found = read_records(LONG.replace("Bo", "Bö").encode(encoding))
        assert (
            found.tidy["operator"].astype("str").tolist()
            == plain.tidy["operator"].astype("str").tolist()
        ), encoding
        assert ("Windows Western text" in " ".join(found.notes)) == (encoding == "cp1252")


def test_files_that_cannot_be_read_say_why(tmp_path):
    for make, says in (
        (lambda: read_records(tmp_path / "none.csv"), "cannot be opened"),
        (lambda: read_records(tmp_path / "a.doc"), ".doc"),
        (lambda: read_records(b"PK\x03\x04rubbish", name="a.xlsx"), "workbook"),
        (lambda: read_records(b"PAR1rubbish", name="a.parquet"), "damaged"),
        (lambda: read_records("no table\nhere\n"), "no table"),
        (lambda: read_records(3), "int"),
        (lambda: read_records([]), "empty"),
    ):
        with pytest.raises(KitError, match=says):
            make()


@given(
    st.lists(
        st.tuples(
            *(
                st.sampled_from(values)
                for values in (
                    ("B1", "B2", "", "Total", '"a,b"', "=1"),
                    ("2026-03-01", "", "31.2.2026", "x"),
                    ("cook", "chop", "", "polish"),
                    ("in", "out", "scrap", "?"),
                    ("", "cart 1"),
                    ("100", "0", "-1", "", "x", "5 lb", "1e400", "nan", "inf", '"1,5"'),
                    ("Ann", ""),
                )
            )
        )
        | st.just(("torn",))
        | st.just(("",) * 7),
        max_size=25,
    )
)
def test_rows_read_are_rows_used_and_rows_set_aside(rows):
    records = read_records("\n".join([HEAD, *(",".join(row) for row in rows)]) + "\n\n", MAPPING)
    r = records.report
    blank = sum(not any(row) for row in rows)
    assert r.rows_read == r.rows_used + r.rows_set_aside == len(rows) - blank
    assert r.rows_set_aside == len(records.set_aside) == sum(n for _, n in r.by_reason)
    kept, aside = set(records.tidy["row"]), set(records.set_aside.get("set aside: row", ()))
    assert not kept & aside and kept | aside == {n for n, row in enumerate(rows, 2) if any(row)}
    assert records.tidy["kg"].gt(-1).all()


_cells = st.sampled_from(
    [
        "B1",
        "12",
        "12.5",
        "1,5",
        "1/2/2026",
        "2026-03-01",
        "cook",
        "in",
        "out",
        "Total",
        "",
        "kg",
        "lb",
        '"',
        "'",
        "=1",
        "\u202e",
        "é",
        "9" * 400,
        "-0",
        "1e999",
        "Batch",
        "Weight (kg)",
        "Stage",
        "Kind",
    ]
)
_tables = st.lists(st.lists(_cells, max_size=7), max_size=12).flatmap(
    lambda rows: st.sampled_from([",", ";", "\t", "|"]).map(
        lambda s: "\n".join(s.join(row) for row in rows).encode()
    )
)


@settings(max_examples=150)
@given(
    st.binary(max_size=400)
    | _tables
    | _tables.map(lambda t: b"Batch,Stage,Kind,Weight (kg)\n" + t)
    | st.binary(max_size=60).map(lambda b: b"PAR1" + b)
    | st.binary(max_size=60).map(lambda b: b"PK\x03\x04" + b),
    st.sampled_from(["a.csv", "a.xlsx", "a.parquet", ""]),
)
@example(b"Batch,Stage,Kind,Weight (kg)\n", "a.csv")
@example(b"Batch,Stage,Kind,Weight (kg)", "a.csv")
@example(b'Batch,Stage,Kind,Weight (kg)\n"B1,cook,in,100\nB1,cook,in,100\n', "a.csv")
@example(b"\xef\xbb\xbfBatch;Stage;Kind;Weight (kg)\r\nB1;cook;in;1,5\r\n", "a.csv")
@example(b"", "")
def test_rubbish_gives_records_or_an_error_in_words(raw, name):
    try:
        records = read_records(raw, name=name)
    except KitError as refused:
        assert str(refused)
        return
    assert (
        isinstance(records, Records)
        and records.report.rows_read == records.report.rows_used + records.report.rows_set_aside
    )
    assert str(records)


@settings(max_examples=80)
@given(
    st.integers(0, 6000),
    st.binary(min_size=1, max_size=6),
    st.sampled_from(["x.xlsx", "x.parquet"]),
)
def test_damaged_workbooks_and_parquet_give_records_or_an_error_in_words(at, bite, name):
    raw = _SOUND[name]
    at %= len(raw)
    try:
        records = read_records(raw[:at] + bite + raw[at + len(bite) :], name=name)
    except KitError as refused:
        assert str(refused)
        return
    assert isinstance(records, Records)


def _sound():
    frame = pd.read_csv(io.StringIO(LONG))
    out = io.BytesIO()
    frame.to_parquet(out)
    return {
        "x.xlsx": book(
            {
                "a": [
                    list(frame.columns),
                    *(list(row) for row in frame.fillna("").itertuples(index=False)),
                ]
            }
        ),
        "x.parquet": out.getvalue(),
    }


_SOUND = _sound()


def test_the_sound_files_are_read_alike():
    for name, raw in _SOUND.items():
        pd.testing.assert_frame_equal(core(read_records(raw, name=name)), core(read_records(LONG)))


def test_a_column_of_lists_is_refused():
    with pytest.raises(Faulty, match="no plain values"):
        read_records(pd.DataFrame({"Batch": ["B1"], "Weight (kg)": [[1, 2]]}))

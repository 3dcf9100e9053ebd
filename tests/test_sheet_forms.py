"""TOML, CSV and workbook hold the same sheet without loss, and are written whole, safely, or not at all."""

import csv
import io
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from kit import tables
from kit.errors import Faulty, KitError
from kit.reading import read_sheet
from kit.reading.template import written_xlsx
from kit.reading.written import write_sheet
from kit.rules.rule_sets import rule_sets
from kit.sheet.entries import fields

DEMO = tables.data_path("demo", "demo_frankfurter.toml")
FORMS = ("toml", "csv", "xlsx")

# --- random sheets -------------------------------------------------------------------------------------------------------

visible = st.characters(exclude_categories=("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))
awkward = st.sampled_from(
    [
        "=1+1",
        "+x",
        "-x",
        "@x",
        "'x",
        "''x",
        "'=x",
        "a;b",
        "a,b",
        'a"b',
        "x005F_",
        "_x0041_",
        "1",
        "nan",
        "#DIV/0",
        "[x]",
        "true",
        "\\",
        "'",
    ]
)
text = (
    st.one_of(awkward, st.text(visible, min_size=1, max_size=30))
    .map(str.strip)
    .filter(lambda t: t and not t.startswith("#"))
)
note = st.lists(text, min_size=1, max_size=3).map("\n".join)
written_mass = st.builds(
    "{} {}".format,
    st.one_of(st.floats(0.5, 5000).map(repr), st.sampled_from(["2.50", "7", "1e1", ".5"])),
    st.sampled_from(["kg", "lb", "kg"]),
)
written_share = st.builds(
    "{!r} {}".format,
    st.floats(0.01, 2),
    st.sampled_from(
        ["% of meat", "% of batch", "g/kg of meat", "oz per 100 lb of meat", "% of the meat block"]
    ),
)
amount = st.one_of(written_mass, written_share, st.just("1 lb 4 oz"))


def value_of(field):
    if field.reads == "quantity":
        return st.floats(field.low, field.high)
    return {
        "choice": st.sampled_from(field.choices or ("",)),
        "note": note,
        "text": text,
        "key": st.sampled_from(sorted(rule_sets())),
    }[field.reads]


def some(part, names, needed=()):
    """A dict of random values for these fields of a part; the needed ones are always there."""
    kinds = {name: value_of(fields(part)[name]) for name in names}
    return st.fixed_dictionaries(
        {n: kinds[n] for n in needed}, optional={n: s for n, s in kinds.items() if n not in needed}
    )


shared = some("line", ["temperature_C", "pH", "price_per_kg", "stock_kg", "note"])
made_of = st.one_of(
    st.sampled_from(
        [
            {"material": "ice"},
            {"material": "salt"},
            {"material": "beef trim 90"},
            {"material": "nonfat dry milk"},
            {"composition": "same recipe"},
            {"lean": "85 % lean", "species": "beef"},
            {"species": "pork", "fat_low_pct": 18.0, "fat_high_pct": 28.5},
            {"material": "sodium tripolyphosphate", "form": "phosphate blend"},
            {"material": "salt", "rule_class": "salt"},
            {
                "species": "pork",
                "moisture_pct": 58.1,
                "protein_pct": 16.2,
                "fat_pct": 24.9,
                "ash_pct": 0.8,
                "collagen_pct_of_protein": 21.0,
            },
        ]
    ),
    some("line", ["nitrite_pct"], ["nitrite_pct"])
    .filter(lambda d: d["nitrite_pct"] > 0)
    .map(lambda d: {"kind": "cure", **d}),
)
line = st.builds(lambda a, b, c: {"amount": c, **a, **b}, shared, made_of, amount)


def sensible(values):
    """Counts are whole, and a holding time has its core."""
    counts = {n: float(round(values[n])) for n in ("grind_passes", "core_probes") if n in values}
    held = {"core_measured_C": 70.0} if "core_held_min" in values else {}
    return held | values | counts


def grill_last(steps):
    """A grill finishes what the other steps cooked."""
    steps = sorted(steps, key=lambda step: step["kind"] == "grill")
    return [] if steps and steps[0]["kind"] == "grill" else steps


process = some("process", fields("process")).map(sensible)
cook = st.lists(
    some(
        "cook",
        ["kind", "duration_min", "dry_bulb_C", "rh_pct", "air_m_per_s", "note"],
        ["kind", "duration_min", "dry_bulb_C"],
    ),
    max_size=3,
).map(grill_last)
weighing = st.lists(
    some("weighing", list(fields("weighing")), ["stage", "out_kg"]),
    max_size=4,
    unique_by=lambda w: w["stage"],
)


@st.composite
def sheets(draw):
    names = draw(st.lists(text, min_size=1, max_size=6, unique_by=str.casefold))
    lines = [{"name": name, **draw(line)} for name in names[1:]]
    data = {
        "name": draw(text),
        **draw(some("batch", ["rule", "currency", "note"])),
        "process": draw(process),
        "cook": draw(cook),
        "weighing": draw(weighing),
        "line": [
            {"name": names[0], "material": "pork shoulder, lean", "amount": draw(written_mass)},
            *lines,
        ],
    }
    return read_sheet(data)


@settings(max_examples=40)
@given(sheets())
def test_a_random_sheet_is_the_same_in_every_form_and_a_spreadsheet_finds_no_formula_in_it(
    tmp_path_factory, sheet
):
    folder = tmp_path_factory.mktemp("round")
    written = {form: write_sheet(sheet, folder / f"sheet.{form}") for form in FORMS}
    for form, path in written.items():
        again = read_sheet(path)
        assert again == sheet, form
        assert again.notes == ()
    assert read_sheet(sheet.as_dict()) == sheet
    with written["csv"].open(encoding="utf-8", newline="") as handle:
        for row in csv.reader(handle):
            for cell in row:
                assert not cell.startswith(("=", "+", "@", "\t", "\r")), cell
                assert not cell.startswith("-") or float(cell) < 0
    for page in load_workbook(written["xlsx"]).worksheets:
        for row in page.iter_rows():
            for cell in row:
                assert cell.data_type in ("s", "n"), cell.value
                assert (
                    cell.data_type == "n"
                    or not cell.value.startswith(("=", "+", "-", "@"))
                    or cell.quotePrefix
                )


# --- single forms --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("first", FORMS)
@pytest.mark.parametrize("second", FORMS)
def test_the_demo_goes_from_any_form_to_any_other(tmp_path, first, second):
    demo = read_sheet(DEMO)
    there = read_sheet(write_sheet(demo, tmp_path / f"a.{first}"))
    back = read_sheet(write_sheet(there, tmp_path / f"b.{second}"))
    assert back == demo
    assert [line.amount.written for line in back.lines] == [
        line.amount.written for line in demo.lines
    ]


def test_the_amount_stays_as_written(tmp_path):
    written = [
        "2.50 kg",
        "1 lb 4 oz",
        "4 oz per 100 lb of meat",
        "1e1 g",
        "0.30 % of the meat block",
        "12 lb",
    ]
    sheet = read_sheet(
        {
            "line": [
                {"name": "pork trim 80", "amount": "50 kg"},
                *(
                    {"name": f"ice {n}", "material": "ice", "amount": a}
                    for n, a in enumerate(written)
                ),
            ]
        }
    )
    for form in FORMS:
        assert [
            line.amount.written
            for line in read_sheet(write_sheet(sheet, tmp_path / f"a.{form}")).lines[1:]
        ] == written


def test_the_amounts_of_a_workbook_are_numbers_that_a_spreadsheet_can_add(tmp_path):
    page = load_workbook(write_sheet(read_sheet(DEMO), tmp_path / "a.xlsx"))["line"]
    header = [cell.value for cell in page[1]]
    amounts, units = (
        [row[header.index(name)].value for row in page.iter_rows(min_row=2)]
        for name in ("amount", "unit")
    )
    assert amounts[:4] == [12, 41, 19, 22] and units[5] == "% of batch"


def test_the_simplest_csv_that_a_person_would_write():
    sheet = read_sheet(
        "name,amount,unit\npork trim 80,110,lb\nice,25,% of meat\nsalt,2,% of batch\n",
        "first try.csv",
    )
    assert (
        sheet.name == "first try"
        and len(sheet.lines) == 3
        and sheet.lines[0].kg == pytest.approx(49.8951607)
    )


def test_text_is_told_apart_without_a_name():
    toml = '# mine\n[[line]]\nname = "pork trim 80"\namount = "50 kg"\n'
    assert read_sheet(toml) == read_sheet("name,amount,unit\npork trim 80,50,kg\n")
    assert read_sheet(toml).name == "batch"


def test_headers_and_words_in_another_case_and_blank_rows_between():
    sheet = read_sheet(
        "Name,AMOUNT,Unit,Kind\n\npork trim 80,50,kg,Meat\n,,,\n Ice ,5,kg,ICE\n", "a.csv"
    )
    assert [(line.name, line.kind) for line in sheet.lines] == [
        ("pork trim 80", "meat"),
        ("Ice", "ice"),
    ]


def test_bytes_with_a_name_are_read_as_an_upload_gives_them():
    for form in FORMS:
        whole = DEMO.with_suffix(f".{form}").read_bytes()
        assert (
            read_sheet(memoryview(whole), f"up.{form}")
            == read_sheet(DEMO)
            == read_sheet(bytearray(whole), f"UP.{form.upper()}")
        )


def test_an_awkward_file_name_is_not_taken_for_the_name_of_the_batch():
    whole = b"name,amount,unit\npork trim 80,50,kg\n"
    assert (
        read_sheet(whole, "two\nlines.csv").name
        == read_sheet(whole, "x" * 220 + ".csv").name
        == "batch"
    )


# --- writing -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
def test_a_file_that_exists_is_left_as_it_is_unless_told(tmp_path, form):
    target = tmp_path / f"mine.{form}"
    target.write_text("precious")
    with pytest.raises(KitError, match="exists and is left as it is"):
        write_sheet(read_sheet(DEMO), target)
    assert target.read_text() == "precious"
    write_sheet(read_sheet(DEMO), target, overwrite=True)
    assert read_sheet(target) == read_sheet(DEMO)
    assert os.listdir(tmp_path) == [target.name]


def test_a_write_that_fails_half_way_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch):
    target = write_sheet(read_sheet(DEMO), tmp_path / "mine.toml")
    before = target.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(KitError, match="No space left"):
        write_sheet(read_sheet(DEMO), target, overwrite=True)
    assert target.read_bytes() == before and os.listdir(tmp_path) == ["mine.toml"]


def test_where_nothing_can_be_written_the_message_says_so(tmp_path):
    with pytest.raises(KitError, match="folder exists"):
        write_sheet(read_sheet(DEMO), tmp_path / "no" / "mine.toml")
    with pytest.raises(KitError, match="does not say its form"):
        write_sheet(read_sheet(DEMO), tmp_path / "mine.txt")


def test_the_committed_demo_files_are_what_is_written_today(tmp_path):
    written = write_sheet(read_sheet(DEMO), tmp_path / "a.csv")
    assert written.read_bytes() == DEMO.with_suffix(".csv").read_bytes()


def test_a_note_of_many_lines_and_signs(tmp_path):
    data = read_sheet(DEMO).as_dict() | {
        "note": "=first \"line\"\n- second; third, 'fourth'\n\n  end"
    }
    for form in FORMS:
        assert (
            read_sheet(write_sheet(read_sheet(data), tmp_path / f"a.{form}")).note == data["note"]
        )


def test_a_tab_in_a_note_is_refused_rather_than_lost():
    with pytest.raises(Faulty, match="U\\+0009"):
        read_sheet(read_sheet(DEMO).as_dict() | {"note": "a\tb"})


# --- the blank workbook --------------------------------------------------------------------------------------------------


def filled(**process):
    """The bytes of the blank workbook with a meat and a curing salt in it, and these process values."""
    book = load_workbook(io.BytesIO(written_xlsx({})))
    lines, entries = book["line"], book["process"]
    column = {cell.value: cell.column for cell in lines[1]}
    for row, line in enumerate(
        (
            {"kind": "meat", "name": "pork trim 80", "amount": 50, "unit": "kg"},
            {"kind": "cure", "name": "our curing salt", "amount": "125 g", "nitrite_pct": 6.25},
        ),
        2,
    ):
        for name, value in line.items():
            lines.cell(row, column[name], value)
    row_of = {cell.value: cell.row for cell in entries["A"]}
    for name, value in process.items():
        entries.cell(row_of[name], 2, value)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_the_blank_workbook_filled_by_hand_is_a_sheet():
    """Blank values count as left out, and the hidden tab of choices is passed over."""
    sheet = read_sheet(filled(chop_min=6), "mine.xlsx")
    assert [(line.name, line.kg) for line in sheet.lines] == [
        ("pork trim 80", 50),
        ("our curing salt", pytest.approx(0.125)),
    ]
    assert sheet.lines[1].nitrite_pct == 6.25 and sheet.process.chop_min == 6
    assert sheet.name == "mine" and sheet.notes == () == sheet.weighings


def test_a_wrong_choice_typed_into_the_blank_workbook_is_a_fault():
    with pytest.raises(Faulty) as refused:
        read_sheet(filled(casing="celulose"), "mine.xlsx")
    (fault,) = refused.value.faults
    assert fault.sheet == "process" and fault.column == "B" and "cellulose" in str(fault)


def test_the_blank_workbook_left_blank_has_no_lines():
    with pytest.raises(Faulty, match="no ingredient lines"):
        read_sheet(written_xlsx({}), "blank.xlsx")


@pytest.mark.parametrize("data", [{}, read_sheet(DEMO).as_dict()], ids=["blank", "filled"])
def test_a_workbook_offers_choices_and_says_what_each_field_is(data):
    book = load_workbook(io.BytesIO(written_xlsx(data)))
    tabs = [tab.title for tab in book if tab.sheet_state == "visible"]
    assert tabs == ["batch", "line", "process", "cook", "weighing"]
    process = book["process"]
    casing = next(cell for cell in process["A"] if cell.value == "casing")
    assert "kind of casing" in casing.comment.text
    offered = next(
        rule for rule in process.data_validations.dataValidation if f"B{casing.row}" in rule.sqref
    )
    where = offered.formula1.replace("$", "").split("!")[1]
    assert [cell.value for (cell,) in book["lists"][where]][:2] == ["cellulose", "collagen"]
    assert process.cell(casing.row, 2).value == data.get("process", {}).get("casing")

"""What stations hand in: read or refused with its place; decided by the teacher; nothing dropped without a decision."""

import io
from dataclasses import replace

import pytest
from openpyxl import load_workbook

from kit.classroom.codes import code
from kit.classroom.results import ClassDecision, decided
from kit.errors import Faulty, KitError, OutOfRange, UnknownName
from kit.files import put
from kit.reading.class_book import BATTERS, TUBES, station_book
from kit.reading.class_decisions import decisions_toml, read_decisions
from kit.reading.class_plan import read_plan
from kit.reading.class_results import read_results
from kit.tables import data_path

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
DEMO = read_results(data_path("demo", "class"), PLAN)
HEAD = "code,empty_g,filled_g,after_g,fold,depth_mm,note"
GOOD = (code(3, 1, 1), "13.00", "43.10", "40.90", "5", "9", "")
MARK = PLAN.fingerprint


def text(*rows, head=HEAD, sign=","):
    return "\n".join([head.replace(",", sign), *(sign.join(row) for row in rows)]) + "\n"


def read(whole, name="s.csv", plan=PLAN):
    return read_results([(name, whole)], plan)


def with_cell(column, value):
    row = list(GOOD)
    row[HEAD.split(",").index(column)] = value
    return text(row, text_row()).replace("\n" + HEAD, "\n")


def text_row():
    return (code(3, 1, 2), "13.05", "42.10", "39.90", "4", "8", "")


# the workbook


def test_a_station_s_workbook_is_the_same_bytes_and_holds_no_formula_and_no_level():
    whole = station_book(PLAN, 3)
    assert whole == station_book(PLAN, 3)
    book = load_workbook(io.BytesIO(whole))
    cells = [cell for tab in book for row in tab.iter_rows() for cell in row]
    assert not any(cell.data_type == "f" for cell in cells)
    assert "18" not in {str(cell.value) for cell in cells} and "end_C" in {
        cell.value for cell in cells
    }
    tubes = book[TUBES]
    assert tubes.protection.sheet and book[BATTERS].protection.sheet
    locked = [tubes.cell(2, n).protection.locked for n in range(1, 13)]
    assert locked == [True] * 6 + [False] * 6
    assert tubes.cell(2, 2).data_type == "s" and tubes.cell(2, 2).value == code(3, 1, 1)


def test_an_empty_workbook_is_read_as_nothing():
    found = read(station_book(PLAN, 3), "station_03.xlsx")
    assert found.tubes == () and found.batters == () and found.faults == ()


def test_a_station_that_is_not_there_has_no_workbook():
    with pytest.raises(OutOfRange, match="station 9"):
        station_book(PLAN, 9)


# what is read


@pytest.mark.parametrize(
    "sign, comma", [(",", "."), (";", ","), (";", "."), ("\t", ","), ("|", ".")]
)
@pytest.mark.parametrize("turn", [0, 3])
def test_any_separator_decimal_sign_and_order_of_columns(sign, comma, turn):
    names, rows = HEAD.split(","), [list(GOOD), list(text_row())]
    rows = [[cell.replace(".", comma) if n else cell for n, cell in enumerate(row)] for row in rows]
    turned = [row[turn:] + row[:turn] for row in [names, *rows]]
    found = read("\n".join(sign.join(row) for row in turned))
    assert found.faults == () and [t.key for t in found.tubes] == [(3, 1, 1), (3, 1, 2)]
    assert found.tubes[0].loss_pct == pytest.approx(100 * 2.2 / 30.1)


def test_several_stations_in_a_file_and_several_files_of_a_station():
    other = (code(4, 2, 3), "13", "40", "38", "", "", "")
    half = (code(4, 2, 1), "13", "40", "", "", "", "")
    rest = (code(4, 2, 1), "", "", "38.5", "3", "", "")
    found = read_results([("a.csv", text(GOOD, other, half)), ("b.csv", text(rest))], PLAN)
    assert found.faults == ()
    assert {t.key: t.after_g for t in found.tubes} == {
        (3, 1, 1): 40.9,
        (4, 2, 3): 38.0,
        (4, 2, 1): 38.5,
    }


def test_the_same_row_twice_is_one_tube():
    assert len(read_results([("a.csv", text(GOOD)), ("b.csv", text(GOOD))], PLAN).tubes) == 1


def test_a_tube_that_comes_twice_with_other_numbers_is_set_aside():
    other = (*GOOD[:3], "39.9", *GOOD[4:])
    found = read_results([("a.csv", text(GOOD)), ("b.csv", text(other))], PLAN)
    assert found.tubes == () and list(found.set_aside) == [(3, 1, 1)]
    assert "after_g 40.9 in a.csv" in str(found.faults[0]) and "b.csv" in str(found.faults[0])


BAD_CELLS = [
    *((column, value, said)
      for column in ("empty_g", "filled_g", "after_g")
      for value, said in (
          ("43.1 oz", "unit"),
          ("0.0431 kg", "unit"),
          ("43.1 lb", "unit"),
          ("=40+3", "formula"),
          ("about 40", "no number"),
          ("2026-03-04", "a date"),
          ("4. Mar", "a date"),
          ("12:30", "no number"),
          ("-43", "give a number"),
          ("1e999", "no number"),
          ("nan", "no number"),
          ("inf", "no number"),
          ("٤٣", "no number"),
          ("43..1", "no number"),
          ("<script>alert(1)</script>", "no number"),
      )),
    ("filled_g", "12.90", "not above empty"),
    ("filled_g", "0.0431", "as kilograms"),
    ("filled_g", "1.52", "as ounces"),
    ("after_g", "47.00", "above filled"),
    ("fold", "6", "1 to 5"),
    ("fold", "2.5", "1 to 5"),
    ("fold", "good", "no number"),
    ("depth_mm", "900", "0 to 100"),
    ("depth_mm", "9 in", "unit"),
]  # fmt: skip


@pytest.mark.parametrize("column, value, said", BAD_CELLS)
def test_a_bad_cell_sets_its_tube_aside_with_file_row_column_value_and_remedy(column, value, said):
    found = read(with_cell(column, value))
    mine = [one for one in found.faults if one.column == column]
    assert [t.key for t in found.tubes] == [(3, 1, 2)] and list(found.set_aside) == [(3, 1, 1)]
    assert mine and all(one.file == "s.csv" and one.row == 2 and one.remedy for one in mine)
    assert any(said in str(one) for one in mine)
    assert found.findings[0].kind == "set aside" and found.findings[0] in found.open


@pytest.mark.parametrize(
    "value, said",
    [
        ("S03B1T1-1", "check digit|nearest"),
        ("17.03.2", "no code"),
        ("2026-03-17", "no code"),
        ("", "no code"),
        ("=S03", "no code"),
        (code(9, 1, 1), "not in this plan"),
        (code(3, 3, 1), "not in this plan"),
        (code(3, 1, 9), "not in this plan"),
    ],
)
def test_a_code_that_is_not_the_class_s_is_refused(value, said):
    found = read(with_cell("code", value))
    assert [t.key for t in found.tubes] == [(3, 1, 2)]
    (fault,) = found.faults
    assert fault.row == 2 and fault.column == "code" and fault.remedy
    assert any(part in fault.what for part in said.split("|"))


def test_a_row_of_another_plan_is_told_once_and_does_not_count():
    head = "plan," + HEAD
    rows = [("0" * 8, *GOOD), ("0" * 8, *text_row()), (MARK, code(4, 1, 1), *GOOD[1:])]
    found = read(text(*rows, head=head))
    assert [t.key for t in found.tubes] == [(4, 1, 1)] and len(found.faults) == 1
    assert "another plan" in found.faults[0].what and MARK in found.faults[0].remedy


def test_a_station_that_contradicts_its_code_is_told():
    found = read(text(("4", *GOOD), head="station," + HEAD))
    assert found.tubes == () and "the code says 3" in found.faults[0].what


def test_a_station_that_is_absent_hands_in_nothing():
    found = read(text(GOOD), plan=replace(PLAN, absent=(3,)))
    assert found.tubes == () and "absent" in found.faults[0].what


@pytest.mark.parametrize(
    "whole, said",
    [
        ("", "empty"),
        ("a,b\n1,2\n", "no table"),
        ("code,filled_g\n", ""),
        (HEAD.replace("after_g", "after_oz") + "\n" + ",".join(GOOD), "no column after_g"),
        (HEAD.replace("code", "kode") + "\n" + ",".join(GOOD), "no column code"),
        (HEAD + "\n" + ",".join(GOOD) + ",1,2,3\n", "another number of cells"),
        (b"\x00\x01\x02" * 100, ""),
        (b"PK\x03\x04" + b"x" * 500, ""),
        (b"\xd0\xcf\x11\xe0" + b"x" * 500, "old binary"),
        (text(GOOD) + "x" * 5_000_001, "limit"),
        (text((GOOD[0], "13,5", "1,234", "4.5", "", "", "")), ""),
    ],
)
def test_what_is_no_table_of_a_station_is_refused_with_its_file(whole, said):
    found = read(whole)
    assert not any(t.whole for t in found.tubes)
    assert found.faults or not said
    if said:
        assert any(said in one.what for one in found.faults)
        assert all(one.file == "s.csv" and one.remedy for one in found.faults)


def book_with(change):
    book = load_workbook(io.BytesIO(station_book(PLAN, 3)))
    tab = book[TUBES]
    for row in (2, 3):
        for n, value in enumerate((13, 43.1, 40.9), 7):
            tab.cell(row, n).value = value
    change(book, tab)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _set(cell, value):
    return lambda book, tab: tab.__setitem__(cell, value)


@pytest.mark.parametrize(
    "change, left, said",
    [
        (lambda book, tab: None, 2, ""),
        (_set("H2", "=G2+30"), 1, "formula whose value was never saved"),
        (lambda book, tab: tab.merge_cells("H2:H3"), 1, "merged"),
        (_set("H2", __import__("datetime").datetime(2026, 3, 4)), 1, "such as 4.3"),
        (_set("H2", "43,1"), 2, ""),
        (_set("H2", "43.1 g"), 2, ""),
        (_set("H2", True), 1, "no number"),
        (_set("B2", "S03B1T1-0"), 1, "nearest"),
        (lambda book, tab: tab.move_range("B2:L3", rows=30), 2, ""),
        (lambda book, tab: book.remove(book[BATTERS]), 2, ""),
    ],
)  # fmt: skip
def test_a_workbook_with_a_fault_is_told_with_sheet_and_row(change, left, said):
    found = read(book_with(change), "station_03.xlsx")
    assert len(found.tubes) == left
    assert bool(said) == bool(found.faults)
    assert not said or any(said in one.what and one.sheet == TUBES for one in found.faults)


def test_batters_are_read_and_a_second_other_row_is_told():
    head = "station,batter,end_C,chop_min"
    found = read(
        text(("3", "1", "13.2", "6"), ("3", "1", "15", "6"), ("x", "1", "13", "6"), head=head)
    )
    assert [(b.end_C, b.chop_min) for b in found.batters] == [(13.2, 6.0)]
    assert ["twice" in one.what or "station" in one.what for one in found.faults] == [True, True]


@pytest.mark.parametrize("sources", [[], 3, [3], "nowhere.csv", [("a.exe", b"x")]])
def test_no_file_is_an_error_or_a_fault(sources, tmp_path):
    try:
        assert read_results(sources, PLAN).faults
    except KitError as error:
        assert str(error)
    with pytest.raises(KitError, match="no filled file"):
        read_results(tmp_path, PLAN)


# the invented class, and decisions


def test_every_planted_slip_of_the_invented_class_is_found_and_nothing_else_is_certain():
    kinds = {(one.kind, one.station) for one in DEMO.findings}
    assert DEMO.faults == ()
    assert {
        ("filled weight off", 3),
        ("temperature in °F", 4),
        ("two tubes exchanged", 2),
        ("missing", 6),
        ("late into the bath", 7),
    } <= kinds
    assert {station for _, station in kinds} == {2, 3, 4, 6, 7}
    assert "kilograms" in DEMO.findings[0].evidence
    exchanged = next(one for one in DEMO.findings if one.kind == "two tubes exchanged")
    assert set(exchanged.keys) == {(2, 1, 1), (2, 2, 2)}


def decisions():
    by = {(one.kind, one.station): one for one in DEMO.findings}
    kg = by["filled weight off", 3]
    (key,) = kg.keys
    tube = next(t for t in DEMO.tubes if t.key == key)
    said = [
        ClassDecision(kg.key, "correct", "the balance stood on kg", code(*key), name, round(1000 * getattr(tube, name), 2))
        for name in ("empty_g", "filled_g", "after_g")
    ]  # fmt: skip
    said.append(ClassDecision(by["two tubes exchanged", 2].key, "exchange", "labels were doubled"))
    done = {one.finding for one in said}
    return said + [
        ClassDecision(one.key, "keep", "told on paper")
        for one in DEMO.findings
        if one.key not in done
    ]


def test_decisions_are_applied_listed_and_kept(tmp_path):
    said = decisions()
    found = decided(DEMO, said)
    assert found.open == () and found.findings == DEMO.findings
    assert len(found.tubes) == len(DEMO.tubes)
    moved = {a.key for a, b in zip(DEMO.tubes, found.tubes) if a != b}
    assert moved == {(3, 1, 2), (2, 1, 1), (2, 2, 2)}
    answer = found.answer
    assert "raised the cook loss" in answer.sentence
    assert all(str(one) in answer.notes for one in said)
    path = put(tmp_path / "decisions.toml", decisions_toml(said))
    assert read_decisions(path) == tuple(said)
    with pytest.raises(KitError, match="exists"):
        put(path, decisions_toml(said))


def test_undecided_findings_stand_in_the_answer():
    assert sum(note.startswith("not yet decided") for note in DEMO.answer.notes) == len(
        DEMO.findings
    )


def test_leaving_out_takes_just_the_named_tube_or_all_of_the_finding():
    exchanged = next(one for one in DEMO.findings if one.kind == "two tubes exchanged")
    one = decided(DEMO, [ClassDecision(exchanged.key, "leave out", "leaked", code(2, 1, 1))])
    both = decided(DEMO, [ClassDecision(exchanged.key, "leave out", "leaked")])
    late = next(one for one in DEMO.findings if one.kind == "late into the bath")
    batter = decided(DEMO, [ClassDecision(late.key, "leave out", "too warm")])
    left = [{t.key for t in DEMO.tubes} - {t.key for t in its.tubes} for its in (one, both, batter)]
    assert left == [{(2, 1, 1)}, {(2, 1, 1), (2, 2, 2)}, {(7, 1, 1), (7, 1, 2), (7, 1, 3)}]


def test_a_tube_set_aside_comes_back_only_corrected():
    found = read(with_cell("filled_g", "about 40"))
    key = found.findings[0].key
    with pytest.raises(OutOfRange, match="cannot be kept"):
        decided(found, [ClassDecision(key, "keep", "looks right")])
    said = ClassDecision(key, "correct", "paper says so", GOOD[0], "filled_g", 43.1)
    assert [t.loss_pct for t in decided(found, [said]).tubes if t.key == (3, 1, 1)] == [
        pytest.approx(100 * 2.2 / 30.1)
    ]
    with pytest.raises(OutOfRange, match="no more filled than empty"):
        decided(found, [replace(said, value_g=3.0)])


@pytest.mark.parametrize(
    "change, kind",
    [
        ({"finding": "missing:9:"}, UnknownName),
        ({"action": "repair"}, UnknownName),
        ({"reason": " "}, OutOfRange),
        ({"action": "exchange"}, OutOfRange),
        ({"action": "correct"}, UnknownName),
        ({"action": "correct", "weight": "after_g"}, OutOfRange),
        ({"action": "correct", "weight": "after_g", "code": code(3, 1, 1), "value_g": 1.0}, OutOfRange),
        ({"action": "leave out", "code": "S03"}, KitError),
    ],
)  # fmt: skip
def test_a_decision_that_its_finding_cannot_take_is_refused(change, kind):
    missing = next(one for one in DEMO.findings if one.kind == "missing")
    with pytest.raises(kind):
        given = {"finding": missing.key, "action": "keep", "reason": "x"} | change
        decided(DEMO, [ClassDecision(**given)])


@pytest.mark.parametrize(
    "whole",
    [
        'kind = "class decisions"\n[[decision]]\nfinding = "a"\naction = "keep"\n',
        'kind = "class decisions"\n[[decision]]\nfinding = 3\naction = "keep"\nreason = "x"\n',
        'kind = "class decisions"\n[[decision]]\nfinding = "a"\naction = "keep"\nreason = "x"\nx = 1\n',
        'kind = "class decisions"\ndecision = [3]\n',
        'kind = "class plan"\n',
        "kind\n",
    ],
)
def test_a_file_of_decisions_with_a_fault_is_refused(whole):
    with pytest.raises(Faulty):
        read_decisions(whole)


def test_an_exchange_that_makes_a_tube_gain_weight_is_named_and_undone():
    """Far apart in weight, one of both weighs more after the bath than before: a fault, which the exchange explains."""
    from hostile_class import table, text, weighed

    rows = table(4)
    nets = {n: float(row[3]) - float(row[2]) for n, row in enumerate(rows[1:], 1)}
    low, high = min(nets, key=nets.get), max(nets, key=nets.get)
    rows[low][4], rows[high][4] = rows[high][4], rows[low][4]
    found = read_results([("a.csv", text(rows))], PLAN)
    assert len(found.set_aside) == 1 and "above filled" in str(found.faults[0])
    (one,) = (f for f in found.findings if f.kind == "two tubes exchanged")
    keys = [key for key in weighed(4) if len(key) == 3]
    assert set(one.keys) == {keys[low - 1], keys[high - 1]}
    assert not [f for f in found.findings if f.kind == "set aside"]
    with pytest.raises(OutOfRange, match="cannot be kept"):
        decided(found, [ClassDecision(one.key, "keep", "looks right")])
    back = decided(found, [ClassDecision(one.key, "exchange", "the notes say so")])
    assert not back.set_aside
    assert {t.key: t.after_g for t in back.tubes} == {
        key: weighed(4)[key]["after_g"] for key in keys
    }

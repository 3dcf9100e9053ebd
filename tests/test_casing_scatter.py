"""MeasuredColumn lengths and weights: reading them, and what they tell."""

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.casing import scatter
from kit.casing.drivers import drivers
from kit.casing.geometry import link_weight_g
from kit.casing.scatter import how_many, how_many_more
from kit.errors import Faulty, KitError, OutOfRange
from kit.reading.measured import read_measured, read_paired


@pytest.mark.parametrize(
    "text, grams",
    [
        ("52.1 51 50.8", [52.1, 51, 50.8]),
        ("52,1 51,3 50,8", [52.1, 51.3, 50.8]),
        ("52.1, 51.0, 50.8", [52.1, 51, 50.8]),
        ("52,51,53", [52, 51, 53]),
        ("52; 51;53\n50", [52, 51, 53, 50]),
        ("52 g; 0.051 kg; 53g", [52, 51, 53]),
        ("weight\n52\n51\n\n50\n", [52, 51, 50]),
        ("link,weight (kg)\na,0.052\nb,0.051\n", [52, 51]),
        ("Line 2\n\nweight g;who\n52,5;x\n51,0;y", [52.5, 51]),
        ("52\t51\t53", [52, 51, 53]),
        ("5.2e1 51", [52, 51]),
    ],
)
def test_the_usual_ways_of_writing_are_read(text, grams):
    found = read_measured(text, "g")
    assert found.values == pytest.approx(grams) and any(
        f"values read: {len(grams)}" in line for line in found.understood
    )


def test_units_in_the_header_or_the_cell():
    ounce = 28.349523125
    for found in (
        read_measured("weight (oz)\n2\n1.5", "g"),
        read_measured("2 oz; 1.5 oz", "g"),
        read_measured("link,weight_oz\na,2\nb,1.5", "g", column="weight"),
    ):
        assert found.values == pytest.approx([2 * ounce, 1.5 * ounce])
    assert read_measured("5 in 12 cm", "mm").values == pytest.approx([127, 120])


@pytest.mark.parametrize(
    "source, says",
    [
        ("52,125 51,250", "can mean 52.125 or 52125"),
        ("52,51", "one value or two"),
        ("", "no measurement"),
        ("weight\n\n", "no measurement"),
        ("a,b\n1,2\n3,4", "column='...'"),
        ([], "no measurement"),
        (3.5, "cannot be read from a float"),
        ("52 51 -3", "value 3: '-3' is not greater than 0"),
        ("52 0 51", "not greater than 0"),
        ("52 fifty 51", "'fifty' is no measurement"),
        ("52 g 51 mm", "is no measurement in g"),
        ("5e9 52", "larger than any sausage"),
        ([52, float("inf")], "no measurement"),
        ("w\n52.1\n51,3\n", "comma where the others have a point"),
        ([True, 5], "'True' is no"),
    ],
)
def test_what_cannot_be_read_is_told(source, says):
    with pytest.raises(KitError, match=says):
        read_measured(source, "g")


@given(st.text(alphabet='0123456789.,;|\t \n"gkmozx-−eE()', max_size=60))
def test_any_text_is_read_or_told(text):
    try:
        found = read_measured(text, "g")
    except Faulty as told:
        assert told.faults and all(fault.what for fault in told.faults)
    else:
        assert len(found) == len(found.row) > 0 and (found.values > 0).all()


def test_all_faults_at_once_with_their_rows(tmp_path):
    path = tmp_path / "weights.csv"
    path.write_text("link,weight\n1,52\n2,wet\n3,\n4,-1\n5,51\n", encoding="utf-8")
    with pytest.raises(Faulty) as told:
        read_measured(path, "g", column="weight")
    assert [(fault.row, fault.column, fault.file) for fault in told.value.faults] == [
        (3, "weight", "weights.csv"),
        (5, "weight", "weights.csv"),
    ]


def test_wrong_column_file_and_decimal_are_told(tmp_path):
    with pytest.raises(Faulty, match="nearest: weight"):
        read_measured("weight,link\n52,1\n51,2", "g", column="wieght")
    with pytest.raises(Faulty, match="none.csv: the file cannot be opened"):
        read_measured(tmp_path / "none.csv", "g")
    with pytest.raises(Faulty, match="give '.' or ','"):
        read_measured("52 51", "g", decimal=";")
    assert read_measured("52,125 51,250", "g", decimal=",").values == pytest.approx([52.125, 51.25])


def test_spreadsheet_frame_series_and_bytes_agree(tmp_path):
    book = openpyxl.Workbook()
    for row in (["Batch 7", None], ["weight g", "length mm"], [52.5, 120], [None, 121], [51, 119]):
        book.active.append(row)
    path = tmp_path / "links.xlsx"
    book.save(path)
    frame = pd.DataFrame({"weight g": [52.5, np.nan, 51], "length mm": [120, 121, 119]})
    for found in (
        read_measured(path, "g", column="weight"),
        read_measured(path.read_bytes(), "g", column="weight g"),
        read_measured(frame, "g", column="weight"),
        read_measured(frame["weight g"], "g"),
        read_measured(
            b"\xef\xbb\xbfweight g;length mm\n52,5;120\n;121\n51,0;119\n", "g", column="weight"
        ),
    ):
        assert found.values == pytest.approx([52.5, 51]) and any(
            "blank cells left out: 1" in line for line in found.understood
        )
    with pytest.raises(Faulty, match="is no workbook"):
        read_measured(b"PK\x03\x04 not a workbook", "g")
    book.create_sheet("more").append([1, 2])
    book.save(path)
    with pytest.raises(Faulty, match="say which one .sheet"):
        read_measured(path, "g", column="weight")


def test_pairs_keep_together_and_say_what_was_left_out():
    found = read_paired(
        "weight g,length mm,diameter mm\n52,120,22\n51,,22.1\n50,118,21.9\n49,117,21.8\n",
        {"weight": "g", "length": "mm"},
    )
    assert found["weight"].values.tolist() == [52, 50, 49] and found["length"].values.tolist() == [
        120,
        118,
        117,
    ]
    assert any("left out: 3" in line for line in found["weight"].understood)
    with pytest.raises(Faulty) as told:
        read_paired("weight,length\nx,120\n51,-2\n", {"weight": "g", "length": "mm"})
    assert len(told.value.faults) == 2


def test_a_slipped_decimal_is_pointed_at_and_kept():
    found = read_measured("52 51 50 53 5.2 51 52", "g")
    assert len(found) == 7 and "value 5: 5.2 g lies far" in found.notes[0]
    assert any("lies far" in note for note in scatter(found).notes)


@given(st.lists(st.floats(20, 80), min_size=2, max_size=40))
def test_intervals_hold_together(values):
    s = scatter(read_measured(values, "g"), low=40, high=60)
    assert list(s.mean) == sorted(s.mean) and list(s.sd) == sorted(s.sd)
    o = s.outside
    assert 0 <= o.share_pct.low <= o.share_pct.value <= o.share_pct.high <= 100
    assert_pencil(s.working)


def test_giveaway_in_grams_and_money():
    s = scatter(
        read_measured("51 52 50 51 52 50 51 51", "g"),
        declared_g=50,
        price_per_kg=6.0,
    )
    g = s.giveaway
    assert g.g.value == pytest.approx(1.0) and g.below_declared == 0
    assert (
        g.money_per_1000.value == pytest.approx(6.0)
        and g.money_per_1000.low < 6 < g.money_per_1000.high
        and "price" in s.sources[-1]
    )
    cooked = scatter(
        read_measured("51 52 50 51 52 50 51 51", "g"), declared_g=50, yield_pct=90
    ).giveaway
    assert (
        cooked.g.value == pytest.approx(-4.1)
        and cooked.money_per_1000 is None
        and cooked.below_declared == 8
    )
    assert any(
        "short weight" in note
        for note in scatter(read_measured("48 49 47 48", "g"), declared_g=50).notes
    )
    assert any(
        "cannot tell overfill" in note
        for note in scatter(read_measured("49 52 50 51.5", "g"), declared_g=50).notes
    )


@pytest.mark.parametrize(
    "call, says",
    [
        (lambda m: scatter(read_measured([50], "g")), "at least two"),
        (lambda m: scatter(m, price_per_kg=5), "declared weight"),
        (lambda m: scatter(m, declared_g=50, price_per_kg=-1), "price_per_kg"),
        (lambda m: scatter(m, low=60, high=50), "less than the upper"),
        (lambda m: scatter(m, declared_g=50, yield_pct=5), "yield_pct is 5"),
        (lambda m: scatter(m, confidence_pct=120), "confidence_pct"),
        (lambda m: scatter(read_measured("120 121", "mm"), declared_g=50), "these are lengths"),
        (lambda m: how_many(5, 0), "half_width"),
        (lambda m: drivers(*_measured([50] * 6, [120] * 6, [22] * 6)), "no scatter"),
        (lambda m: drivers(m, m, m), "at least 5"),
    ],
)
def test_bad_questions_are_refused(call, says):
    with pytest.raises(OutOfRange, match=says):
        call(read_measured("50 51 52", "g"))


def test_no_scatter_at_all_is_suspicious():
    s = scatter(read_measured([50] * 10, "g"), low=49, high=51)
    assert s.sd.value == 0 and any("too coarse" in note for note in s.notes)


@given(st.floats(0.1, 20), st.floats(0.05, 5))
def test_how_many_is_the_least_that_suffices(sd, half):
    from scipy.stats import t

    n = how_many(sd, half)
    assert t.ppf(0.95, n - 1) * sd / np.sqrt(n) <= half * (1 + 1e-9)
    assert n == 2 or t.ppf(0.95, n - 2) * sd / np.sqrt(n - 1) > half * (1 - 1e-9)


def test_how_many_more_is_careful_at_the_upper_spread():
    s = scatter(read_measured(list(np.random.default_rng(1).normal(50, 2, 20)), "g"))
    found, careful = how_many_more(s, 0.4)
    assert 0 < found < careful and how_many_more(s, 50) == (0, 0)


def _measured(weights, length, mm):
    return [
        read_measured(list(map(float, values)), unit)
        for values, unit in ((weights, "g"), (length, "mm"), (mm, "mm"))
    ]


def _links(n, sd_length, sd_diameter):
    rng = np.random.default_rng(0)
    length, mm = rng.normal(125, sd_length, n), rng.normal(22, sd_diameter, n)
    return link_weight_g(mm, length, 1030) * np.exp(rng.normal(0, 0.004, n)), length, mm


@pytest.mark.parametrize(
    "sd_length, sd_diameter, who",
    [(5, 0.1, "length"), (0.8, 0.5, "diameter"), (4.3, 0.38, None)],
)
def test_what_was_planted_is_found(sd_length, sd_diameter, who):
    found = drivers(*_measured(*_links(30, sd_length, sd_diameter)))
    assert found.verdict == who
    assert sum(share for _, share, _ in found.shares_pct.values()) == pytest.approx(100)
    assert ("cannot tell" if who is None else who) in found.sentence


def test_a_coarse_caliper_is_noticed():
    weights, length, mm = _links(60, 3, 0.15)
    blurred = mm + np.random.default_rng(9).normal(0, 0.6, 60)
    assert any(
        "runs against the diameter" in note
        for note in drivers(*_measured(weights, length, blurred)).notes
    )

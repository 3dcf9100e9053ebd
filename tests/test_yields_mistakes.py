"""Planted mistakes do what they say, and a unit error is named without being mended."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plant import without_gaps

from kit.errors import Faulty, OutOfRange, UnknownName
from kit.yields import mass_balance
from kit.yields.ledger import at, points
from kit.yields.mistakes import POUNDS, UNITS, counted_twice, leaked, misread, unit_slips, with_side

LINE = [
    *at("receive", 104, 103.8),
    *at("trim", 103.8, 100, scrap_kg=3.5),
    *at("chop", 100, 129, additions_kg={"ice": 25, "dry goods": 5}, rework_in_kg=1),
    *at("stuff", 128.5, 127, rework_out_kg=1.2),
    *at("cook", 127, {"cart 1": 60, "cart 2": 55}, samples_kg=0.3),
    *at("pack", 113, 112.5, giveaway_kg=0.8),
]
PLACES = [
    "receive",
    "trim",
    "chop",
    "stuff",
    "cook",
    "pack",
    "chop to stuff",
    "cook to pack",
    "trim to chop",
]


def missing(entries) -> dict[str, float]:
    b = mass_balance(entries)
    return {line.stage: line.lost_kg for line in b.sections}


@given(st.sampled_from(PLACES), st.floats(-3, 3))
def test_a_leak_opens_the_books_there_and_nowhere_else(where, kg):
    before, after = missing(LINE), missing(leaked(LINE, where, kg))
    assert all(
        math.isclose(after[name], before[name] + (kg if name == where else 0), abs_tol=1e-9)
        for name in before
    )


@given(st.sampled_from(["into stuff", "out of cook", "out of chop", "into pack"]), st.floats(-3, 3))
def test_a_scale_that_reads_wrong_opens_both_sides_of_its_weight(weight, kg):
    before, after = missing(LINE), missing(misread(LINE, weight, kg))
    changed = sorted(
        round(after[name] - before[name], 9)
        for name in before
        if abs(after[name] - before[name]) > 1e-9
    )
    assert changed == ([] if abs(kg) < 1e-9 else [round(-abs(kg), 9), round(abs(kg), 9)])


def test_carts_of_one_weight_share_what_is_planted():
    cart = {
        e.name: e.kg
        for e in misread(LINE, "out of cook", 11.5)
        if e.stage == "cook" and e.kind == "out"
    }
    assert cart == {"cart 1": pytest.approx(66), "cart 2": pytest.approx(60.5)}


@given(
    st.floats(0, 40),
    st.sampled_from(
        [("chop", "addition"), ("chop", "rework in"), ("stuff", "rework out"), ("cook", "sample")]
    ),
)
def test_more_put_in_or_taken_out_in_writing_changes_no_loss(kg, side):
    before, after = missing(LINE), missing(with_side(LINE, *side, kg))
    assert after == {name: pytest.approx(lost, abs=1e-9) for name, lost in before.items()}


def test_mended_books_have_no_hole_on_the_way():
    b = mass_balance(without_gaps(LINE))
    assert all(line.lost_kg == pytest.approx(0, abs=1e-9) for line in b.transfers)
    assert [line.lost_kg for line in b.stages] == pytest.approx(
        [line.lost_kg for line in mass_balance(LINE).stages]
    )


def test_rework_counted_twice_is_a_gain_that_was_never_there():
    stage = mass_balance(counted_twice(LINE)).stage("stuff")
    assert stage.lost_kg == pytest.approx(
        mass_balance(LINE).stage("stuff").lost_kg - 1.2
    ) and stage.kg_of("scrap") == pytest.approx(1.2)
    with pytest.raises(OutOfRange, match="none can be counted twice"):
        counted_twice(at("cook", 100, 91))


@pytest.mark.parametrize("weight", [p.label for p in points(LINE)] + ["ice at chop"])
@pytest.mark.parametrize("factor, slip", UNITS)
def test_a_slip_of_unit_is_named(weight, factor, slip):
    kg = {p.label: p.kg for p in points(LINE)} | {e.label: e.kg for e in LINE}
    if weight == "out of pack" and factor < 0.01:
        with pytest.raises(Faulty, match="more than the"):
            unit_slips(misread(LINE, weight, kg[weight] * (factor - 1)))
        return
    wrong = misread(LINE, weight, kg[weight] * (factor - 1))
    assert (weight, slip) in {(s.weight, s.what) for s in unit_slips(wrong)}
    named = next(s for s in unit_slips(wrong) if (s.weight, s.what) == (weight, slip))
    assert named.meant_kg == pytest.approx(kg[weight]) and named.written_kg == pytest.approx(
        kg[weight] * factor
    )


@pytest.mark.parametrize("factor", [1.02, 0.97, 1.1])
def test_an_ordinary_error_is_no_slip_of_unit(factor):
    assert unit_slips(misread(LINE, "out of stuff", 127 * (factor - 1))) == ()
    assert unit_slips(LINE) == () and pytest.approx(2.20462, abs=1e-5) == POUNDS


def test_words_speak_the_unit_that_is_shown():
    slip = unit_slips(misread(LINE, "into cook", 127 * (POUNDS - 1)))[0]
    assert (
        "279.99 kg" in slip.words()
        and "127.00 kg" in slip.words()
        and "617.27 lb" in slip.words("US")
        and "279.99 lb" in slip.words("US")
    )


def test_impossible_plants_are_refused():
    with pytest.raises(OutOfRange, match="something must stay"):
        leaked(LINE, "cook", 200)
    with pytest.raises(UnknownName, match="stuff"):
        leaked(LINE, "stuf", 1)
    with pytest.raises(UnknownName, match="out of cook"):
        misread(LINE, "out of the cook", 1)
    with pytest.raises(UnknownName, match="scrap"):
        with_side(LINE, "chop", "scraps", 1)

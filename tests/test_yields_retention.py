"""The books of water, fat and protein through a cook."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.errors import OutOfRange, UnknownName
from kit.yields.retention import part_balance, published_patties

share = st.floats(1, 30)


@given(share, share, share, st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_what_was_lost_is_found_again(water, fat, protein, w, f, p):
    """Cook a made-up product whose losses are known: the books give them back, and close."""
    raw, gone = (
        {"water": water, "fat": fat, "protein": protein},
        {"water": w * water * 0.9, "fat": f * fat * 0.9, "protein": p * protein * 0.9},
    )
    loss = sum(gone.values())
    cooked = {name: 100 * (raw[name] - gone[name]) / (100 - loss) for name in raw}
    found = part_balance(raw, cooked, loss)
    for name in raw:
        assert math.isclose(found.lost_kg[name], gone[name], abs_tol=1e-9)
        assert math.isclose(
            found.retained_pct[name], 100 * (1 - gone[name] / raw[name]), abs_tol=1e-9
        )
    assert abs(found.unrecorded_kg) < 1e-9
    assert_pencil(found.working)


def test_no_part_can_grow_in_a_cooker():
    found = part_balance({"protein": 16}, {"protein": 24}, 28)
    assert (
        found.faults[0].field == "protein"
        and "108.0 % of the protein" in str(found.faults[0])
        and found.lost_kg["protein"] < 0
    )


def test_refusals():
    for raw, cooked, loss, words in (
        ({"fat": 30}, {"fat": 35}, 120, "cook loss is 120"),
        ({"fat": 0}, {"fat": 1}, 10, "raw fat is 0 %"),
        ({"fat": 60, "water": 60}, {"fat": 1, "water": 1}, 10, "add up to 120"),
        ({"fat": 60}, {}, 10, "no cooked share"),
        ({}, {}, 10, "no cooked share"),
        ({"fat": -1}, {"fat": 1}, 10, "raw fat is -1"),
    ):
        with pytest.raises(OutOfRange, match=words):
            part_balance(raw, cooked, loss)
    with pytest.raises(UnknownName, match="fat"):
        part_balance({"fat": 30}, {"fat": 35}, 10, {"fats": 90})


def test_agreement_is_not_reported_as_a_gap():
    assert part_balance({"fat": 30}, {"fat": 35}, 20, {"fat": 93.3}).notes == ()


def test_the_published_trial_keeps_its_source():
    assert sorted(published_patties()) == [10, 15, 20, 25] and all(
        found.sources for found in published_patties().values()
    )

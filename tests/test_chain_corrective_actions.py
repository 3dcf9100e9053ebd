"""Remedies that count the chopper's heat: what ice and a colder start do to the end, checked by going forwards through both rooms."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.chain.chop import bowl_of
from kit.chain.corrective_actions import (
    corrective_actions_in,
    factors_of,
)
from kit.chain.emulsion import described
from kit.chop.bowl import with_added_water
from kit.chop.charge import WATER, Charge, ice
from kit.emulsion import corrective_actions, hold
from kit.emulsion.factors import FACTORS
from kit.lab.lessons.emulsion import START, start_sheet

KNOWN = {"collagen_pct_of_protein": 22, "phosphate_pct": 0.3, "drop_um": 20}


def case(end_C=17.0, **moved):
    """The lesson's batch, dry enough that water is not the limit, chopped to `end_C`."""
    sheet = start_sheet(START | {"ice_pct_of_meat": 15} | moved)
    return bowl_of(sheet), described(sheet, end_C=end_C, core_C=72, **KNOWN).batter


def iced(bowl, grams):
    extra = ice(
        bowl.of_kind("ice")[0].kg + grams / 100 * float(bowl.kg),
        bowl.of_kind("ice")[0].temperature_C,
    )
    return bowl.with_charges((*(c for c in bowl.charges if c.kind != "ice"), extra))


@given(st.floats(10, 24), st.floats(-10, 25), st.floats(-1.5, 10))
def test_the_levers_end_where_the_bowl_ends(end_C, grams, meat_C):
    """Straight lines between 241 knots: within 0.05 K of the balance itself."""
    bowl, batter = case(end_C)
    heat, factors = float(bowl.energy_to_kJ_per_kg(end_C)), factors_of(bowl, batter)
    assert float(factors["start_C"].at(batter, meat_C).end_C) == pytest.approx(
        float(bowl.with_meat(meat_C).end_C(heat)), abs=0.05
    )
    more = factors["ice_g"].at(batter, grams)
    assert float(more.end_C) == pytest.approx(float(iced(bowl, grams).end_C(heat)), abs=0.05)
    assert float(more.water_pct) == pytest.approx(
        float(FACTORS["ice_g"].at(batter, grams).water_pct)
    )
    assert [*factors] == [[*FACTORS][0], "start_C", *[*FACTORS][1:]]


def test_a_lever_at_rest_changes_nothing():
    bowl, batter = case()
    for factor in factors_of(bowl, batter).values():
        assert hold(factor.at(batter, float(factor.here(batter)))).margins == pytest.approx(
            hold(batter).margins, abs=1e-3
        ), factor.name


def test_a_hot_end_is_lifted_by_more_ice_and_by_a_colder_start():
    """Ice as water lifts no temperature margin; ice as ice does."""
    bowl, batter = case(19.0)
    found = corrective_actions_in(bowl, batter)
    assert found.limit == "temperature" and found.margin < 0
    got = {r.factor.name: r for r in found.actions}
    assert {"end_C", "ice_g"} <= set(got)
    assert {"end_C"} == {r.factor.name for r in corrective_actions(batter).actions}
    for r in got.values():
        assert r.state.margins["temperature"] == pytest.approx(0, abs=1e-6) and r.batter.end_C < 19
        assert hold(r.batter).margins == pytest.approx(r.state.margins)
    heat, after = float(bowl.energy_to_kJ_per_kg(19.0)), got["ice_g"].after
    assert after > 0 and float(iced(bowl, after).end_C(heat)) == pytest.approx(
        got["ice_g"].batter.end_C, abs=0.05
    )
    small = corrective_actions_in(*case(18.4))
    start = next(r for r in small.actions if r.factor.name == "start_C")
    assert start.after < start.before and start.change == "start with colder meat"


def test_leaving_out_ice_warms_and_may_push_the_temperature_over():
    """The trap: with water short and the end warm, less ice lifts the water margin only until the warmer end fails."""
    bowl, batter = case(17.5, ice_pct_of_meat=72)
    plain, true = (
        corrective_actions(batter, limit="water"),
        corrective_actions_in(bowl, batter, limit="water"),
    )
    assert any(r.factor.name == "ice_g" for r in plain.actions)
    assert all(r.factor.name != "ice_g" for r in true.actions)
    stuck = next(o for o in true.out_of_reach if o.factor.name == "ice_g")
    assert stuck.best > 0  # it would lift the water margin, and push the temperature past its edge


def test_what_was_counted_is_said():
    bowl, batter = case(19.0)
    notes = corrective_actions_in(bowl, batter).notes
    assert any("knives giving the same heat per kg" in note for note in notes)
    assert any("less knife work, or colder things" in note for note in notes)
    assert not any("ice counts as water" in note for note in notes)
    warm = with_added_water(bowl, 0.0, 15.0)
    assert factors_of(warm, batter.but(end_C=1.0)) is FACTORS
    said = corrective_actions_in(warm, batter.but(end_C=1.0)).notes
    assert any("so that ice counts as water only" in note for note in said)
    none = warm.with_charges([Charge("water", "water", 10.0, 2.0, WATER)])
    assert factors_of(none, batter) is FACTORS


def test_no_more_ice_is_taken_out_than_there_is():
    bowl, batter = case(17.0, ice_pct_of_meat=5)
    low, high = factors_of(bowl, batter)["ice_g"].action_range(batter)
    assert low == pytest.approx(-100 * bowl.of_kind("ice")[0].kg / float(bowl.kg)) and high == 30
    bare = bowl.with_charges(c for c in bowl.charges if c.kind != "ice")
    assert factors_of(bare, batter)["ice_g"].action_range(batter)[0] == 0


def test_a_colder_start_freezes_no_meat():
    """Meats keep their differences: the coldest of them stops at −1.5 °C, or where it is."""
    bowl, batter = case(17.0)
    meats = bowl.of_kind("meat")
    apart = bowl.with_charges(
        replace(c, temperature_C=-1.0 if c is meats[0] else 3.0) if c.kind == "meat" else c
        for c in bowl.charges
    )
    factor = factors_of(apart, batter)["start_C"]
    assert factor.here(batter) - factor.action_range(batter)[0] == pytest.approx(0.5)
    frozen = bowl.with_meat(-4.0)
    factor = factors_of(frozen, batter)["start_C"]
    assert factor.action_range(batter)[0] == pytest.approx(-4.0)


def test_a_very_hot_end_stays_inside_what_a_batter_can_end_at():
    bowl, batter = case(58.0)
    found = corrective_actions_in(bowl, batter)
    assert all(r.batter.end_C <= 60 for r in found.actions) and found.limit == "temperature"

"""Corrective actions are roots of the model; the map is the model on a grid."""

import numpy as np
import pytest
from pencil import assert_pencil
from published_batters import base_batter

from kit.emulsion import calibrate, corrective_actions, hold
from kit.emulsion.break_map import break_map
from kit.emulsion.calibrate import MeasuredLoss
from kit.emulsion.factors import FACTORS
from kit.emulsion.model import LIMITS, work_out
from kit.emulsion.parameters import defaults
from kit.errors import OutOfRange, UnknownName

BASE = base_batter()
FAILING = {
    "fat load": BASE.but(fat_pct=34, protein_pct=10, water_pct=52),
    "temperature": BASE.but(end_C=20),
    "cold": BASE.but(fat_kind="beef", end_C=2),
    "water": BASE.but(water_pct=70, protein_pct=9, fat_pct=17),
    "coverage": BASE.but(
        salt_pct=0.2, phosphate_pct=0, fat_pct=20, water_pct=45, protein_pct=18, drop_um=2
    ),
}


@pytest.mark.parametrize("name", FAILING)
def test_each_action_just_restores_the_limit_and_breaks_no_other(name):
    batter = FAILING[name]
    found = corrective_actions(batter)
    assert (
        found.margin < 0
        and found.short_by == -found.margin
        and found.limit == hold(batter).fails_first
    )
    assert found.actions
    before = hold(batter).margins
    for action in found.actions:
        after = hold(action.batter)
        assert 0 <= after.margins[found.limit] < 2e-3, action
        assert all(after.margins[n] >= min(before[n], 0) - 1e-8 for n in LIMITS)
        nearly = action.factor.at(batter, action.before + 0.99 * (action.after - action.before))
        assert hold(nearly).margins[found.limit] < 0, "a smaller change would have done"
        assert after.total_out_g == pytest.approx(action.state.total_out_g)
    steps = [r.steps for r in found.actions]
    assert steps == sorted(steps)
    assert_pencil(found.working)
    assert {r.factor.name for r in (*found.actions, *found.out_of_reach)} == set(FACTORS)


def test_the_temperature_root_is_the_one_worked_by_hand():
    """Margin 0 lies one hot width above the best end: 13.5 + 4."""
    (only,) = corrective_actions(FAILING["temperature"]).actions
    assert (
        only.factor.name == "end_C"
        and only.after == pytest.approx(17.5, abs=1e-4)
        and "colder" in only.change
    )
    (warmer,) = corrective_actions(FAILING["cold"]).actions
    assert warmer.after == pytest.approx(19.5 - 14, abs=1e-4) and "warmer" in warmer.change


def test_the_fat_root_is_the_one_worked_by_hand():
    """Fat per functional protein falls to 3.4; protein is thickened as fat goes: F / (10 × 0.8 × (100 − F) / 66) = 3.4 …"""
    fat = next(
        r for r in corrective_actions(FAILING["fat load"]).actions if r.factor.name == "fat_pct"
    )
    functional = 8.0 * (100 - fat.after) / 66
    assert fat.after / functional == pytest.approx(3.4, abs=1e-3)


def test_a_higher_margin_can_be_wished_for_and_a_sound_batter_needs_nothing():
    more = corrective_actions(BASE, wanted=0.5)
    assert (
        more.limit == "water"
        and more.actions
        and all(r.state.margins["water"] >= 0.5 for r in more.actions)
    )
    none = corrective_actions(BASE)
    assert (
        none.actions == ()
        and none.short_by == 0
        and any("nothing to restore" in note for note in none.notes)
    )


def test_the_cook_never_falls_below_the_floor_and_warns():
    low, _ = FACTORS["core_C"].action_range(BASE.but(core_C=85))
    assert low == 71
    found = corrective_actions(BASE.but(core_C=95, salt_pct=1.5))
    lower = [r for r in found.actions if r.factor.name == "core_C"]
    assert lower and lower[0].after >= 71 and any("lethality" in note for note in found.notes)


def test_the_calibration_moves_the_margin():
    own = calibrate([MeasuredLoss(BASE, water_out_g=9.0, fat_out_g=3.0)] * 4)
    assert corrective_actions(BASE, calibration=own).margin < corrective_actions(BASE).margin


def test_corrective_actions_refuse_what_they_cannot_use():
    with pytest.raises(UnknownName, match="water"):
        corrective_actions(BASE, limit="wter")
    with pytest.raises(OutOfRange, match="one batter"):
        corrective_actions(BASE.but(end_C=np.array([1.0, 2.0])))


PAIRS = [(a, b) for a in FACTORS for b in FACTORS if a != b]


@pytest.mark.parametrize("across, up", PAIRS[::7], ids=lambda n: n)
def test_the_map_is_the_model_at_each_point(across, up):
    m = break_map(BASE, across, up, points=9)
    for i, j in ((0, 0), (3, 7), (8, 8)):
        one = FACTORS[up].at(FACTORS[across].at(BASE, m.across_values[j]), m.up_values[i])
        state = work_out(one, defaults())
        assert m.total_out_g[i, j] == pytest.approx(float(state.total_out_g)) and m.least_margin[
            i, j
        ] == pytest.approx(float(state.least_margin))
        assert m.weakest[i, j] == state.weakest


def test_every_pair_of_levers_has_a_map_of_the_base():
    for across, up in PAIRS:
        assert break_map(BASE, across, up, points=5).total_out_g.shape == (5, 5)


def test_the_map_shows_the_hot_and_fatty_corner_as_worst():
    m = break_map(BASE, "end_C", "fat_pct", points=41)
    assert np.unravel_index(np.argmax(m.fat_out_g), m.fat_out_g.shape) == (40, 40)
    assert LIMITS[m.weakest[5, 40]] == "temperature" and m.point == (13, 26)


def test_the_map_refuses_nonsense():
    with pytest.raises(OutOfRange, match="two different"):
        break_map(BASE, "end_C", "end_C")
    with pytest.raises(UnknownName, match="fat_pct"):
        break_map(BASE, "end_C", "fat")
    with pytest.raises(OutOfRange, match="must rise"):
        break_map(BASE, across_range=(20, 10))
    with pytest.raises(OutOfRange, match="narrow the ranges"):
        break_map(BASE, "end_C", "ice_g", up_range=(-90, 0))

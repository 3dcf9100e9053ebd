"""A batch through several machines, with the room's heat, and split: the sums are the room's own, the directions those of physics."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.chop.bowl import Bowl
from kit.chop.machines import guides, machine
from kit.chop.path import Surroundings
from kit.chop.processing_line import MAIN, SAME_HEAT, SAME_MINUTES, split_batch, through_line
from kit.errors import OutOfRange, UnknownName
from kit.lab.lessons.chop import start_bowl

PORK = guides()["pork"]


def route(bowl=None, **more):
    return through_line(bowl or start_bowl(), PORK, 14.0, **more)


@given(st.sampled_from(MAIN), st.integers(0, 3), st.integers(0, 2), st.floats(-4, 10))
def test_the_end_is_that_of_all_the_heat_at_once(main, grinds, mills, meat_C):
    """Heat adds up whatever the order: the route's end is one balance with the machines' sum, the grinder counted on the meat's share."""
    bowl = start_bowl(meat_C=meat_C)
    meat = sum(c.kg for c in bowl.charges if c.kind == "meat") / bowl.kg
    heat = {
        which: grinds * meat * getattr(machine("grinder"), f"{which}_kJ_per_kg")
        + getattr(machine(main), f"{which}_kJ_per_kg")
        + mills * getattr(machine("emulsifier"), f"{which}_kJ_per_kg")
        for which in ("low", "usual", "high")
    }
    if heat["high"] > bowl.energy_to_kJ_per_kg(100.0):
        with pytest.raises(OutOfRange, match="boil"):
            route(bowl, main=main, grinder_passes=grinds, mill_passes=mills)
        return
    found = route(bowl, main=main, grinder_passes=grinds, mill_passes=mills)
    for which, energy in heat.items():
        end = getattr(found.stops[-1], f"{which}_C")
        assert end == pytest.approx(float(bowl.end_C(energy)), abs=1e-7)
    assert len(found.stops) == 3 + grinds + mills
    assert all(s.low_C <= s.usual_C <= s.high_C for s in found.stops)
    assert_pencil(found.working)


def test_each_grinder_pass_warms_the_meat_by_its_own_heat():
    """Above freezing, lean and fat meat of this batch take near 3.1 kJ/(kg K): 12 kJ/kg is close to 4 K."""
    stops = {s.name: s for s in route(grinder_passes=2).stops}
    first = stops["meat, grinder pass 1"].usual_C - stops["meat as it goes in"].usual_C
    assert 3.5 < first < 4.5 and stops["meat, grinder pass 2"].usual_C - stops[
        "meat, grinder pass 1"
    ].usual_C == pytest.approx(first, abs=0.05)


def test_room_and_steel_change_the_end_as_they_should():
    """A warm room warms, a cold one less; steel at the batter's own end does nothing, warm steel warms; without either nothing is gained."""
    plain = route(minutes=10)
    assert plain.gained_kJ_per_kg == pytest.approx(0, abs=1e-7) and plain.warmed_K == pytest.approx(
        0, abs=1e-7
    )
    cold, warm = (route(minutes=10, surroundings=Surroundings(30, room)) for room in (5, 25))
    assert (
        warm.stops[-1].usual_C > cold.stops[-1].usual_C > plain.stops[-1].usual_C
        and warm.gained_kJ_per_kg > cold.gained_kJ_per_kg > 0
    )
    longer = route(minutes=20, surroundings=Surroundings(30, 25))
    assert longer.gained_kJ_per_kg > warm.gained_kJ_per_kg
    bowl = start_bowl()
    assert route(replace(bowl, steel_kg=100, steel_C=plain.stops[-1].usual_C)).stops[
        -1
    ].usual_C == pytest.approx(plain.stops[-1].usual_C, abs=1e-6)
    hot = route(replace(bowl, steel_kg=100, steel_C=25))
    assert hot.stops[-1].usual_C > plain.stops[-1].usual_C and hot.warmed_K == pytest.approx(
        hot.stops[-1].usual_C - plain.stops[-1].usual_C, abs=1e-6
    )
    assert_pencil(warm.working), assert_pencil(hot.working)


def test_the_gain_from_the_room_is_ua_times_the_mean_difference():
    """UA × (room − batter) × time, by hand, with the batter's mean over ten minutes between its first and last reading."""
    found = route(minutes=10, surroundings=Surroundings(20, 20))
    kg, start, end = float(start_bowl().kg), found.stops[1].usual_C, found.stops[-1].usual_C
    least, most = (20e-3 * (20 - t) * 600 / kg for t in (end, start))
    assert least < found.gained_kJ_per_kg < most


def test_ice_for_the_wanted_end_really_ends_there():
    passed = {
        "main": "food processor",
        "grinder_passes": 1,
        "minutes": 8,
        "surroundings": Surroundings(10, 20),
    }
    found = route(**passed)
    assert found.ice is not None
    again = route(found.ice.bowl, **passed)
    assert again.stops[-1].usual_C == pytest.approx(
        14.0, abs=0.1
    )  # the gain from the room shifts a little with the path
    assert route(main="kneader").ice is None and any(
        "no share of ice" in note for note in route(main="kneader").notes
    )


@given(st.integers(2, 6), st.floats(20, 100), st.floats(2, 15))
def test_half_the_batch_in_half_the_minutes_ends_alike(parts, energy, minutes):
    bowl = start_bowl()
    found = split_batch(bowl, energy, minutes, parts, SAME_HEAT)
    assert [p.end_C for p in found.portions] == pytest.approx([found.whole_end_C] * parts, abs=1e-7)
    assert parts * found.minutes_each == pytest.approx(minutes)
    assert_pencil(found.working)


def test_the_same_minutes_give_each_part_more():
    found = split_batch(start_bowl(), 60, 6, 2, SAME_MINUTES)
    assert found.portions[0].energy_kJ_per_kg == pytest.approx(120)
    assert found.portions[0].end_C == pytest.approx(float(start_bowl().end_C(120.0)), abs=1e-7)
    with pytest.raises(OutOfRange, match="boil"):
        split_batch(start_bowl(), 115, 9, 6, SAME_MINUTES)


def test_parts_that_wait_in_a_warm_room_end_warmer_one_by_one():
    ends = [
        p.end_C
        for p in split_batch(start_bowl(), 115, 9, 4, SAME_HEAT, Surroundings(15, 25)).portions
    ]
    assert ends == sorted(ends) and ends[-1] > ends[0] + 0.5


def test_stages_keep_the_limit_or_say_why_not():
    found = split_batch(start_bowl(), 150, 9, 1, limit_C=15.6, back_to_C=4)
    assert found.stages.number == 2
    bowl = start_bowl()
    per_K = (bowl.enthalpy_kJ(15.6) - bowl.enthalpy_kJ(4.0)) / bowl.kg
    assert found.stages.first_kJ_per_kg + per_K >= 150 and found.stages.first_kJ_per_kg < 150
    assert (
        split_batch(start_bowl(meat_C=12, ice_share_pct=0), 50, 9, 1, limit_C=5, back_to_C=2).stages
        is None
    )


def test_what_cannot_be_is_refused_with_a_remedy():
    bowl = start_bowl()
    with pytest.raises(UnknownName):
        route(main="bowl cuter")
    for wrong in ({"grinder_passes": -1}, {"mill_passes": 99}, {"minutes": 0}):
        with pytest.raises(OutOfRange):
            route(**wrong)
    with pytest.raises(OutOfRange, match="no meat"):
        route(Bowl(bowl.of_kind("ice")))
    with pytest.raises(OutOfRange, match="parts"):
        split_batch(bowl, 100, 9, 0)

"""A batch through several machines, with the room's heat: the sums are the room's own, the directions those of physics."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.chop.bowl import Bowl
from kit.chop.inverse import ice_or_why
from kit.chop.machines import machine
from kit.chop.path import Surroundings
from kit.chop.processing_line import MAIN, through_line
from kit.errors import OutOfRange, UnknownName
from kit.lab.lessons.chop import start_bowl


def route(bowl=None, **more):
    return through_line(bowl or start_bowl(), **more)


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
    energy = found.machine.usual_kJ_per_kg + found.gained_kJ_per_kg
    ice, _ = ice_or_why(start_bowl(), 14.0, energy)
    again = route(ice.bowl, **passed)
    assert again.stops[-1].usual_C == pytest.approx(
        14.0, abs=0.1
    )  # the gain from the room shifts a little with the path
    kneaded = route(main="kneader").machine.usual_kJ_per_kg
    ice, why = ice_or_why(start_bowl(), 14.0, kneaded)
    assert ice is None and "no share of ice" in why[0]


def test_what_cannot_be_is_refused_with_a_remedy():
    bowl = start_bowl()
    with pytest.raises(UnknownName):
        route(main="bowl cuter")
    for wrong in ({"grinder_passes": -1}, {"mill_passes": 99}, {"minutes": 0}):
        with pytest.raises(OutOfRange):
            route(**wrong)
    with pytest.raises(OutOfRange, match="no meat"):
        route(Bowl(bowl.of_kind("ice")))

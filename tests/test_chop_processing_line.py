"""A batch through several machines: the sums are the room's own, the directions those of physics."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.chop.bowl import Bowl
from kit.chop.inverse import ice_or_why
from kit.chop.machines import machine
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


def test_ice_for_the_wanted_end_really_ends_there():
    passed = {"main": "food processor", "grinder_passes": 1}
    found = route(**passed)
    ice, _ = ice_or_why(start_bowl(), 14.0, found.machine.usual_kJ_per_kg)
    again = route(ice.bowl, **passed)
    assert again.stops[-1].usual_C == pytest.approx(14.0, abs=1e-6)
    kneaded = route(main="kneader").machine.usual_kJ_per_kg
    ice, why = ice_or_why(start_bowl(), 14.0, kneaded)
    assert ice is None and "no share of ice" in why[0]


def test_what_cannot_be_is_refused_with_a_remedy():
    bowl = start_bowl()
    with pytest.raises(UnknownName):
        route(main="bowl cuter")
    for wrong in ({"grinder_passes": -1}, {"mill_passes": 99}):
        with pytest.raises(OutOfRange):
            route(**wrong)
    with pytest.raises(OutOfRange, match="no meat"):
        route(Bowl(bowl.of_kind("ice")))

"""A class that runs late, loses a chopper or a station: what is left keeps every promise, and nobody's card changes."""

from dataclasses import replace

import pytest
from class_check import check

from kit.classroom.codes import code
from kit.classroom.plan import without
from kit.classroom.replan import replan
from kit.classroom.tasks import ClassRoom
from kit.errors import KitError, OutOfRange
from kit.reading.class_book import station_book
from kit.reading.class_plan import plan_toml, read_plan
from kit.reading.class_results import read_results
from kit.tables import data_path
from kit.trial import ask, power
from kit.trial.analyse import analyse
from kit.trial.readings import TubeLoss

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
TIGHT = replace(PLAN, room=ClassRoom((90,), bath_places=24, balances=4))
"""so few places in the bath that every minute counts"""


def kept(plan, found, at, stop=0, lost=()):
    """What must hold of any answer, told apart from how it was found."""
    old = {row.key: row for row in plan.timetable.rows}
    printed = {(u.station, u.batter): u for u in plan.design.units}
    for u in found.plan.design.units:
        card = printed[u.station, u.batter]
        assert replace(u, fills_g=card.fills_g) == card, "level, lot, chopper as on the card"
        assert u.fills_g == card.fills_g[: len(u.fills_g)], "codes and weights as on the card"
    assert found.plan.fingerprint == plan.fingerprint
    for row in found.timetable.rows:
        before = old[row.key]
        if row.session == 1 and row.start_min < at:
            assert row == before, "what has begun stays"
        elif row.session == 1:
            assert row.start_min >= at + stop, "nothing begins in the stop"
            assert row.chopper not in lost
        begun = before.start_min < at and (before.chopper not in lost or before.end_min <= at)
        assert (row.start_min == before.start_min) >= begun
    assert 0 <= found.chance <= found.chance_before


def whole(found):
    """Breaches by the independent check; it expects steps as long as the tubes that are left need."""
    its = found.plan
    said = check(found.timetable, its.design, its.room, its.minutes, its.limits)
    return [one for one in said if "takes" not in one.what]


@pytest.mark.parametrize(
    "at, stop, lost, given_up",
    [
        (0, 10, (), []),
        (0, 20, (), []),
        (0, 0, (2,), []),
        (20, 0, (2,), []),
        (20, 5, (1, 3), []),
        (0, 35, (), ["bath of today"]),
        (30, 12, (), ["wait alike"]),
    ],
)
def test_a_stop_or_a_lost_chopper_costs_as_little_as_can_be(at, stop, lost, given_up):
    found = replan(PLAN, at, stopped_min=stop, lost_choppers=lost)
    kept(PLAN, found, at, stop, lost)
    assert len(found.given_up) == len(given_up)
    assert all(word in said for word, said in zip(given_up, found.given_up))
    assert found.timetable.rows and whole(found) == []
    assert {s for s in range(1, 9) if PLAN.room.chopper_of(s) in lost} == set(found.moved)
    assert all(c not in lost for c in found.moved.values())


def test_a_tube_of_every_batter_goes_before_a_station():
    ends, stations = [], []
    for stop in (4, 6, 10, 14):
        found = replan(TIGHT, stopped_min=stop)
        kept(TIGHT, found, 0, stop)
        assert found.timetable.rows and whole(found) == []
        stations.append(found.plan.design.stations)
        ends.append((found.plan.design.tubes, found.chance))
    assert [tubes for tubes, _ in ends] == [3, 2, 2, 2] and stations[:3] == [8, 8, 8] > stations[3:]
    chances = [chance for _, chance in ends]
    assert chances[0] > chances[1] == chances[2] > chances[3]
    its = found.plan
    assert chances[3] == pytest.approx(power(its.design, its.spread, 1.5, its.room.balance_step_g))


def test_what_no_change_can_save_is_said_by_its_station_and_its_limit():
    found = replan(PLAN, 25, stopped_min=20)
    assert found.timetable.rows == () and found.chance == 0
    assert "Nothing fits" in str(found) and "the limit is 15" in str(found)
    late = replan(TIGHT, 40, stopped_min=8)
    assert late.timetable.rows == () and late.given_up == () and "Nothing fits" in str(late)


def test_a_batter_in_the_chopper_that_breaks_is_chopped_again_elsewhere():
    running = next(r for r in PLAN.timetable.rows if r.chopper == 2 and r.start_min > 10)
    found = replan(PLAN, running.start_min + 2, lost_choppers=(2,))
    kept(PLAN, found, running.start_min + 2, lost=(2,))
    again = next(r for r in found.timetable.rows if r.key == running.key)
    assert again.start_min >= running.start_min + 2 and again.chopper != 2
    assert any("from the beginning" in note for note in found.notes)


def test_an_absent_station_moves_nobody():
    found = replan(PLAN, 15, absent=[3])
    rows = [row for row in PLAN.timetable.rows if row.key[0] != 3]
    assert list(found.timetable.rows) == rows and found.plan == without(PLAN, [3])
    assert found.chance < found.chance_before and whole(found) == []


def test_a_tube_that_was_given_up_is_told_when_it_is_handed_in():
    fewer = replace(PLAN, dropped_tubes=1)
    assert read_plan(plan_toml(fewer)) == fewer and read_plan(plan_toml(fewer)).design.tubes == 2
    text = "code,empty_g,filled_g,after_g\n" + "".join(
        f"{code(4, 1, n)},13,43,40\n" for n in (1, 2, 3)
    )
    found = read_results([("a.csv", text)], fewer)
    assert [t.tube for t in found.tubes] == [1, 2]
    assert ["dropped" in fault.what for fault in found.faults] == [True]
    assert len(station_book(fewer, 4)) < len(station_book(PLAN, 4))


def test_a_straight_line_and_bath_runs_count_every_station_that_is_left():
    for question, batters in ((ask("end_C", (10, 13, 16, 19)), 4), (ask("core_C", (68, 78)), 2)):
        factor, levels = question.factors[0].key, question.levels[0]
        plan = replace(PLAN, factor=(factor,), levels=(levels,), stations=6, batters=batters)
        left = without(plan, [1]).design
        losses = [
            TubeLoss(u.station, u.batter, t, 8.0 + u.treatment + 0.01 * u.station * u.batter)
            for u in left.units
            for t in (1, 2, 3)
        ]
        found = analyse(left, losses).effects[0].found
        assert found.value == pytest.approx(len(levels) - 1, abs=0.2)
        assert found.dof == (4 if batters == 4 else 2)


@pytest.mark.parametrize(
    "asked, word",
    [
        ({"at_min": 91}, "0 and 90"),
        ({"stopped_min": -1}, "0 and 90"),
        ({"lost_choppers": (5,)}, "1 to 4"),
        ({"lost_choppers": (1, 2, 3, 4)}, "no chopper"),
        ({"absent": (9,)}, "1 to 8"),
        ({"session": 3}, "session 3"),
    ],
)
def test_what_is_not_there_is_refused_with_its_limits(asked, word):
    with pytest.raises(OutOfRange, match=word):
        replan(PLAN, **asked)
    with pytest.raises(KitError, match="no clock times"):
        replan(replace(PLAN, room=ClassRoom((60,), balances=1)))

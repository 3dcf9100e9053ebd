"""A class's codes, clock times, weigh sheets and shopping list."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from class_check import check

from kit.classroom.codes import WrongCode, code, read_code
from kit.classroom.plan import ClassPlan, options, without
from kit.classroom.recipe import shopping, weigh_sheets
from kit.classroom.tasks import BATH, ClassRoom, StepMinutes, WaitLimits, work_of
from kit.classroom.timetable import bound, solved, timetable
from kit.errors import KitError, OutOfRange, UnknownName
from kit.reading import read_sheet
from kit.tables import data_path
from kit.trial import ask, design

KITCHEN = read_sheet(data_path("demo", "teaching_kitchen.toml"))
PAIR = ask("end_C", (13, 18))
PLAN = ClassPlan(KITCHEN)
USUAL = WaitLimits.usual()


# codes


@pytest.mark.parametrize("text", ["S03B2T1-1", "s03b2t1-1", " S03 B2 T1 1 ", "S03B2T1–1"])
def test_a_code_is_read_however_it_is_written(text):
    assert read_code(text) == (3, 2, 1)


@pytest.mark.parametrize("text", ["17.03.2", "MAR1", "1E5", "", "S03B2T1", "S00B1T1-0", 42])
def test_what_is_no_code_is_refused_with_an_example(text):
    with pytest.raises(WrongCode, match="S03B2T1-1|nearest"):
        read_code(text)


def test_no_wrong_digit_and_no_exchange_of_neighbours_passes():
    for station, batter, tube in [(3, 2, 1), (12, 1, 3), (99, 9, 9), (40, 4, 4)]:
        good = code(station, batter, tube)
        places = [n for n, c in enumerate(good) if c.isdigit()]
        wrong = {good[:n] + d + good[n + 1 :] for n in places for d in "0123456789" if d != good[n]}
        for a, b in zip(places, places[1:]):
            other = list(good)
            other[a], other[b] = other[b], other[a]
            wrong.add("".join(other))
        for text in wrong - {good}:
            with pytest.raises(WrongCode):
                read_code(text)


def test_the_right_code_is_among_those_offered():
    good = code(7, 1, 2)
    with pytest.raises(WrongCode, match=good):
        read_code(good[:2] + "8" + good[3:])


def test_no_code_is_a_date_or_a_number():
    assert all(code(s, b, t).startswith("S") for s in (1, 99) for b in (1, 9) for t in (1, 9))


# clock times


def room_of(stations, choppers, bath, balances, minutes, session=90):
    return ClassRoom((session, 90), choppers, bath, 75, balances), StepMinutes(*minutes)


@pytest.mark.parametrize(
    "stations, batters, tubes, choppers, bath, balances, minutes, session, ends",
    [
        (8, 2, 3, 8, 48, 8, (8, 8, 6, 30, 4 / 3), 90, 78),
        (8, 2, 2, 4, 24, 4, (8, 8, 6, 30, 2), 90, 86),
        (6, 2, 2, 1, 24, 4, (8, 8, 6, 30, 2), 150, 144),
        (5, 1, 2, 1, 24, 4, (4, 9, 5, 30, 1.5), 90, 87),
        (6, 1, 2, 1, 24, 4, (4, 9, 5, 30, 1.5), 90, None),
        (8, 2, 3, 8, 24, 3, (8, 8, 6, 30, 4 / 3), 90, None),
    ],
)
def test_rooms_worked_out_before_with_other_code(
    stations, batters, tubes, choppers, bath, balances, minutes, session, ends
):
    """Ends in minutes as measured before with another model of the same rooms; None: proved impossible."""
    planned = design(PAIR, stations, batters, tubes, machines=min(choppers, stations))
    room, its = room_of(stations, choppers, bath, balances, minutes, session)
    found = timetable(planned, room, its, USUAL, changes=False)
    assert (found.ends_min or None) == ends
    assert found.method == ("best possible" if ends else "impossible") and bool(
        found.because
    ) != bool(ends)
    assert not found.rows or check(found, planned, room, its, USUAL) == ()


def test_impossible_comes_with_changes_that_were_tried():
    planned = design(PAIR, 8, 2, 3)
    room, its = room_of(8, 8, 24, 3, (8, 8, 6, 30, 4 / 3))
    found = timetable(planned, room, its, USUAL)
    words = [words for words, _ in found.changes]
    assert found.rows == () and "a balance for every station" in words
    assert all(0 < ends <= 90 for _, ends in found.changes)


@pytest.mark.parametrize("seed", range(6))
def test_random_rooms_keep_every_promise(seed):
    rng = np.random.default_rng(seed)
    stations, tubes = int(rng.integers(3, 10)), int(rng.integers(1, 4))
    planned = design(PAIR, stations, 2, tubes, seed=seed)
    room = ClassRoom(
        (int(rng.integers(75, 150)), 90),
        int(rng.integers(1, 9)),
        int(rng.integers(8, 60)),
        75,
        int(rng.integers(1, 9)),
        overnight=bool(rng.integers(2)),
    )
    its = StepMinutes(*(float(rng.integers(2, 9)) for _ in range(3)), 30.0, 1.5)
    found = timetable(planned, room, its, USUAL, 0.1, changes=False)
    assert check(found, planned, room, its, USUAL) == () or not found.rows
    if found.rows:
        waits = found.waits
        assert (
            waits["batter_wait_min"] <= USUAL.batter_wait_min
            and waits["after_bath_min"] <= USUAL.after_bath_min
        )


def test_the_check_sees_what_is_wrong():
    planned = design(PAIR, 4, 2, 2, machines=4)
    room, its = room_of(4, 4, 24, 4, (8, 8, 6, 30, 1.5))
    good = timetable(planned, room, its, USUAL, changes=False)
    row = next(r for r in good.rows if r.key == (2, 1, "bath"))
    for change, word in (
        ({"start_min": row.start_min + 40, "end_min": row.end_min + 40}, "waits|outside|raw"),
        ({"start_min": row.start_min - 10, "end_min": row.end_min - 10}, "begins before"),
        ({"end_min": row.end_min - 5}, "takes 25"),
    ):
        bad = replace(good, rows=tuple(replace(r, **change) if r is row else r for r in good.rows))
        said = " ".join(b.what for b in check(bad, planned, room, its, USUAL))
        assert any(one in said for one in word.split("|")), said
    gone = replace(good, rows=tuple(r for r in good.rows if r is not row))
    assert any("missing" in b.what for b in check(gone, planned, room, its, USUAL))
    assert any(
        "balances" in b.what for b in check(good, planned, replace(room, balances=1), its, USUAL)
    )
    assert any(
        "places" in b.what for b in check(good, planned, replace(room, bath_places=2), its, USUAL)
    )
    assert any(
        "chopper" in b.what for b in check(good, planned, replace(room, choppers=1), its, USUAL)
    )


def test_a_baths_temperature_is_planned_run_by_run():
    planned = design(ask("core_C", (68, 78)), 4, 2, 2)
    room = ClassRoom((240, 90), 4, 24, 75, 4)
    found = timetable(planned, room, changes=False)
    assert found.rows and check(found, planned, room, StepMinutes.usual(), USUAL) == ()
    runs = sorted((r.start_min, r.end_min) for r in found.rows if r.key[2] == "bath")
    assert len(runs) == 4 and all(a[1] <= b[0] for a, b in zip(runs, runs[1:]))


def test_a_bound_never_lies_above_what_the_solver_found():
    for stations, choppers in ((4, 1), (6, 2), (8, 8)):
        planned = design(PAIR, stations, 2, 2, machines=choppers)
        (work,) = work_of(
            planned, ClassRoom((200, 90), choppers, 48, 75, 4), StepMinutes.usual(), USUAL
        )
        method, start = solved(work, 0.1)
        ends = max(start[t.key] + t.minutes for t in work.tasks)
        assert method in ("best possible", "found") and bound(work)[1] <= ends
        assert BATH in work.capacity


# plan, recipe, shopping


def test_options_name_what_blocks_and_mark_one_that_fits():
    found = options(PLAN)
    best = [o for o in found if o.best]
    assert len(best) == 1 and not best[0].blocked_by and best[0].stations <= PLAN.stations
    assert any("chopper" in o.blocked_by for o in found)
    pairs = {(o.stations, o.tubes): o.chance for o in found if o.batters == 2}
    assert pairs[10, 2] > pairs[8, 2] > pairs[6, 2]


@pytest.mark.parametrize(
    "factor, levels, changes",
    [
        ("salt_pct", (1.8, 0.5), {"salt"}),
        ("fat_pct", (20, 30), {"pork shoulder", "pork backfat"}),
        ("ice_g", (0, 8), {"ice"}),
        ("end_C", (13, 18), set()),
        ("core_C", (68, 78), set()),
    ],
)
def test_only_the_factor_changes_between_the_recipes(factor, levels, changes):
    plan = ClassPlan(KITCHEN, (factor,), (levels,))
    first, second = ({line.name: line.kg for line in sheet.lines} for sheet in plan.sheets.values())
    assert {name for name in first if abs(first[name] - second[name]) > 1e-9} == changes
    share = 100 * plan.sheets[1].composition.fat_kg / plan.sheets[1].batch_kg
    assert factor != "fat_pct" or share == pytest.approx(30)


def test_a_student_never_weighs_a_nitrite_salt():
    for cured in (False, True):
        plan = replace(PLAN, cured=cured)
        for station in range(1, 9):
            for sheet in weigh_sheets(plan.design, plan.sheets, station):
                assert not any(row.kind == "cure" for row in sheet.rows) and sheet.withheld == cured
        names = {line.name for line in plan.base.lines}
        assert ("cure premix" in names) == cured


def test_the_shopping_list_adds_up():
    found = shopping(PLAN.design, PLAN.sheets, {"pork shoulder": 6.0})
    by = {row.name: row for row in found.rows}
    batters = len(PLAN.design.units)
    assert by["pork shoulder"].needed_kg == pytest.approx(
        batters * PLAN.base.line("pork shoulder").kg
    )
    assert by["pork shoulder"].buy_kg == pytest.approx(1.15 * by["pork shoulder"].needed_kg)
    assert found.cost == pytest.approx(6.0 * by["pork shoulder"].buy_kg) and found.tubes == 36
    assert found.chill_ice_kg > 0


def test_absent_stations_leave_every_other_card_as_it_was():
    fewer = without(PLAN, [3, 5])
    assert [u for u in PLAN.design.units if u.station not in (3, 5)] == list(fewer.design.units)
    assert fewer.fingerprint == PLAN.fingerprint and fewer.design.plain.dof == 5
    with pytest.raises(OutOfRange, match="1 to 8"):
        without(PLAN, [9])


@pytest.mark.parametrize(
    "change, kind",
    [
        ({"paper": "A5"}, UnknownName),
        ({"scatter": "wild"}, UnknownName),
        ({"kind": "square"}, UnknownName),
        ({"class_number": 0}, OutOfRange),
        ({"least_kg": 0}, OutOfRange),
        ({"prices": {"ice": -1}}, OutOfRange),
    ],
)
def test_a_plan_with_a_wrong_entry_is_refused(change, kind):
    with pytest.raises(kind):
        replace(PLAN, **change)


@pytest.mark.parametrize(
    "change",
    [
        {"choppers": 0},
        {"choppers": 2.5},
        {"sessions_min": ()},
        {"bath_C": 20},
        {"balance_step_g": 0},
        {"sessions_min": (90,), "overnight": True},
    ],
)
def test_a_room_that_cannot_be_is_refused(change):
    with pytest.raises(KitError):
        ClassRoom(**change)


def test_fills_tell_stations_apart_in_every_plan():
    for a, b in combinations(range(1, 9), 2):
        of = [[u.fills_g for u in PLAN.design.units if u.station == s] for s in (a, b)]
        assert all(len({f for fills in its for f in fills}) == 4 for its in of)

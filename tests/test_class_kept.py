"""What a class leaves behind: its tubes set the levels of lesson 04, its scatter the power of the next class."""

from dataclasses import replace
from statistics import fmean

import numpy as np
import pytest

from kit.classroom.plan import options
from kit.classroom.results import ClassDecision, ClassResults, decided
from kit.emulsion import calibrate
from kit.emulsion.calibrate import MeasuredLoss
from kit.emulsion.model import work_out
from kit.emulsion.parameters import defaults
from kit.errors import Faulty, KitError, OutOfRange
from kit.files import put
from kit.lab.panels.emulsion.class_tests import class_tests_panel
from kit.lab.panels.run_class.question import question_panel
from kit.reading.class_kept import merged_csv, read_scatter, scatter_toml
from kit.reading.class_plan import plan_toml, read_plan
from kit.reading.class_results import read_results
from kit.reading.tubes import from_csv, measured_rows
from kit.tables import data_path
from kit.trial import ask, design, power
from kit.trial.own_scatter import scatter_of
from kit.trial.readings import TubeLoss, TubeReading
from kit.trial.rehearse import simulated
from kit.trial.scatter import balance_points, scatter

HOME = data_path("demo", "class")
PLAN = read_plan(HOME / "plan.toml")
READ = read_results(sorted(HOME.glob("station_*.xlsx")), PLAN)


def settled(results):
    """Every finding answered, what looks exchanged exchanged back."""
    said = {"two tubes exchanged": "exchange", "filled weight off": "leave out"}
    return decided(
        results,
        [
            ClassDecision(one.key, said.get(one.kind, "keep"), "seen on paper")
            for one in results.findings
        ],
    )


DEMO = settled(READ)
MERGED = merged_csv(DEMO)


def test_a_class_becomes_one_measured_loss_for_each_level():
    rows = measured_rows(from_csv("merged.csv", MERGED.encode()), PLAN.question.batter)
    level = {
        (u.station, u.batter): PLAN.question.treatments[u.treatment][0] for u in PLAN.design.units
    }
    by: dict = {}
    for one in DEMO.losses:
        by.setdefault(level[one.station, one.batter], {}).setdefault(one.station, []).append(
            one.loss_pct
        )
    assert {row.batter.end_C for row in rows} == set(by) == {13, 18}
    for row in rows:
        expected = fmean(fmean(tubes) for tubes in by[row.batter.end_C].values())
        assert row.total_out_g == pytest.approx(expected)
        assert row.batter == PLAN.question.batter_at((row.batter.end_C,))
        assert "8 stations, 23 tubes" in row.label


def test_a_class_of_a_known_model_finds_its_level():
    """Losses made with other levels, which the calibration must bring back; its intervals are its own business."""
    truth = defaults().but(water_level=defaults().water_level + 0.6)
    mean = [
        float(work_out(PLAN.question.batter_at(t), truth).total_out_g)
        for t in PLAN.question.treatments
    ]
    tubes = tuple(
        TubeReading(u.station, u.batter, n, 13.0, 43.0, 43.0 - 0.3 * mean[u.treatment])
        for u in PLAN.design.units
        for n in (1, 2, 3)
    )
    class_ = ClassResults(PLAN, tubes, ())
    assert class_.findings == ()
    rows = measured_rows(from_csv("m.csv", merged_csv(class_).encode()), PLAN.question.batter)
    found = calibrate(rows, "class")
    assert found.error_after_g < 0.2 < found.error_before_g
    assert found.water_level_90[0] <= truth.water_level <= found.water_level_90[1]
    by_hand = [
        MeasuredLoss(r.batter, total_out_g=m)
        for r, m in zip(rows, sorted(mean, reverse=rows[0].batter.end_C == 18))
    ]
    assert calibrate(by_hand).water_level == pytest.approx(found.water_level, abs=1e-6)


def test_lesson_04_takes_the_file_of_the_class():
    panel = class_tests_panel(PLAN.base)
    panel.set(file=("merged.csv", MERGED.encode()))
    found = panel.result
    assert not panel.error and [row.batter.end_C for row in found.calibration.rows] == [18, 13]
    assert found.after.cook_out_g["all"] != found.before.cook_out_g["all"]
    panel.set(file=("merged.csv", MERGED.replace("water_pct", "wet").encode()))
    assert "water_pct is missing" in panel.error


def test_the_page_of_the_next_class_takes_the_scatter_of_this_one(tmp_path):
    text = put(tmp_path / "scatter.toml", scatter_toml(DEMO.scatter)).read_bytes()
    panel = question_panel()
    before = panel.result.chance
    panel.set(earlier=("scatter.toml", text))
    assert not panel.error and panel.result.plan.scatter == DEMO.scatter
    assert panel.result.chance != before
    panel.set(earlier=("scatter.toml", b"kind = 3"))
    assert "no class scatter" in panel.error


def test_nothing_is_merged_before_every_finding_has_its_decision(tmp_path):
    with pytest.raises(KitError, match="not decided yet, such as filled_weight_off"):
        put(tmp_path / "merged.csv", merged_csv(READ))
    assert not list(tmp_path.iterdir())
    path = put(tmp_path / "merged.csv", merged_csv(DEMO))
    assert path.read_text(encoding="utf-8") == MERGED
    assert read_results(sorted(HOME.glob("station_*.xlsx")), PLAN).tubes == READ.tubes


def test_a_note_of_a_student_runs_in_no_spreadsheet():
    first, *others = DEMO.tubes
    bad = replace(DEMO, tubes=(replace(first, note='=HYPERLINK("x")'), *others))
    assert "'=HYPERLINK" in merged_csv(bad) and ",=HYPERLINK" not in merged_csv(bad)


@pytest.mark.parametrize(
    "change, word",
    [
        (("cook_loss_pct", "fat_loss_pct"), "whole cook loss"),
        (("water_pct", "wet_pct"), "water_pct is missing|wet_pct"),
        (("level", "lvl"), "level is missing|lvl"),
        ((",10.125420617925979,", ",ten,"), "loss_pct"),
    ],
)
def test_a_changed_file_of_a_class_is_refused_by_name(change, word):
    old, new = change
    assert old in MERGED
    with pytest.raises(KitError, match=word):
        measured_rows(from_csv("m.csv", MERGED.replace(old, new).encode()), PLAN.question.batter)


def test_scatter_is_that_of_the_table_of_variance():
    """Balanced pairs, by the textbook's mean squares: tube, batter inside station and level, station."""
    planned = design(ask("end_C", (13, 18)), 8, 2, 3, seed=5)
    losses = simulated(planned, scatter("usual"), 2.0, np.random.default_rng(8))
    level = {(u.station, u.batter): u.treatment for u in planned.units}
    cube = np.zeros((8, 2, 3))
    for one in losses:
        cube[one.station - 1, level[one.station, one.batter], one.tube - 1] = one.loss_pct
    tube = cube.var(axis=2, ddof=1).mean()
    means = cube.mean(axis=2)
    left = means - means.mean(axis=1, keepdims=True) - means.mean(axis=0) + means.mean()
    batter = (left**2).sum() / 7 - tube / 3
    station = means.mean(axis=1).var(ddof=1) - (left**2).sum() / 7 / 2
    found = scatter_of(planned, losses, balance_step_g=0.1)
    assert found.tube_points == pytest.approx(
        np.sqrt(tube - balance_points(0.1, 30) ** 2), abs=6e-4
    )
    assert found.batter_points == pytest.approx(np.sqrt(max(batter, 0)), abs=6e-4)
    assert found.station_points == pytest.approx(np.sqrt(max(station, 0)), abs=6e-4)
    assert all(
        low <= getattr(found, f"{part}_points") <= high for part, low, high in found.points_90
    )


def test_intervals_of_the_scatter_hold_what_they_promise():
    """90 % intervals of 150 simulated classes hold the true value in 80 to 98 % (three standard errors of 150 draws)."""
    planned, its, rng = (
        design(ask("end_C", (13, 18)), 8, 2, 3),
        scatter("usual"),
        np.random.default_rng(4),
    )
    held = {"batter": 0, "tube": 0}
    for _ in range(150):
        found = scatter_of(planned, simulated(planned, its, 2.0, rng), 0.0)
        for part, low, high in found.points_90:
            if part in held:
                held[part] += low <= getattr(its, f"{part}_points") <= high
    assert all(0.80 * 150 <= n <= 0.98 * 150 for n in held.values()), held


@pytest.mark.parametrize(
    "kind, kept", [("single", {"run"}), ("split", {"batter"}), ("pairs", {"run"})]
)
def test_what_a_design_cannot_show_keeps_its_usual_value(kind, kept):
    question = ask("core_C", (68, 78)) if kind == "split" else ask("end_C", (13, 18))
    planned = design(question, 8, {"single": 1}.get(kind, 2), 3)
    found = scatter_of(planned, simulated(planned, scatter(), 2.0, np.random.default_rng(1)))
    measured = {part for part, *_ in found.points_90}
    usual = scatter("usual")
    for part in kept:
        assert part not in measured and getattr(found, f"{part}_points") == getattr(
            usual, f"{part}_points"
        )
        assert any(f"each {part} was not measured" in note for note in found.notes)


def test_one_tube_of_each_batter_shows_no_scatter():
    planned = design(ask("end_C", (13, 18)), 4, 2, 1)
    with pytest.raises(OutOfRange, match="two tubes"):
        scatter_of(planned, [TubeLoss(u.station, u.batter, 1, 8.0) for u in planned.units])


def test_the_next_class_is_planned_with_it(tmp_path):
    own = DEMO.scatter
    path = put(tmp_path / "scatter.toml", scatter_toml(own))
    again = read_scatter(path)
    assert again == own and again.notes == own.notes
    plan = replace(PLAN, scatter=again, class_number=18)
    assert read_plan(plan_toml(plan)) == plan and 'scatter = "own"' in plan_toml(plan)
    assert plan.spread is again and plan.fingerprint != PLAN.fingerprint
    by_hand = power(plan.design, own, 1.5, 0.01)
    pairs = next(o for o in options(plan) if (o.stations, o.batters, o.tubes) == (8, 2, 3))
    assert pairs.chance == pytest.approx(by_hand)
    assert by_hand != pytest.approx(power(PLAN.design, PLAN.spread, 1.5, 0.01), abs=0.01)


@pytest.mark.parametrize(
    "old, new, word",
    [
        ("batter_points = 1", "batter_points = -1", "0 to 50"),
        ("batter_points = 1", "batter = 1", "batter_points is missing|nearest"),
        ("tube_points_90 = [", "tube_points_90 = [9, ", "low, high"),
        ('"class scatter"', '"class plan"', "no class scatter"),
        ('name = "class 17"', "name = 3", "1 to 60"),
        ("stations = 8", "stations = 800", "2 to 99"),
        ("name = ", "name : ", "row 2|line 2"),
    ],
)
def test_a_file_of_scatter_with_a_fault_is_refused_with_its_row(tmp_path, old, new, word):
    text = put(tmp_path / "scatter.toml", scatter_toml(DEMO.scatter)).read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(Faulty, match=word) as caught:
        read_scatter(text.replace(old, new))
    assert all(one.remedy for one in caught.value.faults)
    plan = plan_toml(replace(PLAN, scatter=DEMO.scatter))
    with pytest.raises(Faulty):
        read_plan(plan.replace("[scatter]\n", "[scatter]\nodd = 1\n"))

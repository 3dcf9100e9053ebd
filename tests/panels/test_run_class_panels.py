"""The panels of a class: one plan from the question to the printed folder, nothing old left standing, nothing of a person's overwritten."""

import json
import re
import shutil
import subprocess
import sys

import numpy as np
import pytest
from class_check import check
from scipy.stats import nct, t, ttest_rel

from kit.classroom.codes import code
from kit.classroom.plan import ClassPlan
from kit.files import put
from kit.lab.pages.class_papers import papers
from kit.lab.panels.run_class import (
    answer_panel,
    papers_panel,
    question_panel,
    rehearsal_panel,
    results_panel,
    room_panel,
)
from kit.lab.panels.run_class.answer import KEEP, WRITE
from kit.lab.panels.run_class.papers import PRINT
from kit.lab.panels.run_class.results import DECISIONS, STORE
from kit.lab.panels.run_class.room import ASK_TIMES
from kit.lab.panels.sheets import kitchen_sheet
from kit.reading.class_decisions import read_decisions
from kit.reading.class_kept import read_scatter
from kit.reading.class_plan import plan_toml, read_plan
from kit.tables import data_path
from kit.trial.design import power
from kit.trial.rehearse import simulated


@pytest.fixture(autouse=True)
def classes(tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_CLASSES", str(tmp_path / "my classes"))
    return tmp_path / "my classes"


def press(panel, words):
    next(b for b in panel.children[0].children if getattr(b, "description", "") == words).click()


def test_the_chance_is_that_of_the_noncentral_t():
    """Pairs: S differences with standard deviation √2 of a batter's mean, S − 1 degrees of freedom (textbook formula; SciPy's distribution)."""
    panel = question_panel().set(stations=6, tubes=3, worth_points=2.0)
    plan = panel.result.plan
    tube = plan.spread.tube_sd(plan.room.balance_step_g, 30)
    se = (2 * (plan.spread.batter_points**2 + tube**2 / 3) / 6) ** 0.5
    edge = t.ppf(0.975, 5)
    expected = 1 - nct.cdf(edge, 5, 2 / se) + nct.cdf(-edge, 5, 2 / se)
    assert panel.result.chance == pytest.approx(100 * expected, abs=0.01)
    drawn = panel.picture.payload["data"]["stations"]["curve"]
    for stations in (4, 9, 16):
        other = ClassPlan(plan.sheet, stations=stations, tubes=3, worth_knowing_points=2.0)
        seen = power(other.design, other.spread, 2.0, other.room.balance_step_g)
        row = next(one for one in drawn if one["stations"] == stations)
        assert row["pct"] == pytest.approx(100 * float(seen), rel=1e-4)


def test_levels_are_read_with_their_unit_or_refused_by_name():
    panel = question_panel().set(levels="55.4 °F, 64.4 °F")
    assert panel.result.plan.levels[0] == pytest.approx((13, 18))
    for text in ("13", "13, x", "13, 99", "13; 18", "0.1.2, 3", "nan, 3", "<b>"):
        panel.set(levels=text)
        assert re.search("give|write|a class can take", panel.error), text
    panel.reset().set(factor="salt_pct")
    assert panel.error is None and panel.result.plan.levels == ((2.0, 0.5),)


def test_one_plan_goes_down_the_page_and_no_clock_time_is_left_standing():
    question = question_panel()
    room = room_panel(question)
    rehearsal, printed = rehearsal_panel(room), papers_panel(room)
    press(room, ASK_TIMES)
    plan = room.result.plan
    assert plan.timetable.rows and "times" in room.picture.payload["data"]
    assert check(plan.timetable, plan.design, plan.room, plan.minutes, plan.limits) == ()
    question.set(stations=7, tubes=3)
    assert "times" not in room.picture.payload["data"] and ASK_TIMES in room.shown.sentence
    room.set(balances=7)
    for panel in (room, rehearsal, printed):
        plan = panel.result.plan
        assert (plan.stations, plan.tubes, plan.room.balances) == (7, 3, 7)
    question.set(levels="13, 99")
    for panel in (room, rehearsal, printed):
        assert "99" in panel.error and panel.picture.payload["error"]
    question.reset()
    assert not any(panel.error for panel in (room, rehearsal, printed))


def test_a_blocked_design_names_what_unblocks_it_and_that_is_true():
    panel = room_panel(question_panel().set(stations=10))
    found = next(
        one for one in panel.result.options if one.stations == 10 and one.batters == one.tubes == 2
    )
    assert "chopper" in found.blocked_by and "one chopper more" in found.unblocked_by
    panel.set(choppers=panel.values["choppers"] + 1)
    again = next(
        one for one in panel.result.options if one.stations == 10 and one.batters == one.tubes == 2
    )
    assert not again.blocked_by


def test_from_the_question_to_the_folder_in_fourteen_entries(classes):
    """A room of its own and a question of its own, everything typed: then the folder is there, and its plan makes the same bytes again."""
    question = question_panel()
    room = room_panel(question)
    printed = papers_panel(room)
    entries = {
        question: {"factor": "fat_pct", "levels": "25, 34", "worth_points": 2.0, "stations": 6, "tubes": 3},
        room: {
            "people": 18,
            "session_min": 100,
            "choppers": 3,
            "bath_places": 36,
            "balances": 3,
            "step_g": 0.1,
            "weighed": True,
        },
        printed: {"class_number": "23"},
    }  # fmt: skip
    for panel, values in entries.items():
        panel.set(**values)
        assert panel.error is None
    assert sum(map(len, entries.values())) + 1 <= 14
    press(printed, PRINT)
    folder = classes / "class_23"
    assert "files of class 23 are in" in printed.shown.sentence
    again = papers(read_plan(folder / "plan.toml"))
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == again
    assert printed.shown.page[1]().encode() == again["cards.html"]
    assert question_panel().result.plan.factor == ("fat_pct",), "the class printed last is kept"


def test_a_filled_workbook_is_never_replaced(classes):
    question = question_panel().set(stations=4)
    room = room_panel(question)
    printed = papers_panel(room)
    press(printed, PRINT)
    question.set(stations=5)
    press(printed, PRINT)
    assert "5 stations" in (classes / "class_1" / "teacher.html").read_text(encoding="utf-8")
    book = classes / "class_1" / "station_01.xlsx"
    book.write_bytes(b"filled in")
    question.set(stations=6)
    press(printed, PRINT)
    assert "Nothing was made" in printed.shown.sentence and "filled" in printed.shown.sentence
    assert book.read_bytes() == b"filled in"
    room.set(choppers=1)
    printed.set(class_number="2")
    press(printed, PRINT)
    assert "chopper" in printed.shown.sentence and not (classes / "class_2").exists()


def test_units_choose_the_paper(classes):
    panel = papers_panel()
    panel.use("US")
    assert (panel.result.plan.paper, panel.result.plan.units) == ("Letter", "US")
    for number in ("0", "", "x", "12345", "-3"):
        assert panel.set(class_number=number).error, number


def test_the_solver_is_loaded_when_a_timetable_is_asked_for():
    code = (
        "import sys\nfrom kit.lab.panels.run_class import *\n"
        "room = room_panel(question_panel()); rehearsal_panel(room); papers_panel(room)\n"
        "assert 'ortools' not in sys.modules; room.result.plan.timetable; assert 'ortools' in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def demo_files() -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in data_path("demo", "class").iterdir()}


def test_the_demo_class_is_read_decided_answered_and_marked():
    """The effect and its interval are those of SciPy's paired t test on the stations' means."""
    results = results_panel()
    answer = answer_panel(results)
    read = results.result.results
    assert len(read.findings) == 7 and read.open == () and len(read.losses) == 47
    assert "once more" in " ".join(results.shown.notes), "the file that was handed in twice"
    by = answer.result.answer.by_station
    paired = ttest_rel([its[1] for its in by.values()], [its[0] for its in by.values()])
    low, high = paired.confidence_interval()
    effect = answer.result.answer.effects[0].found
    assert (effect.low, effect.high) == pytest.approx((low, high), abs=1e-9)
    assert f"interval {low:.1f} to {high:.1f}" in answer.shown.sentence
    drawn = answer.picture.payload["data"]["answer"]
    assert json.loads(json.dumps(drawn["rows"]))[1]["found"] == pytest.approx(
        effect.value, rel=1e-4
    )
    assert len(drawn["rows"]) == 10 and len(drawn["guesses"]) == 8
    marks = next(one for one in answer.shown.tables if one.caption == "Marks")
    assert len(marks.rows) == 8 and marks.rows[0].cells[1] == "16 of 16"
    assert answer.shown.page and "marks" in answer.shown.page[0]


def test_a_decision_is_stored_with_its_reason_and_the_answer_follows(classes):
    before, results = demo_files(), results_panel()
    answer = answer_panel(results)
    decided = answer.shown.sentence
    results.press("Before any decision")
    assert "7 not decided yet" in results.shown.sentence
    assert "7 findings are not decided" in answer.shown.sentence != decided
    results.reset().set(finding=3, action="leave out", reason="  ")
    press(results, STORE)
    assert "Nothing was stored" in results.shown.sentence and not classes.exists()
    for values in ({"action": "correct", "value": "x"}, {"code": "S99B9T9-0"}):
        results.reset().set(finding=3, reason="why", **values)
        press(results, STORE)
        assert "Nothing was stored" in results.shown.sentence, values
    results.reset().set(finding=3, action="leave out", reason="nobody knows")
    press(results, STORE)
    assert "Stored" in results.shown.sentence and "45 of 48" in results.shown.sentence
    assert answer.shown.sentence != decided
    stored = read_decisions(classes / "demo_class" / DECISIONS)
    assert [one.action for one in stored if one.finding.startswith("two_tubes")] == ["leave out"]
    assert results_panel().shown.sentence == results.reset().shown.sentence, "kept for next time"
    press(answer, WRITE)
    marks = classes / "demo_class" / "marks.csv"
    marks.write_text("my own marks", encoding="utf-8")
    press(answer, WRITE)
    assert "Nothing was written" in answer.shown.sentence
    assert marks.read_text(encoding="utf-8") == "my own marks"
    names = {path.name for path in (classes / "demo_class").iterdir()}
    assert names == {DECISIONS, "marks.csv", "marks.html"} and demo_files() == before
    press(answer, KEEP)
    assert "merged.csv, for the levels" in answer.shown.sentence
    assert read_scatter(classes / "demo_class" / "scatter.toml") == results.result.results.scatter
    assert (classes / "demo_class" / "merged.csv").is_file() and demo_files() == before


def test_a_decision_without_its_finding_is_named_and_never_applied(classes):
    folder = classes / "class_17"
    folder.mkdir(parents=True)
    for name, held in demo_files().items():
        if not name.startswith("station_02"):
            (folder / name).write_bytes(held)
    panel = results_panel().set(folder=str(folder))
    assert panel.error is None
    assert any(
        "two_tubes_exchanged" in note and "not applied" in note for note in panel.shown.notes
    )


def test_a_class_without_a_filled_workbook_is_told_what_to_do(classes):
    printed = papers_panel(room_panel(question_panel().set(stations=4)))
    press(printed, PRINT)
    results = results_panel()
    answer = answer_panel(results)
    results.set(folder=str(classes / "class_1"))
    assert "no tube was written" in results.error and "no tube was written" in answer.error
    assert results.picture.payload["sentence"].startswith("This cannot be computed")
    shutil.rmtree(classes / "class_1")
    assert "class_1 cannot be read" in results.set(finding=1).error


KINDS = {
    "blocks": {"levels": ((13, 15, 18),), "batters": 3},
    "incomplete": {"levels": ((13, 15, 18),), "batters": 2},
    "dose": {"levels": ((13, 14, 16, 18),), "batters": 4, "kind": "dose"},
    "split": {"factor": ("core_C",), "levels": ((72, 80),), "batters": 3},
    "single": {"batters": 1},
    "two factors": {
        "factor": ("end_C", "salt_pct"),
        "levels": ((13, 18), (2, 0.5)),
        "batters": 4,
    },
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_class_of_every_kind_is_taken_up_filled_and_answered(kind, classes):
    """From a plan.toml and one table of weights with a true effect of 6 percentage points, tubes lost among them."""
    plan = ClassPlan(kitchen_sheet(), stations=6, **KINDS[kind])
    folder = classes / "class_1"
    folder.mkdir(parents=True)
    put(folder / "plan.toml", plan_toml(plan))
    rng = np.random.default_rng(3)
    tubes = simulated(plan.design, plan.spread, 6.0, rng, lost_pct=5)
    rows = [
        f"{code(one.station, one.batter, one.tube)},13.00,43.00,{43 - 0.3 * one.loss_pct:.2f}"
        for one in tubes
    ]
    table = "\n".join(["code,empty_g,filled_g,after_g", *rows])
    (folder / "all.csv").write_text(table, encoding="utf-8")
    question = question_panel()
    room = room_panel(question)
    assert question.result.plan == plan
    assert not any(one.error for one in (question, room, rehearsal_panel(room), papers_panel(room)))
    results = results_panel().set(folder=str(folder))
    answer = answer_panel(results)
    assert answer.error is None and len(results.result.results.losses) == len(tubes)
    effects = answer.result.answer.effects
    for n, effect in enumerate(effects):
        answer.set(comparison=n)
        assert effect.sentence in answer.shown.sentence and len(answer.shown.sentence) > 60
    main = effects[0 if kind in ("dose", "two factors") else -1]
    assert abs(main.found.value - 6) < 4 * main.found.se
    assert bool(answer.controls["comparison"].idle) == (len(effects) == 1)

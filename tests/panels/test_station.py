"""The page of a station without a browser: what is kept when, what is refused, and that no answer is in it before it is asked for."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from kit.classroom.codes import code, station_code
from kit.files import put
from kit.lab.lessons.station import exercises
from kit.lab.panels.station import FIRST_CODE, FIRST_GUESS, main_effect, station_panel
from kit.reading.class_hand_in import read_hand_in
from kit.reading.class_plan import plan_toml, read_plan
from kit.tables import data_path

PLAN = replace(read_plan(data_path("demo", "class", "plan.toml")), class_number=5, seed=3)
BOOK = data_path("demo", "class", "station_03.xlsx")


def say(ask, n, act, text=""):
    return ask.press({"n": n, "act": act, "text": text})


@pytest.fixture
def panel(tmp_path):
    """Station 3 of class 5, its plan beside the page, its code typed."""
    put(tmp_path / "plan.toml", plan_toml(PLAN))
    return station_panel(tmp_path).set(code=station_code(3, 5))


def kept(panel):
    return read_hand_in(panel.folder / "hand_in_03.toml", PLAN)


def test_nothing_is_asked_without_a_code_and_no_exercise_before_the_guess(tmp_path):
    panel = station_panel(tmp_path)
    assert [one.title for one in panel.asks] == [FIRST_CODE] * 4 and not panel.guess.items
    panel.press("Station 3 of the invented class")
    assert len(panel.guess.items) == 1 and panel.exercises.title == FIRST_GUESS
    assert not any(one.items for one in panel.asks[1:]) and not list(tmp_path.iterdir())
    assert "no number" in say(panel.guess, 0, "Commit", "much").text and not list(
        tmp_path.iterdir()
    )
    say(panel.guess, 0, "Commit", "−1,5")
    assert [path.name for path in tmp_path.iterdir()] == ["invented_hand_in_03.toml"]
    assert [len(one.items) for one in panel.asks] == [1, 8, 6, 2]
    assert "stays: -1.5" in say(panel.guess, 0, "Commit", "4").text
    panel.set(code="")
    assert [one.title for one in panel.asks] == [FIRST_CODE] * 4 and not panel.guess.items


def test_no_answer_is_sent_before_it_is_asked_for(panel):
    say(panel.guess, 0, "Commit", "2")
    sent = json.dumps([one.get_state(["items", "replies", "title"]) for one in panel.asks])
    sent += json.dumps(panel.picture.payload)
    stored = (data_path("..", "notebooks") / "11_your_station.ipynb").read_text(encoding="utf-8")
    for one in exercises(PLAN.seed, 3):
        answer, *working = one.solution().splitlines()
        for text in (sent, stored):
            assert not any(json.dumps(line.strip())[1:-1] in text for line in working)
            assert len(answer) == 1 or json.dumps(answer)[1:-1] not in text
        assert "handed in" in say(panel.exercises, 0, "Show").text


def test_each_step_is_kept_at_once_until_it_is_right_and_nothing_after_the_hand_in(panel):
    say(panel.guess, 0, "Commit", "2")
    first = exercises(PLAN.seed, 3)[0]
    right = first.shown(first.solve()[0])
    assert say(panel.exercises, 0, "Check", first.shown(first.slips[0][1]())).tone == "wrong"
    for number in (1, 2, 1):
        assert say(panel.exercises, 0, "Hint").text.startswith(f"Hint {number} of 2")
    assert say(panel.exercises, 0, "Check", right).tone == "right"
    say(panel.exercises, 0, "Check", "1"), say(panel.exercises, 0, "Hint")
    say(panel.exercises, 0, "Check", "not a number")
    assert kept(panel).answers[0].typed[1] == right
    assert len(kept(panel).answers[0].typed) == 2 and kept(panel).answers[0].hints == 3
    say(panel.finish, 0, "Keep", "More.")
    assert "cannot be seen" in say(panel.finish, 0, "Keep", "More \u202e or less").text
    assert "2000 letters" in say(panel.finish, 0, "Keep", "x" * 2001).text
    assert "Blank: exercise 2, 3, 4, 5, 6, 7, 8" in say(panel.finish, 1, "Hand in").text
    before = kept(panel)
    say(panel.exercises, 1, "Check", "1"), say(panel.exercises, 1, "Hint")
    say(panel.finish, 0, "Keep", "Less."), say(panel.finish, 1, "Hand in")
    say(panel.losses, 0, "Check", "7")
    assert kept(panel) == before and before.conclusion == "More." and before.handed_in_at
    assert say(panel.exercises, 0, "Show").text == f"Answer: {right}"


def test_a_page_that_was_closed_goes_on_where_it_was(panel):
    say(panel.guess, 0, "Commit", "2")
    say(panel.exercises, 6, "Check", "12"), say(panel.losses, 2, "Check", "7,1 %")
    again = station_panel(panel.folder).set(code="s03 c5" + station_code(3, 5)[-2:])
    assert again.guess.items[0]["typed"] == "2" and again.exercises.items[6]["typed"] == "12"
    assert again.losses.items[2]["typed"] == "7,1 %" and "1 of 8" in again.text()


def test_own_losses_are_checked_against_the_file_once_there_is_one(panel):
    say(panel.guess, 0, "Commit", "2")
    assert "Choose the filled file" in say(panel.losses, 0, "Check", "7").text
    panel.set(results=("station_03.xlsx", BOOK.read_bytes()))
    assert "another plan" in panel.text() and "✗" in panel.shown.sentence
    assert "no three weights" in say(panel.losses, 0, "Check", "7").text
    demo = station_panel(panel.folder).press("Station 3 of the invented class")
    say(demo.guess, 0, "Commit", "2")
    t = next(
        t
        for t in demo.desk.read.tubes
        if code(*t.key) == demo.losses.items[0]["question"].split()[1][:-1]
    )
    assert say(demo.losses, 0, "Check", f"{t.loss_pct:.2f}").tone == "right"
    over_all = 100 * (t.filled_g - t.after_g) / t.filled_g
    assert "tube and batter together" in say(demo.losses, 0, "Check", f"{over_all:.2f}").text


@pytest.mark.parametrize(
    "typed, said",
    [
        ("S03C5", "no code of a station"),
        ("S03C5-0", "check digit"),
        (station_code(3, 17), "class 17, the plan of class 5"),
        (station_code(9, 5), "station 9 is not in this plan"),
    ],
)
def test_a_code_that_does_not_fit_is_refused_and_nothing_is_asked(panel, typed, said):
    panel.set(code=typed)
    assert said in panel.error and not any(one.items for one in panel.asks)


def test_a_kept_file_that_cannot_be_used_is_left_alone_and_said(panel):
    say(panel.guess, 0, "Commit", "2")
    path = panel.folder / "hand_in_03.toml"
    spoilt = path.read_text(encoding="utf-8").replace('guess = "2"', 'guess = "9"')
    path.write_text(spoilt, encoding="utf-8")
    panel.set(code=station_code(3, 5))
    assert "sum does not fit" in panel.error and "move that file" in panel.error
    assert not panel.guess.items and path.read_text(encoding="utf-8") == spoilt


def test_a_folder_that_cannot_be_written_says_so_and_nothing_counts_as_kept(panel):
    panel.folder.chmod(0o500)
    try:
        try:
            (panel.folder / "probe").touch()
        except OSError:
            assert "could not be written" in say(panel.guess, 0, "Commit", "2").text
            assert not panel.exercises.items
        else:
            panel.desk = replace(panel.desk, path=panel.folder / "nowhere" / "x.toml")
            assert "could not be written" in say(panel.guess, 0, "Commit", "2").text
            assert not panel.exercises.items
    finally:
        panel.folder.chmod(0o700)


def test_the_guess_is_about_the_comparison_that_the_class_answers_first():
    assert main_effect(PLAN) == next(iter(PLAN.question.contrasts()))
    dose = replace(PLAN, levels=((18.0, 10.0, 13.0, 21.0),), batters=4, tubes=2, stations=6)
    assert (
        dose.design.kind == "dose" and "10 °C" in main_effect(dose) and "21 °C" in main_effect(dose)
    )
    assert plan_toml(dose)


IN_A_KERNEL = """
import re, sys
from pathlib import Path
import ipykernel.kernelapp
from kit.lab.panels.station import station_panel
panel = station_panel(sys.argv[1]).press("Station 3 of the invented class")
panel.guess.press({"n": 0, "act": "Commit", "text": "2"})
assert len(panel.exercises.items) == 8
print(int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024)
"""


def test_a_station_s_page_takes_less_than_350_MB(tmp_path):
    run = subprocess.run(
        [sys.executable, "-c", IN_A_KERNEL, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert 50 < float(run.stdout) < 350


def test_what_another_page_of_the_station_wrote_is_not_written_over(panel):
    say(panel.guess, 0, "Commit", "2")
    other = station_panel(panel.folder).set(code=station_code(3, 5))
    say(other.exercises, 0, "Check", "7")
    said = say(panel.exercises, 1, "Check", "8").text
    assert "changed by another page" in said and kept(panel).answers[0].typed == ("7",)
    assert kept(panel).answers[1].typed == () and "1 of 8" in str(panel.shown.tables[0].rows)
    say(panel.exercises, 1, "Check", "8")
    assert [one.typed for one in kept(panel).answers][:2] == [("7",), ("8",)]

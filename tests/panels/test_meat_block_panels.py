"""The panels of 00 and 01 at every end of every slider: an answer or our own error, and a sentence that agrees with its table."""

import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit.lab.lessons import meat_block as lesson
from kit.lab.panels.meat_block import cheapest_panel, mix_panel
from kit.lab.panels.panel import Slider
from kit.lab.panels.start import batch_panel

MAKERS = (batch_panel, mix_panel, cheapest_panel)


@pytest.fixture(params=MAKERS, ids=lambda make: make.__name__)
def panel(request):
    return request.param()


def test_the_working_under_the_panel_can_be_redone(panel):
    assert panel.shown.steps
    assert_pencil(panel.shown.steps)


def test_sources_name_their_status(panel):
    assert all(isinstance(line, str) and len(line) > 10 for line in panel.shown.sources)


@pytest.mark.parametrize(
    "make, preset",
    [
        (batch_panel, "Too much ice"),
        (batch_panel, "Trim fat underestimated"),
        (batch_panel, "Binder above its limit"),
        (mix_panel, "Too much ice"),
        (mix_panel, "Trim fatter than it looked"),
    ],
)
def test_a_break_on_purpose_breaks(make, preset):
    panel = make()
    before = panel.shown.sentence
    panel.set(**panel.presets[preset])
    assert panel.error is None
    assert "not met" in panel.shown.sentence
    assert any(row.mark == "fails" for table in panel.shown.tables for row in table.rows)
    assert panel.reset().shown.sentence == before


def test_asking_for_too_much_names_what_must_give_way():
    panel = cheapest_panel()
    panel.set(**panel.presets["Limits that conflict"])
    assert not panel.result[0].fits
    assert panel.result[0].relaxed[0].name in panel.shown.sentence


def test_the_sentence_and_the_table_name_the_same_number():
    panel = batch_panel()
    fat = next(
        row.cells[1]
        for row in panel.shown.tables[0].rows
        if row.cells[0].startswith("fat, % of the finished")
    )
    assert f"{float(fat):.1f} % fat" in panel.shown.sentence


def test_sliders_come_in_the_fixed_order():
    groups = [
        held.spec.group for held in batch_panel().controls.values() if isinstance(held.spec, Slider)
    ]
    assert list(dict.fromkeys(groups)) == ["Meat block", "Ice", "Binder and salt", "Process"]


@pytest.mark.parametrize("number", range(4))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number], ends_on_answer=False)


def test_a_guess_must_be_committed_and_is_compared():
    guess = lesson.guess()
    assert "No guess yet" in guess.compare()
    truth = guess.truth()
    assert "close" in guess.commit(f"{truth:.1f} %").compare()
    assert "too high" in guess.commit(truth + 10).compare()

"""The panels of 02: every slider at both ends, breaks that break, words that agree with the tables, mistakes that can be found."""

import pytest
from pencil import assert_pencil

from kit import units
from kit.chain.cure import cure_of
from kit.cure import mistakes
from kit.lab.lessons import brine as after
from kit.lab.lessons import cure as lesson
from kit.lab.panels.cure import (
    brine_panel,
    dose_panel,
    error_examples_panel,
    mistake_panel,
    own_cure_panel,
    scale_panel,
)
from kit.lab.panels.cure.mistake import ANSWERS
from kit.lab.panels.cure.pieces import (
    cure_rows,
    cure_sentence,
    error_tables,
    rule_of,
    weigh_table,
)
from kit.lab.panels.panel import Table
from kit.lab.panels.sheets import demo_sheet
from kit.reading import read_sheet
from kit.rules.limits import editions

MAKERS = (
    dose_panel,
    scale_panel,
    brine_panel,
    error_examples_panel,
    mistake_panel,
    own_cure_panel,
)


@pytest.fixture(params=MAKERS, ids=lambda make: make.__name__)
def panel(request):
    return request.param()


def cell(panel, caption, start, column=1):
    """The cell of the row that starts so, in the table whose caption starts so."""
    table = next(t for t in panel.shown.tables if t.caption.startswith(caption))
    return next(row.cells[column] for row in table.rows if row.cells[0].startswith(start))


def test_both_systems_are_shown_in_words_and_in_the_picture(panel):
    metric = panel.text()
    us = panel.use(units.US).text()
    assert metric != us and panel.use(units.METRIC).text() == metric


def test_cautions_stand_on_every_panel_that_touches_nitrite(panel):
    said = " ".join(panel.shown.cautions)
    assert "Nitrite is poisonous" in said and "your own authority" in said
    assert "Salt at the level" in said or not panel.title.startswith("Salt")


def test_every_chart_has_rows_and_words(panel):
    said = panel.shown.payload()["text"]
    assert set(panel.picture.specs) == set(panel.shown.data) == set(said)
    assert all(len(text) > 30 for text in said.values())


@pytest.mark.parametrize(
    "make, preset, said",
    [
        (
            dose_panel,
            "Weaker premix at the same rate",
            "Below the minimum ingoing nitrite (US, 2015)",
        ),
        (dose_panel, "Old EU rate under the new EU rule", "do not weigh this dose"),
        (scale_panel, "Kitchen scale, small batch", "in two steps"),
        (brine_panel, "Forgot the cure's own salt", "stops none"),
        (error_examples_panel, "Weak bag's rate, strong bag", "1,458 ppm"),
        (error_examples_panel, "Strong bag's rate, weak bag", "13 ppm"),
    ],
)
def test_a_break_on_purpose_breaks_and_goes_back(make, preset, said):
    panel = make()
    before = panel.shown.sentence
    panel.set(**panel.presets[preset])
    assert said in panel.shown.sentence
    marked = any(row.mark for table in panel.shown.tables for row in table.rows)
    assert marked or make is scale_panel
    assert panel.reset().shown.sentence == before and said not in before or make is brine_panel


def test_pure_nitrite_by_hand_is_refused_in_words():
    panel = scale_panel()
    panel.set(**panel.presets["Pure nitrite by hand"])
    assert "refuses" in panel.error and panel.reset().error is None


def test_the_sentence_of_the_dose_agrees_with_its_table_and_bars():
    """By hand: 72 kg × 2.5 g/kg × 6.25 % = 11.25 g, over 72, over 72 × 1.39 + 0.18 = 100.26 and over 90.23 kg; the ion is 46.0 / 69.0 of the salt."""
    panel = dose_panel().set(rate_g_per_kg=2.5)
    assert cell(panel, "Limits of US", "nitrite ingoing, as the salt used") == "156 mg/kg"
    assert (
        "156 ppm of the meat" in panel.shown.sentence and "at most 156 ppm" in panel.shown.sentence
    )
    bars = panel.shown.data["names"]["bars"]
    assert [round(bar["at"]) for bar in bars] == [156, 112, 125, 75]
    assert bars[0]["base"] == "11.25 g in 72.0 kg"
    assert panel.use(units.US).shown.data["names"]["bars"][0]["base"] == "0.397 oz in 158.7 lb"


@pytest.mark.parametrize("rule", editions())
def test_each_limit_stands_on_the_bar_it_counts_on(rule):
    panel = dose_panel().set(rule=rule)
    for row in rule_of(rule):
        if row.quantity in ("nitrite ingoing", "nitrite finished"):
            sets = panel.shown.data["names"]["limits" if row.comparison == "max" else "floors"]
            bars = {mark["place"] for mark in sets if mark["at"] == row.limit}
            assert any(
                {"meat": "the meat", "batch": "the batch", "finished": "the finished"}[row.basis]
                in name
                for name in bars
            )
            assert any(("ion" in name) == (row.as_salt == "NO2") for name in bars)


def test_an_own_limit_is_judged_on_its_own_base_and_never_lifts_a_published_one():
    panel = dose_panel().set(own_ppm=70, own_on=("batch", "NO2"))
    assert (
        cell(panel, "Limits of US", "nitrite ingoing, as NO2, of the batch", 3).startswith("✗")
        and "your own limit" in panel.shown.sentence
    )
    panel.set(own_ppm=200, own_on=("meat", "NaNO2"), rate_g_per_kg=3.0)
    assert "Above the ceiling of US" in panel.shown.sentence
    panel.set(rate_g_per_kg=2.4, own_ppm=130)
    assert "Above the ceiling of your own limit" in panel.shown.sentence
    panel.set(own_ppm=60)
    assert "cannot hold together" in panel.error and panel.reset().error is None


def test_every_limit_held_is_listed_with_how_it_was_read():
    table = next(t for t in dose_panel().shown.tables if t.caption.startswith("Every limit stored"))
    said = {(row.cells[0], row.cells[4]) for row in table.rows}
    assert ("US", "read in the source") in said and any(
        place == "EU" and how.startswith("second-hand") for place, how in said
    )
    assert any(
        place == "Australia/New Zealand" and how.startswith("from memory") for place, how in said
    ) and any(place == "Codex" for place, _ in said)
    assert any("to 8 Oct 2025" in row.cells[1] for row in table.rows) and table.folded


def test_what_is_left_in_the_product_is_judged_by_a_measurement_alone():
    """118 mg/kg as NaNO2 are 78.7 as the ion, 130 are 86.7; Codex allows 80 as the ion."""
    panel = dose_panel().set(rule="Codex, general standard, category 08.3")
    row = "Limits of Codex", "nitrite residual, as NO2", 3
    assert cell(panel, *row) == "not judged" and "residual" not in panel.shown.sentence
    assert cell(panel.set(measured_ppm=118), *row) == "1.32 mg/kg"
    assert cell(panel.set(measured_ppm=130), *row).startswith("✗ 6.68")
    assert "residual nitrite exceeds its limit, Codex" in panel.shown.sentence


def test_an_overdose_is_shown_as_multiples_and_no_body_weight_is_asked_for():
    """By hand: 1458 ppm of the meat is 9.33 times 156.25; 100 g with 1458 / 1.39 = 1049 ppm of the batch bring 104.9 mg, 14.3 times 7.35 mg."""
    panel = error_examples_panel().set(example=0)
    assert cell(panel, "This dose as a multiple", "ceiling", 2) == "9.33"
    assert cell(panel, "This dose as a multiple", "acceptable daily intake", 2) == "14.3"
    assert "body_kg" not in panel.controls and not any(
        "eath" in line or "lethal" in line for line in panel.text().splitlines()
    )
    assert any(
        "poison centre" in line and "emergency services" in line for line in panel.shown.cautions
    )


def test_a_dose_that_nobody_can_know_is_refused():
    panel = error_examples_panel()
    spoons = [one.short for one in panel.result.examples].index("teaspoons")
    assert "Refused" in panel.set(example=spoons).shown.sentence


@pytest.mark.parametrize("number", range(20))
def test_each_trap_shows_its_number_beside_what_was_meant(number):
    panel = error_examples_panel().set(example=number)
    trap = panel.result.examples[number]
    assert (
        f"instead of {trap.meant_ppm:.0f}" in panel.shown.sentence
        and trap.do in panel.shown.sentence
    )
    large = [dot for dot in panel.shown.data["errors"]["given"] if dot["size"] > 200]
    assert len(large) == (0 if trap.gives_ppm is None else len(set(trap.gives_ppm)))
    for table in panel.shown.tables:
        if table.caption.startswith("Dosing errors that fit"):
            assert table.columns[2:5] == (
                "as written (ppm of meat)",
                "probably intended (ppm of meat)",
                "corrective action",
            )


def test_two_steps_stay_within_what_was_asked():
    panel = scale_panel().set(meat_kg=5.0)
    d = panel.result.dilution
    assert not panel.result.answer.within and d.relative_half_width_pct < 5
    assert any(table.caption.startswith("Dilution in two steps") for table in panel.shown.tables)


@pytest.mark.parametrize("seed", range(30))
def test_a_mistake_can_be_found_and_a_wrong_answer_is_not_taken(seed):
    panel = mistake_panel().set(seed=seed)
    case = panel.result
    right = panel.set(answer=case.planted).shown
    assert right.sentence.startswith("Right") and "_" not in right.sentence
    wrong = next(key for key in mistakes.ANSWERS if not case.check(key)[0])
    assert panel.set(answer=wrong).shown.sentence.startswith("Not correct")
    panel.set(answer="", hint=3)
    assert case.planted.replace("_", " ") not in panel.shown.sentence and panel.shown.notes


def test_the_sheet_of_a_mistake_reads_the_same_in_both_systems():
    panel = mistake_panel().set(seed=7)
    kg, lb = (
        units.read(cell(panel.use(system), "Weigh sheet", "meat block"), "kg")
        for system in (units.METRIC, units.US)
    )
    assert lb == pytest.approx(kg, abs=0.005)


def test_every_answer_has_words():
    assert set(mistakes.ANSWERS) == set(ANSWERS)


def test_the_cure_of_a_sheet_is_checked_and_its_weigh_list_withheld():
    assert "No alarm" not in own_cure_panel().shown.sentence
    sheet = demo_sheet().with_amounts({"cure premix": "20 g/kg of meat"})
    panel = own_cure_panel(sheet)
    assert "Stop: 1250 ppm" in panel.shown.sentence
    assert cell(panel, "Weigh list withheld", "1250", 0)


def test_rows_for_the_first_page_hold_value_limit_margin_and_source():
    answer = cure_of(demo_sheet(), 90)
    rows, in_us = (Table("", (), cure_rows(answer, system)).rows for system in units.SYSTEMS)
    assert all(len(row.cells) == 5 for row in rows) and not any(row.mark for row in rows)
    assert "20.7 kg" in {row.cells[1] for row in rows}
    assert "45.5 lb" in {row.cells[1] for row in in_us}
    assert error_tables(answer.findings) == ()
    assert (
        answer.scale_may_pass_ceiling
        and "exceeds the ceiling" in cure_sentence(answer)
        and "No alarm" not in cure_sentence(answer)
    )
    assert "No alarm" in cure_sentence(
        cure_of(demo_sheet().with_amounts({"cure premix": "2.3 g/kg of meat"}), 90)
    )
    assert "180 g" in {row.cells[1] for row in weigh_table(answer, units.METRIC).rows}
    bad = cure_of(demo_sheet().with_amounts({"cure premix": "20 g/kg of meat"}), 90)
    assert cure_sentence(bad).startswith("Stop") and any(
        row.mark == "fails" for row in Table("", (), cure_rows(bad, units.METRIC)).rows
    )
    assert len(error_tables(bad.findings)) == 2


def test_a_sheet_over_another_limit_says_so_in_the_sentence():
    answer = cure_of(demo_sheet().with_amounts({"sodium tripolyphosphate": "0.6 % of batch"}), 90)
    assert "Limit not met" in cure_sentence(answer) and "phosphate" in cure_sentence(answer)
    low = cure_of(demo_sheet().with_amounts({"cure premix": "1.5 g/kg of meat"}), 90)
    assert "Check: " in cure_sentence(low)
    assert read_sheet(demo_sheet().as_dict()) == demo_sheet()


@pytest.mark.parametrize("exercise", [*lesson.exercises(), *after.exercises()], ids=str)
def test_an_exercise_takes_its_answer_and_knows_its_slips(exercise):
    answer, working = exercise.solve()
    assert_pencil(working)
    assert exercise.check(answer).startswith("Right")
    assert exercise.check(answer * 3 + 10).startswith("Not right")
    for words, slip in exercise.slips:
        assert exercise.check(float(slip())) == f"Not right: {words}"
    assert (
        all(exercise.hint(n) for n in range(1, len(exercise.hints) + 1))
        and len(exercise.hints) >= 2
    )


def test_the_guess_is_worked_out():
    assert lesson.guess().commit("1250 ppm").compare().endswith("close.")
    assert "too low" in lesson.guess().commit(150).compare()

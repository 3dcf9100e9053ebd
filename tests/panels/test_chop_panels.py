"""The panels of 03 at every end of every slider: an answer or our own error, breaks that break, and one set of numbers in both unit systems."""

from math import isfinite

import numpy as np
import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit.chain.chop import chop_of
from kit.chain.emulsion import emulsion_of
from kit.emulsion.model import LIMIT_WORDS
from kit.lab.lessons import chop as lesson
from kit.lab.panels.chop import (
    chop_rows,
    cooling_panel,
    log_panel,
    machines_panel,
    path_panel,
    stop_panel,
)
from kit.lab.panels.chop.stop import HAND_OVER, HANDED
from kit.lab.panels.emulsion import margins_panel, why_panel
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Slider
from kit.lab.panels.sheets import STOP, demo_sheet, stopped_C, use_in_lessons
from kit.reading import read_sheet
from kit.tables import data_path

MAKERS = (path_panel, cooling_panel)
ALL = (*MAKERS, machines_panel, stop_panel)
LOG = data_path("demo", "chopper_log.csv").read_bytes()


def assert_finite(panel):
    """Something is drawn, and every number that is drawn is finite."""
    numbers = [
        cell
        for chart in panel.shown.data.values()
        for rows in chart.values()
        for row in rows
        for cell in row.values()
        if isinstance(cell, (int, float))
    ]
    assert len(numbers) >= 5 and all(isfinite(number) for number in numbers)


@pytest.fixture(scope="module")
def log():
    """One panel for the tests of the log: its fit takes a second."""
    return log_panel()


@pytest.fixture(params=ALL, ids=lambda make: make.__name__)
def panel(request):
    return request.param()


def test_corners_answer_too(panel):
    """All sliders low, all high."""
    for end in ("low", "high"):
        panel.set(
            **{
                key: getattr(held.spec, end)
                for key, held in panel.controls.items()
                if isinstance(held.spec, Slider)
            }
        )
        assert panel.error is None and "nan" not in panel.shown.sentence
        assert_finite(panel)
        panel.reset()


def test_the_working_under_the_panel_can_be_redone(panel):
    assert_pencil(panel.shown.steps)


def test_sources_and_cautions_are_shown(panel, log):
    for one in (panel, log):
        assert (
            all(isinstance(line, str) and len(line) > 10 for line in one.shown.sources)
            and one.shown.sources
        )
        assert "Knives" in one.shown.cautions[0] and "local codes" in " ".join(one.shown.cautions)


@pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
@pytest.mark.parametrize("preset", ["Water instead of ice", "Warm meat", "Chop too long"])
def test_a_break_on_purpose_breaks(make, preset):
    panel = make()
    before = panel.shown.sentence
    assert not any(row.mark == "fails" for table in panel.shown.tables for row in table.rows)
    panel.set(**panel.presets[preset])
    assert panel.error is None
    assert any(row.mark == "fails" for table in panel.shown.tables for row in table.rows)
    assert panel.reset().shown.sentence == before


def test_metric_and_us_show_the_same_temperature_and_the_same_kilograms():
    panel = path_panel()
    metric = panel.shown.data["path"]["end"][0]
    us = panel.use("US").shown.data["path"]["end"][0]
    assert us["t"] == pytest.approx(1.8 * metric["t"] + 32) and us["low"] == pytest.approx(
        1.8 * metric["low"] + 32
    )
    assert us["x"] == pytest.approx(metric["x"] / 2.326)  # 1 Btu/lb is 2.326 kJ/kg by definition
    assert "°F" in panel.shown.sentence and "°C" not in panel.shown.sentence
    assert panel.result.answer.end_C == path_panel().result.answer.end_C


def test_the_sentence_and_the_table_name_the_same_end():
    panel = path_panel()
    end = panel.shown.tables[0].rows[0].cells[1]
    assert f"temperature {end}" in panel.shown.sentence
    assert panel.shown.data["path"]["names"][0]["words"] == f"{end} here"


def test_the_line_goes_through_the_ring():
    """The line is calculated backwards, energy at each temperature; the ring forwards."""
    panel = path_panel()
    line, end = panel.shown.data["path"]["line"], panel.shown.data["path"]["end"][0]
    assert np.interp(end["x"], [p["x"] for p in line], [p["t"] for p in line]) == pytest.approx(
        end["t"], abs=0.1
    )


def test_a_contradiction_in_print_is_shown():
    beef = path_panel().set(fat="beef")
    assert any("40 to 42 °F" in note for note in beef.shown.notes)


def test_sliders_come_in_the_fixed_order(panel):
    groups = [held.spec.group for held in panel.controls.values()]
    assert list(dict.fromkeys(groups))[:4] == ["Meat block", "Ice", "Salt", "Process"]


def test_outcome_rows_fit_the_outcome_table():
    warm, cold = chop_of(lesson.demo_sheet(), 150), chop_of(lesson.demo_sheet(), 60)
    for system in ("metric", "US"):
        assert all(
            len(row.cells) == len(COLUMNS)
            for answer in (warm, cold)
            for row in chop_rows(answer, system)
        )
    assert (
        chop_rows(warm, "metric")[0].mark == "fails"
        and "above" in chop_rows(warm, "metric")[0].cells[3]
    )
    assert (
        chop_rows(cold, "metric")[0].mark == "" and "below" in chop_rows(cold, "metric")[0].cells[3]
    )
    assert "no share" in chop_rows(warm, "metric")[-1].cells[1]


def test_the_demo_log_is_called_invented_and_its_interval_is_told(log):
    assert log.reset().shown.sentence.startswith("Demo log, invented")
    assert log.result.fit.tells and not any(row.mark for row in log.shown.tables[0].rows)
    assert any("spike in 1 row" in row.cells[1] for row in log.shown.tables[1].rows)
    assert f"{log.result.fit.energy_kJ_per_kg.value:.0f} kJ/kg" in log.shown.sentence
    assert_pencil(log.shown.steps)


@pytest.mark.parametrize(
    "preset, word",
    [
        ("Include the minutes after chopping", "disagree"),
        ("End before the ice has melted", "cannot tell"),
    ],
)
def test_a_log_that_misleads_is_warned_of(log, preset, word):
    log.set(**log.presets[preset])
    assert "is not suitable" in log.shown.sentence
    assert any(row.mark == "fails" and word in row.cells[1] for row in log.shown.tables[0].rows)
    log.reset()


def test_an_own_log_is_read_and_bad_ones_are_asked_about(log):
    log.set(log=("mine.csv", LOG))
    assert not log.shown.sentence.startswith("Demo")
    assert any(
        "No batch sheet of this log" in row.cells[1] and row.mark == "fails"
        for row in log.shown.tables[0].rows
    )
    sheet = (
        data_path("demo", "demo_frankfurter.toml")
        .read_text(encoding="utf-8")
        .replace("Demo frankfurter", "Mine")
    )
    log.set(sheet=("mine.toml", sheet.encode()))
    assert not any("No batch sheet of this log" in row.cells[1] for row in log.shown.tables[0].rows)
    assert any("only minutes 0 to 9" in note for note in log.shown.notes)
    log.set(log=("bad.csv", b"a,b\nx,y\n"))
    assert (
        "cannot be used yet" in log.shown.sentence and log.shown.tables[0].rows[0].mark == "fails"
    )
    log.set(log=("bare.csv", b"minute;temp\n0;1,5\n1;2,5\n2;4,0\n3;6,1\n4;8\n"))
    assert "unit" in log.text() and "°F" in log.text()
    log.set(unit="°C", to_min="")
    assert log.error is None and log.result.log.file == "" and "kJ/kg" in log.shown.sentence
    log.set(sheet=("bad.toml", b"name = 3"))
    assert "cannot be used yet" in log.shown.sentence
    log.reset()


def test_what_the_reader_asks_can_be_answered_in_the_panel(log):
    """A clock that may be min:s or h:min, and a comma that may part thousands: asked for, then answered beside it."""
    bare = b"time;bowl (C)\n00:00;-3,5\n01:00;-3,1\n02:00;0,5\n03:00;3,9\n04:00;7,2\n"
    log.reset().set(log=("mine.csv", bare), from_min="", to_min="")
    asked = log.text()
    assert "cannot be used yet" in log.shown.sentence and "min:s" in asked and "h:min" in asked
    log.set(time="min:s")
    assert (
        log.error is None
        and log.result.log.minutes == pytest.approx(4)
        and "mechanical energy" in log.shown.sentence
    )
    log.set(time="h:min")
    assert log.result.log.minutes == pytest.approx(240)
    log.reset()


def test_minutes_that_cannot_be_are_refused_in_place(log):
    log.set(from_min="9", to_min="3")
    assert "after its start" in log.error
    log.set(from_min="soon")
    assert "amount" in log.error
    log.reset()
    assert log.error is None


@pytest.mark.parametrize("number", range(4))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number])


def test_a_pencil_s_rounding_is_let_through():
    first, _, third, *_ = lesson.exercises()
    assert first.check(5 * 2.05 + 333.6 + 13 * 4.18).startswith("Right")
    assert third.check(21 * 60 * 9 / 100).startswith("Right")


def test_the_guess_is_the_panel_s_own_number():
    guess = lesson.guess()
    assert "No guess yet" in guess.compare()
    panel = path_panel()
    assert guess.truth() == pytest.approx(panel.result.wet_end_C)
    assert f"{panel.result.answer.end_C:.1f} °C" in guess.question
    assert (
        "too low" in guess.commit("20 °C").compare()
        and "close" in guess.commit(guess.truth()).compare()
    )


def test_the_wanted_end_moves_the_ice_and_the_meat_that_reach_it():
    """Setting the table's own answers as sliders ends where it was wanted."""
    panel = cooling_panel().set(wanted_C=17.0)
    rows = {row.cells[0]: row.cells[1] for row in panel.shown.tables[0].rows}
    assert "target 17.0 °C" in panel.shown.sentence
    ice = float(rows["ice needed, meat as set"].split()[0])
    meat = float(rows["meat temperature needed, ice as set"].split()[0].replace("−", "-"))
    heat = float(rows["maximum specific mechanical energy, ice as set"].split()[0])
    for moved in (
        {"ice_share_pct": 100 * ice / panel.result.options.added_kg},
        {"meat_C": meat},
        {"energy_kJ_per_kg": heat},
    ):
        assert float(
            lesson.start_bowl(**moved).end_C(
                moved.get("energy_kJ_per_kg", lesson.START["energy_kJ_per_kg"])
            )
        ) == pytest.approx(17.0, abs=0.1)


def test_machines_answer_their_breaks():
    panel = machines_panel()
    said = {name: panel.reset().set(**values).shown for name, values in panel.presets.items()}
    assert any(row.mark == "fails" for row in said["Emulsifier after the cutter"].tables[0].rows)
    kneaded = said["Grind twice, then knead"]
    assert (
        "2 grinder passes and the kneader" in kneaded.sentence
        and "teaching assumption"
        in " ".join(cell for row in kneaded.tables[0].rows for cell in row.cells)
    )
    end_C = panel.reset().result.line.stops[-1].usual_C
    assert panel.shown.data["stops"]["stops"][-1]["usual"] == pytest.approx(end_C)
    assert panel.use("US").shown.data["stops"]["stops"][-1]["usual"] == pytest.approx(
        1.8 * end_C + 32
    )


def test_too_much_work_is_told_in_stages():
    panel = cooling_panel()
    assert not any("first stage" in row.cells[0] for row in panel.shown.tables[0].rows)
    panel.set(**panel.presets["Chop too long"])
    assert "In 2 stages" in panel.shown.sentence
    assert any("thin, covered layers" in note for note in panel.shown.notes)
    assert panel.set(meat_C=12, ice_share_pct=0, fat="without phosphate").error is None


OWN = {
    "name": "mine",
    "line": [
        {
            "name": "my beef",
            "kind": "meat",
            "species": "beef",
            "moisture_pct": 62,
            "protein_pct": 17,
            "fat_pct": 20,
            "ash_pct": 1,
            "amount": "40 kg",
            "temperature_C": 4,
        },
        {
            "name": "cold beef",
            "kind": "meat",
            "species": "beef",
            "moisture_pct": 62,
            "protein_pct": 17,
            "fat_pct": 20,
            "ash_pct": 1,
            "amount": "40 kg",
            "temperature_C": 2,
        },
        {"name": "ice", "amount": "15 kg"},
        {"name": "water", "amount": "5 kg"},
        {"name": "salt", "amount": "1.5 kg"},
    ],
}


@pytest.mark.parametrize("make", ALL, ids=lambda make: make.__name__)
def test_a_sheet_of_one_s_own_is_where_the_sliders_start(make):
    """Meat 3 °C by weight, 20 kg added on 80 kg meat, 15 of them ice, 1.5 of 101.5 kg salt: by hand."""
    panel = make(read_sheet(OWN | {"process": {"chop_energy_kJ_per_kg": 90}}))
    values = panel.values
    assert (
        values["meat_C"],
        values["added_pct_of_meat"],
        values["ice_share_pct"],
        values["salt_pct_of_batch"],
    ) == (3.0, 25, 75, 1.5)
    assert values.get("energy_kJ_per_kg", 90) == 90 and values["fat"] == "beef"
    assert not any("invented" in note for note in panel.shown.notes) and any(
        "values of mine" in note for note in panel.shown.notes
    )
    assert panel.error is None and panel.reset().values == values


def test_an_own_sheet_ends_where_the_chain_ends_it():
    sheet = read_sheet(OWN | {"process": {"chop_energy_kJ_per_kg": 90}})
    assert path_panel(sheet).result.answer.end_C == pytest.approx(
        chop_of(sheet).end_C, abs=0.3
    )  # salt rounded to the slider's step, one meat temperature


@pytest.mark.parametrize("field, end", [("chop_end_C", 9), ("chop_end_measured_C", 19)])
def test_the_sliders_start_where_a_written_end_is_reached(field, end):
    sheet = read_sheet(
        OWN | {"process": {"chop_energy_kJ_per_kg": 90, "cutter": "emulsion mill", field: end}}
    )
    panel = path_panel(sheet)
    assert panel.result.answer.end_C == pytest.approx(end, abs=0.3) and any(
        f"{end:.1f} °C" in note for note in panel.shown.notes
    )
    assert cooling_panel(sheet).values["wanted_C"] == (9 if field == "chop_end_C" else 14)
    assert [machines_panel(sheet).values[key] for key in ("grinds", "main", "mills")] == [
        1,
        "paddle mixer",
        1,
    ]


def test_a_sheet_beyond_the_sliders_usual_ends_widens_them():
    cold = path_panel(
        read_sheet(
            {"name": "frozen", "line": [OWN["line"][0] | {"temperature_C": -10}, OWN["line"][2]]}
        )
    )
    assert cold.values["meat_C"] == -10 and cold.error is None


def test_the_chopping_time_changes_what_is_said():
    """Power is energy over time: the heat for each kilogram, times the kilograms, over 9 min of 60 s."""
    panel = path_panel()
    assert (
        f"min: {panel.values['energy_kJ_per_kg'] * panel.result.answer.chopped.kg / 540:.1f} kW"
        in panel.shown.sentence
    )
    assert len({panel.set(minutes=minutes).shown.sentence for minutes in (1, 20)}) == 2


# when to stop


def test_stopping_asks_the_bowl_and_the_batter_model():
    """The end is that of one balance over all the heat so far; the answer is that of the sheet's batter ended there."""
    panel = stop_panel().set(stop_min=9)
    stopped, values = panel.result, panel.values
    energy = values["rate_kJ_per_kg"] * 9
    end = float(lesson.start_bowl().end_C(energy))
    assert stopped.chopped.end_C == pytest.approx(end, abs=0.05)
    t = [row["t"] for row in panel.shown.data["bowl"]["line"]]
    assert np.interp(9, np.linspace(0, 15, 61)[: len(t)], t) == pytest.approx(end, abs=0.05)
    assert stopped.held is None and "section" not in panel.shown.data
    assert "cook-out" not in panel.text()
    panel.set(asked=True)
    held = panel.result.held
    sheet = lesson.demo_sheet()
    there = emulsion_of(sheet, end_C=stopped.chopped.end_C, draws=200).held
    assert held.temperature_margin == pytest.approx(there.temperature_margin, abs=1e-6)
    assert held.total_out_g == pytest.approx(there.total_out_g, abs=0.1)
    assert f"cook-out of {held.total_out_g:.1f} %" in panel.shown.sentence
    assert len(panel.shown.data["section"]["things"]) > 20


def test_stopping_too_late_passes_the_limit_of_temperature_and_too_early_leaves_ice():
    panel = stop_panel()
    late = panel.press("Stop too late").result
    assert late.held.temperature_margin < 0 and late.chopped.ice_left_kg == pytest.approx(
        0, abs=1e-6
    )
    assert any(row.mark == "fails" for row in panel.shown.tables[0].rows)
    early = panel.press("Stop while ice is left").result
    assert early.chopped.ice_left_kg > 0.1 and early.chopped.end_C < 0


def test_the_stopped_batter_follows_water_and_salt_of_the_bowl():
    panel = stop_panel().set(asked=True)
    before = panel.result.held.batter
    wet = panel.set(added_pct_of_meat=50).result.held.batter
    salty = panel.reset().set(asked=True, salt_pct_of_batch=3).result.held.batter
    assert wet.water_pct > before.water_pct + 4 and wet.salt_pct > before.salt_pct - 0.5
    assert salty.salt_pct == pytest.approx(before.salt_pct + 1.0, abs=0.06)
    line = panel.shown.data["bowl"]["line"]
    assert [row["x"] for row in line] == sorted(row["x"] for row in line)
    assert line[0]["ice"] > 10 > line[-1]["ice"]


def take(panel):
    next(c for c in panel.children[0].children if getattr(c, "description", 0) == HAND_OVER).click()


def test_a_stop_is_taken_to_lesson_04_which_answers_it(tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path / "mine"))
    panel = stop_panel().press("Stop too late")
    margins = margins_panel()
    assert "You stopped" not in margins.shown.sentence, "nothing is handed over before the press"
    take(panel)
    end_C = panel.result.chopped.end_C
    assert panel.picture.sentence.endswith(HANDED) and stopped_C() == pytest.approx(end_C, abs=1e-3)
    margins = margins_panel()
    assert margins.values["end_C"] == pytest.approx(end_C, abs=1e-3)
    answer = margins.shown.sentence
    assert answer.startswith(
        f"You stopped chopping at {end_C:.1f} °C in lesson 03. Margin below 0: "
    )
    assert LIMIT_WORDS[margins.result.held.fails_first] in answer.split("Predicted")[0]
    assert "You stopped" not in margins.set(end_C=9).shown.sentence
    assert margins.reset().shown.sentence == answer
    assert why_panel().result.answer.batter.end_C == pytest.approx(end_C, abs=1e-3)
    use_in_lessons(demo_sheet(), "metric")
    assert "You stopped" not in margins_panel().shown.sentence, "another batch, no stop yet"


@pytest.mark.parametrize("spoilt", ["", "warm", "nan", "1e999"])
def test_a_spoilt_stop_is_no_stop(spoilt, tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path))
    (tmp_path / STOP).write_text(spoilt, encoding="utf-8")
    assert stopped_C() is None and "You stopped" not in margins_panel().shown.sentence


def test_a_stop_that_cannot_be_kept_is_said(tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path))
    (tmp_path / STOP).mkdir()
    panel = stop_panel()
    take(panel)
    assert STOP in panel.picture.error
    (tmp_path / "file").touch()
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path / "file"))
    take(panel)
    assert "folder file could not be made" in panel.picture.error

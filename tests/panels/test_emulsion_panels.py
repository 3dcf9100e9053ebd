"""The panels of 04 at every end of every slider and with every break: an answer or our own error, and words that agree with the numbers."""

import re

import numpy as np
import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit import units
from kit.diagnosis.catalogue import catalogue
from kit.emulsion import hold
from kit.emulsion.break_map import break_map
from kit.emulsion.factors import FACTORS
from kit.emulsion.saved import as_toml
from kit.lab.charts import break_map as map_charts
from kit.lab.charts.emulsion import LIMIT_WORDS, MARGIN_SHOWN
from kit.lab.lessons import emulsion as lesson
from kit.lab.panels.emulsion import (
    break_map_panel,
    class_tests_panel,
    corrective_actions_panel,
    emulsion_rows,
    margins_panel,
    published_panel,
    why_panel,
)
from kit.lab.panels.emulsion.batch import BREAKS
from kit.lab.panels.emulsion.published import stored
from kit.lab.panels.emulsion.why import ALL, SEEN
from kit.tables import read_rows

MAKERS = (
    margins_panel,
    break_map_panel,
    corrective_actions_panel,
    class_tests_panel,
    published_panel,
)


@pytest.fixture(params=MAKERS, ids=lambda make: make.__name__)
def panel(request):
    return request.param()


def test_every_preset_answers_and_the_way_back_is_the_start(panel):
    before = panel.shown.sentence
    for name, values in panel.presets.items():
        assert panel.set(**values).error is None, name
        assert panel.shown.sentence != before, name
        assert panel.reset().shown.sentence == before


def test_us_changes_the_words_and_metric_brings_them_back(panel):
    before = panel.shown.sentence
    in_us = panel.use("US").shown.sentence
    assert in_us != before and " lb" in in_us
    assert panel.use("metric").shown.sentence == before


def test_the_working_can_be_redone_and_sources_are_there(panel):
    assert_pencil(panel.shown.steps)
    assert len(panel.shown.sources) >= 3
    assert panel.shown.cautions


def test_no_panel_promises(panel):
    words = " ".join([panel.text(), *panel.shown.notes, *panel.shown.cautions]).lower()
    assert "does not predict whether a given batter will be stable" in words
    for promise in ("will break", "won't break", "is safe", "is validated", "guarantee"):
        assert promise not in words


def test_charts_have_words_and_fixed_names(panel):
    for name, sets in panel.shown.data.items():
        assert len(panel.shown.payload()["text"][name]) > 30
        assert all(isinstance(rows, list) for rows in sets.values())
        assert name in panel.picture.specs


# breaks


@pytest.mark.parametrize(
    "name, limit, part",
    [
        ("Chopped too warm", "temperature", "fat"),
        ("Too fat", "fat load", "fat"),
        ("No salt", "water", "water"),
        ("Too much collagen", "fat load", "fat"),
    ],
)
def test_a_break_on_purpose_crosses_its_own_edge(name, limit, part):
    panel = margins_panel()
    before = panel.result
    assert before.held.below_edge == ()
    panel.set(**panel.presets[name])
    after = panel.result
    assert after.fails_first == limit and limit in after.held.below_edge
    assert "Margin below 0" in panel.shown.sentence
    marked = [row.cells[0] for row in panel.shown.tables[0].rows if row.mark == "fails"]
    assert marked == [
        LIMIT_WORDS[name] for name in after.held.margins if name in after.held.below_edge
    ]
    gains = {
        "fat": after.held.fat_out_g - before.held.fat_out_g,
        "water": after.held.water_out_g - before.held.water_out_g,
    }
    assert max(gains, key=gains.get) == part


def test_the_breaks_are_the_same_on_map_and_corrective_actions():
    for make in (break_map_panel, corrective_actions_panel):
        assert BREAKS.items() <= make().presets.items()


# margins


def test_the_sentence_agrees_with_the_tables():
    panel = margins_panel()
    holds = panel.result
    kg = [float(x) for x in re.findall(r"([\d.]+) kg", panel.shown.sentence)]
    assert kg[:2] == pytest.approx([holds.kg(holds.held.total_out_g), holds.batch_kg], abs=0.051)
    assert sum(kg[4:7]) == pytest.approx(kg[0], abs=0.16)
    pounds = float(re.search(r"model: ([\d.]+) lb", panel.use("US").shown.sentence)[1])
    assert pounds == pytest.approx(holds.kg(holds.held.total_out_g) / 0.45359237, abs=0.051)


def test_beyond_the_axis_is_drawn_at_its_end_and_said_in_figures():
    panel = margins_panel()
    panel.set(end_C=30)
    row = next(
        row
        for row in panel.shown.data["margins"]["margins"]
        if row["limit"] == "chopping temperature"
    )
    assert row["margin"] < MARGIN_SHOWN[0] <= row["at"]
    assert float(row["words"].split()[1].replace("−", "-")) == pytest.approx(
        panel.result.held.temperature_margin, abs=0.005
    )


def test_a_saved_calibration_is_shown_before_and_after():
    """The column 'before' is the panel without the file, 'after' the panel with it."""
    panel, ours = margins_panel(), class_tests_panel().result.calibration
    plain = panel.result
    assert not any("before and after" in t.caption for t in panel.shown.tables)
    panel.set(calibration=("ours.toml", as_toml(ours).encode()))
    told = next(t for t in panel.shown.tables if "before and after" in t.caption)
    assert ours.name in told.caption and told.rows[0].cells[1:] == tuple(
        units.show(h.kg(h.held.total_out_g), "kg", "metric", 1) for h in (plain, panel.result)
    )
    assert (
        told.rows[0].cells[1] != told.rows[0].cells[2]
        and "lb" in panel.use("US").shown.tables[0].rows[0].cells[1]
    )


def test_a_saved_calibration_is_used_and_a_bad_one_is_told():
    panel, ours = margins_panel(), class_tests_panel().result.calibration
    before = panel.result.held.total_out_g
    panel.set(calibration=("ours.toml", as_toml(ours).encode()))
    assert panel.result.held.parameters.water_level == ours.water_level
    assert panel.result.held.total_out_g != before
    panel.set(calibration=("bad.toml", b"kind = 3"))
    assert "bad.toml" in panel.error and "cannot be computed" in panel.picture.payload["sentence"]
    panel.set(calibration=("", b""))
    assert panel.error
    assert panel.reset().result.held.total_out_g == before


def test_rows_for_the_first_notebook_hold_the_same_numbers():
    holds = lesson.start_answer()
    rows = emulsion_rows(holds, "metric")
    assert all(len(row.cells) == 5 for row in rows)
    assert f"({holds.held.total_out_g:.1f} %)" in rows[0].cells[1]
    assert sum("(smallest)" in row.cells[0] for row in rows) == 1
    assert " lb" in emulsion_rows(holds, "US")[0].cells[1]


# the map


def test_every_pair_of_axes_is_drawn():
    panel = break_map_panel()
    names = list(FACTORS)
    for n, across in enumerate(names):
        up = names[(n + 3) % len(names)]
        panel.set(across=across, up=up)
        assert panel.error is None, (across, up, panel.error)
        sets = panel.shown.data["map"]
        assert sets["tiles"] and sets["names"]
        assert len(sets["tiles"]) < 2500


def test_the_same_axis_twice_is_refused():
    panel = break_map_panel()
    panel.set(up="end_C")
    assert "choose two different ones" in panel.error


def test_tiles_cover_the_map_without_gaps():
    x, y = np.linspace(0, 10, 21), np.linspace(5, 9, 31)
    tiles = map_charts._tiles(x, y, np.add.outer(y, x))
    area = sum((t["x2"] - t["x"]) * (t["y2"] - t["y"]) for t in tiles)
    assert area == pytest.approx(10 * 4)


def test_the_edge_lies_where_the_margin_is_nought():
    x, y = np.linspace(-1, 1, 41), np.linspace(-1, 1, 41)
    pieces = map_charts._segments(x, y, np.hypot.outer(y, x) - 0.7)
    radii = [np.hypot(p[a], p[b]) for p in pieces for a, b in (("x", "y"), ("x2", "y2"))]
    assert np.allclose(radii, 0.7, atol=0.003)
    length = sum(np.hypot(p["x2"] - p["x"], p["y2"] - p["y"]) for p in pieces)
    assert length == pytest.approx(2 * np.pi * 0.7, rel=0.01)


def value_at(sets, axis):
    """The value under the ring, read off the ticks."""
    ticks = sets[f"ticks_{axis}"]
    return float(
        np.interp(
            sets["here"][0][axis],
            [t[axis] for t in ticks],
            [float(t["words"].replace("−", "-")) for t in ticks],
        )
    )


def test_the_ring_is_the_batch_in_both_systems():
    panel = break_map_panel()
    assert value_at(panel.shown.data["map"], "x") == pytest.approx(13)
    assert value_at(panel.shown.data["map"], "y") == pytest.approx(panel.result[0].batter.fat_pct)
    in_us = panel.use("US").shown.data["map"]
    assert value_at(in_us, "x") == pytest.approx(55.4)
    assert "°F" in in_us["titles"][0]["across"]


@pytest.mark.parametrize("low, high", [(0, 30), (32, 86), (-20, 30), (0, 0.5), (5, 60)])
def test_ticks_are_few_round_and_inside(low, high):
    ticks = map_charts._ticks(low, high)
    values = [float(words.replace("−", "-")) for _, words in ticks]
    assert 4 <= len(ticks) <= 8
    assert np.allclose(np.diff(values), values[1] - values[0])
    assert np.allclose([place for place, _ in ticks], (np.array(values) - low) / (high - low))
    assert low <= values[0] and values[-1] <= high


# corrective actions


def test_an_action_pressed_in_restores_what_it_says():
    panel = corrective_actions_panel()
    panel.set(**panel.presets["Chopped too warm"])
    best = panel.result[1].actions[0]
    assert best.factor.name == "end_C"
    panel.set(end_C=best.after - 0.01)
    assert panel.result[0].held.temperature_margin >= 0


def test_what_has_no_effect_is_said_so():
    panel = corrective_actions_panel()
    assert any(row.cells[2] == "no value improves it" for row in panel.shown.tables[1].rows)


def test_nothing_to_lift_and_nothing_reaches_are_told():
    panel = corrective_actions_panel()
    panel.set(ice_pct_of_meat=20, trim_fat_pct=40)
    assert (
        "no corrective action needed" in panel.shown.sentence and "changes" not in panel.shown.data
    )
    panel.set(salt_pct_of_batch=0, phosphate_pct=0, ice_pct_of_meat=60, core_C=95)
    assert "No single change" in panel.shown.sentence


def test_an_action_for_one_limit_does_not_hide_the_others():
    panel = corrective_actions_panel()
    panel.set(
        salt_pct_of_batch=0, phosphate_pct=0, binder_pct_of_batch=0, ice_pct_of_meat=60, core_C=95
    )
    assert "protein film on fat globules" in panel.shown.sentence
    assert panel.shown.sentence.endswith(
        "It does not restore fat : functional protein and water binding, also below target."
    )


# tubes, print


def test_typing_over_a_row_changes_the_answer_and_a_bad_row_is_told():
    panel = class_tests_panel()
    before = panel.result.calibration.water_level
    panel.set(**{"row 1": "planned, g=30, fat=0.5, water=3"})
    assert panel.result.calibration.water_level > before
    panel.set(**{"row 2": "warm, g=thirty"})
    assert "row 2" in panel.error and "30" in panel.error or "thirty" in panel.error


def test_a_file_goes_before_the_typed_rows():
    panel = class_tests_panel()
    panel.set(file=("ours.csv", b"label,raw_kg,cooked_kg\ncook,10,9.2\n"))
    assert [f.label for f in panel.result.calibration.fitted] == ["cook"]
    panel.set(file=("ours.csv", b"label,raw\ncook,10\n"))
    assert "ours.csv, row 2" in panel.error


def test_a_leak_is_told_as_another_cause():
    panel = class_tests_panel()
    panel.set(**panel.presets["A leaking tube"])
    assert any("look for another cause" in note for note in panel.shown.notes)


# the lesson


@pytest.mark.parametrize("number", range(6))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number], ends_on_answer=False)


def test_the_exercise_on_less_fat_agrees_with_the_panel():
    panel = corrective_actions_panel()
    panel.set(
        **panel.presets["Too fat"],
        ice_pct_of_meat=lesson.START["ice_pct_of_meat"],
        limit="fat load",
    )
    after = next(r.after for r in panel.result[1].actions if r.factor.name == "fat_pct")
    assert lesson.exercises()[5].solve()[0] == pytest.approx(after, abs=0.01)


def test_panels_and_lesson_start_from_one_batch():
    assert margins_panel().result.held.total_out_g == lesson.start_answer().held.total_out_g


def test_a_guess_must_be_committed_and_is_compared():
    guess = lesson.guess()
    assert "No guess yet" in guess.compare()
    assert "close" in guess.commit(f"{guess.truth():.1f} %").compare()
    assert "too low" in guess.commit(1).compare()


def test_ice_and_a_colder_start_are_followed_through_the_bowl():
    """Chopped hot on a dry batch, more ice is offered and the end it brings stands beside it."""
    panel = corrective_actions_panel().set(end_C=21, ice_pct_of_meat=20)
    rows = {row.cells[0].split(":")[0]: row.cells for row in panel.shown.tables[0].rows}
    assert "more ice" in rows and rows["more ice"][2] == rows["end the chopping colder"][2]
    beyond = {row.cells[0]: row.cells for row in panel.shown.tables[1].rows}
    assert beyond["meat as it goes in"][2] == "−1.5 °C"
    panel.set(ice_pct_of_meat=60)
    beyond = {row.cells[0]: row.cells for row in panel.shown.tables[1].rows}
    assert "another margin falls below target" in beyond["ice added, its cold counted"][2]


def test_no_salt_takes_salt_out_and_nothing_else():
    panel = margins_panel()
    before = panel.values
    assert {
        key for key, value in panel.press("No salt").values.items() if value != before[key]
    } == {"salt_pct_of_batch"}
    assert panel.result.batter.phosphate_pct == before["phosphate_pct"] > 0


def test_a_leaking_tube_is_named_and_no_sound_one_is():
    panel = class_tests_panel()
    assert panel.result.calibration.furthest is None and "leak" not in panel.shown.sentence
    panel.press("A leaking tube")
    assert "planned, exudate: 30.0 g" in panel.shown.sentence and "leak" in panel.shown.sentence
    table = next(t for t in panel.shown.tables if t.caption.startswith("Measured and predicted"))
    assert [row.cells[0] for row in table.rows if row.mark == "fails"] == ["✗ planned"]


def test_corrective_actions_are_found_for_beef_from_the_start_values():
    panel = corrective_actions_panel().set(trim="beef")
    assert panel.error is None and "Smallest single corrective action" in panel.shown.sentence


def test_a_value_beyond_the_picture_is_written_beside_it():
    panel = class_tests_panel().press("A leaking tube")
    far = [row["far"] for row in panel.picture.payload["data"]["tubes"]["rows"]]
    assert far[0] == "ring 30.0" and set(far[1:]) == {""}


def test_every_published_column_is_shown_with_its_error_and_the_factors_with_their_claim():
    panel = published_panel()
    columns, rows, factors = stored()
    assert "must not be used for" in panel.shown.tables[0].caption
    assert [r.cells[0] for r in panel.shown.tables[1].rows] == [f["varies"] for f in factors]
    for n, column in enumerate(columns):
        drawn = panel.set(row=n).shown.data["beside"]["rows"]
        names = [r["place"].split("|")[1] for r in drawn]
        assert len(set(names)) == len(names) > 1
        assert not any(name[:2] in ("T1", "N0", "P0") and "%" not in name for name in names)
        error = np.mean([abs(r["measured"] - r["first"]) for r in drawn])
        assert error == pytest.approx(float(column["error_points"]))
        assert "_" not in panel.shown.sentence
    hot = next(n for n, column in enumerate(columns) if column["table"] == "N")
    drawn = panel.use("US").set(row=hot).shown.data["beside"]["rows"]
    assert drawn[0]["place"].endswith("68 °F"), "a temperature changes with the units"


# why


def test_why_gives_each_reason_with_its_source_and_this_batchs_numbers():
    """Each sentence in the data asks for a number of the model; eight rows, in about two hundred words, in sight as the panel opens."""
    rows = read_rows("words", "why.csv")
    assert all("{" in one["sentence"] for one in rows if one["part"] == "why")
    assert sum(one["part"] == "dispute" for one in rows) == 2
    panel = why_panel()
    table, held = panel.shown.tables[0], panel.result.answer.held
    assert not table.folded and len(table.rows) == 8
    assert 150 <= sum(len(row.cells[1].split()) for row in table.rows) <= 250
    assert all(len(row.cells[2]) > 10 and "{" not in row.cells[1] for row in table.rows)
    said = {row.cells[0]: row.cells[1] for row in table.rows}
    assert f"asks for {held.film_protein_g:.2f} g" in said["protein film"]
    half = hold(held.batter.but(drop_um=held.batter.drop_um / 2)).film_protein_g
    assert f"{half:.2f} g of protein" in said["over-chopping"]
    assert half == pytest.approx(2 * held.film_protein_g)
    assert "53 °C to 65 °C" in said["collagen"]
    assert "127 °F to 149 °F" in panel.use("US").text()


def test_why_says_how_much_of_the_map_the_film_rules():
    panel = why_panel()
    weakest = break_map(panel.result.answer.batter, points=40).weakest
    share = 100 * np.mean(weakest == 0)
    assert (
        share < 0.5 and "first limit on 0 % of the area" in panel.shown.tables[0].rows[1].cells[1]
    )


@pytest.mark.parametrize("name", BREAKS)
def test_why_shows_the_batch_that_is_chosen(name):
    panel, margins = why_panel().set(batch=name), margins_panel().press(name)
    assert panel.result.answer.held.margins == margins.result.held.margins
    assert LIMIT_WORDS[margins.result.fails_first] in panel.shown.text["heated gel"]


def test_the_four_breaks_speak_in_the_words_of_the_catalogue():
    panel, known = why_panel().set(batch=ALL), catalogue()
    rows = panel.shown.tables[0].rows
    assert [row.cells[0] for row in rows] == list(BREAKS)
    assert list(panel.shown.data) == list(BREAKS)
    for row, key in zip(rows, ("fat_cap", "greasy_skin", "crumbly", "jelly"), strict=True):
        symptom, name = known.symptoms[key], row.cells[0]
        assert symptom.as_seen in row.cells[2] and symptom.as_seen in panel.shown.text[name]
        assert symptom.as_seen in panel.picture.specs[name]["title"]["subtitle"]
    for name, (cause, symptom) in SEEN.items():
        assert (symptom, cause) in known.gives, name


def test_what_the_catalogue_sees_and_the_model_does_not_draw_is_said():
    panel = why_panel()
    jelly = panel.result.breaks["Too much collagen"].held
    told = any("draws no jelly pocket" in note for note in panel.shown.notes)
    assert told is (jelly.water_margin >= 0)

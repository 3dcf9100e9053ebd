"""A kitchen's own steps: what the sheet holds of them, what they change, and the decision card of one batch."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from pencil import assert_pencil

from kit import follow, tables
from kit.casing.peel import peeled_casing
from kit.chain.casing import links_of
from kit.chain.chop import guide_of, machine_of
from kit.chain.cook import core_rows_of, schedule_of
from kit.chain.cook_yield import usual_loss, usual_yield
from kit.chain.diagnosis import bowl_signs_of, evidence_of
from kit.chain.expected_loss import EVAPORATION, MODEL, USUAL, calculated_losses
from kit.chain.mass_balance import mass_balance_of
from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.decision_card import bowl_signs, cooked_defects
from kit.errors import Faulty, OutOfRange, UnknownName
from kit.lethality.rows_met import rows_met
from kit.reading import read_sheet
from kit.reading.written import write_sheet
from kit.sheet.entries import fields

DEMO = Path(__file__).parents[1] / "data" / "demo"
KITCHEN = read_sheet(DEMO / "teaching_kitchen.toml")
PLANT = read_sheet(DEMO / "demo_frankfurter.toml")


def changed(old: str, new: str):
    text = (DEMO / "teaching_kitchen.toml").read_text(encoding="utf-8")
    assert old in text
    return read_sheet(text.replace(old, new))


# --- the sheet -----------------------------------------------------------------------------------------------------------


def test_the_teaching_kitchen_holds_every_step_and_every_form_keeps_it(tmp_path):
    plan = KITCHEN.process
    assert (plan.grind_passes, plan.grind_plate_mm, plan.portioned) == (2, 4.5, "by eye")
    assert (plan.core_probes, plan.probe_error_K, plan.peeled) == (1, 1, "yes")
    assert plan.chill_medium == "ice water" and [one.kind for one in plan.finish] == ["grill"]
    for form in ("toml", "csv", "xlsx"):
        file = tmp_path / f"kitchen.{form}"
        write_sheet(KITCHEN, file)
        assert read_sheet(file) == KITCHEN


@pytest.mark.parametrize("name", ["grind_passes", "grind_plate_mm", "core_probes", "probe_error_K"])
def test_a_number_of_the_kitchen_says_what_is_usual(name):
    assert "usually" in fields("process")[name].meaning


@pytest.mark.parametrize(
    "old, new, says",
    [
        ("grind_passes = 2", "grind_passes = 1.5", "whole ones"),
        ("core_probes = 1", "core_probes = 2.5", "whole ones"),
        ("core_probes = 1", "core_held_min = 2", "without core_measured_C"),
        ('"by eye"', '"by nose"', "by machine, by weight, by eye"),
        ('kind = "charcoal cooker"', 'kind = "grill"', "comes last"),
    ],
)
def test_a_faulty_kitchen_is_named(old, new, says):
    text = (DEMO / "teaching_kitchen.toml").read_text(encoding="utf-8")
    text = text.replace("air_low_C = 105\nair_high_C = 130\n", "").replace(old, new)
    text = text if "grill" not in new else text.replace('kind = "refrigerator"', 'kind = "grill"')
    with pytest.raises(Faulty, match=says):
        read_sheet(text)


# --- what the steps change -----------------------------------------------------------------------------------------------


def test_each_pass_of_the_grinder_adds_its_energy_on_the_meat_alone():
    once, thrice = (
        machine_of(KITCHEN.with_process(cutter="kneader", grind_passes=n)) for n in (1, 3)
    )
    meat = KITCHEN.kg_of("meat") / KITCHEN.batch_kg
    extra = thrice.usual_kJ_per_kg - once.usual_kJ_per_kg
    assert extra == pytest.approx(2 * meat * tables.value("machine_grinder"))
    assert machine_of(KITCHEN.with_process(cutter="kneader", grind_passes=None)) == once


def test_links_by_eye_scatter_more_than_by_weight_or_machine():
    wide = []
    for how in ("by eye", "by weight", "by machine"):
        links = links_of(KITCHEN.with_process(portioned=how))
        low, high = links.one_link_g
        assert (low + high) / 2 == pytest.approx(links.link_weight_g)
        assert any(how in note for note in links.notes)
        wide.append(high - low)
    assert wide[0] > wide[1] > wide[2] > 0
    assert links_of(PLANT).one_link_g is None


def test_one_probe_in_one_link_leaves_an_interval_below_its_reading():
    calm = changed("duration_min = 60", "duration_min = 75")
    answer = follow(calm).cook
    low, middle, high = answer.probe.coldest_at_target_C
    assert low < middle < high < 71 and answer.probe.links == links_of(calm).links
    assert f"is at {low:.1f} to {high:.1f} °C" in answer.more_words
    assert follow(PLANT).cook.probe is None and follow(PLANT).cook.more_words == ""
    several = follow(calm.with_process(core_probes=3, probe_error_K=0.1)).cook
    assert any("Several links" in note for note in several.notes)
    assert several.probe.coldest_at_target_C != answer.probe.coldest_at_target_C
    assert_pencil(answer.probe.working)


def test_a_probe_that_never_shows_the_target_is_said():
    short = changed("duration_min = 60", "duration_min = 15")
    assert "the probe never shows 71 °C" in follow(short).cook.more_words


def test_the_grill_counts_in_no_schedule_and_no_cook_yield():
    grill = KITCHEN.process.finish
    finished = replace(PLANT, process=replace(PLANT.process, cook=(*PLANT.process.cook, *grill)))
    assert schedule_of(finished) == schedule_of(PLANT)
    with_it, less = follow(finished), follow(PLANT)
    assert with_it.expected_yield.pct == less.expected_yield.pct
    assert any("grill" in note for note in with_it.cook.notes)
    assert not any("grill" in note for note in less.cook.notes)


def test_the_grill_is_a_stage_of_the_balance_where_it_is_planned():
    assert usual_loss(PLANT, "grill") is None and usual_loss(KITCHEN, "grill").pct > 0
    stages = [line.stage for line in mass_balance_of(KITCHEN).expected.stages]
    assert stages[-3:] == ["peel", "pack", "grill"] and "rest" in stages
    kept = mass_balance_of(KITCHEN.with_process(peeled="no")).expected.stages
    assert [line.stage for line in kept][-3:] == ["chill", "pack", "grill"]
    assert "grill" not in [line.stage for line in mass_balance_of(PLANT).expected.stages]


def test_the_casing_peeled_off_is_predicted_where_the_sheet_says_that_it_is_peeled():
    def told(**process):
        return calculated_losses(follow(PLANT.with_process(**process)), USUAL)[0]

    peel = told(peeled="yes")["peel"]
    assert 0 < peel.low_pct < peel.pct < peel.high_pct
    for other in ({"peeled": "no"}, {"peeled": "yes", "casing": "fibrous"}, {}):
        assert "peel" not in told(**other)
    assert PLANT.process.is_peeled and not PLANT.with_process(peeled="no").process.is_peeled
    assert_pencil(peeled_casing(24, 1030, 90).working)


def test_a_measured_core_meets_rows_and_counts_as_evidence():
    assert core_rows_of(KITCHEN) is None
    held = KITCHEN.with_process(core_measured_C=66, core_held_min=1.2)
    rows = core_rows_of(held)
    assert rows.as_read[0].met and not rows.at_worst[0].met
    assert rows.words in follow(held.with_process(core_probes=None)).cook.more_words
    told = {one.reading.key: one for one in evidence_of(held).told}
    assert told["core_C"].value == 66 and told["core_C"].counts
    no_time = core_rows_of(KITCHEN.with_process(core_measured_C=66))
    assert no_time.held_min == 0 and not no_time.as_read[0].met


def test_a_core_that_cannot_be_is_refused():
    with pytest.raises(OutOfRange):
        rows_met(110, 1, "meat")
    with pytest.raises(OutOfRange):
        rows_met(70, -1, "meat")
    with pytest.raises(UnknownName):
        rows_met(70, 1, "fish")


# --- the card ------------------------------------------------------------------------------------------------------------


def test_the_card_holds_the_numbers_of_this_batch():
    card, guide = bowl_signs_of(KITCHEN), guide_of(KITCHEN)
    warm = next(one for one in card if one.key == "bowl_warm")
    assert f"{guide.high_C:.1f} °C" in warm.sign and f" {guide.low_C:.1f} °C" in warm.chill
    greasy = next(one for one in card if one.key == "bowl_greasy_film")
    assert f" {tables.value('card_hold_C'):.1f} °C" in greasy.chill
    assert greasy.go_on.startswith("no")
    fatty = next(one for one in card if one.key == "bowl_fatty")
    assert f"{KITCHEN.composition.fat_pct:.1f} % fat" in fatty.means
    beef = KITCHEN.with_process(fat="beef")
    warmer = next(one for one in bowl_signs_of(beef) if one.key == "bowl_warm")
    assert f" {guide_of(beef).low_C:.1f} °C" in warmer.chill and warmer.chill != warm.chill
    assert not any(
        "{" in text for one in card for text in vars(one).values() if isinstance(text, str)
    )


def test_the_card_says_how_much_salt_is_missing():
    """1.0 % of 50 kg where a handout asks for 1.8: 0.4 kg, by pencil."""
    card = bowl_signs(12.8, 15.6, 25, 1.0, 50)
    assert "400 g of salt are missing" in next(o for o in card if o.key == "bowl_grainy").add
    enough = bowl_signs(12.8, 15.6, 25, 1.8, 50)
    assert "missing" not in next(o for o in enough if o.key == "bowl_grainy").add
    us = bowl_signs(12.8, 15.6, 25, 1.8, 50, "US")
    assert "60.1 °F" in next(o for o in us if o.key == "bowl_warm").sign


def test_the_cooked_half_of_the_card_is_the_catalogue_itself():
    card = cooked_defects(evidence_of(KITCHEN).readings)
    book = catalogue()
    assert [one.key for one in card] == list(book.symptoms)
    for one in card:
        assert one.measure and book.symptoms[one.key].as_seen in one.sign
        named = {cause.name for cause in book.causes_of(one.key)}
        assert one.causes and {text.split(": next time")[0] for text in one.causes} & named


def test_what_is_known_of_the_batch_moves_the_causes():
    cold, hot = (
        next(one for one in cooked_defects({"end_over_best_K": off}) if one.key == "fat_cap")
        for off in (0.0, 8.0)
    )
    assert hot.causes[0].startswith("chopped too warm")
    assert not cold.causes[0].startswith("chopped too warm")


def test_every_row_of_the_card_says_what_was_read_and_what_is_practice():
    path = Path(__file__).parents[1] / "data" / "diagnosis" / "decision_card.csv"
    rows = list(csv.DictReader(path.open(encoding="utf-8", newline="")))
    assert len(rows) == len(bowl_signs_of(KITCHEN)) >= 8
    for row in rows:
        assert {row["status"], row["do_status"]} <= set(tables.STATUSES)
        assert {row["source"], row["do_source"]} <= set(tables.sources())
        assert row["chill"] in ("", "low", "hold")
    assert [r["key"] for r in rows if r["do_status"] == "read"] == ["bowl_stringy"]


def test_what_dries_in_the_rest_is_lost_once_and_before_the_cook():
    """Both stages one after the other come to the expected yield out of the cooker; the usual yield, which holds no rest, has it taken off."""
    followed = follow(KITCHEN.with_process(core_probes=None))
    told, _ = calculated_losses(followed, MODEL)
    rested = followed.cook.rested_pct
    assert told["rest"].pct == pytest.approx(rested) and rested > 1
    left = (1 - told["rest"].pct / 100) * (1 - told["cook"].pct / 100)
    assert 100 * left == pytest.approx(followed.expected_yield.smokehouse_pct)
    plain = usual_yield(KITCHEN).pct
    assert followed.expected_yield.usual.pct == pytest.approx(plain * (1 - rested / 100))
    alone = calculated_losses(followed, EVAPORATION)[0]["cook"].pct
    both = 1 - (1 - rested / 100) * (1 - alone / 100)
    assert 100 * both == pytest.approx(followed.cook.loss.evaporated_smokehouse_pct)
    assert KITCHEN.process.rests and not PLANT.process.rests

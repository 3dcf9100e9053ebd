"""The panels of 08 at every end of every slider: an answer or our own error, breaks that break, one set of numbers in both unit systems."""

import re
from itertools import product

import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit.chain.expected_loss import COOK_WAYS
from kit.lab.lessons import mass_balance as lesson
from kit.lab.panels.mass_balance import (
    ledger_panel,
    own_balance_panel,
    reconciliation_panel,
    worth_panel,
)
from kit.lab.panels.mass_balance.ledger import NO_MISTAKE, POUNDS_TYPED, TWICE
from kit.lab.panels.mass_balance.reconciliation import AS_USUAL, AS_WEIGHED, CLOSED, OPEN
from kit.lab.panels.mass_balance.worth import COST, WATER
from kit.lab.panels.panel import Slider
from kit.tables import data_path
from kit.yields import mass_balance

DEMO = data_path("demo", "demo_frankfurter.toml").read_bytes()


@pytest.fixture(scope="module")
def ledger():
    return ledger_panel()


@pytest.fixture(scope="module")
def closing():
    return reconciliation_panel()


@pytest.fixture(scope="module")
def worth():
    return worth_panel()


@pytest.fixture(scope="module")
def own():
    return own_balance_panel()


@pytest.fixture(autouse=True)
def start(ledger, closing, worth, own):
    yield
    for panel in (ledger, closing, worth, own):
        if panel.system != "metric":
            panel.use("metric")
        panel.reset()
        assert panel.error is None


def fails(panel):
    return [row for table in panel.shown.tables for row in table.rows if row.mark == "fails"]


def table(panel, caption):
    return next(t.filled() for t in panel.shown.tables if t.caption.startswith(caption))


def test_corners_answer_or_refuse_in_words(ledger, worth):
    for panel in (ledger, worth):
        sliders = [held.spec for held in panel.controls.values() if isinstance(held.spec, Slider)]
        for ends in product(("low", "high"), repeat=len(sliders)):
            panel.set(**{spec.key: getattr(spec, end) for spec, end in zip(sliders, ends)})
            assert panel.error is None or "must leave" in panel.error or "kg" in panel.error, (
                panel.error
            )


def test_the_ledger_starts_as_the_demo_batch_was_weighed(ledger):
    plain = mass_balance(lesson.ledger_of(lesson.demo_sheet()))
    found = ledger.result.weighed
    assert [line.lost_kg for line in found.stages] == pytest.approx(
        [line.lost_kg for line in plain.stages]
    )
    assert found.unrecorded_kg == pytest.approx(
        plain.unrecorded_kg
    ) and found.end.kg == pytest.approx(plain.end.kg)


def test_sentence_and_picture_name_the_same_yield(ledger):
    for base in ("meat block", "received", "bowl"):
        ledger.set(base=base)
        dot = next(
            row
            for row in ledger.shown.data["yields"]["weighed"]
            if row["place"].endswith(f"|{base}")
        )
        pct, _, sd, _ = dot["words"].split()
        assert f"is {pct} % of the {base}" in ledger.shown.sentence and dot["chosen"]
        assert float(sd) == pytest.approx(ledger.result.weighed.yield_on(base).sd_pct, abs=0.05)
    assert sum(row["chosen"] for row in ledger.shown.data["yields"]["weighed"]) == 1


def test_rework_counted_twice_shows_as_a_gain(ledger):
    assert not fails(ledger)
    ledger.set(**ledger.presets["Rework counted twice"])
    assert ledger.values["mistake"] == TWICE and len(fails(ledger)) == 1
    assert (
        fails(ledger)[0].cells[0] == "stuff"
        and "more came out than went in" in fails(ledger)[0].cells[1]
        and "✗" in ledger.shown.sentence
    )


def test_pounds_typed_as_kilograms_are_named_before_any_yield(ledger):
    right = ledger.result.weighed.stage("cook").out_kg
    ledger.set(**ledger.presets["Pounds typed as kilograms"])
    assert ledger.values["mistake"] == POUNDS_TYPED and ledger.shown.sentence.startswith(
        "out of cook"
    )
    assert (
        ledger.result.slips[0].meant_kg == pytest.approx(right)
        and "no yield of this batch is valid" in ledger.shown.sentence
    )
    assert any(row.cells[0] == "out of cook" for row in fails(ledger))


def test_a_leak_takes_from_the_yield_and_stands_in_its_own_line(ledger):
    before = ledger.result.weighed
    ledger.set(**ledger.presets["An unrecorded loss"])
    after = ledger.result.weighed
    gone = ledger.values["astray_kg"] - ledger.controls["astray_kg"].spec.value
    assert after.unrecorded_kg == pytest.approx(
        before.unrecorded_kg + gone
    ) and after.end.kg == pytest.approx(before.end.kg - gone)
    assert after.lost_kg == pytest.approx(before.lost_kg), "no stage lost more"


def test_rework_and_additions_move_yields_and_no_loss(ledger):
    before = ledger.result.weighed
    ledger.set(rework_in_kg=5, rework_out_kg=3, added_kg=35)
    after = ledger.result.weighed
    assert (
        after.lost_kg == pytest.approx(before.lost_kg)
        and after.kg_of("rework in") == 5
        and after.kg_of("rework out") == pytest.approx(3)
    )
    labels = {row["place"].split("|")[1] for row in ledger.shown.data["waterfall"]["steps"]}
    assert {
        "rework in at chop",
        "rework out at stuff",
        "sample at cook",
        "ice at chop",
        "dry goods at chop",
        "giveaway",
    } <= labels


def test_each_way_to_expect_the_cook_is_shown(ledger):
    shown = set()
    for way in COOK_WAYS:
        ledger.set(cook_by=way)
        shown.add(
            next(
                row.cells[6] or row.cells[5]
                for row in table(ledger, "Mass balance by stage").rows
                if row.cells[0] == "lost in cook"
            )
        )
    assert len(shown) == len(COOK_WAYS)


def test_metric_and_us_show_the_same_books(ledger, closing, worth):
    kg = ledger.shown.data["waterfall"]["steps"][0]["to"]
    lb = ledger.use("US").shown.data["waterfall"]["steps"][0]["to"]
    assert (
        lb == pytest.approx(kg / 0.45359237)
        and " lb" in ledger.shown.sentence
        and not re.search(r"\d kg", ledger.shown.sentence)
    )
    for panel in (closing, worth):
        metric = panel.text()
        us = panel.use("US").text()
        assert us != metric and not re.search(r"\d kg\b", us), panel.title


def test_a_cause_keeps_its_size_in_either_unit(closing):
    closing.set(**closing.presets["Biased scale after chopping"])
    size = closing.result.suspects[0].causes[0].size
    closing.use("US")
    words = re.search(r"out of chop reads ([\d.]+) ±", closing.shown.sentence)
    assert float(words[1]) == pytest.approx(size / 0.45359237, rel=0.005)


def test_what_can_be_told_apart_and_what_cannot(closing):
    said = {}
    for name, change in closing.presets.items():
        closing.set(**change)
        said[name] = closing.shown.sentence
        closing.reset()
    assert "closes within" in said["Balance that closes"]
    assert (
        "One cause explains it best by far: the weight out of chop reads"
        in said["Biased scale after chopping"]
    )
    assert "Nearly as likely" in said["Biased scale after the cook"], (
        "the usual range of the cook is wider than the error"
    )
    assert "cannot be told apart" in said["Loss and bias not distinguishable"]
    assert "from rest to cook" in said["Where two scales meet"]
    assert (
        "no single cause" in said["Two at once: the demo batch"]
        and "chill to peel" in said["Two at once: the demo batch"]
    )


def test_usual_losses_on_the_books_check_more(closing):
    closing.set(start=AS_WEIGHED, open=OPEN)
    few = closing.result.dof
    unchecked = [
        row for row in closing.shown.data["balances"]["nodes"] if row["words"] == "not checked"
    ]
    closing.set(open=AS_USUAL)
    assert closing.result.dof > few
    assert len(
        [row for row in closing.shown.data["balances"]["nodes"] if row["words"] == "not checked"]
    ) < len(unchecked)


def test_a_poor_scale_hides_a_hole(closing):
    assert closing.result.closes is False and closing.values["start"] == CLOSED
    closing.set(scale_sd_g=600)
    assert closing.result.closes and not any(
        t.caption.startswith("Single causes") for t in closing.shown.tables
    )


def test_the_causes_are_ranked_and_say_which_are_enough(closing):
    rows = table(closing, "Single causes").rows
    shares = [float(row.cells[1].split()[0]) for row in rows]
    assert 1 < len(rows) <= 6 and shares == sorted(shares, reverse=True)
    for row, group in zip(rows, closing.result.suspects):
        assert (row.cells[2] != "") == group.explains and row.cells[0] == group.words()


def test_the_table_of_weights_closes(closing):
    found = closing.result
    assert abs(found.graph.incidence @ found.reconciled_kg).max() < 1e-8
    assert any("unusual" in row.cells[5] for row in table(closing, "Recorded and reconciled").rows)


def test_money_adds_up_and_steam_is_worth_what_you_say(worth):
    cost = worth.result[1]
    balance = worth.result[0].weighed
    assert cost.lost_money == pytest.approx(sum(w.money for w in cost.losses))
    prices = worth.values
    paid = balance.start.kg * prices["meat"] + balance.added_kg * prices["added"]
    assert cost.input_money_per_packed_kg == pytest.approx(paid / balance.end.kg)
    worth.set(steam=WATER)
    by = {w.label: w for w in worth.result[1].losses}
    assert by["lost in cook"].money == 0
    before = {w.label: w for w in cost.losses}
    assert by["lost in peel"].price_per_kg > before["lost in peel"].price_per_kg, (
        "what the water cost stays on the kilograms left"
    )
    assert by["lost in stuff"].price_per_kg == pytest.approx(before["lost in stuff"].price_per_kg)
    assert worth.values["steam"] != COST


def test_giveaway_costs_what_it_could_have_been_sold_for(worth):
    worth.set(sold=10, giveaway_kg=1)
    found = next(w for w in worth.result[1].losses if w.label == "giveaway")
    assert (
        found.money == pytest.approx(10)
        and f"{worth.result[0].giveaway_g_per_pack:.1f} g in each pack" in worth.shown.sentence
    )
    worth.set(**worth.presets["Each pack 4 g heavier"])
    assert worth.result[0].giveaway_g_per_pack == pytest.approx(6.9, abs=0.3)


def test_the_dearest_comes_first(worth):
    shares = [row["share"] for row in worth.shown.data["worth"]["losses"]]
    assert shares == sorted(shares, reverse=True) and sum(shares) == pytest.approx(100)
    assert worth.shown.sentence.startswith(
        f"Costliest loss: {worth.shown.data['worth']['losses'][0]['place'].split('|')[1]}"
    )


def test_own_sheet_good_bare_and_bad(own, ledger):
    assert "Choose a batch sheet" in own.shown.sentence
    own.set(file=("mine.toml", DEMO))
    assert (
        own.error is None
        and "117.2 %" in own.shown.sentence
        and "does not close" in own.shown.sentence
    )
    assert set(own.shown.data) == {"yields", "balances"}
    bare = re.sub(rb"\[\[weighing\]\].*", b"", DEMO, flags=re.S)
    own.set(file=("bare.toml", bare))
    assert (
        own.error is None
        and "Expected from the plan" in own.shown.sentence
        and own.result[0].weighed is None
    )
    own.set(file=("bad.toml", DEMO.replace(b'amount = "12 kg"', b'amount = "twelve"')))
    assert "cannot be used yet" in own.shown.sentence and fails(own)
    two = bare + b'\n[[weighing]]\nstage = "cook"\nin_kg = 97\nout_kg = 88\n'
    own.set(file=("two.toml", two))
    assert own.error is None and own.result[0].weighed is not None and len(own.shown.sentence) > 40


def test_working_sources_and_cautions(ledger, closing, worth):
    for panel in (ledger, closing, worth):
        assert_pencil(panel.shown.steps)
        assert panel.shown.sources and all(len(line) > 10 for line in panel.shown.sources)
    for panel in (ledger, closing, worth):
        assert any("heavy" in line for line in panel.shown.cautions)
    assert (
        any("et weight" in line for line in ledger.shown.cautions)
        and ledger.values["mistake"] == NO_MISTAKE
    )


@pytest.mark.parametrize("number", range(4))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number])


def test_the_guess_is_the_panel_s_own_number(ledger):
    guess = lesson.guess()
    assert guess.truth() == pytest.approx(ledger.result.yield_on("received").weighed.pct)
    assert (
        "too low" in guess.commit("85 %").compare()
        and "close" in guess.commit(guess.truth()).compare()
    )

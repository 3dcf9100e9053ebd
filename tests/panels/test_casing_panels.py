"""The panels of 06 at every end of every slider: an answer or our own error, breaks that break, and one set of numbers in both unit systems."""

import re

import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit.chain.casing import KINDS, SHEEP, casing_for, links_of
from kit.errors import KitError
from kit.lab.lessons import casing as lesson
from kit.lab.panels.casing import links_panel
from kit.lab.panels.panel import Slider
from kit.lab.panels.scatter import scatter_panel
from kit.tables import data_path

LINKS = data_path("demo", "demo_links.csv").read_bytes()


@pytest.fixture(scope="module")
def links():
    return links_panel()


@pytest.fixture(scope="module")
def spread():
    return scatter_panel()


def fails(panel):
    return [row for table in panel.shown.tables for row in table.rows if row.mark == "fails"]


def test_corners_answer_or_refuse_in_words(links):
    for kind in KINDS:
        for end in ("low", "high"):
            links.set(
                kind=kind,
                **{
                    key: getattr(held.spec, end)
                    for key, held in links.controls.items()
                    if isinstance(held.spec, Slider)
                },
            )
            assert links.error is None or re.search(r"take|holds no link", links.error), links.error
            links.reset()


@pytest.mark.parametrize("preset", ["Stuff two millimetres wider", "Air in the batter"])
def test_a_break_of_the_link_weight_breaks(links, preset):
    before = links.shown.sentence
    assert not fails(links) and "within tolerance" in before
    links.set(**links.presets[preset])
    assert links.error is None and fails(links) and "your limit" in links.shown.sentence
    assert links.reset().shown.sentence == before


def test_the_linker_that_holds_the_weight_lets_the_length_go(links):
    links.set(goal="weight", diameter_mm=26)
    assert not fails(links)
    assert links.result.plan.link_weight_g == pytest.approx(links.values["wanted_g"])
    assert links.result.plan.link_length_mm < lesson.START["length_mm"]
    links.reset()


def test_the_diameter_for_the_wanted_weight_gives_that_weight(links):
    links.reset()
    wanted = links.result.wanted_mm
    links.set(diameter_mm=round(2 * wanted) / 2, length_mm=130)
    assert links.set(wanted_g=links.result.plan.link_weight_g).result.wanted_mm == pytest.approx(
        links.result.plan.casing.diameter_mm, abs=0.02
    )
    links.reset()


def test_sheep_casing_changes_what_is_drawn_and_not_the_weight(links):
    by_round = links.reset().result.plan
    sheep = links.set(**links.presets["Sheep casing, bought by the hank"]).result.plan
    assert (
        sheep.link_weight_g == pytest.approx(by_round.link_weight_g)
        and sheep.casing_m > 1.3 * by_round.casing_m
    )
    assert "casing hanks of 91 m" in links.text() and "casing strands" not in links.text()
    links.reset()


def test_metric_and_us_show_the_same_link(links):
    metric = links.shown.data["fill"]["here"][0]
    us = links.use("US").shown.data["fill"]["here"][0]
    assert us["mm"] == pytest.approx(metric["mm"] / 25.4)
    assert us["fill"] == pytest.approx(metric["fill"] / 28.349523125 * 0.3048)
    assert " oz" in links.shown.sentence and not re.search(r"\d (g|mm|kg)\b", links.shown.sentence)
    links.use("metric")


def test_the_ring_lies_in_the_green_where_the_link_weighs_what_is_wanted(links):
    for diameter, inside in ((24, True), (26, False)):
        data = links.set(diameter_mm=diameter).shown.data["fill"]
        band = data["wanted"][0]
        assert (band["fill"] <= data["here"][0]["fill"] <= band["top"]) == inside
    links.reset()


def test_the_sentence_and_the_table_name_the_same_numbers(links):
    rows = {row.cells[0]: row.cells for row in links.shown.tables[0].rows}
    assert f"{rows['number of links'][1]} links" in links.shown.sentence
    assert rows["weight of a raw link"][1] in links.shown.sentence
    assert links.shown.data["fill"]["names"][0]["words"].startswith(rows["weight of a raw link"][1])


def test_working_sources_and_cautions(links, spread):
    for panel in (links, spread):
        assert_pencil(panel.shown.steps)
        assert all(len(line) > 10 for line in panel.shown.sources) and panel.shown.sources
        assert panel.shown.cautions
    assert "hands out of a running stuffer" in links.shown.cautions[0]


def test_the_histogram_holds_every_link_once(spread):
    for typed in ("", spread.presets["Misplaced decimal point"]["typed"]):
        spread.set(typed=typed)
        bars = spread.shown.data["histogram"]["bars"]
        assert sum(bar["share"] for bar in bars) == pytest.approx(100)
    spread.reset()


def test_the_breaks_of_the_scatter_break(spread):
    spread.set(**spread.presets["Misplaced decimal point"])
    assert "far from the rest" in spread.shown.sentence and any(
        "far from the rest" in row.cells[0] for row in fails(spread)
    )
    assert "Variance components of the weight" not in [
        table.caption for table in spread.shown.tables
    ]
    spread.reset()
    few = spread.result.found.outside.counted
    spread.set(tolerance_pct=2)
    assert spread.result.found.outside.counted > few
    spread.reset().set(declared_g=54)
    assert "shortfall" in spread.shown.sentence and any(
        "short" in row.cells[0] for row in fails(spread)
    )
    spread.reset().set(**spread.presets["Six links only"])
    assert spread.result.found.outside.share_pct.high > 50
    spread.reset()


def test_money_only_at_a_price_of_one_s_own(spread):
    assert any(
        row.cells[1] == "enter a price" for table in spread.shown.tables for row in table.rows
    )
    spread.set(price=6.5)
    give = spread.result.found.giveaway
    assert give.money_per_1000.value == pytest.approx(6.5 * give.g.value)
    assert spread.use("US").controls["price"].widget.description.endswith("currency per lb)")
    assert spread.controls["price"].widget.value == pytest.approx(6.5 * 0.45359237)
    assert spread.result.found.giveaway.money_per_1000.value == pytest.approx(6.5 * give.g.value)
    spread.use("metric").reset()


def test_own_files_are_read_and_bad_ones_are_asked_about(spread):
    spread.set(file=("mine.csv", LINKS))
    assert (
        not spread.shown.sentence.startswith("Demo") and spread.result.drivers.verdict == "length"
    )
    spread.set(what="length")
    assert spread.result.found.unit == "mm" and "mm" in spread.shown.sentence
    spread.set(what="weight", file=("bad.csv", b"weight (g)\n12\nheavy\n-3\n"))
    assert "cannot be used yet: 2 problems" in spread.shown.sentence and len(fails(spread)) == 2
    spread.set(
        file=(
            "one.csv",
            b"weight (g)\n" + b"\n".join(b"%.1f" % (50 + 0.3 * n) for n in range(12)) + b"\n",
        )
    )
    assert spread.error is None and isinstance(spread.result.drivers, str)
    assert f"not available: {spread.result.drivers}" in spread.text()
    spread.set(file=None, typed="58.2 59")
    assert "2 links" in spread.shown.sentence
    spread.reset()


def test_links_of_a_sheet_says_what_it_assumed():
    sheet = lesson.demo_sheet()
    assert links_of(sheet).batter_kg == sheet.weighing("stuff").out_kg
    assert links_of(sheet, 50).links == pytest.approx(links_of(sheet, 100).links / 2, abs=1)
    bare = sheet.with_process(stuffed_mm=None, link_mm=None, link_g=None, casing=None)
    found = links_of(bare, 50)
    said = " ".join(found.notes)
    assert "No stuffed diameter" in said and "Neither link length" in said and "No casing" in said
    log = links_of(bare.with_process(stuffed_mm=100), 50)
    assert (
        log.link_length_mm > 300
        and log.link_weight_g > 2500
        and not any("43" in note for note in log.notes)
    )
    by_weight = links_of(sheet.with_process(link_mm=None), 50)
    assert by_weight.link_weight_g == pytest.approx(sheet.process.link_g)
    assert "Stuff and weigh" in " ".join(
        links_of(sheet.with_process(casing="natural hog"), 50).notes
    )
    assert links_of(
        sheet.with_process(casing="natural sheep", stuffed_mm=22), 50
    ).hanks == pytest.approx(50 / 26, rel=1e-9)
    assert_pencil(found.working)


def test_a_casing_that_is_not_made_is_refused_with_a_way_out():
    from kit.casing.density import batter_density

    for kind, mm in ((SHEEP, 12), (SHEEP, 40), (KINDS[2], 30), ("velvet", 20)):
        with pytest.raises(KitError, match="take|there are|stuff and weigh"):
            casing_for(kind, mm, batter_density())
    assert casing_for(KINDS[2], 17.3, batter_density()).name == "cellulose code 18"


@pytest.mark.parametrize("number", range(4))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number])


def test_the_guess_is_the_panel_s_own_number(links):
    guess = lesson.guess()
    assert "No guess yet" in guess.compare()
    assert f"{links.result.plan.link_weight_g:.1f} g" in guess.question
    links.set(**links.presets["Stuff two millimetres wider"])
    assert guess.truth() == pytest.approx(links.result.plan.link_weight_g)
    links.reset()
    assert (
        "too low" in guess.commit("63 g").compare()
        and "close" in guess.commit(guess.truth()).compare()
    )


def test_a_length_that_is_not_asked_for_is_grey():
    """The strand where casing is bought by the hank, the link where the linker is set by weight."""
    panel = links_panel()
    assert not panel.controls["strand_m"].idle and not panel.controls["length_mm"].idle
    panel.press("Sheep casing, bought by the hank")
    assert panel.controls["strand_m"].idle and not panel.controls["length_mm"].idle
    panel.reset().set(goal="weight")
    assert panel.controls["length_mm"].idle and not panel.controls["strand_m"].idle

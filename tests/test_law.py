"""Law by date, legal classes, trade words for cure, and allergens: one row of data is enough, and nothing is applied before its day."""

import csv
import io
import shutil
from datetime import date, timedelta

import pytest

from kit import allergens, follow, tables
from kit.chain.cure import cure_of
from kit.cure import limits
from kit.cure.premix import premix
from kit.errors import Faulty, UnknownName, UnknownStrength
from kit.lab.panels.cure import (
    brine_panel,
    dose_panel,
    error_examples_panel,
    own_cure_panel,
    scale_panel,
)
from kit.lab.panels.emulsion.break_map import break_map_panel
from kit.lab.panels.emulsion.corrective_actions import corrective_actions_panel
from kit.lab.panels.emulsion.margins import margins_panel
from kit.lab.panels.meat_block import cheapest_panel, mix_panel
from kit.lab.panels.plan import plan_panel
from kit.lab.panels.sheets import demo_sheet
from kit.lab.panels.start import batch_panel
from kit.materials import material
from kit.materials.composition import materials, rule_classes
from kit.materials.words import cure_word, cure_words
from kit.reading import read_sheet
from kit.reading.rules import read_rule_set
from kit.rules import rule_set
from kit.rules.limits import editions, limits_for, usual_edition
from kit.rules.rule_sets import rule_sets
from kit.sheet.entries import fields

NOW, THEN = date(2026, 11, 29), date(2027, 1, 1)
MEAT = {"name": "pork trim 80", "amount": "50 kg"}


@pytest.fixture
def next_year(tmp_path, monkeypatch):
    """A copy of the data in which the EU's rows end with 2026, and one row each begins with 2027: for the EU, and for a place that had none."""
    copy = tmp_path / "data"
    shutil.copytree(tables.data_path(), copy)
    law = copy / "rules" / "cure.csv"
    with law.open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    end = str(THEN - timedelta(days=1))
    for row in rows:
        if row["jurisdiction"] == "EU" and (row["date_to"] or end) >= end:
            row["date_to"] = end
    kept = io.StringIO()
    writer = csv.DictWriter(kept, rows[0])
    writer.writeheader()
    writer.writerows(row for row in rows if row["jurisdiction"] != "EU" or row["date_from"] <= end)
    new = [
        f"{key},{place},from 2027,2027-01-01,,cooked sausage,nitrite ingoing,max,{ppm},mg/kg,batch,NO2,invented_law,section 1,teaching,\n"
        for key, place, ppm in (("eu_2027", "EU", 60), ("atlantis_2027", "Atlantis", 50))
    ]
    law.write_text(kept.getvalue() + "".join(new), encoding="utf-8")
    with (copy / "reference" / "sources.csv").open("a", encoding="utf-8") as handle:
        handle.write("invented_law,Law invented for a test,\n")
    monkeypatch.setattr(tables, "data_path", lambda *parts: copy.joinpath(*parts))
    monkeypatch.setattr(tables, "today", lambda: NOW)
    caches = (limits.all_limits, tables.sources, fields)
    for cache in caches:
        cache.cache_clear()
    yield lambda day: monkeypatch.setattr(tables, "today", lambda: day)
    monkeypatch.undo()
    for cache in caches:
        cache.cache_clear()


def batch(**process):
    """70 mg/kg of the batter as the ion: between the invented 60 and the 80 of today."""
    return read_sheet(
        {
            "name": "t",
            "line": [
                MEAT,
                {"name": "ice", "amount": "15 kg"},
                {"name": "cure", "kind": "cure", "nitrite_pct": 6.25, "amount": "109.2 g"},
            ],
            "process": process,
        }
    )


def test_a_row_of_next_year_is_not_applied_today_and_is_applied_then(next_year):
    assert [row.limit for row in limits_for("EU")] == [80] and not cure_of(
        batch(cure_rule="EU"), 60
    ).findings.stop
    assert [row.limit for row in limits_for("EU", on=THEN)] == [60] and cure_of(
        batch(cure_rule="EU"), 60, on=THEN
    ).findings.stop
    next_year(THEN)
    assert [row.limit for row in limits_for("EU")] == [60] and cure_of(
        batch(cure_rule="EU"), 60
    ).findings.stop
    assert follow(batch(cure_rule="EU")).cure.on == THEN


def test_one_row_and_one_source_are_enough_for_a_new_place(next_year):
    assert limits_for("Atlantis") == ()
    waiting = cure_of(batch(cure_rule="Atlantis"), 60)
    assert "Atlantis, none is listed for that day" in waiting.law and waiting.law in waiting.notes
    next_year(THEN)
    found = cure_of(batch(cure_rule="Atlantis"), 60)
    assert (
        found.findings.stop
        and "edition from 2027" in found.law
        and any("Law invented for a test" in line for line in found.sources)
    )


def test_panels_offer_every_edition_and_say_which_day_they_show(next_year):
    panel = dose_panel()
    offered = panel.controls["rule"].spec.options
    assert tuple(offered) == tuple(editions()) and {
        "EU, from 2027",
        "Atlantis, from 2027",
        "EU, before October 2025",
    } < set(offered)
    assert (
        f"limits in force on {NOW}" in panel.shown.notes[0] and panel.values["rule"] == "US, 2015"
    )
    panel.set(rule="EU, from 2027")
    assert "at most 60 ppm" in panel.shown.sentence or "Above the ceiling" in panel.shown.sentence
    assert "not in force today" in panel.shown.notes[0] and "2027-01-01" in panel.shown.notes[0]
    first = batch_panel().set(cure_rule="Atlantis, from 2027")
    assert (
        first.result.cure.jurisdiction == "Atlantis"
        and first.result.cure.on == THEN
        and first.result.cure.limits[0].limit == 50
    )
    next_year(THEN)
    assert editions()["EU, from 2027"].now and not editions()["EU, from October 2025"].now
    assert [row.limit for row in editions()["EU, from October 2025"].limits] == [80]


@pytest.mark.parametrize("key", rule_sets())
def test_every_set_of_rules_can_be_chosen_on_the_first_page(key):
    panel = batch_panel().set(rule=key)
    assert (
        panel.result.rules.key == key
        and panel.error is None
        and any(str(rule_set(key)) in table.caption for table in panel.shown.tables)
    )
    assert panel.reset().result.rules.key == "us_frankfurter"


def test_the_day_is_shown_and_may_be_chosen(monkeypatch):
    monkeypatch.setattr(tables, "today", lambda: NOW)
    assert f"limits in force on {NOW}: US, edition 2015" in str(follow(demo_sheet()))
    assert "limits in force on 2025-01-15: EU, edition before October 2025" in str(
        follow(demo_sheet(), cure_rule="EU", on=date(2025, 1, 15))
    )
    assert usual_edition().name == "US, 2015"


def test_what_a_panel_stores_does_not_change_from_day_to_day(monkeypatch):
    for make in (
        batch_panel,
        dose_panel,
        scale_panel,
        brine_panel,
        error_examples_panel,
        own_cure_panel,
    ):
        said = []
        for day in (NOW, date(2026, 12, 24)):
            monkeypatch.setattr(tables, "today", lambda: day)
            said.append(make().text())
        assert said[0] == said[1], make.__name__


def test_a_set_of_rules_out_of_its_time_says_so(monkeypatch):
    monkeypatch.setattr(tables, "today", lambda: NOW)
    late = read_rule_set(
        {
            "rule_set": {
                "key": "late",
                "jurisdiction": "here",
                "product_kind": "frankfurter",
                "edition": "2027",
                "date_from": "2027",
                "date_to": "2027-06",
                "source": "x",
            },
            "rule": [
                {
                    "quantity": "fat_pct_of_finished",
                    "comparison": "at most",
                    "limit": 25,
                    "status": "read",
                }
            ],
        }
    )
    assert "not in force on 2026-11-29" in late.not_in_force() and late.not_in_force(
        date(2027, 6, 30)
    ) == "" != late.not_in_force(date(2027, 7, 1))
    found = follow(demo_sheet(), rules=late)
    assert late.not_in_force() in found.notes and late.not_in_force() in str(found)
    assert rule_set("us_frankfurter").not_in_force() == "" and "not in force" not in str(
        follow(demo_sheet())
    )


def test_legal_classes_have_one_home():
    assert fields("line")["rule_class"].choices == tuple(rule_classes())
    line = {
        "name": "tissue",
        "kind": "meat",
        "species": "beef",
        "rule_class": "partially defatted tissue",
        "moisture_pct": 60,
        "protein_pct": 20,
        "fat_pct": 19,
        "amount": "16 kg",
    }
    sheet = read_sheet({"name": "t", "rule": "us_frankfurter_byproducts", "line": [MEAT, line]})
    assert any(
        "defatted" in v.limit.quantity and v.value == pytest.approx(100 * 16 / 66) and not v.holds
        for v in follow(sheet).verdicts
    )


# --- trade words for cure ---

WORDS = (
    "pink salt",
    "Pink Curing Salt",
    "curing salt",
    "saltpetre",
    "saltpeter",
    "tinted salt",
    "tinted cure",
    "Cure No. 1",
    "cure #2",
    "Cure number 1",
    "nitrite salt",
    "Pökelsalz",
    "Nitritpökelsalz",
    "Nitritpoekelsalz",
    "Salpeter",
    "sal de cura",
    "Sal Nitro",
    "salitre",
    "sal de cura rosa",
    "sel nitrité",
    "pinck salt",
    "curing slat",
    "salt cure",
)


@pytest.mark.parametrize("name", WORDS)
def test_a_trade_word_for_cure_is_asked_for_its_strength_and_never_sent_to_salt(name):
    for ask in (
        lambda: material(name),
        lambda: premix(name),
        lambda: read_sheet({"name": "t", "line": [MEAT, {"name": name, "amount": "1 kg"}]}),
        lambda: read_sheet(
            {"name": "t", "line": [MEAT, {"name": "seasoning", "material": name, "amount": "1 kg"}]}
        ),
    ):
        with pytest.raises((UnknownStrength, Faulty), match="which strength") as caught:
            ask()
        assert (
            "nearest" not in str(caught.value)
            and "nitr" in str(caught.value)
            and "_pct" in str(caught.value)
            and "label" in str(caught.value)
        )


@pytest.mark.parametrize("name", WORDS)
@pytest.mark.parametrize(
    "counted",
    [
        {"material": "salt"},
        {"kind": "salt", "material": "salt"},
        {
            "kind": "salt",
            "moisture_pct": 0,
            "protein_pct": 0,
            "fat_pct": 0,
            "ash_pct": 100,
            "salt_pct": 99,
        },
        {"material": "sucrose"},
        {"material": "spice, generic", "cure_label_read": "no"},
    ],
)
def test_a_cure_counted_as_something_else_stops_the_sheet(name, counted):
    with pytest.raises(Faulty, match="STOP") as caught:
        read_sheet({"name": "t", "line": [MEAT, {"name": name, "amount": "1 kg", **counted}]})
    assert len(caught.value.faults) == 1 and "kind = 'cure'" in caught.value.faults[0].remedy


def test_the_way_out_is_the_label():
    for line in (
        {"name": "pink salt", "nitrite_pct": 6.25},
        {"name": "saltpetre", "kind": "cure", "nitrate_pct": 100},
        {"name": "Pökelsalz", "kind": "cure", "nitrite_pct": 0.5},
    ):
        assert (
            read_sheet({"name": "t", "line": [MEAT, {"amount": "0.1 kg", **line}]}).lines[1].kind
            == "cure"
        )
    read = {
        "name": "seasoning, nitrite free",
        "material": "spice, generic",
        "cure_label_read": "yes",
        "amount": "0.3 kg",
    }
    assert read_sheet({"name": "t", "line": [MEAT, read]}).lines[1].kind == "spice"


def test_ordinary_names_are_no_cure():
    assert [
        name for name, made in materials().items() if cure_word(name) and made.kind != "cure"
    ] == []
    for name in (
        "sea salt",
        "table salt",
        "kosher salt",
        "slat",
        "rock salt",
        "mustard",
        "cured ham seasoning",
        "pork trim",
    ):
        assert cure_word(name) is None
    with pytest.raises(UnknownName, match="nearest: salt"):
        material("table salt")
    assert {word.language for word in cure_words()} >= {"en", "de", "es"} and all(
        word.status in tables.STATUSES for word in cure_words()
    )


# --- allergens and cautions ---


def test_the_names_of_ingredients_give_their_allergens_away():
    of = {
        "nonfat dry milk": "milk",
        "sweet whey, dried": "milk",
        "sodium caseinate": "milk",
        "cheddar cheese, low fat": "milk",
        "soy protein isolate": "soy",
        "wheat gluten": "wheat",
        "egg white powder": "egg",
        "mustard flour": "mustard",
        "celery powder": "celery",
        "Magermilchpulver": "milk",
        "Sojaeiweiß": "soy",
        "mostaza": "mustard",
    }
    for name, key in of.items():
        assert key in {one.allergen for one in allergens.allergens_in([name])}, name
    assert {one.allergen for one in allergens.allergens_in(["wheat gluten"])} == {"wheat", "gluten"}
    silent = [
        name
        for name, made in materials().items()
        if made.kind in ("binder", "other") and not allergens.allergens_in([name])
    ]
    assert silent == ["corn starch", "potato flour", "gelatin"]
    assert (
        allergens.allergens_in(
            ["beef ground 80/20", "goat trim", "salt", "cornflour", "veggie mix", "ice"]
        )
        == ()
    )


def test_the_follow_answer_lists_allergens_and_the_labels_to_read():
    found = follow(demo_sheet())
    assert [one.allergen for one in found.allergens] == ["milk"] and found.unread_labels == (
        "frankfurter spice",
    )
    assert (
        "allergens by name: milk from nonfat dry milk (US: milk; EU: milk, lactose included); read the label of frankfurter spice"
        in str(found)
    )
    early = follow(batch(), on=date(2022, 6, 1))
    assert "allergens by name: none" in str(early)
    assert allergens.allergens_in(["sesame"], date(2022, 6, 1))[0].classes[0].jurisdiction == "EU"


@pytest.mark.parametrize(
    "make, key",
    [
        (batch_panel, "milk"),
        (own_cure_panel, "milk"),
        (error_examples_panel, "celery"),
        (mix_panel, "soy"),
        (cheapest_panel, "soy"),
        (margins_panel, "milk"),
        (break_map_panel, "milk"),
        (corrective_actions_panel, "milk"),
    ],
)
def test_every_panel_that_offers_an_allergen_names_it(make, key):
    said = next(line for line in make().shown.cautions if line.startswith("Allergens"))
    assert f"{key} from" in said and "Read every label" in said and "local code" in said


def test_the_first_page_carries_the_cautions_of_what_it_shows():
    planned = plan_panel(demo_sheet()).shown
    steps = next(table for table in planned.tables if table.caption.startswith("Steps"))
    at_steps = " ".join(row.cells[2] for row in steps.filled().rows)
    for words in (
        "Spores outlive the cook",
        "dry surface",
        "Knives",
        "Full tubs",
        "Nitrite is poisonous",
    ):
        assert words in at_steps
    for words in (
        "does not show that a product is safe",
        "Nitrite is poisonous",
        "milk from nonfat dry milk",
    ):
        assert words in " ".join(planned.cautions)
    said = " ".join(batch_panel().shown.cautions)
    for words in (
        "Nitrite is poisonous",
        "your own authority",
        "Allergens",
        "milk from nonfat dry milk",
    ):
        assert words in said
    cold = batch_panel(
        read_sheet(
            {
                "name": "t",
                "line": [
                    MEAT,
                    {"name": "soy protein isolate", "amount": "1 kg"},
                    {"name": "cure", "nitrite_pct": 6.25, "amount": "120 g"},
                ],
                "process": {"cook_yield_pct": 90},
            }
        )
    ).shown.cautions
    assert "soy from soy protein isolate" in " ".join(cold)

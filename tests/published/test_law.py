"""Law by class, edition and day, against what stands outside the kit: each case names its source and was calculated by hand from it."""

from datetime import date

import pytest
from portions import ICE, portion
from pytest import approx

from kit.allergens import classes
from kit.cure import CureLine, dose
from kit.cure.limits import judge
from kit.cure.premix import Premix
from kit.materials import material
from kit.materials.composition import rule_classes
from kit.meat_block import compose
from kit.reading.rules import read_rule_set
from kit.rules import judge as judge_rules
from kit.rules import rule_set
from kit.rules.limits import editions
from kit.rules.rule_sets import rule_sets

# 9 CFR 318.22(a)(2) and (3), 2015 edition, as read: Group 1 are skeletal muscle, edible organs and by-products, mechanically separated species and poultry
# products; Group 2 is what was hydrolysed, extracted, concentrated or dried, and any other protein source. Partially defatted tissue among the by-products
# and rework as what it mostly is are our reading.
GROUPS = {
    "meat": 1,
    "poultry": 1,
    "mechanically separated": 1,
    "mechanically separated poultry": 1,
    "by-product": 1,
    "partially defatted tissue": 1,
    "rework": 1,
    "binder": 2,
    "isolated soy protein": 2,
    "sodium caseinate": 2,
    "cheese": 2,
    "water": 2,
    "phosphate": 2,
    "salt": 2,
    "cure": 2,
    "accelerator": 2,
    "spice": 2,
    "sugar": 2,
    "other": 2,
}


def test_every_class_has_a_case():
    assert set(rule_classes()) == set(GROUPS)


@pytest.mark.parametrize("name", GROUPS)
def test_the_protein_of_every_class_is_credited_as_its_group(name):
    """By hand from 318.22, footnote 1: 60 kg of meat (60 water, 20 protein, 18 fat %), 30 kg of the class (70 water, 16 protein %), 10 kg of ice: TW 67, TP 16.8, P 0 or 4.8.
    Group 1: 67 − 4 × 16.8 = −0.2 % added water. Group 2: 67 − 4 × (16.8 − 3.8) = 15.0 %."""
    bowl = portion(60, "meat", 60, 20, 18) + portion(30, name, 70, 16, 0) + 10 * ICE
    assert bowl.facts().added_water_pct_of_finished == approx(
        -0.2 if GROUPS[name] == 1 else 15.0, abs=1e-9
    )


def test_hearts_are_group_1_in_both_rooms_and_the_verdict_turns_on_it():
    """USDA SR26, 10219 and 13321, by hand: 50 kg of ground pork, 30 kg of beef heart, 20 kg of ice: TW 73.663, TP 13.756, fat 11.777. Added water
    73.663 − 4 × 13.756 = 18.639, with fat 30.416 of 40. With the heart's 5.316 as Group 2 it would be 47.68 and over."""
    pork, heart, ice = material("pork ground 79/21"), material("beef heart"), material("ice")
    bowl = sum(
        (
            portion(kg, m.rule_class, m.moisture_pct, m.protein_pct, m.fat_pct)
            for m, kg in ((pork, 50), (heart, 30))
        ),
        20 * ICE,
    )
    verdict = next(
        v
        for v in judge_rules(bowl.facts(), rule_set("us_frankfurter_byproducts"))
        if v.limit.quantity == "fat_and_added_water_pct_of_finished"
    )
    assert verdict.value == approx(30.416, abs=0.001) and verdict.holds
    mix = compose((pork, heart, ice), (50.0, 30.0, 20.0))
    assert mix.group2_protein_kg == 0 and bowl.mix.group2_protein_kg == 0


def test_partially_defatted_tissue_has_its_limit():
    """9 CFR 319.180(b), 2015 edition: at most 15 % of the meat and by-product ingredients. By hand: 16 of 100 kg are over, 15 are not."""
    for kg, holds in ((15.0, True), (16.0, False)):
        bowl = portion(100 - kg, "meat", 60, 18, 21) + portion(
            kg, "partially defatted tissue", 60, 20, 19
        )
        verdict = next(
            v
            for v in judge_rules(bowl.facts(), rule_set("us_frankfurter_byproducts"))
            if "defatted" in v.limit.quantity
        )
        assert verdict.value == approx(kg) and verdict.holds is holds


def test_a_rule_of_ones_own_may_limit_the_water_put_in():
    """9 CFR 319.140, uncooked sausage, 2015 edition: water or ice at most 3 % of all ingredients. By hand: 3 kg in 100 kg are on it, 3.1 kg are over."""
    rules = read_rule_set(
        {
            "rule_set": {
                "key": "fresh",
                "jurisdiction": "here",
                "product_kind": "fresh sausage",
                "edition": "2015",
                "date_from": "2015",
                "source": "9 CFR 319.140",
            },
            "rule": [
                {
                    "quantity": "water_put_in_pct_of_batch",
                    "comparison": "at most",
                    "limit": 3,
                    "status": "read",
                }
            ],
        }
    )
    for kg, holds in ((3.0, True), (3.1, False)):
        (verdict,) = judge_rules((portion(100 - kg, "meat", 60, 18, 21) + kg * ICE).facts(), rules)
        assert (
            verdict.value == approx(kg)
            and verdict.holds is holds
            and verdict.limit.basis == "of all ingredients"
        )


# Ceilings on ingoing nitrite as read or quoted (see data/rules/cure.csv): g of NaNO2 that 100 kg of meat in 130 kg of batter may have, by hand.
# US 1/4 oz per 100 lb of meat: 15.625; EU, Northern Ireland and Great Britain 150 mg/kg of batter: 19.5; EU 80 mg/kg as the ion: 80 × 68.995 / 46.006 × 0.13 = 15.597;
# Canada 20 g per 100 kg of meat: 20.0; Brazil 150 mg/kg, base not stated, taken as batter: 19.5. The others limit only what is left.
CEILINGS = {
    "US, 2015": 15.625,
    "EU, before October 2025": 19.5,
    "EU, from October 2025": 15.597,
    "Great Britain, retained law, 2007 schedule": 19.5,
    "Northern Ireland, before October 2025": 19.5,
    "Northern Ireland, from October 2025": 15.597,
    "Canada, supplier summary": 20.0,
    "Brazil, 2009": 19.5,
    "Codex, general standard, category 08.3": None,
    "Australia/New Zealand, Schedule 15": None,
}


def test_every_edition_has_a_case():
    assert set(editions()) == set(CEILINGS)


@pytest.mark.parametrize("name", CEILINGS)
def test_every_edition_holds_just_below_its_ceiling_and_not_just_above(name):
    edition, most = editions()[name], CEILINGS[name]
    if most is None:
        assert not edition.ceilings and all("residual" in row.quantity for row in edition.limits)
        return
    for share, holds in ((0.998, True), (1.002, False)):
        found = dose((CureLine(Premix("10 %", 10), most * share / 100),), 100, 130)
        assert [v.holds for v in judge(found, edition.ceilings)] == [holds]


# First limit that each set of rules puts on fat and added water in the finished product, as read in 9 CFR (2015) and the state code.
WET = {
    "us_frankfurter": ("fat_and_added_water_pct_of_finished", 40),
    "us_frankfurter_byproducts": ("fat_and_added_water_pct_of_finished", 40),
    "us_cheese_frankfurter": ("fat_and_added_water_pct_of_finished", 40),
    "us_other_cooked": ("added_water_pct_of_finished", 10),
    "us_pa_frankfurter": ("added_water_pct_of_finished", 10),
}


@pytest.mark.parametrize("key", rule_sets())
def test_every_set_of_rules_holds_on_its_limit_and_not_above(key):
    """By hand: meat of 64 water, 16 protein, 20 fat % has no added water, so x kg of ice in 100 kg are x % added water, and 20 − 0.2 x % fat."""
    quantity, limit = WET[key]
    most = limit if quantity.startswith("added") else (limit - 20) / 0.8
    for kg, holds in ((most, True), (most + 0.1, False)):
        bowl = portion(100 - kg, "meat", 64, 16, 20) + kg * ICE
        verdict = next(
            v for v in judge_rules(bowl.facts(), rule_set(key)) if v.limit.quantity == quantity
        )
        assert verdict.holds is holds and verdict.limit.limit == limit


def test_the_classes_of_allergens_by_date():
    """FASTER Act (2021): sesame joins the eight of 2004 from 1 January 2023. Regulation (EU) 1169/2011, Annex II: fourteen classes, here by the words of the Annex's list."""
    count = lambda place, day: sum(one.jurisdiction == place for one in classes(day))
    assert (
        count("US", date(2022, 12, 31)),
        count("US", date(2023, 1, 1)),
        count("EU", date(2023, 1, 1)),
    ) == (8, 9, 14)
    assert {one.allergen for one in classes(date(2026, 1, 1)) if one.jurisdiction == "EU"} == {
        "gluten",
        "crustacean",
        "egg",
        "fish",
        "peanut",
        "soy",
        "milk",
        "nut",
        "celery",
        "mustard",
        "sesame",
        "sulphite",
        "lupin",
        "mollusc",
    }
    assert {one.allergen for one in classes(date(2026, 1, 1)) if one.jurisdiction == "US"} == {
        "milk",
        "egg",
        "fish",
        "crustacean",
        "nut",
        "wheat",
        "peanut",
        "soy",
        "sesame",
    }

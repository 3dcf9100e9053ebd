"""Standards against figures from outside the kit: 9 CFR (2015 edition) as read, a state code, a published chart, survey franks.

"Printed" means the expected number stands in the source; "by hand" means it was calculated by hand from numbers that stand there.
"""

import pytest
from portions import ICE, portion
from pytest import approx

from kit.rules import Facts, judge, rule_set
from kit.rules.facts import added_water_pct
from kit.rules.room import room_left

# --- added water, 9 CFR 318.22 ---


def test_twelve_per_cent_protein_allows_58_per_cent_water():
    """Printed: a textbook on the meat industry, quoted second-hand in 2001: at 12 % protein the 10 % rule allows 4 × 12 + 10 = 58 % moisture.

    The printed equation of 318.22 taken literally gives 6.0 here, for it credits Group 2 protein that is not there: we hold the
    allowance at zero from below, and the textbook's 58 % agrees with that reading.
    """
    assert added_water_pct(58, 12, 0) == approx(10.0, abs=1e-9)
    assert approx(6.0) == 58 - 4 * (12 - (0 - 1.0))  # the literal reading, for comparison
    facts = Facts(
        water_pct_of_finished=58, protein_pct_of_finished=12, group2_protein_pct_of_finished=0
    )
    verdict = judge(facts, rule_set("us_other_cooked"))[0]
    assert verdict.margin == approx(0, abs=1e-9) and verdict.holds


@pytest.mark.parametrize(
    "water, protein, group2, expected", [(56, 13, 2.5, 10.0), (56, 13, 1.0, 4.0)]
)
def test_group_2_protein_above_the_allowance(water, protein, group2, expected):
    """By hand from the equation of 9 CFR 318.22 footnote 1: 56 − 4 × (13 − 1.5) = 10; 56 − 4 × 13 = 4."""
    assert added_water_pct(water, protein, group2) == approx(expected, abs=1e-9)


# Finished franks of USDA SR26 (water, protein, fat, all printed to 0.01), and by hand: added water, fat + added water.
FRANKS = {
    "beef, 07022": (53.94, 11.16, 28.30, 9.30, 37.60),
    "beef and pork, 07023": (55.96, 11.53, 27.64, 9.84, 37.48),
    "knockwurst, 07038": (55.30, 11.10, 27.70, 10.90, 38.60),
}


@pytest.mark.parametrize("name", FRANKS)
def test_survey_franks_meet_the_frankfurter_rule(name):
    """Retail franks were made to meet 30 % fat and 40 % fat + added water, so their analyses should. Group 2 protein taken as
    under 1 %: the table does not state it. One more, the meat frank 07950 (56.31 / 10.26 / 25.76), does not pass this way: 41.03 %. It holds
    4.17 % carbohydrate, so binders that the table does not tell; the misfit is left standing in the test below.
    """
    water, protein, fat, added, both = FRANKS[name]
    facts = Facts(
        water_pct_of_finished=water,
        protein_pct_of_finished=protein,
        fat_pct_of_finished=fat,
        group2_protein_pct_of_finished=0,
    )
    verdicts = {v.limit.quantity: v for v in judge(facts, rule_set("us_frankfurter"))}
    assert facts.added_water_pct_of_finished == approx(added, abs=0.01)
    assert verdicts["fat_and_added_water_pct_of_finished"].value == approx(both, abs=0.01)
    assert (
        verdicts["fat_and_added_water_pct_of_finished"].holds
        and verdicts["fat_pct_of_finished"].holds
    )


def test_the_survey_frank_that_does_not_fit():
    """By hand: 56.31 − 4 × 10.26 = 15.27, + 25.76 = 41.03: over by 1.03, where a retail frank was expected to pass."""
    facts = Facts(
        water_pct_of_finished=56.31,
        protein_pct_of_finished=10.26,
        fat_pct_of_finished=25.76,
        group2_protein_pct_of_finished=0,
    )
    assert judge(facts, rule_set("us_frankfurter"))[1].margin == approx(-1.03, abs=0.01)


@pytest.mark.parametrize(
    "name, water, protein, expected, places",
    [
        ("beef 80/20", 61.94, 17.17, -6.7, 0.05),
        ("beef 70/30", 54.38, 14.35, -3.0, 0.05),
        ("poultry, mechanically deboned, skin on", 62.66, 11.39, 17, 0.5),
        ("mature hens, mechanically deboned", 62.95, 14.72, 4, 0.5),
        ("beef heart", 77.11, 17.72, 6, 0.5),
        ("tripe", 84.16, 12.07, 36, 0.5),
    ],
)
def test_materials_bring_or_lack_water(name, water, protein, expected, places):
    """By hand from USDA SR26 analyses and the factor of 4, to the digits noted: organs and deboned meat use up the water allowance."""
    assert added_water_pct(water, protein) == approx(expected, abs=places)


# --- allowed water ---

# Published chart of pork sausage ingredients (trade chart, undated): fat %, protein %, moisture : protein, allowed added water per 100 of meat.
# 24 of its 28 rows. Left out: head meat, whose printed 11.8 no reading of the rule explains (the formula gives 18.3), and lips, tongue
# trimmings and neckbone trimmings, whose fat, protein and moisture add to 120, 115 and 97 %.
PORK_CHART = {
    "bacon ends": (70, 8.8, 2.40, 26.5),
    "backfat untrimmed": (80, 4.2, 3.83, 11.9),
    "backfat trimmings": (62, 8.1, 3.71, 13.6),
    "belly trimmings": (70, 6.3, 3.75, 12.8),
    "blade meat": (8, 19.2, 3.76, 16.2),
    "cheek meat": (15, 17.8, 3.79, 15.2),
    "ears": (10, 22.5, 3.00, 36.0),
    "ham": (19, 16.9, 3.80, 15.2),
    "hearts": (17, 15.3, 4.40, 4.2),
    "jaw meat": (8, 20.9, 3.40, 24.9),
    "jowls skinned": (70, 6.3, 3.72, 13.1),
    "liver": (8, 20.6, 3.47, 23.1),
    "nose meat": (15, 17.9, 3.74, 16.2),
    "picnic trimmings": (25, 15.6, 3.80, 14.4),
    "skin": (32, 28.3, 1.40, 92.6),
    "skirts": (30, 14.2, 3.90, 12.6),
    "snouts": (35, 14.6, 3.45, 19.9),
    "spleens": (15, 15.9, 4.33, 5.2),
    "stomachs": (13, 16.7, 4.20, 7.3),
    "tongues": (19, 16.3, 3.95, 11.9),
    "trim 95": (10, 18.9, 3.73, 16.8),
    "trim 50": (55, 9.7, 3.64, 15.0),
    "trim regular": (60, 8.4, 3.77, 13.1),
    "weasand": (17, 16.4, 4.05, 10.1),
}
COARSE = ("bacon ends", "backfat trimmings", "ham", "picnic trimmings", "trim regular")


@pytest.mark.parametrize("name", PORK_CHART)
def test_allowed_water_of_the_published_pork_chart(name):
    """Printed: water that 100 of one pork material takes under the 10 % rule before any cook loss. Within what the printed digits leave open:
    half a step of protein (0.05), of the ratio (0.005) and of the answer (0.05), through x = (10 + 4 P − P × ratio) / 0.9.
    Nineteen rows agree so. Five agree only if their ratio is good to 0.02 (ham: 3.78 gives the printed 15.2, the printed 3.80 gives 14.9).
    """
    fat, protein, ratio, printed = PORK_CHART[name]
    tolerance = (0.05 * abs(4 - ratio) + (0.02 if name in COARSE else 0.005) * protein) / 0.9 + 0.05
    room = room_left(
        portion(100, "meat", protein * ratio, protein, fat).mix, rule_set("us_other_cooked")
    )
    assert room.most_kg == approx(printed, abs=tolerance)
    assert room.first.quantity == "added_water_pct_of_finished"


def test_allowed_ice_under_the_40_per_cent_rule():
    """By hand from 9 CFR 319.180 and 318.22: (40 + 4 × 14 − 51.2 − 34) / 0.6 = 18.00 per 100 of meat; fat is then 34 / 1.18 = 28.81 %."""
    meat = portion(100, "meat", 51.2, 14, 34)
    room = room_left(meat.mix, rule_set("us_frankfurter"))
    assert room.most_kg == approx(18.00, abs=0.01)
    assert room.first.quantity == "fat_and_added_water_pct_of_finished"
    assert (meat + room.most_kg * ICE).facts().fat_pct_of_finished == approx(28.81, abs=0.01)


# --- a whole batch ---


def full_batch():
    return (
        portion(40, "meat", 69.5, 20, 10)
        + portion(60, "meat", 39, 10, 50)
        + 30 * ICE
        + portion(2.4, "salt")
        + portion(0.25, "cure", salt_pct=93.75)
        + portion(3.5, "binder", 3.16, 36.16, 0.77)
        + portion(0.5, "spice")
        + portion(0.0547, "accelerator")
    )


def test_full_batch_at_92_per_cent_yield():
    """By hand from USDA SR26 (beef 90/10, dried milk), a trade table (pork trim 50) and 318.22, to the 0.01 it was calculated to."""
    facts = full_batch().facts(cook_yield_pct=92)
    assert facts.parts["total"] == approx(136.705, abs=0.001)
    assert facts.water_pct_of_finished == approx(55.96, abs=0.01)
    assert facts.protein_pct_of_finished == approx(12.14, abs=0.01)
    assert facts.group2_protein_pct_of_finished == approx(1.006, abs=0.001)
    assert facts.fat_pct_of_finished == approx(27.06, abs=0.01)
    assert facts.added_water_pct_of_finished == approx(7.43, abs=0.01)
    assert facts.fat_and_added_water_pct_of_finished == approx(34.48, abs=0.01)
    assert facts.salt_pct_of_finished == approx(2.09, abs=0.01)
    assert facts.binder_pct_of_batch == approx(2.56, abs=0.01)
    assert all(verdict.holds for verdict in judge(facts, rule_set("us_frankfurter")))


# --- shares ---


def test_poultry_cap_is_15_of_100_without_the_water():
    """Printed: 9 CFR 319.180(a): 15 % of the ingredients without the water, poultry meat and mechanically separated poultry together."""
    rest = portion(85, "meat", 65, 18, 16) + 30 * ICE
    at_cap = (
        rest
        + portion(10, "poultry", 73, 20, 5)
        + portion(5, "mechanically separated poultry", 63, 11.4, 24.7)
    )
    verdict = next(
        v
        for v in judge(at_cap.facts(), rule_set("us_frankfurter"))
        if v.limit.quantity == "poultry_pct_of_nonwater_ingredients"
    )
    assert verdict.value == approx(15, abs=1e-12) and verdict.holds
    room = room_left(
        rest.mix, rule_set("us_frankfurter"), what=portion(1, "poultry", 73, 20, 5).material
    )
    poultry = next(
        r for r in room.rooms if r.limit.quantity == "poultry_pct_of_nonwater_ingredients"
    )
    assert poultry.most_kg == approx(15, abs=1e-9)


def test_mechanically_separated_cap_is_20_of_the_meats_not_of_the_batch():
    """Printed: 9 CFR 319.6(b),(c): 20 % of the livestock and poultry portion. 20 of 100 kg meats is the cap, whatever ice is in."""
    bowl = (
        portion(80, "meat", 65, 18, 16)
        + portion(20, "mechanically separated", 56.87, 15.03, 26.54)
        + 30 * ICE
    )
    verdict = next(
        v
        for v in judge(bowl.facts(), rule_set("us_frankfurter"))
        if v.limit.title == "mechanically separated meat"
    )
    assert verdict.value == approx(20, abs=1e-12) and verdict.holds


@pytest.mark.parametrize(
    "isolate, others, index", [(2, 0, 1), (0, 3.5, 1), (1, 1.75, 1), (2, 3.5, 2)]
)
def test_two_of_isolate_count_as_three_and_a_half_of_other_binders(isolate, others, index):
    """Printed: 7 Pa. Code 1.407(b): 2 % isolated soy protein is as much as 3.5 % of other binders; the sum of the two shares is by hand."""
    facts = Facts(isolate_pct_of_batch=isolate, binder_pct_of_batch=others)
    assert facts.binder_mixture_index == approx(index, abs=1e-12)


def test_cheese_is_taken_out_of_the_base_of_the_binder_limit():
    """Printed: 9 CFR 319.181: limits of binders are calculated without the cheese. By hand: 3.5 kg in 120 kg of which 20 kg cheese is
    3.5 % and on the limit; with the cheese in the base it would be 2.92 %."""
    bowl = (
        portion(96.5, "meat", 55, 14, 28)
        + portion(20, "cheese", 37, 25, 33)
        + portion(3.5, "binder", 3.16, 36.16, 0.77)
    )
    verdict = next(
        v
        for v in judge(bowl.facts(), rule_set("us_cheese_frankfurter"))
        if v.limit.title == "binders and extenders"
    )
    assert verdict.value == approx(3.5, abs=1e-12) and verdict.holds
    assert bowl.facts().binder_pct_of_batch == approx(2.92, abs=0.005)


# --- the limits themselves, typed again from the texts ---

LIMITS = {  # 9 CFR 319.180(a),(b), 319.181, 319.140, 319.6, 424.21(c), 2015 edition; 7 Pa. Code 1.407
    "us_frankfurter": {
        "fat_pct_of_finished": 30,
        "fat_and_added_water_pct_of_finished": 40,
        "poultry_pct_of_nonwater_ingredients": 15,
        "mechanically_separated_pct_of_meat_portion": 20,
        "binder_pct_of_batch": 3.5,
        "isolate_pct_of_batch": 2,
        "caseinate_pct_of_batch": 2,
        "binder_mixture_index": 1,
        "phosphate_pct_of_finished": 0.5,
    },
    "us_frankfurter_byproducts": {
        "fat_pct_of_finished": 30,
        "fat_and_added_water_pct_of_finished": 40,
        "skeletal_meat_pct_of_batch": 15,
        "defatted_tissue_pct_of_meat_portion": 15,
    },
    "us_cheese_frankfurter": {
        "fat_pct_of_finished": 30,
        "fat_and_added_water_pct_of_finished": 40,
        "binder_pct_of_batch_without_cheese": 3.5,
        "isolate_pct_of_batch_without_cheese": 2,
        "caseinate_pct_of_batch_without_cheese": 2,
    },
    "us_other_cooked": {"added_water_pct_of_finished": 10},
    "us_pa_frankfurter": {"fat_pct_of_finished": 30, "added_water_pct_of_finished": 10},
}


@pytest.mark.parametrize("key", LIMITS)
def test_limits_stand_as_in_the_texts(key):
    """Printed in the sections named above; exact. The one floor is raw skeletal meat."""
    for quantity, limit in LIMITS[key].items():
        rule = rule_set(key).limit(quantity)
        assert rule.limit == limit
        assert rule.comparison == ("min" if quantity == "skeletal_meat_pct_of_batch" else "max")


def test_other_cooked_sausage_has_no_limit_on_the_sum():
    """Printed: 9 CFR 319.140 limits added water alone; the 40 % of 319.180 is not there."""
    assert "fat_and_added_water_pct_of_finished" not in {
        rule.quantity for rule in rule_set("us_other_cooked").limits
    }

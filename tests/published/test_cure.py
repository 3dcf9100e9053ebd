"""Outside checks of the cure calculation. Each names its source; the tolerance is that of the printed digits unless a reason is given.

The regulation's fractions per 100 lb are worked here with 16 oz to the pound and nothing from the kit.
"""

from datetime import date

import pytest

from kit.cure import CureLine, Item, Plan, Premix, Scale, brine, dose, weigh_list
from kit.cure.brine import (
    aw_of_brine,
    brine_pct,
    molality,
    osmotic_coefficient,
    sodium_mg_per_100g,
    water_activity,
)
from kit.cure.colour import (
    nitrite_for_pigment_ppm,
)
from kit.cure.dose import nitrite_ppm
from kit.cure.exposure import exposure
from kit.cure.limits import judge
from kit.cure.premix import premix
from kit.cure.salts import convert
from kit.rules.limits import jurisdictions, limit, limits_for


def per_100_lb(ounces):
    """Parts per million of an amount in ounces per 100 lb: a pound is 16 oz."""
    return ounces / (100 * 16) * 1e6


@pytest.mark.parametrize(
    "key, ounces, per",
    [
        ("us_nitrite_ingoing", 1 / 4, 1),
        ("us_nitrate_ingoing", 2 + 3 / 4, 1),
        ("us_ascorbic_acid", 3 / 4, 1),
        ("us_erythorbic_acid", 3 / 4, 1),
        ("us_sodium_ascorbate", 7 / 8, 1),
        ("us_sodium_erythorbate", 7 / 8, 1),
        ("us_gdl", 8, 1e4),
        ("us_sapp_meat", 8, 1e4),
    ],
)
def test_the_limits_are_the_fractions_printed_per_100_lb(key, ounces, per):
    """9 CFR 424.21(c), 2015 edition: 1/4 oz nitrite, 2 3/4 oz nitrate, 3/4 oz acid, 7/8 oz salt, 8 oz GDL, SAPP. Exact."""
    assert limit(key).limit * per == pytest.approx(per_100_lb(ounces), abs=1e-9)


def test_fumaric_acid_is_printed_rounded():
    """9 CFR 424.21(c) prints 0.065 % and 1 oz per 100 lb, which is 0.0625 %: the row keeps the printed percentage, 4 % more."""
    assert limit("us_fumaric").limit == 0.065
    assert limit("us_fumaric").limit == pytest.approx(per_100_lb(1) / 1e4, rel=0.041)


@pytest.mark.parametrize(
    "premix_oz, meat_oz, strength, printed, tol",
    [
        (4, 1600, 6.25, 156, 0.5),
        (1, 400, 6.25, 156, 0.5),
        (0.2, 80, 6.25, 156.25, 0.005),
        (80, 1600, 0.40, 200, 1e-9),
    ],
)
def test_worked_premix_rates(premix_oz, meat_oz, strength, printed, tol):
    """Printed in trade tables that cite the US rule (common practice): 4 oz per 100 lb, 1 oz per 25 lb, 0.2 oz per 5 lb give 156;
    5 lb of 0.40 % per 100 lb give 200."""
    assert float(nitrite_ppm(premix_oz, strength, meat_oz)) == pytest.approx(printed, abs=tol)


def test_worked_rates_in_grams():
    """Trade tables: 2.5 g/kg of 6.25 % is 156 (of a 6.22 % label 155.5), 20 g/kg of 0.6 % is 120, 30 g/kg of 0.6 % is 180."""
    assert nitrite_ppm(
        2.5, premix("US curing salt, 6.25 % nitrite").strength_pct, 1000
    ) == pytest.approx(156.25, abs=0.5)
    assert float(nitrite_ppm(2.5, 6.22, 1000)) == pytest.approx(155.5, abs=0.05)
    assert nitrite_ppm(20, premix("nitrite salt 0.6 %").strength_pct, 1000) == pytest.approx(
        120, abs=1e-9
    )
    assert nitrite_ppm(30, premix("nitrite salt 0.6 %").strength_pct, 1000) == pytest.approx(
        180, abs=0.1
    )


def test_canadian_ounces_are_200_ppm():
    """Health Canada list: 0.32 oz per 100 lb printed as 200 ppm; the Canadian row holds 200 (second-hand). Exact."""
    assert per_100_lb(0.32) == pytest.approx(limit("canada_nitrite").limit, abs=1e-9)


def test_what_is_under_the_line_decides():
    """FSIS Handbook 7620.3, p. 22 (as quoted), method two: 0.003 lb nitrite in 10 lb of meat and 5 lb of pickle are 200 ppm at equilibrium. 9 CFR 424.21(c): 2 lb
    per 100 gal at 10 % pump: 200 ppm with a pickle of 10 lb/gal (density from memory), 240 with water's 8.33. Exact."""
    assert nitrite_ppm(0.003, 100, 10 + 5) == pytest.approx(200, abs=1e-9)
    assert nitrite_ppm(2 * 0.10, 100, 100 * 10) == pytest.approx(200, abs=1e-9)
    assert nitrite_ppm(2 * 0.10, 100, 100 * 8.33) == pytest.approx(240, abs=0.5)


def test_base_is_the_meat_block():
    """FSIS Handbook 7620.3, ch. 3: green weight of the meat, not the batch. 15.6 g on 100 kg of meat in a batch of 130 kg: 156, not 120."""
    found = dose((CureLine(premix("US curing salt, 6.25 % nitrite"), 0.0156 / 0.0625),), 100, 130)
    assert found.ppm_of_meat == pytest.approx(156, abs=1e-9)
    assert found.ppm_of_batch == pytest.approx(120, abs=1e-9)


@pytest.mark.parametrize(
    "salt, ion, printed", [("NaNO2", "NO2", 0.67), ("NaNO3", "NO3", 0.73), ("KNO3", "NO3", 0.61)]
)
def test_ion_factors(salt, ion, printed):
    """Trade note on the EU change of 2023: 0.67, 0.73, 0.61. Tolerance half of the last digit."""
    assert convert(1.0, salt, ion) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize("ion, salt", [(80, 120), (55, 82.5)])
def test_eu_limits_as_salt(ion, salt):
    """Regulation (EU) 2023/2108 as reported: 80 and 55 mg/kg ion are given as 120 and 82.5 of sodium nitrite. Half of the last digit."""
    assert convert(ion, "NO2", "NaNO2") == pytest.approx(salt, abs=0.05)
    assert convert(150, "NaNO2", "NO2") == pytest.approx(
        100.0, abs=0.05
    )  # the older 150 of 1333/2008, worked


def test_potassium_nitrite_pair_of_the_bacon_rule():
    """9 CFR 424.22(b): 120 ppm sodium nitrite stands beside 148 ppm potassium nitrite. Half of the last digit of 148."""
    assert convert(120, "NaNO2", "KNO2") == pytest.approx(148, abs=0.5)


def test_eu_limit_changes_on_9_october_2025():
    """Trade note on Regulation (EU) 2023/2108: new limits from 9 October 2025. The day before, 150 as NaNO2 of 1333/2008 holds."""
    before, after = (limits_for("EU", on=day) for day in (date(2025, 10, 8), date(2025, 10, 9)))
    assert [(row.limit, row.as_salt) for row in before] == [(150.0, "NaNO2")]
    assert [(row.limit, row.as_salt) for row in after] == [(80.0, "NO2")]


@pytest.mark.parametrize(
    "mol, printed, tol", [(1.0, 0.9669, 0.0005), (6.0, 0.760, 0.0005), (6.144, 0.755, 0.002)]
)
def test_water_activity_of_molal_solutions(mol, printed, tol):
    """1 mol/kg from a processing text; 6 mol/kg from Robinson & Stokes 1965 as printed in an instrument manual; saturated 0.755 (a second
    page fits 0.7534, so the two disagree by 0.002, which is the tolerance there)."""
    assert water_activity(mol) == pytest.approx(printed, abs=tol)


def test_osmotic_coefficient_at_6_molal():
    """Robinson & Stokes 1965 as printed in an instrument manual: phi 1.271 at 6 mol/kg. The equation gives 1.2693, 0.13 % less, within the
    0.0005 of the aw printed beside it."""
    assert osmotic_coefficient(6.0) == pytest.approx(1.271, abs=0.002)


def test_standard_solution():
    """Instrument standard 2.33 mol/kg NaCl is 0.920 (from memory). The equation gives 0.919; one unit of the last digit."""
    assert water_activity(2.33) == pytest.approx(0.920, abs=0.001)


@pytest.mark.parametrize(
    "strength, printed, tol",
    [(10, 0.935, 0.001), (7, 0.956, 0.001), (6.5, 0.96, 0.005), (5, 0.970, 0.001)],
)
def test_brine_strength_to_water_activity(strength, printed, tol):
    """Pairs quoted from an FSIS text on C. botulinum: 10, 7, 6.5 and 5 % brine. Second-hand. 0.96 has two digits only."""
    assert aw_of_brine(strength) == pytest.approx(printed, abs=tol)


def test_saturated_brine_is_26_percent():
    """Course text: saturated brine is 26.3 % salt. Saturation at 6.144 mol/kg gives 26.4 %, 0.03 mol/kg more than 26.3 % holds."""
    assert molality(26.3) == pytest.approx(6.144, abs=0.05)


def test_brine_of_a_frankfurter():
    """Formula of the course text by hand: 2.2 % salt, 54 % moisture: 2.2 / 56.2 = 3.91 %, 0.697 mol/kg."""
    assert brine_pct(2.2, 54) == pytest.approx(3.91, abs=0.005)
    assert molality(brine_pct(2.2, 54)) == pytest.approx(0.697, abs=0.0005)


@pytest.mark.parametrize(
    "sodium, printed", [(992, 2.52), (819, 2.08), (1013, 2.58), (930, 2.36), (311, 0.79)]
)
def test_salt_from_label_sodium(sodium, printed):
    """USDA SR26: sodium of beef frank, beef and pork frank, beef bologna, knockwurst, low-sodium frank, as NaCl (factor 2.5421): half of the last digit, 2 mg."""
    assert sodium_mg_per_100g(printed) == pytest.approx(sodium, abs=2.1)


def test_sodium_of_table_salt():
    """USDA SR26 02047: 38 758 mg sodium in 100 g table salt that is 99.8 % ash. Pure NaCl holds 39 337; 98.5 % of that, so 1.5 %."""
    assert sodium_mg_per_100g(100.0) == pytest.approx(38758, rel=0.016)


def test_nitrite_for_the_pigment():
    """Popular text citing meat science: colour starts at "as little as 2 to 14 ppm". One NO per haem for pork (2 mg/g) and young beef at
    3 mg/g average falls inside; by hand 2.0 / 16 951 × 68.995 × 1e6 / 1000 = 8.14 ppm."""
    assert nitrite_for_pigment_ppm(2.0) == pytest.approx(8.14, abs=0.05)
    assert 2 <= nitrite_for_pigment_ppm(3.0) <= 14


def test_acceptable_daily_intake():
    """EFSA Journal 2017;15(6):4786: 0.07 mg ion per kg body weight; the adult of EFSA Journal 2012;10(3):2579 weighs 70 kg: 4.9 mg ion, 7.35 mg sodium nitrite.

    By hand: 100 g with 147 ppm bring 14.7 mg, twice that."""
    found = exposure(147)
    assert convert(found.adi_mg, "NaNO2", "NO2") == pytest.approx(4.9, abs=1e-9)
    assert found.adi_mg == pytest.approx(7.35, abs=0.005)
    assert found.times_adi == pytest.approx(2.0, abs=0.005)


def test_salt_that_the_cure_brings():
    """By hand: 2.5 g/kg of 6.25 % mix brings 2.34 g/kg salt; 20 g/kg of 0.6 % brings 19.9."""
    assert dose(
        (CureLine(premix("US curing salt, 6.25 % nitrite"), 0.0025),), 1, 1.3
    ).salt_kg * 1000 == pytest.approx(2.34, abs=0.005)
    assert dose(
        (CureLine(premix("nitrite salt 0.6 %"), 0.020),), 1, 1.3
    ).salt_kg * 1000 == pytest.approx(19.9, abs=0.05)


def test_full_batch():
    """A whole batch worked by hand from the rules: 100 kg meat, raw 136.705, finished 125.768 (92 %), 0.25 kg cure, 2.4 kg salt, 54.7 g
    erythorbate: 156.25 ppm, 547 ppm, salt with the cure's 2.09 %, brine 3.61 % in 55.96 % moisture."""
    found = dose((CureLine(premix("US curing salt, 6.25 % nitrite"), 0.25),), 100, 136.705, 125.768)
    made = brine(2.4, 0.5596 * 125.768, 125.768, cure_salt_kg=found.salt_kg)
    assert found.ppm_of_meat == pytest.approx(156.25, abs=0.005)
    assert made.salt_pct == pytest.approx(2.09, abs=0.01)
    assert made.brine_pct == pytest.approx(3.61, abs=0.01)
    items = (
        Item("cure", 250, premix=premix("US curing salt, 6.25 % nitrite")),
        Item("erythorbate", 54.7, quantity="sodium erythorbate"),
    )
    wanted = weigh_list(
        items, Plan(100, 136.705, 125.768, limits=limits_for("US"), scale=Scale(0.1))
    )
    value = {v.limit.quantity: v.value for v in wanted.verdicts}
    assert not wanted.withheld
    assert value["sodium erythorbate"] == pytest.approx(547, abs=0.5)


def test_codex_residual_is_counted_as_ion():
    """Codex general standard, category 08.3: 80 mg/kg residual as NO2 ion; 120 measured as sodium nitrite is 80.0 as ion."""
    (verdict,) = judge(dose((), 100, 130, 120), limits_for("Codex"), residual_ppm=120)
    assert verdict.value == pytest.approx(80.0, abs=0.05)


def test_saltpetre_counts_as_sodium_nitrate_by_its_molar_mass():
    """IUPAC standard atomic weights (from memory): K 39.098, Na 22.990, N 14.007, O 15.999, so KNO3 is 101.10 and NaNO3 84.99 g/mol. 1 g of
    saltpetre is 0.8407 g of sodium nitrate; counted the wrong way it would be 1.19. A rule that counts the salt used sees the gram itself; one
    that counts as sodium nitrate sees 0.84 of it."""
    nitrate = 14.007 + 3 * 15.999
    cure = Premix("saltpetre in salt", 0.6, 5.0, nitrate_salt="KNO3")
    found = dose((CureLine(cure, 2.0),), 100, 130)
    assert found.nitrate_as_used_kg == pytest.approx(0.1, rel=1e-12)
    assert found.nitrate_kg == pytest.approx(
        0.1 * (22.990 + nitrate) / (39.098 + nitrate), rel=1e-4
    )
    as_used, as_sodium = (
        next(
            v.value
            for v in judge(found, limits_for(place))
            if v.limit.quantity == "nitrate ingoing"
        )
        for place in ("US", "Brazil")
    )
    assert as_used == pytest.approx(1000, abs=1e-6) and as_sodium == pytest.approx(
        840.7 / 1.3, abs=0.1
    )


@pytest.mark.parametrize(
    "on, great_britain, northern_ireland",
    [
        (date(2025, 10, 8), (150, "NaNO2"), (150, "NaNO2")),
        (date(2025, 10, 9), (150, "NaNO2"), (80, "NO2")),
    ],
)
def test_great_britain_and_northern_ireland_part_in_october_2025(
    on, great_britain, northern_ireland
):
    """Regulation (EU) 2023/2108 applies in Northern Ireland (a university's food law page on the Windsor Framework); Great Britain kept 150 mg/kg (trade
    reports of 2025). Second-hand, both."""

    def ceiling(place):
        return next(
            (row.limit, row.as_salt)
            for row in limits_for(place, on=on)
            if row.quantity == "nitrite ingoing" and row.comparison == "max"
        )

    assert ceiling("Great Britain") == great_britain and ceiling(
        "Northern Ireland"
    ) == northern_ireland == ceiling("EU")
    assert "UK" not in jurisdictions()

"""The plan against formulations in print, redone by pencil, with the errors found in them named."""

import pytest

from kit.errors import Faulty
from kit.plan import plan_batch
from kit.plan.mix import mix_for_fat
from kit.sheet.sheet import sheet_of

# FAO, frankfurter for Asian and Pacific small-scale producers (2007), p. 400: 30 kg of raw materials, additives in g/kg of them
FAO = {"lean pork": 9.0, "lean beef": 6.0, "fatty pork": 7.5}


def fao_frankfurter(nitrite_pct: float | None) -> dict:
    """Analyses are not printed: lean 10 %, fatty 80 % fat are from memory and decide nothing here."""
    meat = [
        {"name": "lean pork", "species": "pork", "lean": "90/10", "amount": "9 kg"},
        {"name": "lean beef", "species": "beef", "lean": "90/10", "amount": "6 kg"},
        {"name": "fatty pork", "species": "pork", "lean": "20/80", "amount": "7.5 kg"},
    ]
    cure = {"name": "curing salt", "kind": "cure", "amount": "540 g"}
    if nitrite_pct is not None:
        cure["nitrite_pct"] = nitrite_pct
    rest = [
        {"name": "ice", "amount": "7.5 kg"},
        cure,
        {"name": "sodium tripolyphosphate", "amount": "90 g"},
        {"name": "ascorbic acid", "amount": "9 g"},
        *(
            {"name": n, "material": "spice, generic", "amount": f"{30 * g} g"}
            for n, g in (("pepper", 3), ("nutmeg", 1), ("cardamom", 0.5), ("coriander", 0.2))
        ),
    ]
    return {"name": "FAO frankfurter", "line": [*meat, *rest], "process": {"scale_step_g": 1}}


def test_fao_frankfurter_adds_up_to_its_total():
    """22.5 + 7.5 + 30 × (0.018 + 0.003 + 0.0003 + 0.0047) = 30.780 kg; phosphate 0.090 / 30.780 = 0.292 %."""
    plan = plan_batch(sheet_of(fao_frankfurter(0.5)))
    assert plan.sheet.batch_kg == pytest.approx(30.780, abs=5e-4)
    assert 100 * plan.sheet.line(
        "sodium tripolyphosphate"
    ).kg / plan.sheet.batch_kg == pytest.approx(0.292, abs=5e-4)
    assert plan.weighed_kg == pytest.approx(30.780, abs=0.001 * len(plan.weigh))


@pytest.mark.parametrize(("nitrite_pct", "ppm"), [(0.5, 120), (0.6, 144), (1.0, 240)])
def test_the_nitrite_of_fao_frankfurter_depends_on_the_bag(nitrite_pct, ppm):
    """The share of nitrite is not printed. By pencil: 540 g × share / 22.5 kg of meat."""
    cure = plan_batch(sheet_of(fao_frankfurter(nitrite_pct))).followed.cure
    assert cure.dose.ppm_of_meat == pytest.approx(ppm, abs=0.5)


def test_without_the_strength_of_the_bag_there_is_no_plan():
    with pytest.raises(Faulty, match="which strength"):
        sheet_of(fao_frankfurter(None))


def test_over_the_ceiling_the_plan_stops():
    """240 mg/kg is over the United States' 156.25 (2015 edition): the weights are withheld."""
    plan = plan_batch(sheet_of(fao_frankfurter(1.0)))
    assert plan.stop and plan.withheld
    assert all(row.reading_g is None for row in plan.weigh if row.kind == "cure")
    assert plan.sentence.startswith("STOP")


def test_a_table_in_print_that_adds_up_to_102_kg_is_named_and_not_repaired():
    """FAO, small-scale sausage production (1985), bologna "for 100 kg": pork 45, beef 37, ice 18, protein 2 add up to 102."""
    lines = [
        {"name": "pork", "species": "pork", "lean": "70/30", "amount": "45 kg"},
        {"name": "beef", "species": "beef", "lean": "80/20", "amount": "37 kg"},
        {"name": "ice", "amount": "18 kg"},
        {"name": "nonfat dry milk", "amount": "2 kg"},
        # 20 g of curing salt for a kilogram; its nitrite is not printed, 0.5 % is assumed
        {"name": "cure", "kind": "cure", "nitrite_pct": 0.5, "amount": "2.04 kg"},
    ]
    plan = plan_batch(sheet_of({"name": "b", "line": lines, "process": {"batch_target_kg": 100}}))
    assert plan.weighed_kg - 2.04 == pytest.approx(102, abs=0.005)
    assert "add up to 104.04 kg, not to the 100 kg" in plan.sentence


def test_bologna_of_2022():
    """Foods journal 2022, control: pork 45, mechanically separated 7.5, back fat 12.5, ice water 32.25, salt 1.56, tripolyphosphate 0.30,
    cure 0.24 (6.4 % nitrite), seasoning 0.60, erythorbate 0.05: 100.00 kg; by pencil 153.6 mg/kg of batter, 236 on the 65 kg of meat."""
    lines = [
        {
            "name": "pork",
            "species": "pork",
            "moisture_pct": 59.03,
            "fat_pct": 15.75,
            "protein_pct": 24.22,
            "kind": "meat",
            "amount": "45 kg",
        },
        {
            "name": "separated",
            "species": "pork",
            "moisture_pct": 60.66,
            "fat_pct": 23.76,
            "protein_pct": 14.58,
            "kind": "meat",
            "rule_class": "mechanically separated",
            "amount": "7.5 kg",
        },
        {
            "name": "back fat",
            "species": "pork",
            "moisture_pct": 14,
            "fat_pct": 80,
            "protein_pct": 5,
            "kind": "meat",
            "amount": "12.5 kg",
        },
        {"name": "ice", "amount": "32.25 kg"},
        {"name": "salt", "amount": "1.56 kg"},
        {"name": "sodium tripolyphosphate", "amount": "0.3 kg"},
        {"name": "cure", "kind": "cure", "nitrite_pct": 6.4, "amount": "0.24 kg"},
        {"name": "seasoning", "material": "spice, generic", "amount": "0.6 kg"},
        {"name": "sodium erythorbate", "amount": "0.05 kg"},
    ]
    plan = plan_batch(sheet_of({"name": "b", "line": lines, "process": {"scale_step_g": 1}}))
    dose = plan.followed.cure.dose
    assert plan.sheet.batch_kg == pytest.approx(100.0, abs=1e-6)
    assert dose.ppm_of_batch == pytest.approx(153.6, abs=0.05)
    assert dose.ppm_of_meat == pytest.approx(236.3, abs=0.05)
    # fat before spice: 45 × 0.1575 + 7.5 × 0.2376 + 12.5 × 0.80 = 18.87 kg
    assert plan.followed.batter.fat_pct == pytest.approx(18.87 + 0.6 * 0.12, abs=0.005)


def test_the_mix_is_the_trades_square():
    """Pearson's square, a textbook method: lean 20 % and back fat 80 % to 35 %: parts 45 and 15, so 9 kg take 3."""
    lines = [
        {"name": "trim", "species": "pork", "lean": "80/20", "amount": "9 kg"},
        {"name": "fat", "species": "pork", "lean": "20/80", "amount": "5 kg"},
    ]
    process = {"fat_target_pct": 35, "fat_target_basis": "meat"}
    mix = mix_for_fat(sheet_of({"name": "s", "line": lines, "process": process}))
    assert mix.reached
    assert mix.sheet.line("trim").kg == pytest.approx(9)
    assert mix.sheet.line("fat").kg == pytest.approx(3, abs=1e-6)
    assert mix.left_kg == {"fat": pytest.approx(2, abs=1e-6)}

"""The plan of a batch: the mix, the weigh sheet, the page, and what to change next time."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.chain import follow
from kit.errors import KitError
from kit.lab.command import main
from kit.lab.pages.plan import as_html
from kit.plan import plan_batch
from kit.plan.after import after_batch
from kit.plan.mix import mix_for_fat
from kit.plan.stages import stage_cards
from kit.plan.weigh import ORDER
from kit.reading import read_sheet
from kit.sheet import Weighing
from kit.sheet.sheet import sheet_of
from kit.tables import data_path
from tests.pencil import assert_pencil

KITCHEN = data_path("demo", "teaching_kitchen.toml")
TRIM = {"name": "trim", "species": "pork", "fat_low_pct": 15, "fat_high_pct": 25, "amount": "3 kg"}
REST = (
    {"name": "ice", "amount": "25 % of meat"},
    {"name": "salt", "amount": "2 % of batch"},
    {"name": "curing salt 6.25 %", "nitrite_pct": 6.25, "amount": "2.4 g/kg of meat"},
)


def sheet(*meats, **process):
    wanted = {"fat_target_pct": 25, "stuffed_mm": 24, "casing": "cellulose", "scale_step_g": 0.1}
    return sheet_of({"name": "test", "line": [*meats, *REST], "process": wanted | process})


@pytest.fixture(scope="module")
def kitchen():
    return plan_batch(read_sheet(KITCHEN))


# the mix


def test_what_is_missing_is_said_and_does_mend_it():
    mix = mix_for_fat(sheet(TRIM))
    assert not mix.reached and mix.missing.name == "pork backfat"
    assert re.search(r"add 0\.\d\d kg of pork backfat .* or accept 17\.\d %", mix.words)
    bought = {"name": "pork backfat", "amount": f"{mix.missing.kg} kg"}
    assert mix_for_fat(sheet(TRIM, bought)).reached
    assert_pencil(mix.working)


def test_too_fat_asks_for_lean():
    mix = mix_for_fat(sheet(TRIM, fat_target_pct=10))
    assert mix.missing.name == "pork shoulder, lean"
    mended = {"name": "pork shoulder, lean", "amount": f"{mix.missing.kg} kg"}
    assert mix_for_fat(sheet(TRIM, mended, fat_target_pct=10)).reached


def test_a_line_of_the_sheet_is_asked_for_before_a_stranger():
    fat = {"name": "my fat", "species": "pork", "lean": "25/75", "amount": "0.1 kg"}
    assert mix_for_fat(sheet(TRIM, fat)).missing.name == "my fat"


def test_the_fat_that_the_chain_finds_is_the_one_wanted():
    mix = mix_for_fat(sheet(TRIM, {"name": "pork backfat", "amount": "2 kg"}))
    assert follow(mix.sheet).finished.fat_pct == pytest.approx(25, abs=1e-4)
    assert mix.sheet.line("trim").kg == 3
    assert mix.left_kg["pork backfat"] > 1


def test_all_else_keeps_its_ratio_to_the_meat():
    mass = {"name": "soy protein isolate", "amount": "50 g"}
    mix = mix_for_fat(sheet(TRIM, mass, {"name": "pork backfat", "amount": "2 kg"}))
    before = 0.05 / 5
    assert mix.sheet.line("soy protein isolate").kg / mix.sheet.meat_kg == pytest.approx(before)


def test_a_meat_of_which_nothing_is_taken_is_left_out():
    lean = {"name": "pork shoulder, lean", "amount": "4 kg"}
    only = mix_for_fat(sheet(TRIM, lean, fat_target_pct=7.14, fat_target_basis="meat"))
    assert [line.name for line in only.sheet.of_kind("meat")] == ["pork shoulder, lean"]


def test_a_wanted_batch_is_the_cheapest_where_every_meat_has_a_price_else_the_nearest():
    meats = [
        TRIM | {"amount": "10 kg"},
        {"name": "pork backfat", "amount": "10 kg"},
        {"name": "pork belly", "amount": "10 kg"},
    ]
    near = mix_for_fat(sheet(*meats, batch_target_kg=5))
    assert near.sheet.batch_kg == pytest.approx(5) and near.reached
    priced = [meat | {"price_per_kg": price} for meat, price in zip(meats, (4.0, 1.0, 9.0))]
    cheap = mix_for_fat(sheet(*priced, batch_target_kg=5))
    assert cheap.reached and "pork belly" not in [line.name for line in cheap.sheet.lines]

    def cost(mix):
        prices = dict(zip(("trim", "pork backfat", "pork belly"), (4.0, 1.0, 9.0)))
        return sum(prices[line.name] * line.kg for line in mix.sheet.of_kind("meat"))

    assert cost(cheap) <= cost(near) + 1e-9


def test_too_little_meat_for_the_wanted_batch_is_said():
    mix = mix_for_fat(sheet(TRIM, batch_target_kg=40))
    assert mix.short_kg > 20 and "is lacking" in mix.words


def test_no_target_no_mix(kitchen):
    assert kitchen.mix is None and kitchen.sheet == kitchen.asked


# the weigh sheet and the page


def test_rows_stand_in_the_order_of_the_bowl_and_add_up(kitchen):
    order = [ORDER.index(row.when) for row in kitchen.weigh]
    assert order == sorted(order)
    half_steps = sum(row.step_g for row in kitchen.weigh) / 1000
    assert kitchen.weighed_kg == pytest.approx(kitchen.sheet.batch_kg, abs=half_steps)
    assert [row.name for row in kitchen.weigh if row.second_reader] == [
        "cure premix",
        "sodium erythorbate",
    ]


def test_the_limit_of_the_end_is_the_lower_of_the_two(kitchen):
    guide = kitchen.chop.guide
    assert kitchen.upper_C == min(guide.high_C, kitchen.model_C or guide.high_C)
    assert guide.name == "pork"


def test_the_page_stands_alone_and_repeats_the_plans_numbers(kitchen):
    page = as_html(kitchen, batch="7")
    assert "http" not in page.replace("http-equiv", "") and "Batch: 7" in page
    for row in kitchen.weigh:
        assert (
            f"{row.reading_g:.1f} g" in page
            or f"{row.reading_g:.0f} g" in page
            or f"{row.reading_g / 1000:.3f} kg" in page
        )
    assert f"{kitchen.weighed_kg:.2f} kg" in page
    assert "certifies nothing" in page and "Nitrite is poisonous" in page


def test_names_from_a_file_are_escaped_on_the_page():
    bad = sheet(TRIM | {"name": "<script>alert(1)</script>"})
    page = as_html(plan_batch(bad))
    assert "<script>" not in page and "&lt;script&gt;" in page


def test_a_stopped_plan_has_no_weights_on_its_page():
    stopped = sheet_of(
        {
            "name": "too much",
            "line": [TRIM, {"name": "curing salt 6.25 %", "nitrite_pct": 6.25, "amount": "20 g"}],
            "process": {"scale_step_g": 0.1},
        }
    )
    plan = plan_batch(stopped)
    page = as_html(plan)
    assert plan.stop and "STOP" in page and "20.0 g" not in page and "<table" not in page


def test_a_room_that_cannot_answer_leaves_the_rest_standing():
    data = read_sheet(KITCHEN).as_dict()
    data["cook"] = [{"kind": "dry", "duration_min": 30, "dry_bulb_C": 60}]  # nobody says how moist
    plan = plan_batch(sheet_of(data))
    assert plan.cook is None and any(why.startswith("cook") for why in plan.unanswered)
    assert plan.emulsion is not None and "not computed" in str(plan)


def test_cards_name_every_stage_of_a_kitchen(kitchen):
    stages = [card.stage for card in stage_cards(kitchen)]
    assert stages[:4] == ["grind", "weigh", "chop", "stuff"]
    assert {"rest", "cook", "chill", "peel", "pack"} <= set(stages)
    assert all(card.blanks for card in stage_cards(kitchen))


def test_us_units_change_words_and_no_number(kitchen):
    us = as_html(kitchen, "US")
    assert "°F" in us and "°C" not in us.split("</h1>", 1)[1].split("The teaching model")[0]


# after the batch


def made(plan, end_C=None, **stages):
    weighings = tuple(Weighing(stage=s, in_kg=i, out_kg=o) for s, (i, o) in stages.items())
    process = replace(plan.sheet.process, chop_end_measured_C=end_C)
    return replace(plan.sheet, process=process, weighings=weighings)


def test_nothing_measured_nothing_said(kitchen):
    assert after_batch(kitchen, kitchen.sheet) is None


def test_a_warm_end_and_a_heavy_loss_are_said_with_their_numbers(kitchen):
    found = after_batch(kitchen, made(kitchen, 19.0, cook=(2.9, 2.0), chill=(2.0, 1.99)))
    assert len(found.next_time) <= 3
    assert found.next_time[0].startswith("Chopping ended at 19.0 °C, 3.4 K above")
    assert any("in cook: 31.0 %" in sentence for sentence in found.next_time)
    assert found.next_sheet.process.cook_yield_pct == pytest.approx(100 * 1.99 / 2.9, abs=0.01)
    assert found.next_sheet.process.chop_energy_kJ_per_kg > 107
    assert plan_batch(found.next_sheet).followed.cook_yield.pct == pytest.approx(68.62, abs=0.01)


def test_a_batch_as_planned_changes_nothing(kitchen):
    out = {
        line.stage: (line.in_kg, line.out_kg)
        for line in kitchen.balance.expected.stages
        if line.stage in ("cook", "chill")
    }
    found = after_batch(kitchen, made(kitchen, 14.0, **out))
    assert found.next_time[0].startswith("Nothing measured lies outside")


# any form


AMOUNT = st.floats(0.2, 20).map(lambda kg: f"{kg:.3f} kg")


@st.composite
def forms(draw):
    lean = {"name": "lean", "species": "pork", "lean": "90/10", "amount": draw(AMOUNT)}
    fatty = {"name": "fatty", "species": "pork", "lean": "30/70", "amount": draw(AMOUNT)}
    cure = draw(st.sampled_from((0.5, 0.6, 0.9, 6.25)))
    dose = draw(st.floats(20, 300)) / cure / 10
    lines = [
        lean,
        fatty,
        {"name": "ice", "amount": f"{draw(st.integers(1, 60))} % of meat"},
        {"name": "salt", "amount": f"{draw(st.floats(0.5, 3)):.2f} % of batch"},
        {"name": "cure", "kind": "cure", "nitrite_pct": cure, "amount": f"{dose:.4f} g/kg of meat"},
        {"name": "sodium erythorbate", "amount": f"{draw(st.integers(100, 700))} ppm of meat"},
    ]
    process = {
        "fat_target_pct": draw(st.integers(5, 45)),
        "fat_target_basis": draw(st.sampled_from(("finished", "batch", "meat"))),
        "scale_step_g": draw(st.sampled_from((0.1, 1, 5))),
        "cure_rule": draw(st.sampled_from(("US", "EU"))),
    }
    if draw(st.booleans()):
        process["batch_target_kg"] = draw(st.floats(0.5, 30))
    return sheet_of({"name": "any", "line": lines, "process": process})


@given(forms())
@settings(max_examples=60, deadline=None)
def test_no_form_gives_a_dose_above_a_ceiling_or_numbers_that_disagree(form):
    assert_plan_is_sound(plan_batch(form))


def assert_plan_is_sound(plan):
    """No dose above its ceiling on the scale, no weight below 0, and the page's weights add up to what it says."""
    cure = plan.followed.cure
    assert all(row.grams >= 0 for row in plan.weigh)
    readings = [row for row in plan.weigh if row.kind == "cure" and row.reading_g is not None]
    if readings:
        ppm = sum(row.reading_g * plan.sheet.line(row.name).nitrite_pct for row in readings) * 10
        assert ppm / plan.sheet.meat_kg <= cure.ceiling_ppm_of_meat * (1 + 1e-6)
    if plan.stop:
        assert not readings and "<table" not in as_html(plan)
        return
    page = as_html(plan)
    cells = re.findall(r'<td class="n">(?:<strong>)?([\d.]+) (kg|g)', page)
    total = float(cells[-1][0])
    shown = sum(float(n) / (1000 if unit == "g" else 1) for n, unit in cells[:-1])
    withheld = (
        sum(row.grams for row in plan.weigh if row.reading_g is None and plan.withheld) / 1000
    )
    assert shown + withheld == pytest.approx(total, abs=0.0051 + 0.0006 * len(cells))
    if plan.mix and plan.mix.reached:
        assert plan.mix.reached_pct == pytest.approx(plan.mix.target_pct, abs=0.005)


# the shell


def test_the_command_prints_the_plan_and_writes_its_page(tmp_path, capsys):
    assert main(["plan", str(KITCHEN), "--out", str(tmp_path), "--batch", "12"]) == 0
    assert "2.35 kg of meat" in capsys.readouterr().out
    assert "Batch: 12" in (tmp_path / "teaching_kitchen_plan.html").read_text(encoding="utf-8")


def test_the_command_says_what_is_wrong(tmp_path, capsys):
    faulty = tmp_path / "faulty.toml"
    faulty.write_text('[[line]]\nname = "pork trim 50"\namount = "5"\n', encoding="utf-8")
    assert main(["plan", str(faulty)]) == 1
    assert "has no unit" in capsys.readouterr().err


def test_impossible_wishes_are_refused():
    with pytest.raises(KitError):
        sheet(TRIM, fat_target_pct=96)

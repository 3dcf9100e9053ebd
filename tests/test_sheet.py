"""Batch sheets: what is read, how shares become kilograms, and what a Sheet answers."""

import subprocess
import sys
import time
from typing import get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit import stages, tables
from kit.errors import Faulty, KitError, OutOfRange, UnknownName, WrongUnit
from kit.materials.composition import KINDS, SPECIES, material, rule_classes
from kit.reading import read_sheet
from kit.sheet import Amount, CookStep, Line, Process, Weighing
from kit.sheet.amount import read_amount, resolve
from kit.sheet.entries import fields

DEMO = tables.data_path("demo", "demo_frankfurter.toml")


def sheet(*lines, **rest):
    """A sheet of one meat (100 kg of pork shoulder) and these lines."""
    meat = {"name": "pork shoulder, lean", "amount": "100 kg"}
    return read_sheet({"name": "test", "line": [meat, *lines], **rest})


# --- the table of fields -------------------------------------------------------------------------------------------------


def test_the_table_of_fields_agrees_with_the_rooms_it_names():
    assert fields("line")["kind"].choices == KINDS
    assert fields("line")["species"].choices == SPECIES
    assert fields("line")["rule_class"].choices == tuple(rule_classes())
    assert fields("weighing")["stage"].choices == tuple(stages.STAGES)


@pytest.mark.parametrize("part", ["batch", "line", "process", "cook", "weighing"])
def test_every_field_has_a_meaning_and_bounds_or_choices(part):
    for field in fields(part).values():
        assert field.meaning and field.reads in (
            "text",
            "note",
            "key",
            "choice",
            "quantity",
            "amount",
        )
        assert (field.reads == "choice") == bool(field.choices)
        assert (field.reads in ("quantity", "amount")) == (
            field.low is not None and field.high is not None
        )
        assert field.reads != "quantity" or field.low < field.high


@pytest.mark.parametrize(
    "part, kind", [("line", Line), ("process", Process), ("cook", CookStep), ("weighing", Weighing)]
)
def test_every_field_is_an_attribute_with_its_type(part, kind):
    """What an editor and a type checker see agrees with what the reader lets in."""
    hints = get_type_hints(kind)
    for name, field in fields(part).items():
        plain = {"quantity": float, "amount": Amount}.get(field.reads, str)
        wanted = plain if field.needed or (part, name) == ("line", "kind") else plain | None
        kept_as = "listed_as" if name == "material" else name
        assert hints[kept_as] == wanted, name


def test_a_sheet_is_made_and_changed_without_a_reader():
    code = (
        "import sys; from kit.sheet.sheet import sheet_of; "
        "s = sheet_of({'name': 'a', 'line': [{'name': 'pork trim 80', 'amount': '5 kg'}]}); "
        "s = s.with_amounts({'pork trim 80': 6.0}).with_process(chop_end_C=12.0); "
        "print(s.meat_kg, s.process.chop_end_C, *(m for m in sys.modules if m.startswith('kit.reading')))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["6.0", "12.0"]


def test_a_field_left_blank_is_none_and_an_unknown_one_offers_the_nearest():
    batch = sheet(process={"chop_end_C": 12})
    assert (
        batch.process.chop_end_C == 12
        and batch.process.core_target_C is None
        and batch.lines[0].pH is None
    )
    with pytest.raises(AttributeError, match="chop_end_C"):
        batch.process.chop_end


# --- amounts -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "written, kg",
    [
        ("25 kg", 25),
        ("250 g", 0.25),
        ("2 lb", 0.90718474),
        ("1 lb 4 oz", 0.5669904625),
        ("0.5 t", 500),
        ("25kg", 25),
    ],
)
def test_a_mass_in_any_unit(written, kg):
    amount = read_amount(written)
    assert (
        amount.mass_kg == pytest.approx(kg, rel=1e-9) and amount.pct is None and amount.basis == ""
    )


@pytest.mark.parametrize(
    "written, pct, basis",
    [
        ("2 % of meat", 2, "meat"),
        ("2% of batch", 2, "batch"),
        ("2 percent of the meat block", 2, "meat"),
        ("2.5 g/kg of meat", 0.25, "meat"),
        ("547 ppm of meat", 0.0547, "meat"),
        ("4 oz per 100 lb of meat", 0.25, "meat"),
        ("10 g per 1 kg of batch", 1, "batch"),
        ("156 mg/kg of meat", 0.0156, "meat"),
    ],
)
def test_a_share_with_its_basis(written, pct, basis):
    amount = read_amount(written)
    assert (
        amount.pct == pytest.approx(pct, rel=1e-12)
        and amount.basis == basis
        and amount.mass_kg is None
    )


@pytest.mark.parametrize(
    "written, kind, message",
    [
        ("2 %", WrongUnit, "a share of what"),
        ("2 % of finished", WrongUnit, "shares of meat and of batch"),
        ("25", WrongUnit, "no unit"),
        ("-3 kg", OutOfRange, "negative"),
        ("0 kg", OutOfRange, "zero"),
        ("101 % of meat", OutOfRange, "over 100 %"),
        ("5 °C", WrongUnit, "another kind"),
        ("2 tsp", WrongUnit, "packing"),
        ("a pinch", WrongUnit, "weigh it"),
        ("30 ml", WrongUnit, "volume"),
        ("5 mm", WrongUnit, "mass"),
        ("1,500 kg", WrongUnit, "comma"),
        ("a lot", WrongUnit, "no amount"),
        ("5 kg of meat", WrongUnit, "is a mass"),
        ("1e9 kg", OutOfRange, "must lie between"),
        ("1e-9 kg", OutOfRange, "must lie between"),
        ("5 g/0 kg of meat", OutOfRange, "divides by nothing"),
        ("1e999 kg", KitError, "amount"),
        ("nan kg", WrongUnit, "no amount"),
        ("5 mm/kg of meat", WrongUnit, "mass"),
        ("2 % of 3", WrongUnit, "shares of meat"),
    ],
)
def test_an_amount_that_cannot_be_meant_is_refused(written, kind, message):
    with pytest.raises(kind, match=message):
        read_amount(written)


def test_shares_of_meat_and_of_batch_are_solved_together():
    batch = sheet(
        {"name": "ice", "amount": "25 % of meat"},
        {"name": "salt", "amount": "2 % of batch"},
        {"name": "nonfat dry milk", "amount": "3 % of batch"},
    )
    assert batch.batch_kg == pytest.approx(125 / 0.95, rel=1e-12)
    assert batch.line("salt").kg == pytest.approx(0.02 * batch.batch_kg, rel=1e-12)
    assert batch.line("ice").kg == pytest.approx(25, rel=1e-12)


mass = st.floats(0.01, 1000).map(lambda kg: Amount("", mass_kg=kg))
share = st.builds(
    lambda pct, basis: Amount("", pct=pct, basis=basis),
    st.floats(0.01, 30),
    st.sampled_from(["meat", "batch"]),
)


@given(mass, st.lists(st.tuples(st.one_of(mass, share), st.booleans()), max_size=12))
def test_resolved_weights_meet_every_share_or_are_refused(main, rest):
    amounts, is_meat = [main, *(a for a, _ in rest)], [True, *(m for _, m in rest)]
    try:
        kg = resolve(amounts, is_meat)
    except OutOfRange:
        # only where the shares ask for the whole meat block or the whole batch
        pct = {
            (basis, meat): sum(
                a.pct for a, m in zip(amounts, is_meat) if a.basis == basis and m >= meat
            )
            for basis in ("meat", "batch")
            for meat in (0, 1)
        }
        room = (1 - pct["meat", 1] / 100) * (1 - pct["batch", 0] / 100) - pct[
            "meat", 0
        ] / 100 * pct["batch", 1] / 100
        assert room < 1e-6 or pct["batch", 0] >= 100
        return
    of = {"meat": sum(x for x, meat in zip(kg, is_meat) if meat), "batch": sum(kg)}
    for amount, x in zip(amounts, kg):
        assert x > 0
        assert x == pytest.approx(
            amount.mass_kg if not amount.basis else amount.pct / 100 * of[amount.basis], rel=1e-9
        )


@pytest.mark.parametrize(
    "lines",
    [
        [],
        [{"name": "ice", "amount": "25 % of meat"}],
        [{"name": "ice", "amount": "20 % of batch"}, {"name": "salt", "amount": "2 % of meat"}],
        [
            {"name": "beef trim 90", "amount": "30 % of meat"},
            {"name": "ice", "amount": "25 % of meat"},
        ],
        [
            {"name": "beef trim 90", "amount": "30 % of batch"},
            {"name": "beef heart", "amount": "5 % of meat"},
            {"name": "ice", "amount": "25 % of meat"},
            {"name": "salt", "amount": "2 % of batch"},
        ],
    ],
)
def test_a_pencil_gets_the_same_kilograms(lines):
    batch = sheet(*lines)
    assert_pencil(batch.working)
    assert batch.working[0].answer == batch.meat_kg and batch.working[1].answer == batch.batch_kg


def test_shares_that_leave_no_room_are_refused():
    with pytest.raises(Faulty, match="shares of batch add up to 100 %"):
        sheet(
            {"name": "ice", "amount": "60 % of batch"}, {"name": "salt", "amount": "40 % of batch"}
        )
    with pytest.raises(Faulty, match="the entire meat block or more"):
        sheet({"name": "beef trim 90", "amount": "100 % of meat"})
    with pytest.raises(Faulty, match="how large the batch is"):
        read_sheet(
            {
                "line": [
                    {"name": "beef trim 90", "amount": "60 % of meat"},
                    {"name": "pork trim 80", "amount": "40 % of meat"},
                ]
            }
        )


# --- what a line is made of ----------------------------------------------------------------------------------------------


def test_a_name_from_the_list_or_another_name_for_it():
    batch = sheet(
        {"name": "Ice", "amount": "10 kg"},
        {"name": "ice, second half", "material": "ice", "amount": "10 kg"},
    )
    assert batch.lines[1].kind == batch.lines[2].kind == "ice"
    assert batch.lines[2].material == material("ice")


def test_own_meat_by_lean_ratio_by_lab_and_by_eye():
    batch = sheet(
        {"name": "beef, my lot", "lean": "90CL", "species": "beef", "amount": "10 kg"},
        {
            "name": "trim in the lab",
            "species": "pork",
            "moisture_pct": 55,
            "protein_pct": 15.5,
            "fat_pct": 28.7,
            "ash_pct": 0.8,
            "amount": "10 kg",
            "collagen_pct_of_protein": 22,
        },
        {
            "name": "trim by eye",
            "species": "pork",
            "fat_low_pct": 18,
            "fat_high_pct": 28,
            "amount": "10 kg",
        },
    )
    lean, lab, eye = (line.material for line in batch.lines[1:])
    assert {line.kind for line in batch.lines} == {"meat"}
    assert lean.fat_pct == 10 and lean.name == "beef, my lot"
    assert lab.moisture_pct == 55 and lab.collagen_pct_of_protein == 22
    assert (eye.fat_low_pct, eye.fat_pct, eye.fat_high_pct) == (18, 23, 28)


def test_a_doubt_may_stand_beside_a_lean_ratio_or_lab_values():
    batch = sheet(
        {
            "name": "a",
            "lean": "80/20",
            "species": "pork",
            "fat_low_pct": 16,
            "fat_high_pct": 25,
            "amount": "10 kg",
        }
    )
    assert batch.lines[1].material.fat_pct == 20 and batch.lines[1].material.fat_high_pct == 25


def test_an_own_binder_by_lab_values():
    batch = sheet(
        {
            "name": "our milk powder",
            "kind": "binder",
            "moisture_pct": 3.5,
            "protein_pct": 35,
            "fat_pct": 1,
            "ash_pct": 8,
            "carbohydrate_pct": 52,
            "amount": "3 kg",
        }
    )
    assert (
        batch.lines[1].material.carbohydrate_pct == 52
        and batch.lines[1].material.rule_class == "binder"
    )


def test_a_cure_keeps_its_label_and_the_rest_counts_as_salt():
    line = sheet(
        {"name": "our cure", "nitrite_pct": 6.25, "nitrate_pct": 4, "amount": "250 g"}
    ).lines[1]
    assert line.kind == "cure" and line.nitrite_pct == 6.25 and line.nitrate_pct == 4
    assert line.material.salt_pct == pytest.approx(89.75)


def test_the_compound_of_an_accelerator_or_phosphate():
    batch = sheet(
        {"name": "sodium erythorbate", "amount": "50 g"},
        {
            "name": "blend P",
            "kind": "phosphate",
            "material": "sodium tripolyphosphate",
            "form": "phosphate blend",
            "amount": "300 g",
        },
    )
    assert [line.compound for line in batch.lines] == ["", "sodium erythorbate", "phosphate blend"]


def test_rework_of_the_same_recipe_leaves_the_composition_of_the_batch_as_it_was():
    lines = [{"name": "ice", "amount": "25 kg"}, {"name": "salt", "amount": "2.5 kg"}]
    plain, reworked = (
        sheet(*lines),
        sheet(*lines, {"name": "rework", "composition": "same recipe", "amount": "5 kg"}),
    )
    for part in ("moisture_pct", "protein_pct", "fat_pct", "ash_pct", "salt_pct"):

        def mean(batch):
            return (
                sum(getattr(line.material, part) * line.kg for line in batch.lines) / batch.batch_kg
            )

        assert mean(reworked) == pytest.approx(mean(plain), rel=1e-12)
    assert reworked.line("rework").kind == "rework" and reworked.meat_kg == plain.meat_kg


def test_price_stock_and_temperature_in_the_units_of_the_person():
    line = sheet(
        {
            "name": "ice",
            "amount": "10 kg",
            "temperature_C": "14 °F",
            "price_per_kg": "1.00 per lb",
            "stock_kg": "100 lb",
            "pH": 7,
        }
    ).lines[1]
    assert line.temperature_C == pytest.approx(-10)
    assert line.price_per_kg == pytest.approx(1 / 0.45359237)
    assert line.stock_kg == pytest.approx(45.359237)
    assert line.pH == 7


def test_a_pint_quantity_is_an_amount():
    from kit.units import registry

    assert sheet({"name": "ice", "amount": registry().Quantity(10, "lb")}).lines[
        1
    ].kg == pytest.approx(4.5359237)


# --- what a Sheet answers ------------------------------------------------------------------------------------------------


def test_the_demo_is_whole_and_says_that_it_is_invented():
    batch = read_sheet(DEMO)
    assert "invented" in batch.note.lower()
    assert batch.batch_kg == pytest.approx(100, abs=0.5) and batch.meat_kg == 72
    *plant, last = stages.STAGES
    assert [weighing.stage for weighing in batch.weighings] == plant and last == "grill"
    assert batch.line("nonfat dry milk").kg < 0.035 * batch.batch_kg * batch.cook_yield_pct / 100
    assert batch.line("pork trim 80/20, by eye").material.fat_high_pct == 28
    raw, cooked = batch.weighing("cook").in_kg, batch.weighing("chill").out_kg
    assert 100 * cooked / raw == pytest.approx(90, abs=0.5)
    assert batch.notes == () and len(batch.sources) >= 3
    assert_pencil(batch.working)


def test_between_the_stages_of_the_demo_a_few_kilograms_are_missing():
    weighed = read_sheet(DEMO).weighings
    missing = sum(before.out_kg - after.in_kg for before, after in zip(weighed, weighed[1:]))
    assert 1 < missing < 4


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_the_demo_is_the_same_in_every_form(form):
    assert read_sheet(DEMO.with_suffix(f".{form}")) == read_sheet(DEMO)


def test_other_amounts_are_checked_again_and_shares_follow():
    batch = read_sheet(DEMO)
    icier = batch.with_amounts({"ice": 30.0, "salt": "1.5 % of meat"})
    assert icier.line("ice").kg == 30 and icier.line("salt").kg == pytest.approx(1.08)
    assert icier.batch_kg > batch.batch_kg and batch.line("ice").kg == 22
    with pytest.raises(Faulty, match="negative"):
        batch.with_amounts({"ice": -1.0})
    with pytest.raises(UnknownName, match="ice"):
        batch.with_amounts({"icing": 1.0})


def test_other_process_fields_and_one_taken_away():
    batch = read_sheet(DEMO).with_process(chop_end_C=15, casing=None)
    assert (
        batch.process.chop_end_C == 15
        and batch.process.casing is None
        and batch.process.cook == read_sheet(DEMO).process.cook
    )
    with pytest.raises(Faulty, match="chop_end_C"):
        batch.with_process(chop_end=15)


def test_sheets_are_values():
    batch = read_sheet(DEMO)
    assert batch == read_sheet(DEMO) and hash(batch) == hash(read_sheet(DEMO))
    assert batch.weighing("smoke") is None
    assert batch.kg_of("ice", "water") == 22 and [line.name for line in batch.of_kind("ice")] == [
        "ice"
    ]


def test_a_sheet_survives_a_copy_and_a_pickle():
    import copy
    import pickle

    batch = read_sheet(DEMO)
    assert copy.deepcopy(batch) == batch == pickle.loads(pickle.dumps(batch))


def test_the_demo_is_read_in_under_ten_milliseconds():
    read_sheet(DEMO)
    took = []
    for _ in range(10):
        start = time.perf_counter()
        read_sheet(DEMO)
        took.append(time.perf_counter() - start)
    assert min(took) < 0.010

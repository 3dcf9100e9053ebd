"""Standards: verdicts, grids, room left, and rules that a person writes."""

from math import inf, isfinite, isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil
from portions import ICE, portion
from pytest import approx

from kit import cure, tables
from kit.cure.limits import judge as judge_dose
from kit.cure.premix import premix
from kit.errors import Faulty, OutOfRange, UnknownName
from kit.meat_block.mix import cooked
from kit.meat_block.quantities import SHARES, quantities
from kit.reading.rules import read_rule_set
from kit.rules import Facts, judge, rule_set
from kit.rules.facts import added_water_pct, facts_of
from kit.rules.limits import limits_for
from kit.rules.room import room_left
from kit.rules.rule_sets import rule_sets

MILK, ISOLATE = ("binder", 3.16, 36.16, 0.77), ("isolated soy protein", 5, 80.7, 3.4)
BACKFAT = portion(1, "meat", 7.69, 2.92, 88.69)


def frank(ice_kg=30.0, milk_kg=3.5):
    return (
        portion(40, "meat", 69.5, 20, 10)
        + portion(60, "meat", 39, 10, 50)
        + ice_kg * ICE
        + portion(2.4, "salt")
        + portion(milk_kg, *MILK)
    )


kg = st.floats(0.5, 60)
small_kg = st.floats(0, 6)
bowls = st.builds(
    lambda lean, fat, byproduct, chicken, deboned, ice, milk, isolate, caseinate, cheese, phosphate: (
        portion(20 + lean, "meat", 72, 20, 7, collagen=15)
        + portion(fat, "meat", 39, 10, 50, collagen=34)
        + portion(byproduct, "by-product", 77, 17, 4, collagen=27)
        + portion(chicken, "poultry", 73, 19, 6, collagen=10)
        + portion(deboned, "mechanically separated", 57, 15, 26.5, collagen=25)
        + ice * ICE
        + portion(milk, *MILK)
        + portion(isolate, *ISOLATE)
        + portion(caseinate, "sodium caseinate", 5, 88, 1)
        + portion(cheese, "cheese", 37, 25, 33)
        + portion(phosphate, "phosphate")
        + portion(2.5, "salt")
    ),
    kg,
    kg,
    small_kg,
    small_kg,
    small_kg,
    st.floats(0, 60),
    small_kg,
    small_kg,
    small_kg,
    small_kg,
    st.floats(0, 1),
)
yields = st.floats(80, 100)
keys = st.sampled_from(sorted(rule_sets()))


# --- the data ---


def test_facts_hold_every_share_and_quantities_hold_every_rule():
    with pytest.raises(UnknownName, match="fat_pct_of_finished"):
        Facts(fat_pct_of_product=20)
    for name, quantity in quantities().items():
        assert hasattr(Facts(), name) and set(quantity.needs) <= set(SHARES)
    for found in rule_sets().values():
        assert found.limits and all(
            rule.source in tables.sources() and rule.where for rule in found.limits
        )


def test_an_unknown_rule_set_or_class_offers_the_nearest():
    with pytest.raises(UnknownName, match="us_frankfurter"):
        rule_set("us_frankfuter")
    with pytest.raises(UnknownName, match="by-product"):
        portion(1, "byproduct")


# --- added water ---


@given(st.floats(30, 80), st.floats(5, 25), st.floats(0, 1))
def test_group_2_protein_within_the_allowance_changes_nothing(water, protein, group2):
    assert added_water_pct(water, protein, group2) == approx(water - 4 * protein, abs=1e-9)


def test_added_water_takes_arrays():
    water, group2 = np.array([[50.0], [58.0]]), np.array([0.0, 1.0, 2.5])
    grid = added_water_pct(water, 12, group2)
    assert grid.shape == (2, 3)
    for i in range(2):
        for j in range(3):
            assert grid[i, j] == added_water_pct(water[i, 0], 12, group2[j])


@given(bowls, yields, st.floats(0.01, 40))
def test_ice_never_lowers_added_water(bowl, cook_yield, more):
    before, after = bowl.facts(cook_yield), (bowl + more * ICE).facts(cook_yield)
    assert after.added_water_pct_of_finished > before.added_water_pct_of_finished


@given(bowls, st.floats(85, 99))
def test_losing_water_lowers_added_water_and_raises_fat(bowl, cook_yield):
    raw, cooked = bowl.facts(), bowl.facts(cook_yield)
    assert cooked.added_water_pct_of_finished < raw.added_water_pct_of_finished
    assert cooked.fat_pct_of_finished > raw.fat_pct_of_finished
    assert (
        cooked.binder_pct_of_batch == raw.binder_pct_of_batch
    )  # of what went in, whatever was lost


# --- verdicts ---


@given(bowls, yields, keys)
def test_every_verdict_follows_from_its_margin_and_names_its_source(bowl, cook_yield, key):
    for verdict in judge(bowl.facts(cook_yield), rule_set(key)):
        assert verdict.holds == (verdict.margin >= -1e-9 * max(1, verdict.limit.limit))
        assert (
            verdict.source
            and verdict.limit.status in tables.STATUSES
            and (verdict.limit.basis or verdict.limit.unit == "")
        )


def test_a_value_on_its_limit_holds_and_a_strict_limit_does_not():
    strict = read_rule_set({"rule_set": HEAD, "rule": [dict(RULE, comparison="below")]})
    on_limit = Facts(fat_pct_of_finished=30)
    assert judge(on_limit, rule_set("us_frankfurter"))[0].holds
    assert not judge(Facts(fat_pct_of_finished=30.001), rule_set("us_frankfurter"))[0].holds
    assert not judge(Facts(fat_pct_of_finished=25), strict)[0].holds
    assert judge(Facts(fat_pct_of_finished=24.999), strict)[0].holds


def test_what_is_not_known_is_not_judged_and_is_named():
    verdicts = judge(
        Facts(fat_pct_of_finished=28, water_pct_of_finished=55), rule_set("us_frankfurter")
    )
    assert verdicts[0].holds is True
    assert verdicts[1].holds is None and verdicts[1].value is None
    assert (
        "protein_pct_of_finished and group2_protein_pct_of_finished is not given"
        in verdicts[1].note
    )
    no_meat = portion(10, *MILK) + 10 * ICE
    shares = {v.limit.quantity: v for v in judge(no_meat.facts(), rule_set("us_frankfurter"))}
    assert shares["mechanically_separated_pct_of_meat_portion"].holds is None


def test_collagen_that_no_one_stated_is_not_known():
    assert isnan(frank().facts().collagen_pct_of_protein)
    stated = portion(50, "meat", 70, 20, 9, collagen=20) + portion(2, *MILK)
    assert stated.facts().collagen_pct_of_protein == approx(100 * 2 / (10 + 2 * 0.3616))


@pytest.mark.parametrize(
    "wrong, says",
    [
        (dict(fat_pct_of_finished=128), "between 0 and 100"),
        (dict(fat_pct_of_finished=-1), "between 0 and 100"),
        (dict(fat_pct_of_finished=float("nan")), "nan"),
        (
            dict(water_pct_of_finished=60, protein_pct_of_finished=20, fat_pct_of_finished=30),
            "add to 101 at most",
        ),
        (
            dict(protein_pct_of_finished=10, group2_protein_pct_of_finished=11),
            "more than all the protein",
        ),
    ],
)
def test_impossible_facts_are_refused(wrong, says):
    with pytest.raises(OutOfRange, match=says):
        Facts(**wrong)


@pytest.mark.parametrize(
    "cook_yield, says",
    [(0.92, "written 92"), (0, "between 1 and 120"), (30, "loses more water than the bowl holds")],
)
def test_impossible_yields_are_refused(cook_yield, says):
    with pytest.raises(OutOfRange, match=says):
        frank().facts(cook_yield)


def test_impossible_bowls_are_refused():
    with pytest.raises(OutOfRange, match="empty"):
        (0 * ICE).facts()
    with pytest.raises(OutOfRange, match="cooked already"):
        facts_of(cooked(frank().mix, 92))


# --- grids ---


def test_the_grid_equals_the_single_sheet():
    ice, lean = np.linspace(0, 50, 7)[:, None], np.linspace(10, 90, 5)[None, :]
    grid = (
        portion(lean, "meat", 69.5, 20, 10)
        + portion(100 - lean, "meat", 39, 10, 50)
        + ice * ICE
        + portion(3.5, *MILK)
    )
    for key in rule_sets():
        facts = grid.facts(92)
        for i in range(7):
            for j in range(5):
                one = (
                    portion(lean[0, j], "meat", 69.5, 20, 10)
                    + portion(100 - lean[0, j], "meat", 39, 10, 50)
                    + ice[i, 0] * ICE
                    + portion(3.5, *MILK)
                )
                for verdict in judge(one.facts(92), rule_set(key)):
                    margin = verdict.limit.margin(getattr(facts, verdict.limit.quantity))
                    assert np.broadcast_to(margin, (7, 5))[i, j] == approx(verdict.margin, abs=1e-9)


def test_a_share_of_nothing_is_nan_in_a_grid_and_a_missing_fact_is_none():
    meat = np.array([0.0, 10.0])
    found = (portion(meat, "meat", 70, 20, 9) + 5 * ICE).facts()
    assert np.isnan(found.mechanically_separated_pct_of_meat_portion).tolist() == [True, False]
    assert Facts(fat_pct_of_finished=np.array([28.0, 31.0])).phosphate_pct_of_finished is None


def test_judge_refuses_a_grid():
    with pytest.raises(OutOfRange, match="one sheet"):
        judge(Facts(fat_pct_of_finished=np.array([28.0, 31.0])), rule_set("us_frankfurter"))


# --- room left ---


def value_at(bowl, rule, cook_yield):
    return getattr(bowl.facts(cook_yield), rule.quantity)


@given(bowls, yields, keys, st.sampled_from(["ice", "backfat", "milk", "isolate", "chicken"]))
def test_the_room_put_in_lands_exactly_on_the_limit(bowl, cook_yield, key, what):
    material = {
        "ice": ICE,
        "backfat": BACKFAT,
        "milk": portion(1, *MILK),
        "isolate": portion(1, *ISOLATE),
        "chicken": portion(1, "poultry", 73, 19, 6),
    }[what]
    left = room_left(bowl.mix, rule_set(key), cook_yield, material.material)
    for room in left.rooms:
        if not isfinite(room.most_kg) or room.most_kg < 0 or room.most_kg > 1e4:
            continue
        full = bowl + room.most_kg * material
        if full.parts(cook_yield)["finished_water"] < 0:
            continue
        assert value_at(full, room.limit, cook_yield) == approx(room.limit.limit, rel=1e-9)
        assert not room.limit.holds(
            value_at(bowl + (room.most_kg + 0.01) * material, room.limit, cook_yield)
        )
        assert_pencil(room.working)
    assert left.most_kg == min(room.most_kg for room in left.rooms if not isnan(room.most_kg))


@given(
    bowls,
    yields,
    st.sampled_from([ICE, BACKFAT, portion(1, *ISOLATE)]),
    st.sampled_from(["at most", "at least"]),
    st.sampled_from(
        [
            "added_water_pct_of_finished",
            "fat_and_added_water_pct_of_finished",
            "protein_pct_of_finished",
        ]
    ),
    st.floats(5, 45),
)
def test_room_agrees_with_trying_every_amount(
    bowl, cook_yield, material, comparison, quantity, limit
):
    """Searches no formula: puts in 60 amounts and asks the verdict each time. Ceilings and floors, with the Group 2 kink inside the stretch."""
    rules = read_rule_set(
        {
            "rule_set": HEAD,
            "rule": [dict(RULE, quantity=quantity, comparison=comparison, limit=limit)],
        }
    )
    room = room_left(bowl.mix, rules, cook_yield, material.material).rooms[0]
    tried = [
        (x, rules.limits[0].holds(value_at(bowl + x * material, rules.limits[0], cook_yield)))
        for x in np.linspace(0, 60, 61)
        if (bowl + x * material).parts(cook_yield)["finished_water"] > 0
    ]
    if isnan(room.most_kg):
        assert not any(held for _, held in tried)
        return
    if comparison == "at most":  # a floor may be met on a second stretch further on
        assert all(x <= room.most_kg + 1e-6 for x, held in tried if held)
    for end, held in ((room.most_kg * (1 - 1e-6), True), (room.most_kg + 0.01, False)):
        if 0 <= end < 200 and (bowl + end * material).parts(cook_yield)["finished_water"] > 0:
            value = value_at(bowl + end * material, rules.limits[0], cook_yield)
            assert rules.limits[0].holds(value) is held, end


def test_a_floor_met_on_two_stretches_answers_for_the_one_that_holds_today():
    """A wet Group 2 material first lowers added water, and raises it once its protein is above the allowance."""
    rules = read_rule_set(
        {
            "rule_set": HEAD,
            "rule": [
                dict(
                    RULE, quantity="added_water_pct_of_finished", comparison="at least", limit=19.5
                )
            ],
        }
    )
    wet_gluten, bowl = portion(1, "other", 60, 30, 0), portion(100, "meat", 70, 18, 11) + 27 * ICE
    room = room_left(bowl.mix, rules, what=wet_gluten.material).rooms[0]
    held = {
        x: rules.limits[0].holds(value_at(bowl + x * wet_gluten, rules.limits[0], 100))
        for x in (0, room.most_kg, room.most_kg + 0.01, 400)
    }
    assert 0 < room.most_kg < 5 and list(held.values()) == [True, True, False, True]
    past = room_left(
        (bowl + (room.most_kg + 1) * wet_gluten).mix, rules, what=wet_gluten.material
    ).rooms[0]
    assert past.most_kg == approx(-1, rel=1e-6)  # back to the nearer stretch, not on to the far one


def test_too_much_ice_says_how_much_to_take_out():
    left = room_left(frank(ice_kg=45).mix, rule_set("us_frankfurter"))
    assert left.most_kg < 0 and left.first.quantity == "fat_and_added_water_pct_of_finished"
    assert value_at(frank(ice_kg=45 + left.most_kg), left.first, 100) == approx(40, rel=1e-9)


def test_a_rule_that_ice_cannot_mend_is_named():
    left = room_left(
        (portion(70, "meat", 65, 18, 16) + portion(30, "poultry", 73, 19, 6)).mix,
        rule_set("us_frankfurter"),
    )
    assert [room.limit.title for room in left.rooms if isnan(room.most_kg)] == ["poultry"]
    assert left.first.quantity == "fat_and_added_water_pct_of_finished"


def test_cook_loss_makes_room_for_ice_and_takes_room_for_fat():
    rules = rule_set("us_frankfurter")
    before, after = (room_left(frank().mix, rules, y) for y in (100, 92))
    assert after.most_kg > before.most_kg
    before, after = (
        next(r for r in left.rooms if r.limit.quantity == "fat_pct_of_finished")
        for left in (room_left(frank(ice_kg=20).mix, rules, y, BACKFAT.material) for y in (100, 92))
    )
    assert after.most_kg < before.most_kg


def test_ice_leaves_the_share_of_the_meats_alone():
    poultry = next(
        r
        for r in room_left(
            (frank() + portion(5, "poultry", 73, 19, 6)).mix, rule_set("us_frankfurter")
        ).rooms
        if r.limit.title == "poultry"
    )
    assert poultry.most_kg == inf


# --- a person's own rules ---

HEAD = {
    "key": "somewhere_frankfurter",
    "title": "Frankfurter of somewhere",
    "jurisdiction": "Somewhere",
    "product_kind": "frankfurter",
    "edition": "2024",
    "date_from": "2024-01-01",
    "source": "Food code of somewhere",
}
RULE = {
    "quantity": "fat_pct_of_finished",
    "comparison": "at most",
    "limit": 25,
    "where": "section 12",
    "status": "read",
}
TOML = """
[rule_set]
key = "somewhere_frankfurter"
title = "Frankfurter of somewhere"
jurisdiction = "Somewhere"
product_kind = "frankfurter"
edition = "2024"
date_from = 2024-01-01
source = "Food code of somewhere"
[[rule]]
quantity = "fat_pct_of_finished"
comparison = "<="
limit = "25 %"
where = "section 12"
status = "read"
[[rule]]
quantity = "meat_portion_pct_of_batch"
comparison = "at least"
limit = 60
status = "memory"
source = "an inspector"
"""


def test_own_rules_are_used_like_the_built_in_ones(tmp_path):
    (tmp_path / "own.toml").write_text(TOML, encoding="utf-8")
    from_toml = read_rule_set(tmp_path / "own.toml")
    assert from_toml == read_rule_set(TOML)
    fat, meat = judge(frank().facts(92), from_toml)
    assert (fat.holds, meat.holds) == (False, True)
    assert fat.source == "Food code of somewhere, section 12"
    assert meat.source == "an inspector (from memory, not checked against the source)"
    assert room_left(frank().mix, from_toml).first == from_toml.limit("meat_portion_pct_of_batch")


def test_every_fault_is_told_at_once_with_its_place():
    bad = {
        "rule_set": {**HEAD, "edtion": "x", "date_from": "spring"},
        "rule": [
            dict(RULE, quantity="fat_pct_of_finish"),
            dict(RULE, comparison="about"),
            dict(RULE, limit="12,5"),
            dict(RULE, limit=130, quantity="protein_pct_of_finished"),
            dict(RULE, quantity="water_pct_of_finished", unit="ppm"),
            dict(RULE, quantity="salt_pct_of_finished", basis="of all ingredients"),
            dict(RULE, quantity="cheese_pct_of_batch", status="certain"),
            dict(RULE, limit=26),
        ],
    }
    with pytest.raises(Faulty) as caught:
        read_rule_set(bad)
    said = {fault.field: str(fault) for fault in caught.value.faults}
    assert "nearest: edition" in said["rule_set edtion"]
    assert "no date" in said["rule_set date_from"]
    assert "nearest: fat_pct_of_finished" in said["rule 1 quantity"]
    assert "at most, below, at least, above" in said["rule 2 comparison"]
    assert "comma" in said["rule 3 limit"]
    assert "0 and 100" in said["rule 4 limit"]
    assert "or write %" in said["rule 5 unit"]
    assert "of the finished product" in said["rule 6 basis"]
    assert "memory" in said["rule 7 status"]
    assert "already" in said["rule 8"]
    assert len(caught.value.faults) == 10


@pytest.mark.parametrize(
    "text, says",
    [
        (TOML.replace("status", "state"), "nearest: status"),
        (TOML.replace("status", "state"), "status is empty"),
        (TOML.replace("somewhere_frankfurter", "us_frankfurter"), "one of the kit's own"),
        (TOML.replace("25 %", "-1"), "between 0 and 100"),
        (TOML.replace("25 %", "some"), "no number"),
        (TOML.replace("2024-01-01", '"2024-13"'), "no date"),
        ("[rule_set]\nkey = \n", "not TOML"),
        ("[rule_set]\nkey = 'x'\n", "write at least one"),
        (
            TOML.replace(
                'quantity = "meat_portion_pct_of_batch"', 'quantity = "fat_pct_of_finished"'
            ),
            "cannot be at least 60 and at most 25",
        ),
    ],
)
def test_faults_of_a_file_are_told(text, says):
    with pytest.raises(Faulty) as caught:
        read_rule_set(text)
    assert says in str(caught.value)


def test_files_that_cannot_be_read_say_why(tmp_path):
    for name, says in (("gone.toml", "cannot be opened"), ("rules.pdf", "ends in '.pdf'")):
        with pytest.raises(Faulty, match=says):
            read_rule_set(tmp_path / name)


def test_other_letters_are_read_by_the_one_opener(tmp_path):
    (tmp_path / "latin.toml").write_bytes(TOML.replace("Some", "Öster").encode("latin-1"))
    read = read_rule_set(tmp_path / "latin.toml")
    assert read.law.jurisdiction == "Österwhere" and "Windows Western" in read.note


def test_the_kits_own_rows_pass_the_check_of_a_persons_file():
    """Under other keys: an edited row of the data is held to what a person's file is held to."""
    rows = tables.read_rows("rules", "cooked_sausage.csv")
    for key, found in rule_sets().items():
        (head, *_), own = [r for r in rows if r["rule_set"] == key], {}
        names = {"title": "set_title", "note": "set_note"}
        for name in ("title", "jurisdiction", "product_kind", "edition", "date_from", "note"):
            own[name] = head[names.get(name, name)]
        limits = [
            {name: row[name] for name in RULE | {"source": "", "note": "", "title": ""}}
            for row in rows
            if row["rule_set"] == key
        ]
        again = read_rule_set({"rule_set": {"key": "copy", **own}, "rule": limits})
        assert [one.limit for one in again.limits] == [one.limit for one in found.limits]


def test_a_persons_file_may_limit_cure_too_and_both_are_judged_by_one_rule():
    """By hand: 0.25 kg of 6.25 % curing salt on 100 kg of meat is 156.25 mg/kg NaNO2, and as NO2 × 46.006 / 68.995."""
    nitrite = {
        "quantity": "nitrite ingoing",
        "comparison": "at most",
        "limit": 150,
        "unit": "mg/kg",
        "basis": "meat",
        "as_salt": "NaNO2",
        "status": "read",
    }
    own = read_rule_set({"rule_set": HEAD, "rule": [RULE, nitrite]})
    found = cure.dose((cure.CureLine(premix("US curing salt, 6.25 % nitrite"), 0.25),), 100, 130)
    fat, salt = judge_dose(found, own.limits)
    assert fat.holds is None and "from the mix" in fat.note
    assert salt.holds is False and salt.value == approx(156.25) and salt.margin == approx(-6.25)
    fat, salt = judge(frank().facts(), own)
    assert fat.holds is False and salt.holds is None and "from a dose" in salt.note
    assert type(fat) is type(salt) and "Somewhere (2024): nitrite ingoing at most 150" in str(
        salt.limit.in_words
    )
    for slip, says in (("unit", "mg/kg"), ("basis", "finished"), ("as_salt", "NaNO2")):
        with pytest.raises(Faulty, match=says):
            read_rule_set({"rule_set": HEAD, "rule": [nitrite | {slip: "?"}]})


def test_a_limit_is_said_in_no_more_figures_than_law_is_written_in():
    """0.875 oz and 2.75 oz in 100 lb of meat are 546.875 and 1718.75 mg/kg."""
    said = {
        one.amount
        for one in limits_for("US")
        if one.quantity in ("nitrate ingoing", "sodium erythorbate")
    }
    assert said >= {"at most 547 mg/kg", "at most 1719 mg/kg"}


def test_a_missing_field_of_the_set_is_said_once():
    with pytest.raises(Faulty) as caught:
        read_rule_set(
            {
                "rule_set": {k: v for k, v in HEAD.items() if k != "jurisdiction"},
                "rule": [RULE, dict(RULE, quantity="salt_pct_of_finished")],
            }
        )
    assert [fault.field for fault in caught.value.faults] == ["rule_set jurisdiction"]

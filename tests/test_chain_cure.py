"""The cure of a whole sheet: which line is what, what is weighed."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.chain.cure import bowl_weighed_kg, cure_line, cure_of, scale_of
from kit.chain.follow import follow
from kit.cure import mistakes
from kit.cure.premix import premix
from kit.errors import Faulty, UnknownName
from kit.reading import read_sheet
from kit.rules.limits import editions
from kit.tables import data_path

MEAT = {"name": "pork trim 80", "amount": "50 kg"}
ICE = {"name": "ice", "amount": "15 kg"}
SALT = {"name": "salt", "amount": "1.3 kg"}
CURE = {"name": "cure", "nitrite_pct": 6.25, "amount": "2.4 g/kg of meat"}


def sheet(*lines, **process):
    return read_sheet({"name": "t", "line": list(lines), "process": process})


def demo():
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


def test_the_demo_sheet_is_on_the_ceiling_and_raises_no_alarm():
    found = cure_of(demo(), 90)
    assert found.dose.ppm_of_meat == pytest.approx(156.25) and found.dose.cure_kg == pytest.approx(
        0.18
    )
    assert found.findings.ok and not found.broken and not found.withheld
    assert {w.name for w in found.weights} == {
        line.name for line in demo().lines if line.kind not in ("meat", "ice")
    }
    low, high = found.interval_ppm_of_meat
    assert low < 156.25 < high and found.scale_may_pass_ceiling
    assert_pencil(found.working)


def test_four_names_are_the_same_grams():
    found = cure_of(sheet(MEAT, ICE, SALT, CURE), 60)
    d = found.dose
    assert (
        d.ppm("meat") * d.meat_kg
        == pytest.approx(d.ppm("batch") * d.batch_kg)
        == pytest.approx(d.ppm("finished") * 60)
    )


@pytest.mark.parametrize(
    "label",
    [
        {"nitrite_pct": 6.25},
        {"nitrite_pct": 0.5, "nitrate_pct": 0.4},
        {"nitrate_pct": 2.0},
        {"nitrite_pct": 100.0},
    ],
)
def test_a_cure_is_what_its_label_says_and_the_rest_is_salt(label):
    found = cure_line(sheet(MEAT, {"name": "own", "amount": "100 g", **label}).lines[1])
    assert (found.premix.nitrite_pct, found.premix.nitrate_pct) == (
        label.get("nitrite_pct", 0),
        label.get("nitrate_pct", 0),
    )
    assert found.premix.salt_pct == pytest.approx(100 - sum(label.values())) and found.kg == 0.1


def test_a_sheet_never_brings_a_cure_of_unknown_strength():
    with pytest.raises(Faulty, match="never guessed"):
        sheet(
            MEAT,
            {
                "name": "celery powder",
                "kind": "cure",
                "moisture_pct": 5,
                "protein_pct": 10,
                "fat_pct": 1,
                "ash_pct": 40,
                "carbohydrate_pct": 44,
                "amount": "200 g",
            },
        )


@pytest.mark.parametrize(
    "line", [{"name": "celery powder", "kind": "cure"}, {"name": "celery powder"}, {"name": "cure"}]
)
def test_a_cure_without_strength_asks_for_label_or_assay_and_offers_no_other_ingredient(line):
    with pytest.raises(Faulty, match="assay of this lot|which strength") as caught:
        sheet(MEAT, {**line, "amount": "200 g"})
    assert "nearest" not in str(caught.value)


def test_two_sources_of_nitrite_are_named():
    blend = {"name": "blend with cure", "kind": "cure", "nitrite_pct": 0.75, "amount": "1 kg"}
    alone, both = cure_of(sheet(MEAT, ICE, blend), 60), cure_of(sheet(MEAT, ICE, CURE, blend), 60)
    assert alone.dose.ppm_of_meat == pytest.approx(150) and alone.findings.ok
    assert both.findings.stop and both.findings.explanations[0].key == "added_twice"


def test_pure_nitrite_by_hand_is_refused():
    found = cure_of(
        sheet(
            MEAT,
            ICE,
            SALT,
            {"name": "sodium nitrite", "nitrite_pct": 100, "amount": "7.5 g"},
            scale_step_g=0.01,
        ),
        60,
    )
    assert [a.key for a in found.findings.alarms] == ["pure_by_hand"] and found.withheld


def test_no_cure_at_all_stops():
    found = cure_of(sheet(MEAT, ICE, SALT, scale_step_g=1), 60)
    assert (
        [a.key for a in found.findings.alarms] == ["forgotten"]
        and found.withheld
        and found.interval_ppm_of_meat is None
    )


def test_above_the_ceiling_no_weight_is_given_and_the_slip_is_named():
    found = cure_of(
        sheet(
            MEAT, ICE, SALT, CURE | {"amount": "20 g/kg of meat"}, scale_step_g=1, scale_sd_g=0.5
        ),
        60,
    )
    assert (
        found.dose.ppm_of_meat == pytest.approx(1250)
        and found.weights == ()
        and "1250 ppm" in found.withheld
    )
    assert found.findings.explanations[0].key == "other_premix"
    assert not found.scale_may_pass_ceiling


def test_without_a_scale_the_list_is_withheld_and_says_what_to_write():
    found = cure_of(sheet(MEAT, ICE, SALT, CURE), 60)
    assert (
        "scale_step_g" in found.withheld
        and found.findings.ok
        and scale_of(sheet(MEAT, ICE, SALT, CURE)) is None
    )
    assert any(
        "scale_sd_g" in note
        for note in cure_of(sheet(MEAT, ICE, SALT, CURE, scale_step_g=1), 60).notes
    )


def test_a_phosphate_or_accelerator_over_its_limit_withholds_the_list():
    stpp = {"name": "sodium tripolyphosphate", "amount": "0.6 % of batch"}
    found = cure_of(sheet(MEAT, ICE, SALT, CURE, stpp, scale_step_g=1), 60)
    assert [v.limit.key for v in found.broken] == ["us_phosphate"] and "phosphate" in found.withheld


def test_rework_of_the_same_recipe_changes_no_ppm():
    rework = {"name": "rework", "composition": "same recipe", "amount": "6 kg"}
    without, with_it = (
        cure_of(sheet(MEAT, ICE, SALT, CURE, *more), kg)
        for more, kg in (((), 60.0), ((rework,), 60.0 * (1 + 6 / 66.42)))
    )
    for basis in ("meat", "batch", "finished"):
        assert with_it.dose.ppm(basis) == pytest.approx(without.dose.ppm(basis), rel=1e-6)
    assert with_it.raw.brine_pct == pytest.approx(without.raw.brine_pct, rel=1e-6)
    assert any("rework" in note for note in with_it.notes)


def test_cure_counts_as_salt_in_the_brine():
    weak = {"name": "curing salt 0.6 %", "nitrite_pct": 0.6, "amount": "1.2 kg"}
    found = cure_of(sheet(MEAT, ICE, SALT, weak), 60)
    assert found.raw.salt_kg == pytest.approx(1.3 * 0.998 + 1.2 * 0.994, rel=1e-6)
    assert found.finished.brine_pct > found.raw.brine_pct and found.finished.aw < found.raw.aw


def test_a_brine_that_cannot_be_leaves_a_note_and_nothing_else_out():
    found = cure_of(sheet(MEAT, ICE, SALT | {"amount": "30 kg"}, CURE), 90)
    assert (
        found.raw is None
        and found.finished is None
        and any("no brine before the cook" in note for note in found.notes)
    )
    assert found.dose.ppm_of_meat == pytest.approx(150)


def test_the_bowl_is_compared_only_when_asked():
    weighed = demo()
    bowl = bowl_weighed_kg(weighed)
    assert bowl == pytest.approx(100)
    assert cure_of(weighed, 90, bowl_kg=bowl).findings.ok
    assert [a.key for a in cure_of(weighed, 90, bowl_kg=bowl * 0.4536).findings.alarms] == [
        "bowl_differs"
    ]
    assert bowl_weighed_kg(sheet(MEAT, ICE, CURE)) is None


def test_rules_of_other_places_and_days():
    s = sheet(MEAT, ICE, SALT, CURE | {"amount": "3.3 g/kg of meat"})
    assert cure_of(s, 60).findings.stop  # 206 ppm of the meat
    assert cure_of(
        s, 60, "EU", date(2025, 1, 15)
    ).findings.stop  # 155 of the batch, and 150 were allowed
    s = sheet(MEAT, ICE, SALT, CURE | {"amount": "3.1 g/kg of meat"})
    assert cure_of(s, 60, "EU", date(2025, 1, 15)).findings.ok  # 146 of the batch
    assert cure_of(
        s, 60, "EU", date(2026, 1, 15)
    ).findings.stop  # 97 as the ion, and 80 are allowed
    with pytest.raises(UnknownName, match="nearest"):
        cure_of(s, 60, "Atlantis")


@given(seed=st.integers(0, 10_000))
def test_an_ordinary_plan_written_as_a_sheet_gives_the_same_dose_and_no_alarm(seed):
    plan = mistakes.ordinary(seed)
    place = plan.limits[0].jurisdiction
    day = next(one.on for one in editions().values() if one.limits == plan.limits)
    cure = plan.cure[0]
    rest = plan.batch_kg - plan.meat_kg - cure.kg
    written = sheet(
        {"name": "pork trim 80", "amount": f"{plan.meat_kg!r} kg"},
        {"name": "ice", "amount": f"{rest!r} kg"},
        {
            "name": "cure",
            "nitrite_pct": premix(cure.premix.name).nitrite_pct,
            "amount": f"{cure.kg!r} kg",
        },
    )
    found = cure_of(written, plan.finished_kg or 0.9 * plan.batch_kg, place, day)
    assert found.dose.nitrite_kg == pytest.approx(cure.nitrite_kg, rel=1e-9)
    assert found.dose.batch_kg == pytest.approx(plan.batch_kg, rel=1e-9)
    if plan.finished_kg:
        assert found.findings.ok


def test_a_slip_inside_the_range_shows_against_the_target_on_the_sheet():
    """The rate calculated on the batch in place of the meat stays inside the range: only the target tells."""
    wanted = {"nitrite_target_ppm": 150}
    ordinary = sheet(MEAT, ICE, SALT, CURE, **wanted)
    slipped = sheet(MEAT, ICE, SALT, {**CURE, "amount": "1.9 g/kg of meat"}, **wanted)
    assert cure_of(ordinary, 60).findings.ok
    assert "off_target" in [a.key for a in cure_of(slipped, 60).findings.alarms]
    assert "off_target" not in [
        a.key
        for a in cure_of(
            sheet(MEAT, ICE, SALT, {**CURE, "amount": "1.9 g/kg of meat"}), 60
        ).findings.alarms
    ]


def test_another_bag_and_an_unread_blend_are_told_from_the_sheet():
    other_bag = cure_of(sheet(MEAT, ICE, SALT, {**CURE, "bag_nitrite_pct": 0.6}), 60)
    assert other_bag.findings.alarms and any("bag" in a.key for a in other_bag.findings.alarms)
    unread = cure_of(
        sheet(
            MEAT,
            ICE,
            SALT,
            CURE,
            {"name": "spice, generic", "amount": "0.3 kg", "cure_label_read": "no"},
        ),
        60,
    )
    read = cure_of(
        sheet(
            MEAT,
            ICE,
            SALT,
            CURE,
            {"name": "spice, generic", "amount": "0.3 kg", "cure_label_read": "yes"},
        ),
        60,
    )
    assert unread.findings.alarms and not read.findings.alarms


def test_the_sheet_chooses_whose_limits_hold_and_a_call_may_override():
    """155 ppm of the meat passes in the US; the EU ceiling, as ion of the batch, does not let this batch have it."""
    lines = (
        {"name": "pork trim 80", "amount": "70 kg"},
        {"name": "ice", "amount": "20 kg"},
        {"name": "cure", "nitrite_pct": 6.25, "amount": "174 g"},
    )
    assert not cure_of(sheet(*lines), 80).findings.stop
    assert cure_of(sheet(*lines, cure_rule="EU"), 80).findings.stop
    assert not cure_of(sheet(*lines, cure_rule="EU"), 80, "US").findings.stop


def test_a_list_at_the_limit_is_given_on_a_scale_of_whole_grams():
    """7/8 oz per 100 lb of erythorbate on meat blocks of 1 to 200 kg, a scale of 1 g: 90 of the 200 lists were withheld for rounding up."""
    withheld = [
        kg
        for kg in range(1, 201)
        if cure_of(
            sheet(
                {"name": "pork trim 80", "amount": f"{kg} kg"},
                ICE,
                {**CURE, "amount": "2.5 g/kg of meat"},
                {"name": "sodium erythorbate", "amount": f"{kg * 0.875 / 1600 * 1000} g"},
                scale_step_g=1,
            ),
            kg + 10,
        ).withheld
    ]
    assert withheld == []


def test_the_summary_says_when_a_weigh_list_is_withheld_and_why():
    bare = str(follow(sheet(MEAT, ICE, SALT, CURE)))
    assert "weigh list withheld: the sheet names no scale" in bare
    phosphate = str(
        follow(
            sheet(
                MEAT,
                ICE,
                SALT,
                CURE,
                {"name": "sodium tripolyphosphate", "amount": "1 kg"},
                scale_step_g=1,
            )
        )
    )
    assert (
        "weigh list withheld" in phosphate
        and "phosphate at most 0.5 %" in phosphate
        and "STOP" not in phosphate
    )
    assert "withheld" not in str(follow(demo()))


def test_a_scale_has_one_interval_for_one_dose():
    """The sum and the weigh list speak of the same reading: 4 g where 4.48 g were wanted."""
    line = {"name": "own cure", "kind": "cure", "nitrite_pct": 6.25, "amount": "4.48 g"}
    found = cure_of(sheet({**MEAT, "amount": "2 kg"}, line, scale_step_g=1, scale_sd_g=0.25), 1.8)
    (weight,) = found.weights
    assert weight.reading_g == 4
    assert found.interval_ppm_of_meat == pytest.approx(weight.ppm_of_meat)


def test_a_target_on_the_sheet_is_not_denied():
    lines = (
        MEAT,
        {"name": "own cure", "kind": "cure", "nitrite_pct": 6.25, "amount": "2.24 g/kg of meat"},
    )
    said = "no target is on the sheet"
    assert any(said in note for note in cure_of(sheet(*lines, scale_step_g=0.1), 45).notes)
    aimed = cure_of(sheet(*lines, scale_step_g=0.1, nitrite_target_ppm=140), 45)
    assert aimed.findings.ok and not any(said in note for note in aimed.notes)


def test_the_weigh_table_says_where_a_limit_decided_the_rounding():
    from kit.lab.panels.cure.pieces import weigh_table

    lines = (
        {"name": "pork trim 80", "amount": "7 kg"},
        SALT,
        {**CURE, "amount": "2.4 g/kg of meat"},
        {"name": "sodium erythorbate", "amount": "3.7 g"},
    )
    shown = {
        row.cells[0]: row.cells[4]
        for row in weigh_table(cure_of(sheet(*lines, scale_step_g=1), 8), "metric").rows
    }
    assert (
        shown["sodium erythorbate"] == "−18.9 %; rounded down to stay within its limit"
        and "rounded" not in shown["salt"]
    )

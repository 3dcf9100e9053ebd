"""From a sheet to its cook: what is read off the sheet, what is asked for, and that the parts add up."""

import re
import time
from datetime import date
from pathlib import Path

import psychrolib
import pytest
from pencil import assert_pencil

from kit import follow
from kit.chain.casing import makeup_of
from kit.chain.cook import (
    cook_of,
    link_of,
    nitrite_ppm_of,
    product_of,
    schedule_of,
    strictest,
    with_wet_bulb,
)
from kit.chain.cook_unsure import at_air
from kit.cook.moist_air import vapour_pressure_Pa
from kit.errors import Faulty, KitError, OutOfRange
from kit.lab.panels.cook.pieces import rough_air_rows
from kit.lab.panels.sheets import demo_sheet
from kit.meat_block import compose
from kit.properties.mixture import cp_J_per_kgK
from kit.reading import read_sheet
from kit.sheet import CookStep
from kit.tables import value


def sheet_with(**cook):
    """The demo sheet with one cook step, and no chill."""
    data = demo_sheet().as_dict()
    data["cook"] = [{"kind": "dry", "duration_min": 30, **cook}]
    data["process"] = {
        key: part for key, part in data["process"].items() if not key.startswith("chill")
    }
    return read_sheet(data)


@pytest.fixture(scope="module")
def answer():
    return cook_of(demo_sheet(), 1.0, 0.5)


def test_the_yield_is_what_is_left_of_water_and_batter(answer):
    """Released water evaporates at the surface: it is not added to what evaporates (fails on a sum of the two)."""
    assert (
        answer.loss.cooked_chilled_yield_pct == pytest.approx(100 - answer.cooked.lost_pct - 0.5)
        and answer.loss.drip_pct == 0
    )
    assert cook_of(demo_sheet()).loss.cooked_chilled_yield_pct == pytest.approx(
        answer.loss.cooked_chilled_yield_pct + 0.5, abs=0.2
    )
    assert answer.loss.evaporated_pct == pytest.approx(
        sum(stage.lost_pct for stage in answer.cooked.stages)
    )
    assert any("not counted" in note for note in cook_of(demo_sheet()).notes)
    wet = cook_of(demo_sheet(), 20.0, 1.0).loss
    assert wet.drip_pct == pytest.approx(
        value("cook_drip_share") * (20 - wet.evaporated_smokehouse_pct)
    )
    for released, fat in ((-1, 0), (101, 0), (5, 99), (5, -1)):
        with pytest.raises(OutOfRange):
            cook_of(demo_sheet(), released, fat)


def test_the_working_can_be_redone(answer):
    assert_pencil(answer.working)
    assert answer.working[-1].answer == pytest.approx(answer.loss.cooked_chilled_yield_pct)
    assert len(answer.sources) > 5


def test_the_link_has_the_sheet_s_size_and_the_batter_s_heat():
    sheet = demo_sheet()
    link = link_of(sheet)
    assert link.diameter_mm == sheet.process.stuffed_mm
    assert link.start_C == sheet.process.chop_end_C
    middle = (link.start_C + sheet.process.core_target_C) / 2
    assert link.heat_capacity_J_per_kgK == pytest.approx(
        float(cp_J_per_kgK(makeup_of(compose(sheet.materials, sheet.kg)), middle))
    )
    assert link_of(sheet, start_C=5).start_C == 5
    lean = sheet.with_amounts({"pork trim, fat half": "5 kg"})
    assert (
        link_of(lean).heat_capacity_J_per_kgK > link.heat_capacity_J_per_kgK
        and link_of(lean).conductivity_W_per_mK > link.conductivity_W_per_mK
    )


def test_every_kind_of_step_and_chill_becomes_a_stage():
    moist = {"dry_bulb_C": 70, "wet_bulb_C": 50}
    found = {
        kind: schedule_of(sheet_with(kind=kind, **more))[0]
        for kind, more in {
            "dry": moist,
            "smoke": moist,
            "hold": moist,
            "steam": {"dry_bulb_C": 78},
            "hot water": {"dry_bulb_C": 78},
            "shower": {"dry_bulb_C": 12},
        }.items()
    }
    assert all(stage.minutes == 30 for stage in found.values())
    assert (
        found["steam"].humidity_pct == pytest.approx(100, abs=1e-6)
        and found["hot water"].vapour_Pa is None
        and found["shower"].medium == "water"
    )
    assert found["dry"].wet_bulb_C == pytest.approx(50, abs=0.01) and found["dry"].emissivity > 0
    for medium, warm in (
        ("shower", value("cook_shower_C")),
        ("brine", value("cook_brine_C")),
        ("ice water", value("cook_ice_bath_C")),
        ("cold air", value("cook_fridge_C")),
    ):
        last = schedule_of(demo_sheet().with_process(chill_medium=medium, chill_min=40))[-1]
        assert last.minutes == 40 and last.medium_C == warm


@pytest.mark.parametrize("kind", ["dry", "smoke", "hold"])
def test_air_of_which_nobody_says_how_moist_it_is_is_asked_about(kind):
    with pytest.raises(
        OutOfRange, match=f"cook step 1 .{kind}. does not say how moist.*wet_bulb_C or rh_pct"
    ):
        schedule_of(sheet_with(kind=kind, dry_bulb_C=70))


def test_a_sheet_without_cook_steps_is_refused():
    bare = demo_sheet().as_dict()
    del bare["cook"]
    with pytest.raises(OutOfRange, match="plans no cook step"):
        cook_of(read_sheet(bare))


def test_a_plastic_casing_keeps_its_water():
    found = cook_of(demo_sheet().with_process(casing="plastic"))
    assert found.loss.evaporated_pct == 0 and "plastic" in " ".join(found.notes)


def test_what_is_assumed_is_said():
    found = cook_of(
        demo_sheet().with_process(
            stuffed_mm=None, core_target_C=None, chop_end_C=None, chill_medium=None
        )
    )
    said = " ".join(found.notes)
    assert all(
        word in said
        for word in (
            "No stuffed diameter",
            "No core target",
            "No temperature at the start",
            "No chill",
        )
    )
    assert all(f.met is None or f.met is False for f in found.cooling)


def test_the_meat_tables_never_speak_for_poultry():
    sheet = demo_sheet()
    assert product_of(sheet) == "meat" and cook_of(sheet).lethality.what.startswith(
        "time-temperature table for meat"
    )
    data = sheet.as_dict()
    data["line"].append({"name": "chicken ground", "amount": "2 kg"})
    mixed = read_sheet(data)
    assert product_of(mixed) == "other poultry"
    found = cook_of(mixed)
    assert (
        "chicken and turkey of 12 % fat, 7 log" in found.lethality.what
        and "12 % fat is used" in " ".join(found.notes)
    )
    with pytest.raises(KitError):
        strictest("fish", 20)
    data["line"] = [
        line
        for line in data["line"]
        if line["name"] == "chicken ground" or line["name"] in ("ice", "salt")
    ]
    assert product_of(read_sheet(data)) == "chicken"


@pytest.mark.parametrize(
    "name", ["chicken skin", "turkey liver", "mechanically deboned turkey frames", "chicken fat"]
)
def test_any_poultry_at_all_leaves_the_meat_tables(name):
    """Skin, fat and organs of a bird are poultry, however little."""
    data = demo_sheet().as_dict()
    data["line"].append({"name": name, "amount": "10 g"})
    mixed = read_sheet(data)
    assert product_of(mixed) == "other poultry" and "7 log" in cook_of(mixed).lethality.what


def test_nitrite_of_the_sheet_opens_the_slow_windows():
    sheet = demo_sheet()
    cure = next(line for line in sheet.lines if line.kind == "cure")
    assert (
        nitrite_ppm_of(sheet) == pytest.approx(cure.kg * 1e4 * cure.nitrite_pct / sheet.meat_kg)
        and nitrite_ppm_of(sheet) > 100
    )
    assert any("slow" in f.what for f in cook_of(sheet).cooling)


def test_a_plan_is_compared_with_the_editions_of_a_day():
    old, new = cook_of(demo_sheet(), on=date(2022, 12, 13)), cook_of(demo_sheet())
    assert (
        old.lethality.published.edition == "1999 text"
        and new.lethality.published.edition == "December 2021"
        and old.lethality.margin == new.lethality.margin
    )
    assert [any("in one window" in f.what for f in answer.cooling) for answer in (old, new)] == [
        True,
        False,
    ]
    assert (
        follow(demo_sheet(), on=date(2022, 12, 13)).cook.lethality.published.edition == "1999 text"
    )


def test_the_printed_row_is_met_by_the_computed_core(answer):
    """The row and the margin again, from the trace itself."""
    import numpy as np

    row = next(
        r
        for r in strictest("meat", 26)[0].rows
        if f"row {r.temperature_F:g} °F" in answer.lethality.what
    )
    fine = np.linspace(0, answer.cooked.minutes[-1], 200_001)
    above = np.interp(fine, answer.cooked.minutes, answer.cooked.core_C) >= row.temperature_C
    assert above.mean() * answer.cooked.minutes[-1] == pytest.approx(
        answer.lethality.found, abs=0.01
    )
    assert answer.lethality.margin == pytest.approx(answer.lethality.found - row.hold_s / 60)


def test_a_cold_cook_meets_no_row_and_says_so():
    cold = cook_of(sheet_with(dry_bulb_C=52, rh_pct=90))
    assert (
        cold.lethality.met is False
        and cold.cooked.targets[0].minutes is None
        and cold.p70.minutes == 0
    )
    assert any("never reaches" in note for note in cold.notes)


def test_a_shifted_wet_bulb_stays_possible():
    house = schedule_of(demo_sheet())
    for stage in house[:3]:
        assert with_wet_bulb(
            stage, 3 if stage.wet_bulb_C + 3 < stage.medium_C else 0.5
        ).wet_bulb_C == pytest.approx(
            stage.wet_bulb_C + (3 if stage.wet_bulb_C + 3 < stage.medium_C else 0.5), abs=0.01
        )
        assert with_wet_bulb(stage, 90).humidity_pct == pytest.approx(100, abs=0.01)
    assert with_wet_bulb(house[-1], 5) is house[-1] and with_wet_bulb(house[0], 0) is house[0]
    losses = [cook_of(_wet(demo_sheet(), wet)).loss.evaporated_pct for wet in (30, 40, 50)]
    assert losses == sorted(losses, reverse=True)


def _wet(sheet, wet_bulb_C):
    data = sheet.as_dict()
    data["cook"] = [
        dict(step) | ({"wet_bulb_C": wet_bulb_C} if "wet_bulb_C" in step else {})
        for step in data["cook"]
    ]
    return read_sheet(data)


def test_a_whole_cook_is_quick(answer):
    """Processor time, best of five, so that a busy machine does not matter; the promise is 25 ms."""
    took = []
    for _ in range(5):
        start = time.process_time()
        again = cook_of(demo_sheet(), 1.0, 0.5)
        took.append(time.process_time() - start)
    assert again.loss == answer.loss
    assert min(took) < 0.06


def test_a_brine_chill_of_a_sheet_counts_its_ice_and_says_so():
    sheet = demo_sheet()
    found = cook_of(sheet.with_process(chill_medium="brine", chill_min=30))
    assert -3.5 < found.cooked.core_C[-1] < -1.7 and any(
        "the surface freezes" in note for note in found.notes
    )
    assert found.cooked.link.batter == makeup_of(compose(sheet.materials, sheet.kg))
    assert not any(
        "freezes" in note
        for note in cook_of(sheet.with_process(chill_medium="brine", chill_min=0.5)).notes
    )


KITCHEN = Path(__file__).parents[1] / "data" / "demo" / "teaching_kitchen.toml"


def test_the_teaching_kitchen_follows_and_says_that_it_is_invented():
    sheet = read_sheet(KITCHEN)
    assert "Invented" in sheet.note and sheet.batch_kg == pytest.approx(3.0, abs=0.15)
    followed = follow(sheet)
    answer = followed.cook
    assert "air known only roughly" in str(followed)
    assert 0.1 < answer.rested_pct < answer.loss.evaporated_pct
    assert f"{answer.rested_pct:.1f} % evaporates; weigh stage 'rest'" in str(followed)
    assert answer.cooked.targets[0].reached


def kitchen(**changes):
    """The teaching kitchen with other figures of its cooker."""
    text = KITCHEN.read_text(encoding="utf-8")
    for name, new in changes.items():
        text = re.sub(rf"^{name} = (105|115|130|60)$", f"{name} = {new}", text, flags=re.M)
    return read_sheet(text)


def test_rough_air_is_an_interval_round_the_middle():
    answer = follow(kitchen(air_low_C=112, air_high_C=118)).cook
    unsure = answer.unsure
    assert unsure.soonest_min < answer.cooked.targets[0].minutes < unsure.latest_min
    assert unsure.evaporated_low_pct < answer.cooked.lost_pct < unsure.evaporated_high_pct


def test_a_core_that_the_coolest_air_never_gets_there_is_said():
    followed = follow(kitchen())
    unsure = followed.cook.unsure
    assert unsure.soonest_min and unsure.latest_min is None
    assert "not reached in the coolest" in str(followed)
    assert "not reached" in rough_air_rows(followed.cook, "metric")[0][2]


@pytest.mark.parametrize("moist", [{"rh_pct": 12.0}, {"wet_bulb_C": 60.0}])
def test_hotter_or_cooler_air_holds_the_same_vapour(moist):
    """Psychrometry: warming air adds no water. Held against PsychroLib's vapour pressure."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    step = CookStep(kind="charcoal cooker", duration_min=60.0, dry_bulb_C=115.0, **moist)
    vapour = vapour_pressure_Pa(115.0, humidity_pct=step.rh_pct, wet_bulb_C=step.wet_bulb_C)
    for air_C in (100.0, 115.0, 140.0):
        moved = at_air(step, air_C)
        ratio = psychrolib.GetHumRatioFromTWetBulb(air_C, moved.wet_bulb_C, 101_325)
        found = psychrolib.GetVapPresFromHumRatio(ratio, 101_325)
        assert found == pytest.approx(vapour, rel=0.01)  # two fits of the saturation curve


def test_air_cooled_below_its_dew_point_is_saturated():
    step = CookStep(kind="gas cooker", duration_min=60.0, dry_bulb_C=90.0, rh_pct=95.0)
    assert at_air(step, 60.0).wet_bulb_C == pytest.approx(60.0)


@pytest.mark.parametrize(
    "old, new, says",
    [
        ("air_low_C = 105\n", "", "needs air_low_C and air_high_C"),
        ("air_low_C = 105", "air_low_C = 120", "dry_bulb_C between"),
        ('"charcoal cooker"', '"smoke"', "for a covered cooker"),
    ],
)
def test_a_faulty_range_of_the_air_is_named(old, new, says):
    text = KITCHEN.read_text(encoding="utf-8").replace(old, new)
    with pytest.raises(Faulty, match=says):
        read_sheet(text)

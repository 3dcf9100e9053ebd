"""What a sheet already says: nothing is invented, a usual plan is no evidence, a weight or a probe is, and the modules' numbers are their own."""

import pytest
from pencil import assert_pencil

from kit.chain import follow
from kit.chain.chop import chop_of
from kit.chain.diagnosis import MEASURED, PLANNED, WEIGHED, WORKED_OUT, best_end_C, evidence_of
from kit.chain.emulsion import described
from kit.cure.dose import nitrite_ppm
from kit.diagnosis import diagnose
from kit.diagnosis.catalogue import catalogue
from kit.emulsion.parameters import defaults
from kit.errors import OutOfRange
from kit.reading import read_sheet
from kit.tables import data_path

BARE = {
    "name": "bare",
    "line": [
        {
            "name": "my meat",
            "kind": "meat",
            "species": "pork",
            "moisture_pct": 60,
            "protein_pct": 17,
            "fat_pct": 22,
            "ash_pct": 1,
            "amount": "80 kg",
        },
        {"name": "ice", "amount": "20 kg"},
    ],
}


@pytest.fixture(scope="module")
def demo():
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


def one(evidence, key):
    return next(told for told in evidence.told if told.reading.key == key)


def bare(**more):
    return read_sheet(BARE | more)


def test_a_silent_sheet_tells_nothing_but_that_it_holds_no_cure():
    found = evidence_of(bare())
    assert [told.reading.key for told in found.told] == ["nitrite_ppm"]
    assert (
        found.readings == {"nitrite_ppm": 0.0}
        and one(found, "nitrite_ppm").how == "no cure line on the sheet"
    )
    assert {reading.key for reading, _ in found.silent} == set(catalogue().readings) - {
        "nitrite_ppm"
    }
    assert all(ask for _, ask in found.silent)


def test_every_reading_is_told_once_or_silent(demo):
    for extra in ({}, {"end_C": 16.0, "core_C": 72.0, "chop_min": 10.0}, {"usual": demo}):
        found = evidence_of(demo, **extra)
        keys = [told.reading.key for told in found.told] + [
            reading.key for reading, _ in found.silent
        ]
        assert sorted(keys) == sorted(catalogue().readings)
        assert_pencil(found.working)


def test_a_usual_plan_is_no_evidence_and_an_unusual_one_is(demo):
    core = one(evidence_of(demo), "core_C")
    assert (core.origin, core.counts) == (PLANNED, False) and "does not show" in core.why
    hot = one(evidence_of(demo.with_process(core_target_C=85.0)), "core_C")
    assert hot.counts and hot.unusual and hot.word == "high"
    assert not one(evidence_of(demo), "nitrite_ppm").counts, (
        "cure on paper does not show that it went into the bowl"
    )


def test_what_is_measured_goes_before_the_plan(demo):
    found = evidence_of(demo, end_C=19.0, core_C=60.0, chop_min=14.0)
    end = one(found, "end_over_best_K")
    best = defaults().fats["soft pork"].best_end_C
    assert (end.origin, end.counts, end.value) == (MEASURED, True, pytest.approx(19.0 - best))
    assert one(found, "chop_time_pct").value == pytest.approx(100 * 14 / demo.process.chop_min)
    assert one(found, "core_C").word == "low"
    assert {"end_over_best_K", "chop_time_pct", "core_C"} <= {
        told.reading.key for told in found.unusual
    }


def test_the_chop_room_makes_the_worked_out_end(demo):
    sheet = demo.with_process(chop_end_C=None)
    told = one(evidence_of(sheet), "end_over_best_K")
    assert told.origin == WORKED_OUT and told.value == pytest.approx(
        chop_of(sheet).end_C - best_end_C(described(sheet).batter), abs=1e-6
    )


def test_an_end_is_not_worked_out_from_temperatures_that_are_not_written(demo):
    data = demo.as_dict()
    data["line"] = [
        {key: item for key, item in line.items() if key != "temperature_C"} for line in data["line"]
    ]
    told = one(evidence_of(read_sheet(data)), "end_over_best_K")
    assert told.origin == PLANNED


def test_the_ledger_makes_the_house_loss(demo):
    told = one(evidence_of(demo), "house_loss_over_pct")
    got = follow(demo).cook_yield
    assert told.origin == WEIGHED
    assert told.value == pytest.approx(demo.cook_yield_pct - got.weighed_pct)
    assert not told.counts and "near the one planned" in told.why
    beside = one(evidence_of(demo, usual=demo), "house_loss_over_pct")
    assert beside.value == 0 and beside.counts
    far = one(evidence_of(demo.with_process(cook_yield_pct=96.0)), "house_loss_over_pct")
    assert far.word == "large" and far.counts


def test_ice_weighed_over_the_sheet_is_water_over_the_sheet(demo):
    data = demo.as_dict()
    more = [
        weighing
        | ({"additions_kg": weighing["additions_kg"] + 8.0} if weighing["stage"] == "chop" else {})
        for weighing in data["weighing"]
    ]
    now, before = (
        one(evidence_of(sheet), "water_protein_over")
        for sheet in (read_sheet(data | {"weighing": more}), demo)
    )
    protein_kg = follow(demo).batter.protein_pct * demo.batch_kg / 100
    meat_share = demo.weighing("chop").in_kg / demo.meat_kg
    assert now.value - before.value == pytest.approx(8.0 / (protein_kg * meat_share))
    assert now.word == "wet" and now.counts


def test_nitrite_is_that_of_the_cure_room(demo):
    cure = demo.of_kind("cure")[0]
    assert one(evidence_of(demo), "nitrite_ppm").value == pytest.approx(
        nitrite_ppm(cure.kg, cure.nitrite_pct, demo.meat_kg)
    )


def test_collagen_is_silent_where_one_meat_has_none_and_a_mean_by_protein_where_all_have(demo):
    assert any(
        reading.key == "collagen_pct" and "beef 90/10" in why
        for reading, why in evidence_of(demo).silent
    )
    meats = [
        {
            "name": name,
            "kind": "meat",
            "species": "beef",
            "moisture_pct": 70,
            "protein_pct": protein,
            "fat_pct": 80 - protein - 51,
            "ash_pct": 1,
            "collagen_pct_of_protein": share,
            "amount": f"{kg} kg",
        }
        for name, protein, share, kg in (("lean", 20, 10, 60), ("shank", 16, 50, 40))
    ]
    told = one(evidence_of(read_sheet(BARE | {"line": meats})), "collagen_pct")
    assert (
        told.value
        == pytest.approx(100 * (60 * 0.2 * 0.1 + 40 * 0.16 * 0.5) / (60 * 0.2 + 40 * 0.16))
        and told.counts
    )


def test_cold_air_means_no_shower_and_counts(demo):
    told = one(evidence_of(demo.with_process(chill_medium="cold air")), "shower_min")
    assert (told.value, told.word, told.counts) == (0.0, "none", True)


def test_a_diagnosis_takes_only_what_counts(demo):
    found = evidence_of(demo, end_C=19.5, chop_min=9.0)
    assert diagnose("fat_cap", found.readings).weights == pytest.approx(
        diagnose("fat_cap", found.readings).weights
    )
    assert diagnose("fat_cap", found.readings).leading.cause.key == "hot_chop"


@pytest.mark.parametrize(
    "bad, said",
    [
        ({"end_C": 61.0}, "final chopping temperature"),
        ({"core_C": 160.0}, "core at the end"),
        ({"chop_min": 0.0}, "chopping time"),
        ({"end_C": float("nan")}, "final chopping temperature"),
    ],
)
def test_readings_out_of_range_are_refused(demo, bad, said):
    with pytest.raises(OutOfRange, match=said):
        evidence_of(demo, **bad)

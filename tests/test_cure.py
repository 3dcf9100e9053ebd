"""Doses, limits, brine, scale, colour and intake: behaviour, balances, messages."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit import tables
from kit.cure import CureLine, Plan, Premix, Scale, brine, cure_for, dose, on_scale
from kit.cure.brine import aw_of_brine, growth_table, water_activity
from kit.cure.colour import colour
from kit.cure.dose import Bases, nitrite_ppm, premix_kg_for
from kit.cure.exposure import exposure
from kit.cure.limits import band, judge
from kit.cure.premix import premix, premixes, unassayed
from kit.cure.salts import NITRATES, NITRITES, convert
from kit.cure.scale import dilute, ppm_interval, smallest_batch_meat_kg
from kit.errors import OutOfRange, UnknownName
from kit.rules.limits import QUANTITIES, all_limits, limit, limits_for, own_limit

US1 = premix("US curing salt, 6.25 % nitrite")
masses = st.floats(0.5, 2000)
shares = st.floats(1.0, 1.8)
ppms = st.floats(1, 400)


# salts and premixes


@given(st.floats(0.001, 1e4), st.sampled_from(NITRITES), st.sampled_from(NITRITES))
def test_counting_there_and_back_changes_nothing(amount, a, b):
    assert convert(convert(amount, a, b), b, a) == pytest.approx(amount)


def test_nitrite_never_becomes_nitrate():
    with pytest.raises(UnknownName, match="NaNO3"):
        convert(1.0, "NaNO2", "NaNO3")
    with pytest.raises(UnknownName):
        convert(1.0, "nitrite", "NO2")


@pytest.mark.parametrize("name", premixes())
def test_every_usual_premix_is_whole(name):
    mix = premix(name)
    assert mix.nitrite_pct + mix.nitrate_pct + mix.salt_pct == pytest.approx(100)
    assert mix.assayed and mix.strength_pct > 0


def test_an_unknown_premix_is_never_guessed():
    with pytest.raises(UnknownName) as caught:
        premix("US curing salt, 6.52 % nitrite")
    assert "US curing salt, 6.25 % nitrite" in caught.value.near and len(caught.value.near) == 3


def test_own_label_and_its_faults():
    assert Premix("mine", 0.8, 0.2).salt_pct == pytest.approx(99.0)
    with pytest.raises(OutOfRange, match="101"):
        Premix("odd", 60, 41)
    with pytest.raises(OutOfRange, match="label"):
        Premix("odd", 625)


def test_potassium_nitrite_counts_less():
    pure = premix("potassium nitrite, pure")
    assert pure.strength_pct == pytest.approx(100 * 68.995 / 85.104)


def test_celery_without_assay_asks_for_it():
    with pytest.raises(OutOfRange, match="assay"):
        dose((CureLine(unassayed("celery powder"), 0.5),), 100, 130)
    assayed = Premix("celery powder", 2.0, 0.1, 0.0, nitrite_salt="NO2", nitrate_salt="NO3")
    found = dose((CureLine(assayed, 0.5),), 100, 130)
    assert found.ppm("meat", "NO2") == pytest.approx(100)


# dose


@given(
    ppms,
    masses,
    shares,
    st.floats(0.8, 1.0),
    st.sampled_from(("meat", "batch", "finished")),
    st.sampled_from(NITRITES),
    st.sampled_from(tuple(premixes())[:-2]),
)
def test_a_target_is_met_on_its_own_base_and_form(target, meat, share, kept, basis, form, name):
    batch = meat * share
    made = cure_for(
        target,
        premix(name),
        meat_kg=meat,
        batch_kg=batch,
        finished_kg=batch * kept,
        basis=basis,
        counted_as=form,
    )
    assert made.ppm(basis, form) == pytest.approx(target)
    assert made.ppm_of_meat >= made.ppm_of_batch * (1 - 1e-12)
    assert_pencil(made.working)


@given(masses, shares, st.floats(0.0001, 0.1))
def test_one_weight_has_four_names(meat, share, rate):
    found = dose((CureLine(US1, meat * rate),), meat, meat * share, meat * share * 0.9)
    by_base = {
        basis: found.ppm(basis) * found.base_kg(basis) for basis in ("meat", "batch", "finished")
    }
    assert all(mg / 1e6 == pytest.approx(found.nitrite_kg) for mg in by_base.values())
    assert found.nitrite_kg + found.nitrate_kg + found.salt_kg == pytest.approx(found.cure_kg)


def test_sliders_move_arrays():
    meat = np.linspace(1, 100, 50)
    grams = premix_kg_for(156.25, 6.25, meat)
    assert grams == pytest.approx(meat * 0.0025)
    assert nitrite_ppm(grams, 6.25, meat) == pytest.approx(np.full(50, 156.25))


def test_the_strength_is_a_percentage_not_a_fraction():
    assert nitrite_ppm(0.25, 6.25, 100) == pytest.approx(156.25)
    assert nitrite_ppm(0.25, 0.0625, 100) == pytest.approx(1.5625)


@pytest.mark.parametrize(
    "given_kg, message",
    [
        ((0, 130, None), "meat_kg"),
        ((100, 90, None), "cannot outweigh"),
        ((100, 130, 0), "finished_kg"),
        ((float("nan"), 130, None), "meat_kg"),
        ((100, float("inf"), None), "batch_kg"),
    ],
)
def test_impossible_bases_say_which(given_kg, message):
    with pytest.raises(OutOfRange, match=message):
        dose((CureLine(US1, 0.25),), *given_kg)


def test_unknown_base_and_missing_finished_weight():
    found = dose((CureLine(US1, 0.25),), 100, 130)
    with pytest.raises(OutOfRange, match="finished_kg"):
        found.ppm("finished")
    with pytest.raises(UnknownName):
        found.ppm("water")
    with pytest.raises(OutOfRange):
        CureLine(US1, -1)


def test_a_cooked_batch_that_gained_weight_is_noted():
    assert any("loses weight" in note for note in dose((CureLine(US1, 0.25),), 100, 130, 135).notes)


def test_pure_nitrite_by_hand_needs_a_large_batch():
    pure = premix("sodium nitrite, pure")
    least = tables.value("pure_nitrite_smallest_batch_kg")
    with pytest.raises(OutOfRange, match="refuses hand dosing"):
        cure_for(150, pure, meat_kg=least / 2, batch_kg=least - 1)
    assert cure_for(150, pure, meat_kg=least / 1.3, batch_kg=least).ppm_of_meat == pytest.approx(
        150
    )
    with pytest.raises(OutOfRange, match="refuses hand dosing"):
        dilute(150, pure, 10, Scale(1, 0.5))


def test_no_cure_can_be_made_of_a_mix_without_nitrite():
    with pytest.raises(OutOfRange, match="no nitrite"):
        cure_for(100, Premix("plain salt", 0.0), meat_kg=10, batch_kg=13)
    with pytest.raises(OutOfRange, match="more than the batch"):
        cure_for(100000, premix("nitrite salt 0.4 %"), meat_kg=10, batch_kg=13)


# limits


def test_every_row_of_law_is_whole():
    assert len({row.key for row in all_limits()}) == len(all_limits()) > 20
    for row in all_limits():
        assert (
            row.quantity in QUANTITIES
            and row.comparison in ("max", "min")
            and row.unit in ("mg/kg", "%")
            and row.status in tables.STATUSES
        )
        assert (
            row.as_salt in ("", "as used", *NITRITES, *NITRATES) and row.limit > 0 and row.edition
        )
        assert bool(row.as_salt) == row.quantity.startswith("nitr")
        assert row.cite().startswith(tables.sources()[row.source])
        assert row.status == "read" or tables.STATUSES[row.status] in row.in_words


def test_every_number_is_inside_its_bounds_and_sourced():
    rows = [tables.number(row["name"]) for row in tables.read_rows("reference", "cure.csv")]
    assert len(rows) > 60
    for row in rows:
        assert row.low <= row.value <= row.high, row.name
        assert row.cite() and row.status in tables.STATUSES


@pytest.mark.parametrize(
    "place",
    (
        "US",
        "EU",
        "Great Britain",
        "Northern Ireland",
        "Canada",
        "Brazil",
        "Codex",
        "Australia/New Zealand",
    ),
)
def test_each_jurisdiction_judges(place):
    found = dose((CureLine(US1, 0.5),), 100, 130, 118)
    verdicts = judge(found, limits_for(place))
    assert verdicts
    for v in verdicts:
        if v.holds is None:
            assert "measurement" in v.note
        else:
            assert v.holds == (v.margin >= -v.limit.limit * 0.00100001)


@given(ppms, masses, shares)
def test_the_eu_limit_is_met_exactly_at_its_ion_figure(_, meat, share):
    (row,) = limits_for("EU", on=date(2026, 1, 1))
    made = cure_for(
        row.limit, US1, meat_kg=meat, batch_kg=meat * share, basis="batch", counted_as="NO2"
    )
    (verdict,) = judge(made, (row,))
    assert verdict.holds and verdict.margin == pytest.approx(0, abs=1e-6)
    (over,) = judge(replace(made, nitrite_kg=made.nitrite_kg * 1.01), (row,))
    assert not over.holds


def test_potassium_salt_has_the_same_figure_in_the_us():
    kno2 = Premix("potassium cure", 6.25, nitrite_salt="KNO2")
    found = dose((CureLine(kno2, 0.25),), 100, 130)
    verdicts = {v.limit.key: v for v in judge(found, limits_for("US"))}
    assert (
        verdicts["us_nitrite_ingoing"].value == pytest.approx(156.25)
        and verdicts["us_nitrite_ingoing"].holds
    )
    assert verdicts["us_nitrite_minimum"].value == pytest.approx(156.25 * 68.995 / 85.104)
    assert verdicts["us_nitrite_finished"].holds is None


def test_a_figure_rounded_in_print_is_on_the_limit():
    (verdict,) = judge(
        dose((), 100, 130),
        (limit("us_sodium_erythorbate"),),
        {"sodium erythorbate": 0.0547},
    )
    assert verdict.holds and verdict.margin < 0 and "rounding" in verdict.note
    (over,) = judge(
        dose((), 100, 130),
        (limit("us_sodium_erythorbate"),),
        {"sodium erythorbate": 0.056},
    )
    assert not over.holds


def test_citrate_may_replace_half_and_phosphates_add_up():
    rows = limits_for("US")
    adds = {
        "sodium erythorbate": 0.02,
        "citric acid": 0.03,
        "phosphate": 0.4,
        "sodium acid pyrophosphate": 0.3,
    }
    verdicts = {v.limit.key: v for v in judge(dose((), 100, 130, 120), rows, adds)}
    assert (
        verdicts["us_citric_acid"].value == pytest.approx(60)
        and not verdicts["us_citric_acid"].holds
    )
    assert (
        verdicts["us_phosphate"].value == pytest.approx(100 * 0.7 / 120)
        and not verdicts["us_phosphate"].holds
    )
    assert verdicts["us_sapp_meat"].holds and verdicts["us_sapp_meat"].value == pytest.approx(0.3)
    two = judge(dose((), 100, 130), rows, {"ascorbic acid": 0.01, "sodium ascorbate": 0.01})
    assert any("more than one accelerator" in v.note for v in two)
    with pytest.raises(UnknownName):
        judge(dose((), 100, 130), rows, {"erythorbat": 1})
    with pytest.raises(OutOfRange):
        judge(dose((), 100, 130), rows, {"phosphate": -1})


def test_own_limit_is_used_like_the_others():
    mine = own_limit(100, basis="batch", counted_as="NO2")
    (verdict,) = judge(dose((CureLine(US1, 0.25),), 100, 130), (mine,))
    assert verdict.holds and verdict.value == pytest.approx(156.25 / 1.3 * 46.006 / 68.995)
    for wrong in (dict(basis="water"), dict(counted_as="NaNO3")):
        with pytest.raises(UnknownName):
            own_limit(100, **wrong)


def test_the_tightest_limit_makes_the_band():
    us = band(limits_for("US"), Bases(100, 130, 70))
    assert us.high_kg == pytest.approx(200e-6 * 70) and "finished" in us.high_limit.in_words
    assert band(limits_for("US"), Bases(100, 130)).high_kg == pytest.approx(0.015625)
    loose = band((), Bases(100, 130))
    assert loose.high_kg == pytest.approx(0.020) and "is used" in loose.notes[0]
    strict = band((own_limit(60),), Bases(100, 130))
    assert strict.high_kg == pytest.approx(0.006) and strict.low_kg <= strict.high_kg
    with pytest.raises(OutOfRange, match="no room"):
        band((*limits_for("US"), own_limit(100)), Bases(100, 130))


def test_unknown_names_of_law_are_refused():
    with pytest.raises(UnknownName):
        limits_for("Atlantis")
    with pytest.raises(UnknownName):
        limit("us_nitrite")


# brine


def test_more_salt_lowers_water_activity():
    aw = aw_of_brine(np.linspace(0, 26, 400))
    assert aw[0] == 1.0 and np.all(np.diff(aw) < 0)


def test_water_activity_ends_at_saturation():
    with pytest.raises(OutOfRange, match="6.148"):
        water_activity(np.array([1.0, 6.2]))
    with pytest.raises(OutOfRange):
        water_activity(-0.1)


@given(st.floats(0.5, 4), st.floats(40, 75), st.floats(0, 20))
def test_cooking_tightens_the_brine(salt, water, lost):
    raw, cooked = brine(salt, water, 100), brine(salt, water, 100, water_lost_kg=lost)
    assert (
        cooked.salt_kg == raw.salt_kg and cooked.brine_pct >= raw.brine_pct and cooked.aw <= raw.aw
    )
    assert_pencil(cooked.working)


def test_the_cures_own_salt_counts():
    assert brine(2.0, 54, 100, cure_salt_kg=0.2).salt_pct == pytest.approx(2.2)


def test_the_salt_of_a_frankfurter_stops_no_listeria():
    for strength in (
        tables.value("frankfurter_brine_low_pct"),
        tables.value("frankfurter_brine_high_pct"),
    ):
        rows = {row.organism: row.stopped for row in growth_table(float(aw_of_brine(strength)))}
        assert not rows["Listeria monocytogenes"] and not rows["Clostridium botulinum E"]
    strong = {row.organism: row.stopped for row in growth_table(0.94)}
    # 0.94 lies between the two published bounds for Salmonella
    assert strong["Salmonella"] is False and strong["Clostridium botulinum E"] is True
    assert all(row.stopped for row in growth_table(0.80))
    assert any("does not stop" in note for note in brine(2.2, 54, 100).notes)


def test_impossible_brines_are_refused():
    with pytest.raises(OutOfRange, match="product"):
        brine(5, 60, 50)
    with pytest.raises(OutOfRange, match="water_lost_kg"):
        brine(2, 50, 100, water_lost_kg=60)
    with pytest.raises(OutOfRange, match="saturation"):
        brine(40, 55, 100)


# scale


@pytest.mark.parametrize("sd", (0.0, 0.1, 0.3, 0.5, 1.0, 3.0))
def test_the_interval_covers_95_of_100_weighings(sd):
    rng, scale = np.random.default_rng(5), Scale(1.0, sd)
    true = rng.uniform(20, 60, 200_000)
    shown = scale.round_g(true + rng.normal(0, sd, true.size) if sd else true)
    assert np.mean(np.abs(true - shown) <= scale.half_width_g) >= 0.95


@given(
    st.floats(0.2, 200),
    st.sampled_from((0.01, 0.1, 0.5, 1, 2, 5)),
    st.floats(0, 3),
    st.floats(80, 200),
)
def test_from_the_smallest_batch_on_the_dose_is_within(factor, step_g, sd, target):
    scale = Scale(step_g, sd)
    least = float(smallest_batch_meat_kg(scale, 6.25, target))
    assert on_scale(target, US1, least * (1 + 1e-9) * (1 + factor), scale).within
    answer = on_scale(target, US1, least, scale)
    assert_pencil(answer.working)
    low, high = ppm_interval(answer.reading_g, 6.25, least, scale)
    assert (float(low), float(high)) == (answer.low_ppm_of_meat, answer.high_ppm_of_meat)


def test_smallest_batch_is_vectorised_and_halves_with_the_tolerance():
    scale = Scale(1, 0.5)
    targets = np.array([100.0, 150.0, 200.0])
    assert smallest_batch_meat_kg(scale, 6.25, targets, 10) * 2 == pytest.approx(
        smallest_batch_meat_kg(scale, 6.25, targets, 5)
    )


@given(
    st.floats(0.3, 8),
    st.sampled_from((0.1, 0.5, 1.0, 2.0)),
    st.floats(0, 1),
    st.integers(0, 10_000),
)
def test_a_dilution_brings_the_dose_within_tolerance(meat, step_g, scatter, seed):
    scale = Scale(step_g, step_g * scatter)
    direct = on_scale(150, US1, meat, scale)
    if direct.within:
        with pytest.raises(OutOfRange, match="no dilution is needed"):
            dilute(150, US1, meat, scale)
        return
    try:
        made = dilute(150, US1, meat, scale)
    except OutOfRange as refused:
        assert "finer scale" in str(refused)
        return
    assert_pencil(made.working)
    ppm = (made.low_ppm_of_meat + made.high_ppm_of_meat) / 2
    assert abs(ppm / 150 - 1) * 100 + made.relative_half_width_pct <= 5 + 1e-6
    assert made.portion_g <= made.premix_g + made.water_g + 1e-9
    # weigh it many times on that scale: at least 95 of 100 doses lie inside the interval
    rng, n = np.random.default_rng(seed), 4000

    def weighed(grams):
        return (
            grams
            + rng.uniform(-0.5, 0.5, n) * step_g
            + rng.normal(0, 1, n) * scale.repeatability_sd_g
        )

    first, water, portion = weighed(made.premix_g), weighed(made.water_g), weighed(made.portion_g)
    ppm = portion * first / (first + water) / 1000 * 6.25 / 100 * 1e6 / meat
    assert (
        np.mean((ppm >= made.low_ppm_of_meat) & (ppm <= made.high_ppm_of_meat)) >= 0.94
    )  # 0.95 less three standard errors


def test_a_scale_needs_a_step():
    with pytest.raises(OutOfRange):
        Scale(0)


# colour, residual, exposure


def test_colour_need():
    assert 10 * colour(2.0, 156).needed_ppm_of_meat < 156
    with pytest.raises(OutOfRange):
        colour(0.01, 156)


@given(st.floats(0, 300))
def test_residual_is_a_range_and_never_one_figure(ingoing):
    found = colour(2.0, ingoing)
    assert found.after_cook_ppm[0] <= found.after_cook_ppm[1] <= max(ingoing, 1e-9)
    assert len(found.surveys) == 5


@given(st.floats(0, 5000))
def test_exposure_is_a_multiple_of_the_intake_of_the_reference_adult(ppm):
    found = exposure(ppm)
    assert_pencil(found.working)
    assert found.eaten_mg == pytest.approx(found.portion_g * ppm / 1000)
    assert found.times_adi == pytest.approx(found.eaten_mg / found.adi_mg)


def test_a_plan_checks_its_own_inputs():
    with pytest.raises(UnknownName):
        Plan(100, 130, target_ppm=100, target_as="salt")
    with pytest.raises(OutOfRange, match="finished_kg"):
        Plan(100, 130, target_ppm=100, target_basis="finished")


def test_a_scale_too_coarse_for_the_dose_is_said():
    """100 kg of meat at 150 ppm takes 240 g of US1: a step of 50 g is a fifth of it, of 1 g less than half a per cent."""
    told = [on_scale(150, US1, 100, Scale(step)) for step in (1, 50)]
    assert [any("use a finer scale" in note for note in one.notes) for one in told] == [False, True]
    assert [one.within for one in told] == [True, False]

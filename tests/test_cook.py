"""How kit.cook behaves: limits, monotony, messages, one link beside many."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit import cook, tables
from kit.cook import moist_air
from kit.cook import stages as link_stages
from kit.cook.cooked import CAUTION, first_reached
from kit.cook.exchange import cross_flow_h
from kit.cook.ice import ice_to_chill
from kit.cook.march import march, modes, time_steps
from kit.cook.series import come_up_min
from kit.cook.stages import air, hot_water, ice_bath, shower
from kit.cook.surface import exchange, flux, settle
from kit.errors import OutOfRange

LINK = cook.Link(26.0)
WET = cook.Link(26.0, moisture_diffusivity_m2_per_s=np.inf)
HOUSE = (
    air(20, 55, humidity_pct=25, h_W_per_m2K=25, name="dry"),
    air(40, 65, humidity_pct=40, speed_m_per_s=1.5, wetness=0.6, name="smoke"),
    air(45, 78, humidity_pct=90, h_W_per_m2K=25, wetness=0.6, name="cook"),
    shower(10),
    link_stages.fridge(60),
)


@pytest.fixture(scope="module")
def run():
    return cook.cook(LINK, HOUSE, (70, 74, 90))


def test_every_row_of_the_room_is_bounded_and_sourced():
    rows = {name: row for name, row in tables.numbers().items() if name.startswith("cook_")}
    assert len(rows) > 80
    for row in rows.values():
        assert row.low <= row.value <= row.high, row.name
        assert row.status in tables.STATUSES and row.source in tables.sources(), row.name


def test_the_result_explains_itself(run):
    assert_pencil(run.working)
    assert len(run.working) > 15
    assert run.notes[-1] == CAUTION
    assert any("from memory" in source for source in run.sources) and any(
        "teaching assumption" in source for source in run.sources
    )
    assert run.stages[1].wet_bulb_C == pytest.approx(47.8, abs=0.05)
    assert run.stages[3].wet_bulb_C is None


def test_targets_reached_and_not_reached(run):
    first, second, never = run.targets
    assert first.reached and second.reached and first.minutes < second.minutes
    assert run.core_at([first.minutes]) == pytest.approx([70], abs=1e-6)
    assert not never.reached and never.minutes is None
    assert "never reaches 90 °C" in never.words and "holds it at" in never.words
    assert never.words in run.notes


def test_the_melting_note_belongs_to_a_skin_that_warms(run):
    """A chill starts above 40 °C and only falls: nothing passes it."""
    says = "where most pork fat is liquid"
    assert any(says in note for note in run.notes)
    chilled = cook.cook(cook.Link(26.0, start_C=72), [ice_bath(20)])
    assert not any(says in note for note in chilled.notes)


def test_never_in_time_is_told_from_never_at_all():
    short = cook.cook(LINK, [hot_water(2, 78)]).targets[0]
    assert "make it longer" in short.words and short.plateau_C == pytest.approx(78)
    low = cook.cook(LINK, [hot_water(90, 60)]).targets[0]
    assert "no time would be enough" in low.words


def test_arrays_fit_together(run):
    times = len(run.minutes)
    for name in ("core_C", "surface_C", "mean_C", "lost_pct_by_time", "heat_kJ_per_kg"):
        assert getattr(run, name).shape == (times,)
    assert run.minutes[0] == 0 and run.minutes[-1] == pytest.approx(175)
    assert np.all(np.diff(run.minutes) > 0) and np.diff(run.minutes).max() * 60 <= 30 + 1e-9
    assert run.lost_pct == pytest.approx(sum(o.lost_pct for o in run.stages))


def test_nothing_happens_at_rest():
    still = cook.cook(replace(LINK, start_C=20.0), [hot_water(60, 20, h_W_per_m2K=50)], (15,))
    for held in (still.core_C, still.surface_C):
        assert np.abs(held - 20).max() < 1e-9
    assert still.targets[0].minutes == 0
    assert np.abs(still.heat_kJ_per_kg).max() < 1e-9


def test_one_link_and_many_links_agree(run):
    links = cook.Link(np.array([20.0, 26.0, 32.0]))
    many = march(links, HOUSE, places=(0.0, 1.0))
    core, surface = many.probes_C[:, 0], many.probes_C[:, 1]
    lost = links.pct_lost(many.evaporated_kg_per_m2.sum(axis=0))
    assert np.allclose(core[:, 1], run.core_C, atol=1e-6)
    assert np.allclose(surface[:, 1], run.surface_C, atol=1e-6)
    assert lost[1] == pytest.approx(run.lost_pct, abs=1e-6)
    reached = first_reached(many.seconds / 60, core, 70)
    assert reached[1] == pytest.approx(run.targets[0].minutes, abs=1e-6)
    assert np.all(np.diff(reached) > 0) and np.all(np.diff(lost) < 0)
    assert np.isinf(first_reached(many.seconds / 60, core, 90)).all()


def test_the_rings_carry_a_flat_temperature_and_all_the_heat():
    for rings in (4, 20, 160):
        net = modes(rings)
        assert net.shapes @ net.start == pytest.approx(np.ones(rings + 1))
        assert net.volumes.sum() == pytest.approx(1)
        assert net.volumes @ net.shapes == pytest.approx(
            net.start, abs=1e-8
        )  # only the mean mode holds heat
        assert net.drive[0] == pytest.approx(2) and np.all(net.decay >= 0)


def test_steps_add_up_and_start_short():
    for seconds in (1, 30, 100, 1234.5, 2700):
        steps = time_steps(seconds, 30.0)
        assert sum(steps) == pytest.approx(seconds) and max(steps) <= 30.0001
        assert steps[0] < 7


@given(st.floats(-5, 150), st.floats(0, 1), st.floats(1, 2000), st.floats(0, 1), st.floats(-1, 120))
def test_the_surface_law_always_falls_and_its_slope_is_true(medium, humidity, h, wetness, surface):
    top = min(
        100.0, 100 * 0.95 * moist_air.PRESSURE_PA / float(moist_air.saturation_pressure_Pa(medium))
    )
    stage = replace(
        air(5, medium, humidity_pct=humidity * top, h_W_per_m2K=h, wetness=wetness),
        emissivity=0.9,
        wall_C=medium,
    )
    law = exchange(stage, 26.0, 20.0, 0.98)
    here, slope, *_ = flux(np.float64(surface), law)
    there = flux(np.float64(surface + 1e-4), law)[0]
    assert slope < 0 and there < here
    assert (there - here) / 1e-4 == pytest.approx(slope, rel=2e-3, abs=1e-2)
    many = exchange(stage, 26.0, 20.0, 0.98, np.atleast_1d)
    rest = settle(many, np.array([surface]), close=1e-6)[0]
    assert abs(flux(rest, law)[0][0]) < 1e-5 * h + 1e-5


@given(st.floats(15, 120), st.floats(40, 95), st.floats(2, 98), st.floats(5, 80), st.floats(0, 1))
def test_temperatures_stay_between_start_and_surroundings(diameter, dry, humidity, h, wetness):
    link = replace(LINK, diameter_mm=diameter)
    run = cook.cook(
        link, [air(60, dry, humidity_pct=humidity, h_W_per_m2K=h, wetness=wetness)], (70,)
    )
    wet = run.stages[0].wet_bulb_C
    for felt in (run.core_C, run.surface_C):
        assert felt.max() <= max(dry, 12) + 0.6 and felt.min() >= min(12, wet) - 0.6
    # the balance of heat closes for any link
    stored = link.heat_capacity_J_per_kgK / 1000 * (run.mean_C - link.start_C)
    assert np.abs(stored - run.heat_kJ_per_kg).max() < 1e-9 * max(np.abs(stored).max(), 1)
    assert run.stages[0].plateau_C <= dry + 0.6 and run.lost_pct >= 0


def test_humidity_speeds_the_core_and_saves_weight():
    runs = [
        cook.cook(LINK, [air(60, 78, humidity_pct=rh, h_W_per_m2K=25)], (60,))
        for rh in (30, 50, 70, 95)
    ]
    assert np.all(np.diff([r.core_C[-1] for r in runs]) > 0) and np.all(
        np.diff([r.lost_pct for r in runs]) < 0
    )


def test_wetter_skin_loses_more_and_stays_cooler():
    runs = [
        cook.cook(WET, [air(60, 78, humidity_pct=30, h_W_per_m2K=25, wetness=w)])
        for w in (0, 0.3, 1)
    ]
    assert runs[0].lost_pct == 0 and np.all(np.diff([r.lost_pct for r in runs]) > 0)
    assert np.all(np.diff([r.surface_C[-1] for r in runs]) < 0)


def test_steam_heats_faster_than_humid_air_and_condensate_drips():
    steam, humid = (
        cook.cook(LINK, [stage], (70,))
        for stage in (
            link_stages.steam(40, 78, h_W_per_m2K=25),
            air(40, 78, humidity_pct=60, h_W_per_m2K=25),
        )
    )
    assert steam.targets[0].minutes < 25 and not humid.targets[0].reached
    assert steam.lost_pct == 0 and steam.lost_pct_by_time[-1] < -1


def test_a_condensed_film_goes_first_but_only_up_to_its_cap():
    stages = [
        link_stages.steam(10, 78, h_W_per_m2K=25),
        air(30, 80, humidity_pct=10, h_W_per_m2K=25),
    ]
    run = cook.cook(LINK, stages)
    after = run.lost_pct_by_time[run.minutes.searchsorted(10.0 - 1e-9)]
    out = run.lost_pct_by_time[-1] - after - run.stages[1].lost_pct
    cap = LINK.pct_lost(tables.value("cook_film_cap"))
    assert -after > cap and out == pytest.approx(cap, rel=1e-9)


def test_radiation_and_still_media_take_their_correlations():
    run = cook.cook(
        LINK,
        [
            link_stages.charcoal(30, 130, humidity_pct=3),
            ice_bath(10, still=True),
            link_stages.brine(5),
            link_stages.fridge(30),
        ],
    )
    charcoal, bath, brine, fridge = (stage.h_W_per_m2K for stage in run.stages)
    assert (
        6 < charcoal < 9
        and 150 < bath < 850
        and brine == tables.value("cook_brine_h")
        and 3 < fridge < 8
    )
    assert_pencil(run.working)


def test_outside_the_tested_range_is_noted_and_impossible_is_refused():
    assert any(
        "diameter 160 mm outside 13 to 130" in note
        for note in cook.cook(cook.Link(160), HOUSE[:1]).notes
    )
    assert any(
        "conductivity 0.6" in note
        for note in cook.cook(replace(LINK, conductivity_W_per_mK=0.6), HOUSE[:1]).notes
    )
    for field, bad in (
        ("diameter_mm", 0),
        ("diameter_mm", -26),
        ("diameter_mm", float("nan")),
        ("diameter_mm", "thick"),
        ("density_kg_per_m3", 1.02),
        ("heat_capacity_J_per_kgK", 3.2),
        ("start_C", -18),
        ("water_activity", 1.2),
    ):
        with pytest.raises(OutOfRange, match=field):
            replace(LINK, **{field: bad})


@pytest.mark.parametrize(
    "make, message",
    [
        (lambda: air(20, 55, humidity_pct=120), "humidity in percent is 120"),
        (lambda: air(20, 55, humidity_pct=-1), "humidity in percent is -1"),
        (lambda: air(20, 55, wet_bulb_C=60), "above dry bulb 55"),
        (lambda: air(20, 55, wet_bulb_C=5), "bone-dry"),
        (lambda: air(20, 55), "one of the two"),
        (lambda: air(20, 55, humidity_pct=20, wet_bulb_C=30), "one of the two"),
        (lambda: air(20, 120, humidity_pct=90), "more vapour than the whole air pressure"),
        (lambda: air(0, 55, humidity_pct=20), "longer than 0 min"),
        (lambda: air(-5, 55, humidity_pct=20), "longer than 0 min"),
        (lambda: air(float("nan"), 55, humidity_pct=20), "longer than 0 min"),
        (lambda: air(3000, 55, humidity_pct=20), "between 0 and 2880"),
        (lambda: air("soon", 55, humidity_pct=20), "no number"),
        (
            lambda: air(20, 55, humidity_pct="damp"),
            "humidity in percent is 'damp', which is no number",
        ),
        (lambda: air(20, 55, wet_bulb_C="cool"), "wet bulb in °C is 'cool', which is no number"),
        (lambda: air(20, 55, wet_bulb_C=float("nan")), "wet bulb in °C is nan.*fill a gap"),
        (lambda: come_up_min(["thick"], 78, 25, 70, LINK), "which is no number"),
        (lambda: come_up_min([], 78, 25, 70, LINK), "at least one"),
        (lambda: come_up_min([26, -1], 78, 25, 70, LINK), "between 3 and 400"),
        (lambda: air(20, 55, humidity_pct=20, h_W_per_m2K=-3), "heat transfer coefficient"),
        (lambda: air(20, 55, humidity_pct=20, wetness=1.4), "wetness"),
        (lambda: air(20, 555, humidity_pct=2), "dry bulb is 555"),
        (lambda: hot_water(20, 120), "water temperature is 120"),
        (lambda: ice_bath(20, h_W_per_m2K=300, still=True), "not both"),
        (lambda: cook.cook(LINK, []), "schedule is empty"),
        (lambda: cook.cook(LINK, ["smoke"]), "entry 1"),
        (lambda: cook.cook(cook.Link(np.array([20.0, 26.0])), HOUSE), "takes one link"),
        (lambda: cook.cook(LINK, HOUSE, step_s=0), "step"),
        (lambda: cook.cook(LINK, HOUSE, (float("inf"),)), "core target"),
        (lambda: cook.cook(LINK, HOUSE).core_at([500]), "between 0 and 175"),
        (lambda: air(5, 55, humidity_pct=20, speed_m_per_s=0), "speed is 0"),
        (lambda: cross_flow_h(26, 1e-5, 60), "too slow"),
        (lambda: come_up_min(26, 78, 0, 70, LINK), "above 0"),
        (lambda: come_up_min(26, 60, 25, 70, LINK), "never passes"),
        (lambda: ice_to_chill(0, 72, 5), "more than 0"),
        (lambda: ice_to_chill(10, 5, 72), "nothing needs to be chilled"),
    ],
)
def test_impossible_input_is_refused_with_the_reason(make, message):
    with pytest.raises(OutOfRange, match=message):
        make()


def test_a_humidity_that_may_be_a_fraction_is_pointed_at():
    def asks(dry, humidity):
        return any(
            "was a fraction meant" in note
            for note in cook.cook(
                LINK, [air(20, dry, humidity_pct=humidity, speed_m_per_s=1)]
            ).notes
        )

    assert asks(65, 0.4) and not asks(65, 40) and not asks(65, 4) and not asks(110, 0.9)


def test_same_names_are_told_apart():
    run = cook.cook(LINK, [air(5, 55, humidity_pct=20, speed_m_per_s=1)] * 3)
    assert [o.name for o in run.stages] == ["air", "air (2)", "air (3)"]


def test_thicker_takes_longer_and_ice_explains_itself():
    slow, quick = (come_up_min([20, 26, 115], 78, h, 70, LINK) for h in (25, 300))
    assert np.all(np.diff(slow) > 0) and np.all(quick < slow)
    ice = ice_to_chill(100, 72, 5)
    assert_pencil(ice.working)
    assert ice.ice_per_kg == ice.ice_kg / 100 and ice.ice_kg > 60


def test_a_wandering_cooker_needs_a_cloud():
    stage = link_stages.charcoal(30, 130, humidity_pct=3, wander_K=15, wander_min=5)
    links = cook.Link(np.full(200, 26.0), moisture_diffusivity_m2_per_s=np.inf)
    steady = march(links, [stage], places=(0.0,))
    windy = march(links, [stage], places=(0.0,), rng=np.random.default_rng(0))
    assert np.ptp(steady.probes_C[-1, 0]) < 1e-9 and 0.3 < windy.probes_C[-1, 0].std() < 5
    assert windy.probes_C[-1, 0].mean() == pytest.approx(steady.probes_C[-1, 0, 0], abs=0.5)


def test_a_drying_skin_lets_the_core_pass_the_plateau_and_says_so():
    """Fails where the wetness is constant: there the core rests at the wet bulb for ever."""
    dry = [air(90, 80, humidity_pct=25, h_W_per_m2K=25, name="dry")]
    held, passed = cook.cook(WET, dry, (70,)), cook.cook(LINK, dry, (70,))
    assert held.core_C[-1] == pytest.approx(held.stages[0].plateau_C, abs=1) and held.stages[
        0
    ].skin_water_activity == pytest.approx(LINK.water_activity)
    assert (
        passed.core_C[-1] > passed.stages[0].plateau_C + 5
        and passed.stages[0].skin_water_activity < 0.7
        and passed.lost_pct < held.lost_pct
    )
    assert any(
        "skin dried to a water activity" in note for note in passed.notes
    ) and "as long as the skin is wet" in " ".join(held.notes)


def test_released_water_keeps_the_skin_wetter():
    runs = [cook.cook(LINK, HOUSE, released_pct=released) for released in (0, 3, 6)]
    assert np.all(np.diff([r.lost_pct for r in runs]) > 0) and np.all(
        np.diff([r.stages[1].skin_water_activity for r in runs]) >= 0
    )
    assert runs[2].lost_pct - runs[0].lost_pct < 6
    with pytest.raises(OutOfRange, match="released water"):
        cook.cook(LINK, HOUSE, released_pct=-1)


def test_the_room_knows_no_view():
    room = Path(__file__).resolve().parent.parent / "kit" / "cook"
    text = "".join(path.read_text(encoding="utf-8") for path in room.glob("*.py"))
    assert "altair" not in text and "ipywidgets" not in text


# below the freezing point

HOT = (hot_water(30, 75),)


def test_a_short_brine_shower_on_a_hot_link_never_freezes_and_is_the_plain_run():
    run = cook.cook(LINK, [*HOT, link_stages.brine(0.5, -5)])
    plain = march(LINK, [*HOT, link_stages.brine(0.5, -5)], places=(0.0, 1.0))
    assert (
        run.core_C == pytest.approx(plain.probes_C[:, 0], abs=1e-9) and run.surface_C.min() > -1.7
    )
    assert not any("freez" in note for note in run.notes)
    assert_pencil(run.working)


def test_ice_holds_the_core_up_and_the_energy_balance_still_closes():
    run, law = cook.cook(LINK, [*HOT, link_stages.brine(30, -5)]), tables.value("cook_brine_h")
    plain = march(LINK, [*HOT, link_stages.brine(30, -5)], places=(0.0, 1.0))
    assert plain.probes_C[-1, 0] < -4.9 and run.core_C[-1] > -2.3, (
        "half an hour does not freeze the core through"
    )
    warm = run.core_C > 10  # no ice in the core yet: only the crust, which conducts better, differs
    assert run.core_C[warm] == pytest.approx(plain.probes_C[warm, 0], abs=0.5)
    at = run.minutes >= 30
    through = np.trapezoid(law * (-5 - run.surface_C[at]), run.minutes[at] * 60)
    assert run.heat_kJ_per_kg[-1] - run.heat_kJ_per_kg[at][0] == pytest.approx(
        through * 4 / (1020 * 0.026) / 1000, rel=0.01
    )
    (said,) = (note for note in run.notes if "freezes" in note)
    assert (
        "-1.7 °C" in said
        and "heat of the ice" in said
        and any("Thermal properties of foods" in source for source in run.sources)
    )
    assert_pencil(run.working)


def test_a_chill_that_stops_just_above_the_freezing_point_is_one_curve_with_one_that_goes_below():
    above, below = (cook.cook(LINK, [*HOT, link_stages.brine(60, t)]) for t in (-1.69, -1.71))
    assert above.core_C == pytest.approx(below.core_C, abs=0.1)


def test_air_below_freezing_goes_on_drying_the_link():
    run = cook.cook(LINK, [*HOT, link_stages.fridge(120, -20)])
    assert (
        run.surface_C.min() < -1.7
        and run.stages[1].lost_pct > 2
        and np.all(np.diff(run.lost_pct_by_time[run.minutes > 31]) >= -1e-9)
    )
    thawed = cook.cook(LINK, [*HOT, link_stages.brine(30, -5), hot_water(30, 40)])
    assert thawed.core_C[-1] == pytest.approx(40, abs=1)

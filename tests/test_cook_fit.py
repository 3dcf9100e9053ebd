"""What a probe log can and cannot tell: recovery, honest intervals, refusals and messages."""

from dataclasses import replace

import numpy as np
import pytest
from pencil import assert_pencil

from kit import cook
from kit.cook.cooked import CAUTION
from kit.cook.stages import air, brine, hot_water, shower
from kit.errors import OutOfRange

LINK = cook.Link(26.0, moisture_diffusivity_m2_per_s=np.inf)
H, WETNESS = "h_W_per_m2K", "wetness"
TRUE = (
    air(20, 55, humidity_pct=25, h_W_per_m2K=25, wetness=0.8, name="dry"),
    air(40, 65, humidity_pct=40, h_W_per_m2K=32, wetness=0.6, name="smoke"),
    shower(10, 15, h_W_per_m2K=250),
)
GUESS = (
    air(20, 55, humidity_pct=25, h_W_per_m2K=15, name="dry"),
    air(40, 65, humidity_pct=40, speed_m_per_s=1, wetness=0.9, name="smoke"),
    shower(10, 15),
)
TIMES = np.arange(0.5, 70, 1.0)
RUN = cook.cook(LINK, TRUE)
LOSSES = {0: RUN.stages[0].lost_pct, 1: RUN.stages[0].lost_pct + RUN.stages[1].lost_pct}


def log(seed=0, sd=0.3, times=TIMES, run=RUN):
    return run.core_at(times) + np.random.default_rng(seed).normal(0, sd, len(times))


@pytest.fixture(scope="module")
def whole():
    return cook.fit_log(LINK, GUESS, TIMES, log(), losses_pct=LOSSES)


def weighed(fit):
    """Weight lost after each of the first two stages by the fitted schedule."""
    return np.cumsum([stage.lost_pct for stage in cook.cook(LINK, fit.schedule).stages[:2]])


def truth(fitted):
    return getattr({stage.name: stage for stage in TRUE}[fitted.stage], fitted.what)


def test_a_log_with_weights_gives_back_what_made_it(whole):
    assert {(f.stage, f.what) for f in whole.fitted} == {
        ("dry", H),
        ("dry", WETNESS),
        ("smoke", H),
        ("smoke", WETNESS),
        ("shower", H),
    }
    for fitted in whole.fitted:
        assert fitted.low <= fitted.value <= fitted.high
        assert fitted.value == pytest.approx(truth(fitted), rel=0.15)
    assert (
        whole.rms_K == pytest.approx(0.3, abs=0.08)
        and np.abs(weighed(whole) - list(LOSSES.values())).max() < 0.3
    )
    assert_pencil(whole.working)
    assert any("another place" in note for note in whole.notes) and CAUTION in whole.notes


def test_every_number_asked_for_is_put_into_words(whole):
    first, early = whole.fitted[0], TIMES < 21
    part = cook.fit_log(LINK, GUESS, TIMES[early], log()[early])
    assert len(whole.words) == len(whole.fitted)
    assert (
        whole.words[0]
        == f"{first.stage}: coefficient {first.value:.3g} ({first.low:.3g} to {first.high:.3g}) W/(m² K)"
    )
    held = part.refused[-1]
    assert (
        part.words[-1]
        == f"shower: coefficient not learned, held at {held.value:.3g} W/(m² K): {held.why}"
    )


def test_the_weighings_of_the_demo_log_belong_to_its_link():
    from kit.chain.cook import link_of, schedule_of
    from kit.reading import read_sheet
    from kit.tables import data_path

    sheet = read_sheet(data_path("demo", "demo_frankfurter.toml"))
    dry, smoke = cook.cook(replace(link_of(sheet), diameter_mm=24.0), schedule_of(sheet)[:2]).stages
    told = data_path("demo", "cook_log.txt").read_text(encoding="utf-8")
    assert (
        f"{dry.lost_pct:.1f} % of its weight at the end of the dry stage and {dry.lost_pct + smoke.lost_pct:.1f} % at the end of the smoke stage"
        in told
    )


def test_the_fitted_schedule_can_be_used_again(whole):
    again = cook.cook(LINK, whole.schedule)
    off = again.core_at(TIMES) - log()
    assert np.sqrt(np.mean(off**2)) == pytest.approx(whole.rms_K, abs=0.02)


def test_intervals_hold_the_truth_about_as_often_as_they_say():
    """40 intervals of 90 %: fewer than 31 that hold would come up once in some hundreds of honest trials."""
    held = 0
    for seed in range(8):
        fit = cook.fit_log(LINK, GUESS, TIMES, log(seed), losses_pct=LOSSES)
        assert len(fit.fitted) == 5
        held += sum(f.low <= truth(f) <= f.high for f in fit.fitted)
    assert 31 <= held <= 40


def test_what_the_log_cannot_tell_is_refused_with_a_reason(whole):
    assert whole.refused == ()
    early = TIMES < 21
    part = cook.fit_log(LINK, GUESS, TIMES[early], log()[early])
    why = {(r.stage, r.what): r.why for r in part.refused}
    assert (
        "readings in this stage; it needs at least 3" in why[("smoke", H)] and ("shower", H) in why
    )
    assert {f.stage for f in part.fitted} == {"dry"}


def test_a_resting_link_tells_nothing():
    at_rest = (
        hot_water(30, 60, h_W_per_m2K=400, name="first"),
        hot_water(60, 60, h_W_per_m2K=400, name="held"),
    )
    run = cook.cook(replace(LINK, start_C=60.0), at_rest)
    times = np.arange(1.0, 90, 2)
    fit = cook.fit_log(replace(LINK, start_C=60.0), at_rest, times, log(3, 0.2, times, run))
    assert not fit.fitted and {r.stage for r in fit.refused} >= {"first", "held"}
    assert any("nothing could be learned" in note for note in fit.notes)
    assert all("leaves it open" in r.why for r in fit.refused) and fit.schedule == at_rest


def test_a_wrong_diameter_is_said():
    right, wrong = (
        cook.fit_log(replace(LINK, diameter_mm=d), GUESS, TIMES, log(2, 0.3), losses_pct=LOSSES)
        for d in (26.0, 40.0)
    )
    assert any("misses the log" in note for note in wrong.notes) and not any(
        "misses the log" in note for note in right.notes
    )


@pytest.mark.parametrize(
    "times, readings, more, message",
    [
        ([], [], {}, "0 readings"),
        ([1, 2, 3], [20, 21, 22], {}, "at least 8"),
        (np.arange(10.0), np.full(9, 20.0), {}, "10 times and 9 temperatures"),
        (np.arange(10.0)[::-1], np.full(10, 20.0), {}, "must increase"),
        (np.arange(10.0), np.full(10, np.nan), {}, "holds a gap"),
        (
            np.arange(10.0) * 20,
            np.full(10, 20.0),
            {},
            "from 0 to 180 min, the schedule from 0 to 70",
        ),
        (np.arange(10.0), np.full(10, 400.0), {}, "holds 400 °C"),
        (np.arange(10.0), ["warm"] * 10, {}, "no number"),
        (np.arange(10.0), np.full(10, 20.0), {"losses_pct": {9: 3.0}}, "keyed by stage"),
    ],
)
def test_a_log_that_cannot_be_used_is_refused(times, readings, more, message):
    with pytest.raises(OutOfRange, match=message):
        cook.fit_log(LINK, GUESS, times, readings, **more)


def test_a_log_below_the_freezing_point_is_refused():
    times, cold = np.arange(0.0, 60, 5), np.linspace(10, -3, 12)
    with pytest.raises(OutOfRange, match="reaches -3.0 °C, below the freezing point"):
        cook.fit_log(LINK, [brine(60, -8)], times, cold)

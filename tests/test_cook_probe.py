"""One probe against many links: exact small cases, a brute-force trial, and monotony."""

from dataclasses import replace

import numpy as np
import pytest
from pencil import assert_pencil
from scipy.stats import norm

from kit import cook
from kit.cook.cooked import CAUTION
from kit.cook.march import march
from kit.cook.stages import air, charcoal, hot_water
from kit.errors import OutOfRange

LINK = cook.Link(26.0)
COOK = (
    air(30, 65, humidity_pct=40, h_W_per_m2K=25, spread_K=1.0),
    air(60, 80, humidity_pct=90, h_W_per_m2K=25, spread_K=1.0),
)
WATER = (hot_water(60, 78, h_W_per_m2K=300),)
NONE = dict(diameter_sd_mm=0, start_sd_K=0, h_sd_fraction=0, depth_sd_mm=0, display_sd_K=0)


def test_without_scatter_the_display_is_the_target():
    exact = cook.one_probe(LINK, WATER, 70, links=50, pool=200, batches=200, **NONE)
    assert exact.display_C == pytest.approx(70, abs=1e-6) and exact.margin_K == pytest.approx(
        0, abs=1e-6
    )
    assert exact.never_pct == 0 and np.ptp(exact.readings_C) < 1e-6


def test_display_error_alone_needs_its_own_quantile():
    """Theory: with nothing else uncertain the margin is 1.645 standard deviations of the display (95 %), 2.326 at 99 %."""
    for sure in (95, 99):
        only = cook.one_probe(
            LINK,
            WATER,
            70,
            links=10,
            pool=200,
            batches=10_000,
            confidence_pct=sure,
            **{**NONE, "display_sd_K": 0.8},
        )
        assert only.margin_K == pytest.approx(
            0.8 * norm.ppf(sure / 100), abs=4 * only.display_sd_C + 0.01
        )


def test_a_probe_off_the_axis_reads_high_while_the_link_warms():
    off = cook.one_probe(LINK, WATER, 70, links=1, pool=500, **{**NONE, "depth_sd_mm": 3})
    assert off.margin_K > 0.5 and off.readings_C.min() >= 70 - 1e-6


def test_more_links_and_more_confidence_need_more():
    margins = [
        cook.one_probe(LINK, COOK, 70, links=n, pool=2000, batches=4000).margin_K
        for n in (1, 10, 100)
    ]
    assert np.all(np.diff(margins) > 0.1)
    sure = [
        cook.one_probe(LINK, COOK, 70, links=10, confidence_pct=c).margin_K for c in (60, 90, 99)
    ]
    assert np.all(np.diff(sure) > 0)


def test_the_display_keeps_its_promise_in_batches_cooked_one_by_one():
    """300 batches of 9 + 1 links drawn and cooked afresh, stopped when the display first reads what was asked for: 95 % pass, within 3 standard errors."""
    scatter = dict(
        diameter_sd_mm=0.8, start_sd_K=1.5, h_sd_fraction=0.15, depth_sd_mm=0.0, display_sd_K=0.4
    )
    still = tuple(
        air(
            stage.minutes,
            stage.medium_C,
            humidity_pct=stage.humidity_pct,
            h_W_per_m2K=25,
            spread_K=0,
        )
        for stage in COOK
    )
    asked = cook.one_probe(LINK, still, 70, links=9, pool=3000, batches=6000, **scatter)
    rng, batches, each = np.random.default_rng(99), 300, 10
    count = batches * each
    factor = np.exp(rng.normal(0, 0.15, count))
    fresh = march(
        cook.Link(rng.normal(26, 0.8, count), start_C=rng.normal(12, 1.5, count)),
        [replace(stage, h_W_per_m2K=25 * factor) for stage in still],
        places=(0.0,),
        step_s=5.0,
    )
    core, error = fresh.probes_C[:, 0].reshape(-1, batches, each), rng.normal(0, 0.4, batches)
    shows = core[:, :, 0] + error >= asked.display_C
    assert shows.any(axis=0).all()
    coldest = core.min(axis=2)[shows.argmax(axis=0), np.arange(batches)]
    assert np.mean(coldest >= 70) == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / batches))
    first = core[:, :, 0] + error >= 70
    naive = np.mean(core.min(axis=2)[first.argmax(axis=0), np.arange(batches)] >= 70)
    assert 100 * naive == pytest.approx(asked.passes_at_target_pct, abs=8)


def test_links_that_never_come_there_are_said():
    low = cook.one_probe(LINK, (air(60, 70, humidity_pct=60, h_W_per_m2K=25),), 70)
    assert low.display_C is None and low.margin_K is None and low.never_pct == 100
    assert np.isnan(low.passes_at_target_pct) and np.isnan(low.coldest_at_target_C).all()
    assert_pencil(low.working)


def test_a_charcoal_cooker_needs_more_margin_than_a_house():
    fire = (charcoal(120, 110, humidity_pct=8, spread_K=8, wander_K=10, wander_min=8),)
    calm = (charcoal(120, 110, humidity_pct=8, spread_K=1, wander_K=0),)
    rough, even = (
        cook.one_probe(cook.Link(26.0), stages, 55, links=20, depth_sd_mm=0)
        for stages in (fire, calm)
    )
    assert rough.margin_K is None or rough.margin_K > even.margin_K
    assert any(
        "charcoal" in source
        for source in cook.one_probe(LINK, (charcoal(90, 110, humidity_pct=8),), 50).sources
    )


def test_it_explains_itself_and_is_repeatable():
    one, two = (cook.one_probe(LINK, COOK, 70, links=40, seed=7) for _ in range(2))
    assert one.display_C == two.display_C and one.display_sd_C < 0.2
    assert_pencil(one.working)
    low, middle, high = one.coldest_at_target_C
    assert low < middle < high and CAUTION in one.notes
    assert any(
        "too few for the coldest: the reading needed may be higher" in note
        for note in cook.one_probe(LINK, COOK, 70, links=5000).notes
    )


@pytest.mark.parametrize(
    "change, message",
    [
        (dict(target_C=5), "above the start"),
        (dict(links=0), "links"),
        (dict(confidence_pct=100), "confidence"),
        (dict(pool=5), "pool must be"),
        (dict(diameter_sd_mm=-1), "diameter sd"),
        (dict(display_sd_K=50), "display sd"),
    ],
)
def test_impossible_input_is_refused(change, message):
    with pytest.raises(OutOfRange, match=message):
        cook.one_probe(LINK, COOK, **{"target_C": 70, **change})

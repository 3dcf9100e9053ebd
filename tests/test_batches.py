"""Charts, rules, changes, components, power and drivers behave: limits, invariances, honest rates, clear refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.batches import drivers, gauge_study, i_mr
from kit.batches.change import change_points
from kit.batches.charts import xbar_r
from kit.batches.components import components, reml
from kit.batches.power import batches_needed, power
from kit.batches.rules import CLASSIC, RULES, alarms, together
from kit.errors import KitError, OutOfRange, UnknownName
from kit.tables import data_path


def noise(seed, *shape):
    return np.random.default_rng(seed).normal(size=shape)


@pytest.mark.parametrize(
    "key, z, at",
    [
        ("beyond 3", [0, 3.1, 0, -3.1], [1, 3]),
        ("2 of 3 beyond 2", [2.1, 0, 2.2, -2.1, -2.2], [2, 4]),
        ("2 of 3 beyond 2", [2.1, 0, 0, 2.2], []),
        ("4 of 5 beyond 1", [1.1, 1.1, 0, 1.1, 1.1], [4]),
        ("4 of 5 beyond 1", [1.1, 1.1, -1.1, -1.1, 1.1], []),
        ("8 on one side", [0.1] * 9, [7, 8]),
    ],
)
def test_each_rule_speaks_where_its_pattern_is_complete(key, z, at):
    assert np.flatnonzero(alarms(np.array(z, float), key)).tolist() == at


@given(st.integers(0, 10_000))
def test_rules_do_not_care_which_side_is_up(seed):
    z = noise(seed, 60) * 1.6
    for key in RULES:
        assert (alarms(z, key) == alarms(-z, key)).all()


def test_rules_take_many_series_at_once():
    z = noise(1, 5, 80) * 1.5
    for key in RULES:
        assert (alarms(z, key) == np.array([alarms(row, key) for row in z])).all()


def test_more_batches_and_more_rules_mean_more_false_alarms():
    assert all(together(200, (key,)) > together(20, (key,)) for key in RULES)
    assert together(100, CLASSIC) > max(together(100, (key,)) for key in CLASSIC)
    assert together(100, ("beyond 3",), 20) > together(100, ("beyond 3",)), (
        "limits from twenty batches are rough themselves"
    )


def test_the_stated_chance_of_a_false_alarm_holds_on_fresh_noise():
    stated = i_mr(noise(0, 60), baseline=25).false_alarm_chance["together"]
    seen = np.mean([not i_mr(noise(s, 60), baseline=25).stable for s in range(1, 601)])
    assert abs(seen - stated) < 4 * np.sqrt(stated * (1 - stated) / 600)


def test_unknown_rule_offers_the_nearest():
    with pytest.raises(UnknownName, match="8 on one side"):
        i_mr([1, 2, 3, 2], rules=("7 on one side",))


def test_limits_come_from_the_baseline_alone():
    x = noise(2, 60)
    changed = x.copy()
    changed[30:] += 5
    a, b = i_mr(x, baseline=30), i_mr(changed, baseline=30)
    assert a.phases == b.phases and not b.stable and b.alarms[0].at >= 30
    assert_pencil(b.working)


def test_phases_have_limits_of_their_own():
    x = np.concatenate([noise(3, 30), 8 + noise(4, 30)])
    one, two = i_mr(x), i_mr(x, phase_starts=(30,))
    assert (
        not one.stable
        and two.phases[1].centre == pytest.approx(x[30:].mean())
        and np.isnan(two.ranges.values[30])
    )
    assert two.phases[0].high < two.phases[-1].low
    assert_pencil(two.working)


def test_a_chart_bridges_gaps_and_says_nothing_at_them():
    x = noise(5, 40)
    x[[4, 5, 20]] = np.nan
    chart = i_mr(x)
    seen = x[np.isfinite(x)]
    assert chart.ranges.phases[0].centre == pytest.approx(np.abs(np.diff(seen)).mean()) and not any(
        a.at in (4, 5, 20) for a in chart.alarms
    )


def test_figures_that_do_not_vary_are_named():
    assert any("does not vary" in note for note in i_mr([2.0] * 30).notes)


@pytest.mark.parametrize(
    "call",
    [
        lambda: i_mr([1, 2]),
        lambda: i_mr(noise(1, 20), phase_starts=(19,)),
        lambda: i_mr(noise(1, 20), baseline=2),
        lambda: i_mr(noise(1, 20), phase_starts=(25,)),
        lambda: xbar_r([[1], [2]]),
        lambda: xbar_r([[1, np.nan], [2, 3]]),
        lambda: change_points([1, 2, 3]),
        lambda: batches_needed(0, 1),
        lambda: batches_needed(1, 0),
        lambda: batches_needed(1e-6, 1),
    ],
)
def test_impossible_input_is_refused_with_a_reason(call):
    with pytest.raises(OutOfRange) as said:
        call()
    assert len(str(said.value)) > 25


def test_means_of_subgroups():
    x = noise(10, 30, 4)
    x[20] += 4
    chart = xbar_r(x)
    assert 20 in [a.at for a in chart.alarms]
    assert_pencil(chart.working)


@given(st.integers(0, 3000), st.integers(12, 48), st.floats(3, 8))
def test_a_large_step_is_found_where_it_is(seed, k, size):
    x = noise(seed, 60)
    x[k:] += size
    found = change_points(x)
    assert any(abs(c.start - k) <= 2 for c in found.changes)
    assert min(abs(s - k) for c in found.changes for s in c.likely) <= 3


def test_noise_changes_as_seldom_as_promised():
    """5 % of 1000 series; three standard errors are 2.1 points."""
    found = np.mean([bool(change_points(noise(s, 50)).changes) for s in range(5000, 6000)])
    assert abs(found - 0.05) < 0.021


def test_likely_starts_hold_the_truth_as_often_as_promised():
    """90 % of 400 steps of two sigma; three standard errors are 4.5 points, and steps that are not found do not count."""
    held = []
    for s in range(400):
        k = 10 + s % 40
        x = noise(9000 + s, 60)
        x[k:] += 2
        c = change_points(x)
        if len(c.changes) == 1:
            held.append(k in c.changes[0].likely)
    assert len(held) > 300 and np.mean(held) > 0.855


@given(st.integers(0, 500), st.floats(-50, 50), st.floats(0.01, 100))
def test_changes_do_not_depend_on_unit_or_zero(seed, shift, scale):
    x = noise(seed, 40)
    x[20:] += 3
    assert change_points(x).starts == change_points(shift + scale * x).starts


def test_two_steps_are_told_apart():
    x = noise(21, 90) + np.repeat([0, 4, 1], 30)
    found = change_points(x)
    assert len(found.changes) == 2 and all(abs(a - b) <= 1 for a, b in zip(found.starts, (30, 60)))
    assert_pencil(found.working)


def test_sticky_neighbours_are_named():
    e = noise(22, 200)
    x = np.zeros(200)
    for t in range(1, 200):
        x[t] = 0.8 * x[t - 1] + e[t]
    assert any("resemble" in note for note in change_points(x).notes)


def components_of(seed, lots=40, per=4, lot_sd=2.0, sd=1.0):
    rng = np.random.default_rng(seed)
    lot = np.repeat(np.arange(lots), per)
    return lot_sd * rng.normal(size=lots)[lot] + sd * rng.normal(size=lots * per), lot


def test_components_are_right_on_average():
    """100 data sets; the mean of 100 estimates of 4 scatters by about 0.1."""
    found = [components(*(lambda y, lot: (y, {"lot": lot}))(*components_of(s))) for s in range(100)]
    assert np.mean([f.part("lot").variance for f in found]) == pytest.approx(4, abs=0.35)
    assert np.mean([f.part("within").variance for f in found]) == pytest.approx(1, abs=0.05)


def test_unbalanced_components_agree_with_reml():
    y, lot = components_of(5, lots=30, per=6)
    keep = np.random.default_rng(1).random(len(y)) < 0.6
    a, b = components(y[keep], {"lot": lot[keep]}), reml(y[keep], {"lot": lot[keep]})
    assert a.part("lot").variance == pytest.approx(b.part("lot").variance, rel=0.1)
    low, high = a.part("lot").interval
    assert low < 4 < high and low < a.part("lot").variance < high
    assert_pencil(a.working)
    assert_pencil(b.working)


def test_crossed_factors():
    rng = np.random.default_rng(3)
    operator, cooker = rng.integers(0, 12, 400), rng.integers(0, 10, 400)
    y = (
        1.5 * rng.normal(size=12)[operator]
        + 0.7 * rng.normal(size=10)[cooker]
        + rng.normal(size=400)
    )
    a, b = (
        components(y, {"operator": operator, "cooker": cooker}),
        reml(y, {"operator": operator, "cooker": cooker}),
    )
    for name in ("operator", "cooker", "within"):
        assert a.part(name).variance == pytest.approx(b.part(name).variance, rel=0.12)


def test_a_component_of_nothing_is_shown_as_nothing_and_said():
    y = noise(2, 60)
    y = y - np.repeat(y.reshape(12, 5).mean(axis=1), 5)
    found = components(y, {"lot": np.repeat(np.arange(12), 5)})
    assert found.part("lot").variance == 0 and "below zero" in found.notes[0]


def test_factors_that_move_together_are_refused():
    lot = np.repeat(np.arange(6), 5)
    with pytest.raises(OutOfRange, match="together"):
        components(noise(1, 30), {"lot": lot, "supplier": lot % 2})
    with pytest.raises(OutOfRange, match="one level"):
        components(noise(1, 30), {"lot": np.zeros(30)})


def test_gauge_study_finds_what_was_put_in():
    rng = np.random.default_rng(4)
    part, op = (a.ravel() for a in np.meshgrid(np.arange(40), np.arange(6)))
    part, op = np.tile(part, 3), np.tile(op, 3)
    y = 3 * rng.normal(size=40)[part] + 0.8 * rng.normal(size=6)[op] + 0.5 * rng.normal(size=720)
    g = gauge_study(y, op, part)
    assert (
        g.repeatability == pytest.approx(0.25, rel=0.15)
        and g.part == pytest.approx(9, rel=0.6)
        and 0 < g.gauge_pct_of_spread < 100
    )
    assert_pencil(g.working)


def test_gauge_study_refuses_gaps_and_copied_readings():
    with pytest.raises(OutOfRange, match="equally often"):
        gauge_study([1, 2, 3, 4, 5], list("aabbb"), [1, 2, 1, 2, 2])
    with pytest.raises(OutOfRange, match="never differ"):
        gauge_study([1, 2, 1, 2, 1, 2, 1, 2], list("aaaabbbb"), [1, 2, 1, 2, 1, 2, 1, 2])


def test_power_by_trial():
    """4000 simulated trials; standard error 0.8 points."""
    from scipy.stats import ttest_ind

    a, b = noise(1, 12, 4000), 1.2 + noise(2, 12, 4000)
    assert np.mean(ttest_ind(a, b).pvalue < 0.05) == pytest.approx(float(power(1.2, 12)), abs=0.025)


def process(seed=1, n=80):
    rng = np.random.default_rng(seed)
    x = {"fat_pct": 24 + rng.normal(size=n), "humidity_pct": 60 + 3 * rng.normal(size=n)}
    return 9 + 0.4 * (x["fat_pct"] - 24) - 0.1 * (x["humidity_pct"] - 60) + 0.3 * rng.normal(
        size=n
    ), x


def test_drivers_find_the_slopes():
    y, x = process()
    d = drivers(y, x)
    assert all(c.interval[0] < true < c.interval[1] for c, true in zip(d.drivers, (0.4, -0.1)))
    assert_pencil(d.working)


def test_drivers_leave_gaps_out_and_say_so():
    y, x = process()
    x["fat_pct"][:5] = np.nan
    d = drivers(y, x)
    assert len(d.rows) == 75 and d.rows[0] == 5 and any("5 batches with gaps" in n for n in d.notes)


def test_a_planted_wild_batch_pulls_hardest():
    y, x = process()
    x["fat_pct"][33] = 40
    d = drivers(y, x)
    assert d.strong[0] == 33


def test_columns_that_move_together():
    y, x = process()
    near = {**x, "water_pct": 78 - x["fat_pct"] + 0.05 * noise(3, 80)}
    d = drivers(y, near)
    assert d.drivers[0].vif > 100 and any("move together" in n for n in d.notes)
    with pytest.raises(OutOfRange, match="exactly together"):
        drivers(y, {**x, "lean_pct": 100 - x["fat_pct"]})


def test_shared_errors_are_warned_of():
    y, x = process()
    d = drivers(y, {**x, "moisture_pct_of_finished": 55 + noise(4, 80)})
    assert any("one bad weighing moves both" in n for n in d.notes)


@pytest.mark.parametrize(
    "columns, match",
    [
        ({}, "at least one column"),
        ({"a": np.ones(80)}, "never varies"),
        ({"a": np.ones(3)}, "one value for each"),
        ({str(i): noise(i, 80) for i in range(78)}, "use fewer"),
    ],
)
def test_regressions_that_cannot_be(columns, match):
    with pytest.raises(KitError, match=match):
        drivers(process()[0], columns)


def test_the_demo_sets_say_invented_and_show_what_was_put_in():
    study = pd.read_csv(data_path("demo", "demo_scale_study.csv"))
    trees = pd.read_csv(data_path("demo", "demo_tree_weights.csv"))
    for name in ("demo_scale_study.txt", "demo_tree_weights.txt"):
        assert "is invented" in data_path("demo", name).read_text(encoding="utf-8")
    share = {
        scale: gauge_study(r["weight_g"], r["person"], r["link"]).gauge_pct_of_spread
        for scale, r in study.groupby("scale")
    }
    assert share["bench"] < 15 < 40 < share["floor"]
    wide = trees.pivot(index="tree", columns="position", values="weight_g")
    assert wide.shape == (20, 5) and 13 in [v.at for v in xbar_r(wide).alarms]
    by = {"tree": trees["tree"]}
    anova, likely = components(trees["weight_g"], by), reml(trees["weight_g"], by)
    assert likely.part("tree").variance == pytest.approx(anova.part("tree").variance, rel=1e-3)

"""The search holds against noise of other kinds than its own generator's, and tells the kinds of cause apart."""

import csv
import sys
from pathlib import Path

import numpy as np
import pytest
from plants_lots import NOISES, made
from scipy.stats import binom

from kit.batches import find
from kit.batches.causes import allowed, basic_series, fitted, scale_series, shuffled
from kit.batches.noise import Alike, far_out, filled, held_in, likenesses, whitened
from kit.batches.patterns import patterns

sys.path.append(str(Path(__file__).parent / "bench"))
from bench_search import CURVE, found_of, quiet, right

SEEDS = 800_000


def with_loss(table, stage, points):
    """The table with `points` (n,) percentage points more lost at a stage; what follows weighs less by as much."""
    left = (1 - np.asarray(points, float) / 100)[:, None]
    j = table.place(stage)
    out, into = table.out_kg.copy(), table.in_kg.copy()
    out[:, j:] *= left
    into[:, j + 1 :] *= left
    return table.changed(out_kg=out, in_kg=into)


def test_quiet_plants_of_every_noise_stay_quiet():
    """Promised: at most 5 % in each kind; two plants of each here, and a true 5 % is beyond this ceiling once in a hundred runs."""
    said = [s for noise in NOISES for s in (quiet(noise, SEEDS), quiet(noise, SEEDS + 1)) if s]
    assert len(said) <= binom.ppf(0.99, 2 * len(NOISES), 0.05), said


# a day of one to three batches is not told from a heavy tail, and among products in one of three only: such pairs are left out
@pytest.mark.parametrize(
    "cause, noise",
    [
        (cause, noise)
        for cause in ("step", "drift", "episode", "odd day", "label", "scale step")
        for noise in ("lots 30 %", "products", "t of 3")
        if cause != "odd day" or noise == "lots 30 %"
    ],
)
def test_a_large_cause_is_named_in_every_noise(cause, noise):
    plants = [made(SEEDS + 10 + k, noise, cause, 3.0, n=150) for k in range(3)]
    first = [(find(table).findings[:1], truth) for table, truth in plants if truth.t >= 6]
    assert sum(bool(f) and right(f[0], truth) for f, truth in first) >= len(first) - 1 > 0


@pytest.mark.parametrize(
    "size, batches, noise",
    [(0.5, 40, "independent"), (2.0, 80, "lognormal"), (3.0, 150, "lots 60 %")],
)
def test_the_stored_curve_is_what_the_search_finds(size, batches, noise):
    """Fewer plants than the file's: a count within the 99.8 % interval of the stored share."""
    with CURVE.open(encoding="utf-8", newline="") as handle:
        rows = {
            (float(r["size_sd"]), int(r["batches"]), r["noise"]): r for r in csv.DictReader(handle)
        }
    stored = rows[size, batches, noise]
    first = int(stored["seed_from"])
    again = found_of(size, batches, noise, range(first, first + 9))
    for name in ("found_first_pct", "found_any_pct"):
        share = min(max(float(stored[name]) / 100, 0.02), 0.98)
        low, high = binom.ppf([0.001, 0.999], 9, share)
        assert low <= round(again[name] * 9 / 100) <= high, name


def test_a_code_is_a_label():
    table, truth = made(SEEDS + 3, "independent", "label", 3.0, n=120)
    assert find(table).findings[0].who == truth.who and truth.who[1].isdigit()


def test_one_stray_weight_is_named_first_and_blinds_no_other_stage():
    table = made(SEEDS, "independent", n=120)[0]
    leak = with_loss(table, "stuff", np.where(np.arange(120) >= 60, 0.5, 0.0))
    out = leak.out_kg.copy()
    out[30, table.place("chop")] = (
        0.97
        * out[29, table.place("chop")]
        / leak.all_in_kg[29, table.place("chop")]
        * leak.all_in_kg[30, table.place("chop")]
    )
    found = find(leak.changed(out_kg=out)).findings
    assert found[0].cause == "odd batch" and found[0].touched_batches == (30,)
    assert (found[1].cause, found[1].stage) == ("step", "stuff")
    # each series has its own limit: the stray moves only those it stands in
    limits = []
    for t in (leak, leak.changed(out_kg=out)):
        basic, pats = basic_series(t), patterns(t)
        scales = scale_series(t, basic)
        ok = allowed(basic + scales, pats)
        limits.append(shuffled(fitted(basic, scales, pats, ok), pats, ok).limits(0.025))
    assert limits[0][table.place("cook")] == limits[1][table.place("cook")]


def test_products_are_taken_out_and_a_change_that_begins_with_one_says_so():
    table = made(SEEDS + 1, "independent", n=120)[0]
    mixed = np.array(["A", "B", "C"])[np.random.default_rng(4).integers(0, 3, 120)]
    apart = with_loss(table, "cook", np.where(mixed == "B", 4.0, 0.0))
    assert find(apart.changed(labels={"product": mixed})).findings == ()
    late = np.where(np.arange(120) >= 70, "B", "A")
    told = find(
        with_loss(table, "cook", np.where(late == "B", 4.0, 0.0)).changed(labels={"product": late})
    )
    assert "since batch 71, when product B began" in told.findings[0].sentence


def test_an_episode_has_an_end_and_an_odd_day_is_one_day():
    table = made(SEEDS + 2, "independent", n=150)[0]
    order = np.arange(150)
    f = find(with_loss(table, "cook", 2.5 * ((order >= 60) & (order < 90)))).findings[0]
    assert f.cause == "episode" and "and then no longer" in f.sentence
    assert abs(f.touched_batches[0] - 60) <= 2 and abs(f.touched_batches[-1] - 89) <= 2
    days, count = np.unique(table.dates, return_counts=True)
    day = table.dates == days[count == 3][5]
    f = find(with_loss(table, "cook", 4.0 * day)).findings[0]
    assert f.cause == "odd day" and f.touched_batches == tuple(np.flatnonzero(day))


def test_a_drift_is_no_step_and_a_season_is_slow():
    table = made(SEEDS + 4, "independent", n=150)[0]
    f = find(with_loss(table, "cook", 3.0 * np.arange(150) / 150)).findings[0]
    assert f.cause == "drift"
    days = np.linspace(0, 600, 150)
    year = with_loss(table, "cook", 1.2 * np.sin(2 * np.pi * days / 365.25))
    dates = np.datetime64("2023-01-02T06:00:00") + days.astype(int) * np.timedelta64(86400, "s")
    f = find(year.changed(dates=dates)).findings[0]
    assert f.cause == "season" and "time of year" in f.sentence


def test_a_weekday_is_named():
    table = made(SEEDS + 6, "independent", n=200)[0]
    monday = (table.dates.astype("datetime64[D]").astype(int) + 3) % 7 == 0
    f = find(with_loss(table, "peel" if "peel" in table.stages else "pack", 0.8 * monday)).findings[
        0
    ]
    assert f.who == ("weekday", "Monday") and "Monday" in f.sentence


def likeness_of(noise):
    table = made(SEEDS + 7, noise, n=300)[0]
    basic, pats = basic_series(table), patterns(table)
    ok = allowed(basic, pats)
    return [a for a, s in zip(fitted(basic, (), pats, ok).alike, basic) if s.kind == "stage"]


def test_likeness_is_estimated_by_its_kind():
    for noise, kind in (("lots 60 %", "lot"), ("neighbours 0.6", "neighbours")):
        found = likeness_of(noise)
        assert np.mean([a.kind == kind for a in found]) >= 0.8
        assert np.median([a.share for a in found]) == pytest.approx(0.6, abs=0.15)
    assert np.median([a.share for a in likeness_of("independent")]) <= 0.15


def correlation(like, lot):
    apart = np.abs(np.arange(len(lot))[:, None] - np.arange(len(lot)))
    same = {
        "": apart == 0,
        "lot": (1 - like.share) * (apart == 0) + like.share * (lot[:, None] == lot),
    }
    return same.get(like.kind, like.share ** (1.0 * apart)) * 1.0


@pytest.mark.parametrize("like", [Alike(), Alike("lot", 0.6), Alike("neighbours", 0.6)])
def test_series_are_made_independent_as_generalised_least_squares_would(like):
    """Against NumPy's own inverse of the correlation, and statsmodels' GLS."""
    import statsmodels.api as sm

    rng, n = np.random.default_rng(8), 60
    lot = np.repeat(np.arange(20), 3)
    v, y = correlation(like, lot), rng.normal(size=(n, 2))
    y[rng.random((n, 2)) < 0.1] = np.nan
    groups = {"lot": lot}
    full, logs = filled(y, like, groups)
    left = whitened(full, like, groups)
    for x, mine, log in zip(y.T, left.T, logs):
        at = np.flatnonzero(np.isfinite(x))
        known = v[np.ix_(at, at)]
        assert mine @ mine == pytest.approx(x[at] @ np.linalg.inv(known) @ x[at])
        assert log == pytest.approx(np.linalg.slogdet(known)[1], abs=1e-9)
        turned = whitened(mine[:, None], like, groups, turned=True)[at, 0]
        assert turned == pytest.approx(np.linalg.inv(known) @ x[at])
    h = (np.arange(n) >= 25) * 1.0
    x, one = rng.normal(size=n) + h, np.ones((n, 1))
    fits = [sm.GLS(x, d, sigma=v).fit().llf for d in (one, np.column_stack([one, h]))]
    z, g, span = (whitened(np.reshape(a, (n, 1)), like, groups)[:, 0] for a in (x, h, one))
    z, g = (a - span * (span @ a) / (span @ span) for a in (z, g))
    r2 = (z @ g) ** 2 / (z @ z) / (g @ g)
    assert -n * np.log1p(-r2) == pytest.approx(2 * (fits[1] - fits[0]))


@pytest.mark.parametrize("noise", ["lots 60 %", "neighbours 0.6"])
def test_lengths_of_patterns_are_those_over_the_known_batches(noise):
    """Against h' V⁻¹ h with NumPy's inverse, V of the known batches alone; two unknown side by side are as near as 3 %."""
    table = made(SEEDS + 8, noise, n=60)[0]
    pats = patterns(table)
    seen = np.isfinite(basic_series(table)[0].y)[:, None]
    at, lot = np.flatnonzero(seen), pats.groups["lot"]
    for like, (whole, lost) in zip(
        likenesses(pats.groups), pats.lengths(likenesses(pats.groups), seen)
    ):
        if like.kind == "day":
            continue
        v, h = correlation(like, lot), pats.h
        assert whole == pytest.approx((h * (np.linalg.inv(v) @ h)).sum(axis=0))
        known = (h[at] * (np.linalg.inv(v[np.ix_(at, at)]) @ h[at])).sum(axis=0)
        assert np.median(np.abs((whole - lost[0]) / known - 1)) < 0.03


def test_strays_stand_beyond_the_tail_and_heavy_tails_hold_none():
    rng = np.random.default_rng(9)
    heavy = sum(len(far_out(rng.standard_t(3, 150), 0.001)) > 0 for _ in range(300))
    assert heavy <= 3
    x = rng.normal(size=150)
    x[[20, 90]] += [25, -30]
    assert far_out(x, 0.001).tolist() == [20, 90]
    step = np.where(np.arange(150) >= 75, 6.0, 0.0) + 0.1 * rng.normal(size=150)
    assert len(far_out(step, 0.001)) == 0 and np.allclose(
        held_in(step)[[74, 75]], step[[74, 75]], atol=0.3
    )

"""Charts, components, regression, change points and power against figures from outside.

Handbook means the NIST/SEMATECH e-Handbook of Statistical Methods. Its pages were not read; the data files marked "read" were.
"""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from kit.batches import BatchTable, drivers, gauge_study, i_mr
from kit.batches.change import change_points
from kit.batches.charts import xbar_r
from kit.batches.compare import compare
from kit.batches.components import components, reml
from kit.batches.constants import constants
from kit.batches.means import mean_of, welch
from kit.batches.power import batches_needed, beyond, power
from kit.batches.rules import together
from kit.casing.scatter import share_interval_pct

PRINTED = {
    2: (1.128, 0.853, 1.880, 0, 3.267),
    3: (1.693, 0.888, 1.023, 0, 2.574),
    4: (2.059, 0.880, 0.729, 0, 2.282),
    5: (2.326, 0.864, 0.577, 0, 2.114),
    6: (2.534, 0.848, 0.483, 0, 2.004),
    7: (2.704, 0.833, 0.419, 0.076, 1.924),
    8: (2.847, 0.820, 0.373, 0.136, 1.864),
    9: (2.970, 0.808, 0.337, 0.184, 1.816),
    10: (3.078, 0.797, 0.308, 0.223, 1.777),
}


@pytest.mark.parametrize("n", PRINTED)
def test_chart_constants_of_printed_tables(n):
    """d2 d3 A2 D3 D4 as any printed table gives them (from memory, high confidence). Tables print to 0.001 and some round d2 first,
    so D4 for n = 3 and 5 is 0.0006 off the exact figure: tolerance 0.001."""
    chart = xbar_r(np.random.default_rng(n).normal(size=(20, n)))
    (means,), (ranges,) = chart.phases, chart.ranges.phases
    A2, D3, D4 = (x / ranges.centre for x in (means.high - means.centre, ranges.low, ranges.high))
    np.testing.assert_allclose((*constants(n), A2, D3, D4), PRINTED[n], atol=0.001)


def test_chart_constants_for_two_values_in_closed_form():
    """d2 = 2/√π, d3 = √(2 − 4/π): the range of two normal values is |x − y|."""
    np.testing.assert_allclose(
        constants(2),
        (2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)),
        rtol=1e-9,
    )


def test_range_of_25_and_100_values():
    """d2 = 3.931 for 25 and 5.015 for 100 values, Tippett's table of 1925 (from memory, high confidence; printed to 0.001)."""
    assert constants(25)[0] == pytest.approx(3.931, abs=0.0005) and constants(100)[
        0
    ] == pytest.approx(5.015, abs=0.0005)


FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals_of_a_flow_rate():
    """Handbook 6.3.2.2 (data and limits from memory, high confidence): mean 50.81, mean range 1.8778, limits 55.8041 and 45.8159 with d2 rounded
    to 1.128, which moves them by 0.0017 at most; no signal."""
    chart = i_mr(FLOW, rules=("beyond 3",))
    assert chart.phases[0].centre == pytest.approx(50.81, abs=1e-9) and chart.ranges.phases[
        0
    ].centre == pytest.approx(1.8778, abs=5e-5)
    np.testing.assert_allclose(
        (chart.phases[0].high, chart.phases[0].low), (55.8041, 45.8159), atol=0.002
    )
    assert chart.stable


JETS = [
    78.4,
    80.1,
    84.4,
    79.1,
    80.4,
    83.5,
    73.8,
    83.5,
    75.0,
    76.8,
    70.5,
    80.3,
    82.4,
    79.4,
    86.4,
    90.5,
    77.7,
    82.5,
    79.9,
    83.2,
]


def test_individuals_of_engine_diameters():
    """Sample data of a statistics program (data read, limits computed elsewhere with exact d2): mean 80.390, mean range 5.32632, sigma 4.72032,
    limits 94.5510 and 66.2290, range limit 17.3986; no signal."""
    chart = i_mr(JETS, rules=("beyond 3",))
    np.testing.assert_allclose(
        (
            chart.phases[0].centre,
            chart.ranges.phases[0].centre,
            chart.phases[0].sigma,
            chart.phases[0].high,
            chart.phases[0].low,
        ),
        (80.390, 5.32632, 4.72032, 94.5510, 66.2290),
        atol=6e-5,
    )
    assert chart.ranges.phases[0].high == pytest.approx(17.3986, abs=2e-4) and chart.stable


GEAR = """1.006 .996 .998 1.000 .992 .993 1.002 .999 .994 1.000  .998 1.006 1.000 1.002 .997 .998 .996 1.000 1.006 .988
.991 .987 .997 .999 .995 .994 1.000 .999 .996 .996  1.005 1.002 .994 1.000 .995 .994 .998 .996 1.002 .996
.998 .998 .982 .990 1.002 .984 .996 .993 .980 .996  1.009 1.013 1.009 .997 .988 1.002 .995 .998 .981 .996
.990 1.004 .996 1.001 .998 1.000 1.018 1.010 .996 1.002  .998 1.000 1.006 1.000 1.002 .996 .998 .996 1.002 1.006
1.002 .998 .996 .995 .996 1.004 1.004 .998 .999 .991  .991 .995 .984 .994 .997 .997 .991 .998 1.004 .997"""


def test_means_and_ranges_of_gears():
    """Gear diameters, ten batches of ten (handbook data file, read): grand mean 0.99764, mean range 0.0181, limits of means 0.99206 and 1.00322,
    of ranges 0.00404 and 0.03216 (computed elsewhere). Batch 5, mean 0.9919, is out; the range of batch 6, 0.032, is just inside."""
    gear = np.array(GEAR.split(), float).reshape(10, 10)
    chart = xbar_r(gear)
    np.testing.assert_allclose(
        (
            chart.phases[0].centre,
            chart.ranges.phases[0].centre,
            chart.phases[0].low,
            chart.phases[0].high,
            chart.ranges.phases[0].low,
            chart.ranges.phases[0].high,
        ),
        (0.99764, 0.0181, 0.99206, 1.00322, 0.00404, 0.03216),
        atol=6e-6,
    )
    assert (
        [a.at for a in chart.alarms] == [4]
        and chart.values[4] == pytest.approx(0.9919, abs=1e-9)
        and chart.ranges.values[5] == pytest.approx(0.032)
    )


def test_false_alarms_beyond_three_sigma():
    """Exact: 1 − 0.9973002^n for known limits. Simulated from 240,000 / n series: within three standard errors."""
    for n in (20, 60, 120):
        exact = 1 - 0.9973002**n
        assert together(n, ("beyond 3",)) == pytest.approx(
            exact, abs=3 * math.sqrt(exact * (1 - exact) * n / 240_000)
        )


def test_false_alarms_of_all_four_classic_rules():
    """Champ and Woodall 1987 (from memory): run length 91.75 with all four rules on known limits. Waits are nearly exponential after the first few
    batches, so by batch 100 about 1 − exp(−100 / 91.75) = 0.664 of charts have spoken; the start-up of the runs is worth about two points."""
    assert together(
        100, ("beyond 3", "2 of 3 beyond 2", "4 of 5 beyond 1", "8 on one side")
    ) == pytest.approx(1 - math.exp(-100 / 91.75), abs=0.05)


DYE = dict(
    zip(
        "ABCDEF",
        (
            [1545, 1440, 1440, 1520, 1580],
            [1540, 1555, 1490, 1560, 1495],
            [1595, 1550, 1605, 1510, 1560],
            [1445, 1440, 1595, 1465, 1545],
            [1595, 1630, 1515, 1635, 1625],
            [1520, 1455, 1450, 1480, 1445],
        ),
    )
)


@pytest.mark.parametrize("method", [components, reml])
def test_dyestuff_yield_by_batch(method):
    """Davies and Goldsmith 1972, section 6.4 (data read as carried by an open data package): between batches 1764.05, within 2451.25, mean 1527.5.
    Balanced, so REML and analysis of variance agree; REML stops within 1e-4 of the top."""
    found = method(sum(DYE.values(), []), {"batch": np.repeat(list(DYE), 5)})
    assert found.mean == pytest.approx(1527.5, abs=1e-6)
    assert found.part("batch").variance == pytest.approx(
        1764.05, rel=1e-4 if method is reml else 1e-9
    )
    assert found.part("within").variance == pytest.approx(
        2451.25, rel=1e-4 if method is reml else 1e-9
    )


PASTES = """62.8 62.6 60.1 62.3 62.7 63.1  60 61.4 57.5 56.9 61.1 58.9  58.7 57.5 63.9 63.1 65.4 63.7  57.1 56.4 56.9 58.6 64.7 64.5
55.1 55.1 54.7 54.2 58.8 57.5  63.4 64.9 59.3 58.1 60.5 60  62.5 62.6 61 58.7 56.9 57.7  59.2 59.4 65.2 66 64.8 64.1
54.8 54.8 64 64 57.7 56.8  58.3 59.3 59.2 59.2 58.9 56.6"""


@pytest.mark.parametrize("method", [components, reml])
def test_pastes_by_batch_and_cask(method):
    """Davies and Goldsmith 1972, paste strength, 10 batches x 3 casks x 2 tests (data read as carried by an open data package): mean 60.0533,
    components 1.6573, 8.4337 and 0.6780."""
    batch, cask = np.repeat(list("ABCDEFGHIJ"), 6), np.tile(np.repeat(list("abc"), 2), 10)
    found = method(
        np.array(PASTES.split(), float), {"batch": batch, "cask": np.char.add(batch, cask)}
    )
    assert found.mean == pytest.approx(60.0533, abs=5e-5)
    np.testing.assert_allclose(
        [p.variance for p in found.components],
        [1.6573, 8.4337, 0.6780],
        atol=2e-3 if method is reml else 6e-5,
    )


GAUGE = """23 22 22 22 22 25 23 22 23 22 20 22 22 22 24 25 27 28 23 24 23 24 24 22 22 22 24 23 22 24 20 20 25 24 22 24 21 20 21 22 21 22 21 21 24 27 25 27
23 22 25 23 23 22 22 23 25 21 24 23"""


def gauge(**options):
    """Three operators, ten parts, two repeats; operator fastest, then part, then repeat."""
    return gauge_study(
        np.array(GAUGE.split(), float),
        np.tile(list("ABC"), 20),
        np.tile(np.repeat(range(10), 3), 2),
        **options,
    )


def test_gauge_study_sums_of_squares():
    """Example of an open quality package (data read; recomputed, and its printed output from memory agrees): 20.6333, 107.0667, 22.0333, 36.0; interaction p 0.467."""
    g = gauge()
    np.testing.assert_allclose(
        [row[2] for row in g.table], [20.6333, 107.0667, 22.0333, 36.0], atol=6e-5
    )
    assert g.interaction_p == pytest.approx(0.467, abs=5e-4)


def test_gauge_study_pooled():
    """The same, pooled: repeatability 1.20903, operator 0.45538, gauge 1.66441, part 1.78121, in all 3.44562."""
    g = gauge()
    assert g.pooled
    np.testing.assert_allclose(
        (g.repeatability, g.operator, g.gauge, g.part, g.total),
        (1.20903, 0.45538, 1.66441, 1.78121, 3.44562),
        atol=6e-6,
    )


def test_gauge_study_not_pooled():
    """The same, not pooled: 1.2000, operator 0.45463, interaction 0.01204, part 1.77870."""
    g = gauge(pool_above=1.0)
    np.testing.assert_allclose(
        (g.repeatability, g.operator, g.interaction, g.part),
        (1.2, 0.45463, 0.01204, 1.77870),
        atol=6e-6,
    )


X = [
    0.2,
    337.4,
    118.2,
    884.6,
    10.1,
    226.5,
    666.3,
    996.3,
    448.6,
    777.0,
    558.2,
    0.4,
    0.6,
    775.5,
    666.9,
    338.0,
    447.5,
    11.6,
    556.0,
    228.1,
    995.8,
    887.6,
    120.2,
    0.3,
    0.3,
    556.8,
    339.1,
    887.2,
    999.0,
    779.0,
    11.1,
    118.3,
    229.2,
    669.1,
    448.9,
    0.5,
]
Y = [
    0.1,
    338.8,
    118.1,
    888.0,
    9.2,
    228.1,
    668.5,
    998.5,
    449.1,
    778.9,
    559.2,
    0.3,
    0.1,
    778.1,
    668.8,
    339.3,
    448.9,
    10.8,
    557.7,
    228.3,
    998.0,
    888.8,
    119.6,
    0.3,
    0.6,
    557.6,
    339.3,
    888.0,
    998.5,
    778.9,
    10.2,
    117.6,
    228.9,
    668.4,
    449.2,
    0.2,
]


def test_norris_certified_values():
    """NIST certified values for the data set Norris (read, through open libraries that test against it): slope and its error to 1e-9."""
    d = drivers(Y, {"x": np.array(X)})
    np.testing.assert_allclose(
        (d.drivers[0].slope, d.drivers[0].se),
        (1.00211681802045, 4.29796848199937e-4),
        rtol=1e-9,
    )


def longley():
    import statsmodels.api as sm

    data = sm.datasets.longley.load_pandas()
    return np.asarray(data.endog, float), {
        name: np.asarray(column, float) for name, column in data.exog.items()
    }


def test_longley_certified_values():
    """NIST certified values for Longley (memory, high confidence; data from statsmodels), a set made to break careless sums: to 1e-6."""
    y, x = longley()
    d = drivers(y, x)
    np.testing.assert_allclose(
        [c.slope for c in d.drivers],
        [
            15.0618722713733,
            -0.0358191792925910,
            -2.02022980381683,
            -1.03322686717359,
            -0.0511041056535807,
            1829.15146461355,
        ],
        rtol=1e-6,
    )


def test_longley_is_named_as_collinear():
    """Every textbook uses Longley as its example of collinearity: variance inflations run from 3.6 to 1789 (printed in several, from memory)."""
    d = drivers(*longley())
    vif = [c.vif for c in d.drivers]
    assert max(vif) == pytest.approx(1788.5, abs=0.5) and min(vif) == pytest.approx(3.59, abs=0.01)
    assert any("move together" in note for note in d.notes)


def test_distance_as_statsmodels_gives_them():
    """Stack loss of an ammonia plant (statsmodels data): batch 21 is the textbook outlier by Cook's distance (from memory)."""
    import statsmodels.api as sm

    data = sm.datasets.stackloss.load_pandas()
    d = drivers(
        np.asarray(data.endog, float), {n: np.asarray(c, float) for n, c in data.exog.items()}
    )
    assert d.strong[0] == 20


def nile():
    import statsmodels.api as sm

    return np.asarray(sm.datasets.nile.load_pandas().data["volume"], float)


def test_nile_changes_after_1898():
    """Flow of the Nile 1871 to 1970 (statsmodels data): one break, after 1898, means 1097.75 and 849.972 (known in print many times over; computed)."""
    c = change_points(nile())
    assert [1871 + k for k in c.starts] == [1899] and 28 in c.changes[0].likely
    assert c.changes[0].before == pytest.approx(1097.75, abs=5e-3) and c.changes[
        0
    ].after == pytest.approx(849.972, abs=5e-4)


def test_nile_before_and_after():
    """Welch interval as statsmodels gives it, to rounding."""
    from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

    x = nile()
    (ours,) = change_points(x).changes
    means = CompareMeans(DescrStatsW(x[28:]), DescrStatsW(x[:28]))
    theirs = means.tconfint_diff(alpha=0.1, usevar="unequal")
    np.testing.assert_allclose(ours.interval, theirs, rtol=1e-9)


@pytest.mark.parametrize(
    "effect, exact, rounded",
    [(1.0, 16.71, 17), (0.5, 63.77, 64), (0.8, 25.52, 26), (0.2, 393.41, 394)],
)
def test_batches_of_power_tables(effect, exact, rounded):
    """Cohen 1988, two-sided 5 %, power 0.8: 17, 64, 26 and 394 to a group (from memory; the unrounded figures were computed)."""
    n = batches_needed(effect, 1.0)
    assert n.exact == pytest.approx(exact, abs=0.006) and n.per_side == rounded


def test_power_as_statsmodels_gives_it():
    """statsmodels, two-sample t test: to rounding, over a grid that ends where statsmodels itself answers nan (power all but 1)."""
    from statsmodels.stats.power import TTestIndPower

    grid = [(d, n) for d in (0.3, 0.8, 1.5, 2.5) for n in (4, 10, 35, 120) if d * d * n < 70]
    np.testing.assert_allclose(
        [float(power(d, n)) for d, n in grid],
        [TTestIndPower().power(d, n, 0.05) for d, n in grid],
        rtol=1e-7,
    )


@pytest.mark.parametrize("dof", (1, 2, 5, 30))
def test_the_chance_beyond_the_limits_where_libraries_give_up(dof):
    """The definition of the noncentral t, integrated adaptively by SciPy's quad; SciPy's own distribution wherever it answers."""
    edge = float(stats.t.ppf(0.975, dof))
    shifts = np.arange(0, 45, 0.7)
    found = beyond(edge, dof, shifts)

    def by_definition(shift):
        def at(s):
            cut = edge * s / np.sqrt(dof)
            return (stats.norm.sf(cut - shift) + stats.norm.cdf(-cut - shift)) * stats.chi.pdf(
                s, dof
            )

        middle, step = np.sqrt(dof), shift * np.sqrt(dof) / edge
        ends = max(middle - 9, 0), middle + 9
        breaks = [step] if ends[0] < step < ends[1] else None
        return quad(at, *ends, points=breaks, limit=500)[0]

    np.testing.assert_allclose(found, [by_definition(shift) for shift in shifts], atol=1e-8)
    assert (np.diff(found) > -1e-12).all() and found[0] == pytest.approx(0.05)
    library = stats.nct.sf(edge, dof, shifts) + stats.nct.cdf(-edge, dof, shifts)
    answers = np.isfinite(library)
    assert 5 < answers.sum() < len(shifts)
    np.testing.assert_allclose(found[answers], library[answers], atol=1e-8)


def test_a_change_clearer_than_any_simulated_noise_has_the_p_of_a_t_test():
    """Past the simulated series the chance is Bonferroni's: SciPy's two-sample t test (equal spread, n - 2 degrees of freedom) at that place, times
    the places tried. Ten batches, so that a degree of freedom more or less would move it by half."""
    from scipy import stats

    for n, least in ((10, 2), (12, 4), (40, 4)):
        x = np.random.default_rng(n).normal(size=n) + 14 * (np.arange(n) >= n // 2)
        (change,) = change_points(x, least=least, most=1).changes
        places = n - 2 * least + 1
        exact = places * stats.ttest_ind(x[: change.start], x[change.start :]).pvalue
        assert (
            change.start == n // 2
            and exact < 1 / 2001
            and change.p == pytest.approx(exact, rel=1e-9)
        )


SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)


def test_two_means_and_pairs_as_student_compared_them():
    """Cushny and Peebles' hours of sleep, Student 1908: Welch's t 1.8608 on 17.776 degrees of freedom, p 0.07939, 95 % interval −0.2054832 to
    3.3654832 (data and output of a statistics program read, printed to those digits); of pairs t 4.0621 on 9 (from memory, high confidence)."""
    a, b = map(np.array, SLEEP)
    found = welch(a, b)
    assert found.value / found.se == pytest.approx(1.8608, abs=5e-5)
    assert found.dof == pytest.approx(17.776, abs=5e-4)
    t95 = stats.t.ppf(0.975, found.dof)
    ends = (found.value - t95 * found.se, found.value + t95 * found.se)
    np.testing.assert_allclose(ends, (-0.2054832, 3.3654832), atol=5e-8)
    pairs = mean_of(b - a)
    assert pairs.value / pairs.se == pytest.approx(4.0621, abs=5e-5) and pairs.dof == 9


@pytest.mark.parametrize("seed", range(6))
def test_differences_and_their_intervals_are_those_of_scipy(seed):
    """scipy.stats.ttest_ind(equal_var=False) and ttest_rel with their 90 % intervals; both are exact, tolerance for rounding."""
    rng = np.random.default_rng(seed)
    a, b = rng.normal(9, 0.5, 9), rng.normal(9.4, 1.2, 11)
    other, found = stats.ttest_ind(b, a, equal_var=False), welch(a, b)
    np.testing.assert_allclose(found.interval, other.confidence_interval(0.9), rtol=1e-10)
    other, found = stats.ttest_rel(b[:9], a), mean_of(b[:9] - a)
    np.testing.assert_allclose(found.interval, other.confidence_interval(0.9), rtol=1e-10)


@pytest.mark.parametrize(("within", "n"), [(0, 12), (3, 12), (45, 60), (60, 60), (2, 400)])
def test_a_share_has_the_interval_of_clopper_and_pearson(within, n):
    """statsmodels' proportion_confint(method='beta'): the same definition, tolerance for rounding."""
    from statsmodels.stats.proportion import proportion_confint

    other = proportion_confint(within, n, alpha=0.1, method="beta")
    np.testing.assert_allclose(share_interval_pct(within, n), 100 * np.array(other), atol=1e-8)


def test_batches_needed_to_show_a_difference_are_those_of_statsmodels():
    """TTestIndPower.solve_power for the standard deviation and difference that a comparison found: the same non-central t, rounded up."""
    from statsmodels.stats.power import TTestIndPower

    rng = np.random.default_rng(5)
    start, loss = np.full((80, 1), 100.0), rng.normal(9, 0.6, 80) + np.repeat([0, 0.3], 40)
    table = BatchTable(tuple(map(str, range(80))), ("cook",), start, start - loss[:, None])
    line = compare(table, "batches 1 to 40", "batches 41 to 80").line("cook")
    sd = line.difference.sd
    want = TTestIndPower().solve_power(abs(line.difference.value) / sd, alpha=0.05, power=0.8)
    assert line.unit == "batch" and line.batches_needed == math.ceil(want)

"""Casings, link weights and the statistics of scatter against figures from outside."""

import math

import numpy as np
import pytest
from scipy.stats import binomtest

from kit.casing import plan_links, scatter
from kit.casing.density import batter_density
from kit.casing.geometry import fill_g_per_m, link_weight_g
from kit.casing.kinds import cellulose, cellulose_codes, collagen, hanks, machine, natural
from kit.casing.scatter import how_many
from kit.reading.measured import read_measured

SHEEP_G_PER_M = {
    "sheep 16-18": (164, 175),
    "sheep 18-20": (186, 197),
    "sheep 20-22": (230, 252),
    "sheep 22-24": (273, 295),
    "sheep 24-26": (295, 317),
    "sheep 26-28": (317, 339),
    "sheep 28+": (339, 372),
}
"""Three trade tables agree on the kilograms that a hank of 91 m holds; as grams per metre, calculated apart from the kit (whole grams)."""


@pytest.mark.parametrize("name", SHEEP_G_PER_M)
def test_sheep_casing_holds_what_the_trade_tables_say(name):
    """Disagreement: the figures apart from the kit took the hank as 300 ft = 91.44 m; the tables print 91 m, half a percent less."""
    low, high = SHEEP_G_PER_M[name]
    least, most = natural(name).hank.g_per_m
    assert least == pytest.approx(low * 91.44 / 91, abs=0.6) and most == pytest.approx(
        high * 91.44 / 91, abs=0.6
    )


def test_a_link_of_sheep_casing_weighs_what_its_round_weighs():
    """A link of 23 x 140 mm is π/4 × 2.3² × 14 = 58.2 ml; at 1.03 g/ml (a vacuum-filled batter, common practice: 1.02 to 1.05) 59.9 g. By the
    hank table it came to 40 g: the table says what to buy, since shorts, ends and a wide grading are lost, not what a link holds."""
    plan = plan_links(60, natural("sheep 22-24", batter_density(0, 1030)), length_mm=140)
    assert (
        plan.link_weight_g == pytest.approx(math.pi / 4 * 2.3**2 * 14 * 1.03, abs=0.01)
        and 58 < plan.link_weight_g < 61
    )


def test_every_natural_casing_held_is_checked():
    assert set(hanks()) == set(SHEEP_G_PER_M)


@pytest.mark.parametrize(
    "mm, g_per_m", [(17, 234), (19, 292), (21, 357), (23, 428), (25, 506), (27, 590)]
)
def test_geometry_at_the_middle_of_sheep_calibres(mm, g_per_m):
    """π/4 D² ρ at 1030 kg/m3, calculated apart (whole grams)."""
    assert fill_g_per_m(mm, 1030) == pytest.approx(g_per_m, abs=0.5)


def test_a_metre_of_hank_takes_half_to_three_quarters_of_its_round():
    """The trade's own capacity is only 54 to 75 % of a full round of the middle calibre, and less of it the wider the calibre: why a table says what to buy."""
    shares = [
        100 * g / fill_g_per_m(mm, 1030)
        for name, mm in zip(SHEEP_G_PER_M, (17, 19, 21, 23, 25, 27))
        for g in natural(name).hank.g_per_m
    ]
    assert (
        all(53.5 <= share <= 75.5 for share in shares)
        and np.mean(shares[-4:]) < np.mean(shares[:4]) - 8
    )


def test_collagen_19_mm_follows_its_geometry():
    """A seller's strand of 18.6 m takes 5.2 kg: 280 g/m. Geometry at 1030 kg/m3 says 292, 4 % more (ends, shirring, a looser fill): within 5 %."""
    geometry = collagen(19, batter_density(0, 1030)).g_per_m
    assert geometry == pytest.approx(292, abs=0.5) and geometry == pytest.approx(
        5200 / 18.6, rel=0.05
    )


def test_wide_collagen_is_sold_far_under_its_geometry():
    """A seller tells 70 to 80 lb for a 65 ft strand of 60 mm: 1.6 to 1.8 kg/m. A full round holds 2.9. The disagreement is real (nominal
    calibre, loose fill, or another product); the kit keeps to geometry and says to weigh a length."""
    told = [lb * 0.45359237 / (65 * 0.3048) for lb in (70, 80)]
    assert told == pytest.approx([1.6, 1.8], abs=0.05)
    assert [
        1000 * kg / machine(60, batter_density(0, 1030)).g_per_m for kg in told
    ] == pytest.approx([0.55, 0.63], abs=0.01)


CELLULOSE_MM = {
    14: (14.5, 15.0),
    15: (15.0, 15.5),
    16: (15.7, 16.2),
    17: (16.3, 16.8),
    18: (17.0, 17.5),
    19: (17.8, 18.3),
    20: (18.5, 19.0),
    21: (19.3, 19.8),
    22: (20.0, 20.5),
}


@pytest.mark.parametrize("code", CELLULOSE_MM)
def test_cellulose_codes_stuff_to_the_size_guide(code):
    """A size guide of the trade, nine rows, printed to 0.1 mm."""
    found, (low, high) = cellulose(code, batter_density(0, 1000)), CELLULOSE_MM[code]
    assert found.g_per_m_low == pytest.approx(
        math.pi / 4 * low**2
    ) and found.g_per_m_high == pytest.approx(math.pi / 4 * high**2)
    assert found.diameter_mm == pytest.approx((low + high) / 2) and len(cellulose_codes()) == len(
        CELLULOSE_MM
    )


@pytest.mark.parametrize(
    "mm, length, density, grams, tol",
    [
        (26, 125, 1030, 68.4, 0.05),
        (26, 125, 970, 64.4, 0.05),
        (24, 130, 1030, 60.6, 0.05),
        (20, 140, 1030, 45.3, 0.05),
        (32, 150, 1030, 124, 0.5),
    ],
)
def test_link_weights(mm, length, density, grams, tol):
    """π/4 D² L ρ calculated apart from the kit, last printed digit."""
    assert link_weight_g(mm, length, density) == pytest.approx(grams, abs=tol)


def test_a_usual_frankfurter_weighs_what_is_told():
    """43 to 57 g is told of a frankfurter: 20 to 22 mm by 130 mm lies inside."""
    assert all(
        43 < link_weight_g(mm, 130, batter_density().kg_per_m3) < 57 for mm in (20.5, 21, 22, 23)
    )


def test_batter_densities_lie_where_they_are_told():
    """Vacuum 1.02 to 1.05 g/ml (common practice, from memory); at most 1.07 measured (Marcotte et al. 2008)."""
    assert 1020 <= batter_density().kg_per_m3 <= 1050
    assert batter_density().air_free_kg_per_m3 <= 1070


# Berthouex and Brown, Statistics for Environmental Engineers, Table 21.1 (read): n and t/√n of the mean with 95 % confidence, printed to 0.01.
TABLE_21_1 = """4 1.59
5 1.24
6 1.05
7 0.92
8 0.84
9 0.77
10 0.72
12 0.64
15 0.55
20 0.47
25 0.41
30 0.37
40 0.32
60 0.26"""


@pytest.mark.parametrize("row", TABLE_21_1.split("\n"), ids=lambda row: f"n={row.split()[0]}")
def test_half_width_of_the_mean_of_a_printed_table(row):
    """To the last printed digit. The copy read prints 0.50 at n = 15, a misprint: 2.145/√15 is 0.554."""
    n, half = row.split()
    found = scatter(
        read_measured(list(np.arange(int(n), dtype=float) + 50), "g"), confidence_pct=95
    )
    assert (found.mean.high - found.mean.value) / found.sd.value == pytest.approx(
        float(half), abs=0.0051
    )


def test_interval_of_the_spread_by_a_printed_chi_square():
    """Chi-square of 9 degrees of freedom, 2.5 and 97.5 %: 2.700 and 19.023 (any printed table, from memory)."""
    found = scatter(read_measured([48, 49, 50, 51, 52, 50, 49, 51, 50, 53], "g"), confidence_pct=95)
    assert [found.sd.low / found.sd.value, found.sd.high / found.sd.value] == pytest.approx(
        [math.sqrt(9 / 19.023), math.sqrt(9 / 2.700)], rel=1e-4
    )


def test_mean_interval_against_statsmodels():
    from statsmodels.stats.weightstats import DescrStatsW

    values = np.random.default_rng(4).normal(50, 2, 23)
    found = scatter(read_measured(list(values), "g"), confidence_pct=90)
    assert (found.mean.low, found.mean.high) == pytest.approx(
        DescrStatsW(values).tconfint_mean(alpha=0.10)
    )


@pytest.mark.parametrize("out, n", [(0, 30), (2, 40), (7, 7), (11, 60)])
def test_counted_share_against_the_exact_binomial_interval(out, n):
    """SciPy's Clopper-Pearson interval; for none of 30 the upper end is the printed 11.6 %."""
    values = np.r_[
        np.full(out, 60.0) + np.arange(out) / 100, np.full(n - out, 50.0) + np.arange(n - out) / 100
    ]
    found = scatter(read_measured(list(values), "g"), high=55, confidence_pct=95).outside
    ends = binomtest(out, n).proportion_ci(0.95, "exact")
    assert (found.share_pct.low, found.share_pct.high) == pytest.approx(
        (100 * ends.low, 100 * ends.high), abs=1e-9
    )
    assert out or found.share_pct.high == pytest.approx(11.6, abs=0.05)


def test_how_many_by_a_printed_student_table():
    """Spread 10, mean to ± 5 with 95 %: t of 17 is 2.110, of 16 is 2.120 (any printed table): (2.110 × 2)² = 17.8 ≤ 18, (2.120 × 2)² = 18.0 > 17."""
    assert how_many(10, 5, 95) == 18

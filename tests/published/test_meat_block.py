"""Composition and the cheapest mix against figures and answers from outside the kit.

Published: United States public nutrient tables (Standard Reference), an open set of 215 measured meats, 9 CFR (2015 edition) limits put into
a full batch, the trade's square, and the weighted mean of the sausage guides. Independent: brute force.
"""

import csv
import math
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from kit.materials import by_lab, material
from kit.materials.composition import lean_line
from kit.materials.given import by_lean_ratio
from kit.meat_block import cheapest, compose
from kit.meat_block.mix import cooked
from kit.meat_block.target import square


def measured() -> np.ndarray:
    """Water, fat, protein of the 215 measured meats, percent."""
    with (Path(__file__).parent / "data" / "measured_meats.csv").open(encoding="utf-8") as handle:
        return np.array(
            [
                [float(row[f"{part}_pct"]) for part in ("water", "fat", "protein")]
                for row in csv.DictReader(handle)
            ]
        )


# ---- Standard Reference, Release 26: rows as read (water, protein, fat, ash)
GROUND_BEEF = {
    "95/5": (73.28, 21.41, 5, 1.05),
    "90/10": (69.50, 20.00, 10, 0.98),
    "85/15": (65.72, 18.59, 15, 0.91),
    "80/20": (61.94, 17.17, 20, 0.84),
    "75/25": (58.16, 15.76, 25, 0.77),
    "70/30": (54.38, 14.35, 30, 0.70),
}


@pytest.mark.parametrize("ratio", GROUND_BEEF)
def test_the_beef_line_gives_back_the_public_rows(ratio):
    """Six ground-beef rows; the line misses by at most 0.01, the step of the printed figures."""
    made = by_lean_ratio(ratio, "beef")
    for got, printed in zip(
        (made.moisture_pct, made.protein_pct, made.fat_pct, made.ash_pct), GROUND_BEEF[ratio]
    ):
        assert abs(got - printed) <= 0.01


def test_measured_meats_have_the_statistics_reckoned_for_them_outside():
    """215 meats by wet chemistry, statistics calculated before the kit existed: water on fat 77.138 − 0.76802 fat, R² 0.97634; mean water:protein
    3.6062, median 3.5577; means 63.204, 18.142, 17.683. Tolerance 1e-3 of the printed figures."""
    water, fat, protein = measured().T
    assert len(water) == 215
    slope, start = np.polyfit(fat, water, 1)
    assert abs(start - 77.138) < 1e-3 and abs(slope + 0.76802) < 1e-3
    assert abs(np.corrcoef(fat, water)[0, 1] ** 2 - 0.97634) < 1e-3
    assert (
        abs((water / protein).mean() - 3.6062) < 1e-3
        and abs(np.median(water / protein) - 3.5577) < 1e-3
    )
    assert np.allclose(
        (water.mean(), fat.mean(), protein.mean()), (63.204, 18.142, 17.683), atol=1e-3
    )


@pytest.mark.parametrize("species", ["beef", "pork"])
def test_the_lean_lines_tell_the_water_of_measured_meats(species):
    """The lines come from other tables, the meats are of unknown species. Each meat scatters about the set's own best line (root mean square 1.5 points
    of water); our lines may do no more than a tenth worse than that best line, and may be off on average by no more than 0.4 point. Protein is looser:
    off on average by less than 0.6 point."""
    water, fat, protein = measured().T
    line = lean_line(species)
    miss = line.pct("moisture", fat) - water
    slope, start = np.polyfit(fat, water, 1)
    best = start + slope * fat - water
    assert np.sqrt((miss**2).mean()) < 1.1 * np.sqrt((best**2).mean()) and abs(miss.mean()) < 0.4
    assert abs((line.pct("protein", fat) - protein).mean()) < 0.6


def test_composing_measured_lean_and_fatty_meats_lands_among_the_measured():
    """Mix the 20 leanest with the 20 fattest, one to one: water at that fat by the measured set's own line, within 3 points
    (twice the scatter of one meat)."""
    rows = measured()[np.argsort(measured()[:, 1])]
    slope, start = np.polyfit(rows[:, 1], rows[:, 0], 1)
    for (w1, f1, p1), (w2, f2, p2) in zip(rows[:20], rows[-20:]):
        mix = compose((by_lab("lean", "", w1, p1, f1), by_lab("fatty", "", w2, p2, f2)), (1, 1))
        assert (
            math.isclose(mix.fat_pct, (f1 + f2) / 2)
            and abs(mix.water_pct - (start + slope * mix.fat_pct)) < 3
        )
        assert math.isclose(mix.protein_pct, (p1 + p2) / 2)


def test_the_square_of_the_trade():
    """90CL and 50CL to 30 % fat: one to one (an identity; exact)."""
    made = square(by_lean_ratio("90CL", "beef"), by_lean_ratio("50CL", "beef"), 30, 100)
    assert math.isclose(made.lean_kg, 50) and math.isclose(made.fatty_kg, 50)


def test_mass_balance_of_two_printed_rows():
    """Pork trim 50 of the trade table: 10 + 39 + 50 = 99; public beef 80/20: 99.95 with its ash. The kit adds ash where the trade table has none."""
    trim, beef = material("pork trim 50"), material("beef ground 80/20")
    assert trim.protein_pct + trim.moisture_pct + trim.fat_pct == 99
    assert math.isclose(100 - beef.unaccounted_pct, 99.95, abs_tol=1e-9)
    assert abs(trim.unaccounted_pct) < 1.5 and abs(beef.unaccounted_pct) < 1.5


@pytest.mark.parametrize(
    "name, ratio",
    [
        ("beef ground 95/5", 3.42),
        ("beef ground 70/30", 3.79),
        ("beef shank, lean", 3.36),
        ("beef heart", 4.35),
        ("beef tripe", 6.97),
        ("pork stomach", 4.36),
        ("pork shoulder, lean and fat", 3.73),
        ("pork backfat", 2.63),
        ("mechanically separated pork", 3.78),
        ("mechanically deboned chicken backs and necks, with skin", 5.50),
        ("mechanically deboned turkey frames", 5.20),
        ("chicken fat", 7.75),
    ],
)
def test_moisture_to_protein_of_public_rows(name, ratio):
    """Worked out from the public rows before the kit existed; printed to 0.01."""
    assert abs(compose((material(name),), (7.3,)).moisture_to_protein - ratio) <= 0.006


def the_batch():
    """The full batch, with its figures as given: trim by trade table, salt and spice free of water."""
    plain = dict(moisture_pct=0, protein_pct=0, fat_pct=0)
    return (
        (
            material("beef ground 90/10"),
            by_lab("trim", "pork", 39, 10, 50, 0.6),
            material("ice"),
            by_lab("salt", "", **plain, ash_pct=100, kind="salt", salt_pct=100),
            material("curing salt 6.25 %"),
            material("nonfat dry milk"),
            by_lab("spice", "", **plain, ash_pct=0, carbohydrate_pct=100, kind="spice"),
            material("sodium erythorbate"),
        ),
        (40, 60, 30, 2.4, 0.25, 3.5, 0.5, 0.0547),
    )


def test_the_full_batch_at_92_percent():
    """A batch calculated by hand beforehand from public rows and the trade table (figures printed to 0.01; raw and finished weight to 0.001)."""
    raw = compose(*the_batch())
    done = cooked(raw, 92)
    assert abs(raw.total_kg - 136.705) < 0.0005 and abs(done.total_kg - 125.768) < 0.0011
    for got, printed in (
        (done.water_pct, 55.96),
        (done.protein_pct, 12.14),
        (done.fat_pct, 27.06),
        (done.salt_pct, 2.09),
    ):
        assert abs(got - printed) < 0.01
    assert abs(done.group2_protein_pct - 1.006) < 0.001
    # water-phase salt 3.61, milk powder 2.56 % of the raw and 2.78 % of the finished weight
    assert abs(100 * done.salt_kg / (done.salt_kg + done.water_kg) - 3.61) < 0.01
    assert (
        abs(100 * raw.counted_kg["binder"] / raw.total_kg - 2.56) < 0.005
        and abs(100 * done.counted_kg["binder"] / done.total_kg - 2.78) < 0.005
    )
    # added water by 9 CFR 318.22 (2015) 7.43, with fat 34.48; calculated here from the composition
    added = done.water_pct - 4 * (done.protein_pct - max(done.group2_protein_pct - 1, 0))
    assert abs(added - 7.43) < 0.01 and abs(added + done.fat_pct - 34.48) < 0.012


def test_a_weighted_mean_is_a_weighted_mean():
    """The mixing sum of the sausage guides: 60 kg at 10 % fat, 40 kg at 50 % fat, 25 kg of ice. Fat 26 kg in 125 kg = 20.8 %."""
    mix = compose(
        (by_lean_ratio("90CL", "beef"), material("pork trim 50"), material("ice")), (60, 40, 25)
    )
    assert (
        math.isclose(mix.fat_kg, 26)
        and math.isclose(mix.fat_pct, 20.8)
        and math.isclose(mix.meat_fat_kg / mix.meat_kg, 0.26)
    )


@pytest.mark.parametrize("prices", list(product((4.0, 6.5), (1.2, 2.6), (1.9, 3.3))))
def test_the_solver_agrees_with_every_mix_of_a_fine_grid(prices):
    """SciPy's answer against all 0.25 kg steps of three meats with ice held at 20 kg of 100: nothing on the grid is cheaper, and the grid comes
    within the price of two steps."""
    made = tuple(material(n) for n in ("beef trim 90", "pork trim 50", "pork trim 80", "ice"))
    found = cheapest(
        made,
        (*prices, 0.01),
        100,
        {"fat_pct_of_finished": (None, 26), "protein_pct_of_finished": (12, None)},
        least_kg=(24, None, None, 20),
        most_kg=(None, None, None, 20),
        cook_yield_pct=94,
    )
    a, b = (
        axis.ravel() for axis in np.meshgrid(np.arange(0, 80.1, 0.25), np.arange(0, 80.1, 0.25))
    )
    c = 80 - a - b
    inside = c >= -1e-9
    a, b, c = a[inside], b[inside], np.maximum(c[inside], 0)
    keeps = (
        ((10 * a + 50 * b + 20 * c) / 94 <= 26)
        & ((17 * a + 10 * b + 16 * c) / 94 >= 12)
        & (a >= 24 - 1e-9)
    )
    grid = (prices[0] * a + prices[1] * b + prices[2] * c + 0.2)[keeps].min()
    assert found.fits and found.cost <= grid + 1e-7
    assert grid - found.cost <= 2 * 0.25 * (max(prices) - min(prices)) + 1e-9

"""Lesson 06: how many links, how much casing, and why two links never weigh the same."""

from functools import lru_cache

import scipy as sp

from kit.casing import scatter
from kit.casing.geometry import link_weight_g
from kit.casing.scatter import how_many
from kit.chain.casing import links_of
from kit.lab.lessons import Exercise, Guess, exercise, guess_of, worked
from kit.lab.panels.sheets import demo_sheet
from kit.tables import data_path
from kit.working import steps_of

START = {
    "batter_kg": 97,
    "diameter_mm": 24.0,
    "length_mm": 130,
    "air_pct": 2.0,
    "strand_m": 25,
    "wanted_g": 58,
    "tolerance_pct": 5,
    "declared_g": 50,
    "yield_pct": 90.0,
}
"""where the panels of this lesson start: the invented demo batch"""
FULL = "3.141592653589793 / 4 × D ^ 2 × L × rho / 1000000"


@lru_cache(maxsize=1)
def demo_links():
    """The invented demo links: weight, length and diameter of the same links."""
    from kit.reading.measured import read_paired

    columns = {"weight": "g", "length": "mm", "diameter": "mm"}
    return read_paired(data_path("demo", "demo_links.csv"), columns)


def guess() -> Guess:
    plan = links_of(demo_sheet(), START["batter_kg"], air_pct=START["air_pct"])
    mm, grams = START["diameter_mm"], plan.link_weight_g
    return guess_of(
        "06 guess",
        lambda: float(grams * ((mm + 2) / mm) ** 2),
        link_length_mm=plan.link_length_mm,
        mm=mm,
        grams=grams,
        wider_mm=mm + 2,
    )


def exercises() -> tuple[Exercise, ...]:
    grams, z = float(link_weight_g(24, 130, 1010)), float(sp.special.ndtri(0.975))
    known = {
        "D": (24, "mm"),
        "L": (130, "mm"),
        "rho": (1010, "kg/m³"),
        "B": (60, "kg"),
        "m": (grams, "g"),
        "n": 60_000 / grams,
        "z": (z, "", "normal, 2.5 % below"),
        "a": (1.7, "g"),
        "b": (1.0, "g"),
        "s": z * 0.7,
    }
    counted = ("one link", f"m = {FULL}", "g"), ("links", "n = 1000 × B / m", "")
    saved = ("grams saved per link", "s = z × (a − b)", "g")

    def sample():
        sd = scatter(demo_links()["weight"]).sd
        whole = how_many(sd, 0.3)
        t = float(sp.special.stdtrit(whole - 1, 0.95))
        exact = (t * sd / 0.3) ** 2
        needed = {
            "t": (t, "", "Student, at that many links"),
            "s": (sd, "g", "standard deviation of the demo links"),
            "h": (0.3, "g"),
            "n": exact,
            "r": (whole - exact, "", "to the next whole link"),
            "N": whole,
        }
        what = "links, at that standard deviation"
        rounded = ("rounded up", "N = n + r", "links")
        return worked(needed, (what, "n = (t × s / h) ^ 2", ""), rounded)()

    def given_away():
        found = scatter(demo_links()["weight"], declared_g=50, yield_pct=90, price_per_kg=6.5)
        working = steps_of(found.working, "giveaway", "giveaway in your currency")
        return found.giveaway.money_per_1000, working

    return (
        exercise(
            "06 links",
            worked(known, *counted),
            lambda: 4 * 60_000 / grams,
            lambda: 1.01 * 60_000 / grams,
        ),
        exercise("06 sample", sample, lambda: (scatter(demo_links()["weight"]).sd / 0.3) ** 2),
        exercise(
            "06 giveaway", given_away, lambda: (scatter(demo_links()["weight"]).mean - 50) * 6.5
        ),
        exercise("06 target", worked(known, saved), lambda: z * 1.7),
    )

"""Lesson 06: how many links, how much casing, and why two links never weigh the same."""

from functools import lru_cache

import scipy as sp

from kit.casing import scatter
from kit.casing.geometry import link_weight_g
from kit.casing.scatter import how_many
from kit.chain.casing import links_of
from kit.lab.lessons import Exercise, Guess, exercise, guess_of
from kit.lab.panels.sheets import demo_sheet
from kit.tables import data_path
from kit.working import Step, step, steps_of

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
    plan = links_of(demo_sheet(), START["batter_kg"], air_pct=START["air_pct"]).plan
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
    return (
        _links(),
        _sample(),
        _given_away(),
        _saved(),
    )


def _links() -> Exercise:
    grams, density = float(link_weight_g(24, 130, 1010)), (1010, "kg/m³")
    weighed = step("one link", f"m = {FULL}", grams, "g", D=(24, "mm"), L=(130, "mm"), rho=density)
    answer = 60_000 / grams
    batter = (60, "kg")
    counted = step("links", "n = 1000 × B / m", answer, "", B=batter, m=(grams, "g"))
    return exercise(
        "06 links", lambda: (answer, (weighed, counted)), lambda: 4 * answer, lambda: 1.01 * answer
    )


def _sample() -> Exercise:
    def solve() -> tuple[float, tuple[Step, ...]]:
        sd = scatter(demo_links()["weight"]).sd
        whole = how_many(sd, 0.3)
        t = float(sp.special.stdtrit(whole - 1, 0.95))
        exact = (t * sd / 0.3) ** 2
        student, spread = (
            (t, "", "Student, at that many links"),
            "standard deviation of the demo links",
        )
        up, what = (
            (whole - exact, "", "to the next whole link"),
            "links, at that standard deviation",
        )
        s = (sd, "g", spread)
        return whole, (
            step(what, "n = (t × s / h) ^ 2", exact, t=student, s=s, h=(0.3, "g")),
            step("rounded up", "N = n + r", whole, "links", n=(exact, ""), r=up),
        )

    return exercise("06 sample", solve, lambda: (scatter(demo_links()["weight"]).sd / 0.3) ** 2)


def _given_away() -> Exercise:
    def solve() -> tuple[float, tuple[Step, ...]]:
        found = scatter(demo_links()["weight"], declared_g=50, yield_pct=90, price_per_kg=6.5)
        working = steps_of(found.working, "giveaway", "giveaway in your currency")
        return found.giveaway.money_per_1000, working

    return exercise("06 giveaway", solve, lambda: (scatter(demo_links()["weight"]).mean - 50) * 6.5)


def _saved() -> Exercise:
    z = float(sp.special.ndtri(0.975))
    answer, put_in = (
        z * 0.7,
        {"z": (z, "", "normal, 2.5 % below"), "a": (1.7, "g"), "b": (1.0, "g")},
    )
    working = step("grams saved per link", "s = z × (a − b)", answer, "g", **put_in)
    return exercise("06 target", lambda: (answer, (working,)), lambda: z * 1.7)

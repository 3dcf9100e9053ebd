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


@lru_cache(maxsize=1)
def demo_links():
    """The invented demo links: weight, length and diameter of the same links."""
    from kit.reading.measured import read_paired

    columns = {"weight": "g", "length": "mm", "diameter": "mm"}
    return read_paired(data_path("demo", "demo_links.csv"), columns)


def guess() -> Guess:
    plan = links_of(demo_sheet(), START["batter_kg"], air_pct=START["air_pct"])
    mm, grams = START["diameter_mm"], plan.link_weight_g
    known = {"link_length_mm": plan.link_length_mm, "mm": mm, "grams": grams, "wider_mm": mm + 2}
    return guess_of("06 guess", known, lambda: float(grams * ((mm + 2) / mm) ** 2))


def exercises() -> tuple[Exercise, ...]:
    grams, z = float(link_weight_g(24, 130, 1010)), float(sp.special.ndtri(0.975))
    size = {"D": 24, "L": 130, "rho": 1010, "B": 60, "m": grams, "n": 60_000 / grams}
    narrower = {"s": z * 0.7, "z": z, "a": 1.7, "b": 1.0}
    found = scatter(demo_links()["weight"], declared_g=50, yield_pct=90, price_per_kg=6.5)
    sd = found.sd.value
    whole = how_many(sd, 0.3)
    t = float(sp.special.stdtrit(whole - 1, 0.95))
    exact = (t * sd / 0.3) ** 2
    sample = {"t": t, "s": sd, "h": 0.3, "n": exact, "r": whole - exact, "N": whole}
    return (
        exercise("06 links", size, lambda: 4 * 60_000 / grams, lambda: 1.01 * 60_000 / grams),
        exercise("06 sample", sample, lambda: (sd / 0.3) ** 2),
        exercise(
            "06 giveaway",
            {},
            lambda: (found.mean.value - 50) * 6.5,
            working=lambda: steps_of(found.working, "giveaway", "giveaway in your currency"),
        ),
        exercise("06 target", narrower, lambda: z * 1.7),
    )

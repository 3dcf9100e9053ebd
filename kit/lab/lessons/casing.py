"""Lesson 06: how many links, how much casing, and why two links never weigh the same."""

from functools import lru_cache

import scipy as sp

from kit.casing import scatter
from kit.casing.geometry import link_weight_g
from kit.casing.scatter import how_many
from kit.chain.casing import links_of
from kit.lab.lessons import Exercise, Guess
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
    return Guess(
        f"A link of {plan.link_length_mm:.0f} mm stuffed to {mm:.0f} mm weighs {grams:.1f} g. "
        f"The stuffing pressure rises and the casing stretches to {mm + 2:.0f} mm. The length is the same. What does a link weigh now, in g?",
        "g",
        lambda: float(grams * ((mm + 2) / mm) ** 2),
        1.5,
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
    return Exercise(
        "A link is 24 mm in diameter and 130 mm long; the batter with its air has a density of 1010 kg/m³. How many cylindrical links can be made from 60 kg of batter?",
        "links",
        lambda: (answer, (weighed, counted)),
        5,
        (
            "First the weight of one link: π/4 × 24² × 130 mm³ are 58.8 ml; each weighs 1.01 g.",
            "60,000 g over that.",
        ),
        (
            (
                "that is four times as many: you used the radius in place of the diameter.",
                lambda: 4 * answer,
            ),
            (
                "that takes 1 ml as 1 g; 1 ml of this batter weighs 1.01 g.",
                lambda: 1.01 * answer,
            ),
        ),
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

    return Exercise(
        "How many links must be weighed for their mean to be known to ± 0.3 g (90 % interval), "
        "if they scatter like the demo links?",
        "links",
        solve,
        3,
        (
            "n = (t × s / h)²; begin with t = 1.7.",
            "The panel gives the standard deviation; it also counts how many more links are needed.",
        ),
        (
            (
                "that is ± 0.3 g for one standard error, not for a 90 % interval.",
                lambda: (scatter(demo_links()["weight"]).sd / 0.3) ** 2,
            ),
        ),
    )


def _given_away() -> Exercise:
    def solve() -> tuple[float, tuple[Step, ...]]:
        found = scatter(demo_links()["weight"], declared_g=50, yield_pct=90, price_per_kg=6.5)
        working = steps_of(found.working, "giveaway", "giveaway in your currency")
        return found.giveaway.money_per_1000, working

    return Exercise(
        "The demo links, packed at 90 % of their raw weight, are declared at 50 g. At 6.50 (your currency, invented) per kg, what is the giveaway of 1,000 links worth?",
        "money",
        solve,
        0.3,
        ("Mean times 0.90, less 50 g.", "Grams per link are kilograms per 1,000 links."),
        (
            (
                "you forgot the cook loss: 10 % of the raw weight is lost before packing.",
                lambda: (scatter(demo_links()["weight"]).mean - 50) * 6.5,
            ),
        ),
    )


def _saved() -> Exercise:
    z = float(sp.special.ndtri(0.975))
    answer, put_in = (
        z * 0.7,
        {"z": (z, "", "normal, 2.5 % below"), "a": (1.7, "g"), "b": (1.0, "g")},
    )
    working = step("grams saved per link", "s = z × (a − b)", answer, "g", **put_in)
    return Exercise(
        "A filler with a standard deviation of 1.7 g has a target above 50 g so that 2.5 % of the links are below 50 g. How much lower can the target be with a standard deviation of 1.0 g?",
        "g",
        lambda: (answer, (working,)),
        0.03,
        (
            "2.5 % of a normal distribution are below the mean − 1.96 standard deviations.",
            "1.96 × (1.7 − 1.0).",
        ),
        (
            (
                "that is the whole margin at 1.7 g; ask for the difference.",
                lambda: z * 1.7,
            ),
        ),
    )

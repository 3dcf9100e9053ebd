"""Lesson 06: how many links, how much casing, and why two links never weigh the same."""

from functools import lru_cache

from kit.casing import (
    drivers,
    how_many,
    link_weight_g,
    machine,
    mean_to_aim_at,
    natural,
    plan_links,
    read_paired,
    scatter,
)
from kit.chain.casing import density_of, links_of
from kit.lab.lessons import Exercise, Guess
from kit.meat_block import compose
from kit.reading import read_sheet
from kit.sheet import Sheet
from kit.tables import data_path
from kit.working import step

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
def demo_sheet() -> Sheet:
    """The invented demo batch."""
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


@lru_cache(maxsize=1)
def demo_links():
    """The invented demo links: weight, length and diameter of the same links."""
    return read_paired(
        data_path("demo", "demo_links.csv"), {"weight": "g", "length": "mm", "diameter": "mm"}
    )


def guess() -> Guess:
    plan = links_of(demo_sheet(), START["batter_kg"], air_pct=START["air_pct"]).plan
    return Guess(
        f"A link of {plan.link_length_mm:.0f} mm stuffed to {START['diameter_mm']:.0f} mm weighs {plan.link_weight_g:.1f} g. The stuffer runs a little harder and the casing gives: "
        f"{START['diameter_mm'] + 2:.0f} mm. Same length. What does a link weigh now, in g?",
        "g",
        lambda: float(
            plan.link_weight_g * ((START["diameter_mm"] + 2) / START["diameter_mm"]) ** 2
        ),
        1.5,
    )


def exercises() -> tuple[Exercise, ...]:
    density = density_of(
        compose(demo_sheet().materials, demo_sheet().kg),
        demo_sheet().process.written_end_C,
        START["air_pct"],
    )
    rho = density.kg_per_m3

    def one_link():
        answer = float(link_weight_g(24, 130, 1010))
        return answer, (
            step(
                "weight of a cylinder",
                f"m = {FULL}",
                answer,
                "g",
                D=(24, "mm"),
                L=(130, "mm"),
                rho=(1010, "kg/m³"),
            ),
        )

    def links():
        plan = plan_links(60, machine(24, density), length_mm=130)
        return plan.links, (
            step(
                "whole links, before rounding down",
                "n = 1000 × B / m",
                60_000 / plan.link_weight_g,
                "",
                B=(60, "kg"),
                m=(plan.link_weight_g, "g"),
            ),
            step(
                "batter left over",
                "left = B − n × m / 1000",
                plan.left_kg,
                "kg",
                B=(60, "kg"),
                n=(plan.links, "", "whole links"),
                m=(plan.link_weight_g, "g"),
            ),
            step(
                "so many are whole",
                "n = B / (m / 1000) − r",
                plan.links,
                "links",
                B=(60, "kg"),
                m=(plan.link_weight_g, "g"),
                r=(60_000 / plan.link_weight_g - plan.links, "", "the part of a link that is left"),
            ),
        )

    def sheep_share():
        casing = natural("sheep 22-24", density)
        full = machine(23, density).g_per_m
        bought = 1000 * casing.hank.middle_kg / casing.hank.metres
        return 100 * bought / full, (
            step(
                "batter to a metre of hank",
                "g = 1000 × m / L",
                bought,
                "g/m",
                m=(casing.hank.middle_kg, "kg"),
                L=(casing.hank.metres, "m"),
            ),
            step(
                "a full round of 23 mm",
                "f = 3.141592653589793 / 4 × D ^ 2 × rho / 1000",
                full,
                "g/m",
                D=(23, "mm"),
                rho=(rho, "kg/m³"),
            ),
            step(
                "share of it",
                "s = 100 × g / f",
                100 * bought / full,
                "%",
                g=(bought, "g/m"),
                f=(full, "g/m"),
            ),
        )

    def thinner():
        answer = 24 * (55 / 59) ** 0.5
        return answer, (
            step(
                "diameter for the lighter link",
                "d = D × √(m1 / m0)",
                answer,
                "mm",
                D=(24, "mm"),
                m1=(55, "g"),
                m0=(59, "g"),
            ),
        )

    def sample():
        weights = demo_links()["weight"]
        found = scatter(weights)
        need = how_many(found.sd, 0.3)
        t = _student(need)
        return need, (
            step(
                "links, at the spread found",
                "n = (t × s / h) ^ 2",
                (t * found.sd / 0.3) ** 2,
                "",
                t=(t, "", "Student, at that many links"),
                s=(found.sd, "g", "spread of the demo links"),
                h=(0.3, "g"),
            ),
            step(
                "rounded up",
                "N = n + r",
                need,
                "links",
                n=((t * found.sd / 0.3) ** 2, ""),
                r=(need - (t * found.sd / 0.3) ** 2, "", "to the next whole link"),
            ),
        )

    def given_away():
        found = scatter(demo_links()["weight"], declared_g=50, yield_pct=90, price_per_kg=6.5)
        return found.giveaway.money_per_1000, tuple(
            s for s in found.working if "iveaway" in s.what or "Money" in s.what
        )

    def saved():
        wide, tight = mean_to_aim_at(50, 1.7, 2.5), mean_to_aim_at(50, 1.0, 2.5)
        return wide - tight, (
            step(
                "grams saved per link",
                "s = z × (a − b)",
                wide - tight,
                "g",
                z=((wide - 50) / 1.7, "", "normal, 2.5 % below"),
                a=(1.7, "g"),
                b=(1.0, "g"),
            ),
        )

    return (
        Exercise(
            "A link is 24 mm thick and 130 mm long; the batter weighs 1010 kg per cubic metre with its air. What does the link weigh, as a cylinder?",
            "g",
            one_link,
            0.3,
            (
                "Area of the round times length times density: π/4 × 24² × 130 mm³.",
                "58 800 mm³ are 58.8 ml; each weighs 1.01 g.",
            ),
            (
                (
                    "that is a quarter of it: you put the radius where the diameter belongs.",
                    lambda: float(link_weight_g(12, 130, 1010)),
                ),
            ),
        ),
        Exercise(
            f"60 kg of batter of {rho:.0f} kg/m³ go into casing of 24 mm, links of 130 mm. How many whole links?",
            "links",
            links,
            1.5,
            ("Weigh one link first, as in exercise 1.", "60 000 g over that; round down."),
            (
                (
                    "that counts the batter without its air: the density in the casing is lower.",
                    lambda: 60_000 / float(link_weight_g(24, 130, density.air_free_kg_per_m3)),
                ),
            ),
        ),
        Exercise(
            f"The trade's table says that a hank of sheep casing 22-24, 91 m long, takes 25 to 27 kg. What share of a full round of 23 mm is that, at {rho:.0f} kg/m³, in percent?",
            "%",
            sheep_share,
            1,
            (
                "First the table's middle in grams per metre: 26 000 g over 91 m.",
                "Then the full round: π/4 × 0.023² m² × density × 1000 g. Divide.",
            ),
            (
                (
                    "that is the full round over the table, the wrong way up.",
                    lambda: 100 * 23**2 * rho * 3.141592653589793 / 4e3 / (26_000 / 91),
                ),
            ),
        ),
        Exercise(
            "Links of 24 mm weigh 59 g and 55 g are wanted, at the same length. How thick should they be stuffed?",
            "mm",
            thinner,
            0.06,
            ("Weight goes with the square of the diameter.", "24 × √(55 / 59)."),
            (("weight goes with the square: take the root.", lambda: 24 * 55 / 59),),
        ),
        Exercise(
            "How many links must be weighed for their mean to be known to ± 0.3 g (95 %), if they scatter like the demo links?",
            "links",
            sample,
            3,
            (
                "n = (t × s / h)²; begin with t = 2.",
                "The panel gives the spread; it also counts how many more are needed.",
            ),
            (
                (
                    "that is ± 0.3 g for one standard error, not for 95 %.",
                    lambda: (scatter(demo_links()["weight"]).sd / 0.3) ** 2,
                ),
            ),
        ),
        Exercise(
            "The demo links, 90 % left when packed, are declared at 50 g. At 6.50 per kg (invented), what do 1000 links give away?",
            "money",
            given_away,
            0.3,
            ("Mean times 0.90, less 50 g.", "Grams per link are kilograms per 1000."),
            (
                (
                    "you forgot the cook: 10 % of the raw weight is gone before the pack is closed.",
                    lambda: (scatter(demo_links()["weight"]).mean - 50) * 6.5,
                ),
            ),
        ),
        Exercise(
            "A filler with a spread of 1.7 g must aim above 50 g so that 2.5 % of links lie below. How much lower may it aim with a spread of 1.0 g?",
            "g",
            saved,
            0.03,
            ("2.5 % of a normal curve lie below mean − 1.96 spreads.", "1.96 × (1.7 − 1.0)."),
            (
                (
                    "that is the whole margin at 1.7 g; ask for the difference.",
                    lambda: mean_to_aim_at(50, 1.7, 2.5) - 50,
                ),
            ),
        ),
    )


def _student(n: int) -> float:
    from scipy import stats

    return float(stats.t.ppf(0.975, n - 1))


def which_drives() -> str:
    """What the demo links say drives their weight."""
    columns = demo_links()
    return drivers(columns["weight"], columns["length"], columns["diameter"]).sentence

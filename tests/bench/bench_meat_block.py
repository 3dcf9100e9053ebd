"""How fast is the meat block, against the plain way in the same run?   python tests/bench/bench_meat_block.py   (by hand; prints a table)"""

import sys
from pathlib import Path
from timeit import repeat

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from kit.materials import material
from kit.materials.composition import PARTS, materials
from kit.materials.given import by_eye
from kit.meat_block import cheapest, compose
from kit.meat_block.mix import cooked
from kit.meat_block.uncertainty import cloud

NAMES = (
    "beef trim 90",
    "pork trim 80",
    "pork trim 50",
    "pork backfat",
    "ice",
    "salt",
    "curing salt 6.25 %",
    "nonfat dry milk",
    "spice, generic",
    "sodium erythorbate",
    "dextrose",
    "soy protein isolate",
)
BOWL, KG = tuple(material(n) for n in NAMES), (30, 30, 30, 10, 25, 2.4, 0.25, 3, 0.5, 0.05, 1, 1)
LOTS, LOTS_KG = (
    tuple(by_eye(f"lot {n}", "pork", 10 + 5 * n, 20 + 6 * n) for n in range(5)) + BOWL[4:],
    (30, 30, 20, 10, 10, *KG[4:]),
)
TWENTY = (
    tuple(
        m
        for m in materials().values()
        if m.kind == "meat" and "ground" in m.name or "trim" in m.name
    )[:14]
    + BOWL[4:10]
)
PRICE = tuple(2 + 3 * abs(np.sin(n)) for n in range(14)) + (0.01, 0.3, 1, 3, 8, 12)
LIMITS = {
    "fat_pct_of_finished": (None, 30),
    "protein_pct_of_finished": (11, None),
    "binder_pct_of_batch": (None, 3.5),
    "salt_pct_of_finished": (2, 2.2),
    "fat_and_added_water_pct_of_finished": (None, 40),
}


def best_ms(call, number):
    return 1000 * min(repeat(call, number=number, repeat=5)) / number


def plain_mix(made=BOWL, kg=KG):
    """The same sums as a loop over ingredients and parts."""
    total, parts, proteins, classes = sum(kg), dict.fromkeys(PARTS, 0.0), {}, {}
    for m, w in zip(made, kg):
        for part in PARTS:
            parts[part] += w * getattr(m, f"{part}_pct") / 100
        proteins[m.species] = proteins.get(m.species, 0) + w * m.protein_pct / 100
        classes[m.rule_class] = classes.get(m.rule_class, 0) + w
    return {part: 100 * kg_part / total for part, kg_part in parts.items()}, proteins, classes


def plain_cloud(count=10_000):
    """One mix at a time, 1/50 of the cloud."""
    rng = np.random.default_rng(1)
    return [
        plain_mix(
            [m.at_fat(rng.normal(m.fat_pct, m.fat_sd_pct)) if m.fat_sd_pct else m for m in LOTS],
            LOTS_KG,
        )
        for _ in range(count // 50)
    ]


def by_milp():
    """The same cheapest mix (fat, protein, binder only) by SciPy's mixed-integer solver."""
    share = (
        np.array([[m.fat_pct, m.protein_pct, 100.0 * (m.kind == "binder")] for m in TWENTY]).T / 92
    )
    return milp(
        np.array(PRICE),
        constraints=[
            LinearConstraint(np.ones(20), 100, 100),
            LinearConstraint(share, [-np.inf, 11, -np.inf], [30, np.inf, 3.5 / 0.92]),
        ],
        bounds=Bounds(0, np.inf),
    )


if __name__ == "__main__":
    assert len(TWENTY) == 20
    rows = [
        (
            "composition, 12 ingredients",
            best_ms(lambda: compose(BOWL, KG), 500),
            0.3,
            "plain loop",
            best_ms(plain_mix, 500),
        ),
        (
            "composition + cook + working",
            best_ms(lambda: cooked(compose(BOWL, KG), 92).working, 200),
            1.0,
            "plain loop",
            best_ms(plain_mix, 500),
        ),
        (
            "cloud of 10 000",
            best_ms(lambda: cloud(LOTS, LOTS_KG, np.random.default_rng(1), 10_000, 92), 5),
            30,
            "one by one",
            50 * best_ms(plain_cloud, 1),
        ),
        (
            "grid of 10 000 recipes",
            best_ms(lambda: compose(BOWL, np.tile(KG, (10_000, 1))), 5),
            30,
            "plain loop",
            10_000 * best_ms(plain_mix, 500),
        ),
        (
            "cheapest of 20",
            best_ms(lambda: cheapest(TWENTY, PRICE, 100, LIMITS, cook_yield_pct=92), 10),
            20,
            "milp, 3 limits",
            best_ms(by_milp, 10),
        ),
        (
            "nothing fits, 20 materials",
            best_ms(
                lambda: cheapest(
                    TWENTY,
                    PRICE,
                    100,
                    {
                        "fat_pct_of_finished": (None, 10),
                        "protein_pct_of_finished": (24, None),
                        "isolate_pct_of_batch": (None, 2),
                        "binder_pct_of_batch": (None, 3),
                    },
                    cook_yield_pct=92,
                ),
                3,
            ),
            200,
            "",
            float("nan"),
        ),
    ]
    print(f"{'what':32}{'ms':>9}{'budget':>9}   {'other way':16}{'ms':>10}{'times':>8}")
    for what, ms, budget, other, other_ms in rows:
        print(f"{what:32}{ms:9.3f}{budget:9.1f}   {other:16}{other_ms:10.2f}{other_ms / ms:8.1f}")

"""Batch sheets of ordinary range, drawn at random: what a plant or a kitchen might write, with and without the fields that may be left out."""

import numpy as np

from kit.rules.rule_sets import rule_sets
from kit.sheet.entries import fields

SEED = 20
ROOMS = ("cure", "chop", "emulsion", "links", "cook", "spread")
CHOICES = {name: field.choices for name, field in fields("process").items() if field.choices}
COOK_KINDS = tuple(kind for kind in fields("cook")["kind"].choices if kind != "grill")
"""what cooks; a grill only finishes"""
MEATS = (
    ("beef ground 90/10", "beef trim 75", "beef chuck"),
    ("pork trim 80", "pork trim 50", "pork backfat", "pork jowl"),
    (
        "chicken thigh, with skin",
        "turkey dark meat",
        "mechanically deboned turkey frames",
        "chicken skin",
    ),
)
BINDERS = (
    "nonfat dry milk",
    "soy protein isolate",
    "soy protein concentrate",
    "potato flour",
    "corn starch",
    "wheat gluten",
    "sweet whey, dried",
    "sodium caseinate",
)
DIAMETER_mm = {
    "cellulose": (16, 36),
    "collagen": (18, 40),
    "natural sheep": (18, 27),
    "natural hog": (28, 44),
    "fibrous": (40, 120),
    "plastic": (30, 120),
}
RULES = (*rule_sets(), "")


def random_sheet(rng: np.random.Generator) -> dict:
    """The data of one sheet, in the shape of its TOML form."""

    def chance(p):
        return rng.random() < p

    def between(low, high, digits=3):
        return round(float(rng.uniform(low, high)), digits)

    def pick(options):
        return options[int(rng.integers(len(options)))]

    def maybe(entry, **values):
        return entry | {key: value for key, value in values.items() if chance(0.6)}

    meat_kg = 10 ** between(np.log10(0.7), np.log10(360))
    groups = [pick(MEATS) for _ in range(1 + chance(0.3))]
    lean, *others = dict.fromkeys(
        [groups[0][0], *(pick(group) for group in groups for _ in range(1 + chance(0.7)))]
    )
    names, shares = (
        [lean, *others],
        np.append(0.45, 0.55 * rng.dirichlet(np.ones(len(others)))) if others else np.ones(1),
    )
    lowest_C = -18 if chance(0.15) else -2
    lines = [
        maybe(
            {"name": name, "amount": f"{max(meat_kg * share, 0.01):.4f} kg"},
            temperature_C=between(lowest_C, 7, 1),
            pH=between(5.5, 6.4, 2),
            price_per_kg=between(1, 9, 2),
        )
        for name, share in zip(names, shares, strict=True)
    ]
    if chance(0.2):
        lines.append(
            {
                "name": "lean by ratio",
                "lean": f"{pick((95, 90, 80, 70))}CL",
                "species": pick(("beef", "pork")),
                "amount": f"{0.3 * meat_kg:.4f} kg",
            }
        )
    if chance(0.2):
        lines.append(
            {
                "name": "trim by eye",
                "species": pick(("pork", "beef")),
                "fat_low_pct": between(18, 28, 0),
                "fat_high_pct": between(30, 42, 0),
                "amount": f"{0.3 * meat_kg:.4f} kg",
            }
        )
    ice_share = pick((0.0, 0.5, 1.0, 1.0))
    added = between(5, 40)
    for name, share, low, high in (("ice", ice_share, -12, 0), ("water", 1 - ice_share, 0, 14)):
        if share:
            lines.append(
                maybe(
                    {"name": name, "amount": f"{added * share:.3f} % of meat"},
                    temperature_C=between(low, high, 1),
                )
            )
    lines.append({"name": "salt", "amount": f"{between(0.8, 2.6)} % of batch"})
    if chance(0.8):
        strength = pick(
            (("curing salt 6.25 %", 6.25, 0.15, 0.25), ("curing salt 0.6 %", 0.6, 1.0, 2.0))
        )
        lines.append(
            {
                "name": "cure premix",
                "material": strength[0],
                "nitrite_pct": strength[1],
                "amount": f"{between(*strength[2:])} % of meat",
            }
        )
    if chance(0.7):
        lines.append(
            {"name": "sodium erythorbate", "amount": f"{between(300, 547, 0)} ppm of meat"}
        )
    if chance(0.6):
        lines.append(
            {"name": "sodium tripolyphosphate", "amount": f"{between(0.1, 0.45)} % of batch"}
        )
    if chance(0.6):
        lines.append(
            maybe(
                {"name": pick(BINDERS), "amount": f"{between(0.5, 4)} % of batch"},
                temperature_C=between(5, 20, 1),
            )
        )
    if chance(0.2):
        lines.append(
            maybe(
                {
                    "name": "own binder",
                    "kind": "binder",
                    "moisture_pct": 8,
                    "protein_pct": 10,
                    "fat_pct": 2,
                    "ash_pct": 4,
                    "carbohydrate_pct": 74,
                    "amount": f"{between(0.5, 3)} % of batch",
                },
                starch_pct=between(0, 40),
                fibre_pct=between(0, 30),
            )
        )
    if chance(0.6):
        lines.append({"name": "spice, generic", "amount": f"{between(0.2, 1)} % of batch"})
    if chance(0.3):
        lines.append({"name": "dextrose", "amount": f"{between(0.2, 2)} % of batch"})
    if chance(0.2):
        lines.append(
            {
                "name": "leftover",
                "composition": "same recipe",
                "amount": f"{between(1, 8)} % of batch",
            }
        )

    casing = pick(CHOICES["casing"])
    medium = pick(CHOICES["chill_medium"])
    process = maybe(
        {}
        if chance(0.5)
        else maybe({}, chop_end_C=between(-2, 26, 1), chop_end_measured_C=between(-2, 26, 1)),
        chop_min=between(2, 20, 1),
        chop_energy_kJ_per_kg=between(10, 160, 0),
        cutter=pick(CHOICES["cutter"]),
        fat=pick(CHOICES["fat"]),
        drop_um=between(4, 100, 0),
        meat_pH=between(5.5, 6.4, 2),
        core_target_C=between(65, 75, 0),
        nitrite_target_ppm=between(80, 156, 0),
        scale_step_g=pick((0.1, 1, 2, 5)),
        scale_sd_g=pick((0.1, 1)),
        pack_g=400,
        cook_yield_pct=between(82, 99, 1),
        chill_medium=medium,
        chill_min=between(5, 120, 0),
        cure_rule=pick(CHOICES["cure_rule"]),
    )
    if chance(0.85):
        diameter = between(*DIAMETER_mm[casing], 1)
        process |= {"casing": casing, "stuffed_mm": diameter}
        most_mm = 0.9 * meat_kg / (1060 * np.pi / 4 * (diameter / 1000) ** 2) * 1000
        length = round(min(diameter * between(1.5, 6), most_mm), 0)
        process |= pick(
            ({}, {"link_mm": length}, {"link_g": round(length * diameter**2 * 0.0008, 0)})
        )
    head = {"name": f"random {int(rng.integers(1e6))}", "line": lines, "process": process}
    if chance(0.9):
        head["cook"] = [_cook_step(chance, between, pick) for _ in range(int(rng.integers(1, 5)))]
    if chance(0.3):
        chopped, stuffed, cooked = meat_kg, 0.985 * meat_kg, between(0.82, 0.96) * meat_kg
        head["weighing"] = [
            {"stage": "stuff", "in_kg": chopped, "out_kg": stuffed, "sd_kg": 0.1},
            {"stage": "cook", "in_kg": stuffed, "out_kg": cooked},
            {"stage": "chill", "in_kg": cooked, "out_kg": 0.995 * cooked},
        ]
    rule = pick(RULES)
    return head | ({"rule": rule} if rule else {})


def _cook_step(chance, between, pick) -> dict:
    kind = pick(COOK_KINDS)
    if kind == "refrigerator":
        rest = {"duration_min": between(60, 900, 0), "dry_bulb_C": between(1, 6, 0)}
        return {"kind": kind, **rest}
    dry = between(10, 20, 0) if kind == "shower" else between(50, 85, 0)
    step = {"kind": kind, "duration_min": between(5, 60, 0), "dry_bulb_C": dry}
    if (
        kind in ("dry", "smoke", "hold", "charcoal cooker", "gas cooker")
        or kind == "steam"
        and chance(0.7)
    ):
        step |= (
            {"rh_pct": between(15, 100, 0)}
            if chance(0.5)
            else {"wet_bulb_C": round(dry - between(0, 30, 0), 0)}
        )
    return step | ({"air_m_per_s": between(0.3, 6, 1)} if chance(0.5) and kind != "shower" else {})

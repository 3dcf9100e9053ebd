"""What is in the bowl, as kilograms that a rule tells apart? Bowls add, and scale by a number.

bowl = portion(40, "meat", 69.5, 20, 10) + portion(60, "meat", 39, 10, 50) + 30 * ICE
judge(bowl.facts(cook_yield_pct=92), rule_set("us_frankfurter"))
"""

from dataclasses import dataclass, fields

import numpy as np

from kit import tables
from kit.errors import UnknownName, need, need_between
from kit.materials import GROUP_1, rule_classes
from kit.standards.facts import Facts, ratio
from kit.standards.quantities import SHARES, quantities


@dataclass(frozen=True)
class Bowl:
    """Kilograms, floats or arrays that broadcast. `water_kg` is all moisture, `ingredient_water_kg` the water and ice put in as such.

    `meat_portion_kg` is meat, by-products and poultry together; the parts below it count within it.
    """

    total_kg: float = 0.0
    water_kg: float = 0.0
    protein_kg: float = 0.0
    group2_protein_kg: float = 0.0
    fat_kg: float = 0.0
    salt_kg: float = 0.0
    collagen_kg: float = 0.0
    """nan where a material's collagen is not known"""
    ingredient_water_kg: float = 0.0
    meat_portion_kg: float = 0.0
    skeletal_meat_kg: float = 0.0
    poultry_kg: float = 0.0
    mechanically_separated_kg: float = 0.0
    defatted_tissue_kg: float = 0.0
    binder_kg: float = 0.0
    isolate_kg: float = 0.0
    caseinate_kg: float = 0.0
    cheese_kg: float = 0.0
    phosphate_kg: float = 0.0

    def __add__(self, other: "Bowl") -> "Bowl":
        if not isinstance(other, Bowl):
            return NotImplemented
        return Bowl(*(getattr(self, name) + getattr(other, name) for name in PARTS))

    def __radd__(self, other):
        return (
            self if isinstance(other, int) and other == 0 else NotImplemented
        )  # so that sum() works

    def __mul__(self, times) -> "Bowl":
        return Bowl(*(getattr(self, name) * times for name in PARTS))

    __rmul__ = __mul__
    __array_ufunc__ = None  # array × Bowl is a Bowl of arrays, not an array of Bowls

    def parts(self, cook_yield_pct=100.0) -> dict[str, float]:
        """Every part by the name `quantities` uses (without _kg), with `finished` and `finished_water` after a loss taken as water."""
        parts = {name[:-3]: getattr(self, name) for name in PARTS}
        finished = parts["total"] * cook_yield_pct / 100
        return parts | {
            "finished": finished,
            "finished_water": parts["water"] - (parts["total"] - finished),
        }

    def facts(self, cook_yield_pct=100.0) -> Facts:
        """What a rule sees of this bowl. Cook loss is taken as water; `cook_yield_pct` is finished weight / raw weight × 100.

        Fat, protein, salt and phosphate stay in, so a loss of fat has to be told to the bowl before. Shares of nothing are nan.
        Raises OutOfRange for an empty bowl, a negative part, and a yield that loses more water than there is.
        """
        parts = self.parts(cook_yield_pct)
        _check(parts, cook_yield_pct)
        known = quantities()
        shares = {}
        for name in SHARES:
            quantity = known[name]
            shares[name] = quantity.scale * ratio(
                weigh(quantity.over, parts), weigh(quantity.under, parts)
            )
        return Facts(**shares, bowl=self, cook_yield_pct=cook_yield_pct)


PARTS = tuple(f.name for f in fields(Bowl))
ICE = Bowl(total_kg=1.0, water_kg=1.0, ingredient_water_kg=1.0)
"""One kilogram of ice or water; 30 * ICE is thirty."""


def weigh(weights, parts):
    """The weighted sum of a bowl's parts."""
    total = 0.0
    for name, weight in weights.items():
        total = total + (parts[name] if weight == 1.0 else weight * parts[name])
    return total


def portion(
    kg,
    rule_class: str,
    water_pct=0.0,
    protein_pct=0.0,
    fat_pct=0.0,
    *,
    salt_pct=None,
    collagen_pct_of_protein=None,
    group2_protein_pct=None,
) -> Bowl:
    """`kg` of one ingredient as a Bowl. Percentages of the ingredient as bought; `rule_class` is one of `materials.rule_classes`.

    Muscle with its own fat is "meat"; organs and fat taken off as such are "by-product" in the rule's words. Protein is Group 1 or
    Group 2 by its class; rework counts as Group 1 and towards no share of meats unless it is told apart into what it was made of
    (`group2_protein_pct` says how much of it, in % of the ingredient, is Group 2). Collagen left out is not known for
    meats, rework and other protein, and zero for milk, soy and the rest; salt left out is 100 %
    of salt and 0 of all else. Raises UnknownName for the class, OutOfRange for an analysis that cannot be.
    """
    if rule_class not in rule_classes():
        raise UnknownName("ingredient class", rule_class, rule_classes())
    salt_pct = (100.0 if rule_class == "salt" else 0.0) if salt_pct is None else salt_pct
    high = tables.value("analysis_sum_high_pct")
    if np.ndim(water_pct) == np.ndim(protein_pct) == np.ndim(fat_pct) == 0:
        for name, pct in (
            ("water_pct", water_pct),
            ("protein_pct", protein_pct),
            ("fat_pct", fat_pct),
            ("salt_pct", salt_pct),
        ):
            need_between(name, pct, 0, 100, "percentages run from 0 to 100")
        need_between(
            "water + protein + fat of one ingredient",
            water_pct + protein_pct + fat_pct,
            0,
            high,
            "look for a slip in the analysis",
        )
    if group2_protein_pct is None:
        group2_protein_pct = 0.0 if rule_class in GROUP_1 else protein_pct
    if collagen_pct_of_protein is None:
        unknown = (rule_class in GROUP_1 or rule_class == "other") and np.any(
            np.asarray(protein_pct) > 0
        )
        collagen_pct_of_protein = np.nan if unknown else 0.0
    counted = dict.fromkeys(
        (f"{part}_kg" for part in rule_classes()[rule_class].counts_towards), kg
    )
    return Bowl(
        total_kg=kg,
        water_kg=kg * water_pct / 100,
        protein_kg=kg * protein_pct / 100,
        group2_protein_kg=kg * group2_protein_pct / 100,
        fat_kg=kg * fat_pct / 100,
        salt_kg=kg * salt_pct / 100,
        collagen_kg=kg * protein_pct / 100 * collagen_pct_of_protein / 100,
        **counted,
    )


def _check(parts, cook_yield_pct) -> None:
    need(
        bool(np.all(np.asarray(parts["total"]) > 0)),
        "the bowl is empty (total_kg is not above 0), so there is nothing to judge; add an ingredient",
    )
    need(
        bool(np.all((np.asarray(cook_yield_pct) > 1) & (np.asarray(cook_yield_pct) <= 120))),
        f"cook_yield_pct is {_span(cook_yield_pct)}; it is finished weight / raw weight × 100 and must lie between 1 and 120 "
        "(a yield of 92 % is written 92, not 0.92)",
    )
    for name, kg in parts.items():
        if name == "finished_water":
            need(
                bool(np.all(np.asarray(kg) >= -1e-9)),
                f"a yield of {np.min(cook_yield_pct):g} % loses more water than the bowl holds "
                f"({-np.min(kg):.3g} kg more); check the yield, or take part of the loss as fat",
            )
        else:
            low = np.min(kg)
            need(not low < -1e-9, f"{name}_kg is {low:g}; a weight in the bowl cannot be below 0")


def _span(values) -> str:
    low, high = np.min(values), np.max(values)
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"

"""How was a value worked out of the kilograms, or of the percentages, so that a pencil can redo it?"""

from collections.abc import Mapping

import numpy as np

from kit import tables
from kit.meat_block.quantities import Quantity, quantities
from kit.rules.facts import Facts
from kit.working import Step, step, steps_from


def sum_formula(weights: Mapping[str, float]) -> str:
    """'fat + finished_water − 4 × protein' of {"fat": 1, "finished_water": 1, "protein": -4}."""
    text = ""
    for name, weight in weights.items():
        sign = "−" if weight < 0 else "+"
        term = name if abs(weight) == 1 else f"{abs(weight):.12g} × {name}"
        text += f" {sign} {term}" if text else (f"−{term}" if weight < 0 else term)
    return text


def sum_step(
    what: str, symbol: str, weights: Mapping[str, float], parts: Mapping[str, float], answer: float
) -> Step:
    return step(what, f"{symbol} = {sum_formula(weights)}", answer, "kg", **_terms(weights, parts))


def finished_steps(parts: Mapping[str, float], cook_yield_pct: float, used) -> tuple[Step, ...]:
    """The finished weight and its water, where the quantity uses them. The loss is taken as water."""
    known = {
        "finished": (parts["finished"], "kg"),
        "finished_water": parts["finished_water"],
        "water": (parts["water"], "kg"),
        "total": (parts["total"], "kg", "all ingredients"),
        "cook_yield": (cook_yield_pct, "%", "finished weight of raw weight"),
    }
    water = "finished_water = water − (total − finished)"
    rows = (
        ("Finished weight", "finished = total × cook_yield / 100", "kg"),
        ("Water left, the loss taken as water", water, "kg"),
    )
    if "finished_water" in used:
        return steps_from(known, *rows)
    return steps_from(known, rows[0]) if "finished" in used else ()


def value_steps(facts: Facts, quantity: Quantity, value: float) -> tuple[Step, ...]:
    """From what is known to the value of one quantity; empty where the value itself was given."""
    if quantity.needs:
        known = quantities()
        before = tuple(
            one
            for name in quantity.needs
            if not known[name].needs
            for one in value_steps(facts, known[name], getattr(facts, name))
        )
        rows = _DERIVED[quantity.name.removesuffix("_without_cheese")]
        return (*dict.fromkeys(before), *steps_from(_symbols(facts, quantity, value), *rows))
    if facts.parts is None:
        return ()
    parts = facts.parts
    under = sum_formula(quantity.under)
    bottom = f"({under})" if len(quantity.under) > 1 else under
    symbol = quantity.name.partition("_pct")[0] + "_pct"
    weights = {**quantity.over, **quantity.under}
    what = f"{quantity.title[0].upper()}{quantity.title[1:]} {quantity.basis}"
    formula = f"{symbol} = {quantity.scale:g} × {sum_formula(quantity.over)} / {bottom}"
    share = step(what, formula, value, quantity.unit, **_terms(weights, parts))
    return (*finished_steps(parts, facts.cook_yield_pct, weights), share)


def _terms(weights, parts):
    return {name: (float(parts[name]), "kg", name.replace("_", " ")) for name in weights}


_AW = (
    "Added water, 9 CFR 318.22 with the allowance held at zero from below",
    "AW = TW − k × (TP − max(P − a, 0))",
    "%",
)
_INDEX = "index = isolate_pct / i + binder_pct / b"
_DERIVED = {
    "added_water_pct_of_finished": (_AW,),
    "fat_and_added_water_pct_of_finished": (_AW, ("Fat + added water", "S = F + AW", "%")),
    "binder_mixture_index": (("Isolate and binders together, 1 is the limit", _INDEX, ""),),
    "water_to_protein": (("Water : protein", "ratio = TW / TP", ""),),
}


def _symbols(facts: Facts, quantity: Quantity, value: float) -> dict:
    """What the formulas of `_DERIVED` may name."""
    mixed = [getattr(facts, name) for name in quantity.needs[:2]]
    return {
        **dict.fromkeys(("S", "index", "ratio"), value),
        "AW": (facts.added_water_pct_of_finished, "%", "added water"),
        "TW": (facts.water_pct_of_finished, "%", "total water"),
        "TP": (facts.protein_pct_of_finished, "%", "total protein"),
        "P": (facts.group2_protein_pct_of_finished, "%", "Group 2 protein"),
        "F": (facts.fat_pct_of_finished, "%", "fat"),
        "k": (
            tables.value("moisture_protein_ratio_of_rule"),
            "",
            "water credited per part of protein",
        ),
        "a": (tables.value("group2_allowance_pct"), "%", "allowance for Group 2 protein"),
        "isolate_pct": (mixed[0], "%"),
        "binder_pct": (mixed[1], "%"),
        "i": (tables.value("isolate_at_mixture_limit"), "%", "isolate alone at the limit"),
        "b": (tables.value("binder_at_mixture_limit"), "%", "other binders alone at the limit"),
    }


def is_known(value) -> bool:
    """Whether a scalar value can be judged: given, and not a share of nothing."""
    return value is not None and not np.isnan(value)

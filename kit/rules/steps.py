"""How was a value worked out of the kilograms, or of the percentages, so that a pencil can redo it?"""

from collections.abc import Mapping

import numpy as np

from kit import tables
from kit.rules.facts import Facts
from kit.rules.quantities import Quantity, quantities
from kit.working import Step, step


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
    steps = []
    if not {"finished", "finished_water"}.isdisjoint(used):
        steps.append(
            step(
                "Finished weight",
                "finished = total × cook_yield / 100",
                parts["finished"],
                "kg",
                total=(parts["total"], "kg", "all ingredients"),
                cook_yield=(cook_yield_pct, "%", "finished weight of raw weight"),
            )
        )
    if "finished_water" in used:
        steps.append(
            step(
                "Water left, the loss taken as water",
                "finished_water = water − (total − finished)",
                parts["finished_water"],
                "kg",
                water=(parts["water"], "kg"),
                total=(parts["total"], "kg"),
                finished=(parts["finished"], "kg"),
            )
        )
    return tuple(steps)


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
        return tuple(dict.fromkeys(before)) + _DERIVED[
            quantity.name.removesuffix("_without_cheese")
        ](facts, quantity)
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


def _added_water(facts, quantity):
    return (
        step(
            "Added water, 9 CFR 318.22 with the allowance held at zero from below",
            "AW = TW − k × (TP − max(P − a, 0))",
            facts.added_water_pct_of_finished,
            "%",
            TW=(facts.water_pct_of_finished, "%", "total water"),
            TP=(facts.protein_pct_of_finished, "%", "total protein"),
            P=(facts.group2_protein_pct_of_finished, "%", "Group 2 protein"),
            k=(
                tables.value("moisture_protein_ratio_of_rule"),
                "",
                "water credited per part of protein",
            ),
            a=(tables.value("group2_allowance_pct"), "%", "allowance for Group 2 protein"),
        ),
    )


def _fat_and_added_water(facts, quantity):
    return (
        *_added_water(facts, quantity),
        step(
            "Fat + added water",
            "S = F + AW",
            facts.fat_and_added_water_pct_of_finished,
            "%",
            F=(facts.fat_pct_of_finished, "%", "fat"),
            AW=(facts.added_water_pct_of_finished, "%", "added water"),
        ),
    )


def _mixture(facts, quantity):
    isolate, binder = (getattr(facts, name) for name in quantity.needs)
    return (
        step(
            "Isolate and binders together, 1 is the limit",
            "index = isolate_pct / i + binder_pct / b",
            getattr(facts, quantity.name),
            "",
            isolate_pct=(isolate, "%"),
            binder_pct=(binder, "%"),
            i=(tables.value("isolate_at_mixture_limit"), "%", "isolate alone at the limit"),
            b=(tables.value("binder_at_mixture_limit"), "%", "other binders alone at the limit"),
        ),
    )


def _water_to_protein(facts, quantity):
    return (
        step(
            "Water : protein",
            "ratio = TW / TP",
            facts.water_to_protein,
            "",
            TW=(facts.water_pct_of_finished, "%"),
            TP=(facts.protein_pct_of_finished, "%"),
        ),
    )


_DERIVED = {
    "added_water_pct_of_finished": _added_water,
    "fat_and_added_water_pct_of_finished": _fat_and_added_water,
    "binder_mixture_index": _mixture,
    "water_to_protein": _water_to_protein,
}


def is_known(value) -> bool:
    """Whether a scalar value can be judged: given, and not a share of nothing."""
    return value is not None and not np.isnan(value)

"""What can a rule look at? Every quantity, its unit, its basis, and how a bowl's kilograms give it.

A quantity is `scale × over / under`, where `over` and `under` are weighted sums of a bowl's parts. Added water has one more
term: Group 2 protein above its allowance brings no water of its own (see `facts.added_water_pct`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from kit import tables


@dataclass(frozen=True)
class Quantity:
    """`scale × (over + surplus × max(group2 protein − allowance, 0)) / under`."""

    name: str
    title: str
    unit: str
    basis: str
    over: Mapping[str, float]
    under: Mapping[str, float]
    scale: float = 100.0
    surplus: float = 0.0
    """kg of water counted as added per kg of Group 2 protein above its allowance"""
    needs: tuple[str, ...] = field(default=())
    """names of the facts a derived quantity is worked from; empty where the quantity is itself a fact"""


_FINISHED, _BATCH, _NO_CHEESE = (
    "of the finished product",
    "of all ingredients",
    "of all ingredients but the cheese",
)
_MEAT = "of the livestock and poultry portion"
_TOTAL, _PRODUCT, _BUT_CHEESE = {"total": 1.0}, {"finished": 1.0}, {"total": 1.0, "cheese": -1.0}

# name, title, basis, over, under: plain shares in percent
_SHARES = (
    ("fat_pct_of_finished", "fat", _FINISHED, "fat", _PRODUCT),
    ("water_pct_of_finished", "water", _FINISHED, "finished_water", _PRODUCT),
    ("protein_pct_of_finished", "protein", _FINISHED, "protein", _PRODUCT),
    ("group2_protein_pct_of_finished", "Group 2 protein", _FINISHED, "group2_protein", _PRODUCT),
    ("salt_pct_of_finished", "salt", _FINISHED, "salt", _PRODUCT),
    ("phosphate_pct_of_finished", "added phosphate", _FINISHED, "phosphate", _PRODUCT),
    ("collagen_pct_of_protein", "collagen", "of the protein", "collagen", {"protein": 1.0}),
    ("meat_portion_pct_of_batch", "meat, by-products and poultry", _BATCH, "meat_portion", _TOTAL),
    ("skeletal_meat_pct_of_batch", "raw skeletal meat", _BATCH, "skeletal_meat", _TOTAL),
    (
        "poultry_pct_of_nonwater_ingredients",
        "poultry",
        "of all ingredients but water and ice",
        "poultry",
        {"total": 1.0, "ingredient_water": -1.0},
    ),
    (
        "mechanically_separated_pct_of_meat_portion",
        "mechanically separated meat",
        _MEAT,
        "mechanically_separated",
        {"meat_portion": 1.0},
    ),
    (
        "defatted_tissue_pct_of_meat_portion",
        "partially defatted tissue",
        _MEAT,
        "defatted_tissue",
        {"meat_portion": 1.0},
    ),
    ("water_put_in_pct_of_batch", "water and ice put in", _BATCH, "ingredient_water", _TOTAL),
    ("cheese_pct_of_batch", "cheese", _BATCH, "cheese", _TOTAL),
    ("binder_pct_of_batch", "binders and extenders", _BATCH, "binder", _TOTAL),
    ("isolate_pct_of_batch", "isolated soy protein", _BATCH, "isolate", _TOTAL),
    ("caseinate_pct_of_batch", "sodium caseinate", _BATCH, "caseinate", _TOTAL),
    (
        "binder_pct_of_batch_without_cheese",
        "binders and extenders",
        _NO_CHEESE,
        "binder",
        _BUT_CHEESE,
    ),
    (
        "isolate_pct_of_batch_without_cheese",
        "isolated soy protein",
        _NO_CHEESE,
        "isolate",
        _BUT_CHEESE,
    ),
    (
        "caseinate_pct_of_batch_without_cheese",
        "sodium caseinate",
        _NO_CHEESE,
        "caseinate",
        _BUT_CHEESE,
    ),
)
SHARES = tuple(name for name, *_ in _SHARES)


@lru_cache(maxsize=1)
def quantities() -> dict[str, Quantity]:
    """Every quantity a rule may name."""
    ratio = tables.value("moisture_protein_ratio_of_rule")
    isolate, binder = (
        tables.value("isolate_at_mixture_limit"),
        tables.value("binder_at_mixture_limit"),
    )
    water = {"finished_water": 1.0, "protein": -ratio}
    mixed = {"isolate": 1 / isolate, "binder": 1 / binder}
    wet = ("water_pct_of_finished", "protein_pct_of_finished", "group2_protein_pct_of_finished")
    derived = (
        Quantity(
            "added_water_pct_of_finished",
            "added water",
            "%",
            _FINISHED,
            water,
            _PRODUCT,
            surplus=ratio,
            needs=wet,
        ),
        Quantity(
            "fat_and_added_water_pct_of_finished",
            "fat + added water",
            "%",
            _FINISHED,
            {"fat": 1.0, **water},
            _PRODUCT,
            surplus=ratio,
            needs=("fat_pct_of_finished", *wet),
        ),
        Quantity(
            "binder_mixture_index",
            "isolate and binders together",
            "",
            _BATCH,
            mixed,
            _TOTAL,
            needs=("isolate_pct_of_batch", "binder_pct_of_batch"),
        ),
        Quantity(
            "binder_mixture_index_without_cheese",
            "isolate and binders together",
            "",
            _NO_CHEESE,
            mixed,
            _BUT_CHEESE,
            needs=("isolate_pct_of_batch_without_cheese", "binder_pct_of_batch_without_cheese"),
        ),
        Quantity(
            "water_to_protein",
            "water : protein",
            "",
            "in the finished product",
            {"finished_water": 1.0},
            {"protein": 1.0},
            scale=1.0,
            needs=("water_pct_of_finished", "protein_pct_of_finished"),
        ),
    )
    plain = (
        Quantity(name, title, "%", basis, {over: 1.0}, under)
        for name, title, basis, over, under in _SHARES
    )
    return {quantity.name: quantity for quantity in (*plain, *derived)}

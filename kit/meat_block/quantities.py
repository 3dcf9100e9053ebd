"""What can a limit look at? Every quantity, its unit, its basis, and how a bowl's kilograms give it.

A quantity is `scale × over / under`, where `over` and `under` are weighted sums of a bowl's parts. Added water has one more
term: Group 2 protein above its allowance brings no water of its own (see `kit.rules.facts.added_water_pct`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

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

    @property
    def lines(self) -> tuple[Mapping[str, float], ...]:
        """The weights above the line without the surplus, and with it: the greater of the two sums counts."""
        if not self.surplus:
            return (self.over,)
        allowance = tables.value("group2_allowance_pct") / 100
        more = {"group2_protein": self.surplus, "finished": -self.surplus * allowance}
        return self.over, {**self.over, **more}


def weigh(weights: Mapping[str, float], parts: Mapping[str, Any]):
    """The weighted sum of a mix's parts."""
    total = 0.0
    for name, weight in weights.items():
        total = total + weight * parts[name]
    return total


def _shares() -> tuple[Quantity, ...]:
    """Plain shares in percent: the rows of data/rules/shares.csv. `over` and `under` are parts of a bowl; `less` is taken off `under`."""
    return tuple(
        Quantity(
            row["name"],
            row["title"],
            "%",
            row["basis"],
            {row["over"]: 1.0},
            {row["under"]: 1.0} | ({row["less"]: -1.0} if row["less"] else {}),
        )
        for row in tables.read_rows("rules", "shares.csv")
    )


SHARES = tuple(share.name for share in _shares())


@lru_cache(maxsize=1)
def quantities() -> dict[str, Quantity]:
    """Every quantity a rule may name."""
    found = {share.name: share for share in _shares()}
    ratio = tables.value("moisture_protein_ratio_of_rule")
    water = {"finished_water": 1.0, "protein": -ratio}
    mixed = {name: 1 / tables.value(f"{name}_at_mixture_limit") for name in ("isolate", "binder")}
    wet = ("water_pct_of_finished", "protein_pct_of_finished", "group2_protein_pct_of_finished")
    fat, protein = found["fat_pct_of_finished"], {"protein": 1.0}
    derived = [
        Quantity(
            f"{prefix}added_water_pct_of_finished",
            title,
            "%",
            fat.basis,
            over,
            fat.under,
            surplus=ratio,
            needs=needs,
        )
        for prefix, title, over, needs in (
            ("", "added water", water, wet),
            ("fat_and_", "fat + added water", {"fat": 1.0, **water}, (fat.name, *wet)),
        )
    ]
    for end in ("", "_without_cheese"):
        needs = (f"isolate_pct_of_batch{end}", f"binder_pct_of_batch{end}")
        of, title = found[needs[0]], "isolate and binders together"
        name = f"binder_mixture_index{end}"
        derived.append(Quantity(name, title, "", of.basis, mixed, of.under, needs=needs))
    words = ("water_to_protein", "water : protein", "", "in the finished product")
    left = {"finished_water": 1.0}
    ratio_of = Quantity(*words, left, protein, scale=1.0, needs=wet[:2])
    return found | {quantity.name: quantity for quantity in (*derived, ratio_of)}

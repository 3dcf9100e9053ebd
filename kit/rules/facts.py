"""What does a rule get to see? The finished product's analysis and the shares of the ingredients."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from kit import tables
from kit.errors import need_between, need_known
from kit.faults import need_said
from kit.meat_block import Composition
from kit.meat_block.quantities import SHARES, quantities, weigh


def added_water_pct(water_pct, protein_pct, group2_protein_pct=0.0):
    """Added water, % of the finished product, by 9 CFR 318.22 (2015): AW = TW − 4 × (TP − max(P − 1, 0)).

    TW total water, TP total protein, P the part of TP from Group 2 ingredients (concentrated, dried, extracted or hydrolysed,
    and every protein that is not meat or poultry); all in % of the finished product, floats or arrays that broadcast.
    Each per cent of Group 1 protein, and of the first 1 % of Group 2 protein, is credited with 4 % of water that came with it.

    The 1 % is an allowance, so P − 1 is held at zero from below. The printed equation read literally would credit a
    sausage without any Group 2 protein with water for 1 % of protein it does not hold; the clamp is our reading of 318.22(b)(6),
    the printed rule does not state it. Lean beef and pork come out negative: they hold less than 4 parts of water per part of protein.
    """
    ratio = tables.value("moisture_protein_ratio_of_rule")
    allowance = tables.value("group2_allowance_pct")
    counted = np.maximum(np.subtract(group2_protein_pct, allowance), 0.0)
    water = np.subtract(water_pct, ratio * np.subtract(protein_pct, counted))
    return float(water) if np.ndim(water) == 0 else water


class Facts:
    """What a rule sees of a mix: percentages named as in data/rules/shares.csv, the basis in the name. A share left out is not known (None): a rule
    that needs it is not judged, and says so.

    Floats, or arrays that broadcast against each other (for `Limit.margin`). `facts_of` fills every share; a laboratory report fills the ones it measured.
    parts: the kilograms these came from. Raises UnknownName for a share that is none of SHARES, OutOfRange for a percentage outside
    0 to 100 and for an analysis that adds to too much.
    """

    def __init__(self, parts: Mapping[str, float] | None = None, **shares):
        self.parts = parts
        self._shares = dict.fromkeys(SHARES) | shares
        for name in shares:
            need_known("share of a mix", name, SHARES)
        if parts is None:  # else worked from kilograms that `facts_of` has checked
            self._check()

    def __getattr__(self, name: str) -> Any:
        """A share, or a quantity worked from shares; None where one of them is not known."""
        if name in SHARES:
            return self._shares[name]
        if name not in _WORKED:
            raise AttributeError(name)
        needs = [self._shares[share] for share in quantities()[name].needs]
        return None if any(share is None for share in needs) else _WORKED[name](*needs)

    def _check(self):
        why = "a percentage lies between 0 and 100 (0.28 for 28 % is a fraction: write 28)"
        for name, value in self._shares.items():
            if value is not None:
                _need_all_between(name, value, 0, 100, why)
        analysis = (self._shares[f"{part}_pct_of_finished"] for part in ("water", "protein", "fat"))
        high = tables.value("analysis_sum_high_pct")
        total = np.max(sum(x for x in analysis if x is not None))
        need_said(bool(total <= high), "analysis adds to too much", total=total, high=high)
        part, whole = self.group2_protein_pct_of_finished, self.protein_pct_of_finished
        need_said(
            part is None or whole is None or bool(np.all(np.subtract(part, whole) <= 1e-9)),
            "more than all the protein",
        )


def _mixture(isolate, binder):
    """1 where isolate and the other binders together reach their joint limit."""
    most_isolate, most_binder = (
        tables.value(f"{name}_at_mixture_limit") for name in ("isolate", "binder")
    )
    return isolate / most_isolate + binder / most_binder


def ratio(over, under):
    """over / under as float or array; nan where `under` is not positive (a share of nothing)."""
    if np.ndim(over) == 0 and np.ndim(under) == 0:
        return float(over) / float(under) if under > 0 else np.nan
    if np.all(np.asarray(under) > 0):
        return np.divide(over, under)
    over, under = np.broadcast_arrays(over, under)
    return np.divide(over, under, out=np.full(np.shape(under), np.nan), where=under > 0)


_WORKED = {
    "added_water_pct_of_finished": added_water_pct,
    "fat_and_added_water_pct_of_finished": lambda fat, *wet: fat + added_water_pct(*wet),
    "binder_mixture_index": _mixture,
    "binder_mixture_index_without_cheese": _mixture,
    "water_to_protein": ratio,
}
"""how each quantity that has `needs` comes of them"""


def _need_all_between(name: str, values, low: float, high: float, remedy: str) -> None:
    for end in (np.min(values), np.max(values)):
        need_between(name, end, low, high, remedy)


def facts_of(composition: Composition, cook_yield_pct=100.0) -> Facts:
    """What a rule sees of a mix.

    composition: the raw mix, one recipe or many.
    cook_yield_pct: finished weight / raw weight × 100, 1 to 120 %, one or as many as the recipes; the loss is taken as water.

    Returns Facts; shares of nothing are nan, and so is collagen where a material's is not published. Raises OutOfRange for an
    impossible yield and one that loses more water than there is.
    """
    parts = composition.parts_kg(cook_yield_pct)
    remedy = "it is finished weight / raw weight × 100 (a yield of 92 % is written 92, not 0.92)"
    _need_all_between("cook_yield_pct", cook_yield_pct, 1, 120, remedy)
    left = np.min(parts["finished_water"])
    need_said(
        bool(left >= -1e-9),
        "more water than the bowl holds",
        pct=np.min(cook_yield_pct),
        more_kg=-left,
    )
    shares = ((name, quantities()[name]) for name in SHARES)
    found = {n: q.scale * ratio(weigh(q.over, parts), weigh(q.under, parts)) for n, q in shares}
    return Facts(parts, **found)

"""What does a rule get to see? The finished product's analysis and the shares of the ingredients."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from kit import tables
from kit.errors import need
from kit.meat_block import Composition
from kit.rules.quantities import SHARES, quantities


def added_water_pct(water_pct, protein_pct, group2_protein_pct=0.0):
    """Added water, % of the finished product, by 9 CFR 318.22 (2015): AW = TW − 4 × (TP − max(P − 1, 0)).

    TW total water, TP total protein, P the part of TP from Group 2 ingredients (concentrated, dried, extracted or hydrolysed,
    and every protein that is not meat or poultry); all in % of the finished product, floats or arrays that broadcast.
    Each per cent of Group 1 protein, and of the first 1 % of Group 2 protein, is credited with 4 % of water that came with it.

    The 1 % is an allowance, so P − 1 is held at zero from below. The printed equation read literally would credit a
    sausage without any Group 2 protein with water for 1 % of protein it does not hold; the clamp is our reading of 318.22(b)(6),
    the printed rule does not state it. Lean beef and pork come out negative: they hold less than 4 parts of water per part of protein.
    """
    ratio, allowance = (
        tables.value("moisture_protein_ratio_of_rule"),
        tables.value("group2_allowance_pct"),
    )
    counted = np.maximum(np.subtract(group2_protein_pct, allowance), 0.0)
    water = np.subtract(water_pct, ratio * np.subtract(protein_pct, counted))
    return float(water) if np.ndim(water) == 0 else water


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Percentages with their basis in the name. None means not known: a rule that needs it is not judged, and says so.

    Floats, or arrays that broadcast against each other (for `margins`). `facts_of` fills every field; a laboratory
    report fills the ones it measured. Raises OutOfRange for a percentage outside 0 to 100 and for an analysis that adds to too much.
    """

    fat_pct_of_finished: float | None = None
    water_pct_of_finished: float | None = None
    protein_pct_of_finished: float | None = None
    group2_protein_pct_of_finished: float | None = None
    """protein from dried, concentrated, extracted or hydrolysed ingredients, and from all that is not meat or poultry"""
    salt_pct_of_finished: float | None = None
    phosphate_pct_of_finished: float | None = None
    """phosphate put in; what the meat holds by nature is not counted"""
    collagen_pct_of_protein: float | None = None
    meat_portion_pct_of_batch: float | None = None
    skeletal_meat_pct_of_batch: float | None = None
    poultry_pct_of_nonwater_ingredients: float | None = None
    """poultry meat and mechanically separated poultry"""
    mechanically_separated_pct_of_meat_portion: float | None = None
    """of beef, pork and other livestock; mechanically separated poultry counts as poultry"""
    defatted_tissue_pct_of_meat_portion: float | None = None
    water_put_in_pct_of_batch: float | None = None
    """water and ice put in as such"""
    cheese_pct_of_batch: float | None = None
    binder_pct_of_batch: float | None = None
    """binders and extenders other than isolated soy protein and sodium caseinate"""
    isolate_pct_of_batch: float | None = None
    caseinate_pct_of_batch: float | None = None
    binder_pct_of_batch_without_cheese: float | None = None
    isolate_pct_of_batch_without_cheese: float | None = None
    caseinate_pct_of_batch_without_cheese: float | None = None
    parts: Mapping[str, float] | None = field(default=None, compare=False, repr=False)
    """the kilograms these came from, for the working"""
    cook_yield_pct: float = field(default=100.0, compare=False)

    def __post_init__(self):
        if self.parts is not None:
            return  # worked from kilograms that `facts_of` has checked
        for name in SHARES:
            value = getattr(self, name)
            if value is not None:
                need(
                    _all_between(value, 0.0, 100.0),
                    f"{name} is {_worst(value, 0.0, 100.0):g}; a percentage lies between 0 and 100 "
                    "(0.28 for 28 % is a fraction: write 28)",
                )
        self._add_up()

    def _add_up(self):
        analysis = [
            x
            for x in (
                self.water_pct_of_finished,
                self.protein_pct_of_finished,
                self.fat_pct_of_finished,
            )
            if x is not None
        ]
        high = tables.value("analysis_sum_high_pct")
        total = sum(analysis)
        need(
            _all_between(total, 0.0, high),
            f"water + protein + fat come to {_worst(total, 0.0, high):g} % of the finished product; "
            f"published analyses add to {high:g} at most; look for a slip or a figure on another basis",
        )
        part, whole = self.group2_protein_pct_of_finished, self.protein_pct_of_finished
        if part is not None and whole is not None:
            need(
                bool(np.all(np.asarray(part) <= np.asarray(whole) + 1e-9)),
                "group2_protein_pct_of_finished is more than all the protein, "
                "protein_pct_of_finished; both are % of the finished product",
            )

    @property
    def added_water_pct_of_finished(self):
        known = (
            self.water_pct_of_finished,
            self.protein_pct_of_finished,
            self.group2_protein_pct_of_finished,
        )
        return None if any(value is None for value in known) else added_water_pct(*known)

    @property
    def fat_and_added_water_pct_of_finished(self):
        fat, water = self.fat_pct_of_finished, self.added_water_pct_of_finished
        return None if fat is None or water is None else fat + water

    @property
    def binder_mixture_index(self):
        return _mixture(self.isolate_pct_of_batch, self.binder_pct_of_batch)

    @property
    def binder_mixture_index_without_cheese(self):
        return _mixture(
            self.isolate_pct_of_batch_without_cheese, self.binder_pct_of_batch_without_cheese
        )

    @property
    def water_to_protein(self):
        water, protein = self.water_pct_of_finished, self.protein_pct_of_finished
        return None if water is None or protein is None else ratio(water, protein)


def _mixture(isolate_pct, binder_pct):
    """1 where isolate and the other binders together reach their joint limit; None where either is unknown."""
    if isolate_pct is None or binder_pct is None:
        return None
    return isolate_pct / tables.value("isolate_at_mixture_limit") + binder_pct / tables.value(
        "binder_at_mixture_limit"
    )


def ratio(over, under):
    """over / under as float or array; nan where `under` is not positive (a share of nothing)."""
    if np.ndim(over) == 0 and np.ndim(under) == 0:
        return float(over) / float(under) if under > 0 else np.nan
    if np.all(np.asarray(under) > 0):
        return np.divide(over, under)
    over, under = np.broadcast_arrays(over, under)
    return np.divide(over, under, out=np.full(np.shape(under), np.nan), where=under > 0)


def _all_between(value, low, high) -> bool:
    return bool(
        np.all((np.asarray(value, dtype=float) >= low) & (np.asarray(value, dtype=float) <= high))
    )


def _worst(value, low, high) -> float:
    flat = np.ravel(np.asarray(value, dtype=float))
    return float(
        flat[np.argmax(np.where(np.isfinite(flat), np.maximum(low - flat, flat - high), np.inf))]
    )


def facts_of(composition: Composition, cook_yield_pct=100.0) -> Facts:
    """What a rule sees of a mix.

    composition: the raw mix, one recipe or many.
    cook_yield_pct: finished weight / raw weight × 100, 1 to 120 %, one or as many as the recipes; the loss is taken as water.

    Returns Facts; shares of nothing are nan, and so is collagen where a material's is not published. Raises OutOfRange for an
    impossible yield and one that loses more water than there is.
    """
    parts = parts_of(composition, cook_yield_pct)
    yields = np.asarray(cook_yield_pct)
    need(
        bool(np.all((yields > 1) & (yields <= 120))),
        f"cook_yield_pct is {_range(yields)}; it is finished weight / raw weight × 100 and must lie between 1 and 120 "
        "(a yield of 92 % is written 92, not 0.92)",
    )
    left = np.min(parts["finished_water"])
    need(
        bool(left >= -1e-9),
        f"a yield of {np.min(yields):g} % loses more water than the bowl holds "
        f"({-left:.3g} kg more); check the yield, or take part of the loss as fat",
    )
    shares = {}
    for name in SHARES:
        quantity = quantities()[name]
        over, under = weigh(quantity.over, parts), weigh(quantity.under, parts)
        shares[name] = quantity.scale * ratio(over, under)
    return Facts(**shares, parts=parts, cook_yield_pct=cook_yield_pct)


def parts_of(composition: Composition, cook_yield_pct=100.0) -> dict[str, float]:
    """The kilograms that `quantities` weighs, by name, before the cook; `finished` and `finished_water` after a loss taken as water."""
    c = composition
    need(c.raw is None, "this composition is cooked already; give the raw one, and its cook yield")
    unknown = np.asarray(c.protein_kg - c.collagen_known_protein_kg) > 1e-9 * np.asarray(
        c.protein_kg
    )
    finished = c.total_kg * cook_yield_pct / 100
    return {
        "total": c.total_kg,
        "water": c.water_kg,
        "protein": c.protein_kg,
        "group2_protein": c.group2_protein_kg,
        "fat": c.fat_kg,
        "salt": c.salt_kg,
        "collagen": c.collagen_kg + np.where(unknown, np.nan, 0.0),
        **c.counted_kg,
        "finished": finished,
        "finished_water": c.water_kg - (c.total_kg - finished),
    }


def weigh(weights: Mapping[str, float], parts: Mapping[str, float]):
    """The weighted sum of a mix's parts."""
    total = 0.0
    for name, weight in weights.items():
        total = total + weight * parts[name]
    return total


def _range(values) -> str:
    low, high = np.min(values), np.max(values)
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"

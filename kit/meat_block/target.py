"""Which mix meets the target? The square for two meats; for several, the smallest change of plan."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy as sp

from kit.errors import OutOfRange, need_between
from kit.faults import need_said, said
from kit.materials import Material
from kit.meat_block.limits import bounds
from kit.meat_block.mix import Composition, compose, cooked
from kit.working import Result, working_of


@dataclass(frozen=True)
class Square(Result):
    """Two meats that together have the fat asked for."""

    lean_kg: float
    fatty_kg: float


@dataclass(frozen=True)
class LeastChange(Result):
    """The plan nearest to the one given (smallest sum of squared changes in kg) that meets the target."""

    kg: np.ndarray
    change_kg: np.ndarray
    finished: Composition = field(repr=False)


def square(lean: Material, fatty: Material, target_fat_pct: float, total_kg: float) -> Square:
    """The trade's square: the parts of each meat are the distance of the other from the target.

    Refused: a target that does not lie between the fat of the two meats.
    """
    target = need_between("target fat in percent", target_fat_pct, 0, 100)
    total = need_between("weight of the two meats together in kg", total_kg, 1e-6, 1e7)
    if lean.fat_pct > fatty.fat_pct:
        lean, fatty = fatty, lean
    need_said(lean.fat_pct < fatty.fat_pct, "same fat", lean=lean, fatty=fatty)
    need_said(
        lean.fat_pct <= target <= fatty.fat_pct,
        "fat beyond the two",
        target=target,
        lean=lean,
        fatty=fatty,
        wanted="leaner" if target < lean.fat_pct else "fatter",
    )
    lean_parts, fatty_parts = fatty.fat_pct - target, target - lean.fat_pct
    parts = lean_parts + fatty_parts
    lean_kg, fatty_kg = total * lean_parts / parts, total * fatty_parts / parts
    work = working_of(
        "square",
        M=total,
        T=target,
        f=lean.fat_pct,
        g=fatty.fat_pct,
        a=lean_parts,
        b=fatty_parts,
        x=lean_kg,
        y=fatty_kg,
        lean=lean.name,
        fatty=fatty.name,
    )
    sources = (lean.cite(), fatty.cite())
    return Square(lean_kg, fatty_kg, own_sources=sources, own_working=work)


def least_change(
    materials: Sequence[Material],
    planned_kg,
    target_fat_pct: float,
    *,
    least_kg=None,
    most_kg=None,
    cook_yield_pct: float = 100.0,
) -> LeastChange:
    """The plan nearest to `planned_kg` whose finished product has `target_fat_pct`, at the planned total weight.

    Nearest is least squares: the sum of squared changes in kg is smallest. `least_kg` and `most_kg` (stock) bound each material; equal
    bounds hold a line as it is. Loss in the cook is water. Refused: a target outside what the bounds allow, with that range.
    """
    materials, planned = tuple(materials), np.asarray(planned_kg, float)
    target = need_between("target fat in percent", target_fat_pct, 0, 100)
    mix = cooked(compose(materials, planned), cook_yield_pct)  # also refuses impossible weights
    total, finished_kg = float(planned.sum()), mix.total_kg
    low = bounds("least amount", least_kg, 0.0, materials)
    high = np.minimum(bounds("greatest amount", most_kg, np.inf, materials), total)
    need_said(bool((low <= high).all()), "bounds crossed")
    least_sum, most_sum = float(low.sum()), float(high.sum())
    fits = least_sum <= total + 1e-9 and most_sum >= total - 1e-9
    need_said(fits, "bounds miss the plan", low=least_sum, high=most_sum, total=total)
    share, whole = np.array([m.fat_pct for m in materials]) / 100, np.ones(len(materials))
    wanted, bounded = target / 100 * finished_kg, list(zip(low, high))
    least, most = (
        float(share @ sp.optimize.linprog(way * share, None, None, [whole], total, bounded).x)
        for way in (1, -1)
    )
    if not least - 1e-9 * total <= wanted <= most + 1e-9 * total:
        lacking = "leaner" if wanted < least else "richer"
        ends = {"least": 100 * least / finished_kg, "most": 100 * most / finished_kg}
        raise OutOfRange(said("fat out of reach", target=target, wanted=lacking, **ends))
    sums = np.array([whole, share])
    kg = sp.optimize.minimize(
        lambda kg: ((kg - planned) ** 2).sum() / 2,
        planned,
        jac=lambda kg: kg - planned,
        method="SLSQP",
        bounds=bounded,
        constraints={
            "type": "eq",
            "fun": lambda kg: sums @ kg - (total, wanted),
            "jac": lambda kg: sums,
        },
        options={"ftol": 1e-15},
    ).x
    return LeastChange(kg, kg - planned, cooked(compose(materials, kg), cook_yield_pct))

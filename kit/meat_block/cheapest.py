"""Which mix is cheapest under limits? A linear programme, with what binds, what one more unit is worth, and what to relax.

Where nothing fits each limit may be loosened by a slack, measured in kg of what it counts per kg of batch. The fewest limits whose slacks let a mix exist
are found by trying every set of 1, then 2, ... of them; among sets of equal size the one with the least slack is taken.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, groupby
from math import comb
from typing import Any

import numpy as np
import scipy as sp

from kit.errors import OutOfRange, need, need_between
from kit.faults import need_said, said
from kit.materials import Material
from kit.meat_block.limits import Constraint, Limits, LimitValue, bounds, constraints
from kit.meat_block.mix import Composition, compose, cooked
from kit.working import Result, Step, notes_of, step


@dataclass(frozen=True)
class Cheapest(Result):
    """The cheapest mix, or, where `fits` is False, the cheapest one after the smallest relaxation `relaxed`."""

    fits: bool
    materials: tuple[Material, ...] = field(repr=False)
    kg: np.ndarray
    cost: float
    held: tuple[LimitValue, ...]
    """every limit, with its value at this mix"""
    finished: Composition = field(repr=False)
    relaxed: tuple[LimitValue, ...]
    """the fewest limits that must give way, with the values they must take; empty where the mix fits"""

    @property
    def binding(self) -> tuple[LimitValue, ...]:
        return tuple(limit for limit in self.held if limit.binds)


def cheapest(
    materials: Sequence[Material],
    price_per_kg: Sequence[float],
    batch_kg: float,
    limits: Limits | None = None,
    *,
    cook_yield_pct: float = 100.0,
    least_kg=None,
    most_kg=None,
) -> Cheapest:
    """The cheapest batch that meets limits.

    materials: what there is to choose from, each once
    price_per_kg: one for each, 0 or more, in any currency
    batch_kg: weight of everything put in, kg, above 0
    limits: what the finished product must meet, a name of `quantities` -> (least, most); none where left out
    cook_yield_pct: finished weight of raw weight, 1 to 100 %; the loss is water
    least_kg: least of each material, kg, None where there is no bound
    most_kg: most of each material (stock), kg, None where there is no bound
    Returns Cheapest: kilograms, cost, which limits bind, what one more unit is worth; what must give way where nothing fits.
    Raises OutOfRange or UnknownName for a price missing or negative, a material listed twice, a limit that is no number.
    Each limit is a straight line in the amounts (limits.py).
    Source: linear programme solved by HiGHS.
    """
    materials = tuple(materials)
    prices = _prices(materials, price_per_kg)
    batch = need_between("weight of the batch in kg", batch_kg, 1e-6, 1e7)
    y = need_between("cook yield in percent", cook_yield_pct, 1, 100)
    low = bounds("least_kg", least_kg, 0.0, materials)
    high = bounds("most_kg", most_kg, np.inf, materials)
    rows = constraints(materials, limits or {}, batch, y, low, high)
    need_said(
        any(m.moisture_pct >= 100 - y for m in materials), "no water to lose", lost=100 - y, y=y
    )
    answer = programme(prices, rows)
    gives_way: tuple[LimitValue, ...] = ()
    proven, fits = True, answer is not None
    if fits:
        z = answer.x
    else:
        z, gives_way, proven = relax(prices, rows)
    z = np.where(z < (1e-9 if fits else 1e-6), 0.0, z)  # giving way leaves traces
    dry = rows[0].value(z) < 1e-6 * batch
    holds = {"relaxed": not fits, "unproven": not proven, "dry": dry}
    kg = z * batch
    finished, cost = cooked(compose(materials, kg), y), float(prices @ kg)
    asked = [r for r in rows if not r.law_of_nature]
    held = tuple(
        _held(key, list(group), z, answer, rows, batch)
        for key, group in groupby(asked, key=lambda r: (r.name, r.side))
    )
    return Cheapest(
        fits,
        materials,
        kg,
        cost,
        held,
        finished,
        gives_way,
        own_notes=notes_of("cheapest mix", holds),
        own_working=(_cost_step(materials, prices, kg, cost),),
    )


def _held(key, group, z, answer, rows, batch) -> LimitValue:
    values = [r.value(z) for r in group]
    first = group[0]
    known = [v for v in values if not np.isnan(v)]
    value = (max if first.sign > 0 else min)(known) if known else float("nan")
    worth = 0.0
    if answer is not None:
        at = [n for n, r in enumerate(rows) if (r.name, r.side) == key]
        worth = sum(-answer.ineqlin.marginals[n] * rows[n].per_unit(z) for n in at) * batch
    return first.stands(value, float(worth) + 0.0)


def _prices(materials, price_per_kg) -> np.ndarray:
    need(len(materials) > 0, "no material to choose from; give at least one")
    names = [m.name for m in materials]
    twice = sorted({name for name in names if names.count(name) > 1})
    need(not twice, f"{', '.join(twice)} is listed twice; add the two lines together or rename one")
    count, wanted = len(price_per_kg), len(materials)
    need_said(count == wanted, "prices", prices=count, materials=wanted)
    for m, price in zip(materials, price_per_kg):
        if price is None:
            raise OutOfRange(said("no price per kg", m=m))
        need_between(f"price per kg of {m.name}", price, 0, 1e9)
    return np.array(price_per_kg, float)


def _cost_step(materials, prices, kg, cost) -> Step:
    used = [n for n in range(len(materials)) if kg[n] > 0]
    weights: dict[str, Any] = {f"m{n + 1}": (kg[n], "kg", materials[n].name) for n in used}
    costs: dict[str, Any] = {
        f"p{n + 1}": (prices[n], "per kg", f"price of {materials[n].name}") for n in used
    }
    total = " + ".join(f"m{n + 1} × p{n + 1}" for n in used)
    return step("Cost of the batch", f"C = {total}", cost, "money", **weights, **costs)


# trying every set is exact but grows fast; beyond this many programmes the elastic answer stands, and the result says so
MOST_SETS = 3000

Key = tuple[str, str]


def relax(
    prices: np.ndarray, rows: Sequence[Constraint]
) -> tuple[np.ndarray, tuple[LimitValue, ...], bool]:
    """Parts of the cheapest mix after the smallest relaxation, what gives way (its value is what it must become), and whether no smaller set exists for certain."""
    keys = list(dict.fromkeys((r.name, r.side) for r in rows if not r.law_of_nature))
    loosened, proven = _smallest(rows, keys, len(prices))
    z = _cheapest_within(prices, rows, loosened)
    gives = []
    for key in loosened:
        group = [r for r in rows if (r.name, r.side) == key]
        value = (max if group[0].sign > 0 else min)(r.value(z) for r in group)
        gives.append(group[0].stands(value))
    return z, tuple(gives), proven


def _smallest(rows, keys: list[Key], k: int) -> tuple[list[Key], bool]:
    """The fewest limits that must give way, and whether every smaller set was tried."""
    _, slack = _elastic(rows, keys, k)
    loosened, tried = [key for key, s in slack.items() if s > 1e-8], 0
    for size in range(1, len(loosened) + 1):
        tried += comb(len(keys), size)
        if tried > MOST_SETS:
            return loosened, False
        answers = ((_elastic(rows, some, k), some) for some in combinations(keys, size))
        found = [(answer[0], list(some)) for answer, some in answers if answer]
        if found:
            return min(found, key=lambda pair: pair[0])[1], True
    return loosened, True


def _elastic(rows, loose: Sequence[Key], k: int):
    """(slack, slack by limit) of the least relaxation of the limits `loose`; None if the others clash among themselves."""
    answer = programme(np.repeat([0.0, 1.0], [k, len(loose)]), rows, loose)
    return None if answer is None else (answer.fun, dict(zip(loose, answer.x[k:])))


def _cheapest_within(prices, rows, loose: Sequence[Key]) -> np.ndarray:
    """The cheapest mix whose limits `loose` give way no further than they must."""
    k = len(prices)
    _, slack = _elastic(rows, loose, k)
    most = [(0, None)] * k + [(0, slack[key] * (1 + 1e-9) + 1e-10) for key in loose]
    return programme(np.concatenate([prices, np.zeros(len(loose))]), rows, loose, most).x[:k]


def programme(objective, rows: Sequence[Constraint], loose: Sequence[Key] = (), bounds=(0, None)):
    """The linear programme in parts of the batch, then slacks of the limits `loose`; None where nothing fits."""
    k, at = len(objective) - len(loose), {key: n for n, key in enumerate(loose)}
    a = np.zeros((len(rows), len(objective)))
    for n, r in enumerate(rows):
        a[n, :k] = r.row
        if (r.name, r.side) in at:
            a[n, k + at[r.name, r.side]] = -1
    whole = np.repeat([1.0, 0.0], [k, len(loose)])[None]
    most = np.zeros(len(rows))
    answer = sp.optimize.linprog(objective, a, most, whole, [1.0], bounds=bounds, method="highs")
    if answer.status not in (0, 2):
        raise RuntimeError(f"the solver stopped: {answer.message}")
    return answer if answer.status == 0 else None

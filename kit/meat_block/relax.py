"""Where nothing fits: which smallest set of limits must give way, by how much?

Each limit may be loosened by a slack, measured in kg of what it counts per kg of batch. The fewest limits whose slacks let a mix exist
are found by trying every set of 1, then 2, ... of them; among sets of equal size the one with the least slack is taken.
"""

from collections.abc import Sequence
from itertools import combinations
from math import comb

import numpy as np
import scipy as sp

from kit.meat_block.limits import Constraint, LimitValue

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

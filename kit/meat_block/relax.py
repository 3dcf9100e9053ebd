"""Where nothing fits: which limits clash, and which smallest set must give way, by how much?

Each limit may be loosened by a slack, measured in kg of what it counts per kg of batch. The fewest limits whose slacks let a mix exist
are found by trying every set of 1, then 2, ... of them; among sets of equal size the one with the least (weighted) slack is taken.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from scipy.optimize import linprog

from kit.errors import UnknownName
from kit.meat_block.limits import Line

# trying every set is exact but grows fast; beyond this many programmes the elastic answer stands, and the result says so
MOST_SETS = 3000


@dataclass(frozen=True)
class Relaxed:
    """One limit that must give way."""

    name: str
    side: str
    limit: float
    needed: float
    unit: str

    @property
    def by(self) -> float:
        """How far the limit must move, in its unit; always positive."""
        return abs(self.needed - self.limit)


def relax(
    prices: np.ndarray, rows: Sequence[Line], reluctance: Mapping[str, float]
) -> tuple[np.ndarray, tuple[Relaxed, ...], bool]:
    """Parts of the cheapest mix after the smallest relaxation, what gives way, and whether no smaller set exists for certain."""
    keys = _keys(rows)
    for name in reluctance:
        if name not in {key[0] for key in keys}:
            raise UnknownName("limit to weigh", name, {key[0] for key in keys})
    weights = {key: float(reluctance.get(key[0], 1.0)) for key in keys}
    total, slack = _elastic(rows, keys, weights, len(prices))
    best, size, tried, proven = (total, [key for key, s in slack.items() if s > 1e-8]), 0, 0, True
    while size + 1 <= len(best[1]):
        size += 1
        tried += comb(len(keys), size)
        if tried > MOST_SETS:
            proven = False
            break
        found = [
            (answer[0], list(some))
            for some in combinations(keys, size)
            if (answer := _elastic(rows, some, weights, len(prices)))
        ]
        if found:
            best = min(found, key=lambda pair: pair[0])
            break
    z = _cheapest_within(prices, rows, best[1], weights)
    gives = []
    for key in best[1]:
        group = [r for r in rows if (r.name, r.side) == key]
        value = (max if group[0].sign > 0 else min)(r.value(z) for r in group)
        gives.append(Relaxed(group[0].name, group[0].side, group[0].limit, value, group[0].unit))
    return z, tuple(gives), proven


def conflict(prices: np.ndarray, rows: Sequence[Line]) -> tuple[str, ...]:
    """Names of limits that cannot all hold, from which none can be struck: each limit is dropped in turn and stays out if the rest still clash."""
    keys = _keys(rows)
    for key in list(keys):
        rest = [k for k in keys if k != key]
        if (
            _elastic(
                [r for r in rows if r.law_of_nature or (r.name, r.side) in rest],
                (),
                {},
                len(prices),
            )
            is None
        ):
            keys = rest
    return tuple(
        f"{name} ({side} {next(r.limit for r in rows if (r.name, r.side) == (name, side)):g})"
        for name, side in keys
    )


def _keys(rows) -> list[tuple[str, str]]:
    """The limits that can give way: name and side, in order."""
    return list(dict.fromkeys((r.name, r.side) for r in rows if not r.law_of_nature))


def _elastic(rows, loose, weights, k):
    """(weighted slack, slack by limit) of the least relaxation of the limits `loose`; None if the others clash among themselves."""
    answer = _programme(
        rows, loose, np.concatenate([np.zeros(k), [weights[key] for key in loose]]), k
    )
    return None if answer is None else (answer.fun, dict(zip(loose, answer.x[k:])))


def _cheapest_within(prices, rows, loose, weights):
    """The cheapest mix whose limits `loose` give way no further than they must."""
    k = len(prices)
    _, slack = _elastic(rows, loose, weights, k)
    most = [(0, None)] * k + [(0, slack[key] * (1 + 1e-9) + 1e-10) for key in loose]
    answer = _programme(rows, loose, np.concatenate([prices, np.zeros(len(loose))]), k, most)
    return answer.x[:k]


def _programme(rows, loose, objective, k, bounds=(0, None)):
    at = {key: n for n, key in enumerate(loose)}
    a = np.zeros((len(rows), k + len(loose)))
    for n, r in enumerate(rows):
        a[n, :k] = r.row
        if (r.name, r.side) in at:
            a[n, k + at[r.name, r.side]] = -1
    whole = np.concatenate([np.ones(k), np.zeros(len(loose))])[None]
    answer = linprog(
        objective, a, [r.bound for r in rows], whole, [1.0], bounds=bounds, method="highs"
    )
    return answer if answer.status == 0 else None

"""When did the level change, how sure is the date, and could random variation alone look like this?"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy as sp

from kit import tables
from kit.batches.means import welch
from kit.faults import need_said
from kit.working import Result, notes_of, working_of

ALPHA = 0.05
"""chance of a change found in random variation"""
LEVEL = 0.9
"""of the likelihood of a start"""


@dataclass(frozen=True)
class Change:
    """A new level from batch `start` (0-based) on. `p`: chance that noise of this length shows a split this clear at its best place."""

    start: int
    before: float
    after: float
    interval: tuple[float, float]
    """of the shift, 90 % (Welch); a little flattered, because the start was chosen by looking at the same figures"""
    p: float
    likely: tuple[int, ...]
    """starts that together carry LEVEL of the likelihood, each place equally likely beforehand"""

    @property
    def shift(self) -> float:
        return self.after - self.before


@dataclass(frozen=True)
class Changes(Result):
    """Level per segment."""

    changes: tuple[Change, ...]
    sigma: float

    @property
    def starts(self) -> tuple[int, ...]:
        return tuple(c.start for c in self.changes)


def split_gain(x: np.ndarray, least: int) -> np.ndarray:
    """(..., n): share of the variation taken away by a new level from batch k on; -inf where a side has fewer than `least` batches."""
    x = np.asarray(x, float)
    n = x.shape[-1]
    centred = x - x.mean(axis=-1, keepdims=True)
    k = np.arange(1, n)
    total = (centred**2).sum(axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = np.cumsum(centred, axis=-1)[..., :-1] ** 2 * n / (k * (n - k)) / total
    gain = np.where((k >= least) & (n - k >= least), np.nan_to_num(gain), -np.inf)
    return np.concatenate([np.full((*gain.shape[:-1], 1), -np.inf), gain], axis=-1)


@lru_cache(maxsize=256)
def _noise_gains(n: int, least: int) -> np.ndarray:
    """Sorted best gains of 2000 simulated series of noise (500 beyond 400 batches)."""
    noise = np.random.default_rng(7_2021).normal(size=(2000 if n <= 400 else 500, n))
    return np.sort(split_gain(noise, least).max(axis=1))


def _p(gain: float, n: int, least: int) -> float:
    """Chance that noise does as well: counted among simulated series; beyond them, Bonferroni on the t test of a fixed place."""
    noise = _noise_gains(n, least)
    above = len(noise) - np.searchsorted(noise, gain)
    counted = (1 + above) / (1 + len(noise))
    if above >= 10 or gain >= 1:
        return float(counted) if gain < 1 else 0.0
    t = np.sqrt(gain / (1 - gain) * (n - 2))
    return float(min(counted, (n - 2 * least + 1) * 2 * sp.special.stdtr(n - 2, -t)))


def change_points(values, *, least: int = 4, most: int = 8, unit: str = "") -> Changes:
    """Steps in level. The best split of a stretch stands if noise of that length does as well with a chance below ALPHA; both halves are
    then searched at half the chance each, so that each depth of the search costs no more than ALPHA in all. Places are refined at the end.

    Assumes independent batches of like spread. Neighbours that resemble one another (same lot, same day) make steps out of nothing: a note
    says so when the leftover shows it. Needs at least 2 x `least` finite values.
    """
    x = np.asarray(values, float)
    need_said(x.ndim == 1 and bool(np.isfinite(x).all()), "series with gaps")
    holds = least >= 2 and len(x) >= 2 * least
    need_said(holds, "few for a change", n=len(x), least=least, needed=2 * least)
    tried, waiting = 0, [(0, len(x), ALPHA)]
    starts: dict[int, float] = {}
    while waiting and len(starts) < most:
        a, b, limit = waiting.pop(0)
        if b - a < 2 * least or np.ptp(x[a:b]) == 0:
            continue
        gain = split_gain(x[a:b], least)
        k = int(gain.argmax())
        tried += b - a - 2 * least + 1
        p = _p(float(gain[k]), b - a, least)
        if p < limit:
            starts[a + k] = p
            waiting += [(a, a + k, limit / 2), (a + k, b, limit / 2)]
    places = _refined(x, sorted(starts), least)
    edges = [0, *places, len(x)]
    fitted = np.concatenate([np.full(b - a, x[a:b].mean()) for a, b in zip(edges, edges[1:])])
    leftover = x - fitted
    sigma = float(np.sqrt((leftover**2).sum() / (len(x) - len(places) - 1)))
    changes = tuple(
        Change(
            k,
            float(fitted[k - 1]),
            float(fitted[k]),
            welch(x[a:k], x[k:b]).interval,
            starts[chosen],
            tuple(a + start for start in _likely(x[a:b], least)),
        )
        for chosen, a, k, b in zip(sorted(starts), edges, places, edges[2:])
    )
    follow = float(leftover[1:] @ leftover[:-1] / max(leftover @ leftover, 1e-300))

    follows = {"alike": follow > 2 / np.sqrt(len(x))}
    notes = notes_of("changes of level", follows, tried=tried, of_100=100 * ALPHA, follow=follow)
    steps = [
        step
        for c in changes
        for step in working_of(
            "change of level", batch=c.start + 1, unit=unit, d=c.shift, a=c.after, b=c.before
        )
    ]
    if not changes:
        steps += working_of("level", unit=unit, m=fitted[0], S=x.sum(), n=len(x))
    source = tables.computed("least-squares splits, chances simulated for random variation")
    return Changes(
        changes,
        sigma,
        own_notes=notes,
        own_sources=(source,),
        own_working=tuple(steps),
    )


def _refined(x, places, least):
    """Each place moved to its best between its neighbours, until none moves."""
    for _ in range(20):
        before = list(places)
        for i in range(len(places)):
            a, b = ([0, *places][i], [*places, len(x)][i + 1])
            if b - a >= 2 * least:
                places[i] = a + int(split_gain(x[a:b], least).argmax())
        if places == before:
            break
    return places


def _likely(x: np.ndarray, least: int) -> list[int]:
    """Starts in the smallest set that carries LEVEL of the profile likelihood."""
    gain = split_gain(x, least)
    left = np.log(np.maximum(1 - gain, 1e-300))
    return likeliest(np.where(np.isfinite(gain), -len(x) / 2 * left, -np.inf)).tolist()


def likeliest(log_likelihood: np.ndarray) -> np.ndarray:
    """Places of the smallest set that carries LEVEL of the likelihood, in order."""
    share = np.exp(log_likelihood - log_likelihood.max())
    order = np.argsort(-share, kind="stable")
    count = int(np.searchsorted(np.cumsum(share[order]) / share.sum(), LEVEL)) + 1
    return np.sort(order[:count])

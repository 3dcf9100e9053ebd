"""Which patterns over the batches could a cause have? Levels, drifts, episodes, odd days, the season, labels, columns, rework.

What products differ by is taken out of every pattern as it is out of every series.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log, pi

import numpy as np

from kit import tables
from kit.batches.noise import Alike, groups_of, summed
from kit.batches.table import BatchTable

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
LIKE_A_STEP = 0.9
"""correlation with a step beyond which a product counts as one that came, or left, for good"""
AT_ONCE = 500
"""patterns whose lengths are calculated together, so that memory stays small"""
SEASON_DAYS = 240
"""that records must span before a slow change over the year is looked for"""


@dataclass(frozen=True, eq=False)
class Patterns:
    """Columns of `h` (n, m): centred and of length one. `family` says what each is."""

    h: np.ndarray
    family: np.ndarray
    start: np.ndarray
    """-1 where the pattern has no start"""
    who: tuple[tuple[str, str] | None, ...]
    """("smokehouse", "2"), ("humidity_pct", "") of a process column, ("rework", "cook")"""
    raw: np.ndarray
    """the patterns before centring"""
    price: np.ndarray
    products: np.ndarray
    """(n,) code of the product whose own level is taken out; all alike where none is"""
    groups: Mapping[str, np.ndarray]
    """{'lot' or 'day': (n,) codes}"""

    def lengths(self, tried: Sequence[Alike], seen: np.ndarray) -> Iterator[tuple]:
        """For each likeness squared lengths (m,) h' V⁻¹ h of the patterns, made independent, and (p, m) what is lost of them where not `seen` (n, p),
        (V⁻¹ h)² / diag V⁻¹."""
        few = (
            list(self._lengths(self.h[:, at : at + AT_ONCE], tried, seen))
            for at in range(0, self.h.shape[1], AT_ONCE)
        )
        for rows in zip(*few):
            whole, lost = zip(*rows)
            yield np.concatenate(whole), np.concatenate(lost, axis=1)

    def _lengths(self, h: np.ndarray, tried: Sequence[Alike], seen: np.ndarray):
        gone = (~seen).T * 1.0
        square, near = h**2, h[1:] * h[:-1]
        own, ends, echo = gone @ square, square[0] + square[-1], near.sum(axis=0)
        beside = gone[:, 1:] @ near + gone[:, :-1] @ near
        around = gone[:, 1:] @ square[:-1] + gone[:, :-1] @ square[1:]
        around += 2 * gone[:, 1:-1] @ (h[2:] * h[:-2])
        kind = ""
        for like in tried:
            s, codes = like.share, self.groups.get(like.kind)
            if codes is not None:
                if like.kind != kind:
                    kind, (total, size) = like.kind, summed(h, codes)
                    joint, unknown = h * total[codes], summed(gone.T, codes)[0].T
                e = s / (1 - s + s * size)
                w = 1 / (1 - s) / (1 - e)
                whole = (1 - e @ total**2) / (1 - s)
                lost = (gone * w[codes]) @ square
                lost -= 2 * (gone * (w * e)[codes]) @ joint
                lost += (unknown * (w * e**2)) @ total**2
            else:
                whole = (1 + s**2 - 2 * s * echo - s**2 * ends) / (1 - s**2)
                lost = (1 + s**2) ** 2 * own - 2 * s * (1 + s**2) * beside + s**2 * around
                lost /= 1 - s**4
            yield whole, lost

    def same(self, m: int) -> np.ndarray:
        """(m,) which patterns are of the same kind and person."""
        alike = [w == self.who[m] for w in self.who]
        return (self.family == self.family[m]) & np.array(alike)

    def within(self, x: np.ndarray) -> np.ndarray:
        """(n,) or (n, k) less the mean of each product, over what is known."""
        return within(x, self.products)


def within(x: np.ndarray, codes: np.ndarray) -> np.ndarray:
    left = np.array(x, float)
    for code in np.unique(codes):
        mine = codes == code if codes.any() else slice(None)
        if np.isfinite(left[mine]).any():
            left[mine] -= np.nanmean(left[mine], axis=0)
    return left


@lru_cache(maxsize=1)
def acts_on() -> dict[str, tuple[str, frozenset[str]]]:
    """Column -> (label or fact, stages it can act on), as the trade says."""
    return {
        row["column"]: (row["kind"], frozenset(row["stages"].split()))
        for row in tables.read_rows("batches", "acts_on.csv")
    }


def products(table: BatchTable) -> np.ndarray:
    """(n,) code of each batch's product, 0 for all where no column names one. A product that came for good, or left for good, is not told apart:
    what its change did is looked for like any other, and the finding says with which product it began."""
    named, codes = table.made, np.zeros(table.n, int)
    steps = np.arange(table.n) >= np.arange(4, max(table.n - 3, 5))[:, None]
    for k, level in enumerate(v for v in np.unique(named) if v):
        mine = named == level
        if mine.sum() < tables.value("batches_least") or mine.all():
            continue
        if np.abs(np.corrcoef(mine, steps)[0, 1:]).max() < LIKE_A_STEP:
            codes[mine] = k + 1
    return codes


def labels_of(table: BatchTable) -> dict[str, np.ndarray]:
    """The table's labels, and the weekday where three weeks or more are dated."""
    labels = dict(table.labels)
    if table.dates is not None and "weekday" not in labels:
        day = table.dates.astype("datetime64[D]")
        known = day[~np.isnat(day)]
        if len(known) and (known.max() - known.min()).astype(int) >= 21:
            # 1970 began on a Thursday
            names = np.array(WEEKDAYS)[(np.nan_to_num(day.astype(float)).astype(int) + 3) % 7]
            labels["weekday"] = np.where(np.isnat(day), "", names)
    return labels


def known_or_mean(x: np.ndarray) -> np.ndarray:
    return np.where(np.isfinite(x), x, np.nanmean(x))


def usable(y: np.ndarray) -> bool:
    seen = y[np.isfinite(y)]
    return len(seen) >= 2 * tables.value("batches_least") and np.ptp(seen) > 1e-9


def patterns(table: BatchTable) -> Patterns:
    """Every pattern that these batches allow."""
    n, least = table.n, int(tables.value("batches_least"))
    order, ks = np.arange(n), np.arange(least, n - least + 1)
    made: list[tuple] = []

    def add(family, columns, starts, who=None, tried=None):
        """Columns of one kind; each has the price of as many as were tried."""
        price = 2 * log(max(tried or len(starts), 1))
        made.extend(
            (column, family, start, who, price)
            for column, start in zip(np.atleast_2d(columns), starts, strict=True)
        )

    if len(ks):
        add("step", order >= ks[:, None], ks)
        # a slow drift costs as much as a step at an unknown batch, so that a step is not taken for one
        add("drift", order / n, [-1], tried=len(ks))
        late = ks[:: max(1, len(ks) // 24)]
        add("drift from", np.maximum(order - late[:, None] + 1, 0) / n, late)
    named, groups = labels_of(table), groups_of(table)
    _passing(add, table, groups.get("day"), order, least)
    for name, (kind, _) in acts_on().items():
        values = named.get(name) if kind == "label" else table.facts.get(name)
        if values is None:
            continue
        if kind == "fact":
            if usable(values):
                add("fact", known_or_mean(values), [-1], (name, ""))
            continue
        levels = [str(v) for v in np.unique(values) if v]
        if not 2 <= len(levels) <= tables.value("batches_label_levels"):
            continue
        of_level = {v: np.flatnonzero(values == v) for v in levels}
        for v, places in of_level.items():
            if least <= len(places) <= n - least:
                add("label", values == v, places[:1], (name, v), tried=len(levels))
        for v, places in of_level.items() if name != "weekday" else ():
            at = places[least : len(places) - least + 1]
            late_only = (values == v) & (order >= at[:, None])
            add("label from", late_only, at, (name, v), tried=len(levels) * len(ks))
    share = np.nan_to_num(
        100 * table.rework_in_kg / np.where(table.all_in_kg > 0, table.all_in_kg, 1.0)
    )
    starts = np.concatenate([[0], ks])
    for j in np.flatnonzero((share > 0).sum(axis=0) >= least):
        after = (order >= starts[:, None]) * share[:, j]
        keep = (after > 0).sum(axis=1) >= least
        add("rework", after[keep], starts[keep], ("rework", table.stages[j]))
    raw = np.array([column for column, *_ in made], float).reshape(len(made), n).T
    codes = products(table)
    whole = np.sqrt(((raw - raw.mean(axis=0)) ** 2).sum(axis=0))
    h = within(raw, codes)
    length = np.sqrt((h**2).sum(axis=0))
    # what differs with the product alone cannot be told from it
    keep = np.flatnonzero(length > np.maximum(0.2 * whole, 1e-9))
    family, start, who, price = zip(*(made[m][1:] for m in keep)) if len(keep) else ((),) * 4
    return Patterns(
        h[:, keep] / length[keep],
        np.array(family, str),
        np.array(start, int),
        who,
        raw[:, keep],
        np.array(price, float),
        codes,
        groups,
    )


def _passing(add, table: BatchTable, day, order, least: int) -> None:
    """Patterns of what passes: episodes of several lengths, single days, the season."""
    n, found = table.n, []
    length = least + 2
    while length <= n // 2:
        starts = np.arange(least, n - least - length + 1, max(1, length // 4))
        found += [(k, length) for k in starts]
        length = int(length * 1.4)
    if found:
        k, long = np.array(found).T[:, :, None]
        add("episode", (order >= k) & (order < k + long), k[:, 0])
    if day is not None:
        _, first, size = np.unique(day, return_index=True, return_counts=True)
        some = (size >= 2) & (size <= 2 * least)
        if some.any():
            add("odd day", day == day[first[some]][:, None], first[some])
    if table.dates is not None and not np.isnat(table.dates).any():
        since = (table.dates - table.dates[0]).astype(float) / 86400
        if since[-1] >= SEASON_DAYS:
            turn = 2 * pi * (since / 365 - np.arange(12)[:, None] / 12)
            add("season", np.cos(turn), np.full(12, -1))

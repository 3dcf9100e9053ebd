"""Which single cause fits the losses best? Every (series, pattern) that the trade allows is tried, and noise is asked how well it would do.

A series is the loss of a stage, the kilograms missing between two stages, or what a scale's error would look like over all of them. A pattern is
a level from batch k on, a drift, the batches of one operator, one smokehouse from batch k on, a process column, rework. The score of a pair is
n ln(1 / (1 − r²)) / v − 2 ln(patterns of its kind): what it explains, less the price of having had many to choose from; v is how much of it lots,
days or neighbours that resemble one another imitate (noise.py). The same batches in shuffled order, again and again, say for each series what its
best score is when there is no cause; that makes the chance of a false finding what it says. What products differ by is taken out beforehand.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import exp, log, pi, sqrt

import numpy as np

from kit import tables
from kit.batches.constants import constants
from kit.batches.noise import Alike, alike, groups_of, held_in
from kit.batches.table import BatchTable

STAGE, HANDOVER, SCALE = "stage", "hand-over", "scale"
ROUNDS = 200
"""shuffles of the batches"""
LAGS = 12
"""batches over which neighbours may resemble one another"""
CLEARLY = 10.0
"""twice the log likelihood, beyond its price, by which a pattern must better the likeness of batches before that is estimated with it out"""
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
PRODUCTS = ("product", "recipe")
LIKE_A_STEP = 0.9
"""correlation with a step beyond which a product counts as one that came, or left, for good"""
SEASON_DAYS = 240
"""that records must span before a slow change over the year is looked for"""
LEAST_MOVE = 0.05
"""a series that a scale's error moves by less than this share of the error is left out of that scale's calculation"""


@dataclass(frozen=True, eq=False)
class Series:
    """`y` in percentage points, NaN where unknown. `mix`: weight of each stage or hand-over series in a scale's series."""

    name: str
    kind: str
    y: np.ndarray
    mix: np.ndarray | None = None
    """(series,) expected change of each stage and hand-over series, percentage points, for a scale reading 1 % too high"""


@dataclass(frozen=True, eq=False)
class Patterns:
    """Columns of `h` (n, m): centred and of length one. `family` says what each is."""

    h: np.ndarray
    family: np.ndarray
    start: np.ndarray
    """-1 where the pattern has no start"""
    who: tuple[tuple[str, str] | None, ...]
    via: tuple[str | None, ...]
    raw: np.ndarray
    """the patterns before centring"""
    price: np.ndarray
    products: np.ndarray
    """(n,) code of the product whose own level is taken out; all alike where none is"""
    groups: Mapping[str, np.ndarray]
    """{'lot' or 'day': (n,) codes}"""

    @cached_property
    def echo(self) -> np.ndarray:
        """(lags, m) how far each pattern resembles itself 1, 2, ... batches later."""
        return np.array(
            [
                (self.h[k:] * self.h[:-k]).sum(axis=0)
                for k in range(1, min(LAGS, len(self.h) - 1) + 1)
            ]
        )

    @cached_property
    def together(self) -> dict[str, np.ndarray]:
        """{'lot' or 'day': (m,) Σ over groups (Σ h)² − 1}"""
        found = {}
        for kind, codes in self.groups.items():
            order = np.argsort(codes, kind="stable")
            edges = np.flatnonzero(np.diff(codes[order], prepend=-1))
            found[kind] = (np.add.reduceat(self.h[order], edges, axis=0) ** 2).sum(axis=0) - 1
        return found

    def grown(self, like: Alike):
        """(m,) how much the variance of each fitted pattern grows where batches are so alike; never below 1."""
        if not like.kind:
            return np.ones(self.h.shape[1])
        if like.kind != "neighbours":
            return np.maximum(1 + like.share * self.together[like.kind], 1.0)
        return np.maximum(1 + 2 * like.share ** np.arange(1, len(self.echo) + 1) @ self.echo, 1.0)

    def within(self, x: np.ndarray) -> np.ndarray:
        """(n,) or (n, k) less the mean of each product, over what is known."""
        return _within(x, self.products)


def _within(x: np.ndarray, codes: np.ndarray) -> np.ndarray:
    left = np.array(x, float)
    for code in np.unique(codes):
        mine = codes == code if codes.any() else slice(None)
        if np.isfinite(left[mine]).any():
            left[mine] -= np.nanmean(left[mine], axis=0)
    return left


@dataclass(frozen=True)
class Null:
    """Best scores of shuffled batches follow a Gumbel curve, each series (S,) its own."""

    centre: np.ndarray
    spread: np.ndarray

    def chance(self, i: int, score: float) -> float:
        """Chance of this at series `i`, from random variation alone, with all series that were tried."""
        tail = exp(min(-(score - self.centre[i]) / self.spread[i], 700.0))
        return -float(np.expm1(-tail * np.isfinite(self.centre).sum()))

    def limits(self, alpha: float) -> np.ndarray:
        """(S,) scores that some series passes with a chance of `alpha`; endless where nothing can be tried."""
        tried = max(int(np.isfinite(self.centre).sum()), 1)
        found = self.centre - self.spread * log(-log(1 - alpha) / tried)
        return np.where(np.isfinite(found), found, np.inf)


@lru_cache(maxsize=1)
def acts_on() -> dict[str, tuple[str, frozenset[str]]]:
    """Column -> (label or fact, stages it can act on), as the trade says."""
    return {
        row["column"]: (row["kind"], frozenset(row["stages"].split()))
        for row in tables.read_rows("batches", "acts_on.csv")
    }


def basic_series(table: BatchTable) -> list[Series]:
    """Losses of stages, corrected for recipe changes, then what is missing between them."""
    codes = products(table)

    def level(y):
        """What products differ by is taken out; the level of all stays."""
        return y if not codes.any() else _within(y, codes) + np.nanmean(y)

    found = [Series(s, STAGE, level(y)) for s, y in zip(table.stages, table.judged_loss_pct.T)]
    missing = zip(table.handovers(), table.missing_pct.T)
    return found + [Series(h, HANDOVER, level(y)) for h, y in missing]


def products(table: BatchTable) -> np.ndarray:
    """(n,) code of each batch's product, 0 for all where no column names one. A product that came for good, or left for good, is not told apart:
    what its change did is looked for like any other, and the finding says with which product it began."""
    named = next((table.labels[k] for k in PRODUCTS if k in table.labels), None)
    codes = np.zeros(table.n, int)
    if named is None:
        return codes
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


def usable(y: np.ndarray) -> bool:
    seen = y[np.isfinite(y)]
    return len(seen) >= 2 * tables.value("batches_least") and np.ptp(seen) > 1e-9


def short_sd(y: np.ndarray) -> float:
    """Scatter from one batch to the next: blind to steps and drifts."""
    seen = y[np.isfinite(y)]
    return float(np.abs(np.diff(seen)).mean() / constants(2).d2) if len(seen) > 2 else float("nan")


def _mean_share(table: BatchTable, kg: np.ndarray) -> np.ndarray:
    """(S,) mean of a weight over all that went into its stage; 1 where no batch has both."""
    share = kg / table.all_in_kg
    return np.array([np.nanmean(x) if np.isfinite(x).any() else 1.0 for x in share.T])


def scale_series(table: BatchTable, basic: Sequence[Series]) -> list[Series]:
    """For each named scale the weighted sum of series that its error would move, in % that it would read too high."""
    found = []
    for scale in dict.fromkeys(table.scales.values()):
        into, out = (
            np.array([float(table.scales.get((s, side)) == scale) for s in table.stages])
            for side in ("in", "out")
        )
        mix = np.concatenate([into * _mean_share(table, table.in_kg), out[:-1] - into[1:]])
        mix[: len(out)] -= out * _mean_share(table, table.out_kg)
        weights, total = np.zeros(table.n), np.zeros(table.n)
        for series, a in zip(basic, mix):
            if abs(a) < LEAST_MOVE or not usable(series.y):
                continue
            w = a / short_sd(series.y) ** 2 if short_sd(series.y) > 0 else 0.0
            seen = np.isfinite(series.y)
            total += np.where(seen, w * (np.nan_to_num(series.y) - np.nanmean(series.y)), 0.0)
            weights += np.where(seen, w * a, 0.0)
        if (weights > 0).any():
            y = np.where(weights > 0, total / np.where(weights > 0, weights, 1.0), np.nan)
            found.append(Series(scale, SCALE, y, mix))
    return found


def patterns(table: BatchTable) -> Patterns:
    """Every pattern that these batches allow."""
    n, least = table.n, int(tables.value("batches_least"))
    order, ks = np.arange(n), np.arange(least, n - least + 1)
    made: list[tuple] = []

    def add(family, columns, starts, who=None, via=None, tried=None):
        """Columns of one kind; each has the price of as many as were tried."""
        price = 2 * log(max(tried or len(starts), 1))
        made.extend(
            (column, family, start, who, via, price)
            for column, start in zip(np.atleast_2d(columns), starts, strict=True)
        )

    if len(ks):
        add("step", order >= ks[:, None], ks)
        # a slow drift costs as much as a step at an unknown batch, so that a step is not taken for one
        add("drift", order / n, [-1], tried=len(ks))
        late = ks[:: max(1, len(ks) // 24)]
        add("drift from", np.maximum(order - late[:, None] + 1, 0) / n, late)
    named, groups = labels_of(table), groups_of(table.labels, table.dates, n)
    _passing(add, table, groups.get("day"), order, least)
    for label, (kind, _) in acts_on().items():
        values = named.get(label)
        if kind != "label" or values is None:
            continue
        levels = [str(v) for v in np.unique(values) if v]
        if not 2 <= len(levels) <= tables.value("batches_label_levels"):
            continue
        for v in levels:
            places = np.flatnonzero(values == v)
            if least <= len(places) <= n - least:
                add("label", values == v, places[:1], (label, v), tried=len(levels))
        for v in levels if label != "weekday" else ():
            places = np.flatnonzero(values == v)
            at = places[least : len(places) - least + 1]
            late_only = (values == v) & (order >= at[:, None])
            add("label from", late_only, at, (label, v), tried=len(levels) * len(ks))
    for fact, (kind, _) in acts_on().items():
        x = table.facts.get(fact)
        if kind == "fact" and x is not None and usable(x):
            add("fact", np.where(np.isfinite(x), x, np.nanmean(x)), [-1], None, fact)
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
    h = _within(raw, codes)
    length = np.sqrt((h**2).sum(axis=0))
    # what differs with the product alone cannot be told from it
    keep = np.flatnonzero(length > np.maximum(0.2 * whole, 1e-9))
    family, start, who, via, price = zip(*(made[m][1:] for m in keep)) if len(keep) else ((),) * 5
    return Patterns(
        h[:, keep] / length[keep],
        np.array(family, str),
        np.array(start, int),
        who,
        via,
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
        starts = np.arange(least, n - least - length + 1, max(1, length // 3))
        found += [(k, length) for k in starts]
        length = int(length * 1.6)
    if found:
        k, long = np.array(found).T[:, :, None]
        add("episode", (order >= k) & (order < k + long), k[:, 0], tried=n * n // 20)
    if day is not None:
        _, first, size = np.unique(day, return_index=True, return_counts=True)
        some = (size >= 2) & (size <= 2 * least)
        if some.any():
            add("odd day", day == day[first[some]][:, None], first[some])
    if table.dates is not None and not np.isnat(table.dates).any():
        since = (table.dates - table.dates[0]).astype(float) / 86400
        if since[-1] >= SEASON_DAYS:
            turn = 2 * pi * (since / 365.25 - np.arange(12)[:, None] / 12)
            add("season", np.cos(turn), np.full(12, -1))


def allowed(series: Sequence[Series], pats: Patterns) -> np.ndarray:
    """(series, patterns): which pairs make sense."""
    where = acts_on()
    ok = np.zeros((len(series), len(pats.family)), bool)
    level, drift = np.isin(pats.family, ["step", "drift"]), pats.family == "drift from"
    passing = np.isin(pats.family, ["episode", "odd day", "season"])
    for i, s in enumerate(series):
        ok[i] = level | (drift & (s.kind == SCALE)) | (passing & (s.kind == STAGE))
        if s.kind != STAGE:
            continue
        for m, (f, whom, through) in enumerate(zip(pats.family, pats.who, pats.via)):
            if f == "rework" and whom:
                ok[i, m] = s.name == whom[1]
            elif whom or through:
                ok[i, m] = s.name in where[whom[0] if whom else str(through)][1]
    return ok


@dataclass(frozen=True, eq=False)
class Scaled:
    """Stage and hand-over series centred and of length one, with what scales would do to them."""

    y: np.ndarray
    """(n, p), 0 where unknown"""
    count: np.ndarray
    """(p,) how many values each has"""
    moves: np.ndarray
    """(scales, p) change of each series for a scale error of one"""
    trust: np.ndarray
    """(p,) one over the variance from batch to batch"""
    sticky: tuple[Alike, ...]
    """(p,) how the batches of each resemble one another"""


def standardised(
    basic: Sequence[Series],
    scales: Sequence[Series] = (),
    pats: Patterns | None = None,
    ok: np.ndarray | None = None,
) -> Scaled:
    y = np.column_stack([s.y for s in basic])
    seen = np.isfinite(y)
    count = seen.sum(axis=0)
    y = np.where(seen, y - np.where(seen, y, 0.0).sum(axis=0) / np.maximum(count, 1), 0.0)
    length = np.maximum(np.sqrt((y**2).sum(axis=0)), 1e-300)
    alive = np.array([usable(s.y) and short_sd(s.y) > 0 for s in basic])
    trust = np.array(
        [(n / short_sd(s.y)) ** 2 if ok else 0.0 for s, ok, n in zip(basic, alive, length)]
    )
    moves = np.array(
        [
            np.where((np.abs(s.mix) >= LEAST_MOVE) & alive, s.mix / length, 0.0)
            for s in scales
            if s.mix is not None
        ]
    ).reshape(len(scales), len(basic))
    y = y / length
    own: tuple[Alike, ...] = (Alike("", 0.0, 0.0),) * len(basic)
    if pats is not None and ok is not None:
        own = tuple(
            _likeness(np.where(s, x, np.nan), pats, o) if a else Alike("", 0.0, 0.0)
            for s, x, o, a in zip(seen.T, y.T, ok, alive)
        )
    return Scaled(y, count, moves, trust, own)


def _likeness(y: np.ndarray, pats: Patterns, ok: np.ndarray) -> Alike:
    """How batches resemble one another in a series. A cause that lasts makes neighbours alike, so a pattern is taken out first where that
    fits far better than likeness alone."""
    plain = alike(y, pats.groups)
    if not plain.kind or not ok.any():
        return plain
    x = np.nan_to_num(y)
    gain = -np.isfinite(y).sum() * np.log1p(-np.minimum((x @ pats.h) ** 2, 1 - 1e-12))
    for grown in (pats.grown(plain), 1.0):
        m = int(np.where(ok, gain / grown - pats.price, -np.inf).argmax())
        left = alike(
            np.where(np.isfinite(y), x - pats.h[:, m] * (x @ pats.h[:, m]), np.nan), pats.groups
        )
        if 2 * (left.fit - plain.fit) - pats.price[m] > CLEARLY:
            return left
    return plain


def gains(r: np.ndarray, scaled: Scaled, with_scales: bool = True, grown=1.0) -> np.ndarray:
    """(..., p + scales, m) n ln(1 / (1 − r²)) / grown from the projections r (..., p, m) of the series on the patterns.

    A scale's error has one size for all the series it moves: b from all of them together, then what that b subtracts from each. So a scale whose
    error would show in two places is not believed for one of them alone.
    """
    found = -scaled.count[:, None] * np.log1p(-np.minimum(r**2, 1 - np.finfo(r.dtype).eps)) / grown
    if not with_scales or not len(scaled.moves):
        return found
    pulled = scaled.moves * scaled.trust
    size = (
        np.einsum("cp,...pm->...cm", pulled, r)
        / np.maximum((pulled * scaled.moves).sum(axis=1), 1e-300)[:, None]
    )
    grown = np.broadcast_to(grown, found.shape[-2:])
    rows = []
    for c, moves in enumerate(scaled.moves):
        on = np.flatnonzero(moves)
        b = moves[on, None] * size[..., c, None, :]
        left = np.maximum(1 - 2 * b * r[..., on, :] + b**2, 1e-12)
        rows.append(-(scaled.count[on, None] * np.log(left) / grown[on]).sum(axis=-2))
    return np.concatenate([found, np.stack(rows, axis=-2)], axis=-2)


def scores(scaled: Scaled, pats: Patterns, ok: np.ndarray) -> np.ndarray:
    """(p + scales, m) penalised scores; -inf where not allowed.

    What a series says for a pattern is divided by how much batches that resemble one another imitate it.
    """
    grown = np.array([pats.grown(like) for like in scaled.sticky])
    return np.where(ok, gains(scaled.y.T @ pats.h, scaled, grown=grown) - pats.price, -np.inf)


def shuffled(scaled: Scaled, pats: Patterns, ok: np.ndarray) -> Null:
    """Best score of each series in each of ROUNDS shuffles of the batches, all series shuffled alike, as Gumbel curves by their moments."""
    rng = np.random.default_rng(5)
    # half the digits are plenty for a distribution drawn from ROUNDS, and half the time
    scaled = replace(scaled, y=scaled.y.astype(np.float32))
    y, p, h = scaled.y, scaled.y.shape[1], pats.h.astype(np.float32)
    orders = np.array([rng.permutation(len(y)) for _ in range(ROUNDS)])
    best = np.full((ROUNDS, len(ok)), -np.inf)
    for use in np.unique(ok.T, axis=0):
        # patterns that only some series may use are tried on those alone
        columns = np.flatnonzero((use == ok.T).all(axis=1))
        with_scales = bool(use[p:].any())
        rows = np.arange(p) if with_scales else np.flatnonzero(use)
        if not len(rows):
            continue
        part = scaled if with_scales else replace(scaled, count=scaled.count[rows])
        mask = use[:, None] if with_scales else np.ones((len(rows), 1), bool)
        size = max(1, 1_500_000 // (len(rows) * len(columns)))
        for first in range(0, ROUNDS, size):
            r = np.tensordot(
                h[:, columns], y[orders[first : first + size]][:, :, rows], axes=(0, 1)
            )
            gain = gains(np.moveaxis(r, 0, -1), part, with_scales) - pats.price[columns]
            top = np.where(mask, gain, -np.inf).max(axis=2)
            of = slice(None) if with_scales else rows
            part_best = best[first : first + size]
            part_best[:, of] = np.maximum(part_best[:, of], top)
    tried = np.isfinite(best).all(axis=0)
    best = np.where(tried, best, 0.0)
    spread = np.maximum(best.std(axis=0, ddof=1) * sqrt(6) / pi, 1e-9)
    return Null(np.where(tried, best.mean(axis=0) - np.euler_gamma * spread, np.nan), spread)


def taken_out(series: Series, columns: np.ndarray) -> Series:
    """The series without what `columns` (n, k) explain; its level stays."""
    seen = np.isfinite(series.y)
    x = columns[seen] - columns[seen].mean(axis=0)
    coefficient, *_ = np.linalg.lstsq(x, series.y[seen] - series.y[seen].mean(), rcond=None)
    y = series.y.copy()
    y[seen] -= x @ coefficient
    return replace(series, y=y)

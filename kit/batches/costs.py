"""What does each loss cost, and how much of it has this plant already shown it can do without?"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy as sp

from kit import tables
from kit.batches.causes import short_sd
from kit.batches.charts import i_mr
from kit.batches.table import BatchTable
from kit.faults import need_said
from kit.working import Result, notes_of, working_of
from kit.yields.worth import check_prices


@dataclass(frozen=True)
class Bar:
    """One bar of the Pareto chart. Interval: 90 %, for what as many batches of the same kind lose on average."""

    name: str
    kg: float
    kg_interval: tuple[float, float]
    pct_of_all: float
    price_per_kg: float | None

    @property
    def money(self) -> float | None:
        return None if self.price_per_kg is None else self.kg * self.price_per_kg


@dataclass(frozen=True)
class Pareto(Result):
    """Losses, largest first: by money where every bar has a price, else by kilograms."""

    bars: tuple[Bar, ...]
    by: str
    total_money: float | None


@dataclass(frozen=True)
class Recoverable(Result):
    """One stage against the plant's own best stable run, a quarter of its batches. `luck_points`: what the best run of a steady plant would
    look better by; `gap_points` less that is what counts, and its kilograms are over all batches of the table."""

    stage: str
    mean_pct: float
    best_pct: float | None = None
    best_first: int | None = None
    best_last: int | None = None
    gap_points: float = 0.0
    luck_points: float = 0.0
    points: float = 0.0
    kg: float = 0.0
    kg_interval: tuple[float, float] = (0.0, 0.0)


def pareto(table: BatchTable, price_per_kg: Mapping[str, float] | None = None) -> Pareto:
    """Kilograms lost per stage ('cook'), and missing between stages ('cook to chill'), summed over all batches with weights.

    Money at the person's own prices only, {line: price of a kilogram lost there}.
    What a lost kilogram is worth differs: water that steams off is not worth what trimmed meat cost. There are no prices in the kit.
    """
    prices = price_per_kg or {}
    columns = {name: kg[np.isfinite(kg)] for name, kg in table.lines().items()}
    check_prices(prices, columns)
    total = {name: float(kg.sum()) for name, kg in columns.items() if len(kg)}
    unpriced = [name for name in total if name not in prices]
    by_money = bool(prices) and not unpriced
    amount = {name: kg * (prices[name] if by_money else 1) for name, kg in total.items()}
    positive = sum(max(a, 0.0) for a in amount.values())
    bars = tuple(
        Bar(
            name,
            total[name],
            _interval_of_sum(columns[name]),
            100 * max(amount[name], 0.0) / positive if positive else 0.0,
            prices.get(name),
        )
        for name in sorted(total, key=lambda name: -amount[name])
    )
    gaps = [f"{name} ({table.n - len(kg)})" for name, kg in columns.items() if len(kg) < table.n]
    gained = [b.name for b in bars if b.kg < 0]
    told = {"gaps": ", ".join(gaps), "gained": ", ".join(gained)}
    told["unpriced"] = ", ".join(unpriced if prices else ())
    first = bars[0] if positive else None
    share = {"s": first.pct_of_all, "a": amount[first.name], "T": positive} if first else {}
    priced = ((b, (b.price_per_kg, "per kg", "the person's price")) for b in bars)
    return Pareto(
        bars,
        "money" if by_money else "kg",
        sum(b.money for b in bars if b.money is not None) if prices else None,
        own_notes=notes_of("pareto", told, **told),
        own_sources=("the person's own prices" if prices else "the person's own weights",),
        own_working=(
            *working_of("pareto", first=first and first.name, **share),
            *(
                step
                for b, price in priced
                for step in working_of("price of a loss", name=b.name, M=b.money, K=b.kg, P=price)
            ),
        ),
    )


def _interval_of_sum(kg: np.ndarray) -> tuple[float, float]:
    """90 % interval of the sum of as many batches of the same kind; without end for a single batch."""
    total, n = float(kg.sum()), len(kg)
    half = float("inf")
    if n > 1:
        half = float(sp.special.stdtrit(n - 1, 0.95) * kg.std(ddof=1) * n**0.5)
    return total - half, total + half


@lru_cache(maxsize=32)
def _luck(n: int, window: int) -> np.ndarray:
    """How far the best window of steady noise lies below its mean, in standard deviations: 2000 simulated series, sorted."""
    x = np.random.default_rng(404).normal(size=(2000 if n <= 500 else 400, n))
    run = np.cumsum(np.hstack([np.zeros((len(x), 1)), x]), axis=1)
    return np.sort(x.mean(axis=1) - (run[:, window:] - run[:, :-window]).min(axis=1) / window)


def recoverable(table: BatchTable, stage: str) -> Recoverable:
    """Mean loss of a stage against that of the best stable run, corrected for chance.

    table: weights by batch and stage, kg
    stage: whose loss
    Returns Recoverable: kilograms and share, with a 90 % interval.
    Raises OutOfRange with fewer than 12 weighed batches; UnknownName for a stage.
    The best run is the quarter of the batches, in a row and stable by itself, that lost least. What a
    steady plant would show by chance is taken off. Where the table holds expected yields, what goes
    with the recipe is taken off first.
    Source: simulation with the scatter between neighbouring batches; data/reference/batches.csv.
    """
    j = table.place(stage)
    judged = table.judged_loss_pct[:, j]
    have = np.flatnonzero(np.isfinite(judged))
    y, all_in, n = judged[have], float(table.all_in_kg[have, j].sum()), len(have)
    sources = (tables.computed("gain of the best run simulated for random variation"),)
    need_said(n >= 12, "few for a best run", n=n, stage=stage)
    window = -(-n // 4)
    run = np.cumsum(np.concatenate([[0.0], y]))
    means, mean = (run[window:] - run[:-window]) / window, float(y.mean())
    stable = (
        int(first)
        for first in np.argsort(means, kind="stable")
        if np.ptp(y[first : first + window]) == 0
        or i_mr(y[first : first + window], rules=("beyond 3",)).stable
    )
    best = next(stable, None)
    if best is None:
        return Recoverable(
            stage,
            mean,
            own_notes=notes_of("no stable run", {}),
            own_sources=sources,
            own_working=working_of("mean loss", m=mean, S=y.sum(), n=n),
        )
    best_pct, luck, sd = float(means[best]), _luck(n, window), short_sd(y)
    gap, usual = mean - best_pct, sd * float(luck.mean())
    low, high = (max(0.0, gap - sd * float(np.quantile(luck, q))) for q in (0.95, 0.05))
    points = max(0.0, gap - usual)
    kg = points * all_in / 100
    first, last = int(have[best]), int(have[best + window - 1])
    run_words = {"first": first + 1, "last": last + 1, "runs": len(means)}
    loss = {"m": mean, "b": best_pct, "g": gap, "k": usual, "r": points}
    money = {"A": all_in, "K": kg}
    return Recoverable(
        stage,
        mean,
        best_pct,
        first,
        last,
        gap,
        usual,
        points,
        kg,
        (low * all_in / 100, high * all_in / 100),
        own_notes=notes_of("best stable run", {"zero": low == 0}, **run_words),
        own_sources=sources,
        own_working=working_of("best stable run", **loss, **money),
    )

"""What does each loss cost, and how much of it has this plant already shown it can do without?"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.stats import t as t_curve

from kit import tables
from kit.batches.causes import short_sd
from kit.batches.charts import i_mr
from kit.batches.table import BatchTable
from kit.errors import OutOfRange, UnknownName, need
from kit.working import Result, step


@dataclass(frozen=True)
class Bar:
    """One bar of the Pareto chart. Interval: 95 % for what as many batches of the same kind lose on average."""

    name: str
    kg: float
    kg_interval: tuple[float, float]
    pct_of_all: float
    price_per_kg: float | None
    money: float | None
    money_interval: tuple[float, float] | None


@dataclass(frozen=True)
class Pareto(Result):
    """Losses, largest first: by money where every bar has a price, else by kilograms."""

    bars: tuple[Bar, ...]
    by: str
    total_kg: float
    total_money: float | None


@dataclass(frozen=True)
class Recoverable(Result):
    """One stage against the plant's own best stable quarter of its batches. `luck_points`: what the best quarter of a steady plant would
    look better by; `gap_points` less that is what counts, and its kilograms are over all batches of the table."""

    stage: str
    mean_pct: float
    best_pct: float | None
    best_first: int | None
    best_last: int | None
    gap_points: float
    luck_points: float
    points: float
    kg: float
    kg_interval: tuple[float, float]
    money: float | None


def check_prices(prices: Mapping[str, float], known) -> None:
    for name, price in prices.items():
        if name not in known:
            raise UnknownName("line to price", name, known)
        if not (np.isfinite(price) and price >= 0):
            raise OutOfRange(
                f"the price of a kilogram lost at {name} is {price!r}; it must be a finite number, 0 or more"
            )


def pareto(
    table: BatchTable, price_per_kg: Mapping[str, float] | None = None, currency: str = ""
) -> Pareto:
    """Kilograms lost per stage ('cook'), and missing between stages ('cook to chill'), summed over all batches with weights.

    Money at the person's own prices only, {line: price of a kilogram lost there}.
    What a lost kilogram is worth differs: water that steams off is not worth what trimmed meat cost. There are no prices in the kit.
    """
    prices = price_per_kg or {}
    names = [*table.stages, *table.handovers()]
    check_prices(prices, names)
    kg = np.hstack([table.lost_kg, table.missing_kg])
    seen = np.isfinite(kg)
    count = seen.sum(axis=0)
    total = np.where(seen, kg, 0.0).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        sd = np.sqrt((np.where(seen, kg - total / count, 0.0) ** 2).sum(axis=0) / (count - 1))
    half = np.where(
        count > 1,
        t_curve.ppf(0.975, np.maximum(count - 1, 1))
        * np.nan_to_num(sd)
        * np.sqrt(np.maximum(count, 1)),
        np.inf,
    )
    all_priced = bool(prices) and all(n in prices for n, c in zip(names, count) if c)
    worth = np.array([prices.get(n, np.nan) for n in names])
    order = sorted(
        (j for j in range(len(names)) if count[j]),
        key=lambda j: -(total[j] * worth[j] if all_priced else total[j]),
    )
    amount = [total[j] * worth[j] if all_priced else total[j] for j in order]
    positive = sum(max(a, 0.0) for a in amount)
    bars = []
    for j, a in zip(order, amount):
        share = float(100 * max(a, 0.0) / positive) if positive else 0.0
        price = prices.get(names[j])
        bars.append(
            Bar(
                names[j],
                float(total[j]),
                (float(total[j] - half[j]), float(total[j] + half[j])),
                share,
                price,
                None if price is None else float(total[j] * price),
                None
                if price is None
                else (float((total[j] - half[j]) * price), float((total[j] + half[j]) * price)),
            )
        )
    gaps = [f"{names[j]} ({table.n - count[j]})" for j in range(len(names)) if count[j] < table.n]
    notes = []
    if gaps:
        notes.append(f"batches without a weight there are left out: {', '.join(gaps)}")
    if prices and not all_priced:
        notes.append(
            f"no price for {', '.join(n for n, c in zip(names, count) if c and n not in prices)}: ordered by kilograms"
        )
    gained = [b.name for b in bars if b.kg < 0]
    if gained:
        notes.append(
            f"weight was gained with no addition: {', '.join(gained)}; that is a fault of scales or records, not a profit"
        )
    money = sum(b.money for b in bars if b.money is not None) if prices else None
    per = f"{currency}/kg".lstrip("/")
    steps = []
    if bars and amount[0] > 0:
        steps.append(
            step(
                f"share of {bars[0].name}",
                "s = 100 × a / T",
                bars[0].pct_of_all,
                "%",
                a=(amount[0], "", "its amount"),
                T=(positive, "", "all amounts above 0"),
            )
        )
    steps += [
        step(
            f"{b.name} in money",
            "M = K × P",
            b.money,
            currency,
            K=(b.kg, "kg", b.name),
            P=(b.price_per_kg, per, "the person's price"),
        )
        for b in bars
        if b.money is not None
    ]
    return Pareto(
        tuple(bars),
        "money" if all_priced else "kg",
        float(total.sum()),
        money,
        own_notes=tuple(notes),
        own_sources=("the person's own prices" if prices else "the person's own weights",),
        own_working=tuple(steps),
    )


@lru_cache(maxsize=32)
def _luck(n: int, window: int) -> np.ndarray:
    """How far the best window of steady noise lies below its mean, in standard deviations: 2000 simulated series, sorted."""
    x = np.random.default_rng(404).normal(size=(2000 if n <= 500 else 400, n))
    run = np.cumsum(np.hstack([np.zeros((len(x), 1)), x]), axis=1)
    return np.sort(x.mean(axis=1) - (run[:, window:] - run[:, :-window]).min(axis=1) / window)


def recoverable(
    table: BatchTable, stage: str, price_per_kg: float | None = None, currency: str = ""
) -> Recoverable:
    """Mean loss of a stage against that of the best stable run, corrected for chance.

    table: weights by batch and stage, kg
    stage: whose loss
    price_per_kg: the person's price of a kilogram lost there, 0 or more; no money is shown without one
    currency: its name, for the words
    Returns Recoverable: kilograms, share and money, with a 90 % interval.
    Raises OutOfRange with fewer than 12 weighed batches; UnknownName for a stage.
    The best run is the quarter of the batches, in a row and stable by itself, that lost least. What a
    steady plant would show by chance is taken off. Where the table holds expected yields, what goes
    with the recipe is taken off first.
    Source: simulation with the scatter between neighbouring batches; data/reference/batches.csv.
    """
    j = table.place(stage)
    if price_per_kg is not None:
        check_prices({stage: price_per_kg}, [stage])
    judged = table.judged_loss_pct[:, j]
    have = np.flatnonzero(np.isfinite(judged))
    y, all_in = judged[have], float(table.all_in_kg[have, j].sum())
    n, sources = (
        len(have),
        (tables.cite("kit", "luck of the best quarter simulated on noise", "computed"),),
    )
    need(n >= 12, f"{n} batches with weights at {stage}; a best quarter takes at least 12")
    window = -(-n // 4)
    run = np.cumsum(np.concatenate([[0.0], y]))
    means = (run[window:] - run[:-window]) / window
    best = None
    for first in np.argsort(means, kind="stable"):
        part = y[first : first + window]
        if len(part) < 3 or np.ptp(part) == 0 or i_mr(part, rules=("beyond 3",)).stable:
            best = int(first)
            break
    mean = float(y.mean())
    if best is None:
        return Recoverable(
            stage,
            mean,
            None,
            None,
            None,
            0.0,
            0.0,
            0.0,
            0.0,
            (0.0, 0.0),
            None,
            own_notes=(
                "no quarter of these batches is stable, so there is nothing to measure against",
            ),
            own_sources=sources,
            own_working=(
                step(
                    "mean loss",
                    "m = S / n",
                    mean,
                    "%",
                    S=(y.sum(), "%", "sum"),
                    n=(n, "", "batches"),
                ),
            ),
        )
    gap, luck, sd = mean - float(means[best]), _luck(n, window), short_sd(y)
    usual = sd * float(luck.mean())
    low, high = (max(0.0, gap - sd * float(np.quantile(luck, q))) for q in (0.95, 0.05))
    points = max(0.0, gap - usual)
    kg = points * all_in / 100
    notes = [
        f"best quarter: batches {have[best] + 1} to {have[best + window - 1] + 1}, chosen among {len(means)}",
        "this plant has done it; whether it can be had again, and at what cost, the figures do not say",
    ]
    if low == 0:
        notes.append(
            "nothing to recover is within the interval: the best quarter may have been luck"
        )
    steps = [
        step(
            "gap to the best quarter",
            "g = m − b",
            gap,
            "% points",
            key="gap",
            m=(mean, "%", "mean loss"),
            b=(float(means[best]), "%", "best quarter"),
        ),
        step(
            "beyond luck",
            "r = max(0, g − k)",
            points,
            "% points",
            key="beyond luck",
            g=(gap, "% points", "gap"),
            k=(usual, "% points", "luck of the best quarter"),
        ),
        step(
            "kilograms",
            "K = r × A / 100",
            kg,
            "kg",
            key="kilograms",
            r=(points, "% points", "beyond luck"),
            A=(all_in, "kg", "went into the stage"),
        ),
    ]
    money = None if price_per_kg is None else kg * price_per_kg
    if money is not None:
        steps.append(
            step(
                "money",
                "M = K × P",
                money,
                currency,
                K=(kg, "kg", "recoverable"),
                P=(price_per_kg, f"{currency}/kg".lstrip("/"), "the person's price"),
            )
        )
    return Recoverable(
        stage,
        mean,
        float(means[best]),
        int(have[best]),
        int(have[best + window - 1]),
        gap,
        usual,
        points,
        kg,
        (low * all_in / 100, high * all_in / 100),
        money,
        own_notes=tuple(notes),
        own_sources=sources,
        own_working=tuple(steps),
    )

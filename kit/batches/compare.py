"""Two periods, lines, suppliers or products: by how much do their losses differ, what is that worth, how many batches would show it?

compare(table, "batches 1 to 60", "batches 61 to 120")
compare(table, "smokehouse SH 2")                        with all others
compare(table, "2026-01", "2026-02 to 2026-03", price_per_kg={"cook": 0.8})
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.batches.groups import members
from kit.batches.means import Mean, by_unit, mean_of, units_of, welch
from kit.batches.power import batches_needed
from kit.batches.table import PRODUCTS, BatchTable
from kit.errors import OutOfRange, look_up
from kit.faults import need_said
from kit.working import Result, Step, notes_of, working_of
from kit.yields.worth import check_prices

OTHERS, COST, OVERALL = "others", "cost", "overall"
YEAR_DAYS, LEAST_DAYS = 365, 28
"""days of records from which batches a year are told"""


@dataclass(frozen=True)
class Compared:
    """One line. Differences are second less first, in percentage points of what goes into the line (of COST: your currency for 100 kg brought in)."""

    line: str
    unit: str
    """what varies by itself: batch, lot or day"""
    paired: bool
    """units that are in both groups were compared with themselves"""
    batches: tuple[int, int]
    means: tuple[float, float]
    difference: Mean
    base_kg: float
    """that 100 % are, per batch"""
    price_per_kg: float | None
    batches_needed: int | None
    """on each side, to see a difference of this size with a power of 80 %; None where it is too small for any number"""

    @property
    def clear(self) -> bool:
        """Whether the 90 % interval leaves out zero."""
        low, high = self.difference.interval
        return low > 0 or high < 0

    def over(self, batches: float = 1) -> tuple[float, float, float]:
        """Kilograms (of COST: your currency) over so many batches, and the ends of the 90 % interval."""
        value, (low, high) = self.difference.value, self.difference.interval
        kg = self.base_kg * batches / 100
        return value * kg, low * kg, high * kg


@dataclass(frozen=True)
class Comparison(Result):
    """`lines`: stages, transfers, the overall loss, and the cost where every line has a price. `groups`: what was compared, in words."""

    groups: tuple[str, str]
    lines: tuple[Compared, ...]
    batches_per_year: float | None
    """as the dates of the records show"""
    in_second: int
    """batches of the second group"""

    def line(self, name: str) -> Compared:
        return look_up("line compared", name, {one.line: one for one in self.lines})


def compare(
    table: BatchTable,
    first: str,
    second: str = OTHERS,
    *,
    price_per_kg: Mapping[str, float] | None = None,
) -> Comparison:
    """Losses of two groups of batches at each stage, on each transfer and overall.

    table: weights by batch and stage, kg, with labels
    first, second: groups as `members` takes them; 'others' are all batches outside the first
    price_per_kg: {line: the person's price of a kilogram lost there}
    Returns Comparison: differences with 90 % intervals (Welch), where batches share a lot, or else a day, of the means of lots or days.
    Raises UnknownName for a group that is not there; OutOfRange for groups that overlap or are empty.
    What recipes are expected to change is taken off first; of products made in both groups, the difference is within products.
    Source: Welch's t; likeness of neighbours as in kit/batches/noise.py; data/reference/batches.csv.
    """
    prices = price_per_kg or {}
    check_prices(prices, table.lines())
    one = members(table, first)
    other = ~one if second.strip() == OTHERS else members(table, second)
    for name, mask in ((first, one), (second, other)):
        need_said(bool(mask.any()), "empty group", group=name)
    both = int((one & other).sum())
    need_said(not both, "groups overlap", both=both, first=first, second=second)
    product, notes = _products(table, one, other, first, second)
    units = units_of(table)
    found = [
        _compared(name, y, base, one, other, product, units, prices.get(name))
        for name, y, base in _series(table, prices)
    ]
    lines = tuple(line for line in found if line is not None)
    need_said(bool(lines), "no line compared", first=first, second=second)
    return Comparison(
        (first, second),
        lines,
        _per_year(table),
        int(other.sum()),
        own_notes=(*notes, *_notes(table, lines, units[0])),
        own_sources=(tables.computed("Welch's t for two means, Student's t for pairs"),),
        own_working=tuple(step for line in lines for step in _steps(line)),
    )


def _series(table: BatchTable, prices: Mapping[str, float]):
    """(line, its loss in %, the kilograms that 100 % are) of each line."""
    judged = table.judged_loss_pct
    recipe_kg = np.nansum((judged - table.loss_pct) * table.all_in_kg, axis=1) / 100
    brought = table.brought_in_kg
    for j, name in enumerate(table.stages):
        yield name, judged[:, j], table.all_in_kg[:, j]
    for name, pct, kg in zip(table.handovers(), table.missing_pct.T, table.out_kg.T):
        yield name, pct, kg
    yield OVERALL, 100 - table.overall_yield_pct + 100 * recipe_kg / brought, brought
    if prices and all(name in prices for name in table.stages):
        money = sum(prices[name] * kg for name, kg in table.lines().items() if name in prices)
        yield COST, 100 * money / brought, brought


def _products(table: BatchTable, one, other, first: str, second: str):
    """(n,) code of the product that each batch is compared within, and what is said of it; one code where there is nothing to tell apart."""
    same = np.zeros(table.n, int)
    label = next((name for name in PRODUCTS if name in table.labels), None)
    if label is None or any(said.startswith(f"{label} ") for said in (first, second)):
        return same, ()
    _, codes = np.unique(table.labels[label], return_inverse=True)
    shared = set(codes[one]) & set(codes[other])
    if len(set(codes[one | other])) < 2:
        return same, ()
    within = np.isin(codes, list(shared))
    aside = int(((one | other) & ~within).sum())
    holds = {"none": not shared, "all": shared and not aside, "some": shared and aside}
    said = notes_of("products of two groups", holds, label=label, aside=aside)
    return (np.where(within, codes, -1) if shared else same), said


def _compared(line, y, base, one, other, product, units, price) -> Compared | None:
    rows = np.flatnonzero((one | other) & np.isfinite(y) & (product >= 0))
    later = other[rows]
    if not 0 < later.sum() < len(rows):
        return None
    x = y[rows] - _of_products(y[rows], later, product[rows])
    kind, codes = units[0], units[1][rows]
    groups = by_unit(x[~later], codes[~later]), by_unit(x[later], codes[later])
    pairs = set(groups[0]) & set(groups[1])
    paired = len(pairs) > max(len(groups[0]), len(groups[1])) / 2 and len(pairs) > 2
    if paired:
        a, b = (np.array([group[k] for k in sorted(pairs)]) for group in groups)
        difference = mean_of(b - a)
        sd = difference.sd / 2**0.5
    else:
        a, b = (np.array(list(group.values())) for group in groups)
        difference = welch(a, b, np.argsort([*map(list(codes).index, (*groups[0], *groups[1]))]))
        sd = difference.sd
    try:
        units_needed = batches_needed(difference.value, sd).per_side
    except OutOfRange:
        needed = None
    else:
        needed = int(np.ceil(units_needed * len(rows) / (len(groups[0]) + len(groups[1]))))
    return Compared(
        line,
        kind,
        paired,
        (int((~later).sum()), int(later.sum())),
        (float(a.mean()), float(b.mean())),
        difference,
        float(base[rows].mean()),
        price,
        needed,
    )


def _of_products(x, later, product):
    """What each product loses more or less than the mean of all, the two groups apart."""
    codes, at = np.unique(product, return_inverse=True)
    if len(codes) < 2:
        return 0.0
    design = np.column_stack([later, np.eye(len(codes))[at]])
    own = np.linalg.lstsq(design, x, rcond=None)[0][1:][at]
    return own - own.mean()


def _per_year(table: BatchTable) -> float | None:
    if table.dates is None or np.isnat(table.dates).all():
        return None
    known = table.dates[~np.isnat(table.dates)]
    days = (known.max() - known.min()).astype(float) / 86_400 + 1
    return float(len(known) / days * YEAR_DAYS) if days >= LEAST_DAYS else None


def _notes(table: BatchTable, lines: tuple[Compared, ...], kind: str) -> Iterator[str]:
    by, paired = kind != "batch", any(line.paired for line in lines)
    yield from notes_of(
        "units compared", {"alone": by and not paired, "pairs": by and paired}, kind=kind
    )
    for j in table.expected_stages():
        yield from notes_of("recipe corrected", {"some": False}, stage=table.stages[j])
    single = any(np.isnan(line.difference.half) for line in lines)
    yield from notes_of("two groups", {"single": single}, kind=kind, lines=len(lines))


def _steps(line: Compared) -> tuple[Step, ...]:
    d, (first, second) = line.difference, line.means
    if line.line == COST or not d.half > 0:
        return ()
    interval = {"h": d.half, "t": d.half / d.se, "s": d.se, "dof": d.dof}
    kg = {"K": line.over()[0], "M": line.base_kg}
    return working_of("two groups", line=line.line, d=d.value, a=first, b=second, **interval, **kg)

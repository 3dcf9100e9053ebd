"""What did each loss of this batch cost, at the person's own prices?"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import isfinite

from kit.errors import need_known
from kit.faults import need_said
from kit.working import Result, Step, notes_of, working_of
from kit.yields.ledger import ADDITION, GIVEAWAY, REWORK_IN
from kit.yields.mass_balance import UNRECORDED, MassBalance

LOSSES = ("lost", "scrap", "sample", UNRECORDED, GIVEAWAY)
INPUTS = ("start", ADDITION, REWORK_IN)


@dataclass(frozen=True)
class PricedRow:
    """One row of the mass balance in your currency. Positive: money lost or paid."""

    label: str
    kind: str
    kg: float
    price_per_kg: float | None
    money: float | None
    """None where the person gave no price"""


@dataclass(frozen=True)
class Worth(Result):
    """Losses and inputs at the person's prices."""

    losses: tuple[PricedRow, ...]
    inputs: tuple[PricedRow, ...]
    lost_money: float
    """of the priced losses, unrecorded gains taken off"""
    input_money_per_packed_kg: float | None
    """None unless every input is priced"""


def worth(
    balance: MassBalance,
    price_per_kg: Mapping[str, float],
    free: Collection[str] = (),
) -> Worth:
    """Every loss and every input at the person's own prices; there are no prices in the kit.

    A loss without a price of its own is valued at what a kilogram has cost by then: money put in so
    far over the kilograms there, where every input so far has a price.

    balance: from `mass_balance`.
    price_per_kg: money per kg, 0 or more, by the label of a waterfall row ("ice at chop", "lost in
    cook"), by kind ("lost", "scrap", "sample", "unrecorded", "giveaway", "addition", "rework in"),
    or "start" for what came in; the label wins over the kind.
    free: labels of losses that carry no money, such as water that steams off; what they cost stays
    on the kilograms left.
    Returns Worth. What has no price is named in a note and not counted; rework sent back is no loss.
    Raises UnknownName for a key that fits no row, OutOfRange for a price below 0.
    Source: the person's own prices; the cost put in is carried on by mass.
    """
    known = list(dict.fromkeys((*(row.label for row in balance.rows), *LOSSES, *INPUTS)))
    check_prices({**dict.fromkeys(free, 0.0), **price_per_kg}, known)
    priced: list[PricedRow] = []
    steps: list[Step] = []
    paid: float | None = 0.0
    for row in balance.rows:
        price = price_per_kg.get(row.label, price_per_kg.get(row.kind))
        if row.kind in INPUTS:
            paid = None if paid is None or price is None else paid + row.kg * price
        elif row.kind != "end":
            cost = None if paid is None else paid / row.from_kg if row.from_kg else 0.0
            if row.label in free:
                price = cost = 0.0
            price = cost if price is None else price
            paid = None if paid is None else paid + row.kg * (cost or 0.0)
        if row.kind not in (*INPUTS, *LOSSES):
            continue
        kg = row.kg if row.kind in INPUTS else -row.kg
        money = None if price is None else kg * price
        priced.append(PricedRow(row.label, row.kind, kg, price, money))
        steps += working_of("price of a loss", name=row.label, M=money, K=kg, P=price)
    losses = tuple(w for w in priced if w.kind in LOSSES)
    inputs = tuple(w for w in priced if w.kind in INPUTS)
    per_kg, end = None, balance.end
    if all(w.money is not None for w in inputs) and end.kg > 0:
        all_in = sum(w.money or 0.0 for w in inputs)
        per_kg = all_in / end.kg
        steps += working_of("price of the end", end=end.label, C=per_kg, M=all_in, E=end.kg)
    unpriced = ", ".join(w.label for w in priced if w.money is None and w.kg)
    return Worth(
        losses,
        inputs,
        sum(w.money for w in losses if w.money is not None),
        per_kg,
        own_notes=notes_of("prices", {"unpriced": unpriced}, unpriced=unpriced),
        own_sources=("the person's own prices",),
        own_working=tuple(steps),
    )


def check_prices(price_per_kg: Mapping[str, float], known: Collection[str]) -> None:
    """UnknownName for a line that is not there, OutOfRange for a price below 0 or endless."""
    for line, price in price_per_kg.items():
        need_known("line to price", line, known)
        valid = isinstance(price, (int, float)) and isfinite(price) and price >= 0
        need_said(valid, "price of a loss", line=line, price=price)

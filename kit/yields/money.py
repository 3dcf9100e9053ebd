"""What did each loss of this batch cost, at the person's own prices?"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import isfinite

from kit.errors import OutOfRange, UnknownName
from kit.working import Result, step
from kit.yields.ledger import ADDITION, GIVEAWAY, REWORK_IN
from kit.yields.results import MassBalance

LOSSES = ("lost", "scrap", "sample", "unexplained", GIVEAWAY)
INPUTS = ("start", ADDITION, REWORK_IN)


@dataclass(frozen=True)
class Worth:
    """One line of the mass balance in money. Positive: money lost or paid."""

    label: str
    kind: str
    kg: float
    price_per_kg: float | None
    money: float | None
    """None where the person gave no price"""


@dataclass(frozen=True)
class Money(Result):
    """Losses and inputs at the person's prices."""

    currency: str
    losses: tuple[Worth, ...]
    inputs: tuple[Worth, ...]
    lost_money: float
    """of the priced losses, unexplained gains taken off"""
    input_money_per_packed_kg: float | None
    """None unless every input is priced"""


def carried_prices(
    balance: MassBalance, price_per_kg: Mapping[str, float], free: Collection[str] = ()
) -> dict[str, float]:
    """What a kilogram has cost by the time it is lost: money put in so far over the kilograms there.

    price_per_kg: "start" for what came in, each addition by its label or "addition", "rework in",
    and "giveaway", which could have been sold. free: labels of losses that carry no money, such as
    water that steams off; what they cost stays on the kilograms left.
    Returns {label of a row: price per kg}. Raises OutOfRange for an input without a price.
    """
    found: dict[str, float] = {}
    paid = 0.0
    labels = [row.label for row in balance.rows]
    unknown = set(free) - set(labels)
    if unknown:
        raise UnknownName("loss that costs nothing", min(unknown), labels)
    for row in balance.rows:
        if row.kind in INPUTS:
            price = price_per_kg.get(row.label, price_per_kg.get(row.kind))
            if price is None:
                raise OutOfRange(
                    f"{row.label} has no price, so what a kilogram has cost after it cannot be "
                    f"told; give one for {row.label!r} or {row.kind!r}"
                )
            found[row.label] = price
            paid += row.kg * price
        elif row.kind == GIVEAWAY and GIVEAWAY in price_per_kg:
            found[row.label] = price_per_kg[GIVEAWAY]
        elif row.kind != "end":
            cost = paid / row.from_kg if row.from_kg else 0.0
            found[row.label] = 0.0 if row.label in free else cost
            paid += row.kg * found[row.label]
    return found


def money(balance: MassBalance, price_per_kg: Mapping[str, float], currency: str = "") -> Money:
    """Price every loss and every input, at the person's own prices.

    balance: a mass balance
    price_per_kg: 0 or more, by the label of a waterfall row ("ice at chop", "lost in cook"), by kind ("lost", "scrap", "sample", "unexplained", "giveaway", "addition", "rework in"), or "start"; the label wins over the kind
    currency: its name, for the words
    Returns Money: cost of each row; what has no price is said.
    Raises UnknownName for a key that fits no row, OutOfRange for a price below 0.
    Rework sent back is no loss and is not priced.
    Source: the person's prices; there are none in the kit.
    """
    rows = [row for row in balance.rows if row.kind in (*LOSSES, *INPUTS)]
    known = list(dict.fromkeys((*(row.label for row in rows), *LOSSES, *INPUTS)))
    for key, price in price_per_kg.items():
        if key not in known:
            raise UnknownName("line to price", key, known)
        if not (isinstance(price, (int, float)) and isfinite(price) and price >= 0):
            raise OutOfRange(
                f"the price of {key} is {price!r} per kg; it must be a finite number, 0 or more"
            )

    def worth(row, kg: float) -> Worth:
        price = price_per_kg.get(row.label, price_per_kg.get(row.kind))
        return Worth(row.label, row.kind, kg, price, None if price is None else kg * price)

    losses = tuple(worth(row, -row.kg) for row in rows if row.kind in LOSSES)
    inputs = tuple(worth(row, row.kg) for row in rows if row.kind in INPUTS)
    per, per_kg, steps = f"{currency}/kg".lstrip("/"), None, []
    for w in (*losses, *inputs):
        if w.money is not None and w.price_per_kg is not None:
            what, own = f"{w.label} in money", (w.price_per_kg, per, "the person's price")
            kg = (w.kg, "kg", w.label)
            steps.append(step(what, "M = K × P", w.money, currency, key=what, K=kg, P=own))
    priced = all(w.money is not None for w in inputs)
    paid = sum(w.money or 0.0 for w in inputs)
    if priced and balance.end.kg > 0:
        per_kg = paid / balance.end.kg
        end = (balance.end.kg, "kg", balance.end.label)
        what, all_in = "inputs per kilogram at the end", (paid, currency, "all inputs")
        steps.append(step(what, "C = M / E", per_kg, per, M=all_in, E=end))
    unpriced = [w.label for w in (*losses, *inputs) if w.money is None and w.kg]
    note = f"no price given, so not counted: {', '.join(unpriced)}"
    return Money(
        currency,
        losses,
        inputs,
        sum(w.money for w in losses if w.money is not None),
        per_kg,
        own_notes=(note,) if unpriced else (),
        own_sources=("the person's own prices",),
        own_working=tuple(steps),
    )

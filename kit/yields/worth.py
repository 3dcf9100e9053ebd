"""What did each loss of this batch cost, at the person's own prices?"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import isfinite

from kit.errors import OutOfRange, UnknownName
from kit.working import Result, step
from kit.yields.ledger import ADDITION, GIVEAWAY, REWORK_IN
from kit.yields.mass_balance import UNRECORDED, MassBalance

LOSSES = ("lost", "scrap", "sample", UNRECORDED, GIVEAWAY)
INPUTS = ("start", ADDITION, REWORK_IN)


@dataclass(frozen=True)
class PricedRow:
    """One row of the mass balance in money. Positive: money lost or paid."""

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


def carried_prices(
    balance: MassBalance, price_per_kg: Mapping[str, float], free: Collection[str] = ()
) -> dict[str, float]:
    """What a kilogram has cost by the time it is lost: money put in so far over the kilograms there.

    price_per_kg: "start" for what came in, each addition by its label or "addition", "rework in",
    and "giveaway", which could have been sold.
    free: labels of losses that carry no money, such as water that steams off; what they cost stays
    on the kilograms left.
    Returns {label of a row: price per kg}, for `worth`.
    Raises OutOfRange for an input without a price, UnknownName for a label that fits no row.
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


def worth(balance: MassBalance, price_per_kg: Mapping[str, float], currency: str = "") -> Worth:
    """Every loss and every input at the person's own prices; there are no prices in the kit.

    balance: from `mass_balance`.
    price_per_kg: money per kg, 0 or more, by the label of a waterfall row ("ice at chop", "lost in
    cook"), by kind ("lost", "scrap", "sample", "unrecorded", "giveaway", "addition", "rework in"),
    or "start" for what came in; the label wins over the kind.
    currency: its name, for the working only.
    Returns Worth. What has no price is named in a note and not counted; rework sent back is no loss.
    Raises UnknownName for a key that fits no row, OutOfRange for a price below 0.
    """
    rows = [row for row in balance.rows if row.kind in (*LOSSES, *INPUTS)]
    known = list(dict.fromkeys((*(row.label for row in rows), *LOSSES, *INPUTS)))
    for key, given in price_per_kg.items():
        if key not in known:
            raise UnknownName("row to price", key, known)
        if not (isinstance(given, (int, float)) and isfinite(given) and given >= 0):
            raise OutOfRange(
                f"the price of {key} is {given!r} per kg; it must be a finite number, 0 or more"
            )
    priced, steps, per = [], [], f"{currency}/kg".lstrip("/")
    for row in rows:
        kg = row.kg if row.kind in INPUTS else -row.kg
        price = price_per_kg.get(row.label, price_per_kg.get(row.kind))
        money = None if price is None else kg * price
        priced.append(PricedRow(row.label, row.kind, kg, price, money))
        if price is not None:
            what, own = f"{row.label} in money", (price, per, "the person's price")
            terms = {"K": (kg, "kg", row.label), "P": own}
            steps.append(step(what, "M = K × P", kg * price, currency, key=what, **terms))
    losses = tuple(w for w in priced if w.kind in LOSSES)
    inputs = tuple(w for w in priced if w.kind in INPUTS)
    per_kg = None
    if all(w.money is not None for w in inputs) and balance.end.kg > 0:
        paid = sum(w.money or 0.0 for w in inputs)
        per_kg = paid / balance.end.kg
        end = (balance.end.kg, "kg", balance.end.label)
        what, all_in = "inputs per kilogram at the end", (paid, currency, "all inputs")
        steps.append(step(what, "C = M / E", per_kg, per, M=all_in, E=end))
    unpriced = ", ".join(w.label for w in priced if w.money is None and w.kg)
    return Worth(
        losses,
        inputs,
        sum(w.money for w in losses if w.money is not None),
        per_kg,
        own_notes=(f"no price given, so not counted: {unpriced}",) if unpriced else (),
        own_sources=("the person's own prices",),
        own_working=tuple(steps),
    )

"""What did each loss of this batch cost, at the person's own prices?"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import isfinite

from kit.errors import OutOfRange, UnknownName
from kit.working import Step, step
from kit.yields.ledger import ADDITION, GIVEAWAY, REWORK_IN
from kit.yields.results import Books

LOSSES = ("lost", "scrap", "sample", "unexplained", GIVEAWAY)


@dataclass(frozen=True)
class Worth:
    """One line of the books in money; `money` is None where the person gave no price. Positive: money lost or paid."""

    label: str
    kind: str
    kg: float
    price_per_kg: float | None
    money: float | None


@dataclass(frozen=True)
class Money:
    """Losses and inputs at the person's prices."""

    currency: str
    losses: tuple[Worth, ...]
    inputs: tuple[Worth, ...]
    lost_money: float
    """of the priced losses, unexplained gains taken off"""
    unpriced_kg: float
    """kilograms lost that carry no price"""
    input_money: float | None
    """None unless every input is priced"""
    input_money_per_packed_kg: float | None
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def carried_prices(
    books: Books, price_per_kg: Mapping[str, float], free: Collection[str] = ()
) -> dict[str, float]:
    """What a kilogram has cost by the time it is lost: the money put in so far over the kilograms there. {label of a row: price per kg}, inputs with it.

    `price_per_kg`: "start" for what came in, each addition by label or "addition", "rework in"; `free` are labels of losses that carry no money, such as water that
    steams off: what they cost stays on the kilograms left, which get dearer. Giveaway takes the price "giveaway" where there is one, since it could have been sold.
    """
    found, paid, worthless = {}, 0.0, set(free)
    unknown = worthless - {row.label for row in books.rows}
    if unknown:
        raise UnknownName(
            "loss that costs nothing", min(unknown), [row.label for row in books.rows]
        )
    for row in books.rows:
        if row.kind in ("start", ADDITION, REWORK_IN):
            price = price_per_kg.get(row.label, price_per_kg.get(row.kind))
            if price is None:
                raise OutOfRange(
                    f"{row.label} has no price, so what a kilogram has cost after it cannot be told; give one for {row.label!r} or {row.kind!r}"
                )
            found[row.label] = price
            paid += row.kg * price
        elif row.kind == GIVEAWAY and GIVEAWAY in price_per_kg:
            found[row.label] = price_per_kg[GIVEAWAY]
        elif row.kind != "end":
            cost = paid / row.from_kg if row.from_kg else 0.0
            found[row.label] = 0.0 if row.label in worthless else cost
            paid += row.kg * found[row.label]
    return found


def money(books: Books, price_per_kg: Mapping[str, float], currency: str = "") -> Money:
    """Price every loss and every input. There are no prices in the kit: what has none stays unpriced, and is said.

    A key of `price_per_kg` is the label of a waterfall row ("ice at chop", "lost in cook"), a kind ("lost", "scrap", "sample",
    "unexplained", "giveaway", "addition", "rework in") or "start" for what came in; the label wins over the kind. What a lost
    kilogram is worth is the person's choice: water that steams off is not worth what meat costs.
    Rework sent back is no loss and is not priced. UnknownName for a key that fits no row, OutOfRange for a price below 0.
    """
    rows = [row for row in books.rows if row.kind in (*LOSSES, "start", ADDITION, REWORK_IN)]
    known = list(
        dict.fromkeys([row.label for row in rows] + [*LOSSES, "start", ADDITION, REWORK_IN])
    )
    for key, price in price_per_kg.items():
        if key not in known:
            raise UnknownName("line to price", key, known)
        if not (isinstance(price, (int, float)) and isfinite(price) and price >= 0):
            raise OutOfRange(
                f"the price of {key} is {price!r} per kg; it must be a finite number, 0 or more"
            )

    def worth(row, kg):
        price = price_per_kg.get(row.label, price_per_kg.get(row.kind))
        return Worth(row.label, row.kind, kg, price, None if price is None else kg * price)

    losses = tuple(worth(row, -row.kg) for row in rows if row.kind in LOSSES)
    inputs = tuple(worth(row, row.kg) for row in rows if row.kind not in LOSSES)
    paid = None if any(w.money is None for w in inputs) else sum(w.money for w in inputs)
    open_rows = [w.label for w in (*losses, *inputs) if w.money is None and w.kg]
    per = f"{currency}/kg".lstrip("/")
    steps = [
        step(
            f"{w.label} in money",
            "M = K × P",
            w.money,
            currency,
            K=(w.kg, "kg", w.label),
            P=(w.price_per_kg, per, "the person's price"),
        )
        for w in (*losses, *inputs)
        if w.money is not None
    ]
    per_kg = paid / books.end.kg if paid is not None and books.end.kg > 0 else None
    if per_kg is not None:
        steps.append(
            step(
                "inputs per kilogram at the end",
                "C = M / E",
                per_kg,
                per,
                M=(paid, currency, "all inputs"),
                E=(books.end.kg, "kg", books.end.label),
            )
        )
    notes = (f"no price given, so not counted: {', '.join(open_rows)}",) if open_rows else ()
    return Money(
        currency,
        losses,
        inputs,
        sum(w.money for w in losses if w.money is not None),
        sum(w.kg for w in losses if w.money is None),
        paid,
        per_kg,
        notes,
        ("the person's own prices",),
        tuple(steps),
    )

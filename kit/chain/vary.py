"""The few amounts a slider moves, and the same sheet with them moved."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from kit.errors import need, need_between
from kit.sheet import Line, Sheet


@dataclass(frozen=True)
class Amounts:
    """Lean share: the leanest meat's part of the meat block. Ice: ice and water on the meat. Binder and salt on the whole batch."""

    lean_pct_of_meat: float
    ice_pct_of_meat: float
    binder_pct_of_batch: float
    salt_pct_of_batch: float


def amounts_of(sheet: Sheet) -> Amounts:
    """Where the sliders stand for this sheet. A kind that the sheet does not hold stands at 0."""
    lean = leanest(sheet)
    return Amounts(
        100 * lean.kg / sheet.meat_kg,
        100 * sheet.kg_of("ice", "water") / sheet.meat_kg,
        100 * sheet.kg_of("binder") / sheet.batch_kg,
        100 * sheet.kg_of("salt") / sheet.batch_kg,
    )


def leanest(sheet: Sheet) -> Line:
    return min(sheet.of_kind("meat"), key=lambda line: line.material.fat_pct)


def varied(sheet: Sheet, amounts: Amounts) -> Sheet:
    """The sheet with these amounts. The meat block keeps its weight; the other meats keep their proportions to each other.

    All lines of ice, binder and salt move together. Raises OutOfRange where the sheet has no line to move, or no second meat.
    """
    need_between("lean share in percent of the meat", amounts.lean_pct_of_meat, 0, 100)
    dry_pct = amounts.binder_pct_of_batch + amounts.salt_pct_of_batch
    need_between("binder and salt in percent of the batch", dry_pct, 0, 60)
    return sheet.with_amounts(
        {n: _amount(kg, kg, "kg") for n, kg in meats_at(sheet, amounts.lean_pct_of_meat).items()}
        | _scaled(sheet, ("ice", "water"), amounts.ice_pct_of_meat, sheet.meat_kg, "% of meat")
        | _scaled(sheet, ("binder",), amounts.binder_pct_of_batch, sheet.batch_kg, "% of batch")
        | _scaled(sheet, ("salt",), amounts.salt_pct_of_batch, sheet.batch_kg, "% of batch")
    )


LEAST_KG = 2e-6
"""less is too little to weigh: the line is left out"""


def meats_at(sheet: Sheet, lean_pct) -> dict[str, Any]:
    """Kilograms of each meat at this share of the leanest in the meat block, arrays allowed; the leanest first, the others in their proportions."""
    lean = leanest(sheet)
    others = [line for line in sheet.of_kind("meat") if line is not lean]
    need(
        bool(others) or bool(np.all(np.abs(lean_pct - 100) < 1e-9)),
        f"the sheet has one meat only, {lean.name}; a lean share needs a second one",
    )
    each = (100 - lean_pct) * sheet.meat_kg / 100 / sum(line.kg for line in others) if others else 0
    return {lean.name: lean_pct * sheet.meat_kg / 100} | {o.name: each * o.kg for o in others}


def _amount(kg: float, written: float, basis: str) -> str:
    """The amount as a sheet writes it; empty where it is too little."""
    return f"{written:.9f} {basis}" if kg > LEAST_KG else ""


def _scaled(sheet: Sheet, kinds, pct: float, base_kg: float, basis: str) -> dict[str, str]:
    lines, have = sheet.of_kind(*kinds), sheet.kg_of(*kinds)
    need(
        bool(lines or not pct),
        f"{pct:g} {basis} of {' or '.join(kinds)} is asked for, but the sheet has no line of that kind; add one",
    )
    need_between(f"{kinds[0]} in {basis}", pct, 0, 1000)
    return {
        line.name: _amount(pct * line.kg / have * base_kg / 100, pct * line.kg / have, basis)
        for line in lines
    }

"""Mixes for the meat-block lessons: a sheet with a few amounts moved, two meats with ice and dry goods as a sheet, the mix nearest to a plan and the cheapest one."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from kit.chain.cook_yield import cook_yield
from kit.errors import need_between
from kit.faults import need_said
from kit.meat_block import cheapest
from kit.meat_block.cheapest import Cheapest
from kit.meat_block.limits import Limits
from kit.meat_block.quantities import quantities
from kit.meat_block.target import LeastChange, least_change
from kit.rules.rule_sets import RuleSet
from kit.sheet import Line, Sheet
from kit.sheet.sheet import sheet_of

MEAT_KG = 100.0
DRY = (
    {"name": "curing salt 6.25 %", "amount": "2.5 g/kg of meat", "nitrite_pct": 6.25},
    {"name": "sodium erythorbate", "amount": "546.875 ppm of meat"},
    {"name": "sodium tripolyphosphate", "amount": "0.3 % of batch"},
    {"name": "spice, generic", "amount": "0.5 % of batch"},
)


def mix_sheet(
    lean: str,
    trim: str,
    lean_pct_of_meat: float,
    trim_fat_pct: float,
    trim_fat_half_range_pct: float,
    ice_pct_of_meat: float,
    binder: str,
    binder_pct_of_batch: float,
    salt_pct_of_batch: float,
    rule: str,
) -> Sheet:
    """100 kg of two meats with ice and dry goods. The trim's fat is judged by eye: `trim_fat_pct` ± `trim_fat_half_range_pct` holds nine times in ten.

    `trim` names a species whose lean line gives the trim's composition. Raises OutOfRange and Faulty for what cannot be.
    """
    need_between("lean share in percent of the meat", lean_pct_of_meat, 0, 100)
    need_between("uncertainty of the trim's fat, percentage points", trim_fat_half_range_pct, 0, 40)
    half = trim_fat_half_range_pct
    trimmed: dict[str, object] = {"kind": "meat", "species": trim}
    if half:
        low, high = max(trim_fat_pct - half, 0.0), min(trim_fat_pct + half, 100.0)
        trimmed |= {"name": f"{trim} trim, by eye", "fat_low_pct": low, "fat_high_pct": high}
    else:
        lean_ratio = f"{100 - trim_fat_pct:g}/{trim_fat_pct:g}"
        trimmed |= {"name": f"{trim} trim, tested", "lean": lean_ratio}
    lines: list[dict[str, object]] = []
    if lean_pct_of_meat:
        lines.append({"name": lean, "amount": f"{lean_pct_of_meat * MEAT_KG / 100:.9f} kg"})
    if lean_pct_of_meat < 100:
        lines.append(trimmed | {"amount": f"{(100 - lean_pct_of_meat) * MEAT_KG / 100:.9f} kg"})
    if ice_pct_of_meat:
        lines.append({"name": "ice", "amount": f"{ice_pct_of_meat:g} % of meat"})
    if binder_pct_of_batch:
        lines.append({"name": binder, "amount": f"{binder_pct_of_batch:g} % of batch"})
    if salt_pct_of_batch:
        lines.append({"name": "salt", "amount": f"{salt_pct_of_batch:g} % of batch"})
    return sheet_of({"name": "Two meats", "rule": rule, "line": [*lines, *DRY]})


def limits_of(rules: RuleSet, own: Limits | None = None) -> Limits:
    """A rule set as limits of the cheapest mix; `own` adds limits, or replaces those on the same quantity.

    Refuses a rule on what is not the mix's own, rather than drop it. Phosphate alone is exempt: it is dosed, not chosen.
    """
    left = [rule.title for rule in rules.limits if rule.quantity not in quantities()]
    need_said(not left, "rules of no mix", left=", ".join(left), rules=rules)
    found: dict[str, tuple[float | None, float | None]] = {}
    for rule in rules.limits:
        if rule.quantity != "phosphate_pct_of_finished":
            low, high = found.get(rule.quantity, (None, None))
            found[rule.quantity] = (low, rule.limit) if rule.is_upper else (rule.limit, high)
    return found | dict(own or {})


def nearest_plan(sheet: Sheet, fat_pct_of_finished: float) -> LeastChange:
    """The sheet's own plan with as little change as possible and this fat in the finished product. Only the meats move, within their stock.

    Raises OutOfRange where the sheet's meats cannot reach that fat.
    """
    fixed = [None if line.kind == "meat" else line.kg for line in sheet.lines]
    most = [line.stock_kg if line.kind == "meat" else line.kg for line in sheet.lines]
    wanted = (sheet.materials, sheet.kg, fat_pct_of_finished)
    y = cook_yield(sheet).pct
    return least_change(*wanted, least_kg=fixed, most_kg=most, cook_yield_pct=y)


def cheapest_of(sheet: Sheet, rules: RuleSet, cook_yield_pct: float | None = None) -> Cheapest:
    """The cheapest mix of the sheet's own meats, ice and binders at its own prices and stock, for the same batch weight under `rules`.

    Salt, cure, spice and the like stay as they are. Raises OutOfRange where a meat or binder has no price.
    """
    bare = [x.name for x in sheet.of_kind("meat", "binder") if x.price_per_kg is None]
    need_said(not bare, "no price for a mix", bare=", ".join(bare))
    free = [line.kind in ("meat", "ice", "water", "binder") for line in sheet.lines]
    return cheapest(
        sheet.materials,
        [line.price_per_kg or 0.0 for line in sheet.lines],
        sheet.batch_kg,
        limits_of(rules),
        cook_yield_pct=cook_yield(sheet, asked_pct=cook_yield_pct).pct,
        least_kg=[None if moves else line.kg for line, moves in zip(sheet.lines, free)],
        most_kg=[line.stock_kg if moves else line.kg for line, moves in zip(sheet.lines, free)],
    )


MOVED = {
    "ice_pct_of_meat": ("meat", "ice", "water"),
    "binder_pct_of_batch": ("batch", "binder"),
    "salt_pct_of_batch": ("batch", "salt"),
}
"""an amount that a slider moves, beside the lean share -> its basis, and the kinds whose lines move with it"""


def amounts_of(sheet: Sheet) -> dict[str, float]:
    """Where the sliders stand for this sheet: the leanest meat's part of the meat block, and MOVED. A kind that the sheet does not hold stands at 0."""
    base_kg = {"meat": sheet.meat_kg, "batch": sheet.batch_kg}
    shares = {name: 100 * sheet.kg_of(*of) / base_kg[basis] for name, (basis, *of) in MOVED.items()}
    return {"lean_pct_of_meat": 100 * leanest(sheet).kg / sheet.meat_kg, **shares}


def leanest(sheet: Sheet) -> Line:
    return min(sheet.of_kind("meat"), key=lambda line: line.material.fat_pct)


def varied(sheet: Sheet, amounts: Mapping[str, float]) -> Sheet:
    """The sheet with these amounts (`amounts_of`). The meat block keeps its weight; the other meats keep their proportions to each other.

    All lines of ice, binder and salt move together. Raises OutOfRange where the sheet has no line to move, or no second meat.
    """
    lean_pct = need_between(
        "lean share in percent of the meat", amounts["lean_pct_of_meat"], 0, 100
    )
    dry_pct = amounts["binder_pct_of_batch"] + amounts["salt_pct_of_batch"]
    need_between("binder and salt in percent of the batch", dry_pct, 0, 60)
    base_kg = {"meat": sheet.meat_kg, "batch": sheet.batch_kg}
    moved = {name: _amount(kg, kg, "kg") for name, kg in meats_at(sheet, lean_pct).items()}
    for name, (basis, *kinds) in MOVED.items():
        pct, have = amounts[name], sheet.kg_of(*kinds)
        need_said(
            bool(have or not pct), "no line to move", pct=pct, basis=basis, kinds=" or ".join(kinds)
        )
        need_between(f"{kinds[0]} in % of {basis}", pct, 0, 1000)
        for line in sheet.of_kind(*kinds):
            share = pct * line.kg / have
            moved[line.name] = _amount(share * base_kg[basis] / 100, share, f"% of {basis}")
    return sheet.with_amounts(moved)


LEAST_KG = 2e-6
"""less is too little to weigh: the line is left out"""


def meats_at(sheet: Sheet, lean_pct) -> dict[str, Any]:
    """Kilograms of each meat at this share of the leanest in the meat block, arrays allowed; the leanest first, the others in their proportions."""
    lean = leanest(sheet)
    others = [line for line in sheet.of_kind("meat") if line is not lean]
    need_said(
        bool(others) or bool(np.all(np.abs(lean_pct - 100) < 1e-9)), "one meat only", lean=lean
    )
    each = (100 - lean_pct) * sheet.meat_kg / 100 / sum(line.kg for line in others) if others else 0
    return {lean.name: lean_pct * sheet.meat_kg / 100} | {o.name: each * o.kg for o in others}


def _amount(kg: float, written: float, basis: str) -> str:
    """The amount as a sheet writes it; empty where it is too little."""
    return f"{written:.9f} {basis}" if kg > LEAST_KG else ""

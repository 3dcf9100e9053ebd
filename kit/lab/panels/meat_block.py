"""The panels of 01_meat_block: two meats with their uncertainty and the map of ice and lean, the least-cost mix."""

from dataclasses import dataclass

import numpy as np

from kit import units
from kit.chain import Followed, follow
from kit.chain.map import Map, map_of
from kit.chain.mixes import limits_of, mix_sheet
from kit.lab.charts import meat_block as charts
from kit.lab.lessons.meat_block import ICE_PCT, RULE
from kit.lab.panels.outcome import (
    cautions,
    chance,
    outcome_sentence,
    outcome_table,
    room_table,
    uncertainty_tables,
)
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View, row
from kit.materials import material
from kit.meat_block import cheapest, uncertainty
from kit.meat_block.cheapest import Cheapest
from kit.meat_block.limits import LimitValue
from kit.meat_block.uncertainty import FatTest, FatUncertainty, after_fat_test, worth_of_fat_tests
from kit.rules import rule_set

LEAN = (
    "beef ground 90/10",
    "beef shank, lean",
    "pork picnic, lean and fat",
    "pork shoulder, lean",
    "chicken ground",
)
BINDERS = ("nonfat dry milk", "soy protein concentrate", "soy protein isolate", "corn starch")
HALF_WIDTH = "Half-width of that estimate (percentage points)"


@dataclass(frozen=True)
class Mix:
    """A followed mix, its map (None: of one meat alone), the uncertainty that a fat test would leave, and what the test is worth."""

    followed: Followed
    map: Map | None
    after: FatUncertainty
    test: FatTest | None
    limit_pct: float


def _two_meats():
    meat, dry = "Meat block", "Binder and salt"
    return (
        Choice("lean", "Lean meat", LEAN, LEAN[0], meat),
        Choice("trim", "Trim species", ("pork", "beef"), "pork", meat),
        Slider("lean_pct_of_meat", "Lean meat (% of meat block)", "", 0, 100, 1, 30, meat),
        Slider("trim_fat_pct", "Fat of the trim, estimated by eye (%)", "", 5, 60, 1, 40, meat),
        Slider("trim_fat_half_range_pct", HALF_WIDTH, "", 0, 15, 1, 8, meat),
        Slider("ice_pct_of_meat", "Ice (% of meat block)", "", 0, 70, 1, ICE_PCT, "Ice"),
        Choice("binder", "Binder", BINDERS, BINDERS[0], dry),
        Slider("binder_pct_of_batch", "Binder (% of batch)", "", 0, 8, 0.1, 3.0, dry),
        Slider("salt_pct_of_batch", "Salt (% of batch)", "", 0, 4, 0.1, 2.0, dry),
        Slider("cook_yield_pct", "Cook yield (%)", "", 80, 100, 0.5, 90, "Process"),
    )


def _sheet(values):
    keys = [control.key for control in _two_meats() if control.key != "cook_yield_pct"]
    return mix_sheet(**{key: values[key] for key in keys}, rule=RULE)


def mix_panel() -> Panel:
    """The composition of two meats, ice and binder against the limits and on the map of ice and lean, with the uncertainty of fat and the value of a fat test."""
    error = "Standard error of the fat test (percentage points)"
    limit = rule_set(RULE).limit("fat_pct_of_finished").limit

    def compute(values) -> Mix:
        sheet, error, cook = _sheet(values), values["test_se_pct"], values["cook_yield_pct"]
        tests = worth_of_fat_tests(sheet.materials, sheet.kg, error, cook)
        tested = [
            after_fat_test(m, m.fat_pct, error) if m.fat_sd_pct else m for m in sheet.materials
        ]
        after = uncertainty(tested, sheet.kg, cook)
        followed, both = follow(sheet, cook), 0 < values["lean_pct_of_meat"] < 100
        rng = np.random.default_rng(7)
        plane = map_of(sheet, followed.rules, cook, rng) if both else None
        return Mix(followed, plane, after, tests[0] if tests else None, limit)

    return Panel(
        "Two meats: composition and its uncertainty",
        (*_two_meats(), Slider("test_se_pct", error, "", 0.5, 5, 0.5, 1.0, "Fat test")),
        compute,
        mix_view,
        {
            "uncertainty": charts.uncertainty_chart,
            "map": charts.map_chart,
        },
        {
            "Too much ice": {"ice_pct_of_meat": 68},
            "Trim fatter than it looked": {"trim_fat_pct": 52},
        },
    )


def mix_view(mix: Mix, values, system) -> View:
    followed = mix.followed
    over = followed.fat.chance_over(mix.limit_pct)
    room = _room(mix.map) if mix.map else ""
    risk = f"Probability of fat over {mix.limit_pct:g} %: {chance(over)}."
    sentence = f"{outcome_sentence(followed)} {risk} {room}"
    tables = (
        outcome_table(followed, system),
        *uncertainty_tables(followed, system),
        room_table(followed, system),
    )
    if test := mix.test:
        wide = (test.range_before_pct, test.range_after_pct)
        risks = (over, mix.after.chance_over(mix.limit_pct))
        what = f"probability of fat over {mix.limit_pct:g} %, if the test confirms the estimate"
        rows = (
            row("width of the 90 % interval of fat", *(f"{w:.1f} percentage points" for w in wide)),
            row(what, *map(chance, risks)),
        )
        caption = f"Value of a fat test of the {test.lot}"
        tables += (Table(caption, ("quantity", "now", "after the test"), rows),)
    return View(
        sentence.strip(),
        {
            "uncertainty": charts.uncertainty_data(followed.fat, mix.after, mix.limit_pct),
            "map": charts.map_data(mix.map) if mix.map else {},
        },
        {
            "uncertainty": f"Probability density of the fat content. {risk}",
            "map": f"Map of lean share against ice. {room}",
        },
        tables,
        cautions=cautions(OFFERED),
    ).of(followed, test)


def _room(plane: Map) -> str:
    """The amounts of ice within which every limit is met, at the lean share of the batch."""
    most = float(np.interp(plane.here_lean_pct, plane.lean_pct, plane.most_ice_pct))
    least = float(np.interp(plane.here_lean_pct, plane.lean_pct, plane.least_ice_pct))
    if most <= least:
        return f"At {plane.here_lean_pct:.0f} % lean, no amount of ice meets every limit."
    between = f"every limit is met with {max(least, 0):.0f} to {most:.0f} % ice"
    return f"At {plane.here_lean_pct:.0f} % lean, {between}; this batch has {plane.here_ice_pct:.0f} %."


SHOP = (
    "beef ground 90/10",
    "beef trim 75",
    "pork trim 80",
    "pork trim 50",
    "pork blade 95",
    "pork cheek, trimmed",
    "pork jowl",
    "ice",
    "nonfat dry milk",
    "soy protein isolate",
    "salt",
)
OFFERED = (*LEAN, *BINDERS, *SHOP)
"""what both panels offer to choose from"""
PRICES = {
    "beef trim 75": 3.1,
    "pork blade 95": 4.4,
    "pork cheek, trimmed": 2.6,
    "pork jowl": 1.3,
    "ice": 0.05,
    "nonfat dry milk": 3.6,
    "soy protein isolate": 5.2,
    "salt": 0.4,
}
"""invented prices per kg; those of the other materials are asked for"""
LEAST_SHOWN_KG = 1e-3
"""what the solver leaves below this is nothing"""


def cheapest_panel() -> Panel:
    """The least-cost mix of eleven materials under the rule and limits of one's own."""
    rules = rule_set(RULE)
    shop = tuple(material(name) for name in SHOP)
    asked = np.array([name not in PRICES for name in SHOP])

    def compute(values) -> tuple[Cheapest, bool]:
        """The mix, and whether the prices that are asked for have a say in it: where no mix meets every limit, whether one contains such a material if it costs nothing."""
        prices = [values.get(f"price {name}", PRICES.get(name)) for name in SHOP]
        own = {
            "fat_pct_of_finished": (None, values["fat_high_pct"]),
            "protein_pct_of_finished": (values["protein_low_pct"], None),
            "salt_pct_of_finished": (2.0, 2.2),
            "collagen_pct_of_protein": (None, values["collagen_high_pct"]),
        }
        stock = [values["stock_kg"] if m.name == "pork trim 50" else None for m in shop]
        at = (100.0, limits_of(rules, own))
        more = {"cook_yield_pct": values["cook_yield_pct"], "most_kg": stock}
        found = cheapest(shop, prices, *at, **more)
        if found.fits or found.kg[asked].max() > LEAST_SHOWN_KG:
            return found, True
        given = cheapest(shop, np.where(asked, 0.0, 1.0), *at, **more)
        return found, bool(given.kg[asked].max() > LEAST_SHOWN_KG)

    own, limits, money = "Your prices", "Your limits", "money/kg"
    protein = "Minimum protein (% of finished product)"
    controls = (
        Slider("price beef ground 90/10", "Price of beef 90/10", money, 1, 12, 0.1, 6.2, own),
        Slider("price pork trim 80", "Price of pork trim 80", money, 1, 8, 0.1, 3.2, own),
        Slider("price pork trim 50", "Price of pork trim 50", money, 0.5, 5, 0.1, 1.8, own),
        Slider("stock_kg", "Pork trim 50 in stock", "kg", 0, 100, 1, 45, "Stock"),
        Slider("fat_high_pct", "Maximum fat (% of finished product)", "", 15, 35, 0.5, 28, limits),
        Slider("protein_low_pct", protein, "", 8, 18, 0.25, 11.5, limits),
        Slider("collagen_high_pct", "Maximum collagen (% of protein)", "", 15, 50, 1, 32, limits),
        Slider("cook_yield_pct", "Cook yield (%)", "", 80, 100, 0.5, 90, "Process"),
    )
    clash = {"protein_low_pct": 17, "fat_high_pct": 16, "collagen_high_pct": 20}
    return Panel(
        "Least-cost formulation",
        controls,
        compute,
        cheapest_view,
        {},
        {"Limits that conflict": clash, "Beef price up": {"price beef ground 90/10": 11}},
    )


def _limit_row(limit: LimitValue, fits: bool, system: str) -> Row:
    """One limit at the mix shown: with its shadow price where every limit is met, with what it must give where none does."""
    value = units.show(limit.value, "kg", system) if limit.unit == "kg" else f"{limit.value:.2f}"
    name = f"{limit.name}, {limit.side} {limit.limit:g} {limit.unit}".strip()
    if limit.room < 0 and not limit.binds:
        return row(name, value, f"✗ relaxed by {-limit.room:.2f}", "", mark="fails")
    worth = f"{limit.worth_per_unit:.2f}" if limit.binds else "0"
    state = "binding" if limit.binds else ""
    return row(name, value, state, worth if fits else "", mark="strong" if limit.binds else "")


def _sentence(answer: Cheapest, system: str) -> str:
    each = float(units.to_shown(answer.cost / answer.finished.total_kg, "money/kg", system))
    per = f"{each:.2f} per {units.shown_unit('kg', system)} of finished product"
    cost = f"ost of 100 kg batter: {answer.cost:.0f}, or {per} (your currency)."
    if not answer.fits:
        must = ", ".join(
            f"{r.name} {r.value:.2f} {r.unit}, {r.side} {r.limit:g}" for r in answer.relaxed
        )
        return f"No mix meets every limit. Smallest set of limits to relax: {must}. C{cost} The first table shows the least-cost mix after that."
    by_worth = sorted(answer.binding, key=lambda h: -h.worth_per_unit * abs(h.limit))
    binding = [h.name for h in by_worth if h.worth_per_unit > 0.005]
    more = f", and {len(binding) - 2} more" if len(binding) > 2 else ""
    holding = " and ".join(binding[:2]) + more or "none"
    return f"Least c{cost} Limits that decide it: {holding}."


def cheapest_view(found: tuple[Cheapest, bool], values, system) -> View:
    answer, priced = found
    amounts = tuple(
        row(m.name, units.show(kg, "kg", system, 1))
        for m, kg in zip(answer.materials, answer.kg.tolist())
        if kg > LEAST_SHOWN_KG
    )
    limits = tuple(
        _limit_row(limit, answer.fits, system)
        for limit in answer.held
        if limit.binds or limit.value > 1e-9 or limit.unit == "kg"
    )
    caption = "Limits and shadow prices (saving per unit, your currency per batch)"
    names = ("limit", "this mix", "state", "shadow price")
    only = "no mix this near to the limits contains it"
    return View(
        _sentence(answer, system),
        tables=(
            Table("Least-cost mix", ("material", "weight"), amounts),
            Table(caption, names, limits),
        ),
        notes=("Prices are invented; enter your own, in your currency.",),
        cautions=cautions(OFFERED),
        idle={} if priced else {key: only for key in values if key.startswith("price ")},
    ).of(answer)

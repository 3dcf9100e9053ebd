"""The cheapest mix: it keeps every limit, nothing cheaper does, prices of limits are true, and the smallest relaxation is the smallest."""

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pencil import assert_pencil
from scipy.optimize import linprog

from kit.errors import KitError, UnknownName
from kit.materials import material
from kit.meat_block import cheapest, compose
from kit.meat_block.mix import cooked

FAT, PROTEIN, WATER, SALT = (
    f"{part}_pct_of_finished" for part in ("fat", "protein", "water", "salt")
)
ADDED, FAT_AND_ADDED = "added_water_pct_of_finished", "fat_and_added_water_pct_of_finished"
BINDER, ISOLATE = "binder_pct_of_batch", "isolate_pct_of_batch"
MIX = tuple(material(n) for n in ("beef trim 90", "pork trim 50", "ice", "nonfat dry milk"))
PRICE = (6.0, 2.0, 0.01, 3.0)
USUAL = {
    FAT: (None, 30),
    PROTEIN: (11, None),
    BINDER: (None, 3.5),
    ADDED: (None, 10),
    FAT_AND_ADDED: (None, 40),
}


def added_water_pct(mix):
    """By the words of the rule, apart from the kit's own lines."""
    allowed = np.maximum(mix.group2_protein_pct - 1, 0)
    return mix.water_pct - 4 * (mix.protein_pct - allowed)


def meets(mix, limits, tol=1e-6):
    """Does this finished mix keep the limits? Written from the limits' own words."""
    pct = np.asarray(mix.put_in_kg) / 100
    bad = np.zeros(np.shape(mix.fat_pct), bool)
    found = {
        FAT: mix.fat_pct,
        PROTEIN: mix.protein_pct,
        BINDER: mix.counted_kg["binder"] / pct,
        ISOLATE: mix.counted_kg["isolate"] / pct,
        ADDED: added_water_pct(mix),
        FAT_AND_ADDED: mix.fat_pct + added_water_pct(mix),
    }
    for name, value in found.items():
        low, high = limits.get(name, (None, None))
        bad |= (low is not None and value < (low or 0) - tol) | (
            high is not None and value > (high or 0) + tol
        )
    return ~bad


def grid(k, steps):
    """Every way to split a batch among k materials in whole steps."""
    bars = np.array(list(combinations(range(steps + k - 1), k - 1)))
    edges = np.hstack([np.full((len(bars), 1), -1), bars, np.full((len(bars), 1), steps + k - 1)])
    return (np.diff(edges, axis=1) - 1) / steps


SPLITS = grid(4, 40)


@given(
    st.tuples(*[st.floats(0.01, 9)] * 4),
    st.floats(15, 35),
    st.floats(8, 13),
    st.floats(1, 6),
    st.floats(5, 15),
    st.floats(82, 100),
)
def test_no_mix_of_a_fine_grid_is_cheaper(prices, fat, protein, binder, water, y):
    limits = {
        FAT: (None, fat),
        PROTEIN: (protein, None),
        BINDER: (None, binder),
        ADDED: (None, water),
        FAT_AND_ADDED: (None, 40),
    }
    found = cheapest(MIX, prices, 100, limits, cook_yield_pct=y)
    tried = SPLITS[SPLITS @ np.array([m.moisture_pct for m in MIX]) > 100 - y + 0.01] * 100
    good = tried[meets(cooked(compose(MIX, tried), y), limits, 1e-9)]
    if found.fits:
        assert meets(found.finished, limits)
        assert math.isclose(found.kg.sum(), 100, rel_tol=1e-8)
        if len(good):
            best = (good @ np.array(prices)).min()
            assert found.cost <= best + 1e-6
    else:
        assert len(good) == 0


def test_what_a_limit_is_worth_is_what_the_cost_does():
    found = cheapest(MIX, PRICE, 200, USUAL, cook_yield_pct=92)
    assert found.fits and found.binding
    moved = {
        "fat of the finished product": FAT,
        "protein of the finished product": PROTEIN,
        "binders and extenders of all ingredients": BINDER,
    }
    step, checked = 1e-3, 0
    for held in found.held:
        if held.name not in moved:
            continue
        name = moved[held.name]
        low, high = USUAL[name]
        looser = (None, high + step) if high else (low - step, None)
        again = cheapest(MIX, PRICE, 200, USUAL | {name: looser}, cook_yield_pct=92)
        assert math.isclose(
            (found.cost - again.cost) / step, held.worth_per_unit, rel_tol=1e-4, abs_tol=1e-4
        )
        assert held.worth_per_unit >= 0 and (held.binds or held.worth_per_unit == 0)
        checked += 1
    assert checked == 3


def test_the_worth_of_stock_is_true_too():
    limits = {name: pair for name, pair in USUAL.items() if name != PROTEIN}
    costs = {}
    for stock in (20, 20.01):
        found = cheapest(
            MIX, PRICE, 200, limits, most_kg=(None, stock, None, None), cook_yield_pct=92
        )
        worth = {h.name: h.worth_per_unit for h in found.held}["stock of pork trim 50"]
        costs[stock] = found.cost
    assert math.isclose((costs[20] - costs[20.01]) / 0.01, worth, rel_tol=1e-3, abs_tol=1e-6)
    assert worth > 0


def test_order_and_size_of_the_batch_do_not_matter():
    one = cheapest(MIX, PRICE, 100, USUAL, cook_yield_pct=92)
    turned = cheapest(MIX[::-1], PRICE[::-1], 100, USUAL, cook_yield_pct=92)
    large = cheapest(MIX, PRICE, 2500, USUAL, cook_yield_pct=92)
    assert math.isclose(one.cost, turned.cost, rel_tol=1e-9) and np.allclose(
        one.kg, turned.kg[::-1], atol=1e-6
    )
    assert math.isclose(large.cost, 25 * one.cost, rel_tol=1e-9) and np.allclose(
        large.kg, 25 * one.kg, atol=1e-5
    )
    assert_pencil(one.working)


def test_every_kind_of_limit_holds():
    made = tuple(
        material(n)
        for n in (
            "beef shank, lean",
            "beef trim 90",
            "pork trim 80",
            "pork trim 50",
            "mechanically separated pork",
            "chicken leg, no skin",
            "ice",
            "salt",
            "nonfat dry milk",
            "soy protein isolate",
            "sodium caseinate",
        )
    )
    limits = {
        FAT: (20, 28),
        PROTEIN: (11, 13),
        WATER: (None, 60),
        SALT: (1.9, 2.1),
        "poultry_pct_of_nonwater_ingredients": (None, 15),
        "mechanically_separated_pct_of_meat_portion": (None, 20),
        BINDER: (None, 3.5),
        ISOLATE: (None, 2),
        "caseinate_pct_of_batch": (None, 1),
        "binder_mixture_index": (None, 1),
        "water_to_protein": (3, 5),
        ADDED: (None, 10),
        FAT_AND_ADDED: (None, 40),
    }
    price = (4, 5, 3, 1.5, 0.8, 1.2, 0.01, 0.4, 2, 2.5, 6)
    found = cheapest(
        made,
        price,
        100,
        limits,
        cook_yield_pct=91,
        least_kg=[2] + [None] * 10,
        most_kg=[None, None, 20] + [None] * 8,
    )
    mix = found.finished
    assert found.fits and meets(mix, limits)
    assert all(h.room >= -1e-6 for h in found.held)
    assert 1.9 - 1e-6 <= mix.salt_pct <= 2.1 + 1e-6 and mix.water_pct <= 60 + 1e-6
    assert 3 - 1e-6 <= mix.moisture_to_protein <= 5 + 1e-6
    assert (
        100 * found.kg[5] / (mix.put_in_kg - mix.added_water_kg) <= 15 + 1e-6
        and 100 * found.kg[4] / mix.meat_kg <= 20 + 1e-6
    )
    assert mix.counted_kg["binder"] / 3.5 + mix.counted_kg["isolate"] / 2 <= 1 + 1e-6
    assert found.kg[0] >= 2 - 1e-6 and found.kg[2] <= 20 + 1e-6


def test_a_limit_on_collagen_needs_collagen():
    with pytest.raises(KitError, match="pork jowl|beef tongue"):
        cheapest(
            (material("beef tongue"), material("beef shank, lean")),
            (1, 2),
            10,
            {"collagen_pct_of_protein": (None, 30)},
        )
    found = cheapest(
        (material("beef shank, lean"), material("beef trim 90"), material("nonfat dry milk")),
        (1, 2, 9),
        10,
        {"collagen_pct_of_protein": (None, 40)},
    )
    assert math.isclose(found.finished.collagen_pct_of_protein, 40, rel_tol=1e-6)


# ---- nothing fits


def smallest_by_trying(made, bounds, yield_pct):
    """Fewest limits that must be dropped for a mix to exist, by dropping every set in turn. Rows written out here, apart from the kit's."""
    y = yield_pct / 100
    content = {
        "fat": [m.fat_pct for m in made],
        "protein": [m.protein_pct for m in made],
        "water": [m.moisture_pct - 100 * (1 - y) for m in made],
        "isolated": [100 * y * (m.rule_class == "isolated soy protein") for m in made],
    }
    rows = {
        key: (
            np.array(content[key[0].split()[0]]) * (1 if key[1] == "at most" else -1),
            limit * y * (1 if key[1] == "at most" else -1),
        )
        for key, (_, limit) in bounds.items()
    }
    dry = -np.array(content["water"])
    for size in range(len(bounds) + 1):
        good = []
        for drop in combinations(bounds, size):
            kept = [rows[key] for key in rows if key not in drop] + [(dry, 0.0)]
            if (
                linprog(
                    np.zeros(len(made)),
                    [a for a, _ in kept],
                    [b for _, b in kept],
                    np.ones((1, len(made))),
                    [1],
                ).status
                == 0
            ):
                good.append(set(drop))
        if good:
            return size, good
    raise AssertionError("even without limits nothing fits")


FIVE = tuple(
    material(n)
    for n in ("beef trim 90", "pork trim 50", "pork backfat", "ice", "soy protein isolate")
)


@settings(max_examples=25)
@given(
    st.floats(5, 40),
    st.floats(5, 40),
    st.floats(5, 25),
    st.floats(5, 20),
    st.floats(20, 70),
    st.floats(0, 5),
)
def test_the_relaxed_set_is_the_smallest(
    fat_low, fat_high, protein_low, protein_high, water, isolate
):
    bounds = {
        ("fat of the finished product", "at least"): (FAT, fat_low),
        ("fat of the finished product", "at most"): (FAT, fat_high),
        ("protein of the finished product", "at least"): (PROTEIN, protein_low),
        ("protein of the finished product", "at most"): (PROTEIN, protein_high),
        ("water of the finished product", "at most"): (WATER, water),
        ("isolated soy protein of all ingredients", "at most"): (ISOLATE, isolate),
    }
    price = (5, 2, 1, 0.01, 4)

    def limits(moved=()):
        given: dict[str, tuple] = {}
        for key, (name, value) in bounds.items():
            low, high = given.get(name, (None, None))
            value = dict(moved).get(key, value)
            given[name] = (value, high) if key[1] == "at least" else (low, value)
        return given

    found = cheapest(FIVE, price, 100, limits(), cook_yield_pct=95)
    size, good = smallest_by_trying(FIVE, bounds, 95)
    assert found.fits == (size == 0) and len(found.relaxed) == size
    if found.fits:
        return
    assert {(r.name, r.side) for r in found.relaxed} in good
    relaxed = {(r.name, r.side): r for r in found.relaxed}
    for r in found.relaxed:
        assert (r.value > r.limit) == (r.side == "at most") and r.room < 0
    # loosened by just what was said (and a hair), the mix exists; a tenth of a point less on any, and it does not
    for hair, exists in ((1e-4, True), (-0.1, False)):
        moved = {
            key: r.value + hair * (1 if r.side == "at most" else -1) for key, r in relaxed.items()
        }
        if not exists and (len(moved) > 1 or min(-r.room for r in found.relaxed) < 0.1):
            continue
        again = cheapest(FIVE, price, 100, limits(moved), cook_yield_pct=95)
        assert again.fits == exists
    assert any("Nothing meets" in note for note in found.notes)


def test_an_impossible_wish_names_what_must_give_way_and_how_far():
    wish = {FAT: (None, 10), PROTEIN: (10.5, None), ISOLATE: (None, 2), BINDER: (None, 3.5)}
    found = cheapest(MIX[1:3], PRICE[1:3], 100, wish, cook_yield_pct=92)
    assert not found.fits and len(found.relaxed) == 1
    assert found.relaxed[0].room < 0 and found.relaxed[0].name in {
        "fat of the finished product",
        "protein of the finished product",
    }
    assert any("Nothing meets every limit" in note for note in found.notes)


def test_a_mix_never_loses_more_water_than_it_holds():
    fats = tuple(material(n) for n in ("pork backfat", "beef trim 90"))
    found = cheapest(fats, (1, 5), 100, {FAT: (20, None)}, cook_yield_pct=80)
    assert found.fits and found.finished.water_kg >= -1e-9 and found.kg[1] > 10
    with pytest.raises(KitError, match="water"):
        cheapest(fats[:1], (1,), 100, cook_yield_pct=80)


def test_stock_that_is_too_small_is_named_in_kg():
    found = cheapest(MIX[:2], PRICE[:2], 100, {}, most_kg=(30, 40))
    assert not found.fits and len(found.relaxed) == 1
    assert found.relaxed[0].unit == "kg" and math.isclose(-found.relaxed[0].room, 30, abs_tol=1e-4)


@pytest.mark.parametrize(
    "call, kind",
    [
        (lambda: cheapest((), (), 100), KitError),
        (lambda: cheapest(MIX, PRICE[:3], 100), KitError),
        (lambda: cheapest(MIX, (6, None, 0, 3), 100), KitError),
        (lambda: cheapest(MIX, (6, -1, 0, 3), 100), KitError),
        (lambda: cheapest((MIX[0], MIX[0]), (1, 2), 100), KitError),
        (lambda: cheapest(MIX, PRICE, 0), KitError),
        (lambda: cheapest(MIX, PRICE, 100, {FAT: (None, float("nan"))}), KitError),
        (lambda: cheapest(MIX, PRICE, 100, {FAT: (None, -3)}), KitError),
        (lambda: cheapest(MIX, PRICE, 100, {ADDED: (3, None)}), KitError),
        (lambda: cheapest(MIX, PRICE, 100, {"fat_pct_of_finish": (1, 2)}), UnknownName),
        (lambda: cheapest(MIX, PRICE, 100, most_kg=(1, 2)), KitError),
    ],
)
def test_bad_questions_are_refused(call, kind):
    with pytest.raises(kind):
        call()

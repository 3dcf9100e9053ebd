"""The cheapest mix: it keeps every limit, nothing cheaper does, prices of limits are true, and the smallest relaxation is the smallest."""

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pencil import assert_pencil
from scipy.optimize import linprog

from kit.errors import KitError, UnknownName
from kit.materials import material
from kit.meat_block import Limits, OwnLimit, WaterRule, cheapest, compose
from kit.meat_block.mix import cooked

RULE = WaterRule(
    4, 1, 10, 40
)  # the figures of 9 CFR 318.22 and 319.180; the rule room passes them in
MIX = tuple(material(n) for n in ("beef trim 90", "pork trim 50", "ice", "nonfat dry milk"))
PRICE = (6.0, 2.0, 0.01, 3.0)
USUAL = Limits(fat_high_pct=30, protein_low_pct=11, binder_high_pct=3.5, water_rule=RULE)


def added_water_pct(mix):
    """By the words of the rule, apart from the kit's own lines."""
    allowed = np.maximum(mix.group2_protein_pct - 1, 0)
    return np.maximum(mix.water_pct - 4 * (mix.protein_pct - allowed), 0)


def meets(mix, limits, tol=1e-6):
    """Does this finished mix keep the limits? Written from the limits' own words."""
    pct = np.asarray(mix.put_in_kg) / 100
    bad = np.zeros(np.shape(mix.fat_pct), bool)
    for value, low, high in (
        (mix.fat_pct, limits.fat_low_pct, limits.fat_high_pct),
        (mix.protein_pct, limits.protein_low_pct, limits.protein_high_pct),
        (mix.counted_kg["binder"] / pct, None, limits.binder_high_pct),
        (mix.counted_kg["isolate"] / pct, None, limits.isolate_high_pct),
        (added_water_pct(mix), None, limits.water_rule and limits.water_rule.added_water_high_pct),
        (
            mix.fat_pct + added_water_pct(mix),
            None,
            limits.water_rule and limits.water_rule.fat_and_added_water_high_pct,
        ),
    ):
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
    limits = Limits(
        fat_high_pct=fat,
        protein_low_pct=protein,
        binder_high_pct=binder,
        water_rule=WaterRule(4, 1, water, 40),
    )
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


@given(st.floats(1.5, 5), st.floats(84, 100))
def test_both_sides_of_the_allowance_are_one_programme(binder, y):
    """The group 2 allowance bends the rule at 1 %: solving each side with its own straight rule and taking the cheaper gives the same."""
    base = Limits(fat_high_pct=30, binder_high_pct=binder)
    isolate = (*MIX, material("soy protein isolate"))
    price = (*PRICE, 0.5)
    whole = cheapest(
        isolate, price, 100, replace(base, water_rule=WaterRule(4, 1, 10, 40)), cook_yield_pct=y
    )
    group2 = {m.name: m.protein_pct / 100 for m in isolate if m.kind == "binder"}
    plain = {m.name: (m.moisture_pct - 4 * m.protein_pct) / 100 for m in isolate}
    lost, allowance = 100 - y, y / 100
    sides = [
        cheapest(
            isolate,
            price,
            100,
            replace(
                base,
                own=(
                    OwnLimit("side", group2, high=allowance),
                    OwnLimit("water", plain, high=10 * y / 100 + lost),
                    OwnLimit(
                        "sum",
                        {m.name: plain[m.name] + m.fat_pct / 100 for m in isolate},
                        high=40 * y / 100 + lost,
                    ),
                ),
            ),
            cook_yield_pct=y,
        )
    ]
    bent = {m.name: plain[m.name] + 4 * group2.get(m.name, 0) for m in isolate}
    sides.append(
        cheapest(
            isolate,
            price,
            100,
            replace(
                base,
                own=(
                    OwnLimit("side", group2, low=allowance),
                    OwnLimit("water", bent, high=10 * y / 100 + lost + 4 * allowance),
                    OwnLimit(
                        "sum",
                        {m.name: bent[m.name] + m.fat_pct / 100 for m in isolate},
                        high=40 * y / 100 + lost + 4 * allowance,
                    ),
                ),
            ),
            cook_yield_pct=y,
        )
    )
    costs = [side.cost for side in sides if side.fits]
    assert whole.fits == bool(costs)
    if costs:
        assert math.isclose(whole.cost, min(costs), rel_tol=1e-6)


def test_what_a_limit_is_worth_is_what_the_cost_does():
    found = cheapest(MIX, PRICE, 200, USUAL, cook_yield_pct=92)
    assert found.fits and found.binding
    moved = {
        "fat of the finished product": "fat_high_pct",
        "protein of the finished product": "protein_low_pct",
        "binder": "binder_high_pct",
    }
    step, checked = 1e-3, 0
    for held in found.held:
        if held.name not in moved:
            continue
        looser = getattr(USUAL, moved[held.name]) + (step if held.side == "at most" else -step)
        again = cheapest(
            MIX, PRICE, 200, replace(USUAL, **{moved[held.name]: looser}), cook_yield_pct=92
        )
        assert math.isclose(
            (found.cost - again.cost) / step, held.worth_per_unit, rel_tol=1e-4, abs_tol=1e-4
        )
        assert held.worth_per_unit >= 0 and (held.binds or held.worth_per_unit == 0)
        checked += 1
    assert checked == 3


def test_the_worth_of_a_share_of_the_meat_and_of_stock_is_true_too():
    limits = replace(USUAL, species_pct_of_meat={"beef": (40, None)}, protein_low_pct=None)
    found = cheapest(MIX, PRICE, 200, limits, most_kg=(None, 60, None, None), cook_yield_pct=92)
    worth = {h.name: h for h in found.held}
    more_beef = cheapest(
        MIX,
        PRICE,
        200,
        replace(limits, species_pct_of_meat={"beef": (39.99, None)}),
        most_kg=(None, 60, None, None),
        cook_yield_pct=92,
    )
    assert math.isclose(
        (found.cost - more_beef.cost) / 0.01,
        worth["beef in the meat block"].worth_per_unit,
        rel_tol=1e-3,
        abs_tol=1e-6,
    )
    more_trim = cheapest(
        MIX, PRICE, 200, limits, most_kg=(None, 60.01, None, None), cook_yield_pct=92
    )
    assert math.isclose(
        (found.cost - more_trim.cost) / 0.01,
        worth["stock of pork trim 50"].worth_per_unit,
        rel_tol=1e-3,
        abs_tol=1e-6,
    )
    assert worth["stock of pork trim 50"].worth_per_unit > 0


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
    limits = Limits(
        fat_low_pct=20,
        fat_high_pct=28,
        protein_low_pct=11,
        protein_high_pct=13,
        water_high_pct=60,
        salt_low_pct=1.9,
        salt_high_pct=2.1,
        species_pct_of_meat={"beef": (25, 60)},
        poultry_high_pct_of_non_water=15,
        mechanically_separated_high_pct_of_meat=20,
        binder_high_pct=3.5,
        isolate_high_pct=2,
        caseinate_high_pct=1,
        binder_and_isolate_share_high=1,
        water_rule=RULE,
        own=(OwnLimit("lean beef", {"beef trim 90": 1, "beef shank, lean": 1}, low=12, high=40),),
    )
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
    assert 25 - 1e-6 <= 100 * (found.kg[0] + found.kg[1]) / mix.meat_kg <= 60 + 1e-6
    assert (
        100 * found.kg[5] / (mix.put_in_kg - mix.added_water_kg) <= 15 + 1e-6
        and 100 * found.kg[4] / mix.meat_kg <= 20 + 1e-6
    )
    assert mix.counted_kg["binder"] / 3.5 + mix.counted_kg["isolate"] / 2 <= 1 + 1e-6
    assert (
        12 - 1e-6 <= found.kg[0] + found.kg[1] <= 40 + 1e-6
        and found.kg[0] >= 2 - 1e-6
        and found.kg[2] <= 20 + 1e-6
    )


def test_a_limit_on_collagen_needs_collagen():
    with pytest.raises(KitError, match="pork jowl|beef tongue"):
        cheapest(
            (material("beef tongue"), material("beef shank, lean")),
            (1, 2),
            10,
            Limits(collagen_high_pct_of_protein=30),
        )
    found = cheapest(
        (material("beef shank, lean"), material("beef trim 90"), material("nonfat dry milk")),
        (1, 2, 9),
        10,
        Limits(collagen_high_pct_of_protein=40),
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
        ("fat of the finished product", "at least"): ("fat_low_pct", fat_low),
        ("fat of the finished product", "at most"): ("fat_high_pct", fat_high),
        ("protein of the finished product", "at least"): ("protein_low_pct", protein_low),
        ("protein of the finished product", "at most"): ("protein_high_pct", protein_high),
        ("water of the finished product", "at most"): ("water_high_pct", water),
        ("isolated soy protein", "at most"): ("isolate_high_pct", isolate),
    }
    price = (5, 2, 1, 0.01, 4)
    limits = Limits(**dict(bounds.values()))
    found = cheapest(FIVE, price, 100, limits, cook_yield_pct=95)
    size, good = smallest_by_trying(FIVE, bounds, 95)
    assert found.fits == (size == 0) and len(found.relaxed) == size
    if found.fits:
        return
    assert {(r.name, r.side) for r in found.relaxed} in good
    relaxed = {(r.name, r.side): r for r in found.relaxed}
    for r in found.relaxed:
        assert (r.needed > r.limit) == (r.side == "at most") and r.by > 0
    # loosened by just what was said (and a hair), the mix exists; a tenth of a point less on any, and it does not
    for hair, exists in ((1e-4, True), (-0.1, False)):
        moved = {
            key: r.needed + hair * (1 if r.side == "at most" else -1) for key, r in relaxed.items()
        }
        if not exists and (len(moved) > 1 or min(r.by for r in found.relaxed) < 0.1):
            continue
        again = cheapest(
            FIVE,
            price,
            100,
            Limits(**{keyword: moved.get(key, value) for key, (keyword, value) in bounds.items()}),
            cook_yield_pct=95,
        )
        assert again.fits == exists
    assert "Nothing meets" in found.notes[0]


def test_an_impossible_wish_names_what_must_give_way_and_how_far():
    wish = Limits(fat_high_pct=10, protein_low_pct=10.5, isolate_high_pct=2, binder_high_pct=3.5)
    found = cheapest(MIX[1:3], PRICE[1:3], 100, wish, cook_yield_pct=92)
    assert not found.fits and len(found.relaxed) == 1
    assert found.relaxed[0].by > 0 and found.relaxed[0].name in {
        "fat of the finished product",
        "protein of the finished product",
    }
    assert "Nothing meets every limit" in found.notes[0]


def test_a_mix_never_loses_more_water_than_it_holds():
    fats = tuple(material(n) for n in ("pork backfat", "beef trim 90"))
    found = cheapest(fats, (1, 5), 100, Limits(fat_low_pct=20), cook_yield_pct=80)
    assert found.fits and found.finished.water_kg >= -1e-9 and found.kg[1] > 10
    with pytest.raises(KitError, match="water"):
        cheapest(fats[:1], (1,), 100, cook_yield_pct=80)


def test_stock_that_is_too_small_is_named_in_kg():
    found = cheapest(MIX[:2], PRICE[:2], 100, Limits(), most_kg=(30, 40))
    assert not found.fits and len(found.relaxed) == 1
    assert found.relaxed[0].unit == "kg" and math.isclose(found.relaxed[0].by, 30, abs_tol=1e-4)


@pytest.mark.parametrize(
    "call, kind",
    [
        (lambda: cheapest((), (), 100), KitError),
        (lambda: cheapest(MIX, PRICE[:3], 100), KitError),
        (lambda: cheapest(MIX, (6, None, 0, 3), 100), KitError),
        (lambda: cheapest(MIX, (6, -1, 0, 3), 100), KitError),
        (lambda: cheapest((MIX[0], MIX[0]), (1, 2), 100), KitError),
        (lambda: cheapest(MIX, PRICE, 0), KitError),
        (lambda: cheapest(MIX, PRICE, 100, Limits(fat_high_pct=float("nan"))), KitError),
        (lambda: cheapest(MIX, PRICE, 100, Limits(fat_high_pct=-3)), KitError),
        (
            lambda: cheapest(MIX, PRICE, 100, Limits(species_pct_of_meat={"horse": (1, 2)})),
            UnknownName,
        ),
        (
            lambda: cheapest(
                MIX, PRICE, 100, Limits(own=(OwnLimit("x", {"beef trim 91": 1}, high=2),))
            ),
            UnknownName,
        ),
        (
            lambda: cheapest(MIX, PRICE, 100, Limits(own=(OwnLimit("x", {"beef trim 90": 1}),))),
            KitError,
        ),
        (
            lambda: cheapest(
                MIX,
                PRICE,
                100,
                Limits(own=(OwnLimit("x", {"beef trim 90": float("inf")}, high=1),)),
            ),
            KitError,
        ),
        (lambda: cheapest(MIX, PRICE, 100, Limits(binder_and_isolate_share_high=1)), KitError),
        (lambda: cheapest(MIX, PRICE, 100, most_kg=(1, 2)), KitError),
    ],
)
def test_bad_questions_are_refused(call, kind):
    with pytest.raises(kind):
        call()

"""The mix, the doubt and the target: balances, limits, exact against drawn, and every working redone with a pencil."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil
from scipy.optimize import minimize

from kit.errors import KitError, OutOfRange
from kit.materials import by_lab, material
from kit.materials.composition import SPECIES, materials
from kit.materials.given import by_eye, by_lean_ratio
from kit.meat_block import compose, uncertainty
from kit.meat_block.mix import cooked
from kit.meat_block.target import least_change, square
from kit.meat_block.uncertainty import after_fat_test, cloud, worth_of_fat_tests

ALL = tuple(materials().values())
PARTS = ("water", "protein", "fat", "ash", "carbohydrate", "unaccounted")
recipes = st.lists(st.tuples(st.sampled_from(ALL), st.floats(0.01, 500)), min_size=1, max_size=12)


def closes(mix, rel=1e-12):
    assert np.allclose(sum(getattr(mix, f"{p}_kg") for p in PARTS), mix.total_kg, rtol=rel)


@given(recipes)
def test_a_mix_closes_and_species_and_classes_add_up(recipe):
    mix = compose(*zip(*recipe))
    closes(mix)
    assert math.isclose(
        sum(mix.protein_by_species_kg.values()), mix.protein_kg, rel_tol=1e-12, abs_tol=1e-12
    )
    assert math.isclose(
        sum(mix.fat_by_species_kg.values()), mix.fat_kg, rel_tol=1e-12, abs_tol=1e-12
    )
    assert math.isclose(sum(mix.class_kg.values()), mix.total_kg, rel_tol=1e-12)
    assert math.isclose(
        sum(kg for m, kg in recipe if m.kind == "meat"), mix.meat_kg, rel_tol=1e-12, abs_tol=1e-12
    )
    assert mix.group2_protein_kg <= mix.protein_kg * (1 + 1e-12) and mix.salt_kg <= mix.ash_kg * (
        1 + 1e-12
    )
    assert_pencil(mix.working)


@given(recipes, st.floats(0.1, 10))
def test_a_mix_is_linear_and_does_not_mind_the_order(recipe, factor):
    made, kg = zip(*recipe)
    mix, bigger, turned = (
        compose(made, kg),
        compose(made, np.array(kg) * factor),
        compose(made[::-1], kg[::-1]),
    )
    for part in (*PARTS, "salt", "collagen", "group2_protein", "added_water", "meat_fat"):
        at = getattr(mix, f"{part}_kg")
        assert math.isclose(getattr(bigger, f"{part}_kg"), factor * at, rel_tol=1e-9, abs_tol=1e-9)
        assert math.isclose(getattr(turned, f"{part}_kg"), at, rel_tol=1e-9, abs_tol=1e-9)
    assert turned.class_kg.keys() == mix.class_kg.keys()


@given(recipes, recipes)
def test_two_bowls_tipped_together_are_their_sum(one, other):
    together = compose(*zip(*one, *other))
    a, b = compose(*zip(*one)), compose(*zip(*other))
    for part in PARTS:
        assert math.isclose(
            getattr(together, f"{part}_kg"),
            getattr(a, f"{part}_kg") + getattr(b, f"{part}_kg"),
            rel_tol=1e-9,
            abs_tol=1e-9,
        )


@given(recipes, st.integers(2, 5))
def test_many_recipes_at_once_are_the_recipes_one_by_one(recipe, count):
    made, kg = zip(*recipe)
    grid = np.array(kg) * np.linspace(1, 2, count)[:, None] ** np.arange(len(kg))
    many = compose(made, grid)
    closes(many)
    for n in range(count):
        one = compose(made, grid[n])
        assert math.isclose(many.fat_pct[n], one.fat_pct, rel_tol=1e-9, abs_tol=1e-12)
        assert math.isclose(
            many.group2_protein_kg[n], one.group2_protein_kg, rel_tol=1e-9, abs_tol=1e-12
        )
        for species in one.protein_by_species_kg:
            assert math.isclose(
                many.protein_by_species_kg[species][n],
                one.protein_by_species_kg[species],
                rel_tol=1e-9,
                abs_tol=1e-12,
            )


FRANK = tuple(
    material(n)
    for n in (
        "beef ground 90/10",
        "pork trim 50",
        "ice",
        "salt",
        "nonfat dry milk",
        "curing salt 6.25 %",
    )
)
FRANK_KG = (40, 60, 30, 2.4, 3.5, 0.25)


@given(st.floats(75, 100))
def test_a_cook_takes_only_water(yield_pct):
    raw = compose(FRANK, FRANK_KG)
    lost = raw.total_kg * (1 - yield_pct / 100)
    done = cooked(raw, yield_pct)
    closes(done)
    assert math.isclose(raw.total_kg - done.total_kg, lost, abs_tol=1e-9)
    assert (
        done.protein_kg == raw.protein_kg
        and done.fat_kg == raw.fat_kg
        and done.salt_kg == raw.salt_kg
        and done.put_in_kg == raw.total_kg
    )
    assert math.isclose(sum(done.fat_by_species_kg.values()), done.fat_kg, rel_tol=1e-9)
    assert_pencil(done.working)


def test_what_a_rule_looks_at_is_kept_apart():
    made = [
        material(n)
        for n in (
            "pork trim 80",
            "mechanically separated pork",
            "mechanically deboned turkey frames",
            "chicken leg, no skin",
            "soy protein isolate",
            "sodium caseinate",
            "nonfat dry milk",
            "cheddar cheese, low fat",
            "pork heart",
            "water",
            "ice",
        )
    ]
    mix = compose(made, [50, 5, 6, 7, 2, 1, 3, 4, 8, 9, 10])
    assert (
        mix.counted_kg["mechanically_separated"],
        mix.counted_kg["poultry"],
        mix.counted_kg["isolate"],
        mix.counted_kg["caseinate"],
        mix.counted_kg["binder"],
        mix.counted_kg["cheese"],
    ) == (5, 13, 2, 1, 3, 4)
    assert (
        mix.class_kg["by-product"] == 8
        and mix.added_water_kg == 19
        and (mix.put_in_kg - mix.added_water_kg) == 86
        and mix.meat_kg == 76
    )
    group2 = sum(
        kg * m.protein_pct / 100
        for m, kg in zip(made, [50, 5, 6, 7, 2, 1, 3, 4, 8, 9, 10])
        if m.kind in ("binder", "other")
    )
    assert math.isclose(mix.group2_protein_kg, group2)


def test_notes_say_what_is_unknown_or_missing():
    tongue, shank = material("beef tongue"), material("beef shank, lean")
    assert any("not accounted" in note for note in compose((tongue,), (10,)).notes)
    half = compose((tongue, shank), (10, 10))
    assert any("collagen share is published for 59 %" in note for note in half.notes)
    assert math.isclose(half.collagen_pct_of_protein, 66)
    assert compose((shank,), (10,)).notes == ()
    assert math.isnan(compose((tongue,), (10,)).collagen_pct_of_protein)
    assert any(
        "extrapolation" in note for note in compose((by_lean_ratio("50CL", "beef"),), (1,)).notes
    )
    assert all(compose(FRANK, FRANK_KG).sources)


@pytest.mark.parametrize(
    "call, says",
    [
        (lambda: compose(FRANK, FRANK_KG[:-1]), "6 materials"),
        (lambda: compose(FRANK, (40, -1, 30, 2, 3, 0)), "pork trim 50 is -1 kg"),
        (lambda: compose(FRANK, (40, float("nan"), 30, 2, 3, 0)), "pork trim 50"),
        (lambda: compose(FRANK, (0,) * 6), "empty"),
        (lambda: compose((), ()), "empty"),
        (lambda: cooked(compose(FRANK, FRANK_KG), 104), "between 1 and 100"),
        (lambda: cooked(compose(FRANK, FRANK_KG), 30), "more water than"),
        (lambda: cooked(cooked(compose(FRANK, FRANK_KG), 92), 92), "cooked already"),
    ],
)
def test_impossible_bowls_are_refused(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()


# ---- doubt

LOTS = (by_eye("trim a", "pork", 18, 28), by_lean_ratio("90CL", "beef", 8, 12), material("ice"))
LOTS_KG = (50.0, 30.0, 20.0)


def test_exact_doubt_and_the_cloud_agree():
    exact = uncertainty(LOTS, LOTS_KG, 90)
    drawn = cloud(LOTS, LOTS_KG, np.random.default_rng(7), 200_000, 90).fat_pct
    # 200 000 draws: the mean scatters by sd / 447, the sd by sd / 632; four times that is allowed
    assert abs(drawn.mean() - exact.mean_pct) < 4 * exact.sd_pct / 447
    assert abs(drawn.std() - exact.sd_pct) < 4 * exact.sd_pct / 632
    for limit in exact.mean_pct + exact.sd_pct * np.array([-1.5, 0, 1]):
        assert abs((drawn > limit).mean() - exact.chance_over(limit)) < 4 * 0.5 / 447
    assert abs(np.quantile(drawn, 0.05) - exact.low_pct) < 0.03 * exact.sd_pct + 1e-9
    assert_pencil(exact.working)


@given(st.floats(5, 40), st.floats(1, 20), st.floats(1, 400))
def test_doubt_of_one_lot_is_the_lot_itself(low, width, kg):
    lot = by_eye("lot", "pork", low, low + width)
    found = uncertainty((lot,), (kg,))
    assert math.isclose(found.low_pct, low, abs_tol=1e-9) and math.isclose(
        found.high_pct, low + width, abs_tol=1e-9
    )
    assert math.isclose(found.chance_over(low + width), 0.05, abs_tol=1e-9)


def test_without_doubt_the_chance_is_nought_or_one():
    sure = uncertainty(FRANK, FRANK_KG, 92)
    assert sure.sd_pct == 0 and sure.lots == () and sure.working == ()
    assert sure.chance_over(sure.mean_pct - 1e-6) == 1 and sure.chance_over(sure.mean_pct) == 0
    assert np.ptp(cloud(FRANK, FRANK_KG, np.random.default_rng(1), 50).fat_pct) < 1e-9


def test_the_cloud_is_cut_to_what_is_possible_and_the_exact_doubt_says_so():
    thin = by_eye("lean", "pork", 0, 4)
    drawn = cloud((thin,), (10,), np.random.default_rng(3), 20_000)
    assert drawn.fat_pct.min() >= 0 and (drawn.protein_kg > 0).all()
    assert drawn.fat_pct.mean() > 2
    assert any(
        "use cloud, whose samples are cut there" in note
        for note in uncertainty((thin,), (10,)).notes
    )
    closes(drawn)


def test_the_same_seed_draws_the_same_cloud():
    draws = [cloud(LOTS, LOTS_KG, np.random.default_rng(5), 100).fat_kg for _ in range(2)]
    assert (draws[0] == draws[1]).all()


@given(st.floats(0.2, 4), st.floats(10, 35))
def test_a_fat_test_never_widens_the_doubt_and_lies_between_belief_and_measurement(error, measured):
    lot = LOTS[0]
    after = after_fat_test(lot, measured, error)
    assert min(lot.fat_pct, measured) - 1e-9 <= after.fat_pct <= max(lot.fat_pct, measured) + 1e-9
    assert after.fat_sd_pct < lot.fat_sd_pct
    assert math.isclose(after.fat_sd_pct**-2, lot.fat_sd_pct**-2 + error**-2, rel_tol=1e-9)
    assert math.isclose(
        after.unaccounted_pct, lot.at_fat(after.fat_pct).unaccounted_pct, abs_tol=1e-9
    )


def test_the_first_lot_to_test_is_the_one_that_shrinks_the_range_most():
    tests = worth_of_fat_tests(LOTS, LOTS_KG, 0.8, 90)
    assert [t.lot for t in tests] == ["trim a", "beef 90/10"]
    tried = {}
    for n, lot in enumerate(LOTS[:2]):
        again = list(LOTS)
        again[n] = after_fat_test(lot, lot.fat_pct, 0.8)
        tried[lot.name] = uncertainty(again, LOTS_KG, 90).sd_pct
    for test in tests:
        assert math.isclose(test.mix_sd_after_pct, tried[test.lot], rel_tol=1e-9)
        assert 0 < test.range_after_pct < test.range_before_pct
        assert_pencil(test.working)
    assert worth_of_fat_tests(FRANK, FRANK_KG, 0.8) == ()


def test_the_outcome_of_a_test_moves_the_mean_as_far_as_the_doubt_it_removes():
    """Over all outcomes, variance before = variance left + variance of the updated mean (drawn, 4 %)."""
    rng, lot, error = np.random.default_rng(11), LOTS[0], 1.2
    truth = rng.normal(lot.fat_pct, lot.fat_sd_pct, 4000)
    means = [
        after_fat_test(lot, m, error).fat_pct
        for m in np.clip(truth + rng.normal(0, error, 4000), 0, 100)
    ]
    left = after_fat_test(lot, lot.fat_pct, error).fat_sd_pct
    assert math.isclose(np.var(means) + left**2, lot.fat_sd_pct**2, rel_tol=0.04)


@pytest.mark.parametrize(
    "call",
    [
        lambda: after_fat_test(LOTS[0], 20, 0),
        lambda: after_fat_test(LOTS[0], 120, 1),
        lambda: worth_of_fat_tests(LOTS, LOTS_KG, -1),
        lambda: cloud(LOTS, LOTS_KG, np.random.default_rng(1), 0),
        lambda: uncertainty(LOTS, [LOTS_KG, LOTS_KG]),
    ],
)
def test_doubt_refuses_what_it_cannot_answer(call):
    with pytest.raises(KitError):
        call()


# ---- target


@given(st.floats(0, 20), st.floats(25, 90), st.floats(0, 1), st.floats(1, 900))
def test_the_square_meets_its_target(lean_fat, fatty_fat, where, total):
    lean, fatty = (
        by_lab(n, "pork", (100 - f) * 0.77, (100 - f) * 0.22, f, 0)
        for n, f in (("lean", lean_fat), ("fatty", fatty_fat))
    )
    target = lean_fat + where * (fatty_fat - lean_fat)
    made = square(lean, fatty, target, total)
    assert math.isclose(made.lean_kg + made.fatty_kg, total, rel_tol=1e-9)
    mix = compose((lean, fatty), (made.lean_kg, made.fatty_kg))
    assert math.isclose(mix.fat_pct, target, abs_tol=1e-9)
    assert_pencil(made.working)
    turned = square(fatty, lean, target, total)
    assert turned.lean_kg == made.lean_kg


@pytest.mark.parametrize("target", [5, 55, -1, float("nan")])
def test_the_square_refuses_a_target_outside(target):
    with pytest.raises(OutOfRange):
        square(material("beef ground 90/10"), material("pork trim 50"), target, 100)
    with pytest.raises(OutOfRange, match="same fat"):
        square(material("beef ground 90/10"), material("beef trim 90"), 10, 100)


MEATS = [m for m in ALL if m.kind == "meat" and not m.note]


@given(
    st.lists(
        st.tuples(st.sampled_from(MEATS), st.floats(1, 100)),
        min_size=2,
        max_size=8,
        unique_by=lambda pair: pair[0].name,
    ),
    st.floats(0, 1),
    st.floats(80, 100),
)
def test_least_change_meets_its_target_and_no_other_plan_is_nearer(plan, where, yield_pct):
    made, planned = zip(*plan)
    planned = np.array(planned)
    most = planned * 1.6 + 1
    ends = []
    fat = np.array([m.fat_pct for m in made]) / 100
    for order in (np.argsort(fat), np.argsort(-fat)):
        left, kg = planned.sum(), np.zeros(len(made))
        for n in order:
            kg[n] = min(left, most[n])
            left -= kg[n]
        ends.append(float(fat @ kg))
    wanted = ends[0] + (0.02 + 0.96 * where) * (ends[1] - ends[0])
    finished = planned.sum() * yield_pct / 100
    if (
        100 * wanted / finished > 100
        or planned.sum() * (1 - yield_pct / 100) > compose(made, planned).water_kg
    ):
        return
    try:
        found = least_change(
            made, planned, 100 * wanted / finished, most_kg=most, cook_yield_pct=yield_pct
        )
    except OutOfRange as refused:
        assert "more water than" in str(refused)
        return
    assert math.isclose(found.kg.sum(), planned.sum(), rel_tol=1e-9)
    assert math.isclose(float(fat @ found.kg), wanted, rel_tol=1e-7, abs_tol=1e-7)
    assert (found.kg >= -1e-9).all() and (found.kg <= most + 1e-9).all()
    # an independent solver may not come nearer
    other = minimize(
        lambda x: ((x - planned) ** 2).sum(),
        found.kg,
        jac=lambda x: 2 * (x - planned),
        method="SLSQP",
        bounds=list(zip(np.zeros(len(most)), most)),
        constraints=[
            {"type": "eq", "fun": lambda x: x.sum() - planned.sum()},
            {"type": "eq", "fun": lambda x: fat @ x - wanted},
        ],
        options={"ftol": 1e-12},
    )
    if (
        other.success
        and abs(fat @ other.x - wanted) < 1e-7
        and abs(other.x.sum() - planned.sum()) < 1e-7
    ):
        assert (found.change_kg**2).sum() <= other.fun * (1 + 1e-6) + 1e-6


def test_a_plan_that_already_meets_the_target_stays():
    planned = compose(FRANK, FRANK_KG)
    found = least_change(FRANK, FRANK_KG, planned.fat_pct)
    assert np.abs(found.change_kg).max() < 1e-8
    assert_pencil(found.working)


def test_a_held_line_stays_and_a_stock_limit_is_named():
    held = (None, None, None, 2.4, 3.5, 0.25)
    found = least_change(
        FRANK, FRANK_KG, 22, least_kg=held, most_kg=(42, None, *held[2:]), cook_yield_pct=92
    )
    assert math.isclose(found.finished.fat_pct, 22, abs_tol=1e-8)
    assert np.allclose(found.change_kg[3:], 0, atol=1e-9) and found.kg[0] <= 42 + 1e-9


@pytest.mark.parametrize(
    "call, says",
    [
        (lambda: least_change(FRANK, FRANK_KG, 70), "reach only"),
        (lambda: least_change(FRANK, FRANK_KG, 25, most_kg=(1,) * 6), "allow 0 to 6 kg"),
        (
            lambda: least_change(FRANK, FRANK_KG, 25, least_kg=(50,) * 6, most_kg=(40,) * 6),
            "least amount is more",
        ),
        (lambda: least_change(FRANK, FRANK_KG, 25, most_kg=(1, 2)), "2 values for 6"),
        (lambda: least_change(FRANK, FRANK_KG, 25, least_kg=(-1,) * 6), "0 kg or more"),
    ],
)
def test_least_change_says_why_not(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()


@pytest.mark.parametrize("species", SPECIES)
def test_a_meat_by_ratio_and_by_eye_compose_alike(species):
    exact, judged = by_lean_ratio("80/20", species), by_eye("x", species, 15, 25)
    assert math.isclose(compose((exact,), (10,)).water_kg, compose((judged,), (10,)).water_kg)

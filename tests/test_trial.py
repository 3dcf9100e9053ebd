"""Class experiments: what is asked, where each batter goes, what may be said afterwards."""

from collections import Counter
from dataclasses import replace
from math import isclose

import numpy as np
import pytest
from pencil import assert_pencil

from kit.errors import OutOfRange, UnknownName
from kit.trial import analyse, ask, design, power, rehearse
from kit.trial.design import critical, smallest_effect
from kit.trial.question import factors, predicted
from kit.trial.readings import TubeLoss
from kit.trial.rehearse import simulated, treatment_means
from kit.trial.scatter import scatter

PAIR = ask("end_C", (13, 18))
EIGHT = design(PAIR, 8, 2, 3, seed=3)


def losses(planned, effect=3.0, seed=1, **more):
    return simulated(planned, scatter(), effect, np.random.default_rng(seed), **more)


def exact(planned, mean, noise=0.0, seed=0):
    """Losses that lie on `mean` of the treatment but for `noise` of a batter."""
    rng = np.random.default_rng(seed)
    own = {u: rng.normal(0, noise) for u in planned.units}
    return [
        TubeLoss(u.station, u.batter, n + 1, 5.0 + u.station + mean[u.treatment] + own[u])
        for u in planned.units
        for n in range(planned.tubes)
    ]


@pytest.mark.parametrize("key", list(factors()))
def test_every_factor_can_be_asked_as_it_stands(key):
    question = ask(key)
    assert len(question.treatments) == 2
    said = predicted(question)
    assert all(low <= middle <= high for low, middle, high in map(said.range_points, said.draws))


@pytest.mark.parametrize(
    "asked, word",
    [
        (("end_C", (13,)), "2 to 5"),
        (("end_C", (13, 13)), "2 to 5"),
        (("end_C", (13, 99)), "8 to 24"),
        (("end_C", (13, float("nan"))), "8 to 24"),
        (("end_C", (13, 18), "cook_loss_pct", 0), "0.1 and 20"),
        ((("end_C", "core_C"), ((13, 18), (72, 80))), "bath"),
        ((("end_C", "end_C"), ((13, 18), (13, 18))), "different"),
    ],
)
def test_a_question_that_cannot_be_asked_is_refused_with_its_limits(asked, word):
    with pytest.raises(OutOfRange, match=word):
        ask(*asked)


def test_unknown_names_get_the_nearest():
    with pytest.raises(UnknownName, match="end_C"):
        ask("endC")
    with pytest.raises(UnknownName, match="usual"):
        scatter("ususal")
    with pytest.raises(UnknownName, match="pairs"):
        design(PAIR, 6, kind="pair")


def test_a_baths_temperature_needs_runs_of_its_own():
    question = ask("core_C", (68, 78))
    with pytest.raises(OutOfRange, match="one bath run for each level"):
        design(question, 6, 1, 3)
    with pytest.raises(OutOfRange, match="cannot be told apart"):
        design(question, 6, 2, 3, kind="pairs")
    planned = design(question, 6, 3, 3)
    assert len(planned.runs) == 6 and planned.plain.dof == 4


@pytest.mark.parametrize(
    "stations, batters, word",
    [(5, 2, "give 6"), (1, 2, "between 2 and 99"), (6, 5, "6 for 4|5 batters for 3")],
)
def test_stations_that_cannot_carry_a_design_get_the_number_that_can(stations, batters, word):
    with pytest.raises(OutOfRange, match=word):
        design(ask("end_C", (10, 14, 18)), stations, batters, 3)


def test_the_plan_of_a_station_never_moves_when_another_goes():
    fewer, more = design(PAIR, 5, 2, 3, seed=9, lots=2), design(PAIR, 9, 2, 3, seed=9, lots=2)
    assert [u for u in more.units if u.station <= 5] == list(fewer.units)
    assert design(PAIR, 5, 2, 3, seed=9, lots=2).units == fewer.units


@pytest.mark.parametrize(
    "levels, stations, batters",
    [((13, 18), 8, 2), ((10, 14, 18), 6, 3), ((10, 14, 18), 6, 2), ((10, 13, 16, 19), 8, 4)],
)
def test_every_level_comes_as_often_at_each_place(levels, stations, batters):
    """Balanced within one plan; over seeds every order is as likely (chi-square of 240 plans beyond the 0.1 % point would fail)."""
    count, first = Counter(), Counter()
    for seed in range(240):
        planned = design(ask("end_C", levels), stations, batters, 1, seed=seed)
        levels_of = Counter(u.treatment for u in planned.units)
        assert len(set(levels_of.values())) == 1
        count.update((u.batter, u.treatment) for u in planned.units)
        first.update(u.treatment for u in planned.units if u.station == 1 and u.batter == 1)
    k = len(levels)
    assert set(count) == {(b + 1, t) for b in range(batters) for t in range(k)}
    each = 240 / k
    assert sum((n - each) ** 2 / each for n in first.values()) < {2: 10.83, 3: 13.82, 4: 16.27}[k]


def test_every_tube_of_a_station_has_a_weight_of_its_own():
    for station in range(1, 9):
        fills = [f for u in EIGHT.units if u.station == station for f in u.fills_g]
        assert len(set(fills)) == len(fills) == 6
        assert min(np.diff(sorted(fills))) == pytest.approx(2.0)
    sums = [sum(u.fills_g) for u in EIGHT.units]
    assert max(sums) - min(sums) <= 2.0 + 1e-9


def test_an_exact_class_gives_the_exact_effect():
    answer = analyse(EIGHT, exact(EIGHT, [0.0, 2.5], 1e-6))
    assert isclose(answer.effects[0].found.value, 2.5, abs_tol=1e-5)
    assert_pencil(answer.working)


def test_pairs_are_the_paired_t_test():
    found = losses(EIGHT)
    effect = analyse(EIGHT, found).effects[0].found
    by = {}
    for one in found:
        treatment = next(
            u.treatment for u in EIGHT.units if (u.station, u.batter) == (one.station, one.batter)
        )
        by.setdefault((one.station, treatment), []).append(one.loss_pct)
    from scipy.stats import ttest_rel

    outside = ttest_rel(*([np.mean(by[s, t]) for s in range(1, 9)] for t in (1, 0)))
    low, high = outside.confidence_interval()
    assert (effect.dof, pytest.approx(low), pytest.approx(high)) == (7, effect.low, effect.high)
    assert effect.p == pytest.approx(outside.pvalue)


@pytest.mark.parametrize(
    "effect, noise, worth, stations, said",
    [
        (2.5, 0.3, 1.5, 8, "raised the cook loss by 2"),
        (-2.5, 0.3, 1.5, 8, "lowered the cook loss by 2"),
        (0.0, 0.05, 1.5, 8, "is smaller than 1.5 percentage points"),
        (0.3, 4.0, 1.5, 8, "could not tell"),
        (2.5, 0.3, 1.5, 3, "too few batters to say"),
    ],
)
def test_one_sentence_in_four_forms(effect, noise, worth, stations, said):
    planned = design(ask("end_C", (13, 18), worth_knowing_points=worth), stations, 2, 3)
    answer = analyse(planned, exact(planned, [0.0, effect], noise))
    assert said in answer.sentence
    for word in ("proves", "safe", "no effect", "significant"):
        assert word not in answer.sentence


def test_a_lost_tube_changes_nothing_and_a_lost_batter_silences_its_station():
    whole = exact(EIGHT, [0.0, 2.5], 0.2)
    fewer = [one for one in whole if not (one.station == 2 and one.tube == 1)]
    assert analyse(EIGHT, fewer).effects[0].found.value == pytest.approx(
        analyse(EIGHT, whole).effects[0].found.value
    )
    left = [one for one in whole if (one.station, one.batter) != (2, 1)]
    answer = analyse(EIGHT, left)
    assert answer.silent == (2,) and answer.effects[0].found.dof == 6
    assert any("station 2" in note for note in answer.notes)
    assert "every tube of station 2, batter 1 missing" in answer.lost


@pytest.mark.parametrize("wrong, word", [
    ([TubeLoss(9, 1, 1, 5.0)], "not in this design"),
    ([TubeLoss(1, 1, 4, 5.0)], "not in this design"),
    ([TubeLoss(1, 1, 1, 5.0), TubeLoss(1, 1, 1, 6.0)], "comes twice"),
    ([TubeLoss(1, 1, 1, float("nan"))], "cannot be"),
    ([], "no tube was read"),
    ([TubeLoss(1, 1, 1, 5.0)], "nothing can be compared"),
])  # fmt: skip
def test_results_that_do_not_fit_the_design_are_refused(wrong, word):
    with pytest.raises(OutOfRange, match=word):
        analyse(EIGHT, wrong)


def test_levels_against_one_reference_hold_together():
    planned = design(ask("end_C", (13, 16, 19)), 6, 3, 3)
    assert 2.4 < critical(planned) < 2.7  # above t of 2.228 on 10, below Bonferroni's 2.634
    both = 0
    for seed in range(200):
        its = simulated(planned, scatter(), 0.0, np.random.default_rng(seed))
        both += all(e.found.low <= 0 <= e.found.high for e in analyse(planned, its).effects)
    assert 0.91 <= both / 200 <= 0.985


@pytest.mark.parametrize("kind", ["incomplete", "dose", "split", "two", "single"])
def test_every_kind_finds_what_was_put_in(kind):
    planned = {
        "incomplete": lambda: design(ask("end_C", (13, 16, 19)), 6, 2, 3),
        "dose": lambda: design(ask("end_C", (10, 13, 16, 19)), 6, 4, 3),
        "split": lambda: design(ask("core_C", (68, 78)), 6, 3, 3),
        "two": lambda: design(ask(("end_C", "salt_pct"), ((13, 18), (2, 1))), 6, 2, 3),
        "single": lambda: design(PAIR, 8, 1, 3),
    }[kind]()  # fmt: skip
    mean = treatment_means(planned, 3.0)
    its = exact(planned, mean, 1e-7)
    if kind == "single":
        its = [
            replace(one, loss_pct=one.loss_pct - one.station + 1e-4 * one.station) for one in its
        ]
    answer = analyse(planned, its)
    effect = answer.effects[0 if kind in ("dose", "two") else -1]
    assert effect.found.value == pytest.approx(3.0, abs=2e-3)
    assert power(planned, scatter(), 3.0) > 0.3 and len(str(answer).splitlines()) <= 40


def test_a_prediction_stands_beside_the_class():
    said = predicted(PAIR)
    middle = said.range_points(next(iter(said.draws)))[1]
    agrees = analyse(EIGHT, exact(EIGHT, [0.0, middle], 0.2), said).effects[0]
    assert "agrees" in agrees.against_model
    far = analyse(EIGHT, exact(EIGHT, [0.0, middle + 12], 0.2), said).effects[0]
    assert "larger" in far.against_model
    wide = analyse(EIGHT, exact(EIGHT, [0.0, 0.5], 6.0), said).effects[0]
    assert "too wide" in wide.against_model


def test_the_promised_chance_is_reached():
    its = scatter()
    for chance in (0.5, 0.8, 0.95):
        effect = smallest_effect(EIGHT, its, chance)
        found = rehearse(EIGHT, its, effect, n=400, seed=5, lost_pct=0)
        assert abs(found.right_pct / 100 - chance) < 0.06 and 92 <= found.covered_pct <= 98
        assert found.wrong_pct <= 0.5


def test_more_stations_help_and_more_tubes_hardly():
    its = scatter()
    four, ten, eight = (power(design(PAIR, s, 2, t), its, 2.3) for s, t in ((4, 3), (4, 9), (8, 3)))
    assert ten - four < 0.06 < 0.25 < eight - four


def test_two_stations_see_more_of_a_larger_effect_and_never_all():
    two = design(PAIR, 2, 2, 3)
    assert two.dof == 1
    chances = power(two, scatter(), np.arange(0, 14, 0.2))
    assert (np.diff(chances) > 0).all() and chances[-1] < 0.95
    seen = smallest_effect(two, scatter())
    assert power(two, scatter(), seen) == pytest.approx(0.8, abs=1e-6)


def test_a_kitchen_scale_costs_power():
    its = scatter()
    assert power(EIGHT, its, 2.0, 1.0) < power(EIGHT, its, 2.0, 0.01) - 0.05


def test_no_effect_no_power_and_arrays_are_welcome():
    chances = power(EIGHT, scatter(), np.array([0.0, 1.0, 50.0, -1.0]))
    assert chances == pytest.approx([0.05, chances[1], 1.0, chances[1]], abs=1e-6)


def test_exchanged_tubes_widen_an_interval_and_do_not_tilt_it():
    its = scatter()
    plain, mixed = (
        rehearse(EIGHT, its, 3.0, n=150, seed=2, lost_pct=0, exchanged=n) for n in (0, 3)
    )
    width = [np.mean([high - low for low, _, high in r.intervals_points]) for r in (plain, mixed)]
    assert width[1] > width[0]
    assert np.mean([mid for _, mid, _ in mixed.intervals_points]) < 3.05

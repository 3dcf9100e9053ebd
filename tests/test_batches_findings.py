"""Findings name what was planted, stay quiet in quiet plants, and survive incomplete tables; costs and expectations beside them."""

import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pencil import assert_pencil
from plants import KINDS, plant, plants
from scipy.stats import binom

from kit.batches import BatchTable, find
from kit.batches.analysis import analyse
from kit.batches.costs import pareto, recoverable
from kit.batches.expected import residuals
from kit.batches.patterns import acts_on
from kit.batches.slips import fact_slips, weight_slips
from kit.errors import Faulty, OutOfRange, UnknownName
from kit.stages import STAGES

sys.path.append(str(Path(__file__).parent / "bench"))
from bench_attribution import names, run

SEEDS = 700_000
"""neither tuning seeds (below 10,000) nor the benchmark's reporting seeds (200,000 on)"""


@pytest.fixture(scope="module")
def attribution():
    return run(SEEDS, 40)


def total(rows, what):
    return sum(row[what] for kind, row in rows.items() if kind != "nothing at all")


def test_first_finding_names_the_planted_stage_and_cause(attribution):
    """Promised: at least 90 %. With a true 90 % of 36 plants, this floor is undercut once in a hundred runs."""
    rows, wrong = attribution
    assert total(rows, "plants") == 36
    assert total(rows, "first") >= binom.ppf(0.01, 36, 0.9), [p.seed for p, _ in wrong]


def test_steps_start_where_they_were_planted(attribution):
    """Promised: within two batches in at least 80 %; the same kind of floor."""
    rows, _ = attribution
    assert total(rows, "steps") >= 12
    assert total(rows, "near") >= binom.ppf(0.01, total(rows, "steps"), 0.8)


def test_quiet_plants_stay_quiet():
    """Promised: at most 5 % of quiet plants with a finding. Of 30, a true 5 % goes beyond this ceiling once in a hundred runs."""
    alarmed = sum(
        bool(find(plant(seed, ()).table).findings) for seed in range(SEEDS + 1000, SEEDS + 1030)
    )
    assert alarmed <= binom.ppf(0.99, 30, 0.05)


def test_a_quiet_plant_says_nothing_stands_out():
    found = find(plant(3, (), n=60).table)
    assert found.findings == () and found.verdict == "Nothing stands out in 60 batches."


@pytest.mark.parametrize("kind", KINDS)
def test_each_cause_planted_plainly_is_named_first(kind):
    p = plant(12, kind, n=90, size=4)
    found = find(p.table)
    assert names(found.findings[0], p.planted[0]), found.verdict
    first = found.findings[0]
    assert (
        first.sentence.endswith(".")
        and first.evidence
        and first.uncertainty
        and first.next_measurement
    )
    assert_pencil(found.working)


def test_two_causes_at_once_are_both_listed():
    p = plant(7, ("leaking stuffer", "warm chop"), n=120, size=3)
    found = find(p.table)
    assert all(any(names(f, q) for f in found.findings) for q in p.planted)


def test_the_effect_is_about_what_was_planted():
    p = plant(31, "leaking stuffer", n=100, size=3, start=50)
    f = find(p.table).findings[0]
    loss = p.table.loss_pct[:, p.table.place("stuff")]
    true = loss[50:].mean() - loss[:50].mean()
    assert f.effect_interval[0] < true < f.effect_interval[1] and f.start == 50
    assert f.kg == pytest.approx(
        true / 100 * p.table.all_in_kg[50:, p.table.place("stuff")].sum(), rel=0.1
    )


def test_faults_of_the_records_come_first():
    p = plant(41, ("warm chop", "unit error"), n=100, size=4)
    found = find(p.table)
    assert [f.cause for f in found.findings[:2]] == ["unit error", "column"] and found.findings[
        0
    ].is_record_fault


def test_findings_do_not_change_the_table():
    p = plant(12, "unit error", n=60)
    before = p.table.out_kg.copy()
    found = find(p.table)
    assert (p.table.out_kg == before).all() and np.isnan(found.cleaned.out_kg).sum() + np.isnan(
        found.cleaned.in_kg
    ).sum() == 1


def test_money_only_at_the_persons_price():
    p = plant(31, "leaking stuffer", n=100, size=3)
    assert find(p.table).findings[0].money is None
    priced = find(p.table, price_per_kg={"stuff": 3.0}).findings[0]
    assert priced.money == pytest.approx(3 * priced.kg)
    with pytest.raises(UnknownName):
        find(p.table, price_per_kg={"stuffer": 3.0})
    with pytest.raises(OutOfRange):
        find(p.table, price_per_kg={"stuff": -1})


def test_same_seed_same_plant_same_findings():
    a, b = plant(5, "new operator"), plant(5, "new operator")
    assert (a.table.in_kg == b.table.in_kg).all() and a.planted == b.planted
    assert [f.sentence for f in find(a.table).findings] == [
        f.sentence for f in find(b.table).findings
    ]


def test_plants_take_every_kind_in_turn():
    made = plants(SEEDS, 20)
    assert (
        [p.planted[0].kind for p in made[:8]] == list(KINDS)
        and made[8].planted == ()
        and len(made[9].planted) == 2
    )
    assert all(20 <= p.table.n <= 200 for p in made)
    with pytest.raises(UnknownName, match="leaking stuffer"):
        plant(1, "leaking stuffers")
    with pytest.raises(OutOfRange):
        plant(1, "leaking stuffer", n=60, start=58)


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in ("unit error", "drifting scale")])
def test_planted_effects_are_as_large_as_they_say(kind):
    """Two standard deviations of the stage: batches touched against the same plant without the cause, mean over fifty plants."""
    gaps = []
    for seed in range(50):
        p, quiet = plant(seed, kind, n=150, size=2), plant(seed, (), n=150)
        q, j = p.planted[0], p.table.place(p.planted[0].stage)
        more = (p.table.loss_pct - quiet.table.loss_pct)[:, j]
        gaps.append(more[list(q.touched)].mean() / quiet.table.loss_pct[:, j].std(ddof=1))
    assert (
        np.mean(gaps) == pytest.approx(2, abs=0.15) if kind != "rework twice" else np.mean(gaps) > 2
    )


def test_planted_drifts_of_scales_are_as_large_as_they_say():
    """Weights on that scale less the same plant's without the drift, as a share: about twice the stated mean at the end (the scatter of ten batches allowed for), little at the start."""
    for seed in range(20):
        p, quiet = plant(seed, "drifting scale", n=150, size=3), plant(seed, (), n=150)
        columns = [
            p.table.place(stage)
            for (stage, side), scale in p.table.scales.items()
            if scale == p.planted[0].scale and side == "in"
        ]
        error = (
            p.table.in_kg / p.table.in_kg[:, [0]] / (quiet.table.in_kg / quiet.table.in_kg[:, [0]])
            - 1
        )[:, columns].mean(axis=1) * 100
        if p.planted[0].scale == "door scale":
            continue
        late, early = np.abs(error[-10:].mean()), np.abs(error[: p.planted[0].start + 1].mean())
        assert late > 0.6 * 2 * 3 * 0.07 and late > early


def test_neighbours_that_resemble_one_another_do_not_make_many_findings():
    """Lots with a third of the variance in common: 20 quiet plants. The search allows for it, not perfectly; the benchmark prints the figure."""
    assert sum(
        bool(find(plant(s, (), lot_share=0.3).table).findings) for s in range(SEEDS, SEEDS + 20)
    ) <= binom.ppf(0.99, 20, 0.08)


def bare(table, **fields):
    return table.changed(labels={}, facts={}, scales={}, dates=None, **fields)


def test_weights_alone_are_enough_for_a_leak():
    p = plant(31, "leaking stuffer", n=100, size=3, start=50)
    f = find(bare(p.table)).findings[0]
    assert (f.stage, f.cause) == ("stuff", "step") and abs(f.start - 50) <= 2


def test_a_hand_over_without_named_scales_is_said_to_be_missing_on_the_way():
    table = bare(plant(3, (), n=80).table)
    out = table.in_kg.copy()
    j = table.place("chill")
    out[40:, j] *= 0.99
    found = find(table.changed(in_kg=out)).findings
    assert any(
        f.cause == "missing on the way" and f.stage == "cook" and abs(f.start - 40) <= 2
        for f in found
    )


def test_gaps_in_the_weights_are_borne():
    p = plant(31, "leaking stuffer", n=100, size=4, start=50)
    rng = np.random.default_rng(1)
    holed = np.where(rng.random(p.table.in_kg.shape) < 0.1, np.nan, p.table.in_kg)
    never = p.table.out_kg.copy()
    never[:, p.table.place("thaw")] = np.nan
    f = find(p.table.changed(in_kg=holed, out_kg=never)).findings[0]
    assert f.stage == "stuff" and abs(f.start - 50) <= 2


@pytest.mark.parametrize("n", [2, 5, 9])
def test_a_handful_of_batches_gives_no_finding_and_no_error(n):
    t = plant(3, (), n=20).table
    few = BatchTable(
        t.batches[:n],
        t.stages,
        t.in_kg[:n],
        t.out_kg[:n],
        t.added_kg[:n],
        labels={k: v[:n] for k, v in t.labels.items()},
        facts={k: v[:n] for k, v in t.facts.items()},
        scales=t.scales,
    )
    assert find(few).findings == () or n == 9


@pytest.mark.parametrize(
    "side, factor",
    [
        ("in_kg", 2.20462),
        ("out_kg", 2.20462),
        ("in_kg", 1 / 2.20462),
        ("out_kg", 10),
        ("out_kg", 0.1),
        ("added_kg", 2.20462),
        ("in_kg", 1000),
    ],
)
def test_a_figure_in_the_wrong_unit_is_found_and_set_right(side, factor):
    t = plant(3, (), n=40).table
    weights = np.array(getattr(t, side))
    j = t.place("chop" if side == "added_kg" else "cook")
    true = weights[17, j]
    weights[17, j] *= factor
    slips = weight_slips(t.changed(**{side: weights}))
    assert len(slips) == 1 and slips[0].batch == 17 and slips[0].stage == t.stages[j]
    assert slips[0].shown * slips[0].factor == pytest.approx(true, rel=1e-4)


def test_an_odd_batch_that_no_unit_explains_is_said_to_be_odd():
    t = plant(3, (), n=40).table
    out = t.out_kg.copy()
    out[9, t.place("pack")] *= 0.6
    found = find(t.changed(out_kg=out)).findings[0]
    assert found.cause == "odd batch" and found.touched_batches == (9,)


def test_fahrenheit_in_a_celsius_column():
    t = plant(3, (), n=40).table
    facts = {k: v.copy() for k, v in t.facts.items()}
    facts["cook_end_C"][5] = facts["cook_end_C"][5] * 1.8 + 32
    slips = fact_slips(t.changed(facts=facts))
    assert [(s.batch, s.where) for s in slips] == [(5, "cook_end_C")]
    assert find(t.changed(facts=facts)).findings[0].cause == "unit error"


def test_ordinary_batches_hold_no_slips():
    assert not any(
        weight_slips(plant(s, ()).table) or fact_slips(plant(s, ()).table) for s in range(40)
    )


def test_what_acts_on_what_names_known_stages():
    assert (
        all(
            kind in ("label", "fact") and stages <= set(STAGES)
            for kind, stages in acts_on().values()
        )
        and len(acts_on()) > 8
    )


def test_faults_of_a_table_are_told_at_once():
    w = np.full((3, 2), 10.0)
    bad = w.copy()
    bad[1, 0], bad[2, 1] = -4, np.inf
    with pytest.raises(Faulty) as said:
        BatchTable(
            ("a", "b", "c"),
            ("cook", "chill"),
            bad,
            w[:2],
            labels={"operator": ["x"]},
            scales={("peel", "in"): "s"},
            dates=np.array(["2024-01-03", "2024-01-02", "2024-01-04"], "datetime64[s]"),
        )
    text = str(said.value)
    assert len(said.value.faults) == 6 and all(
        part in text for part in ("-4 kg", "inf kg", "shape (2, 2)", "operator", "peel", "order")
    )
    with pytest.raises(UnknownName, match="cook"):
        BatchTable(("a", "b"), ("cooks",), w[:2, :1], w[:2, :1])
    with pytest.raises(Faulty, match="order of the line"):
        BatchTable(("a", "b"), ("chill", "cook"), w[:2], w[:2])


def test_a_table_keeps_its_kilograms():
    t = plant(9, ()).table
    kept = (
        t.in_kg[:, 0]
        + (t.added_kg + t.rework_in_kg - t.rework_out_kg - t.sample_kg).sum(axis=1)
        - t.lost_kg.sum(axis=1)
        - t.missing_kg.sum(axis=1)
    )
    assert np.allclose(kept, t.out_kg[:, -1])


def test_pareto_adds_up():
    t = plant(9, ()).table
    p = pareto(t)
    assert sum(b.kg for b in p.bars) == pytest.approx(t.lost_kg.sum() + t.missing_kg.sum())
    assert (
        [b.kg for b in p.bars] == sorted((b.kg for b in p.bars), reverse=True)
        and p.bars[0].name == "cook"
        and p.total_money is None
    )
    assert_pencil(p.working)


def test_pareto_by_money_needs_every_price():
    t = plant(9, ()).table
    some = pareto(t, {"cook": 0.1, "trim": 5.0})
    assert some.by == "kg" and any("no price" in n for n in some.notes)
    every = pareto(
        t, {name: 5.0 if name == "trim" else 0.1 for name in (*t.stages, *t.handovers())}
    )
    assert every.by == "money" and every.bars[0].name == "trim"
    assert_pencil(every.working)


def test_a_steady_plant_has_about_nothing_to_recover():
    """The raw gap to the best quarter is always there; beyond luck it averages a tenth of a standard deviation or less."""
    raw, beyond = [], []
    for s in range(60):
        r = recoverable(plant(s, (), n=80).table, "cook")
        raw.append(r.gap_points / 0.6)
        beyond.append(r.points / 0.6)
    assert np.mean(raw) > 0.25 and np.mean(beyond) < 0.1


def test_what_a_step_costs_is_what_can_be_recovered():
    p = plant(31, "leaking stuffer", n=100, size=4, start=50)
    r = recoverable(p.table, "stuff")
    loss, all_in = (
        held[:, p.table.place("stuff")] for held in (p.table.loss_pct, p.table.all_in_kg)
    )
    low, high = (100 * kg / all_in.sum() for kg in r.kg_interval)
    assert r.best_last < 50 and low <= loss.mean() - loss[:50].mean() <= high
    assert r.kg_interval[0] <= r.kg <= r.kg_interval[1]
    assert_pencil(r.working)


def expected_plant(process_step):
    t = plant(3, (), n=80).table
    recipe = np.where(np.arange(80) >= 30, -2.0, 0.0)
    j = t.place("cook")
    out = t.out_kg.copy()
    out[:, j:] *= (1 + (recipe + np.where(np.arange(80) >= 55, process_step, 0.0)) / 100)[:, None]
    ins = t.in_kg.copy()
    ins[:, j + 1 :] = ins[:, j + 1 :] * (out[:, j] / t.out_kg[:, j])[:, None]
    return t.changed(in_kg=ins, out_kg=out, expected_yield_pct={"cook": 91 + recipe})


def test_a_change_of_recipe_is_not_taken_for_a_change_of_process():
    r = residuals(expected_plant(0.0), "cook")
    assert (
        len(r.recipe_changes) == 1
        and abs(r.recipe_changes[0] - 30) <= 2
        and r.process_changes == ()
        and r.explained_pct > 40
    )
    assert_pencil(r.working)


def test_a_change_of_process_shows_in_the_residual():
    r = residuals(expected_plant(-2.0), "cook")
    assert any(abs(k - 55) <= 2 for k in r.process_changes) and any(
        abs(k - 30) <= 2 for k in r.recipe_changes
    )
    with pytest.raises(UnknownName, match="cook"):
        residuals(expected_plant(0.0), "coock")


def test_the_whole_analysis():
    t = expected_plant(-2.0)
    a = analyse(t, {"cook": 1.0, "stuff": 3.0})
    assert [line.name for line in a.lines] == [*t.stages, "overall"] and a.residuals[0].of == "cook"
    assert a.line("cook").recoverable.kg >= 0 and a.pareto.total_money > 0
    assert len(a.findings.findings) <= 5
    assert_pencil(a.working)
    with pytest.raises(UnknownName):
        a.line("coocking")


def test_an_analysis_of_a_stage_that_never_varies_or_was_never_weighed():
    t = plant(3, (), n=40).table
    ins, out = t.in_kg.copy(), t.out_kg.copy()
    out[:, t.place("thaw")] = ins[:, t.place("thaw")]
    out[:, t.place("pack")] = np.nan
    a = analyse(t.changed(in_kg=ins, out_kg=out))
    assert a.line("thaw").chart is None
    assert a.line("pack").chart is None


def test_no_more_than_five_findings_and_the_rest_are_named():
    p = plant(
        8,
        ("leaking stuffer", "warm chop", "fatter supplier", "new operator", "unit error"),
        n=200,
        size=4,
    )
    slipped = p.table.out_kg.copy()
    for batch in (3, 60, 110, 150):
        slipped[batch, 7] *= 2.2046
    found = find(p.table.changed(out_kg=slipped))
    assert len(found.findings) == 5 and any("left out of the list" in n for n in found.notes)
    assert re.match(r"\d{1,3},\d{3} pairs of loss and cause", found.notes[0])


def test_the_planted_truth_is_not_in_the_table():
    p = plant(12, "leaking stuffer", n=60)
    assert (
        "planted" not in set(p.table.__dataclass_fields__) and replace(p, planted=()).planted == ()
    )


def test_a_label_of_many_values_is_said_to_be_not_searched():
    rng = np.random.default_rng(1)
    start = np.full((60, 1), 400.0)
    out = start * (1 - rng.normal(9, 0.4, (60, 1)) / 100)
    names = tuple(map(str, range(60)))
    for many, said in ((20, True), (6, False)):
        labels = {"supplier": np.array([f"S{k % many}" for k in range(60)])}
        notes = find(BatchTable(names, ("cook",), start, out, labels=labels)).notes
        assert any(f"supplier has {many} values and is not searched" in n for n in notes) == said

"""Reconciliation by least squares: balances, uncertainties, tests, missing weights, and what cannot be told apart."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil
from plant import batch_flows, standard_graph, usual_loss_pct, weigh
from scipy import linalg, stats

from kit.errors import OutOfRange, UnknownName
from kit.yields import Graph, flows_of, reconcile
from kit.yields.flows import Flow, checks
from kit.yields.ledger import at
from kit.yields.reconcile import sd_of_step

LINE = standard_graph(
    losses=("thaw", "trim", "cook", "chill", "peel"), rework=(("peel", "chop"),), samples=("chop",)
)
TRUE = batch_flows(
    LINE,
    1000.0,
    added_kg={"ice into chop": 250, "dry goods into chop": 45},
    rework_kg={"rework peel to chop": 15},
    sample_kg={"sample at chop": 1},
)
SD = np.maximum(0.002 * TRUE[0], 0.2)
BARE = standard_graph(("grind", "chop", "stuff", "rest", "pack"), additions={}, losses=())
"""a line where nothing joins or leaves on the way: every cause has a pattern of its own except at the two ends"""


@st.composite
def weighed_graphs(draw):
    """A random connected graph with weights and doubts over four decades."""
    n = draw(st.integers(1, 6))
    nodes = tuple(f"n{i}" for i in range(n))
    flows = [Flow("in", "", nodes[0])] + [
        Flow(f"t{i}", nodes[draw(st.integers(0, i - 1))], nodes[i]) for i in range(1, n)
    ]
    for extra in range(draw(st.integers(1, 6))):
        a, b = draw(st.sampled_from(("", *nodes))), draw(st.sampled_from(("", *nodes)))
        if a != b:
            flows.append(Flow(f"x{extra}", a, b))
    kg = draw(st.lists(st.floats(0, 2000), min_size=len(flows), max_size=len(flows)))
    sd = draw(st.lists(st.floats(0.01, 100), min_size=len(flows), max_size=len(flows)))
    return Graph(nodes, tuple(flows)), np.array(kg), np.array(sd)


@given(weighed_graphs())
def test_reconciled_flows_balance(case):
    graph, kg, sd = case
    r = reconcile(graph, kg, sd)
    assert np.abs(graph.incidence @ r.reconciled_kg).max() < 1e-9 * max(1.0, np.abs(kg).max())
    assert r.dof == np.linalg.matrix_rank(graph.incidence) == len(graph.nodes)


@given(weighed_graphs())
def test_it_is_the_least_change_by_another_road(case):
    """All closed weights are N u with N spanning the null space of the balances: ordinary least squares for u."""
    graph, kg, sd = case
    free = linalg.null_space(graph.incidence)
    u = np.linalg.lstsq(free / sd[:, None], kg / sd, rcond=None)[0]
    r = reconcile(graph, kg, sd)
    scale = max(1.0, np.abs(kg).max())
    np.testing.assert_allclose(r.reconciled_kg, free @ u, atol=1e-5 * scale)
    scaled = free / sd[:, None]
    cov = free @ np.linalg.pinv(scaled.T @ scaled) @ free.T
    np.testing.assert_allclose(r.sd_kg**2, np.diag(cov), atol=1e-5 * sd.max() ** 2)
    assert math.isclose(
        r.global_stat, (((free @ u - kg) / sd) ** 2).sum(), rel_tol=1e-6, abs_tol=1e-6
    ), "the global figure is the sum of squared changes over their doubts"


@given(weighed_graphs(), st.randoms())
def test_the_order_of_flows_and_nodes_does_not_matter(case, rng):
    graph, kg, sd = case
    order = list(range(len(graph.flows)))
    rng.shuffle(order)
    nodes = list(graph.nodes)
    rng.shuffle(nodes)
    other = Graph(tuple(nodes), tuple(graph.flows[i] for i in order))
    a, b = reconcile(graph, kg, sd), reconcile(other, kg[order], sd[order])
    np.testing.assert_allclose(
        b.reconciled_kg, a.reconciled_kg[order], atol=1e-6 * max(1.0, kg.max()) + 1e-5 * sd.max()
    )
    np.testing.assert_allclose(
        b.sd_kg**2, a.sd_kg[order] ** 2, atol=1e-6 * sd.max() ** 2
    )  # doubts span four decades, and a root would blow up what rounding leaves of 0
    assert math.isclose(a.global_stat, b.global_stat, rel_tol=1e-6, abs_tol=1e-6)
    rounding = (
        1e-6 + 1e-8 * a.global_stat
    )  # a drop is what is left between figures as large as the global one
    np.testing.assert_allclose(
        [g.drop for g in a.suspects],
        [g.drop for g in b.suspects],
        rtol=1e-6,
        atol=rounding,
    )


@given(st.lists(st.floats(0.1, 10), min_size=2, max_size=6), st.floats(1, 50))
def test_the_surer_weight_moves_less(sds, missing):
    """One balance: each change is its variance's share of what is missing."""
    graph = Graph(
        ("bowl",),
        (*(Flow(f"in {i}", "", "bowl") for i in range(len(sds) - 1)), Flow("out", "bowl", "")),
    )
    kg = np.full(len(sds), 100.0)
    kg[-1] = 100.0 * (len(sds) - 1) - missing
    r = reconcile(graph, kg, sds)
    moved, variance = np.abs(r.reconciled_kg - kg), np.square(sds)
    np.testing.assert_allclose(moved, missing * variance / variance.sum(), rtol=1e-9)
    assert (np.diff(moved[np.argsort(variance)]) >= -1e-9).all(), (
        "the surer the weight, the less it moves"
    )
    assert (r.sd_kg <= np.array(sds) + 1e-12).all(), (
        "closing the books never makes a weight less sure"
    )


@given(st.integers(0, 2**32 - 1))
def test_the_working_can_be_redone(seed):
    y = weigh(LINE, TRUE, SD, np.random.default_rng(seed))[0]
    r = reconcile(LINE, y, SD)
    assert_pencil(r.working)
    one = Graph(
        ("cook",), (Flow("in", "", "cook"), Flow("out", "cook", ""), Flow("lost", "cook", ""))
    )
    alone = reconcile(one, [100 + seed % 7, 90, 8], [1, 1, 0.5])
    assert_pencil(alone.working)
    assert {"reconciled in", "global test statistic"} <= {step.what for step in alone.working}


def test_books_that_close_are_flagged_at_the_nominal_rate():
    """1,000 seeded batches without any cause. The count of flags must lie within the central 99.9 % of its binomial."""
    y = weigh(LINE, np.repeat(TRUE, 1000, 0), SD, np.random.default_rng(20))
    found = [reconcile(LINE, row, SD) for row in y]
    p = np.array([r.p for r in found])
    for alpha in (0.05, 0.01):
        low, high = stats.binom.interval(0.999, 1000, alpha)
        assert low <= (p < alpha).sum() <= high
    assert stats.kstest(p, "uniform").pvalue > 0.001, "the whole distribution, not only its tail"
    for z in ([r.z for r in found], [r.node_z for r in found]):
        assert math.isclose(np.nanmean(np.square(z)), 1, abs_tol=0.05)
    spread = (np.array([r.reconciled_kg for r in found]) - TRUE).std(axis=0)
    np.testing.assert_allclose(spread, found[0].sd_kg, rtol=0.08)
    any_unusual = sum(bool(r.unusual) for r in found)
    assert 0 < any_unusual <= stats.binom.isf(0.0005, 1000, 0.05), (
        "Sidak's limit holds for independent weights and errs on the quiet side here"
    )


def test_an_unweighed_flow_follows_from_the_balances_as_if_its_doubt_were_endless():
    """Projection against a very large variance in its place: the same weights to the last digits that variance leaves."""
    y = weigh(LINE, TRUE, SD, np.random.default_rng(4))[0]
    gone = LINE.column("lost in cook")
    missing, loose, wide = y.copy(), y.copy(), SD.copy()
    missing[gone], loose[gone], wide[gone] = np.nan, 0.0, 1e5
    a, b = reconcile(LINE, missing, SD), reconcile(LINE, loose, wide)
    np.testing.assert_allclose(a.reconciled_kg, b.reconciled_kg, atol=1e-5)
    np.testing.assert_allclose(a.sd_kg[gone], b.sd_kg[gone], rtol=1e-5)
    assert math.isclose(a.global_stat, b.global_stat, abs_tol=1e-5) and a.dof == b.dof - 1
    assert any("not checked" in n and "cook" in n for n in a.notes)


def test_joined_nodes_are_balanced_as_one_and_loops_are_left_open():
    y = TRUE[0].copy()
    y[LINE.column("rest to cook")] = np.nan
    r = reconcile(LINE, y, SD)
    assert "rest + cook" in r.checks.names and math.isclose(
        r.weight("rest to cook"), TRUE[0][LINE.column("rest to cook")], rel_tol=1e-9
    )
    y[[LINE.column("lost in cook"), LINE.column("lost in chill"), LINE.column("cook to chill")]] = (
        np.nan
    )
    r = reconcile(LINE, y, SD)
    lost = [LINE.column(n) for n in ("lost in cook", "lost in chill", "cook to chill")]
    assert np.isnan(r.reconciled_kg[lost]).all() and any(
        "cannot be determined" in n and "lost in chill" in n for n in r.notes
    )
    assert math.isclose(
        r.weight("rest to cook"), TRUE[0][LINE.column("rest to cook")], rel_tol=1e-9
    )


def test_nothing_weighed_twice_means_nothing_is_checked_and_it_says_so():
    y = TRUE[0].copy()
    y[[c for c, name in enumerate(LINE.names) if name not in ("into receive", "out of pack")]] = (
        np.nan
    )
    r = reconcile(LINE, y, SD)
    assert r.dof == 0 and math.isnan(r.p) and r.closes is None and r.suspects == ()
    assert (
        any("nothing checks this mass balance" in n for n in r.notes)
        and "cannot be checked" in r.words()
    )


def test_an_error_no_balance_tests_is_said():
    graph = Graph(
        ("a", "b"),
        (Flow("in", "", "a"), Flow("open", "a", ""), Flow("over", "a", "b"), Flow("out", "b", "")),
    )
    r = reconcile(graph, [100, np.nan, 60, 60], 1.0)
    assert (
        math.isnan(r.z[0])
        and any("no balance tests in" in n for n in r.notes)
        and r.weight("open") == pytest.approx(40)
    )


def first_causes(graph, y, sd):
    """(kind, place, size) of the best explanation of each batch; an unrecorded loss before a weight."""
    for row in y:
        cause = reconcile(graph, row, sd).suspects[0].causes[0]
        yield cause.kind, cause.place, cause.size


LEAK_NODES = ("chop", "stuff", "rest")


@pytest.mark.parametrize("node", LEAK_NODES)
def test_a_leak_at_a_node_is_found_as_a_leak(node):
    """10 doubts lost unrecorded: named first in every one of 500 batches but a few, with its size, and told apart from any scale."""
    true = batch_flows(BARE, np.full(500, 1000.0), loss_pct={}, unrecorded_kg={node: 10.0})
    y = weigh(BARE, true, 1.0, np.random.default_rng(LEAK_NODES.index(node)))
    sizes = [size for *cause, size in first_causes(BARE, y, 1.0) if cause == ["node", node]]
    assert len(sizes) > 0.97 * 500
    assert math.isclose(np.mean(sizes), 10, abs_tol=4 * np.std(sizes) / 500**0.5)
    one = reconcile(BARE, true[0], 1.0)
    assert (
        one.told_apart
        and one.suspects[0].explains
        and "10 ± " in one.suspects[0].words()
        and f"in {node}" in one.words()
    )
    assert node in one.next_step


@pytest.mark.parametrize(
    "flow", ["grind to chop", "chop to stuff", "stuff to rest", "rest to pack"]
)
def test_a_bad_scale_is_found_as_a_bad_scale(flow):
    true = batch_flows(BARE, np.full(500, 1000.0), loss_pct={})
    y = weigh(BARE, true, 1.0, np.random.default_rng(5), reads_wrong_kg={flow: -10.0})
    named = [cause == ["weight", flow] for *cause, _ in first_causes(BARE, y, 1.0)]
    assert np.mean(named) > 0.97
    shown = true[0].copy()
    shown[BARE.column(flow)] -= 10
    one = reconcile(BARE, shown, 1.0)
    assert (
        one.told_apart
        and f"the weight {flow} reads 10 ±" in one.words()
        and "too low" in one.words()
    )
    assert flow in one.unusual and "test weight" in one.next_step


def test_at_the_ends_a_leak_and_a_bad_scale_leave_the_same_pattern_and_it_says_so():
    y = batch_flows(BARE, 1000.0, loss_pct={}, unrecorded_kg={"grind": 10.0})[0]
    s = reconcile(BARE, y, 1.0)
    assert {(c.kind, c.place) for c in s.suspects[0].causes} == {
        ("node", "grind"),
        ("weight", "into grind"),
    }
    assert (
        not s.told_apart
        and "cannot be told apart" in s.words()
        and "if it reads true" in s.next_step
    )


def test_one_balance_tells_nothing_apart():
    graph = Graph(
        ("cook",), (Flow("in", "", "cook"), Flow("out", "cook", ""), Flow("drip", "cook", ""))
    )
    s = reconcile(graph, [100, 80, 8], 1.0)
    assert (
        len(s.suspects) == 1
        and len(s.suspects[0].causes) == 4
        and not s.told_apart
        and s.suspects[0].drop == pytest.approx(12**2 / 3)
    )


def test_a_gain_is_called_an_inflow():
    y = batch_flows(BARE, 1000.0, loss_pct={}, unrecorded_kg={"stuff": -12.0})[0]
    verdict = reconcile(BARE, y, 1.0).words()
    assert "unrecorded gain of 12 ± 0.82 kg in stuff" in verdict, (
        "three weights of sd 1 on either side: √(1/3 + 1/3)"
    )


def test_small_losses_at_every_stage_are_told_from_one_leak():
    true = batch_flows(BARE, 1000.0, loss_pct={}, unrecorded_kg=dict.fromkeys(BARE.nodes, 6.0))[0]
    s = reconcile(BARE, true, 1.0)
    assert (
        s.suspects[0].causes[0].kind == "every stage"
        and s.told_apart
        and "unrecorded loss of 0.6" in s.words()
    )


def test_two_causes_at_once_are_not_forced_into_one():
    true = batch_flows(BARE, 1000.0, loss_pct={}, unrecorded_kg={"chop": 25.0})[0]
    true[BARE.column("rest to pack")] += 25
    s = reconcile(BARE, true, 1.0)
    assert (
        not s.suspects[0].explains
        and "no single cause explains it" in s.words()
        and not s.told_apart
    )


def test_close_rivals_are_named():
    """A small leak: seen, but a scale next to it explains nearly as much."""
    y = batch_flows(BARE, 1000.0, loss_pct={}, unrecorded_kg={"stuff": 3.5})[0]
    s = reconcile(BARE, y, 1.0)
    assert (
        not s.closes
        and s.rivals
        and not s.told_apart
        and "Nearly as likely" in s.words()
        and math.exp((s.suspects[0].drop - s.suspects[1].drop) / 2) < 20
    )


def test_books_that_close_name_nobody():
    s = reconcile(BARE, batch_flows(BARE, 1000.0, loss_pct={})[0], 1.0)
    assert (
        s.closes and not s.told_apart and "closes within the uncertainty of the scales" in s.words()
    )


def test_refusals_name_the_place():
    y = TRUE[0]
    exact = SD.copy()
    exact[[LINE.column(n) for n in ("receive to thaw", "thaw to trim", "lost in thaw")]] = 0
    with pytest.raises(
        OutOfRange, match="every weight that could be adjusted at thaw is called exact"
    ):
        reconcile(LINE, y, exact)
    with pytest.raises(OutOfRange, match="lost in cook weighs -3"):
        reconcile(LINE, np.where(np.array(LINE.names) == "lost in cook", -3.0, y), SD)
    with pytest.raises(OutOfRange, match="has a standard deviation of nan"):
        reconcile(LINE, y, np.where(np.arange(len(y)) == 2, np.nan, SD))
    with pytest.raises(OutOfRange, match="this graph has"):
        reconcile(LINE, y[:-1], 1.0)
    with pytest.raises(OutOfRange, match="the standard deviations have shape"):
        reconcile(LINE, y, SD[:3])
    with pytest.raises(OutOfRange, match="the weights have shape"):
        reconcile(LINE, np.vstack([y, y]), SD)
    with pytest.raises(OutOfRange, match="more than 0"):
        sd_of_step(0)


def test_an_exact_weight_stays_and_the_others_give_way():
    sd = SD.copy()
    sd[0] = 0
    y = weigh(LINE, TRUE, SD, np.random.default_rng(9))[0]
    r = reconcile(LINE, y, sd)
    assert r.reconciled_kg[0] == y[0] and math.isnan(r.z[0]) and r.sd_kg[0] == 0
    assert np.abs(LINE.incidence @ r.reconciled_kg).max() < 1e-9


def test_a_graph_that_does_not_hang_together_is_refused():
    with pytest.raises(OutOfRange, match="nothing enters or leaves a \\+ b"):
        Graph(("a", "b"), (Flow("x", "a", "b"), Flow("y", "b", "a")))
    with pytest.raises(UnknownName, match="cook"):
        Graph(("cook",), (Flow("x", "", "cok"),))
    with pytest.raises(OutOfRange, match="used twice"):
        Graph(("cook",), (Flow("x", "", "cook"), Flow("x", "cook", "")))
    with pytest.raises(OutOfRange, match="same place"):
        Graph(("cook",), (Flow("x", "", "cook"), Flow("y", "cook", "cook")))
    with pytest.raises(UnknownName, match="cook"):
        standard_graph(("cooking",))
    with pytest.raises(UnknownName, match="lost in cook"):
        LINE.column("lost in cok")


def test_a_step_of_the_scale_has_the_doubt_of_a_flat_distribution():
    draws = np.random.default_rng(2).uniform(-0.25, 0.25, 200_000)
    assert math.isclose(sd_of_step(0.5), draws.std(), rel_tol=0.01)


LEDGER = [
    *at("chop", 1000, 1288, additions_kg={"ice": 250, "dry goods": 45}),
    *at("stuff", 1286, 1260, scrap_kg=10, rework_out_kg=12),
    *at("cook", 1259, 1146),
    *at("pack", 1145, 1128),
]


def test_the_graph_of_a_ledger_checks_handovers_and_weighed_stages():
    w = flows_of(LEDGER, scale_sd_kg=2)
    assert w.graph.nodes == (
        "chop",
        "chop to stuff",
        "stuff",
        "stuff to cook",
        "cook",
        "cook to pack",
        "pack",
    )
    assert [n for n in w.graph.names if n.startswith("unrecorded")] == [
        "unrecorded in chop",
        "unrecorded in cook",
        "unrecorded in pack",
    ]
    r = reconcile(w.graph, w.kg, w.sd_kg)
    assert r.checks.names == ("chop to stuff", "stuff", "stuff to cook", "cook to pack")
    assert math.isclose(r.weight("unrecorded in cook"), 113, abs_tol=3)
    assert any("chop: its loss is not weighed" in n for n in w.notes)
    predicted = flows_of(
        LEDGER,
        scale_sd_kg=2,
        predicted_loss_kg={"cook": (113, 6), "chop": (7, 2)},
    )
    assert reconcile(predicted.graph, predicted.kg, predicted.sd_kg).closes


def test_a_ledger_without_doubts_cannot_be_reconciled():
    with pytest.raises(OutOfRange, match="into chop: no uncertainty of the scale is known"):
        flows_of(LEDGER)
    with pytest.raises(OutOfRange, match="only a transfer is weighed"):
        flows_of([*at("chop", out_kg=10), *at("stuff", 9)], 1)
    with pytest.raises(OutOfRange, match="peel: not weighed in this ledger"):
        flows_of(LEDGER, 1, {"peel": (5, 1)})
    with pytest.raises(UnknownName, match="peel"):
        flows_of(LEDGER, 1, {"peal": (5, 1)})


def test_equal_names_at_one_stage_stay_two_flows():
    w = flows_of([*at("chop", 100, 105, additions_kg={"ice": 10}, scrap_kg={"ice": 5})], 1)
    assert {"addition ice at chop", "scrap ice at chop"} <= set(w.graph.names)


def test_the_plant_balances_and_refuses_the_impossible():
    assert np.abs(TRUE @ LINE.incidence.T).max() < 1e-9
    many = batch_flows(
        LINE,
        np.array([900.0, 1100.0]),
        added_kg={"ice into chop": np.array([200.0, 300.0])},
        loss_pct={"cook": 10},
    )
    assert many.shape == (2, len(LINE.flows)) and np.abs(many @ LINE.incidence.T).max() < 1e-9
    np.testing.assert_allclose(many[:, LINE.column("lost in cook")], [110, 140])
    leaking = batch_flows(LINE, 1000.0, unrecorded_kg={"stuff": 8.0})
    assert math.isclose((leaking @ LINE.incidence.T)[0, LINE.nodes.index("stuff")], 8, abs_tol=1e-9)
    assert set(usual_loss_pct()) <= set(LINE.nodes)
    with pytest.raises(OutOfRange, match="more leaves stuff"):
        batch_flows(LINE, 10.0, unrecorded_kg={"stuff": 50})
    with pytest.raises(UnknownName, match="stuff"):
        batch_flows(LINE, 10.0, unrecorded_kg={"stuf": 1})
    with pytest.raises(OutOfRange, match="no flow for what is lost in stuff"):
        batch_flows(LINE, 10.0, loss_pct={"stuff": 1})
    with pytest.raises(UnknownName, match="ice into chop"):
        batch_flows(LINE, 10.0, added_kg={"ice in chop": 1})


def test_checks_leave_out_what_an_open_flow_touches():
    weighed = np.array([name != "lost in cook" for name in LINE.names])
    kept = checks(LINE, weighed)
    assert (
        "cook" not in kept.names
        and len(kept.names) == len(LINE.nodes) - 1
        and kept.determinable.sum() == 1
    )

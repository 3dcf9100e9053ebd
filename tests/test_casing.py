"""Casings and links: inverses, bounds, balances, refusals."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.casing import plan_links
from kit.casing.density import batter_density
from kit.casing.geometry import (
    diameter_of_fill_mm,
    fill_g_per_m,
    link_diameter_mm,
    link_weight_g,
)
from kit.casing.kinds import cellulose, collagen, machine, natural, weighed
from kit.errors import OutOfRange, UnknownName
from kit.tables import value

MM = st.floats(8, 120)
RHO = st.floats(850, 1100)


@given(MM, st.floats(1.05, 20), RHO)
def test_weight_and_diameter_undo_each_other(mm, slenderness, rho):
    length = mm * slenderness
    grams = link_weight_g(mm, length, rho)
    assert link_diameter_mm(grams, length, rho) == pytest.approx(mm, rel=1e-6)


def test_geometry_takes_whole_grids():
    mm, length = np.linspace(18, 32, 5)[:, None], np.linspace(60, 160, 7)
    grams = link_weight_g(mm, length, 1030)
    assert grams.shape == (5, 7) and np.allclose(
        link_diameter_mm(grams, length, 1030), np.broadcast_to(mm, (5, 7))
    )
    assert np.allclose(diameter_of_fill_mm(fill_g_per_m(mm, 1030), 1030), mm)


@pytest.mark.parametrize(
    "call, says",
    [
        (lambda: machine(float("nan")), "diameter_mm"),
        (lambda: machine("wide"), "diameter_mm"),
        (lambda: batter_density(60), "air_pct is 60"),
        (lambda: batter_density(2, 300), "air_free_kg_per_m3 is 300"),
        (lambda: machine(500), "diameter_mm is 500"),
        (lambda: cellulose(99), "cellulose size code '99'"),
        (lambda: natural("sheep 22-25"), "nearest: sheep"),
        (lambda: natural("hog 32-35"), "stuff and weigh a length"),
        (lambda: weighed("hog", 40, 0.1), "no sausage"),
        (lambda: plan_links(10, machine(22)), "one of the two"),
        (lambda: plan_links(10, machine(22), length_mm=120, weight_g=50), "one of the two"),
        (lambda: plan_links(0.02, machine(22), weight_g=50), "does not fill one link"),
        (lambda: plan_links(10, machine(22), length_mm=900, strand_m=0.5), "holds no link"),
        (lambda: plan_links(-3, machine(22), weight_g=50), "batter_kg is -3"),
        (lambda: plan_links(10, machine(100), weight_g=2), "length of a link"),
    ],
)
def test_bad_input_is_told_with_its_limit(call, says):
    with pytest.raises((OutOfRange, UnknownName), match=says):
        call()


@given(st.floats(1, 2000), st.floats(16, 60), st.floats(20, 400), st.floats(3, 40))
def test_batter_and_casing_balance(batter_kg, mm, grams, strand_m):
    twist, end, broken = (value(f"casing_{key}") for key in ("twist_mm", "end_mm", "breakage_pct"))
    casing = machine(mm)
    assume(40 < 1000 * grams / casing.g_per_m < 1500)
    p = plan_links(batter_kg, casing, weight_g=grams, strand_m=strand_m)
    assert p.links * grams / 1000 + p.left_kg == pytest.approx(
        batter_kg
    ) and 0 <= p.left_kg < grams / 1000 * (1 + 1e-9)
    assert p.casing_m * (1 - broken / 100) == pytest.approx(
        p.links * p.link_length_mm / 1000 + (p.links * twist + p.strands * end) / 1000
    )
    assert (
        p.strands * (strand_m * (1 - broken / 100) - end / 1000)
        >= p.links * p.link_length_mm / 1000 + p.links * twist / 1000 - 1e-6
    ), "the strands that were opened hold all links"
    assert_pencil(p.working)


def test_length_and_weight_targets_agree():
    casing = machine(22, batter_density(3))
    by_weight = plan_links(100, casing, weight_g=50)
    by_length = plan_links(100, casing, length_mm=by_weight.link_length_mm)
    assert (
        by_length.link_weight_g == pytest.approx(50) and by_length.links == by_weight.links == 2000
    )


def test_a_wider_fill_needs_less_casing():
    p = plan_links(100, collagen(24), weight_g=60)
    assert (
        p.casing_m_low < p.casing_m < p.casing_m_high
        and machine(24).g_per_m == collagen(24).g_per_m
    )
    fixed = plan_links(100, collagen(24), length_mm=120)
    assert fixed.casing_m_low < fixed.casing_m < fixed.casing_m_high


def test_air_makes_links_lighter():
    assert machine(22, batter_density(0)).g_per_m * 0.94 == pytest.approx(
        machine(22, batter_density(6)).g_per_m
    )


def test_natural_casing_weighs_by_geometry_and_is_bought_by_the_hank():
    found = natural("Sheep 22/24 mm", stuffed_mm=22.5)
    assert (
        found.name == "sheep 22-24"
        and found.g_per_m == machine(22.5).g_per_m
        and found.hank.metres == 91
    )
    assert found.g_per_m_low == machine(22).g_per_m and found.g_per_m_high == machine(24).g_per_m
    assert any("of a full round of 22.5 mm" in note for note in found.notes)
    plan = plan_links(52, found, length_mm=140)
    assert (
        plan.hanks == pytest.approx(2)
        and plan.casing_m == pytest.approx(182)
        and plan.casing_m_low < 182 < plan.casing_m_high
        and plan.strands is None
    )
    assert_pencil(plan.working)
    assert any(
        "open at the top" in note for note in natural("sheep 28+", stuffed_mm=30).notes
    ) and any("outside the calibre" in note for note in natural("sheep 22-24", stuffed_mm=26).notes)


@given(
    st.floats(0.1, 500),
    st.sampled_from(("sheep 16-18", "sheep 22-24", "sheep 28+")),
    st.floats(20, 400),
)
def test_never_less_natural_casing_than_the_links_take(batter_kg, name, length):
    casing = natural(name)
    assume(batter_kg * 1000 > casing.g_per_m * length / 1000)
    p = plan_links(batter_kg, casing, length_mm=length)
    assert (
        p.casing_m_low <= p.casing_m <= p.casing_m_high
        and p.casing_m >= p.links * p.link_length_mm / 1000 + p.links * 0.006
    )
    assert_pencil(p.working)


def test_a_log_is_not_compared_with_frankfurters():
    """A log of 100 mm and 750 mm is about 6 kg; a frankfurter of the same calibre as the table is still compared."""
    log, thin = (
        plan_links(60, machine(100), length_mm=750),
        plan_links(60, machine(22), length_mm=60),
    )
    assert (
        5900 < log.link_weight_g < 6200
        and not any("43" in note for note in log.notes)
        and not any("frankfurter" in source for source in log.sources)
    )
    assert any("43 to 57 g" in note for note in thin.notes)


def test_defaults_are_named_and_own_figures_are_not():
    told, own = batter_density(), batter_density(2, 1040)
    assert (
        all("common practice" in note for note in told.notes)
        and len(told.notes) == 2
        and own.notes == ()
        and own.sources == ()
    )
    assert any("more than the" in note for note in batter_density(0, 1100).notes)
    assert told.kg_per_m3 == pytest.approx(
        value("casing_air_free_density_kg_per_m3") * (1 - value("casing_air_vacuum_pct") / 100)
    )
    assert_pencil(told.working)


def test_own_weighing_is_taken_as_it_is():
    hog = weighed("hog 32-35", 4.1, 6)
    assert (
        hog.g_per_m / 1000 == pytest.approx(4.1 / 6)
        and hog.g_per_m_low == hog.g_per_m_high == hog.g_per_m
    )
    assert plan_links(41, hog, length_mm=150).links == pytest.approx(400, abs=1)
    assert_pencil(hog.working)

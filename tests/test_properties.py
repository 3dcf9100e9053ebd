"""Properties of food from composition: limits, bounds, directions and messages."""

import numpy as np
import pytest
from conductivity_bounds import bounds_W_per_mK
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import OutOfRange, UnknownName
from kit.properties import Makeup, heat_kJ_per_kg
from kit.properties.components import (
    COMPONENTS,
    component_cp_J_per_kgK,
    component_density_kg_per_m3,
)
from kit.properties.fat import CONFLICT, solid_fats
from kit.properties.freezing import enthalpy_kJ_per_kg, frozen, ice_fraction_tchigeov
from kit.properties.makeup import makeup_from_kg, makeup_from_pct
from kit.properties.mixture import (
    conductivity_W_per_mK,
    cp_J_per_kgK,
    density_kg_per_m3,
)

parts = st.floats(0, 1)
makeups = st.builds(
    lambda w, pr, f, c, a, fi, i: makeup_from_kg(
        water=w + 1e-6, protein=pr, fat=f, carbohydrate=c, ash=a, fibre=fi, ice=i
    ),
    parts,
    parts,
    parts,
    parts,
    parts,
    parts,
    parts,
)
BATTER = makeup_from_pct(water=56, protein=12, fat=28, carbohydrate=1.5, ash=2.5)


@given(makeups, st.floats(-40, 150), st.floats(0, 20))
def test_conductivity_lies_between_perpendicular_and_parallel(makeup, t, air):
    low, high = bounds_W_per_mK(makeup, t, air)
    mid = conductivity_W_per_mK(makeup, t, air)
    assert low * (1 - 1e-9) <= mid <= high * (1 + 1e-9)


@given(makeups, st.floats(-40, 150))
def test_heat_capacity_and_density_lie_between_those_of_the_components(makeup, t):
    cps = [float(component_cp_J_per_kgK(name, t)) for name in COMPONENTS]
    rhos = [float(component_density_kg_per_m3(name, t)) for name in COMPONENTS]
    assert min(cps) - 1e-6 <= cp_J_per_kgK(makeup, t) <= max(cps) + 1e-6
    assert min(rhos) - 1e-6 <= density_kg_per_m3(makeup, t) <= max(rhos) + 1e-6


@given(makeups, st.floats(-35, 140), st.sampled_from([-2.2, -1.7, -1.0]))
def test_enthalpy_rises_with_temperature(makeup, t, freezing):
    assert enthalpy_kJ_per_kg(makeup, t + 0.5, freezing) > enthalpy_kJ_per_kg(makeup, t, freezing)


@given(st.floats(1.0, 149))
def test_heat_is_the_integral_of_heat_capacity(t):
    slope = (heat_kJ_per_kg(BATTER, t + 0.5) - heat_kJ_per_kg(BATTER, t - 0.5)) * 1000
    assert slope == pytest.approx(cp_J_per_kgK(BATTER, t), rel=1e-5)


def test_enthalpy_is_continuous_at_the_freezing_point_and_zero_at_0_C():
    assert enthalpy_kJ_per_kg(BATTER, 0.0) == pytest.approx(0, abs=1e-12)
    assert enthalpy_kJ_per_kg(BATTER, -1.7 - 1e-9) == pytest.approx(
        enthalpy_kJ_per_kg(BATTER, -1.7 + 1e-9), abs=1e-4
    )


def test_the_ice_rule_keeps_its_limits_and_never_exceed_the_water():
    t = np.linspace(-40, 10, 201)
    ice = ice_fraction_tchigeov(0.56, -1.7, t)
    assert (ice[t >= -1.7] == 0).all() and (np.diff(ice) <= 1e-12).all() and ice.max() < 0.56
    assert frozen(BATTER, -20.0).ice_fraction > 0.4


def test_frozen_food_conducts_better_and_is_lighter():
    solid = frozen(BATTER, -20.0)
    assert conductivity_W_per_mK(solid, -20.0) > 2 * conductivity_W_per_mK(BATTER, 5.0)
    assert density_kg_per_m3(solid, -20.0) < density_kg_per_m3(BATTER, 5.0)


def test_air_lightens_in_proportion_and_slows_heat():
    assert density_kg_per_m3(BATTER, 10, 8) == pytest.approx(0.92 * density_kg_per_m3(BATTER, 10))
    assert conductivity_W_per_mK(BATTER, 10, 8) < conductivity_W_per_mK(BATTER, 10)


def test_functions_broadcast_compositions_against_temperatures():
    fat = np.linspace(0, 50, 7)[:, None]
    many = makeup_from_pct(
        water=80 - fat, protein=17 * np.ones_like(fat), fat=fat, ash=3 * np.ones_like(fat)
    )
    t = np.linspace(-20, 80, 11)
    for f in (
        cp_J_per_kgK,
        density_kg_per_m3,
        conductivity_W_per_mK,
        enthalpy_kJ_per_kg,
    ):
        grid = f(many, t)
        assert grid.shape == (7, 11)
        assert grid[3, 4] == pytest.approx(
            float(f(makeup_from_pct(water=55, protein=17, fat=25, ash=3), t[4]))
        )


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: cp_J_per_kgK(BATTER, 200), "temperature.*is 200;.*-40 and 150"),
        (lambda: cp_J_per_kgK(BATTER, np.nan), "is nan"),
        (lambda: Makeup(water_fraction=0.5), "sum to 0.5"),
        (lambda: Makeup(water_fraction=1.5, fat_fraction=-0.5), "between 0 and 1"),
        (lambda: makeup_from_pct(water=56, protein=12), "sum to 68.00.*left out"),
        (lambda: makeup_from_kg(water=0.0), "more than 0"),
        (lambda: density_kg_per_m3(BATTER, 20, 100), "air.*is 100"),
        (lambda: BATTER.with_ice(0.6), "does not fit"),
        (lambda: enthalpy_kJ_per_kg(BATTER, -5, 1.0), "freezing point.*is 1;"),
    ],
)
def test_bad_input_says_what_and_where(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()


def test_unknown_names_offer_the_nearest():
    with pytest.raises(UnknownName, match="protein"):
        component_density_kg_per_m3("proteins", 20)


def test_solid_fat_falls_and_its_heat_rises():
    t = np.linspace(-10, 60, 141)
    for curve in solid_fats().values():
        assert (np.diff(curve.at(t)) <= 1e-12).all() and (
            np.diff(curve.melting_kJ_per_kg(t)) >= -1e-12
        ).all()
        assert curve.melting_kJ_per_kg(-10.0) == 0 and curve.cite


def test_the_two_kinds_of_solid_fat_figures_do_contradict_each_other():
    lard, back = (solid_fats()[name].at(10.0) for name in ("lard", "pig back fat tissue"))
    assert back - lard > 40
    assert "28 %" in CONFLICT

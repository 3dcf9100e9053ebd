"""A link below its freezing point against closed forms and a separate summation."""

import numpy as np
import pytest

from kit import cook
from kit.cook.stages import air
from kit.properties.freezing import enthalpy_kJ_per_kg, frozen, ice_fraction_tchigeov
from kit.properties.makeup import makeup_from_pct
from kit.properties.mixture import conductivity_W_per_mK

BEEF = makeup_from_pct(water=75, protein=20, fat=4, ash=1)
TF = -1.7


def link(mm, start_C):
    return cook.Link(mm, 0.47, 1050.0, 3550.0, start_C, 0.98, batter=BEEF)


def minutes_to(run, core_C):
    below = run.core_C <= core_C
    return float(
        np.interp(
            core_C,
            run.core_C[below.argmax() - 1 : below.argmax() + 1][::-1],
            run.minutes[below.argmax() - 1 : below.argmax() + 1][::-1],
        )
    )


@pytest.mark.parametrize(
    "mm, air_C, h", [(60, -20, 50), (60, -30, 40), (100, -30, 20), (26, -20, 100)]
)
def test_freezing_time_of_a_cylinder_by_pham(mm, air_C, h):
    """Pham's simplified rule (1986, from memory): t = R / (2 h) (dH1/dT1 + dH2/dT2) (1 + Bi/2), with a mean freezing temperature of
    1.8 + 0.263 Tcore + 0.105 Tair; quoted as good to about 10 % against measured foods, and held here to 15 % because its single frozen
    conductivity is taken at -10 °C. Latent heat 333.6 kJ/kg of the water that freezes, frozen heat capacity 2.0 kJ/(kg K) (Earle's 1.67 for
    beef leaves out what goes on freezing)."""
    start, core, rho = 15.0, -10.0, 1050.0
    mean = 1.8 + 0.263 * core + 0.105 * air_C
    kf = float(
        0.47
        * conductivity_W_per_mK(frozen(BEEF, -10.0, TF), -10.0)
        / conductivity_W_per_mK(BEEF, TF)
    )
    first = rho * 3550 * (start - mean) / ((start + mean) / 2 - air_C)
    second = rho * (333.6e3 * (0.75 - 0.4 * 0.20) + 2000 * (mean - core)) / (mean - air_C)
    rule = mm / 2000 / (2 * h) * (first + second) * (1 + h * mm / 2000 / kf / 2) / 60
    run = cook.cook(
        link(mm, start), [air(3 * rule, air_C, humidity_pct=95, h_W_per_m2K=h, wetness=0)]
    )
    assert minutes_to(run, core) == pytest.approx(rule, rel=0.15)


def test_heat_of_a_frozen_link_is_that_of_the_food():
    """Lean beef of 74.5 % water between 0 and -20 °C: Riedel's calorimeter, as tabulated in handbooks (from memory): 304 - 42 = 262 kJ/kg. Chen's
    rule lies 6 to 7 % below that (it leaves more water liquid at -20 °C); held to 8 %."""
    run = cook.cook(link(26, 0.0), [air(600, -20, humidity_pct=95, h_W_per_m2K=60, wetness=0)])
    assert run.mean_C[-1] == pytest.approx(-20, abs=0.05)
    assert -run.heat_kJ_per_kg[-1] == pytest.approx(304 - 42, rel=0.08)


def test_the_core_waits_at_the_freezing_point():
    """While most of its water freezes a core stays within 1 K below the freezing point: two thirds of the ice of beef forms by -3 °C (Tchigeov's
    rule; Riedel's chart of beef, from memory, has about 65 to 70 % of the water frozen at -3 to -4 °C)."""
    assert 0.45 < float(ice_fraction_tchigeov(0.75, TF, -3.0)) / 0.75 < 0.72
    run = cook.cook(link(60, 15.0), [air(400, -20, humidity_pct=95, h_W_per_m2K=50, wetness=0)])
    waits = run.minutes[(run.core_C < TF) & (run.core_C > TF - 1)]
    cools = run.minutes[(run.core_C < 5) & (run.core_C > 4)]
    assert np.ptp(waits) > 4 * np.ptp(cools)
    assert float(enthalpy_kJ_per_kg(BEEF, TF, TF) - enthalpy_kJ_per_kg(BEEF, -3.0, TF)) > 80

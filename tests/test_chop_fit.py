"""The chopper's energy from a log: known rates come back, intervals are honest, and the fit says when it cannot tell."""

from dataclasses import replace

import numpy as np
import pytest
from pencil import assert_pencil

from kit.chop import fit
from kit.chop.bowl import Bowl
from kit.chop.charge import Charge, ice, salt, water
from kit.chop.fit import fit_energy
from kit.chop.path import path_by_time
from kit.errors import OutOfRange
from kit.properties.makeup import makeup_from_pct
from kit.reading.logs import read_log

LEAN = makeup_from_pct(water=74, protein=20, fat=5, ash=1)
FAT = makeup_from_pct(water=15, protein=4, fat=80.5, ash=0.5)


@pytest.fixture
def exact_sheet(monkeypatch):
    """Meat temperature and ice taken as known, so that the readings alone make the interval."""
    monkeypatch.setattr(fit, "sheet_uncertainties", lambda: (0.0, 0.0))


def batch(meat_C=2.0, ice_kg=20.0):
    return Bowl(
        (
            Charge("lean", "meat", 50, meat_C, LEAN),
            Charge("fat", "meat", 22, meat_C, FAT),
            ice(ice_kg),
            water(5),
            salt(2.0),
        )
    )


def logged(bowl, rate, minutes, every_s=10.0, noise_K=0.3, seed=0, likeness=0.0):
    """A log of a bowl chopped at a known rate, as text, with noise whose neighbours are alike by `likeness`."""
    minute = np.arange(0, minutes * 60 + 1e-9, every_s) / 60
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, noise_K, minute.size)
    for k in range(1, noise.size):
        noise[k] = likeness * noise[k - 1] + np.sqrt(1 - likeness**2) * noise[k]
    t = path_by_time(bowl, rate, minute).end_C + noise
    return read_log(
        "time s;Batter °C\n" + "\n".join(f"{a * 60:.1f};{b:.2f}" for a, b in zip(minute, t))
    )


@pytest.mark.parametrize("rate, minutes", [(6.0, 20.0), (12.0, 9.0), (30.0, 4.0)])
def test_a_known_rate_comes_back_across_the_ice_plateau(rate, minutes):
    fit = fit_energy(batch(), logged(batch(), rate, minutes))
    assert (
        fit.rate_kJ_per_kg_min.value == pytest.approx(rate, rel=0.02)
        and fit.rate_kJ_per_kg_min.low < rate < fit.rate_kJ_per_kg_min.high
    )
    assert fit.energy_kJ_per_kg.value == pytest.approx(
        rate * minutes, rel=0.02
    ) and fit.power_kW.value == pytest.approx(rate * 99 / 60, rel=0.02)
    assert fit.tells and fit.misfit_K == pytest.approx(0.3, abs=0.1)
    assert_pencil(fit.working)


def test_a_straight_line_through_the_log_would_be_wrong():
    """The bowl spends most of its energy on ice: temperature rise times heat capacity misses it, the balance does not."""
    bowl = batch()
    log = logged(bowl, 12.0, 9.0)
    t = log.temperature_C[:, 0]
    naive = 3.4 * (t[-1] - t[0]) / 9.0
    assert naive < 0.6 * fit_energy(bowl, log).rate_kJ_per_kg_min.value


def test_the_interval_covers_as_often_as_it_says(exact_sheet):
    """90 % interval from readings whose neighbours are alike, sheet exact: covers 40 logs at least 80 % of the time and is not idle wide."""
    bowl, covered, widths = batch(), 0, []
    for seed in range(40):
        fit = fit_energy(
            bowl,
            logged(bowl, 12.0, 9.0, every_s=15, noise_K=0.5, seed=seed, likeness=0.7),
        )
        covered += fit.rate_kJ_per_kg_min.low <= 12.0 <= fit.rate_kJ_per_kg_min.high
        widths.append(fit.rate_kJ_per_kg_min.high - fit.rate_kJ_per_kg_min.low)
    assert covered >= 32
    assert np.median(widths) < 1.5


def test_the_sheets_uncertainty_is_counted_and_dominates_a_clean_log(monkeypatch):
    bowl = batch()
    unsure = fit_energy(bowl, logged(bowl, 12.0, 9.0))
    with monkeypatch.context() as patched:
        patched.setattr(fit, "sheet_uncertainties", lambda: (0.0, 0.0))
        sure = fit_energy(bowl, logged(bowl, 12.0, 9.0))
    assert unsure.rate_kJ_per_kg_min.high - unsure.rate_kJ_per_kg_min.low > 3 * (
        sure.rate_kJ_per_kg_min.high - sure.rate_kJ_per_kg_min.low
    )
    warmer = fit_energy(bowl, logged(batch(meat_C=3.0), 12.0, 9.0))
    assert warmer.rate_kJ_per_kg_min.low < 12.0 < warmer.rate_kJ_per_kg_min.high


def test_a_fast_logger_gains_nothing_from_alike_readings(exact_sheet):
    bowl = batch()
    slow, fast = (
        fit_energy(bowl, logged(bowl, 12.0, 9.0, every_s=s, likeness=like))
        for s, like in ((20, 0.0), (1, 0.95))
    )
    assert any("neighbours in a log err alike" in note for note in fast.notes)
    assert (fast.rate_kJ_per_kg_min.high - fast.rate_kJ_per_kg_min.low) > 0.4 * (
        slow.rate_kJ_per_kg_min.high - slow.rate_kJ_per_kg_min.low
    )


def test_a_log_on_the_ice_plateau_cannot_tell():
    fit = fit_energy(batch(), logged(batch(), 12.0, 4.0))
    assert not fit.tells and any(
        "never leaves the stretch where ice melts" in w for w in fit.warnings
    )
    assert fit.rate_kJ_per_kg_min.high - fit.rate_kJ_per_kg_min.low > 2 * 0.6


def test_a_flat_or_noisy_log_cannot_tell():
    dull = Bowl((Charge("lean", "meat", 50, 4.0, LEAN),))
    fit = fit_energy(dull, logged(dull, 0.3, 6.0, noise_K=0.5))
    assert (
        not fit.tells
        and any("span only" in w for w in fit.warnings)
        and any("wider than" in w for w in fit.warnings)
    )


def test_a_wrong_sheet_is_noticed():
    fit = fit_energy(batch(ice_kg=10.0), logged(batch(ice_kg=28.0), 12.0, 12.0))
    assert not fit.tells and any("disagree" in w or "not this bowl" in w for w in fit.warnings)


def test_spikes_and_holes_are_left_out_and_told():
    bowl, log = batch(), logged(batch(), 12.0, 9.0)
    lines = [f"{t:.1f};{x:.2f}" for t, x in zip(log.time_s, log.temperature_C[:, 0])]
    lines[10], lines[30], lines[40] = (
        lines[10].split(";")[0] + ";45",
        lines[30].split(";")[0] + ";",
        lines[40].split(";")[0] + ";ERR",
    )
    marred = read_log("time s;Batter °C\n" + "\n".join(lines))
    fit = fit_energy(bowl, marred)
    assert any("3 readings of the log are holes, spikes" in note for note in fit.notes)
    assert fit.rate_kJ_per_kg_min.value == pytest.approx(
        fit_energy(bowl, log).rate_kJ_per_kg_min.value, rel=0.01
    )


def test_part_of_a_log_and_later_ice():
    late = batch()
    late = late.with_charges(
        replace(c, minute=2.0) if c.name in ("fat", "ice") else c for c in late.charges
    )
    fit = fit_energy(late, logged(late, 14.0, 10.0))
    assert fit.rate_kJ_per_kg_min.value == pytest.approx(14.0, rel=0.03)
    assert fit.energy_kJ_per_kg.value == pytest.approx(14 * (57 * 2 + 99 * 8) / 99, rel=0.04)
    cold_start = logged(batch(), 12.0, 9.0)
    shifted = read_log(
        "time s;Batter °C\n0;20\n60;20.1\n"
        + "\n".join(
            f"{t + 120:.1f};{x:.2f}"
            for t, x in zip(cold_start.time_s, cold_start.temperature_C[:, 0])
        )
    )
    assert fit_energy(batch(), shifted, from_min=2.0).rate_kJ_per_kg_min.value == pytest.approx(
        12.0, rel=0.03
    )


def test_too_little_is_refused():
    log = logged(batch(), 12.0, 9.0)
    with pytest.raises(OutOfRange, match="only 2 usable readings"):
        fit_energy(batch(), log, from_min=1.0, to_min=1.2)
    with pytest.raises(OutOfRange, match="start in minutes"):
        fit_energy(batch(), log, from_min=50.0)

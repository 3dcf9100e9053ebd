"""Logs that cannot be true stop the record or stand first on it; logs of sound cooks raise nothing. Every kind is made here, never by the code under test."""

import numpy as np
import pytest

from kit.cook import Link, cook
from kit.cook.stages import air, fridge, hot_water, ice_bath, shower, steam
from kit.errors import Faulty, OutOfRange
from kit.lab.pages.record import as_html
from kit.lethality import record, trace
from kit.lethality.plausible import fastest_per_s, implausible
from kit.lethality.record import trace_of_log, traces_of_log
from kit.reading.logs import read_log
from kit.tables import data_path

T = np.arange(0, 12_001, 30.0)


def core(rng=None, sd=0.12):
    """A frankfurter's core, to 0.1 °C with noise: come-up, hold, shower, cold room."""
    x = np.interp(T, [0, 1200, 3600, 4500, 8100, 9000, 12_000], [12, 33, 49, 70, 74, 20, 4])
    return np.round(x + (rng or np.random.default_rng(4)).normal(0, sd, T.size), 1)


def log(readings, unit="°C", t=T):
    return read_log(
        f"Time s;Core {unit}\n" + "\n".join(f"{a:.0f};{b:.1f}" for a, b in zip(t, readings))
    )


def reasons_of(readings, unit="°C", **more):
    return record(traces_of_log(log(readings, unit)), "meat", cured=True, **more).implausible


SAID = {
    "stuck for five hours": (lambda x: np.full_like(x, 75.0), "does not move: exactly 75.0"),
    "stuck in the hold, then moving": (
        lambda x: np.where((T > 5000) & (T < 7000), 71.3, x),
        "does not move: exactly 71.3",
    ),
    "stuck from the come-up on": (
        lambda x: np.where(T > 4200, 63.2, x),
        "does not move: exactly 63.2",
    ),
    "stuck twice": (
        lambda x: np.where(
            (T > 2000) & (T < 3000), 40.1, np.where((T > 5000) & (T < 6500), 71.3, x)
        ),
        "40.1 °C for .*71.3 °C for",
    ),
    "pulled out and left": (
        lambda x: np.where(T > 4000, np.maximum(x + 24, 82), x),
        r"rises from 5\d.* in 30 s .* 26 mm reaches",
    ),
    "pulled out and put back": (
        lambda x: np.where((T > 4000) & (T < 4300), x + 24, x),
        "rises from 5",
    ),
    "pulled out while it cools": (
        lambda x: np.where(T > 8400, np.minimum(x, 3.0), x),
        "falls from",
    ),
    "another link": (lambda x: np.where(T > 3000, x + 15, x), "rises from"),
    "a rise that no core of that size makes": (
        lambda x: (
            np.interp(T, [0, 120, 12_000], [12, 76, 76]) + np.tile([0, 0.1, -0.1], T.size)[: T.size]
        ),
        "rises from",
    ),
}


@pytest.mark.parametrize("kind", SAID)
def test_a_log_that_cannot_be_true_stands_first_and_nothing_counts_as_met(kind):
    change, says = SAID[kind]
    import re

    made = record(traces_of_log(log(change(core()))), "meat", cured=True, diameter_mm=26)
    assert made.implausible and re.search(says, " / ".join(made.implausible), re.S), (
        made.implausible
    )
    assert not any(f.met for f in (*made.findings, *made.cooling)) and any(
        "the log is implausible" in note for f in made.findings for note in f.notes
    )
    page = as_html(made)
    assert page.index("IMPLAUSIBLE LOG") < page.index("validates nothing") < page.index("Cooking: ")


@pytest.mark.parametrize("jump", [(58, 82), (30, 70), (70, 12)])
def test_a_jump_is_named_even_where_nobody_says_the_diameter(jump):
    x = np.where(T < 4000, jump[0], jump[1]) + np.tile([0, 0.1, -0.1, 0.2], T.size)[: T.size]
    assert any("jumps" in text or "rises" in text or "falls" in text for text in reasons_of(x))


def test_fahrenheit_under_a_header_of_celsius_is_refused():
    """ "Came to 145 °C, held in 2 of 2 tables" before. The other way round nothing is cooked, and the unit is asked for."""
    with pytest.raises(
        Faulty, match="above 102 °C, up to 16[0-9].*no wet core at ambient pressure.*if it was °F"
    ) as told:
        reasons_of(1.8 * core() + 32)
    assert told.value.faults[0].row == int(np.argmax(1.8 * core() + 32 > 102)) + 2, (
        "the row as the person counts it, header 1"
    )
    assert any(
        "If the logger wrote °C and they were read as °F, it was 7" in text
        for text in reasons_of(core(), "°F")
    )
    mild = np.interp(
        T, [0, 12_000], [100, 40]
    )  # only the chill, in °F: hotter than a sausage is cooked, but not above boiling
    assert any("more than the core of a sausage is cooked to" in text for text in reasons_of(mild))


def test_a_smokehouse_may_be_hotter_than_a_wet_core():
    read = read_log(
        "Time s;Core °C;Smokehouse °C\n" + "\n".join(f"{60 * n};{20 + n};{110}" for n in range(50))
    )
    assert trace_of_log(read, "Smokehouse °C", core=False).peak_C == 110
    with pytest.raises(Faulty, match="above 102"):
        traces_of_log(read, ["Smokehouse °C"])


def test_a_core_warmer_than_its_smokehouse_is_named():
    x = core()
    house = trace("Smokehouse", T, np.full_like(T, 60.0), core=False)
    assert any(
        "rises" in text and "65 °C" in text for text in implausible([trace("c", T, x)], house, 26)
    ) and not implausible([trace("c", T, x)], None, 26)


def test_a_slow_drift_and_the_demo_log_are_not_named():
    assert (
        reasons_of(core() + np.linspace(0, 4, T.size), diameter_mm=26)
        == ()
        == reasons_of(core() - np.linspace(0, 4, T.size))
    )
    read = read_log(data_path("demo", "cook_log.csv"))
    assert (
        implausible(
            traces_of_log(read, read.channels[:2]),
            trace_of_log(read, read.channels[2], core=False),
            24,
        )
        == ()
    )
    assert implausible(traces_of_log(read, read.channels[:2])) == ()


def sound_cooks(rng, count):
    """Computed cooks of 20 to 120 mm: drying, smoking, then air, steam or water, then bath or shower, then cold room."""
    for _ in range(count):
        size = float(rng.uniform(20, 120))
        long = (size / 26) ** 1.6
        last = float(np.clip(45 * long, 20, 600))
        heat = (
            steam(last, rng.uniform(74, 82)),
            hot_water(last, rng.uniform(72, 80)),
            air(
                last,
                rng.uniform(76, 88),
                humidity_pct=rng.uniform(40, 95),
                speed_m_per_s=rng.uniform(0.5, 4),
            ),
        )[rng.integers(3)]
        stages = [
            air(
                rng.uniform(15, 40),
                rng.uniform(45, 60),
                humidity_pct=rng.uniform(15, 40),
                speed_m_per_s=rng.uniform(0.5, 3),
            ),
            air(
                rng.uniform(20, 60),
                rng.uniform(58, 70),
                humidity_pct=rng.uniform(25, 60),
                speed_m_per_s=rng.uniform(0.5, 3),
            ),
            heat,
            ice_bath(60 * long, 1) if rng.integers(2) else shower(15, 14),
            fridge(60 + 60 * long, 3, humidity_pct=85),
        ]
        done = cook(Link(size, start_C=float(rng.uniform(2, 16))), stages, step_s=30)
        yield size, done.minutes * 60, done.core_C


ROUND = {
    "0.1 °C": lambda x: np.round(x, 1),
    "0.5 °C": lambda x: np.round(2 * x) / 2,
    "1 °F": lambda x: (np.round(1.8 * x + 32) - 32) / 1.8,
}


def test_of_hundreds_of_sound_logs_none_is_named_and_of_spoilt_ones_most_are():
    """Noise of 0.03 to 0.3 K, three ways of rounding, a reading every 10 to 120 s. The same logs, spoilt, are found; the shares found are asserted."""
    rng = np.random.default_rng(1)
    false = sound = jumps = stuck = spoilt = 0
    for size, seconds, course in sound_cooks(rng, 40):
        for _ in range(6):
            t = np.arange(0, seconds[-1], float(rng.choice([10, 30, 60, 120])))
            way = str(rng.choice(list(ROUND)))
            x = ROUND[way](
                np.interp(t, seconds, course)
                + rng.normal(0, float(rng.choice([0.03, 0.1, 0.2, 0.3])), t.size)
            )
            sound += 1
            false += bool(implausible([trace("c", t, x)], None, size)) or bool(
                implausible([trace("c", t, x)])
            )
            up = np.flatnonzero((np.arange(x.size) < x.argmax()) & (x < x.max() - 8))
            at = int(rng.choice(up))
            out = np.where(
                np.arange(x.size) < at, x, np.maximum(x, x.max() + 4) + rng.normal(0, 0.2, x.size)
            )
            spoilt += 1
            jumps += bool(implausible([trace("c", t, out)], None, size))
            hot = int(rng.choice(np.flatnonzero(x > 40)))
            still = np.where(
                (np.arange(x.size) >= hot) & (t <= t[hot] + 3600 * (1 if way == "0.1 °C" else 3)),
                x[hot],
                x,
            )
            stuck += bool(implausible([trace("c", t, still)], None, size))
    assert sound == 240 and false == 0, f"{false} of {sound} sound logs named"
    assert jumps >= 0.97 * spoilt and stuck >= 0.8 * spoilt, (
        f"{jumps} jumps and {stuck} stuck probes of {spoilt} found"
    )


def test_the_limit_of_a_change_grows_with_one_over_the_square_of_the_diameter():
    assert fastest_per_s(13) / fastest_per_s(26) == pytest.approx(
        4
    ) and fastest_per_s() == fastest_per_s(13)
    with pytest.raises(OutOfRange, match="stuffed diameter"):
        fastest_per_s(0)


def test_the_limit_holds_for_the_kit_s_own_links_at_any_heat_transfer():
    """A bath of 100 °C round links of 13 to 120 mm that conduct best: the computed core never outruns it."""
    from kit.tables import number

    for size in (13, 26, 60, 120):
        link = Link(
            size,
            number("cook_conductivity").high,
            number("cook_density").low,
            number("cook_heat_capacity").low,
            start_C=5,
        )
        done = cook(link, [hot_water(0.02 * size**2, 95, h_W_per_m2K=20_000)], step_s=2)
        assert (
            implausible([trace("c", done.minutes * 60, done.core_C)], None, size) == ()
            or done.core_C.max() > 90
        )
        share = np.log(95.2 - done.core_C)
        assert (-np.diff(share) / np.diff(done.minutes * 60)).max() < fastest_per_s(size)

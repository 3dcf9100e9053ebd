"""Traces, stays, integrals and findings: by brute force, by property, by refusal."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from met import meets_table
from pencil import assert_pencil
from scipy.integrate import quad

from kit.errors import Faulty, KitError, OutOfRange, UnknownName
from kit.lethality import trace
from kit.lethality.findings import (
    cooling_finding,
    cooling_findings,
    hold_finding,
    p70_findings,
    rows_held,
    single_point_finding,
)
from kit.lethality.model import lethal_minutes, p70
from kit.lethality.operating import come_up_findings, lethal_s
from kit.lethality.published import (
    MEAT,
    PRODUCTS,
    _longest,
    cooling_windows,
    hold_table,
    hold_tables,
    superseded,
    tables_for,
    windows_for,
)
from kit.lethality.trace import cooling, stretches

BEFORE = date(2022, 12, 13)
"""the last day of the older editions"""
COOK_S = np.arange(0, 10_501, 30.0)
COOK_C = np.interp(COOK_S, [0, 1200, 3600, 4100, 6300, 8000, 10_500], [12, 33, 49, 70, 76, 15, 3])
WIGGLE = st.lists(st.floats(40, 85), min_size=3, max_size=25)


def steady(temperature_C, minutes, step_s=10.0, name="core"):
    """10 min cold, a jump within one second, a hold, a jump back."""
    t = np.arange(0, 60 * minutes + 0.1, step_s)
    return trace(name, np.r_[-1, t, t[-1] + 1] + 1, np.r_[10, np.full(len(t), temperature_C), 10])


@given(WIGGLE, st.floats(45, 80))
def test_stays_by_brute_force(temps, limit):
    """Straight lines sampled 2,000 times a step: the longest stay and the sum of stays agree within two samples a crossing."""
    t = np.arange(len(temps)) * 60.0
    fine = np.linspace(0, t[-1], 2000 * (len(t) - 1) + 1)
    above = np.interp(fine, t, temps) >= limit
    edges = np.flatnonzero(np.diff(np.r_[False, above, False].astype(int)))
    lengths = (edges[1::2] - edges[::2] - 1) * (fine[1] - fine[0])
    _, stays_s = stretches(t, temps, limit)
    assert stays_s.sum() == pytest.approx(lengths.sum(), abs=0.07 * (len(lengths) + 1))
    assert stays_s.max(initial=0) == pytest.approx(lengths.max(initial=0), abs=0.07)


@given(
    st.lists(st.floats(40, 85), min_size=2, max_size=6),
    st.sampled_from([54.0, 65.0, 72.0]),
    st.floats(3, 12),
)
def test_the_integral_is_exact_for_straight_lines(temps, floor, z):
    """Against adaptive quadrature with its break points given, for any floor and slope."""
    t = np.arange(len(temps)) * 60.0
    total = 0.0
    for i in range(len(temps) - 1):
        a, b = temps[i], temps[i + 1]

        def rate(x, a=a, b=b):
            now = a + (b - a) * x
            return 0.0 if now < floor else 10 ** ((now - 70) / z)

        breaks = [(floor - a) / (b - a)] if a != b and 0 < (floor - a) / (b - a) < 1 else []
        ends = [0.0, *sorted(breaks), 1.0]
        total += sum(
            quad(rate, lo + 1e-15, hi - 1e-15)[0]
            for lo, hi in zip(ends, ends[1:])
            if hi - lo > 1e-14
        )
    assert lethal_minutes(t, temps, 70, z, floor).sum() == pytest.approx(total, rel=1e-7, abs=1e-9)


@given(st.floats(0.1, 15))
def test_hotter_is_never_less(kelvin):
    cold, hot = trace("c", COOK_S, COOK_C - kelvin), trace("h", COOK_S, COOK_C)
    assert p70(hot).minutes >= p70(cold).minutes
    for table in (hold_table("meat 6.5 log"), hold_table("meat 7 log")):
        assert all(
            h.met or not c.met
            for h, c in zip(rows_held(hot, table, MEAT), rows_held(cold, table, MEAT))
        )


def test_the_warm_part_of_a_trace_says_the_same_as_the_whole():
    rng = np.random.default_rng(5)
    for _ in range(40):
        whole = trace(
            "c",
            np.cumsum(rng.uniform(5, 60, 120)),
            40 + 15 * rng.standard_normal(120).cumsum() / 6,
            50,
        )
        part = whole.above(54.0)
        for level in (54.0, 60.0, 66.0):
            (_, a), (_, b) = (
                stretches(h.time_s, h.temperature_C, level, h.gap) for h in (whole, part)
            )
            assert a.max(initial=-1) == pytest.approx(b.max(initial=-1))
            assert a.sum() == pytest.approx(b.sum())
        assert p70(whole).minutes == pytest.approx(p70(part).minutes)


def test_two_visits_are_not_one_hold():
    """Two stays of 3 min at 145.5 °F do not make the 4 min that the row asks; their sum is shown, the longest counts."""
    hot = (145.5 - 32) / 1.8
    t = np.arange(0, 901, 10.0)
    held = trace("core", t, np.where((t >= 60) & (t <= 240) | (t >= 400) & (t <= 580), hot, 50.0))
    row = {r.row.temperature_F: r for r in rows_held(held, hold_table("meat 6.5 log"), MEAT)}[145.0]
    assert (
        not row.met
        and row.longest_s < 200
        and row.total_s > 360
        and not meets_table(t, held.temperature_C, hold_table("meat 6.5 log"), MEAT)
    )
    finding = hold_finding([held], hold_table("meat 6.5 log"), MEAT)
    assert (
        finding.met is False
        and any("add up to" in note for note in finding.notes)
        and any("short by" in note for note in finding.notes)
    )


def test_a_gap_breaks_a_hold_and_counts_nothing():
    t = np.r_[np.arange(0, 200, 10.0), np.arange(500, 700, 10.0)]
    held = trace("core", t, np.full(len(t), 63.0))

    def longest_s(held, limit_C):
        return stretches(held.time_s, held.temperature_C, limit_C, held.gap)[1].max()

    assert (
        held.gap.sum() == 1
        and longest_s(held, 62.0) == pytest.approx(190)
        and "nothing is known" in held.notes[0]
    )
    assert p70(held).minutes == pytest.approx((190 + 190) / 60 * 10**-0.7)
    watched = trace("core", t, np.full(len(t), 63.0), longest_step_s=600)
    assert longest_s(watched, 62.0) == pytest.approx(690) and not watched.notes


@pytest.mark.parametrize(
    "call, says",
    [
        (lambda: trace("c", [0, 1], [50]), "2 times against 1"),
        (lambda: trace("c", [0], [50]), "needs at least two"),
        (lambda: trace("c", [], []), "holds 0 readings"),
        (lambda: trace("c", [0, 1], [50, "warm"]), "no number.*warm"),
        (lambda: trace("c", [0, 1, 2], [np.nan, np.nan, 50]), "holds 1 readings"),
        (lambda: hold_table("meat 6 log"), "nearest: meat"),
        (lambda: hold_table("meat 5 log", BEFORE), "nearest: meat"),
        (lambda: windows_for(True, -1), "nitrite_ppm is -1"),
        (lambda: tables_for("fish"), "kind of product 'fish'"),
        (lambda: tables_for("meat", 130), "fat_pct is 130"),
        (lambda: windows_for("yes"), "say True"),
    ],
)
def test_bad_input_is_told(call, says):
    with pytest.raises(KitError, match=says):
        call()


def test_many_faults_are_counted_not_listed():
    with pytest.raises(Faulty, match="500 of 500 readings are above 102"):
        trace("c", np.arange(500.0), np.full(500, 999.0))


@pytest.mark.parametrize("product", [p for p in PRODUCTS if p != MEAT])
@pytest.mark.parametrize("key", ["meat 6.5 log", "meat 7 log"])
def test_poultry_never_by_a_meat_table(key, product):
    held = steady(75, 10)
    for call in (
        lambda: rows_held(held, hold_table(key), product),
        lambda: hold_finding([held], hold_table(key), product),
        lambda: meets_table(held.time_s, held.temperature_C, hold_table(key), product),
    ):
        with pytest.raises(OutOfRange, match="must not be used for poultry"):
            call()
    assert all(table.product == product for table in tables_for(product)[0])


def test_every_other_mismatch_is_refused_too():
    held = steady(75, 10)
    with pytest.raises(OutOfRange, match="not for meat"):
        rows_held(held, hold_table("turkey 1 % fat"), MEAT)
    with pytest.raises(UnknownName, match="kind of product"):
        rows_held(held, hold_table("meat 7 log"), "beef")


def test_fat_chooses_the_column():
    keys = {
        (product, fat): tables_for(product, fat)[0][0].key
        for product, fat in (
            ("chicken", 0.8),
            ("chicken", 10),
            ("turkey", 4.3),
            ("turkey", 20),
            ("other poultry", 25),
        )
    }
    assert list(keys.values()) == [
        "chicken 1 % fat",
        "chicken 10 % fat",
        "turkey 4 to 5 % fat",
        "turkey 12 % fat",
        "chicken and turkey 12 % fat",
    ]
    assert (
        "20 % fat" in tables_for("turkey", 20)[1][0]
        and "fat is not given" in tables_for("other poultry")[1][0]
        and tables_for("chicken", 10)[1] == ()
    )


def test_the_older_editions_keep_their_rows():
    """Of poultry they hold only what a copy shows; a table of 1 % never speaks for more, and a fuller column goes before a leaner one."""
    keys = {
        (product, fat): [(t.key, len(t.rows)) for t in tables_for(product, fat, BEFORE)[0]]
        for product in PRODUCTS
        for fat in (1, 5, None)
    }
    assert (
        keys["chicken", 1] == [("chicken 1 % fat", 5)]
        and keys["chicken", 5] == [("chicken 1 to 12 % fat", 9)]
        and keys["chicken", None] == [("chicken 12 % fat", 9)]
    )
    assert (
        keys["turkey", 1] == [("turkey 1 % fat", 5)]
        and keys["turkey", 5] == [] == keys["other poultry", None]
    )
    assert (
        [key for key, _ in keys["meat", None]]
        == ["meat 6.5 log", "meat 7 log"]
        == [t.key for t in tables_for(MEAT)[0]][:2]
    )
    assert "no time-temperature table" in tables_for("turkey", 5, BEFORE)[1][0]


def test_a_temperature_that_one_bird_lacks_is_left_out_of_both():
    chicken, turkey = hold_table("chicken 5 % fat"), hold_table("turkey 5 % fat")
    both = _longest(((chicken,), (replace(turkey, rows=turkey.rows[3:7]),)), "other poultry")
    assert [row.temperature_F for row in both.rows] == [139, 140, 141, 142]


def test_an_edition_ends_when_the_next_begins():
    """No option and no table is in force twice on any day around the change, and none of a date that is still to come."""
    for on in (date(2000, 1, 1), BEFORE, date(2022, 12, 14), None):
        windows = [(w.option, w.part) for w in cooling_windows(on)]
        assert len(windows) == len(set(windows))
        assert all(
            t.date_from is None or t.date_from <= (on or date.today())
            for t in hold_tables(on).values()
        )
    assert [w.option for w in superseded()] == ["ordinary in one window"] and superseded(
        BEFORE
    ) == ()
    assert not any(w.option == "ordinary in one window" for w in cooling_windows())


def test_the_5_log_table_is_not_judged_unless_it_is_missed():
    table = hold_table("meat 5 log")
    met, missed = (
        hold_finding([steady(66, 10)], table, MEAT),
        hold_finding([steady(58, 2)], table, MEAT),
    )
    assert (
        met.kind == "conditional hold"
        and met.met is None
        and any("reached; only for shelf-stable product" in note for note in met.notes)
    )
    assert (
        missed.met is False
        and hold_finding([steady(66, 10)], hold_table("meat 7 log"), MEAT).met is True
    )


def ramp(*points, step_min=1.0):
    """A core along straight lines between (minute, °F)."""
    minutes, f = zip(*points)
    t = np.arange(0, minutes[-1] + 1e-9, step_min)
    return trace("core", 60 * t, (np.interp(t, minutes, f) - 32) / 1.8)


def come_up(*points, **more):
    return come_up_findings([ramp(*points)], [hold_table("meat 6.5 log")], **more)


def test_come_up_is_all_time_between_50_and_130_before_the_table_is_met():
    """40 °F at 0 min, 140 °F at 200 min: 50 to 130 °F takes 160 min of them; cooling after the cook does not count."""
    (found,) = come_up((0, 40), (200, 140), (230, 140), (500, 40))
    assert (
        found.met
        and found.found == pytest.approx(160, abs=0.01)
        and found.asked == 360
        and found.kind == "come-up"
        and not found.notes
    )
    (slow,) = come_up((0, 40), (455, 140), (500, 140))
    assert slow.met is False and slow.found == pytest.approx(364, abs=0.01)
    (twice,) = come_up(
        (0, 40), (100, 140), (101, 140), (201, 40), (301, 140), (331, 140), (332, 139)
    )
    assert twice.met and twice.found == pytest.approx(3 * 80, abs=0.5), (
        "a first cook that missed its row does not start the count again"
    )
    assert_pencil(slow.working)
    assert (
        come_up((0, 40), (200, 140), (230, 140), on=BEFORE)
        == ()
        == come_up_findings([ramp((0, 40), (9, 50))], [])
    )


def test_come_up_never_counts_less_than_may_have_been():
    (never,) = come_up((0, 40), (100, 135), (101, 135), (301, 40))
    assert (
        never.found == pytest.approx(80 / 0.95 + 80 / 95 * 200, abs=0.5)
        and "not met on every channel" in never.notes[0]
    )
    (late,) = come_up((0, 90), (100, 140), (130, 140))
    assert late.met is None and "begins at 32.2 °C" in late.notes[0]
    (warm,) = come_up((0, 55), (100, 140), (130, 140))
    assert warm.met is True and "begins at 12.8 °C" in warm.notes[0]
    t = 60 * np.r_[0:101, 160:231]
    core = (np.interp(t / 60, [0, 90, 100, 160, 230], [40, 130, 131, 131.5, 170]) - 32) / 1.8
    unseen, seen = (
        come_up_findings([trace("core", t, core, longest)], [hold_table("meat 6.5 log")])[0].found
        for longest in (None, 4000)
    )
    assert seen == pytest.approx(80, abs=0.1) and unseen == pytest.approx(seen + 60, abs=0.1), (
        "an hour that nobody watched above 130 °F counts as time below it"
    )


def test_the_first_lethal_moment():
    held = ramp((0, 40), (100, 140.001), (130, 140.001), (131, 40), step_min=0.25)
    assert lethal_s(held, [hold_table("meat 6.5 log")]) == pytest.approx(60 * 112, abs=1)
    assert np.isinf(lethal_s(ramp((0, 40), (100, 129)), [hold_table("meat 6.5 log")]))


def test_nitrite_opens_the_slow_windows():
    held = [ramp((0, 160), (1, 160), (240, 79), (700, 44), (710, 44))]

    def slow(ppm):
        return [
            f.met for f in cooling_findings(held, True, ppm) if "slow" in f.what and "45" in f.what
        ]

    assert slow(100) == [True, True] and slow(99.9) == [] and slow(None) == [None, None]
    found = [f for f in cooling_findings(held, True) if "slow" in f.what]
    assert any("100 ppm" in note for note in found[0].notes)
    late = [ramp((0, 160), (1, 160), (540, 79), (1300, 44), (1310, 44))]
    assert [f.met for f in cooling_findings(late, True) if "ending at 45" in f.what] == [
        False,
        False,
    ], "a window that is exceeded is so whatever the dose"


def test_nothing_counts_below_130_fahrenheit():
    held = steady(54.3, 600)
    assert p70(held).minutes == 0
    assert hold_finding([held], hold_table("meat 7 log"), MEAT).met is False


def test_the_worst_channel_speaks():
    good, bad = steady(72, 60, name="good"), steady(58, 5, name="bad")
    for order in ((good, bad), (bad, good)):
        assert (
            hold_finding(order, hold_table("meat 7 log"), MEAT).channel == "bad"
            and not hold_finding(order, hold_table("meat 7 log"), MEAT).met
        )
        assert (
            p70_findings(order)[0].channel == "bad"
            and single_point_finding(order, MEAT, True).channel == "bad"
        )


def test_both_halves_of_the_p70_target_are_needed():
    long_and_cool, short_and_hot = (
        p70_findings([steady(68, 120)])[0],
        p70_findings([steady(72, 1)])[0],
    )
    assert (
        long_and_cool.met is False
        and long_and_cool.unit == "°C"
        and long_and_cool.margin == pytest.approx(-2)
    )
    assert short_and_hot.met is False and short_and_hot.unit == "min" and short_and_hot.margin < 0
    assert p70_findings([steady(72, 60)])[0].met is True
    assert_pencil(long_and_cool.working)


@pytest.mark.parametrize(
    "product, cured, smoked, fahrenheit",
    [
        ("meat", True, True, 158),
        ("chicken", True, True, 155),
        ("chicken", True, False, 160),
        ("turkey", False, True, 160),
        ("other poultry", False, False, 160),
    ],
)
def test_single_temperatures(product, cured, smoked, fahrenheit):
    """The lower one for poultry is for product that is both cured and smoked."""
    at = (fahrenheit - 32) / 1.8
    assert (
        single_point_finding([steady(at, 1)], product, cured, smoked).met
        and not single_point_finding([steady(at - 0.01, 1)], product, cured, smoked).met
    )


def window(option, part):
    return next(w for w in cooling_windows() if (w.option, w.part) == (option, part))


def test_cooling_is_measured_from_the_first_fall_to_the_last_leaving():
    """A rewarming inside the window makes it longer, not two short ones."""
    t = np.arange(0, 400 * 60, 60.0)
    straight = np.interp(t, [0, 3600, 7200, 10_800, 24_000], [70, 48.9, 26, 10, 2])
    rewarmed = np.interp(t, [0, 3600, 7200, 9000, 10_800, 24_000], [70, 48.9, 26, 40, 10, 2])
    one, two = (
        cooling_finding([trace("c", t, temps)], window("ordinary", "first")).found
        for temps in (straight, rewarmed)
    )
    assert two > one + 25


def test_unfinished_and_unseen_windows_are_not_shown():
    rapid = window("rapid", "first")
    t = np.arange(0, 61) * 60.0
    unfinished = cooling_finding([trace("c", t, np.linspace(70, 40, 61))], rapid)
    assert (
        unfinished.met is None
        and unfinished.verdict == "not shown"
        and "log until it is below" in unfinished.notes[-1]
        and unfinished.working == ()
    )
    too_long = cooling_finding([trace("c", t * 10, np.linspace(70, 40, 61))], rapid)
    assert too_long.met is False and too_long.margin < 0
    unseen = cooling_finding([trace("c", t, np.linspace(50, 5, 61))], rapid)
    assert unseen.met is None and unseen.found is None and "never falls through" in unseen.notes[-1]
    slow_and_unseen = cooling_finding(
        [trace("a", t, np.linspace(70, 5, 61)), trace("b", t, np.linspace(50, 5, 61))], rapid
    )
    assert slow_and_unseen.channel == "b" and slow_and_unseen.met is None, (
        "one channel that shows nothing leaves the window open"
    )


def test_a_cold_store_log_shows_no_cooling():
    """Never above 7 °C: there was nothing to cool, and 13 hours of it are no fault."""
    found = cooling_finding(
        [trace("c", np.arange(0, 13 * 60) * 60.0, np.full(13 * 60, 4.0))],
        window("scalded sausage, European", "whole"),
    )
    assert found.met is None and "never falls through 7.0 °C" in found.notes[-1]


def test_both_ends_of_the_cured_option_are_shown():
    found = {
        (w.end_F, w.status)
        for w in windows_for(True)
        if w.option.startswith("cured") and w.part == "second"
    }
    assert found == {(40.0, "read"), (45.0, "memory")} and not any(
        w.option.startswith("cured") for w in windows_for(False)
    )


def test_a_gap_inside_a_window_is_told():
    t = np.r_[np.arange(0, 1800, 30.0), np.arange(4000, 6000, 30.0)]
    found = cooling_finding([trace("c", t, np.linspace(70, 10, len(t)))], window("rapid", "first"))
    assert any("gap inside this window" in note for note in found.notes)


def test_a_hold_met_only_where_the_table_was_not_borne_out_says_so():
    finding = hold_finding([steady(54.5, 130)], hold_table("meat 7 log"), MEAT)
    assert finding.met and any(
        "not find the table borne out at 54.4" in note for note in finding.notes
    )
    assert not any(
        "borne out" in note
        for note in hold_finding([steady(70, 5)], hold_table("meat 7 log"), MEAT).notes
    )


def test_every_finding_can_be_redone_with_a_pencil():
    held = [trace("core", COOK_S, COOK_C)]
    for finding in (
        *(hold_finding(held, t, t.product) for t in hold_tables().values()),
        *p70_findings(held),
        single_point_finding(held, MEAT, True),
        *(cooling_finding(held, w) for w in cooling_windows()),
    ):
        assert_pencil(finding.working)


def test_cooling_where_only_the_peak_reading_is_above_the_window():
    """Two readings half an hour apart, 72 and 20 °C: the line between them crosses 54.4 and 26.7 °C 27.7/52 of that apart, wherever the record begins."""
    lone = np.array([72.0, 20.0, 10.0])
    for t, temp in (
        (np.array([0.0, 1800, 3600]), lone),
        (np.array([-1800.0, 0, 1800, 3600]), np.append(20.0, lone)),
    ):
        assert cooling(t, temp, 54.4, 26.7)[1] == pytest.approx(1800 * 27.7 / 52)
        assert cooling(t, temp, None, 26.7)[1] == pytest.approx(1800 * (72 - 26.7) / 52)
    window = next(
        w for w in cooling_windows() if w.start_F == 130 and w.end_F == 80 and w.limit_min == 90
    )
    found = cooling_finding((trace("core", np.array([0.0, 1800, 3600]), lone, 3600),), window)
    assert found.met and found.found == pytest.approx(30 * (window.start_C - window.end_C) / 52)

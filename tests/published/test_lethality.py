"""Temperature records against the published tables themselves, and the targets and D values published beside them."""

import csv
import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from coolprop import PropsSI
from met import meets_table
from scipy import special

from kit.lethality import trace
from kit.lethality.findings import rows_held
from kit.lethality.model import lethal_minutes, p70
from kit.lethality.plausible import fastest_per_s
from kit.lethality.published import (
    cooling_windows,
    hold_table,
    hold_tables,
    operating_rules,
    tables_for,
)
from kit.lethality.trace import cooling
from kit.tables import value

# FSIS Appendix A (1999): °F, 6.5-log and 7-log holding time. Typed here apart from the kit's own data. The 6.5-log column also stands in the FDA Food Code
# 2013, 3-401.11(B), the 7-log column in a state code; all copies agree. 158 to 160 °F are printed with no holding time.
MINUTES = """130 112 121,131 89 97,132 71 77,133 56 62,134 45 47,135 36 37,136 28 32,137 23 24,138 18 19,139 15 15,\
140 12 12,141 9 10,142 8 8,143 6 6,144 5 5,145 4 4"""
SECONDS = """146 169 182,147 134 144,148 107 115,149 85 91,150 67 72,151 54 58,152 43 46,\
153 34 37,154 27 29,155 22 23,156 17 19,157 14 15,158 0 0,159 0 0,160 0 0"""
APPENDIX_A = [
    (float(f), unit * float(a), unit * float(b))
    for text, unit in ((MINUTES, 60), (SECONDS, 1))
    for f, a, b in (row.split() for row in text.split(","))
]
BEFORE, SINCE = date(2022, 12, 13), date(2022, 12, 14)
"""the last day of the older editions, the first of that of December 2021"""
# Older copies without an edition. The copy of the 12 % rows names no species: up to 141 °F its figures are those of chicken, from 142 °F those of turkey.
POULTRY = {
    "chicken 12 % fat": ("chicken", "136 81.4,137 65.5,138 52.9,139 43,140 35,141 28.7"),
    "turkey 12 % fat": ("turkey", "142 23.7,143 19.8,144 16.6"),
    "chicken 1 % fat": ("chicken", "140 25.2,145 8.4,150 2.7,155 0.736667,160 0.228333"),
    "turkey 1 % fat": ("turkey", "140 28.1,145 10.5,150 3.8,155 1.2,160 0.426667"),
}
# FSIS-GD-2021-14, Tables 2, 3, 4 and 6 (pages 35, 37, 38, 59): every cell, read by eye from the pictures of the document.
with (Path(__file__).parent / "data" / "cooking_guideline_2021.csv").open(
    encoding="utf-8", newline=""
) as handle:
    CELLS = {
        (
            row["table"] + (f" {row['fat_pct']} % fat" if row["fat_pct"] else ""),
            float(row["temperature_F"]),
        ): float(row["time"]) * {"min": 60, "s": 1}[row["unit"]]
        for row in csv.DictReader(handle)
    }


def celsius(f):
    return (f - 32) / 1.8


def hold(temperature_C, seconds):
    """A core that jumps to one temperature, stays, and falls."""
    seconds = max(seconds, 0.001)  # a row without a time is met by being reached
    return np.array([0, 0.001, 0.001 + seconds, 0.002 + seconds]), np.array(
        [20.0, temperature_C, temperature_C, 20.0]
    )


def meets(key, product, f, seconds):
    return meets_table(*hold(celsius(f) + 1e-9, seconds), hold_table(key), product)


@pytest.mark.parametrize("f, log65, log7", APPENDIX_A, ids=lambda x: f"{x:g}")
def test_every_row_of_appendix_a_by_its_own_rule(f, log65, log7):
    """Held for the printed time: met. A hundredth less, or a tenth of a degree Fahrenheit colder: not met. (A row without a time is met by being reached.)"""
    for key, seconds in (("meat 6.5 log", log65), ("meat 7 log", log7)):
        assert meets(key, "meat", f, seconds)
        if seconds:
            assert not meets(key, "meat", f, 0.99 * seconds) and not meets(
                key, "meat", f - 0.1, seconds
            )
        row = {
            r.row.temperature_F: r
            for r in rows_held(
                trace("core", *hold(celsius(f) + 1e-9, max(seconds, 1)), 1e6),
                hold_table(key),
                "meat",
            )
        }[f]
        assert row.row.hold_s == seconds and row.met


def test_every_cell_of_the_guideline_of_2021():
    """All 813 cells of its four tables, no more and no fewer, on its first day and today."""
    for on in (SINCE, None):
        held = {
            (key, row.temperature_F): row.hold_s
            for key, table in hold_tables(on).items()
            for row in table.rows
        }
        assert len(CELLS) == 813 and held == pytest.approx(CELLS, rel=1e-12)


@pytest.mark.parametrize("key", ("meat 6.5 log", "meat 7 log"))
def test_the_meat_rows_are_those_of_1999(key):
    old, new = hold_table(key, BEFORE), hold_table(key, SINCE)
    assert (
        old.rows == new.rows
        and len(old.rows) == 31
        and (old.date_to, new.date_from) == (BEFORE, SINCE)
        and "1999" in old.edition
    )
    assert [(row.temperature_F, row.hold_s) for row in old.rows] == [
        (f, (a, b)[key == "meat 7 log"]) for f, a, b in APPENDIX_A
    ]


@pytest.mark.parametrize("key", POULTRY)
def test_every_poultry_row_of_the_older_copies(key):
    """FSIS tables for ready-to-eat poultry as transcribed, rows read only; times published to 0.1 min or 0.1 s. The 2021 edition has the same."""
    product, text = POULTRY[key]
    for f, minutes in (tuple(map(float, row.split())) for row in text.split(",")):
        assert meets(key, product, f, 60 * minutes + 0.01) and not meets(
            key, product, f, 59.4 * minutes
        )
    if key != "turkey 12 % fat":
        assert {row.temperature_F: row.hold_s for row in hold_table(key, BEFORE).rows}.items() <= {
            f: s for (table, f), s in CELLS.items() if table == key
        }.items()


@pytest.mark.parametrize(
    "key, f, seconds",
    [
        ("meat 6.5 log", 140, 720),
        ("meat 7 log", 146, 182),
        ("meat 5 log", 145, 180),
        ("meat 5 log", 150, 52),
        ("meat 5 log", 158, 0),
        ("chicken 12 % fat", 142, 23.5 * 60),
        ("chicken 12 % fat", 143, 19.3 * 60),
        ("chicken 12 % fat", 144, 15.9 * 60),
        ("turkey 12 % fat", 144, 16.6 * 60),
        ("chicken 5 % fat", 150, 2.8 * 60),
        ("turkey 1 % fat", 165, 0),
    ],
)
def test_single_cells_by_hand(key, f, seconds):
    """FSIS-GD-2021-14, typed apart. The three chicken rows of 12 % were those of turkey."""
    assert {row.temperature_F: row.hold_s for row in hold_table(key).rows}[f] == pytest.approx(
        seconds
    )


@pytest.mark.parametrize(
    "product, birds",
    [("chicken", ("chicken",)), ("turkey", ("turkey",)), ("other poultry", ("chicken", "turkey"))],
)
def test_no_choice_of_a_poultry_table_is_shorter_than_published(product, birds):
    """FSIS-GD-2021-14, p. 36 and 39: the longer time of chicken and turkey at that temperature and fat; more than 12 % fat, or unknown: the column of 12 %.
    Between two columns of fat nothing is published: neither may be undercut (the columns do not always rise with the fat)."""
    for fat in [None, *np.arange(0, 40, 0.1).round(1).tolist()]:
        (table,), said = tables_for(product, fat)
        over = fat is None or fat > 12
        columns = {12} if over else {max(math.floor(fat), 1), max(math.ceil(fat), 1)}
        rows = {row.temperature_F: row.hold_s for row in table.rows}
        assert (
            sorted(rows) == list(range(136, 166))
            and table.product == product
            and table.log_reduction == 7
        )
        for f, seconds in rows.items():
            assert seconds == pytest.approx(
                max(CELLS[f"{bird} {column} % fat", f] for bird in birds for column in columns)
            )
        assert bool(said) == over and (not over or "12 %" in said[0])


def test_between_two_rows_the_colder_one_counts():
    """Nothing is interpolated: half a degree below a row its time does not do, the row below asks for its own."""
    for key, product in (
        ("meat 7 log", "meat"),
        ("chicken 5 % fat", "chicken"),
        ("turkey 12 % fat", "turkey"),
    ):
        rows = [row for row in hold_table(key).rows if row.hold_s]
        for below, row in zip(rows, rows[1:]):
            if below.hold_s > row.hold_s:
                assert not meets(
                    key, product, row.temperature_F - 0.5, 0.999 * below.hold_s
                ) and meets(key, product, row.temperature_F - 0.5, below.hold_s)


def test_the_four_humidity_options():
    """FSIS-GD-2021-14, Table 1, p. 26: half the cook, a quarter of it, or all of it at 90 %; an hour at least in three of them."""
    half, sealed, quarter, whole = (rule.title for rule in operating_rules("humidity"))
    assert all("half of the cook, at least 1 h" in title for title in (half, sealed))
    assert "at least 90 % for a quarter of the cook, at least 1 h" in quarter
    assert whole == "relative humidity at least 90 % for the whole cook"


def test_the_two_columns_differ_by_the_logs_where_seconds_are_printed():
    """7 / 6.5 within the rounding of both, in the rows held; the minute rows are coarser, and six print one time in both columns, as read."""
    log65, log7 = (
        {round(row.temperature_F): row.hold_s for row in hold_table(key).rows}
        for key in ("meat 6.5 log", "meat 7 log")
    )
    assert all(abs(log7[f] - log65[f] * 7 / 6.5) <= 0.5 * 7 / 6.5 + 0.5 for f in range(146, 158))
    assert [f for f in log65 if log65[f] == log7[f] and log65[f]] == [139, 140, 142, 143, 144, 145]


@pytest.mark.parametrize(
    "temperature, minutes, p", [(72, 30, 47.55), (68, 10, 6.31), (70, 30, 30.0), (80, 3, 30.0)]
)
def test_p70_of_a_hold(temperature, minutes, p):
    """Exact: minutes × 10^((T − 70) / 10)."""
    held = trace("core", [0, 60.0 * minutes], [temperature, temperature])
    assert p70(held).minutes == pytest.approx(p, abs=0.006)


def test_p70_of_a_straight_rise_is_exact():
    """From 60 to 80 °C in 20 min: ∫ 10^((T − 70)/10) dt = (20/20) × (10/ln 10) × (10 − 0.1) = 42.995 min, whatever the step of the log."""
    exact = 10 / math.log(10) * (10 - 0.1)
    for n in (2, 5, 400):
        held = trace("core", np.linspace(0, 1200, n), np.linspace(60, 80, n))
        assert p70(held).minutes == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize("temperature, minutes", [(65, 94.9), (68, 47.5), (72, 18.9), (74, 11.9)])
def test_holds_that_give_p70_of_30(temperature, minutes):
    held = trace("core", [0, 60 * minutes], [temperature, temperature])
    assert p70(held).minutes == pytest.approx(30, abs=0.06 * 30 / minutes)


def test_p70_falls_short_of_nothing_it_should_count_when_the_floor_is_heeded():
    """Nothing counts below 130 °F: a long rest at 54 °C adds 0, though the plain integral would say 1.5 min an hour."""
    t, rest = np.array([0, 3600.0]), np.array([54.0, 54.0])
    assert p70(trace("core", t, rest)).minutes == 0 and lethal_minutes(
        t, rest, 70, 10, floor_C=-273
    ).sum() == pytest.approx(60 * 10**-1.6)


def test_frankfurters_are_slower_than_the_table():
    """D of Salmonella in frankfurters at 60 °C, 5.07 min (Murphy et al. 2004, Table 8.1 of the Handbook of Meat Processing), against the row of 140 °F of
    the 6.5-log table, 12 min (FSIS Appendix A 1999): 1.85 min for one log. The caution beside the tables says several times."""
    asked = next(row.hold_s for row in hold_table("meat 6.5 log").rows if row.temperature_F == 140)
    assert value("lethality_frank_d_min") == 5.07
    assert value("lethality_frank_d_min") / (asked / 60 / 6.5) == pytest.approx(2.75, abs=0.01)


WINDOWS = {
    ("ordinary", "first"): (120, 80, 60),
    ("ordinary", "second"): (80, 55, 300),
    ("ordinary in one window", "whole"): (120, 55, 360),
    ("rapid", "first"): (130, 80, 90),
    ("rapid", "second"): (80, 40, 300),
    ("cured, to 40 °F", "first"): (130, 80, 300),
    ("cured, to 40 °F", "second"): (80, 40, 600),
    ("cured, to 45 °F", "first"): (130, 80, 300),
    ("cured, to 45 °F", "second"): (80, 45, 600),
}


def test_cooling_windows_as_published():
    """Ordinary, rapid and cured windows as a university's pages publish them (°F, minutes), the 45 °F end of the cured option as a Canadian authority
    quotes the text of 1999. The text of 2021 was not read: its figures are those of 1999 but for the single window, and say that they are from memory."""
    old, new = (
        {
            (w.option, w.part): (w.start_F, w.end_F, w.limit_min)
            for w in cooling_windows(on)
            if w.start_F is not None
        }
        for on in (BEFORE, SINCE)
    )
    assert old == WINDOWS and new == {
        key: window for key, window in WINDOWS.items() if key[0] != "ordinary in one window"
    }
    status = {(w.option, w.part): w.status for w in cooling_windows(BEFORE)}
    assert (
        status["cured, to 45 °F", "second"] == "quoted"
        and status["cured, to 40 °F", "second"] == "read"
    )
    assert all(
        w.status == "memory"
        for w in cooling_windows()
        if "2021" in w.edition and (w.option, w.part) != ("rapid", "first")
    )


def test_the_slow_windows_ask_for_100_ppm():
    """Text of 1999 as the Canadian authority quotes it: at least 100 ppm ingoing nitrite; 130 to 80 °F in 5 h, 80 to 45 °F in 10 h."""
    for on in (BEFORE, SINCE):
        assert {w.nitrite_min_ppm for w in cooling_windows(on) if w.option.startswith("cured")} == {
            100
        }
        assert {
            w.nitrite_min_ppm for w in cooling_windows(on) if not w.option.startswith("cured")
        } == {None}


def test_chill_within_twelve_hours_to_7_degrees():
    """Handbook of Meat Processing, Table 31.6: below 7 °C within 12 h, counted from the peak."""
    last = [w for w in cooling_windows() if w.start_F is None]
    assert len(last) == 1 and last[0].end_C == pytest.approx(7.0) and last[0].limit_min == 720


@pytest.mark.parametrize("start_F, end_F, minutes", list(WINDOWS.values()))
def test_newtonian_cooling_takes_what_the_logarithm_says(start_F, end_F, minutes):
    """Cooling toward 0 °C with a time constant: t = τ ln(T1 / T2); 1 s readings, 1 s tolerance (arithmetic)."""
    tau = 60 * minutes / math.log(celsius(start_F) / celsius(end_F))
    t = np.arange(0, 4 * tau, 1.0)
    took = cooling(t, 75 * np.exp(-t / tau), celsius(start_F), celsius(end_F))[1]
    assert took == pytest.approx(60 * minutes, abs=1.0)


def test_the_limit_of_a_change_is_that_of_the_exact_solution():
    """Long cylinder, surface at the medium's temperature at once (Carslaw and Jaeger; Heisler's chart for 1/Bi = 0): theta falls at z1² a / R² at last and
    never faster. z1 = 2.4048 (first zero of J0, Abramowitz and Stegun Table 9.5, from memory), C1 = 1.602 (textbook one-term table, from memory). Series and zeros by SciPy."""
    zeros = special.jn_zeros(0, 60)
    fourier = np.linspace(0.01, 1.2, 400)
    theta = (2 / (zeros * special.j1(zeros)) * np.exp(-np.multiply.outer(fourier, zeros**2))).sum(
        axis=1
    )
    rate = -np.diff(np.log(theta)) / np.diff(fourier)
    assert (
        rate.max() <= 2.4048**2 + 1e-3
        and rate[-1] == pytest.approx(2.4048**2, rel=1e-4)
        and theta[-1] == pytest.approx(1.602 * np.exp(-1.2 * 2.4048**2), rel=1e-3)
    )
    best = (
        0.48 / (970 * 2850)
    )  # the batter that conducts best within the measured ranges (Marcotte et al. 2008, abstract), m²/s
    bare = 2.4048**2 * best / 0.013**2
    assert (
        bare
        < fastest_per_s(26)
        == pytest.approx(bare + (np.pi / 2) ** 2 * best / (2 * 0.013) ** 2, rel=1e-3)
    ), "a cylinder twice as long as wide, by the product rule"


def test_no_wet_core_is_warmer_than_its_brine_boils():
    """Water under 1.04 bar by IAPWS-95 (CoolProp), raised by 5 % salt in the water: 0.512 K kg/mol times two ions (ebullioscopic constant, from memory)."""
    boils = PropsSI("T", "P", 1.04e5, "Q", 0, "Water") - 273.15 + 0.512 * 2 * 50 / 0.95 / 58.44
    assert boils == pytest.approx(value("lethality_warmest_C"), abs=0.5) and boils < value(
        "lethality_warmest_C"
    )

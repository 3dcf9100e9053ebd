"""The panels of 07 at every end of every slider: an answer or our own error, breaks that break, and one set of numbers in both unit systems."""

import re

import numpy as np
import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit.chain.cook import cook_of
from kit.lab.lessons import cook as lesson
from kit.lab.panels.cook import (
    chill_panel,
    cook_rows,
    probe_panel,
    record_panel,
    schedule_panel,
)
from kit.lab.panels.cook.pieces import ahead_soft_K
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Slider
from kit.lab.panels.sheets import kitchen_sheet
from kit.tables import data_path

MAKERS = (schedule_panel, chill_panel, record_panel, probe_panel)
REFUSED = re.compile(
    r"wet bulb .* is (above dry bulb|lower than)|needs more vapour|every stage of the cook is 0"
)
LOG = data_path("demo", "cook_log.csv").read_bytes()


@pytest.fixture(scope="module")
def made():
    return {make: make() for make in MAKERS}


@pytest.fixture(params=MAKERS, ids=lambda make: make.__name__)
def panel(request, made):
    return made[request.param].reset()


def fails(panel):
    return [
        row.cells[0] for table in panel.shown.tables for row in table.rows if row.mark == "fails"
    ]


def test_corners(panel):
    for end in ("low", "high"):
        panel.set(
            **{
                key: getattr(held.spec, end)
                for key, held in panel.controls.items()
                if isinstance(held.spec, Slider)
            }
        )
        assert panel.error is None or REFUSED.search(panel.error), panel.error
        assert not re.search(r"\b(nan|inf|None)\b", panel.shown.sentence)


def test_working_sources_and_cautions(panel):
    assert_pencil(panel.shown.steps)
    assert len(panel.shown.sources) > 2 and all(len(line) > 10 for line in panel.shown.sources)
    said = " ".join(panel.shown.cautions)
    assert "validates nothing" in said.casefold() and "local code" in said or "licensed" in said


@pytest.mark.parametrize(
    "make, preset, word",
    [
        (schedule_panel, "Too hot too soon", "surface-core"),
        (schedule_panel, "Low humidity", "evaporative"),
        (schedule_panel, "Core stalls in a dry cook", "target core temperature not reached"),
        (chill_panel, "Slow chill", "cooling: rapid"),
        (chill_panel, "Warm cold room", "cooling: rapid"),
        (record_panel, "Probe error of 3 °C (5.4 °F)", "P70 above 40"),
        (record_panel, "Smokehouse column as core", "used as a core"),
    ],
)
def test_a_break_on_purpose_breaks(made, make, preset, word):
    panel = made[make].reset()
    before = panel.shown.sentence
    assert not any(word in name for name in fails(panel))
    panel.set(**panel.presets[preset])
    assert panel.error is None and any(word in name for name in fails(panel)), fails(panel)
    assert panel.reset().shown.sentence == before


def test_nothing_fails_before_it_is_broken(made):
    for make in MAKERS[:3]:
        assert fails(made[make].reset()) == []


@pytest.mark.parametrize("worse", [{"diameter_sd_mm": 2}, {"depth_sd_mm": 5}])
def test_a_worse_probe_asks_for_more(made, worse):
    panel = made[probe_panel].reset()
    before = panel.result.display_C
    assert panel.set(**worse).result.display_C > before + 1
    panel.reset()


def test_a_cook_that_is_too_short_has_no_reading_to_wait_for(made):
    panel = made[probe_panel].reset().set(longer_min=-19)
    assert (
        "display reading needed" in fails(panel) and "No reading is enough" in panel.shown.sentence
    )
    panel.reset()


def test_metric_and_us_show_the_same_temperatures(made):
    panel = made[schedule_panel].reset()
    metric = panel.shown.data["schedule"]
    us = panel.use("US").shown.data["schedule"]
    for a, b in zip(metric["core"], us["core"], strict=True):
        assert b["t"] == pytest.approx(1.8 * a["t"] + 32) and a["min"] == b["min"]
    assert "°F" in panel.shown.sentence and "°C" not in panel.shown.sentence
    panel.use("metric")


def test_every_panel_changes_its_words_with_the_units(panel):
    metric = panel.text()
    us = panel.use("US").text()
    assert us != metric and "°F" in us
    panel.use("metric")


def test_the_sentence_and_the_table_name_the_same_numbers(made):
    panel = made[schedule_panel].reset()
    rows = {row.cells[0]: row.cells for row in panel.shown.tables[0].rows}
    assert (
        f"Evaporative shrink {rows['evaporative shrink, smokehouse and chill, % of raw weight'][1]}"
        in panel.shown.sentence
    )
    assert (
        f"cook yield (cooked and chilled) {rows['cook yield (cooked and chilled) from the models, % of raw weight'][1]} of the raw weight"
        in panel.shown.sentence
    )
    assert f"after {panel.result.cooked.targets[0].minutes:.0f} min" in panel.shown.sentence
    loss = panel.set(batter_loss_pct=20).result.loss
    assert (
        loss.cooked_chilled_yield_pct == pytest.approx(100 - loss.evaporated_pct - loss.drip_pct)
        and 0 < loss.drip_pct < 20 - loss.evaporated_pct
    )
    panel.reset()


def test_the_panel_starts_as_the_sheet_is_planned(made):
    answer = cook_of(lesson.demo_sheet())
    shown = made[schedule_panel].reset().result
    assert shown.cooked.targets[0].minutes == pytest.approx(
        answer.cooked.targets[0].minutes, abs=0.01
    )
    assert shown.loss.evaporated_pct == pytest.approx(answer.loss.evaporated_pct, abs=0.01)


def test_the_ring_lies_on_the_core(made):
    import numpy as np

    data = made[schedule_panel].reset().shown.data["schedule"]
    ring = data["reached"][0]
    assert np.interp(
        ring["min"], [p["min"] for p in data["core"]], [p["t"] for p in data["core"]]
    ) == pytest.approx(ring["t"], abs=1.0)


def test_a_stage_of_no_minutes_is_left_out_and_none_at_all_is_refused(made):
    panel = made[schedule_panel].reset()
    panel.set(smoke_min=0, chill_min=0)
    assert [stage.name for stage in panel.result.cooked.stages] == ["dry", "cook"]
    panel.set(dry_min=0, cook_min=0)
    assert "lengthen at least one" in panel.error
    panel.reset()


def test_how_far_ahead_is_read_while_the_core_is_soft(made):
    done = made[schedule_panel].reset().result.cooked
    assert (
        ahead_soft_K(done, 40)
        < ahead_soft_K(done, 80)
        <= (done.surface_C - done.core_C).max() + 1e-9
    )
    assert ahead_soft_K(done, -10) == 0


def test_the_log_says_what_was_understood_and_what_is_missing(made):
    panel = made[record_panel].reset()
    assert (
        panel.shown.sentence.startswith("Demo log, invented")
        and "does not validate" in panel.shown.sentence
    )
    captions = [table.caption for table in panel.shown.tables]
    assert captions[0].startswith("Cooking") and {
        "How the file was read",
        "Missing information",
    } <= {*captions}
    words = panel.text()
    assert (
        "spike in 1 row" in words
        and "no reading in 1 row" in words
        and "Smokehouse" not in str(panel.result.record.channels[0].name)
    )


def test_own_logs_are_read_and_bad_ones_are_asked_about(made):
    panel = made[record_panel].reset()
    panel.set(log=("mine.csv", LOG))
    assert not panel.shown.sentence.startswith("Demo")
    panel.set(log=("bad.csv", b"a,b\nx,y\n"))
    assert "cannot be used yet" in panel.shown.sentence and fails(panel)
    bare = b"minute;temp\n0;20\n10;60,5\n20;71,2\n30;72\n40;30\n"
    panel.set(log=("bare.csv", bare))
    assert "unit" in panel.text() and "cannot be used yet" in panel.shown.sentence
    panel.set(unit="°C")
    assert panel.error is None and "1 core over 40 min" in panel.shown.sentence
    panel.set(channels="Core 9")
    assert "Core 9" in (panel.error or panel.text())
    panel.set(channels="", fat="fat")
    assert "fat in percent" in panel.error
    panel.reset()


def test_what_the_reader_asks_can_be_answered_in_the_panel(made):
    panel = made[record_panel].reset()
    asked = "Date;Time;Core;RH\n" + "".join(
        f"0{1 + n // 4}/02/2031;0{8 + n % 4}:00;{1 + n},{n}50;40\n" for n in range(8)
    )
    panel.set(log=("mine.csv", asked.encode()))
    for question, answer in (
        ("hours and minutes|unit|decimals|day/month", {"day": "day"}),
        ("decimals or thousands", {"comma": "decimal"}),
        ("unit of column", {"unit": "°C"}),
    ):
        assert re.search(question, panel.text()) and "cannot be used yet" in panel.shown.sentence, (
            panel.text()
        )
        panel.set(**answer)
    assert panel.error is None and "1 core over 1620 min" in panel.shown.sentence, (
        panel.shown.sentence
    )
    panel.reset().set(
        log=("odd.csv", b"when;alpha;beta\n0:00;20;1\n0:30;60;2\n1:00;72;3\n1:30;71;4\n"),
        unit="°C",
        time="h:min",
    )
    assert "no column is known as a temperature" in panel.text()
    panel.set(channels="alpha")
    assert panel.error is None and "the coldest (alpha)" in panel.shown.sentence
    panel.set(time="min:s")
    assert "over 2 min" in panel.shown.sentence
    panel.reset()


def test_it_asks_which_columns_are_cores(made):
    panel = made[record_panel].reset()
    lines = "minute;T1, left °C;T2 °C;House wet °C\n" + "".join(
        f"{5 * n};{20 + 5 * n};{19 + 5 * n};{30 + 4 * n}\n" for n in range(12)
    )
    panel.set(log=("mine.csv", lines.encode()))
    assert (
        "cannot be used yet" in panel.shown.sentence
        and "none of the columns is called a core: T1, left °C, T2 °C, House wet °C" in panel.text()
    )
    panel.set(channels="T1, left °C")
    assert panel.error is None and "the coldest (T1, left °C)" in panel.shown.sentence
    panel.reset().set(log=("house.csv", b"minute;House C\n0;60\n5;70\n10;72\n"), unit="°C")
    assert "none of the columns is called a core: House C" in panel.text()
    panel.reset()


def test_cores_with_clocks_of_their_own_are_compared_each_by_its_own(made):
    panel = made[record_panel].reset()
    two = "Time A,Core A (°C),Time B,Core B (°C)\n" + "".join(
        f"08:{n:02d}:00,{20 + 2 * n},08:{n:02d}:40,{19 + 2 * n}\n" for n in range(30)
    )
    panel.set(log=("two.csv", two.encode()))
    assert "2 cores over 30 min" in panel.shown.sentence and "by its own clock" in panel.text()
    assert [held.time_s[1] - held.time_s[0] for held in panel.result.record.channels] == [60, 60]
    panel.reset()


def test_an_uneven_cooker_asks_for_more_and_a_batch_cooked_over_charcoal_starts_there(made):
    panel = made[probe_panel].reset()
    house, start = panel.result.margin_K, panel.values["spread_K"]
    panel.press("Uneven charcoal smoker")
    assert panel.result.margin_K > house + 2
    assert probe_panel(kitchen_sheet()).values["spread_K"] == panel.values["spread_K"] > start
    panel.reset()


def test_a_start_is_nearly_forgotten_at_the_wet_bulb(made):
    """The plan holds every link near the wet bulb before the steam comes, so how warm it went in hardly tells: 6 K of it leave less than 0.3 K, and a wide link
    keeps more."""
    panel = made[probe_panel].reset()

    def spread(sd):
        return panel.set(start_sd_K=sd).result.coldest_at_target_C[0]

    thin = spread(0) - spread(6)
    panel.set(diameter_mm=60, longer_min=40)
    assert abs(thin) < 0.3 and spread(0) - spread(6) > abs(thin)
    panel.reset()


def test_steam_and_hot_water_cook_without_loss_and_say_their_coefficient(made):
    panel = made[schedule_panel].reset()
    for kind in ("live steam", "hot water"):
        panel.set(cook_in=kind)
        cook_stage = panel.result.cooked.stages[2]
        assert (
            panel.error is None
            and panel.result.cooked.targets[0].reached
            and cook_stage.lost_pct < 0.2
        )
        assert f"{cook_stage.h_W_per_m2K:,.0f} W/(m² °C)" in panel.text()
    panel.set(cook_C=105)
    assert "water temperature is 105" in panel.error
    panel.reset()


def test_a_meat_table_is_not_shown_for_poultry(made):
    panel = made[record_panel].reset()
    panel.set(product="other poultry")
    assert "your plan for other poultry" in panel.shown.sentence and any(
        "chicken and turkey of 12 % fat" in row.cells[0] for row in panel.shown.tables[0].rows
    )
    assert not any("table for meat" in row.cells[0] for row in panel.shown.tables[0].rows)
    panel.set(product="chicken", fat="10")
    assert "chicken" in panel.shown.sentence
    panel.reset()


def test_nitrite_casing_smoke_and_edition_change_the_record(made):
    panel = made[record_panel].reset()

    def slow():
        return [
            row.cells[3] for row in panel.shown.tables[1].rows if "slow chilling" in row.cells[0]
        ]

    assert slow() == ["not judged: nitrite not given"] * 2
    assert panel.set(nitrite="156 ppm") and slow() == ["within limit"] * 2
    assert panel.set(nitrite="90") and slow() == []
    assert panel.set(nitrite="much") and "ingoing nitrite in ppm" in panel.error
    panel.reset()
    assert "relative humidity at least 90 %" not in panel.text()
    panel.set(casing="none")
    assert "relative humidity at least 90 %" in panel.text()
    panel.reset()
    for cured, fahrenheit in (("cured", 160), ("cured and smoked", 155), ("not cured", 160)):
        panel.set(product="turkey", cured=cured)
        assert any(
            f"{fahrenheit} °F" in row.cells[0] and "single temperature" in row.cells[0]
            for row in panel.shown.tables[0].rows
        )
    panel.reset().set(on="2022-12-13")
    assert (
        any("in one window" in row.cells[0] for row in panel.shown.tables[1].rows)
        and "1999 text" in panel.text()
        and "come-up" not in panel.text()
    )
    panel.reset()
    assert (
        not any("in one window" in row.cells[0] for row in panel.shown.tables[1].rows)
        and "superseded for small product" in panel.text()
    )


def test_a_window_that_is_not_for_this_product_is_not_shown(made):
    panel = made[chill_panel].reset()
    panel.set(cured="not cured", option="cured, to 40 °F")
    assert panel.error is None and "slow chilling" not in panel.shown.sentence
    assert not any("cured product" in row.cells[0] for row in panel.shown.tables[0].rows)
    panel.reset()


def test_outcome_rows_fit_the_outcome_table():
    answer = cook_of(lesson.demo_sheet(), 1.2, 0.4)
    for system in ("metric", "US"):
        rows = cook_rows(answer, system)
        assert all(len(cells) == len(COLUMNS) for cells in rows)
    assert any(cells[0].startswith("drip") and "1.2 %" in cells[3] for cells in rows)
    assert any("no record" in cells[4] for cells in rows)


@pytest.mark.parametrize("number", range(4))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number])


def test_the_guess_is_the_panel_s_own_number(made):
    guess = lesson.guess()
    assert "No guess yet" in guess.compare()
    panel = made[schedule_panel].reset()
    panel.set(**panel.presets["Core stalls in a dry cook"])
    assert guess.truth() == pytest.approx(panel.result.cooked.peak_core_C, abs=0.05)
    panel.reset()
    assert (
        "too high" in guess.commit("75 °C").compare()
        and "close" in guess.commit(guess.truth()).compare()
    )


def test_moister_houses_leave_more():
    left = [pct for _, pct in lesson.expected_yields()]
    assert left == sorted(left) and 80 < left[0] < left[-1] < 100


def _cook_log(change=lambda t, core: core, unit="°C", name="Core"):
    """30 s readings of a sound cook, changed; the smokehouse beside it."""
    t = np.arange(0, 10_501, 30.0)
    core = np.interp(
        t, [0, 1200, 3600, 4500, 6300, 8000, 10_500], [12, 33, 49, 70, 76, 15, 3]
    ) + np.random.default_rng(5).normal(0, 0.15, t.size)
    house = np.interp(
        t,
        [0, 60, 1200, 1300, 3600, 3700, 6300, 6400, 8100, 8200, 10_500],
        [20, 55, 55, 65, 65, 82, 82, 15, 15, 3, 3],
    )
    lines = [f"{a:.0f};{b:.1f};{h:.1f}" for a, b, h in zip(t, change(t, core), house)]
    return (
        "mine.csv",
        f"Time s;{name} {unit};Smokehouse °C\n".encode() + "\n".join(lines).encode(),
    )


@pytest.mark.parametrize(
    "change, unit, says",
    [
        (lambda t, core: 1.8 * core + 32, "°C", "cannot be used yet"),
        (lambda t, core: core, "°F", "check the unit"),
        (
            lambda t, core: np.full_like(core, 75.0),
            "°C",
            "does not move: exactly 75.0 °C for 175 min",
        ),
        (lambda t, core: np.where(t < 4100, core, np.maximum(core + 20, 82)), "°C", "rises from 6"),
    ],
)
def test_a_log_that_cannot_be_true_stops_the_record_or_stands_first(made, change, unit, says):
    panel = made[record_panel].reset()
    panel.set(log=_cook_log(change, unit), plan_cook="7 log")
    assert (
        panel.error is None
        and "7 log: met" not in panel.shown.sentence
        and says in panel.shown.sentence
    )
    assert panel.shown.sentence.startswith(("IMPLAUSIBLE LOG", "This log cannot be used yet"))
    cook = next(
        (table for table in panel.shown.tables if table.caption.startswith("Cooking")), None
    )
    if cook:
        assert (
            cook.rows[0].cells[0] == "✗ implausible log"
            and cook.rows[0].mark == "fails"
            and not any("within" in row.cells[3] for row in cook.rows)
        )
        chill = next(
            table for table in panel.shown.tables if table.caption.startswith("Cooling: every")
        )
        assert not any("within" in row.cells[3] for row in chill.rows)
        html = panel.shown.page[1]()
        assert html.index("IMPLAUSIBLE LOG") < html.index("validates nothing")
    else:
        assert "no wet core at ambient pressure" in panel.text()
    panel.reset()


def test_a_sound_log_is_not_called_implausible_and_all_columns_of_one_name_count(made):
    panel = made[record_panel].reset()
    panel.set(log=_cook_log(), diameter="26 mm")
    assert (
        "IMPLAUSIBLE" not in panel.shown.sentence
        and panel.result.record.implausible == ()
        and panel.result.record.smokehouse.name == "Smokehouse °C"
    )
    three = "Time s;Core °C;Core °C;Core °C\n" + "".join(
        f"{60 * n};{20 + n};{15 + n};{10 + n}\n" for n in range(60)
    )
    panel.set(log=("three.csv", three.encode()))
    assert "3 cores" in panel.shown.sentence and "the coldest (Core °C (3))" in panel.shown.sentence
    panel.reset()


def test_alternatives_are_not_counted_and_the_plan_says_which(made):
    panel = made[record_panel].reset()
    assert (
        not re.search(r"\d+ of \d+", panel.shown.sentence)
        and "Choose the cooking and cooling limit named in your plan for meat"
        in panel.shown.sentence
    )
    panel.set(plan_cook="7 log", plan_cooling="rapid chilling")
    assert (
        "Cook limit in the plan: time-temperature table for meat, 7 log: met. Cooling limit in the plan: rapid chilling: met."
        in panel.shown.sentence
    )
    html = panel.shown.page[1]()
    assert (
        html.index("Cooking: limit named in the plan")
        < html.index("meat, 7 log: row")
        < html.index("Cooking: other published limits")
        < html.index("meat, 6.5 log: row")
    )
    panel.set(product="chicken", plan_cook="6.5 log")
    assert "limit named by the plan '6.5 log' is not known" in panel.error
    panel.reset()


def test_the_record_to_print_names_its_file_and_its_start(made):
    panel = made[record_panel].reset()
    panel.set(
        log=(
            "smoke 7.csv",
            b"Stamp;Core C;Air C\n"
            + b"".join(b"2031-02-05 08:%02d:00;%d;70\n" % (n, 20 + n) for n in range(50)),
        ),
        unit="°C",
    )
    html = panel.shown.page[1]()
    assert (
        "smoke 7.csv" in html
        and "first reading: 2031-02-05 08:00:00" in html
        and "Probe calibration" in html
        and "Signature" in html
        and "http" not in html
    )
    panel.set(log=("bad.csv", b"a,b\nx,y\n"))
    assert panel.picture.payload["page"] == ""
    panel.reset()


def test_months_and_years_that_the_reader_asks_for_are_answered_in_the_panel(made):
    panel = made[record_panel].reset()
    lines = "Stamp;Core C\n" + "".join(
        f"{31 if n < 30 else 1} {'tammi' if n < 30 else 'helmi'} {'23' if n < 30 else '00'}:{30 + n if n < 30 else n - 30:02d}:00;{20 + n}\n"
        for n in range(60)
    )
    panel.set(log=("mine.csv", lines.encode()), unit="°C")
    assert "months=" in panel.text()
    panel.set(months="tammi helmi maalis huhti touko kesä heinä elo syys loka marras joulu")
    assert "year=" in panel.text()
    panel.set(year="2031")
    assert panel.error is None and "1 core over 59 min" in panel.shown.sentence
    panel.set(year="31")
    assert "year is 31" in (panel.error or panel.text())
    panel.reset()

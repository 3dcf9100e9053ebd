"""The panels of 09: every slider at both ends, breaks that break, one set of numbers in both unit systems, and files of a person's own."""

import csv
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from exercises import assert_exercise
from pencil import assert_pencil

from kit.batches import gauge_study
from kit.batches.compare import compare
from kit.batches.target import LossTarget, met
from kit.errors import UnknownName
from kit.lab.charts.batches.over_time import smoothed
from kit.lab.lessons import batches as lesson
from kit.lab.panels.batches import (
    control_panel,
    costs_panel,
    found_panel,
    records_of,
    records_panel,
    varies_panel,
)
from kit.lab.panels.batches.compare import compare_panel, compare_view, presets_of
from kit.lab.panels.batches.control import RESIDUAL
from kit.lab.panels.panel import Slider
from kit.reading.plant import analysis_of, demo_analysis
from kit.tables import data_path

MAKERS = (records_panel, control_panel, varies_panel, costs_panel)
CSV = data_path("demo", "demo_records.csv").read_bytes()


@pytest.fixture(scope="module")
def made():
    return {make: make() for make in MAKERS}


@pytest.fixture(params=MAKERS, ids=lambda make: make.__name__)
def panel(request, made):
    return made[request.param].reset()


def fails(panel):
    return [
        row.cells[0] + row.cells[1]
        for table in panel.shown.tables
        for row in table.rows
        if row.mark == "fails"
    ]


def rows_of(panel, caption):
    return (
        next(table for table in panel.shown.tables if table.caption.startswith(caption))
        .filled()
        .rows
    )


def test_corners(panel):
    for end in ("low", "high"):
        panel.set(
            **{
                key: getattr(held.spec, end)
                for key, held in panel.controls.items()
                if isinstance(held.spec, Slider)
            }
        )
        assert panel.error is None


def test_working_sources_and_cautions(panel):
    assert_pencil(panel.shown.steps)
    assert panel.shown.steps and panel.shown.sources
    assert "do not show that a product is safe" in " ".join(
        panel.shown.cautions
    ) and "licensed practice" in " ".join(panel.shown.cautions)
    assert any("invented" in note for note in panel.shown.notes)


@pytest.mark.parametrize(
    "make, preset, word",
    [
        (records_panel, "Ignore the recipe change", "The recipe changed at this batch"),
        (control_panel, "Baseline of eight batches", "fewer than 20"),
        (varies_panel, "Ignore the recipe change", "recipe"),
    ],
)
def test_a_break_on_purpose_breaks(made, make, preset, word):
    panel = made[make].reset()
    before = panel.shown.sentence
    assert not any(word in name for name in fails(panel))
    panel.set(**panel.presets[preset])
    assert panel.error is None and any(word in name for name in fails(panel)), fails(panel)
    assert panel.reset().shown.sentence == before


def test_every_panel_changes_its_words_with_the_units_and_back(panel):
    metric = panel.text()
    us = panel.use("US").text()
    assert us != metric and re.search(r"\blb\b|°F", us) and not re.search(r"\d kg\b|per K\b", us)
    assert panel.use("metric").text() == metric


def test_metric_and_us_show_the_same_weights(made):
    panel = made[costs_panel].reset()
    metric = [row["words"] for row in panel.shown.data["weight"]["bars"]]
    us = [row["words"] for row in panel.use("US").shown.data["weight"]["bars"]]
    panel.use("metric")

    def number(words: str) -> float:
        return float(words.split()[0].replace(",", ""))

    for a, b in zip(metric, us, strict=True):
        assert number(b) == pytest.approx(2.20462 * number(a), abs=1.7)
        assert a.split(";")[1] == b.split(";")[1]


def test_the_picture_is_the_table(made):
    panel, table = made[records_panel].reset(), demo_analysis().table
    share = panel.set(over=1).shown.data["share"]
    stacked = np.array([row["high"] for row in share["bands"] if row["stage"] == "others"])
    assert stacked == pytest.approx(table.loss_share_pct.sum(axis=1))
    found = demo_analysis().analysis.findings.findings
    assert [(row["words"], row["batch"]) for row in share["finds"]] == [
        (str(n), f.start + 1) for n, f in enumerate(found, 1)
    ]
    assert [row.cells[1] for row in rows_of(panel, "Findings, largest")] == [
        f.sentence for f in found
    ]
    assert found[0].sentence in panel.shown.sentence
    line = demo_analysis().analysis.line(found[0].stage)
    assert line.changes.starts
    assert len(panel.shown.data["control"]["limits"]) == len(line.changes.starts) + 1
    panel.reset()


def test_names_of_the_bands_do_not_overlap(made):
    panel = made[records_panel].reset()
    names, top = (
        [row["high"] for row in panel.shown.data["share"]["names"]],
        panel.shown.data["share"]["frame"][1]["high"],
    )
    assert min(np.diff(names)) >= 0.064 * top


def test_a_mean_over_batches_looks_back_only():
    assert smoothed(np.array([[1.0], [2.0], [3.0], [7.0]]), 2).ravel() == pytest.approx(
        [1, 1.5, 2.5, 5]
    )


def test_a_recipe_is_marked_where_it_changed_and_gone_in_the_residual(made):
    panel = made[control_panel].reset()
    assert "the recipe changed" in panel.shown.sentence
    panel.set(what=RESIDUAL)
    assert "recipe changed" not in panel.shown.sentence and not fails(panel)
    assert all(abs(c.start - 40) > 10 for c in panel.result.changes.changes)
    panel.set(stage="trim")
    assert "the batch model predicts no yield of trim" in panel.error
    panel.reset()


def test_the_frame_stays_under_the_baseline(made):
    panel = made[control_panel].reset()
    frames = [panel.set(baseline=n).shown.data["control"]["frame"] for n in (8, 60, 120)]
    assert frames[0] == frames[1] == frames[2]
    panel.reset()


def test_more_rules_cry_wolf_more_often(made):
    panel = made[control_panel].reset()
    chances = [
        panel.set(rules=name).result.chart.false_alarm_chance["together"]
        for name in ("beyond 3 sigma", "beyond 3 sigma; 8 on one side", "four run rules")
    ]
    assert chances == sorted(chances) and chances[0] < chances[2]
    panel.reset()


def test_humidity_is_what_the_cook_goes_with(made):
    panel = made[varies_panel].reset()
    assert panel.shown.sentence.endswith("associated with relative humidity of the smokehouse (%).")
    slopes = {row.cells[0]: row.cells[2] for row in rows_of(panel, "Regression on")[:-1]}
    clear = [
        name for name, reach in slopes.items() if len({end[0] for end in reach.split(" to ")}) == 1
    ]
    assert clear == ["relative humidity of the smokehouse (%)"]
    assert sum(p.share_pct for p in panel.result.parts.components) == pytest.approx(100)
    before = panel.set(first=1, last=70)
    assert len(before.result.rows) == 70
    panel.reset()


def test_money_is_kilograms_times_price(made):
    panel = made[costs_panel].reset()
    for bar in panel.result.bars.bars:
        price = panel.values[
            "water"
            if bar.name in ("cook", "chill")
            else "meat"
            if bar.name in ("trim", "grind")
            else "product"
        ]
        assert bar.money == pytest.approx(bar.kg * price), bar.name
    panel.set(meat=0, product=0, water=0)
    assert "no loss has a cost" in panel.shown.sentence and panel.error is None
    panel.set(water=20)
    assert "also by cost" in panel.shown.sentence
    panel.reset()


# a person's own file ----------------------------------------------------------------------------------------------------------------------
def test_the_same_file_chosen_is_no_longer_the_demo_and_its_recipe_is_a_finding(made):
    panel = made[records_panel].reset().set(records=("mine.csv", CSV))
    assert (
        panel.error is None
        and not panel.shown.sentence.startswith("Demo")
        and "since batch 41" in panel.shown.sentence
    )
    assert any(
        "operator" in row.cells[1] or "kept as" in row.cells[1]
        for row in rows_of(panel, "How the columns")
    )
    panel.reset()


def test_sheets_named_as_the_recipes_take_the_recipe_out(made):
    a, b = (
        data_path("demo", file).read_bytes()
        for file in ("demo_frankfurter.toml", "demo_less_milk.toml")
    )
    panel = (
        made[records_panel]
        .reset()
        .set(records=("mine.csv", CSV), sheet_1=("A.toml", a), sheet_2=("b.toml", b))
    )
    assert (
        panel.error is None
        and "since batch 41" not in panel.shown.sentence
        and "SH 2" in panel.shown.sentence
    )
    assert [row.cells[3] for row in rows_of(panel, "Yields corrected")][0] == "41"
    panel.set(sheet_2=("C.toml", b))
    assert "recipe of these records" in panel.error and "'C'" in panel.error
    panel.set(sheet_2=("B.toml", b"nonsense = "))
    assert panel.error and "B.toml" in panel.error
    panel.reset()


def test_faults_and_findings_of_the_records_are_listed(made):
    text = CSV.decode().replace("B007,2024", "B007,20x4", 1).replace("\nB011,", "\nB010,", 1)
    panel = made[records_panel].reset().set(records=("mine.csv", text.encode()))
    assert panel.error is None and "1 of 120 rows set aside" in panel.shown.sentence
    said = " ".join(" ".join(row.cells) for row in rows_of(panel, "Faults and suspect"))
    assert (
        "row 8" in said
        and said.count("batch B010") == 1
        and "duplicate" in said
        and "more like it" in said
    )
    first = rows_of(panel, "Findings, largest")[0].cells[1]
    place = panel.result.answer.analysis.findings.findings[0].start
    assert (
        f"Batch {place + 1} in this order is {panel.result.answer.table.batches[place]}" in first
        and panel.result.answer.table.batches[place] != f"B{place + 1:03d}"
    )
    panel.reset()


ASKS = "Batch;Date;Cook in;Cook out\n" + "\n".join(
    f"B{n};2026-03-{1 + n % 28:02d};{500 + n % 7},5;{455 + n % 5},5" for n in range(40)
)


@pytest.fixture
def kept(tmp_path, monkeypatch):
    monkeypatch.setenv("COLD_BATTER_BATCHES", str(tmp_path))
    return tmp_path / "mappings"


def question_of(panel, start):
    return next(key for key in panel.controls if key.startswith("asked") and start in key)


def test_a_question_is_answered_in_its_field_kept_and_the_mapping_reads_the_same_in_code(
    made, kept, tmp_path
):
    panel = made[records_panel].reset().set(records=("mine.csv", ASKS.encode()))
    assert "1 question open" in panel.shown.sentence and panel.shown.data == {}
    (asked,) = rows_of(panel, "Questions of the reader")
    assert asked.mark == "fails" and "Cook in: 500,5, 501,5" in asked.cells[2]
    assert panel.controls[question_of(panel, "unit")].spec.label == "Unit of the weights"
    panel.set(**{question_of(panel, "unit"): "kg"})
    assert panel.error is None and panel.shown.sentence.startswith(
        "40 batches, 2026-03-01 to 2026-03-28: loss"
    ), panel.text()
    (held,) = kept.glob("*.toml")
    assert held.name == "mine.toml" and f"mappings/{held.name}" in " ".join(panel.shown.notes)
    (tmp_path / "mine.csv").write_text(ASKS, encoding="utf-8")
    in_code, here = analysis_of(tmp_path / "mine.csv", held), panel.result.answer
    assert in_code.records.tidy.equals(here.records.tidy)
    assert in_code.table.loss_pct == pytest.approx(here.table.loss_pct)
    assert in_code.table.batches == here.table.batches


def test_kept_answers_are_offered_for_the_same_columns_and_can_be_asked_again(made, kept):
    panel = made[records_panel].reset().set(records=("mine.csv", ASKS.encode()))
    panel.set(**{question_of(panel, "unit"): "lb"})
    later = ASKS.replace("B1;", "B1001;").replace("2026-03", "2026-04").encode()
    panel.reset().set(records=("april.csv", later))
    assert panel.error is None and "40 batches" in panel.shown.sentence
    assert any("answers kept in mine.toml" in note for note in panel.shown.notes)
    again = next(key for key in panel.controls if key.startswith("kept"))
    panel.set(**{again: "anew"})
    assert "1 question open" in panel.shown.sentence
    other = ASKS.replace("Cook in", "Chill in").replace("Cook out", "Chill out").encode()
    panel.reset().set(records=("mine.csv", other))
    assert "1 question open" in panel.shown.sentence
    assert not any(key.startswith("kept") for key in panel.controls)
    before = (kept / "mine.toml").read_bytes()
    panel.set(**{question_of(panel, "unit"): "kg"})
    assert (kept / "mine.toml").read_bytes() == before and (kept / "mine_2.toml").exists()


def test_an_answer_belongs_to_its_file(made, kept):
    panel = made[records_panel].reset().set(records=("mine.csv", ASKS.encode()))
    first = question_of(panel, "unit")
    panel.set(records=("next.csv", ASKS.replace("B0;", "C0;").encode()))
    assert first not in panel.controls and "1 question open" in panel.shown.sentence


def test_a_mapping_edited_by_hand_is_read_too(made, kept):
    panel = made[records_panel].reset().set(records=("mine.csv", ASKS.encode()))
    unclear = str(panel.result.mapping)
    mapping = unclear.replace('unit = "?"', 'unit = "kg"')
    panel.set(mapping=("mine.toml", unclear.encode()))
    assert "1 problem or question" in panel.shown.sentence
    assert "write unit = one of" in rows_of(panel, "Problems")[0].cells[2]
    panel.set(mapping=("mine.toml", mapping.encode()))
    assert panel.error is None and panel.shown.sentence.startswith(
        "40 batches, 2026-03-01 to 2026-03-28: loss"
    ), panel.text()
    assert not kept.exists()
    panel.reset()


def test_every_panel_follows_the_file_and_none_stands_on_the_old_answer(kept):
    look = records_panel()
    others = [make(look) for make in (control_panel, varies_panel, costs_panel)]
    before = [panel.text() for panel in others]
    look.set(records=("mine.csv", ASKS.encode()))
    for panel in others:
        assert "cannot be used yet" in panel.error and panel.shown is None
    look.set(**{question_of(look, "unit"): "kg"})
    control, varies, costs = others
    assert control.error is None and "Mean loss of cook: 9.1 %" in control.shown.sentence
    assert control.controls["stage"].spec.options == ("cook", "overall")
    assert costs.error is None and "cook" in costs.shown.sentence
    assert "hold no label" in varies.error and varies.shown is None
    look.reset()
    assert [panel.text() for panel in others] == before


def test_product_and_period_choose_the_batches_of_every_panel(kept):
    look = records_panel()
    control = control_panel(look)
    look.set(product="B")
    assert "80 batches" in look.shown.sentence and len(control.result.at) == 80
    look.set(product="", first=date(2024, 2, 1), last=date(2024, 2, 10))
    table = look.result.answer.table
    assert (
        str(table.dates.min())[:10] == "2024-02-01" and str(table.dates.max())[:10] == "2024-02-10"
    )
    assert len(control.result.at) == table.n and "2024-02-01 to 2024-02-10" in look.shown.sentence
    look.set(first=date(2024, 2, 12))
    assert "0 of 120 batches" in look.error and control.error and control.picture.payload["error"]
    look.press("Single batches")
    assert look.values["first"] == date(2024, 2, 12)
    look.reset()
    assert look.error is None and control.error is None and len(control.result.at) == 120


def test_a_file_on_the_disk_is_read_again_when_it_has_changed(made, kept, tmp_path):
    path = tmp_path / "my records.csv"
    path.write_bytes(CSV)
    panel = made[records_panel].reset().set(path=f'"{path}"')
    assert panel.error is None and panel.shown.sentence.startswith("120 batches")
    path.write_bytes(b"\n".join(CSV.splitlines()[:81]))
    panel.set(over=2)
    assert panel.shown.sentence.startswith("80 batches")
    panel.set(path="nothing/here.csv")
    assert "cannot be opened" in panel.error + panel.text()
    panel.set(records=("mine.csv", CSV))
    assert "empty one of the two" in panel.error
    panel.reset()


def test_subgroups_of_the_records_get_means_and_ranges(made):
    panel = made[control_panel].reset().set(by="day")
    table = demo_analysis().table
    loss, days = table.loss_pct[:, table.place("cook")], table.dates.astype("datetime64[D]")
    groups = [loss[days == day] for day in np.unique(days)]
    used = {n: n * sum(len(group) >= n for group in groups) for n in range(2, 11)}
    size = max(used, key=lambda n: (used[n], n))
    full = [group[:size] for group in groups if len(group) >= size]
    chart = panel.result.chart
    assert chart.values == pytest.approx([group.mean() for group in full])
    assert chart.ranges.values == pytest.approx([np.ptp(group) for group in full])
    drawn = panel.shown.data["ranges"]["limits"][0]
    assert (
        drawn["high"] == pytest.approx(chart.ranges.phases[0].high)
        and "means of a day" in panel.shown.sentence
    )
    panel.reset()


def test_the_first_finding_says_why_it_stands_first(made):
    panel = made[records_panel].reset()
    assert "First finding (the change that costs most): Cook" in panel.shown.sentence
    slipped = CSV.decode().replace("481.29", "4812.9", 1)
    panel.set(records=("mine.csv", slipped.encode()))
    assert (
        "First finding (a fault of the records, which spoils other figures)" in panel.shown.sentence
    )
    quiet = CSV.decode().splitlines()[:31]
    panel.set(records=("quiet.csv", "\n".join(quiet).encode()))
    assert "Nothing stands out in 30 batches." in panel.shown.sentence
    assert "First finding" not in panel.shown.sentence
    panel.reset()


def test_no_table_at_all_is_an_error_in_words_and_the_next_file_works(made):
    panel = made[records_panel].reset().set(records=("mine.csv", b"\x00\x01\x02"))
    assert panel.error or "cannot be used yet" in panel.shown.sentence
    panel.set(
        records=("few.csv", b"Batch,Date,Cook in (kg),Cook out (kg)\nB1,2026-03-01,500,455\n")
    )
    assert "at least two batches" in (panel.error or panel.text())
    assert panel.reset().error is None and panel.shown.sentence.startswith("Demo")


def test_what_a_person_wrote_stays_text(made):
    text = CSV.decode().replace("SH 2", "<script>2</script>")
    panel = made[records_panel].reset().set(records=("mine.csv", text.encode()))
    assert panel.error is None and any(
        "<script>2</script>" in row.cells[1] for row in panel.shown.tables[0].rows
    )
    panel.reset()


# the lesson -------------------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("number", range(4))
def test_exercises_know_their_answer_their_slips_and_a_wrong_one(number):
    assert_exercise(lesson.exercises()[number])


def test_the_guess_is_the_panel_s_own_number(made):
    guess = lesson.guess()
    assert "No guess yet" in guess.compare()
    assert guess.truth() == pytest.approx(
        100 * made[control_panel].reset().result.chart.false_alarm_chance["together"]
    )
    assert (
        "too low" in guess.commit(5).compare() and "close" in guess.commit(guess.truth()).compare()
    )


def test_two_groups_compared_say_what_differs_and_where_nothing_can_be_said():
    panel = compare_panel().press("2024-01 against 2024-02")
    line = panel.result[0].line("overall")
    assert f"{line.difference.value:.2f} percentage points above that of 2024-01" in panel.text()
    assert "Clear differences: stuff, cook" in panel.shown.sentence
    first, _, between = panel.shown.tables
    marked = [row.cells[0] for table in (first, between) for row in table.rows if row.mark]
    lines = panel.result[0].lines
    assert sorted(marked) == sorted(one.line for one in lines if one.clear and one.line != "cost")
    panel.set(target=20)
    assert "chance that the mean meets it: more than 99.9 %" in panel.shown.sentence
    weighed = demo_analysis().table
    held = compare(weighed, "lot L1"), met(weighed, LossTarget("cook", 10))
    shown = compare_view(held, {}, "metric")
    assert "(no interval from one lot)" in shown.sentence and "nan" not in str(shown.payload())


# what the search can find, a study of scales, prices on the page ---------------------------------------------------------------------------
def test_the_curve_is_the_file_of_the_bench_with_exact_intervals():
    """Intervals: statsmodels, proportion_confint(method="beta"), the exact (Clopper-Pearson) binomial interval."""
    from statsmodels.stats.proportion import proportion_confint

    panel = found_panel().set(size=1.5, noise="lots 60 %")
    with data_path("batches", "found_by_size.csv").open(encoding="utf-8", newline="") as handle:
        rows = [row for row in csv.DictReader(handle) if row["noise"] == "lots 60 %"]
    drawn = {(r["batches"], r["size"]): r["share"] for r in panel.shown.data["found"]["lines"]}
    assert drawn == {
        (int(r["batches"]), float(r["size_sd"])): float(r["found_first_pct"]) for r in rows
    }
    for one in panel.result.shares:
        seen = round(one["share"] * one["plants"] / 100)
        low, high = proportion_confint(seen, one["plants"], alpha=0.1, method="beta")
        assert (one["low"], one["high"]) == pytest.approx((100 * low, 100 * high), abs=1e-6)
    at = [row for row in rows if float(row["size_sd"]) == 1.5]
    assert all(
        f"{float(r['found_first_pct']):.0f} % with {r['batches']}" in panel.text() for r in at
    )
    table = demo_analysis().table
    kg = np.nanmean(table.all_in_kg[:, table.place("cook")]) * panel.result.sd_points * 1.5 / 100
    assert f"{kg:.1f} kg a batch" in panel.shown.sentence


STUDY = "Operator;Piece;Weight\n" + "".join(
    f"{who};{piece};{50 + piece + 0.1 * n + shift:.1f}\n".replace(".", ",")
    for who, shift in (("A", 0), ("B", 0.3))
    for piece in range(1, 6)
    for n in range(3)
)


def test_a_scale_study_of_a_person_s_own_gets_its_gauge(made):
    panel = made[varies_panel].reset().set(study=("scales.csv", STUDY.encode()))
    assert panel.error is None, panel.error
    (line,) = rows_of(panel, "Gauge R&R (scales.csv)")
    read = [row.split(";") for row in STUDY.splitlines()[1:]]
    gauge = gauge_study(
        [float(row[2].replace(",", ".")) for row in read],
        [row[0] for row in read],
        [row[1] for row in read],
    )
    assert line.cells[1:4] == tuple(
        f"{v**0.5:.2f} g" for v in (gauge.repeatability, gauge.operator, gauge.part)
    )
    for spoilt, said in (
        (STUDY.replace("Piece", "Column"), "no column part"),
        (STUDY.replace("51,0", "fifty", 1), "fifty"),
        (STUDY.rsplit("\n", 2)[0], "scales.csv"),
        (f"{STUDY.rstrip()}\nA;1\n", "another number of cells"),
    ):
        panel.set(study=("scales.csv", spoilt.encode()))
        assert panel.error and (said in panel.error or "equally often" in panel.error), spoilt
    panel.reset()


def test_the_page_of_costs_has_the_findings_at_the_person_s_prices(made):
    panel = made[costs_panel].reset().set(water=2)
    answer = records_of(panel)
    first = answer.analysis.findings.findings[0]
    assert first.stage == "cook" and first.money == pytest.approx(2 * first.kg)
    name, page = panel.shown.page
    assert name == "findings_with_costs.html"
    assert f"{first.money:,.0f} (your currency)" in page() and "invented" in page()
    assert demo_analysis().analysis.findings.findings[0].money is None
    panel.reset()


def test_without_the_sheets_every_finding_of_the_demo_was_put_in():
    """The recipe, the leaking stuffer, the humidity of one smokehouse: each once, and no more."""
    found = demo_analysis(False).analysis.findings.findings
    told = {(f.stage, f.start, f.who, f.effect > 0) for f in found}
    assert len(found) == 3 and told == {
        ("cook", 40, None, True),
        ("stuff", 83, None, True),
        ("cook", 70, ("smokehouse", "SH 2"), True),
    }


def test_the_comparisons_offered_are_of_the_records_in_hand(kept):
    look = records_panel()
    compare = compare_panel(look)
    assert list(compare.presets) == [
        "2024-01 against 2024-02",
        "Smokehouse SH 2 against the others",
        "Supplier Farm A against supplier Farm B",
    ]
    text = CSV.decode().replace("SH 2", "House 7").replace("2024-01", "2023-12")
    look.set(records=("mine.csv", text.encode()))
    assert list(compare.presets)[:2] == [
        "2023-12 against 2024-02",
        "Smokehouse House 7 against the others",
    ]
    buttons = compare.children[0].children[-2].children
    assert [b.description for b in buttons][:-1] == list(compare.presets)
    assert not any(button.disabled for button in buttons)
    for name in compare.presets:
        compare.press(name)
        assert compare.error is None and compare.shown.data["differences"]["lines"], name
    assert look.controls["recipe"].idle == "no recipe sheet is given"
    look.set(records=None)
    assert not look.controls["recipe"].idle
    assert "Smokehouse SH 2 against the others" in compare.presets
    with pytest.raises(UnknownName, match="House 7"):
        compare.press("Smokehouse House 7 against the others")


def test_records_without_days_and_labels_offer_their_halves():
    answer = demo_analysis()
    bare = replace(answer.table, dates=None, labels={})
    findings = replace(answer.analysis.findings, cleaned=bare, findings=())
    held = replace(answer, analysis=replace(answer.analysis, findings=findings))
    assert presets_of(held) == {
        "Batches 1 to 60 against batches 61 to 120": {
            "first": "batches 1 to 60",
            "second": "batches 61 to 120",
        }
    }

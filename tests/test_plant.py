"""Records to a table of batches, the demo plant, and the page: what was planted is found, what was understood is said, nothing is written halfway."""

import csv
import re
import runpy
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pencil import assert_pencil
from plants import plant

from kit.batches.analysis import analyse
from kit.chain.follow import follow
from kit.errors import Faulty, KitError, UnknownName
from kit.lab.pages.findings import findings_html, series_of
from kit.reading import read_sheet
from kit.reading.plant import (
    analysis_of,
    arranged,
    chosen,
    demo_analysis,
    demo_recipes,
)
from kit.reading.records import read_records
from kit.reading.yardstick import yardstick_of
from kit.tables import data_path

STAGES = ("trim", "grind", "chop", "stuff", "cook", "chill", "peel", "pack")
CSV, MAP = data_path("demo", "demo_records.csv"), data_path("demo", "demo_records.toml")


def wide(n=30, seed=3, **columns):
    rng = np.random.default_rng(seed)
    start = 100 * rng.uniform(0.95, 1.05, n)
    cooked = start * (1 - rng.normal(0.09, 0.004, n))
    frame = pd.DataFrame(
        {
            "Batch": [f"B{i}" for i in range(n)],
            "Date": pd.date_range("2026-03-01", periods=n),
            "Cook in (kg)": start.round(2),
            "Cook out (kg)": cooked.round(2),
        }
    )
    return frame.assign(**columns)


def test_the_demo_is_the_plant_its_note_says():
    truth = plant(1, ("leaking stuffer", "humidity drop"), n=120, size=2.5, stages=STAGES)
    note = data_path("demo", "demo_records.txt").read_text(encoding="utf-8")
    last_a, more = (
        int(re.search(r"after batch (\d+)", note)[1]),
        float(re.search(r"and ([\d.]+) points more are lost in the cook", note)[1]),
    )
    cook, loss = STAGES.index("cook"), truth.table.loss_pct[:, STAGES.index("cook")]
    left = np.where(np.arange(120) >= last_a, (100 - loss - more) / (100 - loss), 1)[:, None]
    want = {
        "in_kg": truth.table.in_kg * np.where(np.arange(8) > cook, left, 1),
        "out_kg": truth.table.out_kg * np.where(np.arange(8) >= cook, left, 1),
    }
    table = demo_analysis().table
    assert table.stages == STAGES and table.n == 120
    for name in ("in_kg", "out_kg", "added_kg", "rework_in_kg", "rework_out_kg"):
        assert (
            np.abs(getattr(table, name) - want.get(name, getattr(truth.table, name))).max()
            <= 0.00501
        ), name
    assert np.abs(table.facts["humidity_pct"] - truth.table.facts["humidity_pct"]).max() <= 0.501
    assert "".join(table.labels["recipe"]) == "A" * last_a + "B" * (120 - last_a)
    assert "invented" in note
    assert [int(n) for n in re.findall(r"from batch (\d+) on", note)] == [
        planted.start + 1 for planted in truth.planted
    ]


def test_both_planted_causes_are_the_findings_and_nothing_else_is():
    found = demo_analysis().analysis.findings.findings
    assert [(f.stage, f.who, f.via) for f in found] == [
        ("cook", ("smokehouse", "SH 2"), "humidity_pct"),
        ("stuff", None, None),
    ]
    for f, start in zip(found, (70, 82), strict=True):
        assert abs(f.start - start) <= 2
    assert_pencil(demo_analysis().working)


# the yardstick ----------------------------------------------------------------------------------------------------------------------------
def test_a_change_of_recipe_is_a_finding_without_the_yardstick_and_none_with_it():
    plain, judged = (demo_analysis(by).analysis for by in (False, True))
    assert any(
        f.stage == "cook" and f.who is None and abs(f.start - 40) <= 2
        for f in plain.findings.findings
    )
    assert not any(
        f.start is not None and abs(f.start - 40) <= 10 for f in judged.findings.findings
    )
    assert plain.residuals == () and [r.of for r in judged.residuals] == [
        "cook",
        "chill",
        "overall",
    ]
    cook, overall = judged.residuals[0], judged.residuals[2]
    for r in (cook, overall):
        assert len(r.recipe_changes) == 1 and abs(r.recipe_changes[0] - 40) <= 2
        assert all(abs(start - 40) > 10 for start in r.process_changes) and r.explained_pct > 40
    assert any(abs(start - 82) <= 2 for start in overall.process_changes), (
        "the leak is no matter of the recipe"
    )


def test_the_yardstick_is_the_chain_s_own_answer():
    sheet = demo_recipes()["B"]
    one, loss = yardstick_of("B", sheet), follow(sheet).cook.loss
    assert one.cook_pct * one.chill_pct / 100 == pytest.approx(loss.cooked_chilled_yield_pct)
    assert one.cook_pct == loss.smokehouse_yield_pct and one.chill_pct == loss.chill_yield_pct
    assert (
        yardstick_of("B", sheet.with_process(chill_medium=None, chill_min=None)).chill_pct is None
    )
    a, b = (stick.cook_pct for stick in demo_analysis().yardsticks)
    expected = demo_analysis().table.expected_yield_pct["cook"]
    assert (
        (expected[:40] == a).all()
        and (expected[40:] == b).all()
        and a - b == pytest.approx(1.8, abs=0.5)
    )
    assert_pencil(one.working)


def test_the_overall_expectation_moves_by_as_much_as_its_stages():
    expected = demo_analysis().table.expected_yield_pct
    assert expected["overall"][0] / expected["overall"][-1] == pytest.approx(
        expected["cook"][0] / expected["cook"][-1]
    )


def test_a_change_of_process_still_shows_beside_the_yardstick():
    table = demo_analysis().table
    cook, late = table.place("cook"), (np.arange(120) >= 90)[:, None]
    out, into = table.out_kg.copy(), table.in_kg.copy()
    out[:, cook:] *= np.where(late, 0.97, 1)
    into[:, cook + 1 :] *= np.where(late, 0.97, 1)
    found = analyse(table.changed(out_kg=out, in_kg=into)).findings.findings
    assert any(f.stage == "cook" and f.start is not None and abs(f.start - 90) <= 2 for f in found)


def test_recipes_without_a_sheet_or_a_column_are_said():
    recipes = demo_recipes()
    one = analysis_of(CSV, MAP, recipes={"a": recipes["A"]})
    assert any("no sheet for recipe B (80 batches)" in note for note in one.notes)
    assert (
        np.isnan(one.table.expected_yield_pct["cook"][40:]).all()
        and np.isfinite(one.analysis.residuals[0].residual).sum() == 40
    )
    assert any("80 batches without an expectation" in note for note in one.analysis.findings.notes)
    with pytest.raises(UnknownName, match="recipe of these records"):
        analysis_of(CSV, MAP, recipes={"C": recipes["A"]})
    with pytest.raises(KitError, match="no column says which recipe"):
        analysis_of(wide(), recipes={"A": recipes["A"]})
    with pytest.raises(KitError, match="recipe A: .*plans no cook step"):
        analysis_of(
            wide(Recipe="A"), recipes={"A": read_sheet(recipes["A"].as_dict() | {"cook": []})}
        )
    from_file = analysis_of(
        CSV,
        MAP,
        recipes={
            name: data_path("demo", file)
            for name, file in (("A", "demo_frankfurter.toml"), ("B", "demo_less_milk.toml"))
        },
    )
    assert [s.cook_pct for s in from_file.yardsticks] == [
        s.cook_pct for s in demo_analysis().yardsticks
    ]


def test_too_few_expectations_are_no_yardstick():
    few = analysis_of(wide(30, Recipe=["B"] * 25 + ["A"] * 5), recipes={"A": demo_recipes()["A"]})
    assert few.analysis.residuals == () and (few.table.judged_loss_pct == few.table.loss_pct).all()


def test_the_drafted_mapping_comes_to_the_same_findings():
    drafted, mapped = analysis_of(CSV, recipes=demo_recipes()), demo_analysis()
    assert [f.sentence for f in drafted.analysis.findings.findings] == [
        f.sentence for f in mapped.analysis.findings.findings
    ]
    assert drafted.table.labels.keys() == {"lot", "operator", "smokehouse", "supplier", "recipe"}


def test_prices_reach_the_findings_and_unknown_ones_are_refused():
    priced = analysis_of(CSV, MAP, {"cook": 2.0}).analysis.findings.findings[0]
    assert priced.money == pytest.approx(2 * priced.kg)
    with pytest.raises(UnknownName, match="line to price"):
        analysis_of(CSV, MAP, {"cok": 2.0})


def test_batches_are_put_in_the_order_of_their_dates():
    frame = wide()
    shuffled = frame.sample(frac=1, random_state=1)
    a, b = arranged(read_records(frame))[0], arranged(read_records(shuffled))[0]
    assert a.batches == b.batches and (a.in_kg == b.in_kg).all()


def test_no_dates_keep_the_order_of_the_file_and_say_so():
    table, notes = arranged(read_records(wide().drop(columns="Date")))
    assert table.batches[0] == "B0" and any("no dates" in note for note in notes)


def test_a_side_never_weighed_takes_its_neighbour_and_says_so():
    frame = wide(**{"Chill out (kg)": wide()["Cook out (kg)"] * 0.99}).assign(
        **{"Stuff out (kg)": wide()["Cook in (kg)"] * 1.01}
    )
    table, notes = arranged(read_records(frame))
    assert table.stages == ("cook", "chill")
    assert np.allclose(table.in_kg[:, 1], table.out_kg[:, 0])
    assert any("nothing was weighed into chill" in note for note in notes)
    assert any("stuff" in note and "left out" in note for note in notes)


def test_columns_beside_the_weights_are_taken_for_what_their_headers_say():
    n = 30
    frame = wide(
        n,
        **{
            "Batter end temp (°F)": np.full(n, 55.4) + np.arange(n) % 3,
            "Chill room": np.arange(n) % 5 + 2.0,
            "Fat %": 20 + np.arange(n) % 4,
            "Wind": np.arange(n) % 7 + 0.5,
            "House": ["a", "b"] * (n // 2),
            "Operator": ["x", "y", "z"] * (n // 3),
        },
    )
    table, notes = arranged(read_records(frame))
    assert table.facts["chop_end_C"][0] == pytest.approx(13.0)
    assert {"fat_pct", "Wind", "Chill room"} <= table.facts.keys(), (
        "a temperature without its unit is not guessed"
    )
    assert any("'Chill room'" in note and "°C or °F" in note for note in notes)
    assert set(table.labels["smokehouse"]) == {"a", "b"} and set(table.labels["operator"]) == {
        "x",
        "y",
        "z",
    }


def test_scales_named_in_long_records_reach_the_table():
    rows = [
        (
            f"B{b}",
            "cook",
            kind,
            100 + b % 5 - 9 * (kind == "out"),
            "rack" if kind == "in" else "pack",
        )
        for b in range(12)
        for kind in ("in", "out")
    ]
    table, _ = arranged(
        read_records(pd.DataFrame(rows, columns=["Batch", "Stage", "Kind", "Weight (kg)", "Scale"]))
    )
    assert table.scales == {("cook", "in"): "rack", ("cook", "out"): "pack"}


def test_a_forgotten_addition_is_said_and_stands_out():
    frame = wide(
        **{
            "Chop in (kg)": 80.0,
            "Chop ice (kg)": 25.0,
            "Chop out (kg)": 104.0 + np.arange(30) % 3 / 10,
        }
    )
    frame.loc[7, "Chop ice (kg)"] = np.nan
    table, notes = arranged(read_records(frame))
    assert any("no addition is written at chop for 1 of 30 batches" in note for note in notes)
    assert table.loss_pct[7, 0] < -20 and any(
        f.start == 7 for f in analyse(table).findings.findings
    )


def test_a_duplicate_batch_is_left_out_by_name():
    frame = pd.concat([wide(), wide().iloc[[4]]], ignore_index=True)
    table, notes = arranged(read_records(frame))
    assert "B4" not in table.batches and any("B4" in note for note in notes)


def test_too_little_is_refused_in_words():
    with pytest.raises(Faulty, match="at least two batches"):
        analysis_of(wide(1))
    with pytest.raises(KitError, match="no stage has a weight on both sides"):
        analysis_of(wide().drop(columns="Cook out (kg)"))
    few = analysis_of(wide(3))
    assert (
        few.analysis.findings.findings == ()
        and "Nothing stands out in 3" in few.analysis.findings.verdict
    )


# the page ---------------------------------------------------------------------------------------------------------------------------------
class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.text.append(data)


def read(page):
    reader = Reader()
    reader.feed(page)
    return reader.tags, " ".join(" ".join(reader.text).split())


def test_the_page_says_what_the_analysis_says():
    analysis = demo_analysis().analysis
    tags, text = read(findings_html(analysis))
    for f in analysis.findings.findings:
        assert f.sentence in text and f.next_measurement in text
    assert "do not show that a product is safe" in text
    assert f"{analysis.pareto.bars[0].kg:,.0f} kg" in text and "at your price" not in text
    priced = analysis_of(CSV, MAP, {"cook": 2.0}).analysis
    assert f"59.9 % {2 * priced.pareto.bars[0].kg:,.0f}" in read(findings_html(priced))[1]
    assert not {"script", "link", "img"} & set(tags)
    cook = analysis.residuals[0]
    assert (
        f"cook {cook.bias:+.1f} {cook.explained_pct:.0f} % {cook.recipe_changes[0] + 1}".replace(
            "-", "−"
        )
        in text
    )
    assert "no recipe sheet" in read(findings_html(demo_analysis(False).analysis))[1]


def test_a_batch_whose_name_does_not_say_its_place_is_named():
    table = demo_analysis(False).table.changed(batches=tuple(f"X{1000 + i}" for i in range(120)))
    assert (
        table.own_name(40) == "batch 41 in this order is X1040"
        and demo_analysis().table.own_name(40) == ""
    )
    found = analyse(table)
    assert (
        f"(Batch {found.findings.findings[0].start + 1} in this order is X{1000 + found.findings.findings[0].start}.)"
        in read(findings_html(found))[1]
    )


def test_a_quiet_plant_gets_nothing_stands_out():
    _, text = read(findings_html(analyse(plant(5, (), n=60).table)))
    assert "Nothing stands out in 60 batches." in text


def test_what_a_person_wrote_is_escaped():
    frame = wide(Operator=["<script>alert(1)</script>", "b & c"] * 15)
    frame["Batch"] = [f"<i>{b}</i>" for b in frame["Batch"]]
    page = findings_html(analysis_of(frame).analysis, "<b>title</b>", ("<u>note</u>",))
    tags, text = read(page)
    assert (
        "<b>title</b>" in text
        and "<u>note</u>" in text
        and not {"script", "i", "b", "u"} & set(tags)
    )


def test_a_finding_that_names_what_a_person_wrote_is_escaped():
    text = (
        CSV.read_text(encoding="utf-8")
        .replace("SH 2", "<script>2</script>")
        .replace("B100", "<i>B100</i>")
    )
    analysis = analysis_of(text.encode(), MAP, name="mine.csv").analysis
    assert any("<script>2</script>" in f.sentence for f in analysis.findings.findings)
    tags, text = read(findings_html(analysis))
    assert "<script>2</script>" in text and not {"script", "i"} & set(tags)


def test_the_demo_records_come_out_of_the_generator_with_their_seed():
    """The command that made them still makes them, to the last written figure."""
    tool = runpy.run_path(Path(__file__).parent / "tools" / "demo_records.py")
    stored = data_path("demo", "demo_records.csv").read_text(encoding="utf-8")
    assert tool["demo_records"]() == list(csv.DictReader(stored.splitlines()))


# which batches ----------------------------------------------------------------------------------------------------------------------------
def test_product_and_period_choose_batches_and_say_where_none_are_left():
    table = demo_analysis().table
    made_of = table.labels["recipe"]
    part = chosen(table, "B", date(2024, 2, 1), date(2024, 2, 9))
    day = table.dates.astype("datetime64[D]").astype(str)
    want = [
        k for k in range(table.n) if made_of[k] == "B" and "2024-02-01" <= day[k] <= "2024-02-09"
    ]
    assert part.batches == tuple(table.batches[k] for k in want) and len(want) > 5
    for name in ("in_kg", "out_kg", "added_kg"):
        assert np.array_equal(getattr(part, name), getattr(table, name)[want])
    assert np.array_equal(part.facts["fat_pct"], table.facts["fat_pct"][want])
    assert np.array_equal(part.expected_yield_pct["cook"], table.expected_yield_pct["cook"][want])
    assert chosen(table) is table
    with pytest.raises(KitError, match="0 of 120 batches"):
        chosen(table, first=date(2030, 1, 1))
    with pytest.raises(KitError, match="no batch is of the product 'C'"):
        chosen(table, "C")
    with pytest.raises(KitError, match="no dates"):
        chosen(table.changed(dates=None), first=date(2024, 1, 1))
    gaps = table.dates.copy()
    gaps[:3] = np.datetime64("NaT")
    assert chosen(table.changed(dates=gaps), first=date(2020, 1, 1)).n == 117


def test_a_chart_of_a_finding_shows_what_the_finding_is_about():
    table = demo_analysis().table
    first = demo_analysis().analysis.findings.findings[0]
    name, y = series_of(first, table)
    assert name == "loss at cook, %, corrected for recipe"
    assert np.array_equal(y, table.judged_loss_pct[:, table.place("cook")])
    name, y = series_of(replace(first, cause="missing on the way", stage="stuff"), table)
    assert name == "missing from stuff to cook, %"
    assert np.array_equal(y, table.missing_pct[:, table.place("stuff")])
    scaled = table.changed(scales={("chill", "in"): "rack scale"})
    name, y = series_of(replace(first, cause="scale", scale="rack scale"), scaled)
    assert name == "missing from cook to chill, %"
    name, _ = series_of(
        replace(first, cause="scale", scale="last"), table.changed(scales={("pack", "out"): "last"})
    )
    assert name == "loss at pack, %"

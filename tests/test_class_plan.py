"""plan.toml: what is written is read back, the same bytes; whatever else stands in it is told with its place and what to try."""

from dataclasses import replace

import pytest

from kit.classroom.plan import ClassPlan
from kit.classroom.tasks import ClassRoom
from kit.errors import Faulty, KitError
from kit.files import put
from kit.reading import read_sheet
from kit.reading.class_plan import plan_toml, read_plan
from kit.tables import data_path

DEMO = read_plan(data_path("demo", "class", "plan.toml"))
TEXT = plan_toml(DEMO)


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"cured": True, "paper": "Letter", "units": "US"},
        {"levels": ((13.0, 16.5, 21.0),), "batters": 3, "tubes": 2},
        {"factor": ("end_C", "salt_pct"), "levels": ((13.0, 18.0), (2.0, 0.5)), "batters": 4},
        {"absent": (3, 5), "prices": {'a "quoted" name = 1': 0.1}},
        {"room": ClassRoom((90, 90), overnight=True), "kind": "pairs", "seed": 2**31},
    ],
)
def test_what_is_written_is_read_back_to_the_byte(change, tmp_path):
    plan = replace(DEMO, **change)
    again = read_plan(put(tmp_path / "plan.toml", plan_toml(plan)))
    assert again == plan and plan_toml(again) == plan_toml(plan)
    assert again.fingerprint == plan.fingerprint


def test_what_is_left_out_has_its_usual_value():
    sheet = TEXT[TEXT.index("[sheet]") :]
    plan = read_plan(f'kind = "class plan"\n[question]\nfactor = "salt_pct"\n{sheet}')
    assert plan == replace(
        ClassPlan(read_sheet(data_path("demo", "teaching_kitchen.toml"))),
        factor=("salt_pct",),
        levels=((2.0, 0.5),),
    )


BAD = [
    ("seed = 20261128", "seed = -1", "whole number, 0 to"),
    ("seed = 20261128", "seed = 1.5", "whole number"),
    ("seed = 20261128", "seed = true", "whole number"),
    ("seed = 20261128", 'seed = "=1+1"', "whole number"),
    ("seed = 20261128", "sead = 1", "nearest: seed"),
    ("version = 1", "version = 2", "1 to 1"),
    ("class_number = 17", "class_number = 0", "1 to 9999"),
    ("class_number = 17", "class_number = 2026-11-29", "whole number"),
    ('paper = "A4"', 'paper = "A5"', "A4, Letter"),
    ('units = "metric"', 'units = "imperial"', "metric, US"),
    ('factor = "end_C"', 'factor = "sugar"', "one or two of: end_C"),
    ('factor = "end_C"', 'factor = ["end_C", "salt_pct"]', "2 factor"),
    ('factor = "end_C"', "factor = 3", "one or two of: end_C"),
    ("levels = [13, 18]", "levels = 13", "levels = \\[13, 18\\]"),
    ("levels = [13, 18]", "levels = []", "levels"),
    ("levels = [13, 18]", "levels = [13]", "2 to 5"),
    ("levels = [13, 18]", "levels = [13, 13]", "different"),
    ("levels = [13, 18]", "levels = [13, 90]", "8 to 24"),
    ("levels = [13, 18]", "levels = [13, nan]", "list of numbers"),
    ("levels = [13, 18]", "levels = [[13, 18], [1, 2]]", "one list of levels|levels"),
    ("levels = [13, 18]", 'levels = ["x"]', "list of numbers"),
    ('response = "cook_loss_pct"', 'response = "taste"', "cook_loss_pct"),
    ("worth_knowing_points = 1.5", "worth_knowing_points = inf", "0.1 to 20"),
    ('kind = ""', 'kind = "latin"', "pairs"),
    ('kind = ""', 'kind = "single"', "single"),
    ('kind = ""', 'kind = "split"', "split"),
    ("stations = 8", "stations = 1", "2 to 99"),
    ("stations = 8", "stations = nan", "2 to 99"),
    ("batters = 2", "batters = 99", "1 to 9"),
    ("batters = 2", "batters = 3", "batters"),
    ("tubes = 3", "tubes = 0", "1 to 9"),
    ("lots = 1", "lots = 1000", "1 to 99"),
    ('scatter = "usual"', 'scatter = "wild"', "careful, usual, rough"),
    ("absent = []", 'absent = ["three"]', "absent = \\[3\\]"),
    ("absent = []", "absent = [1,2,3,4,5,6,7]", "two stations"),
    ("least_kg = 0.3", "least_kg = 500", "0.02 to 50"),
    ("sessions_min = [90, 90]", "sessions_min = [1]", "15"),
    ("sessions_min = [90, 90]", "sessions_min = 90", "list of numbers"),
    ("bath_places = 48", "bath_places = -1", "1 to 2000"),
    ("bath_C = 75", "bath_C = 750", "55 to 98"),
    ("balance_step_g = 0.01", "balance_step_g = 0", "0.001 to 20"),
    ("overnight = false", "overnight = 0", "true or false"),
    ("weigh = 4", "weigh = 0", "0.5 to 240"),
    ("weigh = 4", 'weigh = "4 min"', "0.5 to 240"),
    ("after_bath_min = 6", "after_bath_min = 600", "0 to 60"),
    ("cured = false", 'cured = "no"', "true or false"),
    ("per_kg = 6.5", "per_kg = -1", "0 to"),
    ("per_kg = 6.5", 'per_kg = "=1+1"', "0 to"),
    ('name = "pork shoulder"\nper_kg', "name = 3\nper_kg", "1 to 60 characters"),
    ('name = "pork backfat"\nper_kg', 'name = "pork shoulder"\nper_kg', "two prices"),
    ('amount = "1.9 kg"', 'amount = "much"', "number and a unit"),
    ('amount = "1.9 kg"', 'amount = "-1.9 kg"', "sheet"),
    ('kind = "class plan"', 'kind = "batch"', "no class plan"),
    ("[room]", "[room]\nwindows = 3", "nearest"),
    ("[room]", "[kitchen]\nx = 1\n[room]", "nearest"),
    ("[limits]", "[limits", "not TOML"),
    ("[limits]", "[minutes]", "twice"),
    ("[batter]\n", "batter = 3\n[other]\n", "not TOML|not known|twice|table|given"),
]


@pytest.mark.parametrize("old, new, said", BAD)
def test_a_fault_is_told_with_its_place_and_remedy(old, new, said):
    assert old in TEXT
    with pytest.raises(Faulty, match=said) as caught:
        read_plan(TEXT.replace(old, new, 1))
    assert all(one.where and one.what for one in caught.value.faults)


def test_every_fault_is_told_at_once_with_its_row():
    text = TEXT.replace("seed = 20261128", "seed = -1").replace("weigh = 4", "weigh = 0")
    with pytest.raises(Faulty) as caught:
        read_plan(text.replace("cured = false", "cured = 1"))
    rows = {one.field: one.row for one in caught.value.faults}
    lines = text.split("\n")
    assert rows == {
        "seed": lines.index("seed = -1") + 1,
        "minutes.weigh": lines.index("weigh = 0") + 1,
        "batter.cured": lines.index("cured = false") + 1,
    }


@pytest.mark.parametrize(
    "source", ["nowhere.toml", "x.csv", b"", b"PK\x03\x04", b"\xff\xfe", "kind\n=", 3, None]
)
def test_what_is_no_plan_is_refused(source):
    with pytest.raises(KitError):
        read_plan(source)

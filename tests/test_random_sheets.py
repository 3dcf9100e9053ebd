"""Whatever ordinary sheet a plant or a kitchen writes, every room answers and the summary prints."""

import numpy as np
import pytest
from random_sheets import ROOMS, SEED, random_sheet

from kit.chain import follow
from kit.chain.chop import CUTTERS
from kit.reading import read_sheet
from kit.tables import data_path

COUNT = 100
DEMOS = sorted(
    path
    for path in data_path("demo").glob("*")
    if path.stem == "demo_frankfurter"
    or path.suffix == ".toml"
    and b"[[line]]" in path.read_bytes()
)


def assert_answers(sheet):
    followed = follow(sheet)
    for room in ROOMS:
        getattr(followed, room)
    assert "not computed" not in str(followed), str(followed)
    return followed


def test_random_sheets_of_ordinary_range():
    """The first of the 2,000 that tests/bench/bench_random_sheets.py runs by hand."""
    rng, cutters, frozen = np.random.default_rng(SEED), set(), 0
    for _ in range(COUNT):
        sheet = read_sheet(random_sheet(rng))
        frozen += assert_answers(sheet).chop.chopped.ice_left_kg > 0
        cutters.add(sheet.process.cutter)
    assert cutters == {None, *CUTTERS} and frozen > 5, (
        "the draws hold every cutter, and ends that are frozen in part"
    )


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.name)
def test_each_demo_sheet(path):
    assert_answers(read_sheet(path))


def test_a_room_that_cannot_answer_says_so_and_silences_no_other():
    sheet = read_sheet(data_path("demo", "demo_frankfurter.toml")).with_process(
        casing="natural sheep", stuffed_mm=60
    )
    said = str(follow(sheet))
    assert (
        "not computed: 60 mm is wider than sheep casing is graded" in said
        and "final chopping temperature 13.0 °C" in said
        and "expected cook yield (cooked and chilled)" in said
    )

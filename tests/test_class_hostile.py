"""Hand-ins of a bad day, every kind once; tests/bench/bench_hostile_class.py tries a thousand."""

import random

import pytest
from hostile_class import MAKERS, Bad, accused, table, text


@pytest.mark.parametrize("n", range(len(MAKERS)))
def test_nothing_is_silent_and_every_fault_has_its_place_and_a_remedy(n):
    bad = MAKERS[n](random.Random(n), 1 + n % 8)
    assert accused(bad) == [], bad.kind


def test_the_accuser_sees_what_is_silent():
    rows = table(2)
    assert accused(Bad("as it should be", [("a.csv", text(rows))], (2,))) == []
    rows[1][3] = f"{float(rows[1][3]) + 0.8:.2f}"
    assert "comes out changed" in " ".join(accused(Bad("one digit", [("a.csv", text(rows))], (2,))))

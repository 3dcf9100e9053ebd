"""The random order of a class: even over seeds, the same on any machine, and no station's plan moves when another leaves.

`evenness` is run over 10,000 seeds by hand: python tests/test_class_random.py 10000
"""

import hashlib
import sys
from collections import Counter

import pytest
from scipy.stats import chi2

from kit.classroom.plan import without
from kit.reading.class_plan import read_plan
from kit.tables import data_path
from kit.trial import ask, design

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
UNITS_OF_THE_DEMO = "d710799f02792b48bb1134a4b3b462296b9152fc3579872d1da13d5f1a2ebc9d"
"""sha256 of the units of data/demo/class/plan.toml"""
CASES = {
    "pairs": ((13, 18), 8, 2, 2),
    "blocks of three": ((10, 14, 18), 6, 3, 3),
    "pairs of three": ((10, 14, 18), 6, 2, 2),
    "four levels": ((10, 13, 16, 19), 8, 4, 2),
    "one batter": ((13, 18), 8, 1, 4),
}


def evenness(case: str, seeds: range) -> dict[int, float]:
    """Station -> chi-square p of level × lot at its first place; every plan is balanced in itself, so each station stands alone."""
    levels, stations, batters, lots = CASES[case]
    question, count = ask("end_C", levels), Counter()
    for seed in seeds:
        planned = design(question, stations, batters, 1, seed=seed, lots=lots)
        count.update((u.station, u.treatment, u.lot) for u in planned.units if u.batter == 1)
        if batters > 1 and stations % len(levels) == 0:  # every level as often at each place
            places = Counter((u.batter, u.treatment) for u in planned.units)
            assert len(set(places.values())) == 1 or batters < len(levels)
    cells, found = len(levels) * lots, {}
    for station in range(1, stations + 1):
        its = [count[station, t, lot + 1] for t in range(len(levels)) for lot in range(lots)]
        each = len(seeds) / cells
        assert sum(its) == len(seeds)
        found[station] = float(chi2.sf(sum((n - each) ** 2 / each for n in its), cells - 1))
    return found


@pytest.mark.parametrize("case", CASES)
def test_level_and_lot_are_even_at_the_first_place_of_a_station(case):
    """Of so many stations none beyond the 1-in-10,000 point."""
    assert min(evenness(case, range(300)).values()) > 1e-4


def test_the_same_seed_gives_the_same_plan_on_any_machine():
    said = repr(
        [(u.station, u.batter, u.treatment, u.lot, u.machine, u.fills_g) for u in PLAN.design.units]
    )
    assert hashlib.sha256(said.encode()).hexdigest() == UNITS_OF_THE_DEMO


def test_station_3_stays_when_station_5_leaves():
    whole, left = PLAN.design.units, without(PLAN, [5])
    assert list(left.design.units) == [u for u in whole if u.station != 5]
    rows = [row for row in PLAN.timetable.rows if row.key[0] == 3]
    assert [row for row in left.timetable.rows if row.key[0] == 3] == rows


if __name__ == "__main__":
    for name in CASES:
        ps = evenness(name, range(int(sys.argv[1])))
        print(name, {station: round(p, 4) for station, p in ps.items()})

"""What a batch's logs say: the end and the minutes of the knives, cores, rise and humidity of the smokehouse; and what they cannot tell is said."""

import numpy as np
import pytest
from pencil import assert_pencil

from kit.chain.diagnosis import LOGGED, MEASURED, PLANNED, best_end_C, evidence_of
from kit.chain.diagnosis_logs import chop_logged, house_logged
from kit.chain.emulsion import described
from kit.diagnosis import diagnose
from kit.errors import OutOfRange
from kit.reading import read_sheet
from kit.reading.logs import read_log
from kit.tables import data_path


@pytest.fixture(scope="module")
def demo():
    return read_sheet(data_path("demo", "demo_frankfurter.toml"))


def log_of(**columns):
    """A log with a reading each minute."""
    names = list(columns)
    rows = [",".join(["minute", *(f"{name} (°C)" for name in names)])]
    rows += [
        ",".join([str(n), *("" if np.isnan(v) else f"{v:.2f}" for v in values)])
        for n, values in enumerate(zip(*columns.values(), strict=True))
    ]
    return read_log("\n".join(rows).encode())


def one(evidence, key):
    return next(told for told in evidence.told if told.reading.key == key)


def test_the_end_is_where_the_knives_stopped_and_not_where_the_log_ends():
    log = log_of(bowl=[-3, -3, -2, 0, 4, 8, 12, 12.2, 12.4, 12.6])
    found = chop_logged(log, to_min=6)
    assert (found.end_C, found.knife_min) == (8.0, 6.0), (
        "the median of the last three readings before the stop"
    )
    unsaid = chop_logged(log)
    assert (
        unsaid.end_C == pytest.approx(12.4)
        and unsaid.knife_min is None
        and "Nobody said when the knives stopped" in unsaid.notes[0]
    )
    later = chop_logged(log, from_min=2, to_min=8)
    assert later.knife_min == 6 and later.end_C == pytest.approx(12.2)


def test_a_spike_and_a_hole_do_not_count():
    log = log_of(bowl=[-3, -3, -2, 0, 85, 4, np.nan, 6, 8, 9])
    assert chop_logged(log).end_C == 8.0 and chop_logged(log, to_min=9).end_C == 8.0


def test_several_columns_are_said_and_a_wrong_name_is_refused():
    log = log_of(bowl=[1, 2, 3, 4], knife=[5, 6, 7, 8])
    assert "'bowl (°C)' counts, not knife (°C)" in chop_logged(log).notes[0]
    with pytest.raises(OutOfRange, match="usable readings"):
        chop_logged(log, from_min=1, to_min=2)


def test_the_coldest_core_counts_and_the_fastest_rise():
    """Core A climbs 50 K evenly in 50 minutes, core B 60 K: at 9/10 of each climb the rises are 1 and 1.2 K/min by hand."""
    t = np.arange(61)
    log = log_of(
        house=np.full(61, 80.0), core_A=np.minimum(10 + t, 60), core_B=np.minimum(10 + 1.2 * t, 70)
    )
    found = house_logged(log)
    assert (found.core_C, found.core) == (
        60.0,
        "core_A (°C)",
    ) and found.heating_K_per_min == pytest.approx(1.2)
    assert_pencil(found.working)
    named = house_logged(log, cores=["core_B (°C)"])
    assert named.core_C == 70.0
    flat = house_logged(log_of(core=[70, 70, 70.2, 70]))
    assert flat.heating_K_per_min is None and "no rise" in flat.notes[0]
    with pytest.raises(OutOfRange, match="called a core"):
        house_logged(log_of(one=[1, 2, 3], two=[1, 2, 3]))


def test_logs_are_evidence_before_the_plan_and_after_a_probe(demo):
    t = np.linspace(-3, 19, 12)
    chop, house = (
        chop_logged(log_of(bowl=t), to_min=11),
        house_logged(log_of(core=np.linspace(10, 66, 60))),
    )
    found = evidence_of(demo, chop_log=chop, house_log=house)
    end = one(found, "end_over_best_K")
    assert (end.origin, end.counts) == (LOGGED, True) and end.value == pytest.approx(
        17.0 - best_end_C(described(demo).batter), abs=0.01
    )
    assert one(found, "chop_time_pct").origin == LOGGED and one(
        found, "chop_time_pct"
    ).value == pytest.approx(100 * 11 / demo.process.chop_min)
    assert one(found, "core_C").word == "low" and one(found, "heating_K_per_min").origin == LOGGED
    assert diagnose(["fat_cap"], found.readings).leading.cause.key == "hot_chop"
    both = evidence_of(demo, end_C=14.0, chop_log=chop)
    assert one(both, "end_over_best_K").origin == MEASURED
    unsaid = evidence_of(demo, chop_log=chop_logged(log_of(bowl=t)))
    assert "chop_time_pct" in {reading.key for reading, _ in unsaid.silent}, (
        "no chopping time in the log, none from the plan"
    )
    assert one(evidence_of(demo), "core_C").origin == PLANNED
    for evidence in (found, both, unsaid):
        keys = [told.reading.key for told in evidence.told] + [
            reading.key for reading, _ in evidence.silent
        ]
        assert len(keys) == len(set(keys))
        assert_pencil(evidence.working)


def test_the_demo_logs_say_what_their_text_says(demo):
    """chopper_log.txt: knives stop at 9.0 min; cook_log.txt: the thicker link is Core 2, so that it stays the colder."""
    chop = chop_logged(read_log(data_path("demo", "chopper_log.csv").read_bytes()), to_min=9)
    house = house_logged(read_log(data_path("demo", "cook_log.csv").read_bytes()), demo)
    assert chop.knife_min == 9 and 12 < chop.end_C < 13.5
    assert house.core.startswith("Core 2") and house.core_C < 104


def test_cores_that_cannot_be_true_are_refused_or_said_first(demo):
    from kit.errors import KitError

    t = np.arange(61)
    climbs = np.interp(t, [0, 50, 60], [20, 70, 72])
    with pytest.raises(KitError, match="no wet core at ambient pressure"):
        house_logged(log_of(Core=1.8 * climbs + 32))
    jumped = house_logged(log_of(Core=np.where(t < 30, climbs, 79 + 0.1 * (t % 3))), demo)
    assert "rises from" in jumped.notes[0] and not any(
        "rises from" in note for note in house_logged(log_of(Core=climbs), demo).notes
    )

"""The mystery batch: what is hidden agrees with the catalogue, it is the same for a station, and its own measurements tell it."""

from collections import Counter

import numpy as np
import pytest

from kit import tables
from kit.diagnosis import diagnose
from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.mystery import mystery
from kit.errors import OutOfRange, UnknownName

BOOK = catalogue()
CASES = [mystery(number, station) for number in range(10) for station in range(1, 25)]


def test_hidden_batches_show_what_the_catalogue_says():
    """Of all pairs that a row joins by the same word, the share of readings in the row's class, with noise, within 0.1 of the word's share;
    pairs that no row joins are usual as in normal batches, within 0.05."""
    hits, usual = {}, []
    of_the_symptom = {"green_core_pct", "green_rim_pct", "fresh_redness_pct", "grease_g_per_m2"}
    for case in CASES:
        for key, (value,) in case.investigate(BOOK.jobs).evidence.items():
            row, which = BOOK.shows.get((case.cause, key)), int(BOOK.readings[key].class_of(value))
            if row and key not in of_the_symptom:
                hits.setdefault(row.how_sure, []).append(which == row.shows)
            elif row is None:
                usual.append((which == 1) - BOOK.readings[key].sound_shares()[1])
    for word, found in hits.items():
        told = tables.value(f"diagnosis_sure_{word.replace(' ', '_')}")
        assert np.mean(found) == pytest.approx(told, abs=0.1), word
    assert len(hits) == 4 and np.mean(usual) == pytest.approx(0, abs=0.05)


def test_a_station_makes_the_same_case_every_time():
    for station in range(1, 25):
        one, two = mystery(5, station), mystery(5, station)
        assert one == two and "tube_test" in BOOK.jobs
        jobs = ["tube_test", "tube test"]
        assert one.investigate(jobs).evidence == two.investigate(jobs).evidence
    assert mystery(5, 1).truth != mystery(6, 1).truth != mystery(6, 2).truth


def test_asking_twice_is_another_noisy_reading_of_the_same_batch():
    case = mystery(3, 3)
    readings = case.investigate(["pH_meter"] * 40).evidence["pH"]
    assert len(set(readings)) > 3
    noise = BOOK.readings["pH"].noise_sd
    assert abs(np.mean(readings) - case.truth["pH"]) < 4 * noise / np.sqrt(40)
    assert 0.5 * noise < np.std(readings) < 1.6 * noise


def test_the_order_of_measuring_changes_no_reading():
    case = mystery(8, 1)
    a = case.investigate(["pH_meter", "tube_test", "pH_meter"])
    b = case.investigate(["tube_test", "pH_meter", "pH_meter"])
    assert a.evidence == b.evidence and len(a.evidence["pH"]) == 2
    minutes = 2 * BOOK.jobs["pH_meter"].minutes + BOOK.jobs["tube_test"].minutes
    assert a.minutes == b.minutes == minutes
    assert a.diagnosis.weights == pytest.approx(diagnose(case.symptoms, a.evidence).weights)


def test_symptoms_are_ones_the_catalogue_names_for_the_cause_and_readings_agree_with_them():
    for case in CASES:
        assert all((symptom, case.cause) in BOOK.gives for symptom in case.symptoms)
        green = max(case.truth["green_core_pct"], case.truth["green_rim_pct"])
        shows = any((case.cause, key) in BOOK.shows for key in ("green_core_pct", "green_rim_pct"))
        assert (green > 15) == ("green" in case.symptoms and shows)


def test_the_case_shows_neither_cause_nor_truth():
    for case in CASES:
        assert "cause" not in repr(case) and "truth" not in repr(case)


def test_readings_stay_possible_and_are_rounded_as_printed():
    for case in CASES[::5]:
        for key, (value,) in case.investigate(BOOK.jobs).evidence.items():
            reading = BOOK.readings[key]
            assert reading.lowest <= value <= reading.highest and np.isfinite(value)
            ends = (reading.lowest, reading.highest)
            assert round(value, reading.decimals) == pytest.approx(value) or value in ends


def test_no_cause_comes_twice_before_every_cause_has_come_once():
    counts = Counter(mystery(1, station).cause for station in range(1, 41))
    assert len(counts) == len(BOOK.causes) == 26 and max(counts.values()) == 2
    orders = [[mystery(number, station).cause for station in range(1, 6)] for number in (1, 2)]
    assert orders[0] != orders[1]


def _followed(case):
    """The measurement offered first, until one cause stands."""
    jobs = []
    while True:
        found = case.investigate(jobs).diagnosis
        if found.settled or not found.next_jobs:
            return found, jobs
        jobs.append(found.next_jobs[0].job.key)


def test_the_measurements_offered_find_the_fault_and_blind_ones_do_not():
    """Naming at once from what is seen is right in well under 60 of 100; following the offers in most; as many jobs drawn blindly do worse."""
    rng, at_once, offered, blind = np.random.default_rng(9), 0, 0, 0
    quick = [key for key, job in BOOK.jobs.items() if job.minutes < 1440]
    for case in CASES[::2]:
        found, jobs = _followed(case)
        drawn = case.investigate(map(str, rng.permutation(quick)[: len(jobs)])).diagnosis
        at_once += diagnose(case.symptoms).leading.cause.key == case.cause
        offered += found.leading.cause.key == case.cause
        blind += drawn.leading.cause.key == case.cause
    shares = [count / len(CASES[::2]) for count in (at_once, offered, blind)]
    assert 0.15 < shares[0] < 0.6 and shares[1] > 0.75 and shares[2] < shares[1] - 0.15, shares


def test_the_right_name_is_right_and_a_wrong_one_points_to_a_measurement():
    for case in CASES[:24]:
        hidden = BOOK.causes[case.cause].name
        assert case.check(case.cause) == case.check(hidden) and hidden in case.check(hidden)
        assert case.check(hidden).startswith("Right:")
        for other in BOOK.causes:
            if other != case.cause:
                reply = case.check(other)
                assert reply.startswith("Not this one:") and hidden not in reply
                assert "tells you" in reply or "neighbours" in reply


@pytest.mark.parametrize(
    "call, kind, says",
    [
        (lambda: mystery(-1, 1), OutOfRange, "whole number"),
        (lambda: mystery(1.5, 1), OutOfRange, "whole number"),
        (lambda: mystery(True, 1), OutOfRange, "whole number"),
        (lambda: mystery("a", 1), OutOfRange, "whole number"),
        (lambda: mystery(1, 0), OutOfRange, "station"),
        (lambda: mystery(1, 1).investigate(["smell"]), UnknownName, "measurement"),
        (lambda: mystery(1, 1).check("bad luck"), UnknownName, "nearest"),
    ],
)
def test_bad_input_says_what_and_what_to_try(call, kind, says):
    with pytest.raises(kind, match=says):
        call()

"""The catalogue, the weighing and the next measurement."""

import itertools
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from pencil import assert_pencil

from kit import tables
from kit.diagnosis import diagnose
from kit.diagnosis.answer import weighed
from kit.diagnosis.catalogue import HOW_OFTEN, HOW_SURE, USUAL, catalogue
from kit.diagnosis.evidence import above_best_K, information_bits
from kit.errors import OutOfRange, UnknownName

BOOK = catalogue()
SHOWS = list(BOOK.shows.values())


# the catalogue


def test_every_row_says_where_it_comes_from():
    rows = [
        *BOOK.symptoms.values(),
        *BOOK.causes.values(),
        *BOOK.jobs.values(),
        *BOOK.readings.values(),
        *BOOK.gives.values(),
        *SHOWS,
    ]
    assert len(rows) > 200
    assert [
        row
        for row in rows
        if row.status not in tables.STATUSES or row.source not in tables.sources()
    ] == []


def test_how_much_rests_on_what_is_known():
    """When reading overtakes practice, the words of the room should change."""
    rows = [*BOOK.causes.values(), *BOOK.gives.values(), *SHOWS]
    counts = Counter(row.status for row in rows)
    assert 25 <= counts["read"] < counts["practice"]


def test_the_files_of_the_catalogue_agree_with_each_other():
    """Every row names what the other files hold; a class has its word and its edge; no key stands for two things."""
    assert {row.commonness for row in BOOK.causes.values()} <= {"common", "sometimes", "rare"}
    assert {reading.job for reading in BOOK.readings.values()} == set(BOOK.jobs)
    for reading in BOOK.readings.values():
        sides = (reading.low_word, reading.low_edge), (reading.high_word, reading.high_edge)
        assert all(math.isinf(edge) == (not word) for word, edge in sides), reading.key
    for (symptom, cause), row in BOOK.gives.items():
        assert symptom in BOOK.symptoms and cause in BOOK.causes and row.how_often in HOW_OFTEN
    for (cause, key), row in BOOK.shows.items():
        assert cause in BOOK.causes and key in BOOK.readings and row.how_sure in HOW_SURE
        assert row.shows != USUAL and BOOK.readings[key].words[row.shows], (cause, key)
    for name, count in (("gives", len(BOOK.gives)), ("shows", len(BOOK.shows))):
        assert len(tables.read_rows("diagnosis", f"{name}.csv")) == count, "a pair stands twice"
    keys = [*BOOK.symptoms, *BOOK.causes, *BOOK.readings, *BOOK.jobs]
    assert len(set(keys)) == len(keys)


def test_the_faults_of_the_trade_are_there():
    assert set(BOOK.symptoms) == {
        "fat_cap",
        "greasy_skin",
        "fat_pockets",
        "jelly",
        "wrinkles",
        "crumbly",
        "mushy",
        "holes",
        "pale",
        "green",
        "poor_peel",
        "burst",
        "shrivel",
    }


def test_every_cause_gives_a_symptom_and_shows_in_a_measurement():
    assert (
        {row.cause for row in BOOK.gives.values()}
        == set(BOOK.causes)
        == {row.cause for row in SHOWS}
    )


def test_any_two_causes_of_a_symptom_differ_in_some_reading():
    """Otherwise no measurement of the catalogue could tell them apart."""
    alike = [
        (s, a.key, b.key)
        for s in BOOK.symptoms
        for a, b in itertools.combinations(BOOK.causes_of(s), 2)
        if {(r.reading, r.shows) for r in SHOWS if r.cause == a.key}
        == {(r.reading, r.shows) for r in SHOWS if r.cause == b.key}
    ]
    assert alike == []


def test_shares_are_shares():
    assert np.allclose(BOOK.class_share.sum(axis=2), 1) and (BOOK.class_share >= 0).all()
    assert ((BOOK.symptom_share > 0) & (BOOK.symptom_share < 1)).all()
    possible = np.array(
        [[bool(word) for word in reading.words] for reading in BOOK.readings.values()]
    )
    assert (BOOK.class_share[:, ~possible] == 0).all()
    assert (BOOK.class_share[:, possible] >= 0.9 * tables.value("diagnosis_slip_share")).all(), (
        "one reading must never rule a cause out"
    )


def test_what_can_hurt_somebody_carries_its_caution():
    for key in (
        "undercooked",
        "nitrite_burn",
        "low_nitrite",
        "unmixed_cure",
        "recontaminated",
        "hard_chill",
    ):
        assert any(
            words in BOOK.causes[key].caution
            for words in ("local code", "have it tested", "have several links tested")
        )
    assert all(
        word in " ".join(diagnose("green").cautions) for word in ("taste none", "Hold the lot")
    )
    assert "undercooked" in " ".join(diagnose("wrinkles").cautions)


# never one cause from one symptom


@pytest.mark.parametrize("symptom", BOOK.symptoms)
def test_no_symptom_names_one_cause(symptom):
    found = diagnose(symptom)
    assert len(found.standing) >= 2 and not found.settled
    assert len(BOOK.causes_of(symptom)) >= 2
    assert any("measure before changing anything" in note for note in found.notes)
    assert found.next_jobs, "there is always a measurement to offer"


def test_no_pair_of_symptoms_names_one_cause():
    assert all(
        len(diagnose(pair).standing) >= 2 for pair in itertools.combinations(BOOK.symptoms, 2)
    )


def test_causes_that_stand_for_a_symptom_are_those_the_catalogue_names_for_it():
    for symptom in BOOK.symptoms:
        named = {cause.key for cause in BOOK.causes_of(symptom)}
        assert {found.cause.key for found in diagnose(symptom).standing} <= named


# weighing


def test_weights_are_the_product_of_their_shares():
    """Redone here from the catalogue's words alone."""
    found = diagnose(["jelly"], {"pH": "acid", "core_C": 72.0}, absent=["mushy"])

    def share(word):
        return tables.value(f"diagnosis_{word.replace(' ', '_')}")

    def by_hand(cause):
        jelly, mushy = (BOOK.gives.get((s, cause)) for s in ("jelly", "mushy"))
        pH, core = (BOOK.shows.get((cause, r)) for r in ("pH", "core_C"))
        of = {
            "pH": BOOK.readings["pH"].sound_shares(),
            "core_C": BOOK.readings["core_C"].sound_shares(),
        }
        low_pH = share(f"sure {pH.how_sure}") if pH else of["pH"][0]
        if core is None:
            usual_core = of["core_C"][1]
        else:
            other = of["core_C"][2 - core.shows]
            sure, both = share(f"sure {core.how_sure}"), of["core_C"][1] + other
            usual, beyond = (
                (1 - sure) * of["core_C"][1] / both,
                max(share("slip share"), (1 - sure) * other / both),
            )
            usual_core = usual / (sure + usual + beyond)
        return (
            share(BOOK.causes[cause].commonness)
            * share(f"gives {jelly.how_often if jelly else 'hardly'}")
            * (1 - share(f"gives {mushy.how_often if mushy else 'hardly'}"))
            * low_pH
            * usual_core
        )

    expected = {cause: by_hand(cause) for cause in BOOK.causes}
    top = max(expected.values())
    assert found.weights == pytest.approx(
        {cause: w / top for cause, w in expected.items()}, rel=1e-9
    )


@pytest.mark.parametrize("row", SHOWS, ids=lambda row: f"{row.cause}-{row.reading}")
def test_seeing_what_a_cause_shows_lifts_it_over_causes_that_do_not_move_the_reading(row):
    """And seeing the usual instead lowers it."""
    symptom = next(s for (s, c) in BOOK.gives if c == row.cause)
    other = next(c for c in BOOK.causes if (c, row.reading) not in BOOK.shows)
    reading = BOOK.readings[row.reading]

    def lead(evidence):
        weights = diagnose(symptom, evidence).weights
        return weights[row.cause] / weights[other]

    assert lead({row.reading: reading.words[row.shows]}) > 2 * lead(None)
    assert lead({row.reading: reading.usual_word}) < 0.9 * lead(None)


@given(
    st.permutations([("pH", 5.5), ("core_C", 72.0), ("air_pct", 9.0), ("brine_pct_of_sheet", 60.0)])
)
def test_the_order_of_evidence_changes_nothing(order):
    assert diagnose("crumbly", dict(order)).weights == pytest.approx(
        diagnose("crumbly", dict(sorted(order))).weights, rel=1e-12
    )


def test_readings_of_the_same_thing_count_once_as_their_mean():
    once, often = diagnose("crumbly", {"pH": 5.5}), diagnose("crumbly", {"pH": [5.4, 5.5, 5.6]})
    assert often.weights == once.weights
    assert (
        diagnose("crumbly", {"pH": [5.5, 6.1]}).weights
        == diagnose("crumbly", {"pH": "usual"}).weights
    )


def test_reasons_name_side_strength_and_row():
    found = diagnose(["jelly"], {"tube_water_over_g": 4.0, "pH": 5.92})
    acid = next(f for f in (*found.standing, *found.set_aside) if f.cause.key == "acid_meat")
    against = {reason.words: reason for reason in acid.speaks_against}
    assert any(words.startswith("pH") for words in against) and all(
        r.ratio < 1 for r in against.values()
    )
    assert any(
        r.words.startswith("excess exudate") and r.ratio > 1
        for f in found.standing
        for r in f.speaks_for
    )
    assert {r.strength for f in found.standing for r in f.speaks_for} <= {
        "slightly",
        "clearly",
        "strongly",
    }


def test_places_are_words_in_the_order_of_the_weights():
    found = diagnose("fat_cap", {"end_over_best_K": 1.0})
    order = ["most likely", "plausible", "possible", "set aside"]
    places = [order.index(f.place) for f in (*found.standing, *found.set_aside)]
    assert places == sorted(places) and found.leading.weight == 1
    assert [f.weight for f in found.standing] == sorted(
        (f.weight for f in found.standing), reverse=True
    )
    assert {f.cause.key for f in (*found.standing, *found.set_aside)} == set(BOOK.causes)


def test_the_assumption_is_said_and_nothing_is_called_certain():
    found = diagnose("holes", {"air_pct": 12, "stuffed_pct": 100})
    said = " ".join((*found.notes, *found.cautions))
    assert "no probabilities of being true" in said and "none is proved" in said


def test_a_reading_the_leading_cause_does_not_explain_is_pointed_out():
    found = diagnose("holes", {"air_pct": 12.0, "pH": 5.3})
    assert found.leading.cause.key == "air"
    assert len(found.unexplained) == 1 and found.unexplained[0].startswith(
        "pH of the raw batter: 5.30"
    )
    assert any("second fault" in note for note in found.notes)
    assert diagnose("holes", {"air_pct": 12.0}).unexplained == ()


# what to measure next


def test_taken_measurements_are_not_offered_again():
    assert "pH_meter" in {offer.job.key for offer in diagnose("jelly").next_jobs}
    again = diagnose("jelly", {"pH": 5.9}).next_jobs
    assert "pH_meter" not in {offer.job.key for offer in again}


def test_offers_are_sorted_by_information_per_minute():
    for symptom in BOOK.symptoms:
        offers = diagnose(symptom).next_jobs
        rates = [offer.bits_per_min for offer in offers]
        assert rates == sorted(rates, reverse=True)
        assert all(
            offer.bits_per_min == pytest.approx(offer.bits / offer.job.minutes) and offer.bits > 0
            for offer in offers
        )


def test_the_first_offer_separates_and_says_what_it_would_speak_for():
    offers = {offer.job.key: offer for offer in diagnose("burst").next_jobs}
    assert "stuffed too tight" in " ".join(offers["circumference"].tells)
    assert "weak casing" in " ".join(offers["casing_test"].tells)
    assert "plate_count" not in offers


def test_a_two_day_count_comes_last_for_green():
    offers = [offer.job.key for offer in diagnose("green").next_jobs]
    assert offers[-1] == "plate_count" and len(offers) > 3


def test_confirm_offers_another_way_to_see_the_leading_cause():
    found = diagnose("fat_cap", {"end_over_best_K": 8.0, "chop_time_pct": 100})
    assert found.leading.cause.key == "hot_chop" and found.confirm.key == "ledger"
    assert diagnose("burst", {"casing_burst_pct": 40}).confirm is None


def _by_enumeration(weights, shares):
    """Σ p(cause, outcome) ln(p(cause, outcome) / p(cause) p(outcome)) in bits, one outcome at a time."""
    prior, gained = [w / sum(weights) for w in weights], 0.0
    for outcome in itertools.product(*(range(s.shape[1]) for s in shares)):
        each = [math.prod(s[c][k] for s, k in zip(shares, outcome)) for c in range(len(prior))]
        total = sum(p * e for p, e in zip(prior, each))
        gained += sum(p * e * math.log2(e / total) for p, e in zip(prior, each) if p * e > 0)
    return gained


@pytest.mark.parametrize("job", BOOK.jobs)
def test_information_agrees_with_adding_up_every_outcome(job):
    shares = [BOOK.class_share[:, BOOK.place[reading.key]] for reading in BOOK.of_job[job]]
    assert information_bits(BOOK.before, shares)[2] == pytest.approx(
        _by_enumeration(list(BOOK.before), shares), abs=1e-10
    )


_ROWS = hnp.arrays(float, (4, 3), elements=st.floats(0.01, 1)).map(
    lambda a: a / a.sum(axis=1, keepdims=True)
)


@given(hnp.arrays(float, 4, elements=st.floats(0.01, 5)), _ROWS, _ROWS)
def test_information_lies_between_nothing_and_all_the_doubt_and_more_readings_never_tell_less(
    weights, one, two
):
    before, after, gained = information_bits(weights, [one])
    assert -1e-12 <= gained <= before + 1e-12 and after == pytest.approx(before - gained, abs=1e-9)
    assert information_bits(weights, [one, two])[2] >= gained - 1e-9


def test_information_at_its_ends():
    same, apart = np.tile([0.2, 0.5, 0.3], (3, 1)), np.eye(3)
    assert information_bits(np.ones(3), [same])[2] == pytest.approx(0, abs=1e-12)
    assert information_bits(np.ones(3), [apart])[2] == pytest.approx(math.log2(3))


@given(
    hnp.arrays(float, 5, elements=st.floats(0.01, 5)),
    hnp.arrays(float, (3, 5), elements=st.floats(0.01, 1)),
)
def test_weighing_is_a_product_against_the_largest(before, shares):
    product = before * shares.prod(axis=0)
    assert weighed(before, list(shares)) == pytest.approx(product / product.max(), rel=1e-9)


# working, sources, speed


@pytest.mark.parametrize("symptom", BOOK.symptoms)
def test_a_pencil_gets_the_same(symptom):
    found = diagnose(symptom, {"core_C": 72.0, "end_over_best_K": 4.5})
    assert_pencil(found.working)
    assert_pencil(diagnose(symptom).working)


def test_the_working_leads_to_the_weights_and_the_offer_shown():
    found = diagnose("jelly", {"pH": 5.9})
    steps = {s.formula.split(" ")[0]: s for s in found.working}
    assert steps["r"].answer == found.standing[1].weight
    assert steps["i"].answer == found.next_jobs[0].bits_per_min


def test_sources_hold_the_rows_that_were_used():
    sources = " | ".join(diagnose("jelly", {"collagen_pct": 40}).sources)
    assert "Choi" in sources and "common practice" in sources and "teaching assumption" in sources


# what cannot be used


@pytest.mark.parametrize(
    "call, kind, says",
    [
        (lambda: diagnose("fat cup"), UnknownName, "fat cap"),
        (lambda: diagnose("jelly", {"ph_value": 6}), UnknownName, "pH"),
        (lambda: diagnose("jelly", {"pH": "sour"}), UnknownName, "acid"),
        (lambda: diagnose("jelly", {"pH": ""}), UnknownName, "acid"),
        (lambda: diagnose("jelly", {"pH": "high"}), UnknownName, "usual"),
        (lambda: diagnose("jelly", {"pH": 59}), OutOfRange, "between 3 and 10"),
        (lambda: diagnose("jelly", {"pH": float("nan")}), OutOfRange, "nan"),
        (lambda: diagnose("jelly", {"pH": []}), OutOfRange, "no value"),
        (lambda: diagnose("jelly", {"pH": None}), OutOfRange, "no number"),
        (
            lambda: diagnose("jelly", {"pH": 5.9, "pH of the raw batter": 6.0}),
            OutOfRange,
            "given twice",
        ),
        (lambda: diagnose(["jelly", "jelly"]), OutOfRange, "given twice"),
        (lambda: diagnose("jelly", absent=["jelly"]), OutOfRange, "both seen and absent"),
        (lambda: diagnose(()), OutOfRange, "nothing is known"),
        (lambda: above_best_K(14, "butter"), UnknownName, "pork"),
        (lambda: above_best_K(140), OutOfRange, "between"),
    ],
)
def test_bad_input_says_what_and_what_to_try(call, kind, says):
    with pytest.raises(kind, match=says):
        call()


def test_names_and_keys_both_do():
    assert diagnose("Fat cap").weights == diagnose("fat_cap").weights
    assert diagnose("jelly", {"PH": "Acid"}).weights == diagnose("jelly", {"pH": 5.4}).weights


def test_a_reading_alone_is_a_case_too():
    found = diagnose((), {"air_pct": 10})
    assert found.leading.cause.key == "air" and len(found.weights) == len(BOOK.causes)


_ANY = st.fixed_dictionaries(
    {}, optional={key: st.floats(r.lowest, r.highest) for key, r in BOOK.readings.items()}
)


@given(st.sets(st.sampled_from(list(BOOK.symptoms)), min_size=1, max_size=4), _ANY)
def test_any_possible_evidence_is_answered(symptoms, evidence):
    found = diagnose(sorted(symptoms), evidence)
    assert (
        found.standing
        and max(found.weights.values()) == 1
        and all(0 < w <= 1 for w in found.weights.values())
    )
    assert_pencil(found.working)
    assert {book_job.job.key for book_job in found.next_jobs} & {
        BOOK.readings[key].job for key in evidence
    } == set()


def test_edges_themselves_are_usual():
    pH = BOOK.readings["pH"]
    assert list(pH.class_of([pH.low_edge - 1e-9, pH.low_edge, pH.usual_value])) == [0, USUAL, USUAL]


@pytest.mark.parametrize(
    "cause, reading", [("fat_over", "house_loss_over_pct"), ("over_chop", "tube_fat_over_g")]
)
def test_rows_that_print_disagrees_with_say_so(cause, reading):
    """More fat: Townsend 1971 against Youssef and Barbut 2011. Longer chopping: J. Food Eng. 2010 against other trials."""
    note = BOOK.shows[cause, reading].note
    assert "published" in note and ("disagree" in note or "less with more fat" in note)

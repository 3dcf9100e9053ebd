"""One batch's mass balance: the identity that holds for any weights, the bridges, the bases, and entries that cannot be."""

import math

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pencil import assert_pencil

from kit.errors import Faulty, KitError, OutOfRange, UnknownName
from kit.stages import STAGES
from kit.yields import WeightEntry, mass_balance, worth
from kit.yields.ledger import at

STAGE = list(STAGES)
FULL = [
    *at("receive", 1040, 1038, sd_kg=1),
    *at("trim", 1037, 1002, scrap_kg=34, sd_kg=1),
    *at("grind", 1001, 998, sd_kg=1),
    *at(
        "chop",
        998,
        1296,
        additions_kg={"ice": 250, "dry goods": 45},
        rework_in_kg=12,
        samples_kg=1,
        sd_kg=1,
    ),
    *at("stuff", 1294, 1272, rework_out_kg=15, sd_kg=1),
    *at("cook", 1270, 1146, sd_kg=1),
    *at("chill", 1145, 1138, sd_kg=1),
    *at("peel", 1138, 1112, scrap_kg={"casing": 8}, rework_out_kg=14, sd_kg=1),
    *at("pack", 1111, 1108, samples_kg=2, giveaway_kg=9, sd_kg=1),
]


@st.composite
def ledgers(draw):
    """Any weights at any stages: nothing needs to make sense for the books to add up."""
    amount = st.floats(0.5, 2000, allow_nan=False)
    entries = []
    for stage in STAGE:
        for kind in ("in", "out", "addition", "rework in", "rework out", "sample", "scrap"):
            if draw(st.integers(0, 2)) == 0 or (kind in ("in", "out") and draw(st.booleans())):
                entries.append(
                    WeightEntry(stage, kind, draw(amount), sd_kg=draw(st.floats(0.1, 5)))
                )
    if sum(e.kind in ("in", "out") for e in entries) < 2:
        entries += [
            WeightEntry("receive", "in", 1000.0, "cart", 1.0),
            WeightEntry("pack", "out", 900.0, "cart", 1.0),
        ]
    return entries


@given(ledgers())
def test_every_kilogram_stands_in_exactly_one_line(entries):
    b = mass_balance(entries)
    out = b.end.kg + b.kg_of("rework out", "sample", "scrap") + b.lost_kg + b.unrecorded_kg
    assert math.isclose(b.all_in_kg, out, rel_tol=1e-12, abs_tol=1e-8)
    assert b.lost_kg >= -1e-6


@given(ledgers())
def test_the_waterfall_stands_on_itself_and_ends_where_the_books_end(entries):
    b = mass_balance(entries)
    bars = [row for row in b.rows if row.kind not in ("end",)]
    assert bars[0].from_kg == 0 and b.rows[-1].to_kg == b.end.kg
    for before, row in zip(bars, bars[1:]):
        assert row.from_kg == before.to_kg and math.isclose(
            row.to_kg, row.from_kg + row.kg, abs_tol=1e-9
        )
    assert math.isclose(bars[-1].to_kg, b.end.kg, rel_tol=1e-12, abs_tol=1e-8)


@given(ledgers())
def test_every_working_can_be_redone(entries):
    assert_pencil(mass_balance(entries).working)


@given(ledgers(), st.randoms())
def test_the_order_of_entries_does_not_matter(entries, rng):
    shuffled = list(entries)
    rng.shuffle(shuffled)
    assert mass_balance(shuffled) == mass_balance(entries)


def test_yields_on_every_base():
    b = mass_balance(FULL)
    assert [y.base for y in b.yields] == [
        "received",
        "trimmed",
        "ground",
        "meat block",
        "bowl",
        "batter",
        "stuffed",
        "cooked",
        "chilled",
        "peeled",
    ]
    assert (
        b.yield_on("bowl").base_kg == 998 + 250 + 45 + 12
        and b.yield_on("meat block").of == "packed"
    )
    assert math.isclose(b.yield_on("meat block").pct, 100 * 1108 / 998)
    assert math.isclose(b.yield_on("received").pct, 100 * 1108 / 1040)
    assert math.isclose(b.stage("cook").yield_pct, 100 * 1146 / 1270)
    assert b.sold_kg == 1108 - 9
    assert b.yields[0].pct < b.yields[3].pct > 100 > b.yields[4].pct, (
        "ice and dry goods carry the meat-block yield over 100, never the bowl's"
    )


def test_stage_yields_multiply_to_the_overall_yield_where_nothing_joins_or_strays():
    ledger = [
        *at("stuff", 1000, 990),
        *at("cook", 990, 900),
        *at("chill", 900, 891),
        *at("pack", 891, 880),
    ]
    b = mass_balance(ledger)
    assert math.isclose(math.prod(s.yield_pct / 100 for s in b.stages), b.end.kg / b.start.kg)
    assert (
        b.unrecorded_kg == 0
        and b.faults == ()
        and b.notes == tuple(n for n in b.notes if "nothing is written" in n)
    )


def test_rework_is_a_return_flow_and_not_a_loss():
    plain = [*at("stuff", 1000, 990), *at("cook", 990, 900)]
    sent_back = [*at("stuff", 1000, 970, rework_out_kg=20), *at("cook", 970, 882)]
    b, a = mass_balance(sent_back), mass_balance(plain)
    assert (
        b.stage("stuff").lost_kg == a.stage("stuff").lost_kg == 10 and b.kg_of("rework out") == 20
    )
    assert b.stage("stuff").yield_pct < b.stage("stuff").good_pct == a.stage("stuff").yield_pct


def test_the_unexplained_stands_between_stages():
    b = mass_balance(FULL)
    between = {h.stage: h.lost_kg for h in b.transfers}
    assert between == {
        "receive to trim": 1,
        "trim to grind": 1,
        "grind to chop": 0,
        "chop to stuff": 2,
        "stuff to cook": 2,
        "cook to chill": 1,
        "chill to peel": 0,
        "peel to pack": 1,
    }
    assert b.unrecorded_kg == 8
    assert any(
        "nothing is written for thaw" in note and "between receive and trim" in note
        for note in b.notes
    )


def test_a_missing_weight_is_bridged_and_said():
    no_out = [e for e in FULL if (e.stage, e.kind) != ("cook", "out")]
    line = mass_balance(no_out).stage("cook")
    assert (
        line.out_kg == 1145
        and "the weight out of cook is missing" in line.bridge
        and line.lost_kg == 125
    )
    joint = [e for e in no_out if (e.stage, e.kind) != ("chill", "in")]
    both = mass_balance(joint).stage("chill")
    assert (
        both.stage == "cook + chill"
        and both.stages == ("cook", "chill")
        and both.lost_kg == 1270 - 1138
    )
    assert "the weight out of cook and the weight into chill are missing" in both.bridge
    nothing = [e for e in FULL if e.stage != "cook"]
    assert any(
        "nothing is written for rest and cook" in note for note in mass_balance(nothing).notes
    )


def test_scrap_weighed_at_a_stage_without_stream_weights_stays_with_that_stage():
    b = mass_balance([*at("receive", 1000, 998), *at("trim", scrap_kg=30), *at("grind", 960, 958)])
    assert (
        b.stage("trim").kg_of("scrap") == 30
        and b.stage("trim").lost_kg == 8
        and b.stage("trim").loss_kg == 38
    )


def test_side_flows_beyond_the_first_and_last_weight_are_said_and_not_counted():
    b = mass_balance(
        [
            *at("chop", out_kg=1300, additions_kg={"ice": 250}),
            *at("stuff", 1299, 1290),
            *at("pack", 1280, scrap_kg=3),
        ]
    )
    assert b.added_kg == 0 and b.kg_of("scrap") == 0
    assert any("ice at chop came before it" in n for n in b.notes) and any(
        "scrap at pack came after it" in n for n in b.notes
    )


def test_a_gain_with_no_addition_is_named_and_left_as_it_is():
    b = mass_balance([*at("stuff", 1000, 990), *at("cook", 995, 900), *at("chill", 900, 906)])
    assert [f.field for f in b.faults] == ["chill", "stuff to cook"]
    assert b.stage("chill").lost_kg == -6 and b.lost_kg == 10 + 95 and b.unrecorded_kg == -5 - 6
    assert "6.00 kg more came out than went in" in str(
        b.faults[0]
    ) and "addition not written down" in str(b.faults[0])
    assert [r.label for r in b.rows if r.kind == "unrecorded"] == [
        "unrecorded, stuff to cook",
        "unrecorded, cook to chill",
        "gained in chill, nothing added",
    ]
    covered = mass_balance([*at("stuff", 1000, 990), *at("cook", 991, 900, sd_kg=3)])
    assert len(covered.faults) == 1, "with one doubt unknown nothing covers the gain"
    covered = mass_balance([*at("stuff", 1000, 990, sd_kg=3), *at("cook", 991, 900, sd_kg=3)])
    assert covered.faults == () and any(
        "within the uncertainty of the scales (sd 4.24 kg)" in n for n in covered.notes
    )


def test_binary_rounding_is_no_gain():
    assert (
        mass_balance([*at("chop", 0.1, 0.3, additions_kg=0.2), *at("cook", 0.3, 0.3)]).faults == ()
    )


def test_every_impossible_entry_is_reported_at_once():
    bad = [
        WeightEntry("cok", "in", 10),
        WeightEntry("cook", "in", -5),
        WeightEntry("chop", "in", 0.0),
        WeightEntry("cook", "out", math.nan),
        WeightEntry("stuff", "waste", 1),
        WeightEntry("stuff", "in", 10, sd_kg=-1),
        WeightEntry("peel", "in", 10),
        WeightEntry("peel", "in", 11),
        WeightEntry("cook", "giveaway", 1),
        WeightEntry("stuff", "out", math.inf),
    ]
    with pytest.raises(Faulty) as raised:
        mass_balance(bad)
    text = str(raised.value)
    for words in (
        "nearest: cook",
        "nothing weighs less than 0 kg",
        "0 kg came in",
        "which is no amount",
        "kind 'waste' is not known",
        "must be 0 kg or more",
        "written twice",
        "outside pack",
        "is inf",
    ):
        assert words in text, words
    assert len(raised.value.faults) == 9


def test_other_refusals_say_what_to_do():
    with pytest.raises(Faulty, match="weigh at least what came in"):
        mass_balance([WeightEntry("chop", "addition", 5)])
    with pytest.raises(OutOfRange, match="needs two main-stream weights"):
        mass_balance(at("cook", 100))
    with pytest.raises(Faulty, match="more than the 10 kg packed"):
        mass_balance([*at("cook", 100, 90), *at("pack", 11, 10, giveaway_kg=12)])
    with pytest.raises(KitError, match="in at cook"):
        at("cook", "ten kilos")


def test_short_packs_are_noted_with_the_usual_caution():
    b = mass_balance([*at("cook", 100, 90), *at("pack", 90, 89, giveaway_kg=-2)])
    assert b.sold_kg == 91 and any("local weights-and-measures rules" in n for n in b.notes)


def test_units_are_read_at_the_door():
    a, b = at("cook", "100 lb", pint.get_application_registry().Quantity(20, "kg"))
    assert math.isclose(a.kg, 45.359237) and b.kg == 20
    carts = mass_balance([*at("cook", {"cart 1": 100, "cart 2": "50 kg"}, 135, sd_kg=3)])
    assert carts.start.kg == 150 and math.isclose(carts.start.sd_kg, math.hypot(3, 3))


def test_yield_doubt_is_that_of_independent_weighings():
    seeds = np.random.default_rng(8).normal([1000, 900], [4, 2], size=(200_000, 2))
    b = mass_balance([*at("stuff", 1010, 1000, sd_kg=4), *at("cook", 1000, 900, sd_kg=2)])
    spread = (100 * seeds[:, 1] / seeds[:, 0]).std()
    assert math.isclose(b.yield_on("stuffed").sd_pct, spread, rel_tol=0.02), (
        "200,000 draws give the spread to about 0.2 %"
    )


def test_worth_uses_only_the_persons_prices():
    b = mass_balance(FULL)
    own = {"lost": 2.0, "lost in cook": 0.5, "giveaway": 6.0, "start": 3.0, "rework in": 2.0}
    m = worth(b, own | {"dry goods at chop": 1.5})
    by = {w.label: w for w in (*m.losses, *m.inputs)}
    assert [by[f"lost in {stage}"].money for stage in ("cook", "stuff")] == [62, 14]
    assert by["giveaway"].money == 54 and by["ice at chop"].money is None
    assert by["scrap at trim"].price_per_kg == pytest.approx(3 * 1040 / 1040)
    assert by["lost in grind"].price_per_kg == 2, "a price of its own goes before what it has cost"
    unpriced = next(n for n in m.notes if "no price given" in n)
    assert "casing at peel" in unpriced and "ice at chop" in unpriced, "after ice nobody can tell"
    assert math.isclose(m.lost_money, sum(w.money for w in m.losses if w.money is not None))
    assert m.input_money_per_packed_kg is None
    whole = worth(b, own | {"dry goods at chop": 1.5, "ice at chop": 0.0})
    assert math.isclose(whole.input_money_per_packed_kg, (3 * 1040 + 1.5 * 45 + 2 * 12) / 1108)
    assert not any("rework out" in w.kind for w in m.losses)
    assert_pencil(m.working)
    assert_pencil(whole.working)
    empty = worth(b, {})
    assert empty.lost_money == 0 and empty.working == () and len(empty.notes) == 1
    for prices, free, error, words in (
        ({"lost at cook": 1}, (), UnknownName, "lost in cook"),
        ({}, ["lost in cok"], UnknownName, "lost in cook"),
        ({"lost": -1}, (), OutOfRange, "0 or more"),
        ({"lost": math.nan}, (), OutOfRange, "0 or more"),
    ):
        with pytest.raises(error, match=words):
            worth(b, prices, free)


def test_unknown_lines_offer_the_nearest():
    b = mass_balance(FULL)
    for ask, near in (
        (lambda: b.yield_on("meat"), "meat block"),
        (lambda: b.stage("cooking"), "cook"),
    ):
        with pytest.raises(UnknownName, match=near):
            ask()


def test_every_result_says_where_it_comes_from():
    b = mass_balance(FULL)
    assert b.sources and all(isinstance(s, str) and s for s in b.sources)


@given(
    st.lists(st.floats(0, 0.2), min_size=len(STAGE), max_size=len(STAGE)),
    st.floats(0, 500),
    st.floats(0, 40),
    st.floats(0, 40),
    st.floats(0, 10),
    st.floats(0, 10),
    st.floats(0, 10),
)
def test_carried_prices_give_back_all_the_money_paid(lost, added, back, again, meat, dry, rework):
    """What was paid is what the losses carried away, what went back as rework, and what the packed kilograms have cost: nothing is lost twice."""
    entries, kg = [], 1000.0
    for stage, share in zip(STAGE, lost):
        put_in = {"additions_kg": added, "rework_in_kg": again} if stage == "chop" else {}
        out = (kg + sum(put_in.values())) * (1 - share) - (back if stage == "stuff" else 0)
        entries += at(stage, kg, out, **put_in, rework_out_kg=back if stage == "stuff" else None)
        kg = out
    b = mass_balance(entries)
    found = worth(b, {"start": meat, "addition": dry, "rework in": rework})
    paid = sum(w.money for w in found.inputs)
    price = {w.label: w.price_per_kg for w in found.losses}
    gone = found.lost_money + back * price["lost in stuff"]
    assert paid == pytest.approx(1000 * meat + added * dry + again * rework)
    assert math.isclose(paid - gone, b.end.kg * price["lost in pack"], rel_tol=1e-9, abs_tol=1e-9)


def test_what_costs_nothing_makes_the_rest_dearer():
    b = mass_balance(
        [
            *at("chop", 100, 128, additions_kg=30),
            *at("cook", 128, 115),
            *at("pack", 115, 114, giveaway_kg=1),
        ]
    )
    own = {"start": 4, "addition": 0.5, "giveaway": 9}
    priced, free = (
        {w.label: w.price_per_kg for w in worth(b, own, free=labels).losses}
        for labels in ((), ["lost in cook"])
    )
    assert priced["lost in chop"] == pytest.approx(415 / 130) == free["lost in chop"]
    assert priced["lost in pack"] == pytest.approx(415 / 130) and free["lost in cook"] == 0
    assert free["lost in pack"] == pytest.approx((415 - 2 * 415 / 130) / 115)
    assert free["giveaway"] == 9

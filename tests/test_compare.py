"""Two groups of batches side by side, and a target: what is planted is found, the interval holds, lots count as one, nothing is dropped unsaid."""

import numpy as np
import pytest
from pencil import assert_pencil
from plants_lots import _shape as noise_of
from plants_lots import made

from kit.batches import BatchTable
from kit.batches.compare import COST, OVERALL, compare
from kit.batches.groups import members, offered
from kit.batches.target import LossTarget, met
from kit.errors import OutOfRange, UnknownName
from kit.reading.plant import demo_analysis


def cooked(loss, kg=400.0, **columns) -> BatchTable:
    """Batches of `kg` that lose so many % in the cook."""
    n = len(loss)
    start = np.full((n, 1), float(kg))
    out = start * (1 - np.asarray(loss)[:, None] / 100)
    return BatchTable(tuple(f"B{k + 1}" for k in range(n)), ("cook",), start, out, **columns)


@pytest.fixture(scope="module")
def demo():
    return demo_analysis().analysis.findings.cleaned


def test_groups_are_named_as_a_person_types_them(demo):
    assert members(demo, "batches 2 to 3").nonzero()[0].tolist() == [1, 2]
    day = demo.dates.astype("datetime64[D]")
    assert (members(demo, "2024-01") == (day < np.datetime64("2024-02-01"))).all()
    first = members(demo, " 2024-01-09 to  2024-01-10 ")
    assert first.sum() == (day <= np.datetime64("2024-01-10")).sum() == 7
    assert (members(demo, "SMOKEHOUSE sh 2") == (demo.labels["smokehouse"] == "SH 2")).all()
    for name, count in offered(demo).items():
        assert members(demo, name).sum() == count > 0, name
    assert members(demo, "lot L3").sum() == 4 and not any("lot" in name for name in offered(demo))
    with pytest.raises(UnknownName, match="nearest: smokehouse SH"):
        members(demo, "smokehouse SH 9")
    with pytest.raises(OutOfRange, match="no date of the calendar"):
        members(demo, "2024-13")


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ("batches 1 to 60", "batches 50 to 70", "11 batches belong to"),
        ("batches 1 to 60", "2031", "no batch belongs to '2031'"),
        ("batches 1 to 120", "others", "no batch belongs to 'others'"),
    ],
)
def test_groups_that_cannot_be_compared_are_refused(demo, first, second, said):
    with pytest.raises(OutOfRange, match=said):
        compare(demo, first, second)


def test_a_planted_difference_comes_out_with_kilograms_and_money():
    rng = np.random.default_rng(3)
    loss = rng.normal(9, 0.4, 100) + np.repeat([0.0, 0.5], 50)
    found = compare(cooked(loss), "batches 1 to 50", price_per_kg={"cook": 2.5})
    cook, cost = found.line("cook"), found.line(COST)
    own = loss[50:].mean() - loss[:50].mean()
    assert cook.difference.value == pytest.approx(own) and cook.clear
    assert cook.difference.interval[0] < 0.5 < cook.difference.interval[1]
    assert cook.over()[0] == pytest.approx(4 * own)
    assert cook.over(1000)[0] == pytest.approx(4000 * own)
    assert cost.over()[0] == pytest.approx(10 * own)
    assert found.line(OVERALL).difference.value == pytest.approx(own)
    assert found.in_second == 50 and cook.batches_needed < 25
    back = compare(cooked(loss), "batches 51 to 100", "batches 1 to 50").line("cook")
    assert back.difference.value == pytest.approx(-own)
    assert_pencil(found.working)


@pytest.mark.parametrize(
    ("noise", "least"), [("independent", 87), ("lots 60 %", 87), ("neighbours 0.6", 85)]
)
def test_ninety_per_cent_intervals_hold_in_every_noise(noise, least):
    """200 quiet plants of 60 batches: the interval of a period leaves out the true difference, 0, in about one of ten. Batches that share a
    lot without being told so would leave it out in up to four of ten. Binomial noise of 200 is 2.1 percentage points."""
    held, narrow = [], []
    for seed in range(200):
        rng = np.random.default_rng([seed, len(noise)])
        lot = np.repeat(np.arange(60), rng.integers(2, 8, 60))[:60]
        y = 9 + 0.6 * noise_of(rng, noise, 60, lot)
        told = {"lot": lot.astype(str)} if noise.startswith("lots") else {}
        line = compare(cooked(y, labels=told), "batches 1 to 30").line("cook")
        assert line.unit == ("lot" if told else "batch")
        held.append(not line.clear)
        if told:
            narrow.append(not compare(cooked(y), "batches 1 to 30").line("cook").clear)
    assert least <= 100 * np.mean(held) <= 97
    if told:
        assert np.mean(narrow) < np.mean(held) - 0.05


def test_lots_in_both_groups_are_compared_with_themselves():
    """Two smokehouses share every lot: what lots differ by falls out, and the interval is much narrower than between periods."""
    rng = np.random.default_rng(8)
    lot = np.repeat(np.arange(15), 6)
    loss = 9 + rng.normal(0, 2, 15)[lot] + rng.normal(0, 0.2, 90) + np.tile([0, 0.3], 45)
    labels = {"lot": lot.astype(str), "smokehouse": np.tile(["1", "2"], 45)}
    line = compare(cooked(loss, labels=labels), "smokehouse 1").line("cook")
    assert line.paired and line.difference.dof <= 14 and line.clear
    assert (
        line.difference.half
        < 0.2
        < compare(cooked(loss, labels=labels), "batches 1 to 45").line("cook").difference.half
    )


def test_a_change_of_products_is_not_taken_for_one_of_the_period():
    """Product B loses 3 percentage points more and is made more often later; nothing else changed. C came in the second period only."""
    rng = np.random.default_rng(4)
    product = np.where(rng.random(120) < np.repeat([0.2, 0.7], 60), "B", "A")
    product[100:106] = "C"
    loss = 9 + rng.normal(0, 0.3, 120) + 3 * (product == "B") + 5 * (product == "C")
    found = compare(cooked(loss, labels={"product": product}), "batches 1 to 60")
    low, high = found.line("cook").difference.interval
    assert low < 0 < high < 0.3
    assert (
        "compared within each product; 6 batches of a product that one group alone has are left out"
        in found.notes
    )
    assert compare(cooked(loss), "batches 1 to 60").line("cook").clear
    between = compare(cooked(loss, labels={"product": product}), "product A", "product B")
    assert between.line("cook").difference.value == pytest.approx(3, abs=0.2)
    apart = cooked(loss, labels={"product": np.repeat(["D", "E"], 60)})
    assert "no product in common" in compare(apart, "batches 1 to 60").notes[0]


def test_one_lot_in_a_group_gives_a_difference_and_no_interval():
    loss = np.linspace(9, 10, 24)
    labels = {"lot": np.repeat(["a", "b", "c", "d"], 6)}
    found = compare(cooked(loss, labels=labels), "lot a")
    line = found.line("cook")
    assert np.isnan(line.difference.half) and not line.clear and line.difference.value > 0
    assert line.batches_needed is None and "with one lot in a group" in " ".join(found.notes)


def test_nothing_that_never_differs_is_called_different():
    found = compare(cooked(np.full(40, 9.0)), "batches 1 to 20")
    line = found.line("cook")
    assert line.difference.interval == (0, 0) and not line.clear and line.batches_needed is None


def test_missing_weights_are_left_out_line_by_line():
    table, _ = made(3, "lots 30 %", n=120)
    found = compare(table, "batches 1 to 60")
    for line in found.lines:
        assert sum(line.batches) < 120 and min(line.batches) > 30
    cook = table.loss_pct[:, table.place("cook")]
    assert found.line("cook").batches[0] == np.isfinite(cook[:60]).sum()


def test_the_total_of_the_demo_follows_its_lines(demo):
    """Shares of everything brought in add up along the line, so does their difference, up to what is taken in again as rework."""
    prices = dict.fromkeys((*demo.stages, *demo.handovers()), 1.0)
    found = compare(demo, "smokehouse SH 1", "smokehouse SH 3", price_per_kg=prices)
    total = found.line(OVERALL)
    assert found.line(COST).difference.value == pytest.approx(total.difference.value, abs=0.02)
    assert found.batches_per_year == pytest.approx(120 / 43 * 365, rel=0.01)
    assert_pencil(found.working)


# --- a target ---


@pytest.mark.parametrize(("mean", "chance"), [(9.0, (0.9, 1)), (9.5, (0.2, 0.8)), (10.0, (0, 0.1))])
def test_the_chance_of_a_target_follows_the_mean(mean, chance):
    rng = np.random.default_rng(6)
    x = rng.normal(0, 0.5, 50)
    found = met(cooked(mean + x - x.mean()), LossTarget("cook", 9.5))
    assert chance[0] <= found.chance <= chance[1]
    assert found.batches_within == (mean + x - x.mean() <= 9.5).sum()
    assert f"{found.batches_within} of 50 batches met it" in found.sentence
    low, high = found.within_interval_pct
    assert low < found.within_pct < high
    assert_pencil(found.working)


def test_the_chance_of_a_target_is_right_as_often_as_it_says():
    """Of 400 plants whose true means scatter around the target, those told a chance of 70 to 90 % meet it in about so many."""
    said, true = [], []
    for seed in range(400):
        rng = np.random.default_rng([91, seed])
        mean = 9.5 + rng.uniform(-0.4, 0.4)
        said.append(met(cooked(mean + rng.normal(0, 0.5, 15)), LossTarget("cook", 9.5)).chance)
        true.append(mean <= 9.5)
    said, true = np.array(said), np.array(true)
    between = (said > 0.7) & (said < 0.9)
    assert between.sum() > 40 and true[between].mean() == pytest.approx(0.8, abs=0.12)
    assert true[said < 0.1].mean() < 0.1 < 0.9 < true[said > 0.9].mean()


def test_lots_make_a_target_less_certain_than_batches_would():
    rng = np.random.default_rng(7)
    lot = np.repeat(np.arange(12), 5)
    loss = 9.4 + rng.normal(0, 0.6, 12)[lot] + rng.normal(0, 0.1, 60)
    by_lot = met(cooked(loss, labels={"lot": lot.astype(str)}), LossTarget("cook", 9.5))
    alone = met(cooked(rng.permutation(loss)), LossTarget("cook", 9.5))
    assert (
        by_lot.unit == "lot" and by_lot.mean.dof <= 11 and by_lot.mean.half > 1.5 * alone.mean.half
    )
    width = [np.diff(one.within_interval_pct)[0] for one in (by_lot, alone)]
    assert width[0] > 1.5 * width[1]


def test_a_target_of_one_product_or_overall(demo):
    a = met(demo, LossTarget("cook", 9.5, "A"))
    assert a.batches == 40 and a.target.name == "cook, A"
    overall = met(demo, LossTarget("overall", 16))
    assert overall.mean.value == pytest.approx(np.mean(100 - demo.overall_yield_pct), abs=0.1)
    with pytest.raises(
        UnknownName, match="product of these records 'C' is not known; nearest: A, B"
    ):
        met(demo, LossTarget("cook", 9.5, "C"))
    with pytest.raises(OutOfRange, match="between 0 and 100"):
        met(demo, LossTarget("cook", 101))
    with pytest.raises(UnknownName, match="stage"):
        met(demo, LossTarget("cooking", 9))


def test_one_batch_meets_a_target_without_a_chance():
    loss = np.array([9.0, np.nan, np.nan])
    found = met(cooked(loss), LossTarget("cook", 9.5))
    assert np.isnan(found.chance) and "no interval from one alone" in found.sentence

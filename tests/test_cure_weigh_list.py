"""The weigh list: what each scale shows, on the safe side of every limit, and when there is no list."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.cure import Item, Plan, Premix, Scale, weigh_list
from kit.cure.premix import premix
from kit.errors import OutOfRange, UnknownName
from kit.rules.limits import jurisdictions, limits_for, own_limit

US1, US = premix("US curing salt, 6.25 % nitrite"), limits_for("US")


def listed(items, meat, batch, limits, scale, finished=None, **more):
    return weigh_list(items, Plan(meat, batch, finished, limits=limits, scale=scale, **more))


def keys(findings):
    return [one.key for one in findings.explanations]


def items(meat, batch, rate):
    """An ordinary list, the cure at `rate` g per kg of meat."""
    return (
        Item("salt", 18 * meat),
        Item("cure", rate * meat, premix=US1),
        Item("erythorbate", 0.547 * meat, quantity="sodium erythorbate"),
        Item("phosphate", 3 * batch, quantity="phosphate"),
        Item("pepper", 40),
    )


@given(
    st.floats(2, 500),
    st.floats(1.05, 1.5),
    st.floats(1.95, 2.5),
    st.sampled_from((0.01, 0.1, 0.5, 1.0)),
)
def test_the_list_gives_the_ppm_of_the_rounded_weights(meat, share, rate, step_g):
    made = listed(items(meat, meat * share, rate), meat, meat * share, US, Scale(step_g))
    cure_g = sum(row.reading_g for row in made.rows if row.name == "cure")
    if not made.rows:
        assert made.withheld
        return
    assert made.dose.ppm_of_meat == pytest.approx(cure_g * 62.5 / meat)
    assert made.dose.ppm_of_meat <= 156.25 * 1.001
    for row in made.rows:
        assert row.reading_g == pytest.approx(round(row.reading_g / step_g) * step_g)
        assert row.per_kg_of_meat_g * meat == pytest.approx(row.reading_g)


def test_no_list_above_a_published_ceiling():
    made = listed(items(100, 130, 20), 100, 130, US, Scale(1))
    assert made.rows == () and "1250 ppm" in made.withheld and "above the ceiling" in made.withheld
    assert "other_premix" in keys(made.findings)


def test_no_own_limit_lifts_a_published_ceiling():
    made = listed(items(100, 130, 5), 100, 130, (own_limit(1000),), Scale(1))
    assert made.rows == () and "200 mg/kg" in made.withheld
    stricter = listed(items(100, 130, 2.4), 100, 130, (own_limit(100),), Scale(1))
    assert stricter.rows == ()


def test_too_much_accelerator_withholds_the_list():
    more = (
        Item("cure", 240, premix=US1),
        Item("erythorbate", 100, quantity="sodium erythorbate"),
    )
    assert "sodium erythorbate" in listed(more, 100, 130, US, Scale(0.1)).withheld


def test_a_coarse_scale_is_rounded_down_and_said_so():
    # 37.5 g reads 40 (166.7 ppm) or 30 (125 ppm)
    made = listed((Item("cure", 2.5 * 15, premix=US1),), 15, 19, US, Scale(10, 2))
    cure = next(row for row in made.rows if row.name == "cure")
    assert cure.reading_g == 30 and made.dose.ppm_of_meat == pytest.approx(125)
    assert any("rounded down" in note for note in made.notes) and any(
        "two steps" in note for note in made.notes
    )
    assert cure.ppm_of_meat[0] < 125 < cure.ppm_of_meat[1]


def test_a_list_checks_its_items():
    with pytest.raises(UnknownName):
        Item("x", 1, quantity="erythorbate")
    with pytest.raises(OutOfRange, match="more than once"):
        listed((Item("salt", 1), Item("salt", 2)), 10, 13, US, Scale(1))
    with pytest.raises(OutOfRange, match="two items"):
        Item("x", 1, premix=US1, quantity="phosphate")
    forgotten = listed((Item("salt", 1800),), 100, 130, US, Scale(1))
    assert forgotten.rows == () and "no nitrite" in forgotten.withheld


STEPS_G = (0.1, 1.0, 5.0, 28.349523125 / 2)


@pytest.mark.parametrize("step_g", STEPS_G)
def test_rounding_to_the_scale_never_withholds_a_list_at_the_limits(step_g):
    """Cure, erythorbate, citrate and phosphate exactly on their limits, 250 meat blocks: the printed 7/8 oz per 100 lb is 546.875 ppm."""
    finished_pct, lists = 112.0, 0
    most = {
        "erythorbate": 546.875e-6,
        "phosphate": 0.5e-2 * finished_pct / 100,
        "citrate": 546.875e-6,
    }
    for meat in np.linspace(1, 120, 250).tolist():
        recipe = (
            Item("cure", 2.5 * meat, premix=US1),
            Item("erythorbate", 0.546875 * meat, quantity="sodium erythorbate"),
            Item("citrate", 0.546875 * meat, quantity="sodium citrate"),
            Item("phosphate", most["phosphate"] * meat * 1000, quantity="phosphate"),
            Item("salt", 18 * meat),
        )
        made = listed(recipe, meat, meat * 1.3, US, Scale(step_g), meat * finished_pct / 100)
        if (
            2.5 * meat * (1 + 1e-9) < step_g
        ):  # the one case without a list: not one step of cure fits under its ceiling
            assert (
                made.rows == ()
                and "no reading of 'scale' doses 'cure'" in made.withheld
                and "no nitrite is on the sheet" not in made.withheld
            )
            continue
        lists += 1
        assert not made.withheld and made.dose.ppm_of_meat <= 156.25 * 1.001, (meat, made.withheld)
        for row in made.rows:
            assert row.name in ("salt", "cure") or row.reading_g <= most[row.name] * meat * 1000 * (
                1 + 1e-9
            )
            assert abs(row.reading_g - row.exact_g) < step_g * (1 + 1e-9) or row.name == "citrate"
            assert bool(row.rounding) == (
                abs(row.reading_g - Scale(step_g).round_g(row.exact_g)) > step_g / 2
            )
            assert not row.rounding or f"{row.name}: {row.rounding}" in made.notes
        kept = {row.name: row.reading_g for row in made.rows}
        assert kept["citrate"] <= kept["erythorbate"] + 1e-9, "at most half of the two together"
    assert lists >= 230


@given(st.floats(5, 500), st.floats(1.92, 2.5), st.sampled_from(STEPS_G))
def test_curing_salt_is_rounded_between_floor_and_ceiling_where_a_reading_lies_there(
    meat, rate, step_g
):
    made = listed((Item("cure", rate * meat, premix=US1),), meat, meat * 1.3, US, Scale(step_g))
    low, high = (ppm * meat / 62.5 for ppm in (120 * 0.999, 156.25 * 1.001))
    around = [
        k * step_g for k in (math.floor(rate * meat / step_g), math.ceil(rate * meat / step_g))
    ]
    (row,) = made.rows or (None,)
    assert row is None or row.reading_g <= high
    assert not any(low <= grams <= high for grams in around) or low <= row.reading_g <= high
    nearest = Scale(step_g).round_g(rate * meat)
    assert not low <= nearest <= high or row.reading_g == nearest


def test_nitrate_is_rounded_under_its_own_ceiling():
    """3 % nitrate at its US ceiling of 1718.75 ppm: 10.7 kg of meat need 613.0 g; 10 g steps show 610, 5.5 kg need 315.1 and show 310."""
    mix = Premix("both", 0.25, 3.0, 96.75)
    for meat, shown in ((10.7, 610), (5.5, 310), (5.4, 300)):
        made = listed(
            (Item("cure", 1718.75e-3 / 0.03 * meat, premix=mix),),
            meat,
            meat * 1.3,
            US,
            Scale(10),
        )
        assert [row.reading_g for row in made.rows] == [shown], made.withheld


def test_an_additive_with_a_minimum_alone_is_rounded_up():
    least = replace(own_limit(1000), quantity="glucono delta-lactone", comparison="min", as_salt="")
    limits = (*US, least)
    only = tuple(
        row for row in limits if row.quantity != "glucono delta-lactone" or row.comparison == "min"
    )
    made = listed(
        (
            Item("cure", 2.4 * 10.3, premix=US1),
            Item("gdl", 10.3, quantity="glucono delta-lactone"),
        ),
        10.3,
        13,
        only,
        Scale(1),
    )
    gdl = made.rows[1]
    assert gdl.reading_g == 11 and gdl.rounding == "rounded up to reach its minimum"


@given(st.data())
def test_what_may_be_weighed_exactly_may_be_weighed_on_any_scale(data):
    """Any mixture of additives and cures: a list that a scale of a microgram gives is never withheld on a coarser one."""
    meat = data.draw(st.floats(5, 300))
    place = data.draw(st.sampled_from(jurisdictions()))
    scale = Scale(data.draw(st.sampled_from((0.01, *STEPS_G))))
    shares = {
        "sodium erythorbate": 546.875,
        "ascorbic acid": 468.75,
        "citric acid": 800,
        "sodium citrate": 800,
        "glucono delta-lactone": 5000,
        "sodium acid pyrophosphate": 4000,
        "phosphate": 4500,
    }
    used = data.draw(st.lists(st.sampled_from(sorted(shares)), unique=True))
    asked = [
        Item(name, data.draw(st.floats(0.2, 1)) * shares[name] * meat / 1000, quantity=name)
        for name in used
    ]
    rates = {US1: 2.5, Premix("with nitrate", 5.67, 3.63): 2.7, Premix("weak", 0.6): 25.0}
    mixes = data.draw(st.lists(st.sampled_from(list(rates)), min_size=1, max_size=2, unique=True))
    for mix in mixes:
        asked.append(Item(mix.name, data.draw(st.floats(0.3, 1)) * rates[mix] * meat, mix))

    def made(used: Scale):
        return listed(asked, meat, meat * 1.3, limits_for(place), used, meat * 1.15)

    if not made(Scale(1e-6)).withheld:
        coarse = made(scale)
        assert not coarse.withheld or coarse.withheld.startswith("no reading of "), coarse.withheld

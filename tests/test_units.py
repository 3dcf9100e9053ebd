"""Amounts at the door: what is read, what is refused, and the two ways of showing."""

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kit import units
from kit.errors import KitError, OutOfRange, WrongUnit
from kit.sheet.amount import read_amount
from kit.tables import rows_by


@pytest.mark.parametrize(
    "written, unit, inside",
    [
        ("5 lb", "kg", 2.26796185),
        ("2 oz", "kg", 0.056699046),
        ("1 lb 4 oz", "kg", 0.56699046),
        ("250 g", "kg", 0.25),
        ("1.2 t", "kg", 1200),
        ("60 °F", "°C", 15.5555556),
        ("60 F", "°C", 15.5555556),
        ("60F", "°C", 15.5555556),
        ("−2 °C", "°C", -2),
        ("14 °F", "K", 7.7777778),
        ("1 in", "mm", 25.4),
        ("20 min", "s", 1200),
        ("33.7 Wh/kg", "kJ/kg", 121.32),
        (" 3 kg ", "kg", 3),
        ("3\u00a0kg", "kg", 3),
    ],
)
def test_reads(written, unit, inside):
    assert units.read(written, unit) == pytest.approx(inside, rel=1e-7)


def test_a_pint_quantity_is_read():
    assert units.read(units.registry().Quantity(2, "pound"), "kg") == pytest.approx(0.90718474)


def test_fahrenheit_is_never_farad():
    with pytest.raises(WrongUnit):
        units.read("60 F", "kg", "meat 1")
    assert units.read("32 F", "°C") == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    "written, says",
    [
        ("10 °C", "another kind"),
        ("5", "without a unit"),
        ("5 stone weights", "not known"),
        ("a few kg", "no amount"),
        ("", "no amount"),
        ("1,500 kg", "comma"),
        ("1.200,5 kg", "comma"),
        ("1/0 lb", "no amount|not known|kind"),
        ("80/20 lb", "no amount|not known|kind"),
        (None, "needs an amount"),
        (True, "needs an amount"),
    ],
)
def test_refuses_with_the_name_of_the_field(written, says):
    with pytest.raises(WrongUnit, match=f"^ice is .*{says}"):
        units.read(written, "kg", "ice")


def test_infinity_is_refused():
    with pytest.raises(OutOfRange, match="finite"):
        units.read("1e999 kg", "kg", "ice")


def test_a_decimal_comma_is_read_only_when_declared():
    assert units.read("1.250,5 kg", "kg", decimal_comma=True) == pytest.approx(1250.5)


# NIST SP 811 (2008), appendix B.8: pound (avoirdupois) 0.453 592 37 kg, ounce (avoirdupois) 0.028 349 52 kg; from memory
POUND_KG, OUNCE_KG = 0.45359237, 0.02834952


@pytest.mark.parametrize(
    "written, kg",
    [
        ("4 lb 6 oz", 4 * POUND_KG + 6 * OUNCE_KG),
        ("4 lb 1/2 oz", 4 * POUND_KG + 0.5 * OUNCE_KG),
        ("1/2 oz", 0.5 * OUNCE_KG),
        ("½ oz", 0.5 * OUNCE_KG),
        ("1 1/2 lb", 1.5 * POUND_KG),
        ("1½ lb", 1.5 * POUND_KG),
        ("1,8 kg", 1.8),
        ("0,125 kg", 0.125),
    ],
)
def test_weights_as_people_write_them(written, kg):
    assert units.read(written, "kg") == pytest.approx(kg, rel=2e-7)
    assert read_amount(written).mass_kg == pytest.approx(kg, rel=2e-7)


@given(st.text(max_size=30))
def test_any_text_gives_a_number_or_our_own_error(text):
    try:
        assert isinstance(units.read(text, "kg"), float)
    except KitError as error:
        assert "value" in str(error)


@given(
    st.floats(-1e4, 1e4),
    st.sampled_from([u for u in rows_by("unit", "words", "units.csv") if units.of(u, "us_pint")]),
    st.sampled_from(units.SYSTEMS),
)
def test_shown_and_back_is_the_same(value, unit, system):
    assert units.from_shown(units.to_shown(value, unit, system), unit, system) == pytest.approx(
        value, rel=1e-12, abs=1e-9
    )


def test_shows_in_both_systems():
    assert units.show(12, "kg") == "12.00 kg"
    assert units.show(12, "kg", "US") == "26.46 lb"
    assert units.show(-2, "°C", "US") == "28.4 °F"
    assert units.show(3, "K", "US") == "5.4 °F"
    assert units.show(10_218, "kg", decimals=0) == "10,218 kg"
    assert units.show(0.5, "K") == "0.5 °C"


@pytest.mark.parametrize(
    "written, metric, us",
    [
        ("row 157 °F (69.4 °C), 14 s", "row 157 °F (69.4 °C), 14 s", "row 157 °F, 14 s"),
        ("12.8 to 15.6 °C", "12.8 to 15.6 °C", "55 to 60 °F"),
        (
            "by the lard curve 1.9 K colder",
            "by the lard curve 1.9 °C colder",
            "by the lard curve 3.4 °F colder",
        ),
        ("ended at 4 and 21 °C", "ended at 4 and 21 °C", "ended at 39 and 70 °F"),
        ("between −20 and 130 °C", "between −20 and 130 °C", "between −4 and 266 °F"),
        ("103.5 to 126.5 kJ per kg", "103.5 to 126.5 kJ per kg", "44.50 to 54.39 Btu/lb"),
        (
            "3.2 g of 100 g, 80 kg, 20 g",
            "3.2 g of 100 g, 80 kg, 20 g",
            "3.2 g of 100 g, 176 lb, 0.71 oz",
        ),
        ("1,200.5 kg and 6 mm", "1,200.5 kg and 6 mm", "2,646.6 lb and 0.24 in"),
        (
            "156 mg/kg of meat, 1.86 K kg/mol, 5 %",
            "156 mg/kg of meat, 1.86 K kg/mol, 5 %",
            "156 mg/kg of meat, 1.86 K kg/mol, 5 %",
        ),
        ("31 W/(m² K)", "31 W/(m² K)", "5.5 Btu/(h ft² °F)"),
        (
            "a scale that shows 45\u00a0g",
            "a scale that shows 45\u00a0g",
            "a scale that shows 45\u00a0g",
        ),
        (
            "the column 'Core 1 (°C)' in °C",
            "the column 'Core 1 (°C)' in °C",
            "the column 'Core 1 (°C)' in °C",
        ),
    ],
)
def test_quantities_in_text_follow_the_system_and_shares_stay(written, metric, us):
    assert units.in_text(written) == metric
    assert units.in_text(written, "US") == us


@given(st.decimals(-99, 999, places=1), st.sampled_from(["°C", "K", "kg", "mm", "kJ/kg", "kg/m³"]))
def test_a_quantity_in_text_is_the_same_amount_to_its_digits(value, unit):
    said = units.in_text(f"it is {value} {unit}, as said", "US")
    number, us = re.fullmatch(r"it is (\S+) (.+), as said", said).groups()
    back = units.from_shown(float(number.replace("−", "-").replace(",", "")), unit, "US")
    assert us == units.shown_unit(unit, "US")
    assert back == pytest.approx(float(value), abs=0.06, rel=0.06)


@given(st.text(max_size=60))
def test_any_text_without_a_unit_stays(text):
    assume(not re.search("°|K|g|m|J|W", text))
    assert units.in_text(text, "US") == text == units.in_text(text)

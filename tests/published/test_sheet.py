"""Batch sheets against figures from outside: the mass units of the trade, and one batch worked by hand."""

import pytest

from kit.reading import read_sheet
from kit.sheet.amount import read_amount


def test_the_pound_of_the_nist_guide():
    """NIST SP 811 (2008), Appendix B: 1 lb (avoirdupois) = 0.453 592 37 kg, exact. Agreement to the last bit but rounding."""
    assert read_amount("1 lb").mass_kg == pytest.approx(0.45359237, rel=1e-15)


@pytest.mark.parametrize(
    "written, ppm",
    [
        ("0.25 oz per 100 lb of meat", 156.25),
        ("0.875 oz per 100 lb of meat", 546.875),
        ("0.75 oz per 100 lb of meat", 468.75),
    ],
)
def test_ounces_per_hundred_pounds(written, ppm):
    """9 CFR 424.21(c) prints 1/4 oz, 7/8 oz and 3/4 oz to 100 lb; an ounce is a sixteenth of a pound, so these are exact ppm."""
    assert 1e4 * read_amount(written).pct == pytest.approx(ppm, rel=1e-12)


def test_a_full_batch_worked_by_hand():
    """A batch worked by hand from regulation and trade-table figures: 100 kg of meat with 30 ice, 2.4 salt, 0.25 cure, 3.5 milk powder,
    0.5 spice and 0.0547 erythorbate is 136.705 kg raw; nitrite 156.25 ppm and erythorbate 547 ppm of meat. Agreement to the printed digits.
    """
    batch = read_sheet(
        {
            "line": [
                {"name": "beef ground 90/10", "amount": "40 kg"},
                {"name": "pork trim 50", "amount": "60 kg"},
                {"name": "ice", "amount": "30 % of meat"},
                {"name": "salt", "amount": "2.4 % of meat"},
                {"name": "curing salt 6.25 %", "nitrite_pct": 6.25, "amount": "2.5 g/kg of meat"},
                {"name": "nonfat dry milk", "amount": "3.5 % of meat"},
                {"name": "spice, generic", "amount": "0.5 % of meat"},
                {"name": "sodium erythorbate", "amount": "547 ppm of meat"},
            ]
        }
    )
    assert batch.batch_kg == pytest.approx(136.705, abs=0.0005)
    cure = batch.line("curing salt 6.25 %")
    assert 1e4 * cure.nitrite_pct * cure.kg / batch.meat_kg == pytest.approx(156.25, abs=0.005)

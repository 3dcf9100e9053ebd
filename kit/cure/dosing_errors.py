"""The dosing errors of this trade, each as a factor on the dose: what would the dose have been without it?

Several errors can give the same number. Each says which further input tells it from the others.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from kit.cure.limits import all_limits, band
from kit.cure.plan import Plan
from kit.cure.premix import premix, premix_names
from kit.cure.salts import convert
from kit.tables import value
from kit.unit_errors import UnitError, unit_errors

Factors = Iterator[tuple[float, str]]


@dataclass(frozen=True)
class DosingError:
    """`factors(plan, right_bases)` gives each (factor on the intended dose, detail); right_bases are those that the rule counts on."""

    key: str
    name: str
    do: str
    tell: str
    factors: Callable[[Plan, tuple[str, ...]], Factors]


def _other_premix(used_is_pure: bool, meant_is_pure: bool):
    """Rate right for another strength, weighed from the strength on the sheet: dose × (strength used / strength meant)."""

    def factors(plan: Plan, right_bases) -> Factors:
        limit_pct, seen = value("concentrate_nitrite_pct"), {1.0}
        meant_pcts = [premix(name).strength_pct for name in premix_names()]
        for used in sorted({line.premix.strength_pct for line in plan.sources}):
            for meant in meant_pcts:
                factor = round(used / meant, 9)
                of_kind = (used > limit_pct, meant > limit_pct) == (used_is_pure, meant_is_pure)
                if of_kind and abs(used / meant - 1) >= 1e-6 and factor not in seen:
                    seen.add(factor)
                    yield factor, f"rate for a {meant:g} % cure, weighed from one of {used:g} %"

    return factors


def _wrong_base(used: str):
    """Dose reckoned on `used` where the rule counts on another base."""

    def factors(plan: Plan, right_bases) -> Factors:
        used_kg = plan.base_kg(used)
        for right in right_bases:
            right_kg = plan.base_kg(right)
            if used != right and used_kg is not None and right_kg is not None:
                yield (
                    used_kg / right_kg,
                    f"rate meant for the {right} ({right_kg:g} kg), taken on the {used} ({used_kg:g} kg)",
                )

    return factors


def _twice(plan: Plan, right_bases) -> Factors:
    """The same weight twice, or one of several sources too many."""
    each = [line.nitrite_kg for line in plan.sources]
    if len(each) < 2:
        yield 2.0, "double the dose"
        return
    for kg in dict.fromkeys(each):
        yield sum(each) / kg, "one of the sources alone is the dose, the others came on top"


def _ion(plan: Plan, right_bases) -> Factors:
    yield convert(1.0, "NO2", "NaNO2"), "figure for NaNO2 taken as ion"
    yield convert(1.0, "NaNO2", "NO2"), "figure for the ion taken as NaNO2"


def _other_rule(plan: Plan, right_bases) -> Factors:
    """No factor of its own: `allowed_elsewhere` compares with what the other jurisdictions allow."""
    return iter(())


_UNITS = {
    "percent_for_fraction": (
        "6.25 % is 0.0625 in a formula that wants a fraction; do the sum again",
        "the sum on the sheet",
    ),
    "decimal_point": (
        "write the sum again with the unit beside each number",
        "the sum on the sheet",
    ),
    "ounces_for_grams": (
        "read the unit on the recipe and on the scale's display",
        "the unit on the scale's display",
    ),
    "pounds_for_kilograms": (
        "read the unit on the meat's ticket and do the sum again",
        "the unit on the meat's ticket",
    ),
}
"""what to do about an error of unit, and what tells it"""


def _of_unit(error: UnitError) -> DosingError:
    def factors(plan: Plan, right_bases) -> Factors:
        yield from error.factors

    return DosingError(error.key, error.name, *_UNITS[error.key], factors)


def _of_base(basis: str, words: str) -> DosingError:
    return DosingError(
        f"{basis}_base",
        f"dose reckoned on {words} instead",
        "take the base that the rule names",
        "the base in the sum",
        _wrong_base(basis),
    )


DOSING_ERRORS = (
    DosingError(
        "other_premix",
        "rate of one premix used with another",
        "read the strength on the bag and reckon the rate for that strength",
        "the bag's label",
        _other_premix(False, False),
    ),
    DosingError(
        "pure_for_premix",
        "pure nitrite taken for premix",
        "put the jar back in its locked place; use a premix",
        "the bag's label",
        _other_premix(True, False),
    ),
    DosingError(
        "premix_for_pure",
        "rate of the pure salt used with a premix",
        "reckon the rate for the premix on the sheet",
        "the recipe's own wording",
        _other_premix(False, True),
    ),
    *(_of_unit(error) for error in unit_errors()),
    DosingError(
        "added_twice",
        "cure added twice",
        "look for a blend that already carries cure, and for two ticks on the sheet; "
        "take one source out",
        "labels of the spice blends; who ticked what",
        _twice,
    ),
    _of_base("meat", "the meat"),
    _of_base("batch", "the whole batch"),
    _of_base("finished", "the finished weight"),
    DosingError(
        "ion_for_salt",
        "limit for the ion read as the salt, or the reverse",
        "a limit says as NaNO2 or as NO2: convert before comparing",
        "the form the limit is written in",
        _ion,
    ),
    DosingError(
        "other_rule",
        "limit of another jurisdiction used",
        "keep to the rule that holds where the product is sold",
        "which rule the recipe was written for",
        _other_rule,
    ),
)


def allowed_elsewhere(plan: Plan) -> Iterator[tuple[float, float, str]]:
    """(low kg, high kg, words) that each published edition, not among the limits of the plan, would allow this batch."""
    used = {(row.jurisdiction, row.edition) for row in plan.limits}
    cooked = [row for row in all_limits() if row.product_kind == "cooked sausage"]
    for key in dict.fromkeys((row.jurisdiction, row.edition) for row in all_limits()):
        rows = tuple(row for row in cooked if (row.jurisdiction, row.edition) == key)
        if key not in used and any(row.quantity == "nitrite ingoing" for row in rows):
            allowed = band(rows, *plan.weights)
            yield allowed.low_kg, allowed.high_kg, allowed.high_why

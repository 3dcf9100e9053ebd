"""The dosing errors of this trade, each as a factor on the dose: what would the dose have been without it?

Several errors can give the same number. Each says which further input tells it from the others.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from kit.cure.limits import band
from kit.cure.plan import Plan
from kit.cure.premix import premixes
from kit.cure.salts import convert
from kit.rules.limits import limits_by_edition
from kit.tables import read_rows, value

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
        meant_pcts = [mix.strength_pct for mix in premixes().values()]
        for used in sorted({line.premix.strength_pct for line in plan.sources}):
            for meant in meant_pcts:
                factor = round(used / meant, 9)
                of_kind = (used > limit_pct, meant > limit_pct) == (used_is_pure, meant_is_pure)
                if of_kind and abs(used / meant - 1) >= 1e-6 and factor not in seen:
                    seen.add(factor)
                    yield factor, f"rate for a {meant:g} % cure, weighed from one of {used:g} %"

    return factors


def _wrong_base(used: str):
    """Dose calculated on `used` where the rule counts on another base."""

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


def _always(*found: tuple[float, str]):
    """A unit, a form or a place of the decimal point taken for another: (what was written over what was meant, in words), both ways round."""
    return lambda plan, right_bases: iter(found)


_OUNCE, _POUND = value("ounce_g"), value("pound_g") / 1000
_FACTORS = {
    "other_premix": _other_premix(False, False),
    "pure_for_premix": _other_premix(True, False),
    "premix_for_pure": _other_premix(False, True),
    "added_twice": _twice,
    "meat_base": _wrong_base("meat"),
    "batch_base": _wrong_base("batch"),
    "finished_base": _wrong_base("finished"),
    "ion_for_salt": _always(
        (convert(1.0, "NO2", "NaNO2"), "figure for NaNO2 taken as ion"),
        (convert(1.0, "NaNO2", "NO2"), "figure for the ion taken as NaNO2"),
    ),
    "other_rule": _always(),  # `allowed_elsewhere` compares with what the other jurisdictions allow
    "percent_for_fraction": _always(
        (100.0, "strength put in as 0.0625 where 6.25 was asked"),
        (0.01, "strength put in as 6.25 where 0.0625 was asked"),
    ),
    "decimal_point": _always((10.0, "ten times"), (0.1, "one tenth")),
    "ounces_for_grams": _always(
        (_OUNCE, "number of grams weighed as ounces"),
        (1 / _OUNCE, "number of ounces weighed as grams"),
    ),
    "pounds_for_kilograms": _always(
        (1 / _POUND, "pounds of meat taken as kilograms, or kilograms of cure for pounds"),
        (_POUND, "kilograms taken as pounds"),
    ),
}
DOSING_ERRORS = tuple(
    DosingError(**row, factors=_FACTORS[row["key"]])
    for row in read_rows("cure", "dosing_errors.csv")
)
"""the rows of data/cure/dosing_errors.csv, in the order in which they are named where several fit alike"""


def allowed_elsewhere(plan: Plan) -> Iterator[tuple[float, float, str]]:
    """(low kg, high kg, words) that each published edition, not among the limits of the plan, would allow this batch."""
    used = {(row.jurisdiction, row.edition) for row in plan.limits}
    for key, rows in limits_by_edition().items():
        if key not in used and any(row.quantity == "nitrite ingoing" for row in rows):
            allowed = band(rows, plan)
            yield allowed.low_kg, allowed.high_kg, allowed.high_limit.in_words

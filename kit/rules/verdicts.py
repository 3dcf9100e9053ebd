"""Does it meet each rule, and with what margin?"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from kit.errors import OutOfRange
from kit.rules.facts import Facts
from kit.rules.quantities import quantities
from kit.rules.rules import Rule, RuleSet
from kit.rules.steps import is_known, value_steps
from kit.working import Step, step

CAUTION = (
    "A verdict compares numbers with the limits written in this rule set. It certifies nothing and permits nothing: "
    "the text in force, the inspector and the local authority decide."
)


@dataclass(frozen=True)
class Verdict:
    """One rule, judged. `margin` is how far inside the limit (negative: outside), in the unit and on the basis of the rule.

    Where what the rule needs is not known, `value` and `margin` are None, `holds` is None and the note says what is missing.
    """

    rule: Rule
    value: float | None
    margin: float | None
    holds: bool | None
    note: str
    facts: Facts = field(repr=False, compare=False)

    @cached_property
    def working(self) -> tuple[Step, ...]:
        """From the kilograms (where the facts come of a bowl) to the margin; empty where nothing was judged. Built when first asked for."""
        if self.value is None:
            return ()
        quantity, ceiling = quantities()[self.rule.quantity], self.rule.is_ceiling
        last = step(
            "Margin inside the limit",
            "margin = limit − value" if ceiling else "margin = value − limit",
            self.margin,
            self.unit,
            limit=(self.limit, self.unit, self.rule.comparison),
            value=(self.value, self.unit, quantity.title),
        )
        return (*value_steps(self.facts, quantity, self.value), last)

    @property
    def limit(self) -> float:
        return self.rule.limit

    @property
    def unit(self) -> str:
        return self.rule.unit

    @property
    def basis(self) -> str:
        return self.rule.basis

    @property
    def source(self) -> str:
        return self.rule.cite()

    @property
    def status(self) -> str:
        return self.rule.status

    @property
    def notes(self) -> tuple[str, ...]:
        return (self.note,) if self.note else ()

    @property
    def sources(self) -> tuple[str, ...]:
        return (self.source,)


def judge(facts: Facts, rule_set: RuleSet) -> tuple[Verdict, ...]:
    """A verdict on every rule of the set, in its order. `facts` hold floats or None; for arrays see `margins`.

    A value within rounding (1e-9, relative) of its limit is on the limit.
    """
    return tuple(_verdict(facts, rule) for rule in rule_set.rules)


def _verdict(facts: Facts, rule: Rule) -> Verdict:
    quantity = quantities()[rule.quantity]
    value = getattr(facts, rule.quantity)
    if value is not None and np.ndim(value):
        raise OutOfRange(
            f"{rule.quantity} is an array of {np.size(value)} values; judge() takes one sheet, margins() takes a grid"
        )
    if not is_known(value):
        return Verdict(rule, None, None, None, f"Not judged: {_missing(facts, quantity)}.", facts)
    value = float(value)
    return Verdict(rule, value, float(rule.margin(value)), rule.holds(value), rule.note, facts)


def _missing(facts, quantity) -> str:
    names = quantity.needs or (quantity.name,)
    absent = [name for name in names if not is_known(getattr(facts, name))]
    if facts.parts is not None:
        return f"{' and '.join(absent or names)} cannot be worked out of this bowl (nothing to take a share of, or a material that does not state it)"
    return f"{' and '.join(absent or names)} is not given"


def margins(facts: Facts, rule_set: RuleSet) -> dict[str, np.ndarray | float | None]:
    """Margin inside each limit over a whole grid: quantity name (with the comparison, where a quantity has two limits) -> array.

    Same numbers as `judge`, one array operation per rule; zero is the limit line of a map. None where a fact is not given,
    nan where there is nothing to take a share of.
    """
    names = [rule.quantity for rule in rule_set.rules]
    found = {}
    for rule in rule_set.rules:
        value = getattr(facts, rule.quantity)
        key = (
            rule.quantity
            if names.count(rule.quantity) == 1
            else f"{rule.quantity} {rule.comparison}"
        )
        found[key] = None if value is None else rule.margin(value)
    return found

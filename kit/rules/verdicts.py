"""Does it meet each limit, and with what margin?"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kit.errors import OutOfRange
from kit.faults import said
from kit.meat_block.quantities import quantities
from kit.rules.facts import Facts
from kit.rules.limits import Limit
from kit.rules.rule_sets import RuleSet

CAUTION = (
    "A verdict compares numbers with the limits written in this rule set. It certifies nothing and permits nothing: "
    "the text in force, the inspector and the local authority decide."
)


@dataclass(frozen=True)
class Verdict:
    """One limit, judged. `margin` is how far inside the limit (negative: outside), in its unit and on its basis.

    Where what the limit needs is not known, `value` and `margin` are None, `holds` is None and the note says what is missing.
    """

    limit: Limit
    value: float | None
    margin: float | None
    holds: bool | None
    note: str

    @property
    def source(self) -> str:
        return self.limit.cite()


def judge(facts: Facts, limits: RuleSet | Iterable[Limit]) -> tuple[Verdict, ...]:
    """A verdict on every limit, in its order.

    facts: Facts of one mix (floats or None); for a dose of cure see `kit.cure.limits.judge`
    limits: a rule set or any limits
    Returns Verdicts: value, limit, margin; a value within `Limit.slack` of its limit is on it.
    Raises OutOfRange for Facts of arrays.
    Source: data/rules/*.csv, each limit with its edition. It certifies nothing.
    """
    if isinstance(limits, RuleSet):
        limits = limits.limits
    return tuple(_of_share(facts, one) for one in limits)


def verdict(limit: Limit, value: float | None, note: str = "") -> Verdict:
    """What a limit says of a value; not judged where that is None, and `note` says why."""
    if value is None:
        return Verdict(limit, None, None, None, _joined(limit.note, note))
    margin = float(limit.margin(value))
    past = -limit.slack <= margin < -1e-9 * limit.limit
    words = _joined(limit.note, note, "over by rounding only" if past else "")
    return Verdict(limit, value, margin, limit.holds(value), words)


def tightest(verdicts: Iterable[Verdict]) -> Verdict | None:
    """The one with the smallest margin in parts of its limit; None where none is judged."""
    judged = (
        (v.margin / v.limit.limit, v) for v in verdicts if v.margin is not None and v.limit.limit
    )
    return min(judged, key=lambda pair: pair[0], default=(0.0, None))[1]


def _joined(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _of_share(facts: Facts, limit: Limit) -> Verdict:
    known = quantities()
    if limit.quantity not in known:
        why = f"Not judged: {limit.quantity} is judged from a dose, not from the mix."
        return verdict(limit, None, why)
    value, quantity = getattr(facts, limit.quantity), known[limit.quantity]
    if value is not None and np.ndim(value):
        raise OutOfRange(said("facts of many", limit=limit, count=np.size(value)))
    if not _is_known(value):
        return verdict(limit, None, f"Not judged: {_missing(facts, quantity)}.")
    return verdict(limit, float(value))


def _is_known(value) -> bool:
    """Whether a scalar value can be judged: given, and not a share of nothing."""
    return value is not None and not np.isnan(value)


def _missing(facts, quantity) -> str:
    names = quantity.needs or (quantity.name,)
    absent = " and ".join(
        [name for name in names if not _is_known(getattr(facts, name))] or list(names)
    )
    if facts.parts is not None:
        return f"{absent} cannot be calculated for this bowl (nothing to take a share of, or a material that does not state it)"
    return f"{absent} is not given"

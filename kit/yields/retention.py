"""Do the water, fat and protein of a cooked product follow from the raw composition and cook loss?

Of 100 kg raw with R % of a part, (100 − L) kg stay with C % of it: C (100 − L) / R per cent of the
part is retained. More than 100 % retained is impossible: then a composition, a loss or a sample is
wrong.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from kit import tables
from kit.errors import Fault, UnknownName, need, need_between
from kit.working import Result, step


@dataclass(frozen=True)
class PartBalance(Result):
    """Per 100 kg raw: what each part lost, and what of the cook loss is in none of them."""

    retained_pct: dict[str, float]
    """of the part in the raw product"""
    lost_kg: dict[str, float]
    """per 100 kg raw; below 0 the part grew"""
    unrecorded_kg: float
    """cook loss less the parts lost: salt, ash, sugars, and error"""
    faults: tuple[Fault, ...]


def part_balance(
    raw_pct: Mapping[str, float],
    cooked_pct: Mapping[str, float],
    cook_loss_pct: float,
    source: str = "",
) -> PartBalance:
    """The balance of each part through one cook.

    raw_pct, cooked_pct: the same parts in % of the raw and of the cooked weight, 0 to 100.
    cook_loss_pct: % of the raw weight, 0 to 100. source: where the figures are from.
    Returns PartBalance; a part that grew is listed in `faults` and left as it is.
    Raises OutOfRange outside these ranges, for parts that exceed 100 % together beyond the error of
    an analysis and for no raw share; UnknownName for parts that differ.
    """
    loss = need_between("cook loss", cook_loss_pct, 0, 100, "give it as % of the raw weight")
    for given, other in ((cooked_pct, raw_pct), (raw_pct, cooked_pct)):
        for name in given:
            if name not in other:
                raise UnknownName("part given for both raw and cooked", name, other)
    for when, shares in (("raw", raw_pct), ("cooked", cooked_pct)):
        for name, share in shares.items():
            need_between(f"{when} {name}", share, 0, 100, "give it as % of that product")
        total = sum(shares.values())
        need(
            total <= 100 + tables.value("yields_analysis_excess_pct"),
            f"the {when} parts add up to {total:.4g} %; "
            "they cannot be more than 100 % beyond the error of an analysis",
        )
    retained, lost, faults, steps = {}, {}, [], []
    for name, raw in raw_pct.items():
        need(raw > 0, f"raw {name} is 0 %: no share of nothing can be retained; leave it out")
        cooked = cooked_pct[name]
        kept = retained[name] = cooked * (100 - loss) / raw
        lost[name] = raw - cooked * (100 - loss) / 100
        terms = {
            "C": (cooked, "%", f"{name} cooked"),
            "L": (loss, "%", "cook loss"),
            "R": (raw, "%", f"{name} raw"),
        }
        what = f"{name} retained"
        steps.append(step(what, "T = C × (100 − L) / R", kept, "%", key=what, **terms))
        if kept > 100:
            what = f"{kept:.1f} % of the {name} came out of the cook; more than 100 % is impossible"
            remedy = "an analysis, the cook loss or the sampling is off by at least the excess"
            faults.append(Fault(what, field=name, remedy=remedy))
    return PartBalance(
        retained,
        lost,
        loss - sum(lost.values()),
        tuple(faults),
        own_sources=(source,) if source else (),
        own_working=tuple(steps),
    )

"""How much more may still go in before each limit? And where a limit is passed, how much must come out?

Adding x kg of one material moves every part of the bowl along a straight line, so a rule `over / under ≤ limit / scale` becomes
`over(x) − limit / scale × under(x) ≤ 0`: linear in x, solved in closed form. The Group 2 allowance is the larger of two such
lines, and the larger of two is below zero where both are: still closed form, no search.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from math import inf, isfinite, isnan, nan
from typing import Any

from kit.materials import Material, material
from kit.meat_block import Composition, compose
from kit.meat_block.quantities import quantities, weigh
from kit.rules.facts import facts_of
from kit.rules.limits import ROUNDING, Limit
from kit.rules.rule_sets import RuleSet
from kit.working import Result, Step, step, working_of


@dataclass(frozen=True)
class Room:
    """One rule's answer. `most_kg`: how much may still go in; below zero: how much must come out; inf: never reached by adding; nan: no amount
    of this material alone meets the rule, or what it looks at is not known."""

    limit: Limit
    most_kg: float
    steps: Callable[[], tuple[Step, ...]] = field(default=tuple, repr=False, compare=False)

    @property
    def working(self) -> tuple[Step, ...]:
        """Written out when asked for: a panel asks for that of the tightest limit alone."""
        return self.steps()


@dataclass(frozen=True)
class RoomLeft(Result):
    """The room under every rule at once, but for rules that no amount can meet. `first`: the limit reached first (None: none is reached)."""

    most_kg: float
    first: Limit | None
    rooms: tuple[Room, ...]


def room_left(
    composition: Composition,
    rule_set: RuleSet,
    cook_yield_pct: float = 100.0,
    what: Material | None = None,
) -> RoomLeft:
    """How much of one material may still go in under each rule.

    composition: the raw mix, one recipe.
    rule_set: the rules.
    cook_yield_pct: finished weight / raw weight × 100, 1 to 120 %; the loss is taken as water; 100 is before the cook.
    what: the material put in; ice where left out.

    Returns RoomLeft. Raises OutOfRange where the yield is impossible. The yield is held while the material goes in: more ice
    usually means more loss, so the answer after cooking is a first guess for the next trial.
    """
    facts_of(composition, cook_yield_pct)  # refuses an impossible yield
    now = composition.parts_kg(cook_yield_pct)
    per_kg = compose((what or material("ice"),), (1.0,)).parts_kg(cook_yield_pct)
    rooms = tuple(_room(rule, now, per_kg, cook_yield_pct) for rule in rule_set.limits)
    known = [room for room in rooms if not isnan(room.most_kg)]
    tightest = min(known, key=lambda room: room.most_kg, default=None)
    reached = tightest if tightest and tightest.most_kg < inf else None
    return RoomLeft(
        tightest.most_kg if tightest else inf,
        reached.limit if reached else None,
        rooms,
        own_sources=tuple(dict.fromkeys(room.limit.cite() for room in rooms)),
        own_working=reached.working if reached else (),
    )


def _room(rule: Limit, now, per_kg, cook_yield_pct) -> Room:
    quantity = quantities()[rule.quantity]
    branches = quantity.lines
    share = rule.limit / quantity.scale
    lines = [_line(weights, quantity.under, share, now, per_kg) for weights in branches]
    if any(isnan(value) for line in lines for value in line):  # collagen that no one has stated
        return Room(rule, nan)
    spans = [_span(line, rule.is_upper) for line in lines]
    if rule.is_upper:  # the larger of the lines is below zero where all are
        least, most = max(low for low, _ in spans), min(high for _, high in spans)
    else:  # the larger is above zero where any is: the stretch that holds 0, or the nearest
        least, most = min(spans, key=lambda span: (max(span[0], -span[1], 0.0), -span[1]))
    if least > most:
        return Room(rule, nan)
    landing = most if isfinite(most) else least
    over = next((over for over, span in zip(branches, spans) if landing in span), branches[0])
    steps = partial(_working, rule, quantity, over, now, per_kg, cook_yield_pct, landing)
    return Room(rule, most, steps)


def _line(over, under, share, now, per_kg) -> tuple[float, float]:
    """(a, b) of a + b x = over(x) − share × under(x), each exactly 0 where only rounding is left of it."""

    def at(parts):
        above, below = weigh(over, parts), share * weigh(under, parts)
        return 0.0 if abs(above - below) <= ROUNDING * (abs(above) + abs(below)) else above - below

    return at(now), at(per_kg)


def _span(line, is_upper) -> tuple[float, float]:
    """The x with a + b x ≤ 0 (ceiling) or ≥ 0 (floor), as (low, high); (inf, -inf) where there is none."""
    a, b = line if is_upper else (-line[0], -line[1])
    if b == 0:
        return (-inf, inf) if a <= 0 else (inf, -inf)
    return (-inf, -a / b) if b > 0 else (-a / b, inf)


def _working(rule, quantity, over, now, per_kg, cook_yield_pct, answer) -> tuple[Step, ...]:
    """The parts above and below the line, now and per kilogram put in, and the x that brings them to the limit."""
    if not isfinite(answer):
        return ()
    used = {**over, **quantity.under}
    above, below, more_above, more_below = (
        weigh(w, parts) for parts in (now, per_kg) for w in (over, quantity.under)
    )
    x = working_of(
        "room before a limit",
        limit=f"{rule.limit:g} {rule.unit}".strip(),
        L=rule.limit / quantity.scale,
        D=below,
        N=above,
        n=more_above,
        d=more_below,
        x=answer,
    )
    return (
        *_finished_steps(now, cook_yield_pct, used),
        _sum_step("Above the line, now", "N", over, now, above),
        _sum_step("Below the line, now", "D", quantity.under, now, below),
        _sum_step("Above the line, per kg put in", "n", over, per_kg, more_above),
        _sum_step("Below the line, per kg put in", "d", quantity.under, per_kg, more_below),
        *x,
    )


def _sum_formula(weights: Mapping[str, float]) -> str:
    """'fat + finished_water − 4 × protein' of {"fat": 1, "finished_water": 1, "protein": -4}."""
    text = ""
    for name, weight in weights.items():
        sign = "−" if weight < 0 else "+"
        term = name if abs(weight) == 1 else f"{abs(weight):.12g} × {name}"
        text += f" {sign} {term}" if text else (f"−{term}" if weight < 0 else term)
    return text


def _sum_step(
    what: str, symbol: str, weights: Mapping[str, float], parts: Mapping[str, float], answer: float
) -> Step:
    terms: dict[str, Any] = {
        name: (float(parts[name]), "kg", name.replace("_", " ")) for name in weights
    }
    return step(what, f"{symbol} = {_sum_formula(weights)}", answer, "kg", **terms)


def _finished_steps(parts: Mapping[str, float], cook_yield_pct: float, used) -> tuple[Step, ...]:
    """The finished weight and its water, where the quantity uses them. The loss is taken as water."""
    weights = {name: parts[name] for name in ("total", "water", "finished")}
    left = parts["finished_water"] if "finished_water" in used else None
    if left is None and "finished" not in used:
        return ()
    return working_of("finished weight", **weights, cook_yield=cook_yield_pct, finished_water=left)

"""Does it meet the chosen rule, and with what margin; how much room is left? One kind of limit and verdict for composition and cure."""

from kit.rules.facts import Facts, added_water_pct, facts_of
from kit.rules.limits import (
    QUANTITIES,
    Edition,
    Limit,
    all_limits,
    editions,
    jurisdictions,
    limit,
    limits_for,
    own_limit,
    usual_edition,
)
from kit.rules.quantities import quantities
from kit.rules.room import RoomLeft, room_left, rooms_before_and_after
from kit.rules.rule_sets import RuleSet, rule_set, rule_sets
from kit.rules.verdicts import CAUTION, Found, Verdict, judge, margins

__all__ = [
    "CAUTION",
    "QUANTITIES",
    "Edition",
    "Facts",
    "Found",
    "Limit",
    "RoomLeft",
    "RuleSet",
    "Verdict",
    "added_water_pct",
    "all_limits",
    "editions",
    "facts_of",
    "judge",
    "jurisdictions",
    "limit",
    "limits_for",
    "margins",
    "own_limit",
    "quantities",
    "room_left",
    "rooms_before_and_after",
    "rule_set",
    "rule_sets",
    "usual_edition",
]

"""Does it meet the chosen rule, and with what margin; how much room is left?"""

from kit.rules.facts import Facts, added_water_pct, facts_of
from kit.rules.quantities import Quantity, quantities
from kit.rules.room import Room, RoomLeft, room_left, rooms_before_and_after
from kit.rules.rules import Rule, RuleSet, read_rule_set, read_rule_sets, rule_set, rule_sets
from kit.rules.verdicts import CAUTION, Verdict, judge, margins

__all__ = [
    "CAUTION",
    "Facts",
    "Quantity",
    "Room",
    "RoomLeft",
    "Rule",
    "RuleSet",
    "Verdict",
    "added_water_pct",
    "facts_of",
    "judge",
    "margins",
    "quantities",
    "read_rule_set",
    "read_rule_sets",
    "room_left",
    "rooms_before_and_after",
    "rule_set",
    "rule_sets",
]

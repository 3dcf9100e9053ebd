"""Does it meet the chosen rule, and with what margin; how much room is left?"""

from kit.standards.bowl import ICE, Bowl, portion
from kit.standards.facts import Facts, added_water_pct
from kit.standards.quantities import Quantity, quantities
from kit.standards.room import Room, RoomLeft, room_left, rooms_before_and_after
from kit.standards.rules import Rule, RuleSet, read_rule_set, read_rule_sets, rule_set, rule_sets
from kit.standards.verdicts import CAUTION, Verdict, judge, margins

__all__ = [
    "CAUTION",
    "ICE",
    "Bowl",
    "Facts",
    "Quantity",
    "Room",
    "RoomLeft",
    "Rule",
    "RuleSet",
    "Verdict",
    "added_water_pct",
    "judge",
    "margins",
    "portion",
    "quantities",
    "read_rule_set",
    "read_rule_sets",
    "room_left",
    "rooms_before_and_after",
    "rule_set",
    "rule_sets",
]

"""Does it meet the chosen rule, and with what margin; how much room is left? One kind of limit and verdict for composition and cure."""

from kit.rules.facts import Facts
from kit.rules.rule_sets import rule_set
from kit.rules.verdicts import judge

__all__ = ["Facts", "judge", "rule_set"]

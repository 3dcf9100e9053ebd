"""What temperature is each radius of the link at, when; and how much water has left?

`cook(link, schedule)` takes one link through stages made by `air`, `steam`, `hot_water`, `shower`, `ice_bath`, `brine`,
`fridge` and `charcoal`. `fit_log` learns coefficient and wetness from a probe log; `one_probe` says what a display must read so that
the coldest link is there.
"""

from kit.cook.cooked import cook
from kit.cook.fit import fit_log
from kit.cook.link import Link
from kit.cook.one_probe import one_probe
from kit.cook.stages import Stage

__all__ = ["Link", "Stage", "cook", "fit_log", "one_probe"]

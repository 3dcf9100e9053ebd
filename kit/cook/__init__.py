"""What temperature is each radius of the link at, when; and how much water has left?

`cook(link, schedule)` takes one link through stages made by `air`, `steam`, `hot_water`, `shower`, `ice_bath`, `brine`,
`fridge` and `charcoal`. `cook_many` does a thousand at once; `series` is the exact solution; `fit_log` learns coefficient and
wetness from a probe log; `one_probe` says what a display must read so that the coldest link is there.
"""

from kit.cook import series
from kit.cook.come_up import ComeUp, Ice, come_up, come_up_in, ice_to_chill
from kit.cook.cooked import (
    CAUTION,
    Cooked,
    CookedMany,
    StageOutcome,
    Target,
    cook,
    cook_many,
)
from kit.cook.fit import Fit, Fitted, Refused, fit_log
from kit.cook.link import COLDEST_START_C, Link
from kit.cook.march import STEP_S
from kit.cook.one_probe import OneProbe, one_probe
from kit.cook.stages import Stage, air, brine, charcoal, fridge, hot_water, ice_bath, shower, steam

__all__ = [
    "CAUTION",
    "COLDEST_START_C",
    "STEP_S",
    "ComeUp",
    "Cooked",
    "CookedMany",
    "Fit",
    "Fitted",
    "Ice",
    "Link",
    "OneProbe",
    "Refused",
    "Stage",
    "StageOutcome",
    "Target",
    "air",
    "brine",
    "charcoal",
    "come_up",
    "come_up_in",
    "cook",
    "cook_many",
    "fit_log",
    "fridge",
    "hot_water",
    "ice_bath",
    "ice_to_chill",
    "one_probe",
    "series",
    "shower",
    "steam",
]

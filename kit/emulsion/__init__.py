"""Does the batter hold; which limit fails first; what leaves?

A teaching model with every number in data/reference/emulsion.csv. It gives margins, shares and ranges; it says of no batter
that it will or will not break, and of no product that it is safe.
"""

from kit.emulsion.agreement import (
    Agreement,
    Direction,
    Factor,
    HeldOut,
    Moved,
    agreement,
    directions,
    held_out,
    moved,
)
from kit.emulsion.batter import FAT_KINDS, Batter, base_batter
from kit.emulsion.break_map import BreakMap, break_map
from kit.emulsion.calibrate import Calibration, Fitted, Measured, calibrate, from_cook, from_tube
from kit.emulsion.held import CAUTION, Held, hold
from kit.emulsion.levers import LEVERS, Lever
from kit.emulsion.model import LIMITS, State, work_out
from kit.emulsion.parameters import Parameters, defaults, drawn
from kit.emulsion.published import Compared, Pooled, Table, published, retention_pct
from kit.emulsion.remedies import OutOfReach, Remedies, Remedy, remedies
from kit.emulsion.saved import load_calibration, save_calibration
from kit.emulsion.spread import Spread, cloud, spread

__all__ = [
    "CAUTION",
    "FAT_KINDS",
    "LEVERS",
    "LIMITS",
    "Agreement",
    "Batter",
    "BreakMap",
    "Calibration",
    "Compared",
    "Direction",
    "Factor",
    "Fitted",
    "Held",
    "HeldOut",
    "Lever",
    "Measured",
    "Moved",
    "OutOfReach",
    "Parameters",
    "Pooled",
    "Remedies",
    "Remedy",
    "Spread",
    "State",
    "Table",
    "agreement",
    "base_batter",
    "break_map",
    "calibrate",
    "cloud",
    "defaults",
    "directions",
    "drawn",
    "from_cook",
    "from_tube",
    "held_out",
    "hold",
    "load_calibration",
    "moved",
    "published",
    "remedies",
    "retention_pct",
    "save_calibration",
    "spread",
    "work_out",
]

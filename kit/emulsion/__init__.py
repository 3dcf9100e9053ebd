"""Does the batter hold; which limit fails first; what leaves?

A teaching model with every number in data/reference/emulsion.csv. It gives margins, shares and ranges; it says of no batter
that it will or will not break, and of no product that it is safe.
"""

from kit.emulsion.batter import FAT_KINDS, Batter, base_batter
from kit.emulsion.break_map import break_map
from kit.emulsion.calibrate import calibrate
from kit.emulsion.held import hold
from kit.emulsion.model import work_out
from kit.emulsion.parameters import defaults
from kit.emulsion.remedies import remedies
from kit.emulsion.saved import load_calibration, save_calibration
from kit.emulsion.spread import spread

__all__ = [
    "FAT_KINDS",
    "Batter",
    "base_batter",
    "break_map",
    "calibrate",
    "defaults",
    "hold",
    "load_calibration",
    "remedies",
    "save_calibration",
    "spread",
    "work_out",
]

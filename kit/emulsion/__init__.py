"""Which limit of the batter fails first; what is released on heating?

A teaching model with every number in data/reference/emulsion.csv. It gives margins, shares and ranges; it says of no batter
that it will or will not break, and of no product that it is safe.
"""

from kit.emulsion.batter import FAT_KINDS, Batter
from kit.emulsion.calibrate import MeasuredLoss, calibrate
from kit.emulsion.corrective_actions import corrective_actions
from kit.emulsion.held import hold

__all__ = ["FAT_KINDS", "Batter", "MeasuredLoss", "calibrate", "corrective_actions", "hold"]

"""How much cure, salt and accelerator; on which basis; what does the scale's step do to it; which dosing error is this?"""

from kit.cure.brine import brine
from kit.cure.dose import CureLine, cure_for, dose
from kit.cure.findings import find_dosing_errors
from kit.cure.plan import Plan
from kit.cure.premix import Premix
from kit.cure.scale import Scale, on_scale
from kit.cure.weigh_list import Item, weigh_list

__all__ = [
    "CureLine",
    "Item",
    "Plan",
    "Premix",
    "Scale",
    "brine",
    "cure_for",
    "dose",
    "find_dosing_errors",
    "on_scale",
    "weigh_list",
]

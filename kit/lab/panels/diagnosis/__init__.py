"""The panels of 05_what_went_wrong.

standing      symptoms and readings: which causes stand, what speaks for and against, what to measure next
mystery       a hidden fault: choose measurements, name the cause, open the case
own_sheet     what a sheet and its weighings already say
"""

from kit.lab.panels.diagnosis.mystery import mystery_panel
from kit.lab.panels.diagnosis.own_sheet import own_sheet_panel
from kit.lab.panels.diagnosis.standing import standing_panel

__all__ = ["mystery_panel", "own_sheet_panel", "standing_panel"]

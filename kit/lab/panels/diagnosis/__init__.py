"""The panels of 05_what_went_wrong.

standing      symptoms and readings: possible causes, evidence for and against, next measurements
mystery       a hidden fault: choose measurements, name the cause, see the solution
own_sheet     evidence in a sheet, its weighings and logs
"""

from kit.lab.panels.diagnosis.mystery import mystery_panel
from kit.lab.panels.diagnosis.own_sheet import own_sheet_panel
from kit.lab.panels.diagnosis.standing import standing_panel

__all__ = ["mystery_panel", "own_sheet_panel", "standing_panel"]

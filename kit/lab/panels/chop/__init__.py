"""The panels of 03_keep_it_cold.

warming   how warm the batter gets along the chop
ways      ice, water, colder meat or less work for a chosen end
machines  grinder, cutter, kneader, mixer, emulsifier: stop by stop, with the heat of bowl and room
split     the batch whole, in parts, and in goes
plane     the map of ice and energy
log       what a chopper's own log says
"""

from kit.lab.panels.chop.log import log_panel
from kit.lab.panels.chop.machines import machines_panel
from kit.lab.panels.chop.pieces import COLUMNS, chop_rows
from kit.lab.panels.chop.plane import map_panel
from kit.lab.panels.chop.split import split_panel
from kit.lab.panels.chop.warming import path_panel
from kit.lab.panels.chop.ways import ways_panel

__all__ = [
    "COLUMNS",
    "chop_rows",
    "log_panel",
    "machines_panel",
    "map_panel",
    "path_panel",
    "split_panel",
    "ways_panel",
]

"""The panels of 03_keep_it_cold.

bowl     batter temperature along the chop; ice, water, colder meat, less energy or stages
stop     the bowl over time, when to stop, and what the batter model says of it
line     grinder, cutter, kneader, mixer, emulsifier, machine by machine
log      energy from a chopper's own log
"""

from kit.lab.panels.chop.bowl import cooling_panel, path_panel
from kit.lab.panels.chop.line import machines_panel
from kit.lab.panels.chop.log import log_panel
from kit.lab.panels.chop.pieces import chop_rows
from kit.lab.panels.chop.stop import stop_panel

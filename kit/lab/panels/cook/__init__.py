"""The panels of 07_smoke_cook_chill, and the rows that other panels show.

pieces      rows for an outcome table: core, water, published rows, windows
schedule    a schedule against the core
chills      ice bath against fridge
recorded    what a log shows
probes      one probe against many links
"""

from kit.lab.panels.cook.chills import chill_panel
from kit.lab.panels.cook.pieces import cook_rows
from kit.lab.panels.cook.probes import probe_panel
from kit.lab.panels.cook.recorded import record_panel
from kit.lab.panels.cook.schedule import schedule_panel

__all__ = ["chill_panel", "cook_rows", "probe_panel", "record_panel", "schedule_panel"]

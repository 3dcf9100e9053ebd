"""The panels of 09_across_batches.

records   what each stage loses over time, and where to look first, of the invented records or of a file of the person's own
control   one stage: stable? changed when?
varies    what varies, and what goes with it
study     gauge R&R and subgroups, as tables of the panel above
found     what it takes to be found: size of a cause, and number of batches
asked     the questions of the reader, and the answers kept for the next file
compare   two periods, smokehouses, suppliers or products side by side, and a target
costs     kilograms and money, and what this plant has already shown it can do without
printed   the page of findings
pieces    words and tables they share
"""

from kit.lab.panels.batches.compare import compare_panel
from kit.lab.panels.batches.control import control_panel
from kit.lab.panels.batches.costs import costs_panel
from kit.lab.panels.batches.found import found_panel
from kit.lab.panels.batches.pieces import records_of
from kit.lab.panels.batches.records import records_panel
from kit.lab.panels.batches.varies import varies_panel

__all__ = [
    "compare_panel",
    "control_panel",
    "costs_panel",
    "found_panel",
    "records_of",
    "records_panel",
    "varies_panel",
]

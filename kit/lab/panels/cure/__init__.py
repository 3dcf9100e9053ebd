"""The panels of 02_cure, and the pieces of them that other panels show.

pieces      rows for an outcome table, one sentence, traps, the weigh list
dose        one weight of nitrite, four numbers
ways        chopped in, pumped in, soaked in
scale       what the step of a scale does
salt        brine and water activity
colour      what the colour needs, what a rest is for, what remains
wrong_bag   the rate of one premix, weighed from another
by_name     every trap of dosing, done on purpose
mistake     find the mistake in a weigh sheet
own         a sheet of one's own, line by line
"""

from kit.lab.panels.cure.by_name import traps_panel
from kit.lab.panels.cure.colour import colour_panel
from kit.lab.panels.cure.dose import dose_panel
from kit.lab.panels.cure.mistake import mistake_panel
from kit.lab.panels.cure.own import own_cure_panel
from kit.lab.panels.cure.pieces import (
    cure_rows,
    cure_sentence,
    dose_rows,
    trap_tables,
    verdict_row,
    weigh_table,
)
from kit.lab.panels.cure.salt import brine_panel
from kit.lab.panels.cure.scale import scale_panel
from kit.lab.panels.cure.ways import ways_panel
from kit.lab.panels.cure.wrong_bag import mix_up_panel

__all__ = [
    "brine_panel",
    "colour_panel",
    "cure_rows",
    "cure_sentence",
    "dose_panel",
    "dose_rows",
    "mistake_panel",
    "mix_up_panel",
    "own_cure_panel",
    "scale_panel",
    "trap_tables",
    "traps_panel",
    "verdict_row",
    "ways_panel",
    "weigh_table",
]

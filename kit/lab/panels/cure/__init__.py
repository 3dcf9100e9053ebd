"""The panels of 02_cure.

pieces            what several panels show: controls, rows, one sentence, dosing errors, the weigh list
dose              one weight of nitrite, four numbers
scale             what the step of a scale does
salt              brine and water activity
error_examples    every dosing error, made on purpose
mistake           find the mistake in a weigh sheet
own               the cure of a whole sheet: dose, alarms, weigh list
"""

from kit.lab.panels.cure.dose import dose_panel
from kit.lab.panels.cure.error_examples import error_examples_panel
from kit.lab.panels.cure.mistake import mistake_panel
from kit.lab.panels.cure.own import own_cure_panel
from kit.lab.panels.cure.salt import brine_panel
from kit.lab.panels.cure.scale import scale_panel

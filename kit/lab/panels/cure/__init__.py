"""The panels of 02_cure.

pieces            what several panels show: controls, rows, one sentence, dosing errors, the weigh list
dose              one weight of nitrite, four numbers
addition_methods  chopped in, pumped in, soaked in
scale             what the step of a scale does
salt              brine and water activity
colour            what the colour needs, what a rest is for, what remains
wrong_bag         the rate of one premix, weighed from another
error_examples    every dosing error, made on purpose
mistake           find the mistake in a weigh sheet
own               a sheet of one's own, line by line
"""

from kit.lab.panels.cure.addition_methods import addition_methods_panel
from kit.lab.panels.cure.colour import colour_panel
from kit.lab.panels.cure.dose import dose_panel
from kit.lab.panels.cure.error_examples import error_examples_panel
from kit.lab.panels.cure.mistake import mistake_panel
from kit.lab.panels.cure.own import own_cure_panel
from kit.lab.panels.cure.salt import brine_panel
from kit.lab.panels.cure.scale import scale_panel
from kit.lab.panels.cure.wrong_bag import mix_up_panel

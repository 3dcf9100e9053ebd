"""The panels of 04_why_it_breaks.

margins       the four margins, and the cook-out
break_map     two things at once, with the batch's point
corrective_actions  the smallest changes that restore a limit
class_tests   calibration on a class's own tube tests
why           raw batter and heated gel, the four breaks as sections, and the reasons in words
published           the model against every published table held, and what it must not be used for
"""

from kit.lab.panels.emulsion.break_map import break_map_panel
from kit.lab.panels.emulsion.class_tests import class_tests_panel
from kit.lab.panels.emulsion.corrective_actions import corrective_actions_panel
from kit.lab.panels.emulsion.margins import margins_panel
from kit.lab.panels.emulsion.published import published_panel
from kit.lab.panels.emulsion.why import why_panel
from kit.lab.panels.emulsion.words import emulsion_rows

"""The panels of 10_run_a_class, one plan handed from each to the next.

question   factor, levels, smallest difference, stations: the chance of seeing it
room       what there is; designs that fit, what blocks the others; clock times when they are asked for
rehearsal  simulated classes: right, undecided, wrong in sign
papers     the whole folder of papers, made by one button
results    what was handed in, findings, decisions
answer     effect, guesses, prediction, sentence, marks
pieces     the plan that they share, a button, the cautions
"""

from kit.lab.panels.run_class.answer import answer_panel
from kit.lab.panels.run_class.papers import papers_panel
from kit.lab.panels.run_class.question import question_panel
from kit.lab.panels.run_class.rehearsal import rehearsal_panel
from kit.lab.panels.run_class.results import results_panel
from kit.lab.panels.run_class.room import room_panel

__all__ = [
    "answer_panel",
    "papers_panel",
    "question_panel",
    "rehearsal_panel",
    "results_panel",
    "room_panel",
]

"""What could explain these symptoms; which measurement tells the causes apart?

`diagnose` weighs the catalogue's causes against symptoms and measurements and says what to measure
next. `mystery` hides a fault in a batch for a learner to find; `cases_for_class` gives one to each
station; `solve` finds it by the measurements offered.
"""

from kit.diagnosis.answer import CAUTION, Diagnosis, diagnose
from kit.diagnosis.catalogue import Catalogue, Reading, Symptom, catalogue
from kit.diagnosis.evidence import above_best_K, information_bits
from kit.diagnosis.mystery import CaseReply, Investigation, MysteryCase, cases_for_class, mystery
from kit.diagnosis.reveal import Reveal
from kit.diagnosis.solver import solve

__all__ = [
    "CAUTION",
    "CaseReply",
    "Catalogue",
    "Diagnosis",
    "Investigation",
    "MysteryCase",
    "Reading",
    "Reveal",
    "Symptom",
    "above_best_K",
    "cases_for_class",
    "catalogue",
    "diagnose",
    "information_bits",
    "mystery",
    "solve",
]

"""What could explain these symptoms; which measurement tells the causes apart?

`diagnose` weighs the catalogue's causes against symptoms and measurements and says what to measure next. `mystery` plants a hidden
fault in a batch for a learner to find; `cases_for_class` gives one to each station.
"""

from kit.diagnosis.answer import (
    CAUTION,
    Confirm,
    Diagnosis,
    Found,
    Item,
    NextJob,
    Reason,
    diagnose,
    weighed,
)
from kit.diagnosis.ask import information_bits
from kit.diagnosis.catalogue import Catalogue, Cause, Gives, Job, Reading, Shows, Symptom, catalogue
from kit.diagnosis.evidence import above_best_K
from kit.diagnosis.mystery import Case, Investigation, Measured, Reply, cases_for_class, mystery
from kit.diagnosis.planted import Planted, plant, planted_shares
from kit.diagnosis.reveal import Reveal
from kit.diagnosis.solver import Solved, guess, solve

__all__ = [
    "CAUTION",
    "Case",
    "Catalogue",
    "Cause",
    "Confirm",
    "Diagnosis",
    "Found",
    "Gives",
    "Investigation",
    "Item",
    "Job",
    "Measured",
    "NextJob",
    "Planted",
    "Reading",
    "Reason",
    "Reply",
    "Reveal",
    "Shows",
    "Solved",
    "Symptom",
    "above_best_K",
    "cases_for_class",
    "catalogue",
    "diagnose",
    "guess",
    "information_bits",
    "mystery",
    "plant",
    "planted_shares",
    "solve",
    "weighed",
]

"""What could explain these symptoms; which measurement tells the causes apart?

`diagnose` weighs the catalogue's causes against symptoms and measurements and says what to measure
next. `mystery` hides a fault in a batch for a learner to find.
"""

from kit.diagnosis.answer import Diagnosis, diagnose
from kit.diagnosis.catalogue import Reading, Symptom

__all__ = ["Diagnosis", "Reading", "Symptom", "diagnose"]

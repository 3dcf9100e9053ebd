"""Which stations do what and when, with which grams and codes, in a class that runs an experiment of `kit.trial`?"""

from kit.classroom.plan import options
from kit.classroom.timetable import timetable

__all__ = ["options", "timetable"]

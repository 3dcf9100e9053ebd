"""An automatic solver that follows the offered measurements, and the lazy guess it is held against."""
from dataclasses import dataclass

from kit.diagnosis.answer import diagnose
from kit.diagnosis.mystery import Case, Investigation
from kit.errors import need_between

MOST_MINUTES = 1440.0
"""one day; the solver starts no measurement that would pass it"""


@dataclass(frozen=True)
class Solved:
    """The cause the solver names (key), its way, and the minutes spent."""

    cause: str
    jobs: tuple[str, ...]
    minutes: float
    investigation: Investigation


def guess(case: Case) -> str:
    """The likeliest cause (key) from the symptoms alone."""
    return diagnose(case.symptoms).leading.cause.key


def solve(case: Case, most_minutes: float = MOST_MINUTES) -> Solved:
    """Takes the measurement with the most information per minute until one cause stands or nothing more would tell.

    A reading that settles the case is taken once more before the cause is named, for one slip can put a wrong cause first.
    """
    need_between("minutes to spend", most_minutes, 0, 1e6)
    way, checked = Investigation(case), set()
    while True:
        found = way.diagnosis if way.taken else diagnose(case.symptoms)
        offers = [offer.job for offer in found.next_jobs if way.minutes + offer.job.minutes <= most_minutes]
        if found.settled or not offers:
            again = _to_check(way, found, checked)
            if again is None or way.minutes + again.minutes > most_minutes:
                return Solved(found.leading.cause.key, tuple(each.job.key for each in way.taken), way.minutes, way)
            checked.add(again.key)
            way = way.measure(again.key)
        else:
            way = way.measure(offers[0].key)


def _to_check(way: Investigation, found, checked: set[str]):
    """The job of the strongest reading for the leading cause, if it has not been read twice."""
    for reason in found.leading.speaks_for:
        for each in way.taken:
            if each.job.key not in checked and any(line == reason.words for line in each.lines):
                return each.job
    return None

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

    Before it names the cause it looks for that cause once in another way and reads the strongest reading once more, for one slip can
    put a wrong cause first; if either brings others back, it goes on.
    """
    need_between("minutes to spend", most_minutes, 0, 1e6)
    way, checked = Investigation(case), set()
    while True:
        found = way.diagnosis
        offers = (
            []
            if found.settled
            else [
                offer.job.key
                for offer in found.next_jobs
                if way.minutes + offer.job.minutes <= most_minutes
            ]
        )
        job = offers[0] if offers else _check(way, found, checked, most_minutes)
        if job is None:
            return Solved(
                found.leading.cause.key, tuple(each.job.key for each in way.taken), way.minutes, way
            )
        way = way.measure(job)


def _check(way: Investigation, found, checked: set, most_minutes: float) -> str | None:
    """Another way to see the leading cause, then the strongest reading for it again; each once for each cause and job."""
    lead, left = found.leading, most_minutes - way.minutes
    if found.confirm and lead.cause.key not in checked and found.confirm.job.minutes <= left:
        checked.add(lead.cause.key)
        return found.confirm.job.key
    lines = {line: each.job for each in way.taken for line in each.lines}
    again = next(
        (
            lines[r.words]
            for r in lead.speaks_for
            if r.words in lines and lines[r.words].key not in checked
        ),
        None,
    )
    if again is None or again.minutes > left:
        return None
    checked.add(again.key)
    return again.key

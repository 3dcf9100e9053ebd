"""An automatic solver that follows the offered measurements."""

from dataclasses import dataclass

from kit.diagnosis.mystery import Investigation, MysteryCase
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


def solve(case: MysteryCase, most_minutes: float = MOST_MINUTES) -> Solved:
    """Takes the measurement with the most information per minute until one cause stands or nothing more would tell.

    Before it names the cause it looks for that cause once in another way and reads the strongest reading once more, for one slip can
    put a wrong cause first; if either brings others back, it goes on.
    """
    need_between("minutes to spend", most_minutes, 0, 1e6)
    way = Investigation(case)
    checked: set[str] = set()
    while True:
        found = way.diagnosis
        offers = []
        if not found.settled:
            left = most_minutes - way.minutes
            offers = [one.job.key for one in found.next_jobs if one.job.minutes <= left]
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
    read_again = (lines[r.words] for r in lead.speaks_for if r.words in lines)
    again = next((job for job in read_again if job.key not in checked), None)
    if again is None or again.minutes > left:
        return None
    checked.add(again.key)
    return again.key

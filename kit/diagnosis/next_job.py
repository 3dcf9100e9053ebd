"""What to measure next: which measurement gives most information per minute, and which would confirm?"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from kit import tables
from kit.diagnosis.catalogue import HIGH, HOW_SURE, LOW, Catalogue, Cause, Job
from kit.diagnosis.evidence import information_bits
from kit.working import Step, steps_from


@dataclass(frozen=True)
class NextJob:
    """A measurement not taken yet.

    `bits`: by how much the uncertainty among the standing causes would shrink on average, from
    `before`. `tells`: what each unusual result would mean.
    """

    job: Job
    bits: float
    before: float
    after: float
    tells: tuple[str, ...]

    @property
    def bits_per_min(self) -> float:
        return self.bits / self.job.minutes


def next_jobs(weight, stands, taken: set[str], book: Catalogue) -> tuple[NextJob, ...]:
    """The untaken measurements that would tell the standing causes apart, best per minute first."""
    if stands.sum() < 2:
        return ()
    standing, offers = weight[stands], []
    names = [cause.name for cause, there in zip(book.causes.values(), stands) if there]
    for key, job in book.jobs.items():
        if key in taken:
            continue
        shares = [book.class_share[stands, book.place[reading.key]] for reading in book.of_job[key]]
        before, after, bits = information_bits(standing, shares)
        if bits >= tables.value("diagnosis_least_bits"):
            tells = tuple(_tells(book.of_job[key], shares, standing, names))
            offers.append(NextJob(job, bits, before, after, tells))
    return tuple(sorted(offers, key=lambda offer: -offer.bits_per_min))


def _tells(readings, shares, weight, names: list[str]):
    """For each unusual class that would make one standing cause clearly likelier: which."""
    for reading, share in zip(readings, shares):
        for which in (LOW, HIGH):
            if not reading.words[which]:
                continue
            gain = share[:, which] / np.average(share[:, which], weights=weight)
            good = np.flatnonzero(gain >= tables.value("diagnosis_slightly_ratio"))
            if good.size:
                causes = ", ".join(names[n] for n in good[np.argsort(-gain[good])])
                yield f"{reading.name} {reading.words[which]} would mean: {causes}"


def confirmation(lead: Cause, taken: set[str], book: Catalogue) -> Job | None:
    """The quickest untaken job among those in which the cause shows most surely."""
    offers = [
        (HOW_SURE.index(row.how_sure), job.minutes, n, job)
        for n, row in enumerate(book.shown_by(lead.key))
        if (job := book.jobs[book.readings[row.reading].job]).key not in taken
    ]
    return min(offers)[-1] if offers else None


def job_working(standing: np.ndarray, offer: NextJob) -> tuple[Step, ...]:
    """The uncertainty among the standing causes, and what the offered measurement reduces it."""
    shares = {f"q{n}": float(share) for n, share in enumerate(standing / standing.sum(), 1)}
    terms = " + ".join(f"{q} × ln({q})" for q in shares)
    meaning = "share of the possible causes' weight"
    known: dict[str, Any] = {q: (share, "", meaning) for q, share in shares.items()}
    known |= {
        "H": (offer.before, "bit"),
        "Ha": (offer.after, "bit", "mean uncertainty left, over its possible results"),
        "t": (offer.job.minutes, "min"),
        "i": offer.bits_per_min,
    }
    reduces = f"what '{offer.job.name}' reduces it on average, per minute"
    return steps_from(
        known,
        ("uncertainty of the cause now", f"H = 0 − ({terms}) / ln(2)", "bit"),
        (reduces, "i = (H − Ha) / t", "bit/min"),
    )

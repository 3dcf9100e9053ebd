"""Which causes are possible, what is evidence for and against each, and what to measure next?

Each cause's weight is its commonness times, for every symptom and reading, the share of batches with
that cause that would show it. That takes one fault at a time and readings independent once the cause
is fixed. It ranks; it is no probability of being true.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from kit import tables
from kit.diagnosis.catalogue import USUAL, Catalogue, Cause, Job, Reading, Symptom, catalogue
from kit.diagnosis.evidence import classed, seen
from kit.diagnosis.next_job import NextJob, confirmation, job_working, next_jobs
from kit.faults import need_said
from kit.working import Result, notes_of, step

CAUTION = (
    "These are possible causes, weighed by a teaching catalogue; none is proved, several may act together, and none of this shows that "
    "a product is safe. Hold what is green, undercooked or wrongly cured, taste none of it, and decide with your local code or "
    "licensed practice."
)
ASSUMPTION = (
    "Weights take one fault at a time and each piece of evidence by itself; the shares behind the words are teaching assumptions. "
    "They rank the causes and are no probabilities of being true."
)
_RANKS = (
    ("diagnosis_in_front_share", "most likely"),
    ("diagnosis_well_placed_share", "plausible"),
    ("diagnosis_standing_share", "possible"),
)
_STRENGTHS = (
    ("diagnosis_strongly_ratio", "strongly"),
    ("diagnosis_clearly_ratio", "clearly"),
    ("diagnosis_slightly_ratio", "slightly"),
)


@dataclass(frozen=True)
class Observation:
    """One thing known of the batch, and the share of batches of each cause that would show it."""

    words: str
    shares: np.ndarray
    measured: bool = False
    """a reading, no symptom"""
    unusual: bool = False


@dataclass(frozen=True)
class Reason:
    """One observation for or against one cause."""

    words: str
    strength: str
    ratio: float
    """how many times likelier it is with this cause than with the others as they stand: above 1 it is evidence for the cause"""


@dataclass(frozen=True)
class RankedCause:
    """One cause as it stands. `weight` is against the leading cause's 1; `place` says it in words."""

    cause: Cause
    place: str
    weight: float
    speaks_for: tuple[Reason, ...]
    speaks_against: tuple[Reason, ...]


@dataclass(frozen=True)
class Diagnosis(Result):
    """`standing` best first, `set_aside` likewise (more evidence can bring one back).

    `next_jobs` by bits per minute, best first. `confirm` is None where every reading that the
    leading cause moves was taken.
    """

    standing: tuple[RankedCause, ...]
    set_aside: tuple[RankedCause, ...]
    next_jobs: tuple[NextJob, ...]
    confirm: Job | None
    unexplained: tuple[str, ...]
    """unusual readings that the leading cause seldom shows: a second fault, or a measurement error"""
    cautions: tuple[str, ...]
    seen: tuple[Symptom, ...] = field(repr=False)
    """the symptoms that were weighed"""
    measured: tuple[tuple[Reading, float], ...] = field(repr=False)
    """the readings that were weighed as numbers, each with its mean"""

    @property
    def leading(self) -> RankedCause:
        return self.standing[0]

    @property
    def settled(self) -> bool:
        """One cause alone stands, for now."""
        return len(self.standing) == 1

    @property
    def weights(self) -> dict[str, float]:
        """By cause key, against the leading one."""
        return {one.cause.key: one.weight for one in (*self.standing, *self.set_aside)}


def diagnose(
    symptoms: str | Iterable[str],
    evidence: Mapping | None = None,
    absent: Iterable[str] = (),
) -> Diagnosis:
    """The causes that remain possible, and the measurement that would separate them most.

    symptoms: keys or names of what is seen
    evidence: {reading: value, [values] or class word}, in the units of the catalogue
    absent: symptoms looked for and not seen
    Returns Diagnosis: causes with scores (no probabilities), evidence for and against, next measurement.
    Raises UnknownName or OutOfRange; an empty case is refused.
    Source: data/diagnosis/*.csv; the shares are teaching assumptions.
    """
    book = catalogue()
    present, missing, readings = seen(symptoms, book), seen(absent, book), classed(evidence, book)
    need_said(bool(present or readings), "nothing known")
    both = set(present) & set(missing)
    need_said(not both, "seen and absent", names=", ".join(sorted(both)))
    known = [*_observations(present, missing, readings, book)]
    weight = weighed(book.before, [one.shares for one in known])
    order = np.argsort(-weight, kind="stable")
    stands = weight >= tables.value("diagnosis_standing_share")
    if not readings:
        stands[order[:2]] = True  # symptoms alone never single out one cause
    by_symptom = book.before * np.prod([one.shares for one in known if not one.measured], axis=0)
    ranked = [_ranked(int(n), bool(stands[n]), known, weight, by_symptom, book) for n in order]
    standing = tuple(one for one, n in zip(ranked, order) if stands[n])
    aside = tuple(one for one, n in zip(ranked, order) if not stands[n])
    taken = {book.readings[key].job for key in readings}
    jobs = next_jobs(weight, stands, taken, book)
    seldom, lead = tables.value("diagnosis_unexplained_share"), int(order[0])
    unexplained = tuple(one.words for one in known if one.unusual and one.shares[lead] < seldom)
    cautions = (*(one.cause.caution for one in standing if one.cause.caution), CAUTION)
    return Diagnosis(
        standing,
        aside,
        jobs,
        confirmation(standing[0].cause, taken, book),
        unexplained,
        tuple(dict.fromkeys(cautions)),
        tuple(book.symptoms[key] for key in present),
        tuple(
            (book.readings[key], mean) for key, (_, mean) in readings.items() if mean is not None
        ),
        own_notes=_notes(standing, unexplained, readings),
        own_sources=_sources(present, readings, standing, book),
        own_working=(
            *_working(order, known, weight, book),
            *(job_working(weight[stands], jobs[0]) if jobs else ()),
        ),
    )


def weighed(before: np.ndarray, shares) -> np.ndarray:
    """Bayes' rule with independent evidence, against the largest: before × every share, over it."""
    log_weight = np.log(before) + sum((np.log(share) for share in shares), np.zeros(len(before)))
    return np.exp(log_weight - log_weight.max())


def _observations(present, missing, readings, book: Catalogue):
    for key in (*present, *missing):
        name, share = book.symptoms[key].name, book.symptom_share[:, book.place[key]]
        seen = key in present
        yield Observation(f"{name} seen" if seen else f"no {name}", share if seen else 1 - share)
    for key, (which, value) in readings.items():
        reading = book.readings[key]
        words = f"{reading.name}: {reading.words[which]}" if value is None else reading.text(value)
        share = book.class_share[:, book.place[key], which]
        yield Observation(words, share, measured=True, unusual=which != USUAL)


def _ranked(
    n: int, stands: bool, known: list[Observation], weight, by_symptom, book: Catalogue
) -> RankedCause:
    cause = list(book.causes.values())[n]
    place = next(
        (words for row, words in _RANKS if weight[n] >= tables.value(row)),
        "possible" if stands else "set aside",
    )
    reasons = [reason for one in known if (reason := _reason(one, n, by_symptom, book))]
    reasons.sort(key=lambda reason: -abs(np.log(reason.ratio)))
    return RankedCause(
        cause,
        place,
        float(weight[n]),
        tuple(reason for reason in reasons if reason.ratio > 1),
        tuple(reason for reason in reasons if reason.ratio <= 1),
    )


def _reason(one: Observation, n: int, by_symptom, book: Catalogue) -> Reason | None:
    others = np.arange(len(by_symptom)) != n
    weighing = by_symptom if one.measured else book.before
    ratio = float(one.shares[n] / np.average(one.shares[others], weights=weighing[others]))
    times = max(ratio, 1 / ratio)
    strength = next((words for limit, words in _STRENGTHS if times >= tables.value(limit)), "")
    return Reason(one.words, strength, ratio) if strength else None


def _notes(standing, unexplained, readings) -> tuple[str, ...]:
    unread = [one.cause.name for one in standing if one.cause.status in ("memory", "practice")]
    holds = {"symptoms alone": not readings, "unexplained": unexplained, "unread": unread}
    known = {"lead": standing[0].cause.name, "unexplained": "; ".join(unexplained)}
    return (*notes_of("diagnosis", holds, unread=", ".join(unread), **known), ASSUMPTION)


def _sources(present, readings, standing, book: Catalogue) -> tuple[str, ...]:
    rows: list = [
        *(book.symptoms[key] for key in present),
        *(book.readings[key] for key in readings),
    ]
    for one in standing:
        cause = one.cause
        gives = (book.gives.get((key, cause.key)) for key in present)
        shows = (book.shows.get((cause.key, key)) for key in readings)
        rows += [cause, *filter(None, gives), *filter(None, shows)]
    return (*(row.cite() for row in rows), tables.number("diagnosis_sure_mostly").cite())


def _working(order, known: list[Observation], weight, book: Catalogue):
    """The weights of the first two causes, and their ratio."""
    causes, made = list(book.causes.values()), []
    for place, n in enumerate(order[:2], 1):
        shares = [float(one.shares[n]) for one in known]
        commonness = f"{causes[n].name} is {causes[n].commonness}"
        terms: dict[str, Any] = {"c": (float(book.before[n]), "", commonness)}
        for k, (one, share) in enumerate(zip(known, shares), 1):
            terms[f"p{k}"] = share, "", one.words
        made.append(float(book.before[n] * np.prod(shares)))
        formula, key = f"W = {' × '.join(terms)}", f"weight {place}"
        yield step(f"weight of {causes[n].name}", formula, made[-1], key=key, **terms)
    first, second = order[:2]
    what, ratio = f"{causes[second].name} against {causes[first].name}", float(weight[second])
    yield step(what, "r = W2 / W1", ratio, key="weight ratio", W2=made[1], W1=made[0])

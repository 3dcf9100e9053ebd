"""Which causes still stand, what speaks for and against each, and what to measure next?

Each cause's weight is its commonness times, for every symptom and reading, the share of batches with that cause that would show it.
That takes one fault at a time and readings independent once the cause is fixed. It ranks; it is no probability of being true.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.diagnosis.ask import information_bits
from kit.diagnosis.catalogue import HOW_SURE, USUAL, Catalogue, Cause, Job, catalogue
from kit.diagnosis.evidence import classed, seen
from kit.errors import need
from kit.working import Step, step

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
    ("diagnosis_in_front_share", "in front"),
    ("diagnosis_well_placed_share", "well placed"),
    ("diagnosis_standing_share", "still standing"),
)
_STRENGTHS = (
    ("diagnosis_strongly_ratio", "strongly"),
    ("diagnosis_clearly_ratio", "clearly"),
    ("diagnosis_slightly_ratio", "slightly"),
)


@dataclass(frozen=True)
class Item:
    """One thing known of the batch, and the share of batches of each cause that would show it."""

    words: str
    reading: str
    """key of the reading; empty for a symptom"""
    symptom: str
    """key of the symptom; empty for a reading"""
    unusual: bool
    shares: np.ndarray


@dataclass(frozen=True)
class Reason:
    """One item for or against one cause. `ratio`: how many times likelier the item is with this cause than with the others as they stand."""

    words: str
    side: str
    strength: str
    ratio: float
    cite: str

    def __str__(self) -> str:
        return f"{self.words} speaks {self.strength} {self.side} it ({self.cite})"


@dataclass(frozen=True)
class Found:
    """One cause as it stands. `weight` is against the leading cause's 1; `place` says it in words."""

    cause: Cause
    place: str
    weight: float
    speaks_for: tuple[Reason, ...]
    speaks_against: tuple[Reason, ...]


@dataclass(frozen=True)
class NextJob:
    """A measurement not taken yet. `bits`: by how much the doubt among the standing causes would shrink on average."""

    job: Job
    bits: float
    bits_per_min: float
    tells: tuple[str, ...]
    """what each unusual result would speak for"""


@dataclass(frozen=True)
class Confirm:
    """A measurement not taken yet in which the leading cause should show itself, if it is the one."""

    job: Job
    expects: tuple[str, ...]


@dataclass(frozen=True)
class Diagnosis:
    """`standing` best first, `set_aside` likewise (more evidence can bring one back), `next_jobs` by bits per minute, best first."""

    standing: tuple[Found, ...]
    set_aside: tuple[Found, ...]
    next_jobs: tuple[NextJob, ...]
    confirm: Confirm | None
    """None where every reading that the leading cause moves was taken"""
    unexplained: tuple[str, ...]
    """unusual readings that the leading cause seldom shows: a second fault, or a slip of measurement"""
    weights: dict[str, float]
    """by cause key, against the leading one"""
    caution: str
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def leading(self) -> Found:
        return self.standing[0]

    @property
    def settled(self) -> bool:
        """One cause alone stands, for now."""
        return len(self.standing) == 1


def diagnose(
    symptoms: str | Iterable[str],
    evidence: Mapping | None = None,
    absent: Iterable[str] = (),
    done: Iterable[str] = (),
) -> Diagnosis:
    """The causes that still stand, and the measurement that would separate them most.

    symptoms: keys or names of what is seen. evidence: {reading: value | [values] | class word}. absent: symptoms looked for and not seen.
    done: measurements not to be offered again. Raises UnknownName or OutOfRange; an empty case is refused.
    """
    book = catalogue()
    present, missing, readings = seen(symptoms, book), seen(absent, book), classed(evidence, book)
    need(
        bool(present or readings),
        "nothing is known of this batch; name a symptom or give a reading",
    )
    both = set(present) & set(missing)
    need(not both, f"{', '.join(sorted(both))} cannot be both seen and absent")
    items = [*_symptom_items(present, missing, book), *_reading_items(readings, book)]
    weight = weighed(book.before, [item.shares for item in items])
    order = np.argsort(-weight, kind="stable")
    stands = weight >= tables.value("diagnosis_standing_share")
    if not readings:
        stands[order[:2]] = True  # symptoms alone never single out one cause
    by_symptom = book.before * np.prod(
        [item.shares for item in items if not item.reading] or [np.ones(len(weight))], axis=0
    )
    found = [_found(int(n), bool(stands[n]), items, weight, by_symptom, book) for n in order]
    standing, aside = (
        tuple(f for f in found if stands[book.place[f.cause.key]]),
        tuple(f for f in found if not stands[book.place[f.cause.key]]),
    )
    taken = {book.readings[key].job for key in readings} | {book.job(name).key for name in done}
    jobs, doubt = _next_jobs(weight, stands, taken, book)
    unexplained = _unexplained(items, int(order[0]), book)
    return Diagnosis(
        standing,
        aside,
        jobs,
        _confirm(standing[0].cause, taken, book),
        unexplained,
        dict(zip(book.causes, map(float, weight))),
        _caution(standing),
        _notes(present, standing, unexplained, jobs, readings, book),
        _sources(present, readings, standing, book),
        (*_working(order, items, weight, book), *_doubt_working(weight[stands], jobs, doubt)),
    )


def weighed(before: np.ndarray, shares) -> np.ndarray:
    """Bayes' rule with independent evidence, against the largest: before × every share, over the highest such product."""
    log_weight = np.log(before) + sum((np.log(share) for share in shares), np.zeros(len(before)))
    return np.exp(log_weight - log_weight.max())


def _symptom_items(present, missing, book: Catalogue):
    for key in present:
        yield Item(
            f"{book.symptoms[key].name} seen", "", key, True, book.symptom_share[:, book.place[key]]
        )
    for key in missing:
        yield Item(
            f"no {book.symptoms[key].name}",
            "",
            key,
            False,
            1 - book.symptom_share[:, book.place[key]],
        )


def _reading_items(readings, book: Catalogue):
    for key, (which, value) in readings.items():
        reading = book.readings[key]
        words = f"{reading.name}: {reading.words[which]}" if value is None else reading.text(value)
        yield Item(words, key, "", which != USUAL, book.class_share[:, book.place[key], which])


def _found(n: int, stands: bool, items, weight, by_symptom, book: Catalogue) -> Found:
    cause = list(book.causes.values())[n]
    place = next(
        (words for row, words in _RANKS if weight[n] >= tables.value(row)),
        "still standing" if stands else "set aside",
    )
    reasons = [reason for item in items if (reason := _reason(item, n, cause, by_symptom, book))]
    return Found(
        cause,
        place,
        float(weight[n]),
        *(
            tuple(
                sorted((r for r in reasons if r.side == side), key=lambda r: -abs(np.log(r.ratio)))
            )
            for side in ("for", "against")
        ),
    )


def _reason(item: Item, n: int, cause: Cause, by_symptom, book: Catalogue) -> Reason | None:
    others = np.arange(len(by_symptom)) != n
    weighing = by_symptom if item.reading else book.before
    ratio = float(item.shares[n] / np.average(item.shares[others], weights=weighing[others]))
    strength = next(
        (words for row, words in _STRENGTHS if max(ratio, 1 / ratio) >= tables.value(row)), ""
    )
    if not strength:
        return None
    row = (
        book.shows.get((cause.key, item.reading))
        if item.reading
        else book.gives.get((item.symptom, cause.key))
    )
    return Reason(
        item.words,
        "for" if ratio > 1 else "against",
        strength,
        ratio,
        row.cite() if row else "no row of the catalogue joins the two; taken as in a sound batch",
    )


def _next_jobs(
    weight, stands, taken: set[str], book: Catalogue
) -> tuple[tuple[NextJob, ...], dict[str, tuple[float, float]]]:
    if stands.sum() < 2:
        return (), {}
    offers, doubt, standing, names = (
        [],
        {},
        weight[stands],
        [c.name for c, s in zip(book.causes.values(), stands) if s],
    )
    for key, job in book.jobs.items():
        if key in taken:
            continue
        shares = [book.class_share[stands, book.place[reading.key]] for reading in book.of_job[key]]
        before, after, bits = information_bits(standing, shares)
        if bits >= tables.value("diagnosis_least_bits"):
            doubt[key] = before, after
            offers.append(
                NextJob(
                    job, bits, bits / job.minutes, _tells(book.of_job[key], shares, standing, names)
                )
            )
    return tuple(sorted(offers, key=lambda offer: -offer.bits_per_min)), doubt


def _confirm(lead: Cause, taken: set[str], book: Catalogue) -> Confirm | None:
    """The quickest untaken job among those that the cause moves most surely."""
    rows = [
        row
        for (cause, reading), row in book.shows.items()
        if cause == lead.key and book.readings[reading].job not in taken
    ]
    if not rows:
        return None

    def job_of(row):
        return book.jobs[book.readings[row.reading].job]

    job = job_of(min(rows, key=lambda row: (HOW_SURE.index(row.how_sure), job_of(row).minutes)))
    moved = [(book.readings[row.reading], row) for row in rows if job_of(row) is job]
    return Confirm(
        job,
        tuple(
            f"{reading.name} {row.how_sure} {reading.words[row.shows]}" for reading, row in moved
        ),
    )


def _tells(readings, shares, weight, names) -> tuple[str, ...]:
    """For each unusual class that would make one standing cause clearly likelier: which."""
    said = []
    for reading, share in zip(readings, shares):
        for which in (0, 2):
            if not reading.words[which]:
                continue
            gain = share[:, which] / np.average(share[:, which], weights=weight)
            good = np.flatnonzero(gain >= tables.value("diagnosis_slightly_ratio"))
            if good.size:
                causes = ", ".join(names[n] for n in good[np.argsort(-gain[good])])
                said.append(f"{reading.name} {reading.words[which]} would speak for: {causes}")
    return tuple(said)


def _unexplained(items, lead: int, book: Catalogue) -> tuple[str, ...]:
    seldom = tables.value("diagnosis_unexplained_share")
    return tuple(
        item.words for item in items if item.reading and item.unusual and item.shares[lead] < seldom
    )


def _caution(standing) -> str:
    return " ".join(
        dict.fromkeys([*(f.cause.caution for f in standing if f.cause.caution), CAUTION])
    )


def _notes(present, standing, unexplained, jobs, readings, book: Catalogue) -> tuple[str, ...]:
    notes = []
    if len(standing) > 1:
        notes.append(
            f"{len(standing)} causes still stand; the numbers so far do not tell them apart"
        )
    else:
        notes.append(
            f"{standing[0].cause.name} alone still stands; look for it once more in another way, then mend it in one batch and change "
            "nothing else"
        )
    if not readings:
        notes.append("symptoms alone name no cause: measure before changing anything")
    if len(standing) > 1 and not jobs:
        notes.append(
            "no measurement of the catalogue would tell these apart; change one thing at a time in trial batches"
        )
    if unexplained:
        notes.append(
            f"{standing[0].cause.name} would seldom show: {'; '.join(unexplained)}. A second fault, a slip of measurement, or a cause "
            "that is not in the catalogue"
        )
    doubtful = [
        book.causes[f.cause.key].name for f in standing if f.cause.status in ("memory", "practice")
    ]
    if doubtful:
        notes.append(f"no published source was read for: {', '.join(doubtful)}")
    notes += [
        f"be sure that it is {symptom.name}: {symptom.be_sure}"
        for symptom in (book.symptoms[key] for key in present)
    ]
    return (*notes, ASSUMPTION)


def _sources(present, readings, standing, book: Catalogue) -> tuple[str, ...]:
    rows = [*(book.symptoms[key] for key in present), *(book.readings[key] for key in readings)]
    for f in standing:
        rows += [
            f.cause,
            *(book.gives[key, f.cause.key] for key in present if (key, f.cause.key) in book.gives),
            *(book.shows[f.cause.key, key] for key in readings if (f.cause.key, key) in book.shows),
        ]
    return tuple(
        dict.fromkeys(
            (*(row.cite() for row in rows), tables.number("diagnosis_sure_mostly").cite())
        )
    )


def _working(order, items, weight, book: Catalogue):
    """The weights of the first two causes, and their ratio."""
    names, made = list(book.causes.values()), []
    for n in order[:2]:
        terms = {"c": (float(book.before[n]), "", f"{names[n].name} is {names[n].commonness}")}
        terms |= {
            f"p{k}": (float(item.shares[n]), "", item.words) for k, item in enumerate(items, 1)
        }
        made.append(float(book.before[n] * np.prod([item.shares[n] for item in items])))
        yield step(f"weight of {names[n].name}", f"W = {' × '.join(terms)}", made[-1], **terms)
    yield step(
        f"{names[order[1]].name} against {names[order[0]].name}",
        "r = W2 / W1",
        float(weight[order[1]]),
        W2=made[1],
        W1=made[0],
    )


def _doubt_working(standing, jobs, doubt):
    """The doubt among the standing causes, and what the first offered measurement takes off it."""
    if not jobs:
        return
    shares = standing / standing.sum()
    before, after = doubt[jobs[0].job.key]
    terms = " + ".join(f"q{n} × ln(q{n})" for n in range(1, len(shares) + 1))
    yield step(
        "doubt about the cause now",
        f"H = 0 − ({terms}) / ln(2)",
        before,
        "bit",
        **{
            f"q{n}": (float(share), "", "share of the standing weight")
            for n, share in enumerate(shares, 1)
        },
    )
    yield step(
        f"what '{jobs[0].job.name}' takes off it on average",
        "I = H − Ha",
        jobs[0].bits,
        "bit",
        H=(before, "bit"),
        Ha=(after, "bit", "mean doubt left, over its possible results"),
    )
    yield step(
        "for each minute",
        "i = I / t",
        jobs[0].bits_per_min,
        "bit/min",
        I=(jobs[0].bits, "bit"),
        t=(jobs[0].job.minutes, "min"),
    )

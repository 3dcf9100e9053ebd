"""The mystery batch: a fault is hidden, the learner chooses measurements, names the cause and opens the case.

A batch number and a station always make the same batch, and the n-th reading of a job always the same number: another reading is another
draw of the noise. Every batch is invented: its symptoms and readings are drawn by the shares of the catalogue.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from kit import tables
from kit.diagnosis.answer import Diagnosis, diagnose
from kit.diagnosis.catalogue import USUAL, Catalogue, Job, Reading, catalogue, named
from kit.errors import need

_CASE, _NOISE = 41, 43
"""two streams of random numbers of one batch"""
_SEEN_IN = {
    "green_core_pct": "green",
    "green_rim_pct": "green",
    "fresh_redness_pct": "pale",
    "grease_g_per_m2": "greasy_skin",
}
"""readings of the symptom itself"""


@dataclass(frozen=True)
class JobDone:
    """One measurement taken, and its values by reading key."""

    job: Job
    values: dict[str, float]


@dataclass(frozen=True)
class MysteryCase:
    """One batch with a hidden fault. `truth`: every reading without noise, by key."""

    class_number: int
    station: int
    symptoms: tuple[str, ...]
    cause: str = field(repr=False)
    truth: dict[str, float] = field(repr=False)

    def investigate(self, jobs: Iterable[str]) -> "Investigation":
        """These measurements in turn; the same job again is another noisy reading at the same price."""
        book, times, taken = catalogue(), Counter[str](), []
        for name in jobs:
            job = named("measurement", name, book.jobs)
            times[job.key] += 1
            seed = (self.class_number, self.station, _NOISE, book.place[job.key], times[job.key])
            rng = np.random.default_rng(seed)
            values = {r.key: _read_off(r, self.truth[r.key], rng) for r in book.of_job[job.key]}
            taken.append(JobDone(job, values))
        return Investigation(self, tuple(taken))

    def check(self, answer: str) -> str:
        """Whether the named cause, by key or name, is the hidden one; if not, what speaks against it. UnknownName for anything else."""
        book = catalogue()
        guess, hidden = named("cause", answer, book.causes), book.causes[self.cause]
        if guess is hidden:
            happened = hidden.what_happened
            return f"Right: {hidden.name}. {happened[0].upper()}{happened[1:]}."
        for row in book.shown_by(guess.key):
            reading = book.readings[row.reading]
            if int(reading.class_of(self.truth[reading.key])) != row.shows:
                return (
                    f"Not this one: {guess.name} would {row.how_sure} show {reading.name} {reading.words[row.shows]}. "
                    f"'{book.jobs[reading.job].name}' tells you whether this batch does."
                )
        return (
            f"Not this one: {guess.name}, although this batch shows what it would show; measure what sets its "
            "neighbours apart."
        )


@dataclass(frozen=True)
class Investigation:
    """What was measured in one case, in order."""

    case: MysteryCase
    taken: tuple[JobDone, ...]

    @property
    def minutes(self) -> float:
        return sum(each.job.minutes for each in self.taken)

    @property
    def evidence(self) -> dict[str, list[float]]:
        """All readings by key, in the order taken."""
        found: dict[str, list[float]] = {}
        for each in self.taken:
            for key, value in each.values.items():
                found.setdefault(key, []).append(value)
        return found

    @cached_property
    def diagnosis(self) -> Diagnosis:
        return diagnose(self.case.symptoms, self.evidence)


def mystery(class_number: int, station: int) -> MysteryCase:
    """The batch of one station, from 1. No cause comes twice before every cause has come once; common causes tend to come early."""
    book = catalogue()
    for what, number, least in (("batch number", class_number, 0), ("station", station, 1)):
        whole = isinstance(number, (int, np.integer)) and not isinstance(number, bool)
        need(whole and number >= least, f"{what} is {number!r}; give a whole number from {least}")
    causes, share = list(book.causes), book.before / book.before.sum()
    order = np.random.default_rng((class_number, _CASE)).choice(
        causes, len(causes), replace=False, p=share
    )
    cause = str(order[(station - 1) % len(causes)])
    rng = np.random.default_rng((class_number, station, _CASE))
    symptoms = _symptoms(cause, book, rng)
    return MysteryCase(class_number, station, symptoms, cause, _truth(cause, symptoms, book, rng))


def _symptoms(cause: str, book: Catalogue, rng) -> tuple[str, ...]:
    """One symptom that a row names for the cause, drawn by how often it comes; now and then a second."""
    keys = [key for key in book.symptoms if (key, cause) in book.gives]
    shares = book.symptom_share[book.place[cause], [book.place[key] for key in keys]]
    two = len(keys) > 1 and rng.random() < tables.value("diagnosis_second_symptom_share")
    drawn = rng.choice(keys, 2 if two else 1, replace=False, p=shares / shares.sum())
    return tuple(map(str, drawn))


def _truth(cause: str, symptoms, book: Catalogue, rng) -> dict[str, float]:
    """A class for each reading by its share, in keeping with what is seen: a green lot has green links, a lot that is not pale has no pale ones."""
    truth = {}
    for key, reading in book.readings.items():
        which = int(rng.choice(3, p=book.class_share[book.place[cause], book.place[key]]))
        row, symptom = book.shows.get((cause, key)), _SEEN_IN.get(key)
        if row and symptom in symptoms:
            which = row.shows
        elif symptom in ("green", "pale"):
            which = USUAL
        truth[key] = _within(reading, which, rng)
    return truth


def _within(reading: Reading, which: int, rng) -> float:
    """A value of the class: as normal batches spread, or one to four spreads beyond the edge."""
    low, high = reading.low_edge, reading.high_edge
    beyond = rng.uniform(1, 4) * reading.spread
    usual = np.clip(rng.normal(reading.usual_value, reading.sound_sd), low, high)
    value = (low - beyond, usual, high + beyond)[which]
    return float(np.clip(value, reading.lowest, reading.highest))


def _read_off(reading: Reading, truth: float, rng) -> float:
    seen = round(truth + reading.noise_sd * rng.standard_normal(), reading.decimals)
    return float(np.clip(seen, reading.lowest, reading.highest)) + 0.0

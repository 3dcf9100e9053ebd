"""The catalogue: what is seen, what may have caused it, and what each measurement would show. Rows of data/diagnosis/*.csv.

How often a symptom comes and how certain a reading shows are kept as words, for nobody has counted them; the words' numbers are
teaching assumptions in data/reference/diagnosis.csv. A pair that no row names is taken as in a normal batch.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeVar

import numpy as np
import scipy as sp

from kit import tables
from kit.errors import UnknownName

CLASSES = ("low", "usual", "high")
LOW, USUAL, HIGH = range(3)
HOW_OFTEN = ("often", "sometimes", "seldom")
HOW_SURE = ("nearly always", "mostly", "often", "at times")


@dataclass(frozen=True, kw_only=True)
class Symptom(tables.Cited):
    key: str
    name: str
    as_seen: str
    be_sure: str
    """how to be sure that it is this and not something like it"""


@dataclass(frozen=True, kw_only=True)
class Cause(tables.Cited):
    key: str
    name: str
    commonness: str
    what_happened: str
    mend: str
    caution: str


@dataclass(frozen=True, kw_only=True)
class Job(tables.Cited):
    """One trip to the log, the bench or the laboratory; it gives one reading or several."""

    key: str
    name: str
    minutes: float
    needs: str
    how: str


@dataclass(frozen=True, kw_only=True)
class Reading(tables.Cited):
    """One number of a job, and where it stops being usual. An edge is infinite where that side says nothing."""

    key: str
    job: str
    name: str
    unit: str
    low_word: str
    usual_word: str
    high_word: str
    low_edge: float
    high_edge: float
    usual_value: float
    sound_sd: float
    """how much normal batches differ"""
    noise_sd: float
    """how much a second reading of the same batch differs"""
    lowest: float
    highest: float
    decimals: int

    @property
    def words(self) -> tuple[str, str, str]:
        """The word of each class; empty where the reading has no such class."""
        return self.low_word, self.usual_word, self.high_word

    def class_of(self, value):
        """0 low, 1 usual, 2 high; arrays allowed."""
        amount = np.asarray(value)
        return np.where(amount < self.low_edge, LOW, np.where(amount > self.high_edge, HIGH, USUAL))

    @property
    def spread(self) -> float:
        """How much single readings of normal batches differ."""
        return float(np.hypot(self.sound_sd, self.noise_sd))

    def sound_shares(self) -> np.ndarray:
        """Share of each class in normal batches: a normal spread of batches and readings, with a floor for errors."""
        slip, usual = tables.value("diagnosis_slip_share"), self.usual_value
        off = np.array([self.low_edge - usual, usual - self.high_edge]) / self.spread
        low, high = np.where(np.isinf(off), 0.0, np.maximum(slip, sp.special.ndtr(off)))
        return np.array([low, 1 - low - high, high])

    def text(self, value: float) -> str:
        figure = f"{value:.{max(self.decimals, 0)}f}".replace("-", "−")
        return f"{self.name}: {figure} {self.unit} ({self.words[int(self.class_of(value))]})"


Entry = TypeVar("Entry", Symptom, Cause, Job, Reading)


@dataclass(frozen=True, kw_only=True)
class Gives(tables.Cited):
    """How often a cause gives a symptom."""

    symptom: str
    cause: str
    how_often: str


@dataclass(frozen=True, kw_only=True)
class Shows(tables.Cited):
    """The class in which a cause puts a reading, and how certain."""

    cause: str
    reading: str
    shows: int
    how_sure: str


@dataclass(frozen=True)
class Catalogue:
    """All rows by key, and the same as arrays: causes along the first axis, in the order of `causes`."""

    symptoms: dict[str, Symptom]
    causes: dict[str, Cause]
    jobs: dict[str, Job]
    readings: dict[str, Reading]
    gives: dict[tuple[str, str], Gives]
    shows: dict[tuple[str, str], Shows]

    @cached_property
    def before(self) -> np.ndarray:
        """(causes,) weight before anything is seen."""
        return np.array(
            [tables.value(f"diagnosis_{cause.commonness}") for cause in self.causes.values()]
        )

    @cached_property
    def symptom_share(self) -> np.ndarray:
        """(causes, symptoms) share of batches with the cause that show the symptom."""
        often = {pair: row.how_often for pair, row in self.gives.items()}
        words = [[often.get((s, c), "hardly") for s in self.symptoms] for c in self.causes]
        share = {word: tables.value(f"diagnosis_gives_{word}") for word in (*HOW_OFTEN, "hardly")}
        return np.array([[share[word] for word in row] for row in words])

    @cached_property
    def class_share(self) -> np.ndarray:
        """(causes, readings, 3) share of batches with the cause whose reading falls into each class."""
        sound = {key: reading.sound_shares() for key, reading in self.readings.items()}
        made = [[_shares(sound[r], self.shows.get((c, r))) for r in sound] for c in self.causes]
        return np.array(made)

    @cached_property
    def place(self) -> dict[str, int]:
        """Place of each symptom, cause, reading and job in its own axis; no key is used twice."""
        return {
            key: n
            for group in (self.symptoms, self.causes, self.readings, self.jobs)
            for n, key in enumerate(group)
        }

    @cached_property
    def of_job(self) -> dict[str, tuple[Reading, ...]]:
        return {job: tuple(r for r in self.readings.values() if r.job == job) for job in self.jobs}

    def causes_of(self, symptom: str) -> tuple[Cause, ...]:
        """Causes that a row names for the symptom, those that give it most often first."""
        named = [row for row in self.gives.values() if row.symptom == symptom]
        return tuple(
            self.causes[row.cause]
            for row in sorted(named, key=lambda row: HOW_OFTEN.index(row.how_often))
        )

    def shown_by(self, cause: str) -> list[Shows]:
        """The rows of one cause, by key, that say how its readings show it."""
        return [row for row in self.shows.values() if row.cause == cause]


def named(what: str, name: str, rows: Mapping[str, Entry]) -> Entry:
    """The symptom, cause, measurement or reading of this key or name, whatever the case. UnknownName where there is none."""
    wanted = str(name).casefold().strip()
    for row in rows.values():
        if wanted in (row.key.casefold(), row.name.casefold()):
            return row
    known = [name for row in rows.values() for name in (row.key, row.name)]
    raise UnknownName(what, str(name), known)


def _shares(sound: np.ndarray, row: Shows | None) -> np.ndarray:
    """The class of the row at its share; the others share the rest as in a normal batch, each at least the slip share."""
    if row is None:
        return sound
    share = tables.value(f"diagnosis_sure_{row.how_sure.replace(' ', '_')}")
    rest = np.where(np.arange(3) == row.shows, 0.0, sound)
    filled = np.where(np.arange(3) == row.shows, share, (1 - share) * rest / rest.sum())
    floored = np.where(sound > 0, np.maximum(filled, tables.value("diagnosis_slip_share")), 0.0)
    return floored / floored.sum()


_READERS: dict[str, Callable[[str], object]] = {
    "low_edge": lambda text: float(text or "-inf"),
    "high_edge": lambda text: float(text or "inf"),
    **dict.fromkeys(("minutes", "usual_value", "sound_sd", "noise_sd", "lowest", "highest"), float),
    "decimals": int,
    "shows": CLASSES.index,
}


def _rows(name: str, kind) -> list:
    return [
        kind(**{name: _READERS.get(name, str)(x) for name, x in row.items()})
        for row in tables.read_rows("diagnosis", f"{name}.csv")
    ]


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The whole catalogue, read once."""
    return Catalogue(
        {row.key: row for row in _rows("symptoms", Symptom)},
        {row.key: row for row in _rows("causes", Cause)},
        {row.key: row for row in _rows("jobs", Job)},
        {row.key: row for row in _rows("readings", Reading)},
        {(row.symptom, row.cause): row for row in _rows("gives", Gives)},
        {(row.cause, row.reading): row for row in _rows("shows", Shows)},
    )

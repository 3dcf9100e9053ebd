"""Lesson 05: what went wrong, why one symptom names no cause, and what to measure next."""

from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.diagnosis import diagnose
from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.evidence import information_bits
from kit.diagnosis.mystery import mystery
from kit.lab.lessons import Choosing, Exercise, Guess, exercise, guess_of
from kit.working import steps_of

SYMPTOM = "fat_cap"
STATIONS = 24
OVER_K = 6.0


@dataclass(frozen=True)
class FromOne:
    """The likeliest cause of one symptom alone, and in how many of 100 batches of the catalogue it would be the right one."""

    symptom: str
    cause: str
    right_pct: float
    could_be: int
    """causes that the catalogue names for the symptom"""

    def __str__(self) -> str:
        return f"{self.symptom}: '{self.cause}' is right in {self.right_pct:.0f} of 100 batches; one of {self.could_be} possible causes"


def from_one(symptom: str) -> FromOne:
    """By the catalogue's own shares: commonness × how often the cause gives the symptom, over the same of all causes."""
    book = catalogue()
    weight = book.before * book.symptom_share[:, book.place[symptom]]
    cause = list(book.causes.values())[int(np.argmax(weight))]
    right_pct = float(100 * weight.max() / weight.sum())
    could_be = len(book.causes_of(symptom))
    return FromOne(book.symptoms[symptom].name, cause.name, right_pct, could_be)


def from_each() -> tuple[FromOne, ...]:
    """Every symptom of the catalogue by itself, the best guess first."""
    return tuple(sorted(map(from_one, catalogue().symptoms), key=lambda one: -one.right_pct))


def class_list(class_number: int, stations: int, answers: bool = False) -> str:
    """One line per station: what is seen; with `answers` the simulated fault and its corrective action, for the teacher."""
    book, lines = catalogue(), []
    for station in range(1, stations + 1):
        case = mystery(class_number, station)
        cause = book.causes[case.cause]
        says = f"{cause.name}: {cause.mend}"
        if not answers:
            says = f"symptom: {', '.join(book.symptoms[key].name for key in case.symptoms)}"
        lines.append(f"station {station}: {says}")
    return "\n".join(lines)


def planted() -> str:
    """The hidden fault of every station of class 5, as the notebook has it; other classes: class_list(number, stations, answers=True)."""
    return class_list(5, STATIONS, answers=True)


# --- guess and exercises ---


def guess() -> Guess:
    name = catalogue().symptoms[SYMPTOM].name
    return guess_of("05 guess", {"name": name}, lambda: from_one(SYMPTOM).right_pct)


def exercises() -> tuple[Exercise, ...]:
    return (*_odds(), _spreads(), _per_minute(), _causes_left())


def _odds() -> tuple[Exercise, Exercise]:
    """Two causes of a fat cap set against each other, before and after a reading."""
    book = catalogue()
    hot, fine = book.causes["hot_chop"], book.causes["over_chop"]
    cap, end = book.place[SYMPTOM], book.place["end_over_best_K"]
    shares = book.before, book.symptom_share[:, cap], book.class_share[:, end, 2]
    (c1, p1, q1), (c2, p2, q2) = (
        [float(column[book.place[cause.key]]) for column in shares] for cause in (hot, fine)
    )
    odds, often = c1 * p1 / (c2 * p2), 100 * tables.value("diagnosis_gives_often")
    names = {"hot": hot.name, "fine": fine.name}
    names |= {"hot_is": hot.commonness, "fine_is": fine.commonness, "often": often}
    before = {"r": odds, "c1": c1, "p1": p1, "c2": c2, "p2": p2, **names}
    after = {**before, "R": odds * q1 / q2, "q1": q1, "q2": q2}
    after |= {"q1_pct": 100 * q1, "q2_pct": 100 * q2}
    return (
        exercise("05 odds", before, lambda: 1 / odds, lambda: p1 / p2),
        exercise("05 odds after", after, lambda: q1 / q2),
    )


def _spreads() -> Exercise:
    pH = catalogue().readings["pH"]
    u, b, n, read = pH.usual_value, pH.sound_sd, pH.noise_sd, 5.50
    known = {"s": pH.spread, "b": b, "n": n, "z": (u - read) / pH.spread, "u": u, "x": read}
    return exercise("05 reading", known, lambda: (u - read) / (b + n), lambda: (u - read) / b)


def _per_minute() -> Exercise:
    book = catalogue()
    tube, wipe = (
        book.jobs[book.readings[key].job].minutes for key in ("tube_fat_over_g", "grease_g_per_m2")
    )

    def bits(p: float) -> float:
        return information_bits(np.ones(2), [np.array([[1 - p, p], [p, 1 - p]])])[2]

    sharp, blunt = bits(0.98), bits(0.7)
    ratio = (blunt / wipe) / (sharp / tube)
    known = {"I1": sharp, "p1": 0.98, "t1": tube, "I2": blunt, "p2": 0.7, "t2": wipe, "r": ratio}
    return exercise("05 bits", known, lambda: ratio * wipe / tube, lambda: tube / wipe)


def _causes_left() -> Exercise:
    found = diagnose(SYMPTOM, {"end_over_best_K": OVER_K})
    weights = ("weight 1", "weight 2", "weight ratio")
    return exercise(
        "05 remaining causes",
        {"over_K": OVER_K, "share_pct": 100 * tables.value("diagnosis_standing_share")},
        lambda: len(diagnose(SYMPTOM).standing),
        working=lambda: steps_of(found.working, *weights),
        answer=lambda: len(found.standing),
    )


def choices() -> tuple[Choosing, ...]:
    """Which measurement comes first."""
    jobs = catalogue().jobs

    def judge(option: str) -> tuple[bool, str, str]:
        offered = {one.job.name: one.bits_per_min for one in diagnose(SYMPTOM).next_jobs}
        best = max(offered, key=lambda name: offered[name])
        words = f"it tells {1000 * offered.get(option, 0.0):.0f} thousandths of a bit per minute; the most, {1000 * offered[best]:.0f}, comes from: {best}."
        return option == best, words, tables.cite("kit", "", "teaching")

    question = "A fat cap is seen and nothing is measured. Which measurement tells most per minute?"
    options = ("tube_test", "chop_log", "fat_and_water", "microscope")
    return (Choosing(question, tuple(jobs[key].name for key in options), judge),)

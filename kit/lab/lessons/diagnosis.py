"""Lesson 05: what went wrong, why one symptom names no cause, and what to measure next."""

from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.diagnosis import diagnose
from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.evidence import information_bits
from kit.diagnosis.mystery import mystery
from kit.lab.lessons import Choosing, Exercise, Guess, exercise, guess_of
from kit.working import step, steps_of

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
    seen = book.symptom(symptom)
    weight = book.before * book.symptom_share[:, book.place[seen.key]]
    cause = list(book.causes.values())[int(np.argmax(weight))]
    right_pct = float(100 * weight.max() / weight.sum())
    return FromOne(seen.name, cause.name, right_pct, len(book.causes_of(seen.key)))


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
    return guess_of("05 guess", lambda: from_one(SYMPTOM).right_pct, name=name)


def exercises() -> tuple[Exercise, ...]:
    return (*_odds(), _spreads(), _per_minute(), _causes_left())


def _odds() -> tuple[Exercise, Exercise]:
    """Two causes of a fat cap set against each other, before and after a reading."""
    book = catalogue()
    hot, fine = book.causes["hot_chop"], book.causes["over_chop"]
    at, cap, end = book.place, book.place[SYMPTOM], book.place["end_over_best_K"]
    before, share, shows = (
        {cause.key: float(column[at[cause.key]]) for cause in (hot, fine)}
        for column in (book.before, book.symptom_share[:, cap], book.class_share[:, end, 2])
    )
    c1, c2, p1, p2, q1, q2 = (
        held[cause.key] for held in (before, share, shows) for cause in (hot, fine)
    )
    often = tables.value("diagnosis_gives_often")

    def odds():
        answer = c1 * p1 / (c2 * p2)
        terms = dict(c1=(c1, "", hot.name), p1=p1, c2=(c2, "", fine.name), p2=p2)
        what = "ratio of weights"
        return answer, (step(what, "r = c1 × p1 / (c2 × p2)", answer, "times", **terms),)

    def odds_after():
        first, working = odds()
        answer = first * q1 / q2
        last = step(
            "multiplied by the reading",
            "R = r × q1 / q2",
            answer,
            "times",
            r=(first, "times"),
            q1=(q1, "", f"share that shows it: {hot.name}"),
            q2=(q2, "", f"share that shows it: {fine.name}"),
        )
        return answer, (*working, last)

    return (
        exercise(
            "05 odds",
            odds,
            lambda: 1 / odds()[0],
            lambda: p1 / p2,
            hot=hot.name,
            hot_is=hot.commonness,
            c1=c1,
            fine=fine.name,
            fine_is=fine.commonness,
            c2=c2,
            often=100 * often,
        ),
        exercise(
            "05 odds after",
            odds_after,
            lambda: q1 / q2,
            q1=100 * q1,
            hot=hot.name,
            q2=100 * q2,
            fine=fine.name,
        ),
    )


def _spreads() -> Exercise:
    pH = catalogue().readings["pH"]
    u, b, n, read = pH.usual_value, pH.sound_sd, pH.noise_sd, 5.50

    def solve():
        s = float(np.hypot(b, n))
        answer = (u - read) / s
        return answer, (
            step(
                "standard deviation of normal readings",
                "s = (b^2 + n^2)^0.5",
                s,
                "pH",
                b=(b, "", "between batches"),
                n=(n, "", "between readings"),
            ),
            step(
                "standard deviations below normal",
                "z = (u − x) / s",
                answer,
                u=(u, "", "usual"),
                x=read,
                s=s,
            ),
        )

    return exercise(
        "05 reading", solve, lambda: (u - read) / (b + n), lambda: (u - read) / b, u=u, b=b, n=n
    )


def _per_minute() -> Exercise:
    book = catalogue()
    tube, wipe = (
        book.jobs[book.readings[key].job] for key in ("tube_fat_over_g", "grease_g_per_m2")
    )

    def bits(p: float) -> float:
        return information_bits(np.ones(2), [np.array([[1 - p, p], [p, 1 - p]])])[2]

    def solve():
        formula = "1 + (p × ln(p) + (1 − p) × ln(1 − p)) / ln(2)"
        sharp, blunt = bits(0.98), bits(0.7)
        answer = (blunt / wipe.minutes) / (sharp / tube.minutes)
        return answer, (
            step("tube test, bits", f"I1 = {formula}", sharp, "bit", p=0.98),
            step("wipe test, bits", f"I2 = {formula}", blunt, "bit", p=0.7),
            step(
                "wipe test over tube test, per minute",
                "r = (I2 / t2) / (I1 / t1)",
                answer,
                "times",
                I2=(blunt, "bit"),
                t2=(wipe.minutes, "min"),
                I1=(sharp, "bit"),
                t1=(tube.minutes, "min"),
            ),
        )

    return exercise(
        "05 bits",
        solve,
        lambda: solve()[0] * wipe.minutes / tube.minutes,
        lambda: tube.minutes / wipe.minutes,
        tube_min=tube.minutes,
        wipe_min=wipe.minutes,
    )


def _causes_left() -> Exercise:
    def solve():
        found = diagnose(SYMPTOM, {"end_over_best_K": OVER_K})
        working = steps_of(found.working, "weight 1", "weight 2", "weight ratio")
        return float(len(found.standing)), working

    return exercise(
        "05 remaining causes",
        solve,
        lambda: float(len(diagnose(SYMPTOM).standing)),
        over_K=OVER_K,
        share_pct=100 * tables.value("diagnosis_standing_share"),
    )


def choices() -> tuple[Choosing, ...]:
    """Which measurement comes first."""
    jobs = catalogue().jobs

    def judge(option: str) -> tuple[bool, str, str]:
        offered = {one.job.name: one.bits / one.job.minutes for one in diagnose(SYMPTOM).next_jobs}
        best = max(offered, key=lambda name: offered[name])
        words = f"it tells {1000 * offered.get(option, 0.0):.0f} thousandths of a bit per minute; the most, {1000 * offered[best]:.0f}, comes from: {best}."
        return option == best, words, tables.cite("kit", "", "teaching")

    options = tuple(
        jobs[key].name for key in ("tube_test", "chop_log", "fat_and_water", "microscope")
    )
    return (
        Choosing(
            "A fat cap is seen and nothing is measured. Which measurement tells most per minute?",
            options,
            judge,
        ),
    )

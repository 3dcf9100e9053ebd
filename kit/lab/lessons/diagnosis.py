"""Lesson 05: what went wrong, why one symptom names no cause, and what to measure next."""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from kit import tables
from kit.diagnosis import (
    Investigation,
    MysteryCase,
    cases_for_class,
    catalogue,
    diagnose,
    information_bits,
    mystery,
)
from kit.errors import need_between
from kit.lab.lessons import Exercise, Guess
from kit.working import Step, step

SYMPTOM = "fat_cap"
PLAYED = tuple(range(40_000, 40_040))
"""seeds of the batches that are played through for 'name it from one symptom'; no share of the catalogue was set on them"""
MOST_TAKEN, STATIONS = 12, 24
OVER_K = 6.0


# one symptom ---------------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class FromOne:
    """The likeliest cause of one symptom alone, and in how many of 100 batches of the catalogue it would be the right one."""

    symptom: str
    cause: str
    right_pct: float
    could_be: int
    """causes that the catalogue names for the symptom"""
    working: tuple[Step, ...]


@cache
def from_one(symptom: str) -> FromOne:
    """By the catalogue's own shares: commonness × how often the cause gives the symptom, over the same of all causes."""
    book = catalogue()
    key = book.symptom(symptom).key
    weight = book.before * book.symptom_share[:, book.place[key]]
    n = int(np.argmax(weight))
    cause = list(book.causes.values())[n]
    pct = 100 * float(weight[n] / weight.sum())
    return FromOne(
        key,
        cause.name,
        pct,
        len(book.causes_of(key)),
        (
            step(
                f"weight of '{cause.name}'",
                "w = c × p",
                float(weight[n]),
                c=(float(book.before[n]), "", f"it is {cause.commonness}"),
                p=(
                    float(book.symptom_share[n, book.place[key]]),
                    "",
                    "share of its batches that show the symptom",
                ),
            ),
            step(
                "share of all causes",
                "s = 100 × w / W",
                pct,
                "%",
                w=(float(weight[n]),),
                W=(float(weight.sum()), "", "the same, added over every cause"),
            ),
        ),
    )


# batches played through ----------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Played:
    """One mystery batch, played by always taking the measurement that tells most per minute. `way`: (minutes spent, is the cause in front right?)."""

    seed: int
    symptoms: tuple[str, ...]
    way: tuple[tuple[float, bool], ...]

    def right_after(self, minutes: float) -> bool:
        """Was the cause in front the planted one when so many minutes had been spent?"""
        return [right for spent, right in self.way if spent <= minutes][-1]


@lru_cache(maxsize=512)
def played(seed: int) -> Played:
    case = mystery(seed)
    way, steps = Investigation(case), []
    while True:
        found = way.diagnosis
        steps.append((way.minutes, found.leading.cause.key == case.planted.cause))
        if found.settled or not found.next_jobs or len(way.taken) == MOST_TAKEN:
            return Played(seed, case.symptoms, tuple(steps))
        way = way.measure(found.next_jobs[0].job.key)


def all_played() -> tuple[Played, ...]:
    return tuple(played(seed) for seed in PLAYED)


def right_after(minutes: float, games: tuple[Played, ...]) -> int:
    """In how many of these batches the cause in front is the planted one."""
    need_between("minutes to spend", minutes, 0, 1e5)
    return sum(game.right_after(minutes) for game in games)


# a class -------------------------------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=8)
def _cases(seed: int) -> tuple[MysteryCase, ...]:
    return cases_for_class(seed, STATIONS)


def case_of(seed: int, station: int) -> MysteryCase:
    """The batch of one station, 1 to STATIONS; a station keeps its own whatever the number of stations."""
    return _cases(seed)[int(need_between("station", station, 1, STATIONS)) - 1]


def class_list(seed: int, stations: int, answers: bool = False) -> str:
    """One line per station: its seed and what is seen; with `answers` the planted cause and how to mend it, for the teacher."""
    book, lines = catalogue(), []
    for n, case in enumerate(cases_for_class(seed, stations), 1):
        seen = ", ".join(book.symptoms[key].name for key in case.symptoms)
        cause = book.causes[case.planted.cause]
        lines.append(
            f"station {n}: seed {case.seed}"
            + (f"; {cause.name}: {cause.mend}" if answers else f"; seen: {seen}")
        )
    return "\n".join(lines)


# guess and exercises -------------------------------------------------------------------------------------------------------------------
def guess() -> Guess:
    name = catalogue().symptoms[SYMPTOM].name
    return Guess(
        f"A link shows a {name}, and nothing has been measured. You name the likeliest cause. In how many batches of 100, says the teaching catalogue, are you right?",
        "of 100",
        lambda: from_one(SYMPTOM).right_pct,
        5.0,
    )


def exercises() -> tuple[Exercise, ...]:
    book = catalogue()
    hot, fine = book.causes["hot_chop"], book.causes["over_chop"]
    end, pH, tube, wipe = (
        book.readings[key]
        for key in ("end_over_best_K", "pH", "tube_fat_over_g", "grease_g_per_m2")
    )
    share = {
        c.key: float(book.symptom_share[book.place[c.key], book.place[SYMPTOM]])
        for c in (hot, fine)
    }
    before = {c.key: float(book.before[book.place[c.key]]) for c in (hot, fine)}
    shows = {
        c.key: float(book.class_share[book.place[c.key], book.place[end.key], 2])
        for c in (hot, fine)
    }
    often = tables.value("diagnosis_gives_often")
    tube_job, wipe_job = book.jobs[tube.job], book.jobs[wipe.job]
    sharp, blunt = np.array([[0.02, 0.98], [0.98, 0.02]]), np.array([[0.3, 0.7], [0.7, 0.3]])
    beef_best = diagnosis_best("beef")

    def odds():
        answer = before[hot.key] * share[hot.key] / (before[fine.key] * share[fine.key])
        return answer, (
            step(
                "weights set against each other",
                "r = c1 × p1 / (c2 × p2)",
                answer,
                "times",
                c1=(before[hot.key], "", hot.name),
                p1=(share[hot.key],),
                c2=(before[fine.key], "", fine.name),
                p2=(share[fine.key],),
            ),
        )

    def odds_after():
        first = odds()[0]
        answer = first * shows[hot.key] / shows[fine.key]
        return answer, (
            *odds()[1],
            step(
                "the reading multiplies it",
                "R = r × q1 / q2",
                answer,
                "times",
                r=(first, "times"),
                q1=(shows[hot.key], "", f"share that shows it: {hot.name}"),
                q2=(shows[fine.key], "", f"share that shows it: {fine.name}"),
            ),
        )

    def over_best():
        answer = (72 - 32) / 1.8 - beef_best
        return answer, (
            step(
                "end of chopping over the best",
                "d = (F − 32) / 1.8 − B",
                answer,
                "K",
                F=(72, "°F"),
                B=(beef_best, "°C", "best for beef fat"),
            ),
        )

    def spreads():
        s = float(np.hypot(pH.sound_sd, pH.noise_sd))
        answer = (pH.usual_value - 5.50) / s
        return answer, (
            step(
                "spread of sound readings",
                "s = (b^2 + n^2)^0.5",
                s,
                "pH",
                b=(pH.sound_sd, "", "between batches"),
                n=(pH.noise_sd, "", "between readings"),
            ),
            step(
                "how many spreads below",
                "z = (u − x) / s",
                answer,
                "",
                u=(pH.usual_value, "", "usual"),
                x=(5.50,),
                s=(s,),
            ),
        )

    def four_tubes():
        answer = tube.noise_sd / 2
        return answer, (
            step(
                "noise of a mean",
                "m = n / k^0.5",
                answer,
                tube.unit,
                n=(tube.noise_sd, tube.unit, "one tube"),
                k=(4, "", "tubes"),
            ),
        )

    def per_minute():
        bits = {
            job.key: information_bits(np.ones(2), [shares])[2]
            for job, shares in ((tube_job, sharp), (wipe_job, blunt))
        }
        a, b = bits[tube_job.key] / tube_job.minutes, bits[wipe_job.key] / wipe_job.minutes
        return b / a, (
            step(
                "the sharp one, bits",
                "I1 = 1 + (p × ln(p) + (1 − p) × ln(1 − p)) / ln(2)",
                bits[tube_job.key],
                "bit",
                p=(0.98,),
            ),
            step(
                "the blunt one, bits",
                "I2 = 1 + (p × ln(p) + (1 − p) × ln(1 − p)) / ln(2)",
                bits[wipe_job.key],
                "bit",
                p=(0.7,),
            ),
            step(
                "blunt over sharp, for each minute",
                "r = (I2 / t2) / (I1 / t1)",
                b / a,
                "times",
                I2=(bits[wipe_job.key], "bit"),
                t2=(wipe_job.minutes, "min"),
                I1=(bits[tube_job.key], "bit"),
                t1=(tube_job.minutes, "min"),
            ),
        )

    def causes_left():
        found = diagnose(SYMPTOM, {end.key: OVER_K})
        return float(len(found.standing)), tuple(found.working[:3])

    return (
        Exercise(
            f"In the teaching catalogue '{hot.name}' is {hot.commonness} (weight {before[hot.key]:g}) and '{fine.name}' comes {fine.commonness} (weight {before[fine.key]:g}). "
            f"Each often gives a fat cap: in {100 * often:.0f} of 100 of its batches. A fat cap is seen. How many times likelier is '{hot.name}'?",
            "times",
            odds,
            0.02,
            (
                "Weight × share for each, then one over the other.",
                "The two shares are the same, so only the weights count.",
            ),
            (
                ("that is the other way up.", lambda: 1 / odds()[0]),
                (
                    "you left out how common each cause is to begin with.",
                    lambda: share[hot.key] / share[fine.key],
                ),
            ),
        ),
        Exercise(
            f"Now the chopper's log says the bowl ended hot. {100 * shows[hot.key]:.0f} of 100 batches of '{hot.name}' show that, and "
            f"{100 * shows[fine.key]:.1f} of 100 of '{fine.name}'. How many times likelier is '{hot.name}' now?",
            "times",
            odds_after,
            0.1,
            (
                "Multiply what you had by how much likelier the reading is with the one than with the other.",
                "The answer of exercise 1 × the one share / the other.",
            ),
            (
                (
                    "that is the reading alone; what you knew before still counts.",
                    lambda: shows[hot.key] / shows[fine.key],
                ),
            ),
        ),
        Exercise(
            f"A bowl of beef batter ended at 72 °F. The teaching model has the best end for beef fat at {beef_best:g} °C. How many kelvin over the best did it end?",
            "K",
            over_best,
            0.1,
            (
                "Fahrenheit to Celsius first: take 32 off, then divide by 1.8.",
                "(72 − 32) / 1.8, less the best.",
            ),
            (
                (
                    "those are degrees Fahrenheit; a kelvin is 1.8 of them.",
                    lambda: over_best()[0] * 1.8,
                ),
            ),
        ),
        Exercise(
            f"Sound batters have pH {pH.usual_value:g} with a spread of {pH.sound_sd:g} between batches; one reading of one batter has a spread of {pH.noise_sd:g}. "
            "Yours reads 5.50. How many spreads below the usual is that?",
            "spreads",
            spreads,
            0.1,
            (
                "Two independent spreads add in squares.",
                f"√({pH.sound_sd:g}² + {pH.noise_sd:g}²), then the distance over it.",
            ),
            (
                (
                    "spreads add in squares, not straight.",
                    lambda: (pH.usual_value - 5.50) / (pH.sound_sd + pH.noise_sd),
                ),
                (
                    "you took the spread between batches alone.",
                    lambda: (pH.usual_value - 5.50) / pH.sound_sd,
                ),
            ),
        ),
        Exercise(
            f"The fat read in one tube of a tube test has a noise of {tube.noise_sd:g} g of 100 g. What is the noise of the mean of four tubes?",
            "g of 100 g",
            four_tubes,
            0.012,
            ("Means are quieter by the square root of how many.", "Divide by 2."),
            (("a mean of four is not four times quieter.", lambda: tube.noise_sd / 4),),
        ),
        Exercise(
            f"Two causes stand equal. A tube test ({tube_job.minutes:g} min) would call either rightly 98 times in 100; a wipe test ({wipe_job.minutes:g} min) only 70 in 100. "
            "For each minute, how many times as many bits does the wipe test tell?",
            "times",
            per_minute,
            0.06,
            (
                "What a two-way test tells of an even doubt: 1 + p log2 p + (1 − p) log2 (1 − p) bits.",
                "Work out both, divide each by its minutes, then one over the other.",
            ),
            (
                (
                    "you compared the bits and forgot the minutes.",
                    lambda: per_minute()[0] * wipe_job.minutes / tube_job.minutes,
                ),
                ("you compared the minutes alone.", lambda: tube_job.minutes / wipe_job.minutes),
            ),
        ),
        Exercise(
            f"A fat cap was seen, and the bowl ended {OVER_K:g} K over the best of its fat. How many causes still stand in the catalogue: those at or over "
            f"{100 * tables.value('diagnosis_standing_share'):g} % of the leading one's weight? (Set it in the first panel.)",
            "causes",
            causes_left,
            0.1,
            (
                "Choose the fat cap, say that the end is known, and put it there.",
                "Count the bars that stand, not those set aside.",
            ),
            (("that is before the reading.", lambda: float(len(diagnose(SYMPTOM).standing))),),
        ),
    )


def diagnosis_best(fat_kind: str) -> float:
    """Best end of chopping of one kind of fat, °C."""
    return tables.value(f"emulsion_best_end_C_{fat_kind.replace(' ', '_')}")

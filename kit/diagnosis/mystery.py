"""The mystery batch: a fault is planted, the learner chooses measurements, names the cause, and opens the working.

A seed always makes the same batch, and the n-th reading of a job always the same number: another reading is another draw of the noise.
All numbers are invented; the fault's size is a teaching assumption, what follows from it comes from the rooms.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from kit import tables
from kit.diagnosis.answer import CAUTION, Diagnosis, diagnose
from kit.diagnosis.catalogue import LOW, Catalogue, Job, Reading, catalogue
from kit.diagnosis.planted import PREMIX, SimulatedBatches, plant
from kit.diagnosis.reveal import Reveal, reveal_of
from kit.errors import OutOfRange, need

_CASE, _NOISE = 41, 43
"""two streams of random numbers of one seed"""
MOST_STATIONS, MOST_READINGS = 200, 50
_SEEDS_PER_CLASS = 1000


@dataclass(frozen=True)
class JobDone:
    """The n-th reading of one job: what it cost and what it said."""

    job: Job
    nth: int
    values: dict[str, float]
    """by reading key"""
    lines: tuple[str, ...]

    @property
    def minutes(self) -> float:
        return self.job.minutes


@dataclass(frozen=True)
class CaseReply:
    """Whether the named cause is the planted one; if not, which measurement speaks against it."""

    right: bool
    says: str


@dataclass(frozen=True)
class MysteryCase:
    """One batch with a hidden fault. `sheet`: rows of (what, as written)."""

    seed: int
    sheet: tuple[tuple[str, str], ...]
    symptoms: tuple[str, ...]
    planted: SimulatedBatches = field(repr=False)

    @property
    def notes(self) -> tuple[str, ...]:
        return ("an invented batch for practice", CAUTION)

    @cached_property
    def truth(self) -> dict[str, float]:
        """By reading key, without noise; what the reveal is made of."""
        return _agreeing(
            {key: float(values[0]) for key, values in self.planted.truth.items()},
            self.symptoms,
            self.planted.cause,
            np.random.default_rng((self.seed, _CASE, 1)),
        )

    def measure(self, job: str, nth: int = 1) -> JobDone:
        """The n-th reading (1, 2, ...) of a job of the catalogue."""
        book = catalogue()
        found = book.job(job)
        need(
            isinstance(nth, (int, np.integer)) and 1 <= nth <= MOST_READINGS,
            f"reading number is {nth!r}; it must be a whole number from 1 to {MOST_READINGS}",
        )
        rng = np.random.default_rng((self.seed, _NOISE, book.place[found.key], int(nth)))
        values = {r.key: _read_off(r, self.truth[r.key], rng) for r in book.of_job[found.key]}
        return JobDone(
            found,
            int(nth),
            values,
            tuple(book.readings[key].text(value) for key, value in values.items()),
        )

    def check(self, answer: str) -> CaseReply:
        """Judges a cause, by key or name. UnknownName for anything else."""
        book = catalogue()
        named, hidden = book.cause(answer), book.causes[self.planted.cause]
        if named.key == hidden.key:
            happened = hidden.what_happened
            says = f"Right: {hidden.name}. {happened[0].upper()}{happened[1:]}."
            return CaseReply(True, says)
        for (cause, key), row in book.shows.items():
            reading = book.readings[key]
            if cause == named.key and int(reading.class_of(self.truth[key])) != row.shows:
                says = (
                    f"Not this one: {named.name} would {row.how_sure} show {reading.name} {reading.words[row.shows]}. "
                    f"'{book.jobs[reading.job].name}' tells you whether this batch does."
                )
                return CaseReply(False, says)
        says = (
            f"Not this one: {named.name}, although this batch shows what it would show; measure what sets its "
            "neighbours apart."
        )
        return CaseReply(False, says)

    def reveal(self) -> Reveal:
        """Opens the case: what was planted, and how its numbers follow."""
        return reveal_of(self.planted, self.symptoms, self.truth)


@dataclass(frozen=True)
class Investigation:
    """A learner's way through one case: what was measured, what it cost, and where it leads. Each step makes a new one."""

    case: MysteryCase
    taken: tuple[JobDone, ...] = ()

    def measure(self, job: str) -> "Investigation":
        """One more reading; the same job again is another noisy reading at the same price."""
        key = catalogue().job(job).key
        nth = 1 + sum(each.job.key == key for each in self.taken)
        return replace(self, taken=(*self.taken, self.case.measure(key, nth)))

    @property
    def minutes(self) -> float:
        return sum(each.minutes for each in self.taken)

    @property
    def evidence(self) -> dict[str, tuple[float, ...]]:
        """All readings by key, in the order taken."""
        found: dict[str, tuple[float, ...]] = {}
        for each in self.taken:
            for key, value in each.values.items():
                found[key] = (*found.get(key, ()), value)
        return found

    @cached_property
    def diagnosis(self) -> Diagnosis:
        return diagnose(self.case.symptoms, self.evidence)


def mystery(seed: int) -> MysteryCase:
    """The batch of this seed: a whole number from 0 up."""
    book, cause = catalogue(), _cause_of(seed)
    rng = np.random.default_rng((int(seed), _CASE))
    symptoms = _symptoms(cause, book, rng)
    planted = plant(cause, 1, rng)
    return MysteryCase(int(seed), _sheet(planted, book), symptoms, planted)


def cases_for_class(seed: int, n: int) -> tuple[MysteryCase, ...]:
    """`n` cases, one per station; no cause comes twice before every cause has come once. Each is `mystery(case.seed)` again."""
    _need_seed(seed)
    need(
        isinstance(n, (int, np.integer)) and 1 <= n <= MOST_STATIONS,
        f"stations: {n!r}; it must be a whole number from 1 to {MOST_STATIONS}",
    )
    causes = len(catalogue().causes)
    used: list[str] = []
    seeds: list[int] = []
    for candidate in range(_SEEDS_PER_CLASS * int(seed), _SEEDS_PER_CLASS * (int(seed) + 1)):
        cause = _cause_of(candidate)
        if used.count(cause) == len(seeds) // causes:
            used.append(cause)
            seeds.append(candidate)
        if len(seeds) == n:
            return tuple(mystery(s) for s in seeds)
    raise OutOfRange(
        f"seed {seed} has no {n} cases of enough different causes; take fewer stations or another seed"
    )


def _need_seed(seed) -> None:
    need(
        isinstance(seed, (int, np.integer)) and not isinstance(seed, bool) and bool(seed >= 0),
        f"seed is {seed!r}; give a whole number from 0 up",
    )


def _cause_of(seed: int) -> str:
    """Drawn by commonness."""
    _need_seed(seed)
    book, rng = catalogue(), np.random.default_rng((int(seed), _CASE, 0))
    return str(rng.choice(list(book.causes), p=book.before / book.before.sum()))


def _symptoms(cause: str, book: Catalogue, rng) -> tuple[str, ...]:
    """One symptom that a row names for the cause, drawn by how often it comes; now and then a second."""
    share = {
        key: book.symptom_share[book.place[cause], book.place[key]]
        for key in book.symptoms
        if (key, cause) in book.gives
    }
    two = len(share) > 1 and rng.random() < tables.value("diagnosis_second_symptom_share")
    p = np.array(list(share.values()))
    return tuple(
        map(str, rng.choice(list(share), size=2 if two else 1, replace=False, p=p / p.sum()))
    )


# a symptom is itself seen by some readings: {symptom: {reading: bound where the symptom is there}}
_AGREES = {
    "green": ("green_core_pct", "green_rim_pct"),
    "pale": ("fresh_redness_pct",),
    "greasy_skin": ("grease_g_per_m2",),
}


def _agreeing(truth: dict[str, float], symptoms, cause: str, rng) -> dict[str, float]:
    """Readings of the symptom itself put in keeping with it: a green lot has green links, a lot that is not pale has no pale ones."""
    book, made = catalogue(), dict(truth)
    for symptom, keys in _AGREES.items():
        for key in keys:
            row, reading = book.shows.get((cause, key)), book.readings[key]
            if row is None:
                continue
            edge, side = (reading.edges[0], -1) if row.shows == LOW else (reading.edges[1], 1)
            beyond = (made[key] - edge) * side
            if symptom in symptoms:
                seen_here = symptom != "green" or key == _green_where(cause)
                if seen_here and beyond < 2 * reading.noise_sd:
                    made[key] = edge + side * (2 * reading.noise_sd + abs(beyond))
            elif beyond > 0 and symptom != "greasy_skin":
                made[key] = reading.usual_value + reading.sound_sd * rng.standard_normal()
            made[key] = float(np.clip(made[key], reading.lowest, reading.highest))
    return made


def _green_where(cause: str) -> str:
    return "green_rim_pct" if cause == "recontaminated" else "green_core_pct"


def _read_off(reading: Reading, truth: float, rng) -> float:
    seen = round(truth + reading.noise_sd * rng.standard_normal(), reading.decimals)
    return float(np.clip(seen, reading.lowest, reading.highest)) + 0.0


def _sheet(p: SimulatedBatches, book: Catalogue) -> tuple[tuple[str, str], ...]:
    """The plan as the learner sees it; the fault is not on it."""
    plan, ice, salt = p.plan, tables.value("diagnosis_ice_kg"), p.plan.salt_pct
    meat = f"{tables.value('diagnosis_meat_kg'):g} kg, into the bowl at {tables.value('diagnosis_meat_usual_C'):g} °C"
    return (
        ("batch", "100 kg"),
        ("meat block", meat),
        ("main fat", p.fat_kind),
        ("ice", f"{ice:g} kg"),
        ("salt", f"{salt:.2f} kg"),
        (f"cure, {PREMIX}", f"{1000 * p.planned_premix_kg:.0f} g"),
        (
            "reckoned: water, protein, fat",
            f"{plan.water_pct:.1f}, {plan.protein_pct:.1f}, {plan.fat_pct:.1f} % of the batter",
        ),
        ("end of chopping wanted", f"{p.best_C:g} °C"),
        ("core wanted for binding", f"{book.readings['core_C'].usual_value:g} °C"),
    )

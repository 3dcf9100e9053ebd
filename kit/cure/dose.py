"""How much nitrite goes in, and per kilogram of what?

ppm is mg of nitrite per kg of a base. The same grams are a different ppm of the meat, of the batch, of the finished
product, and as the ion: a figure without its basis and its form says nothing.
"""

from dataclasses import dataclass

import numpy as np

from kit.cure.premix import Premix
from kit.cure.salts import convert, molar_sources
from kit.errors import OutOfRange, UnknownName, need, need_between
from kit.tables import cite, number
from kit.working import Step, step

BASES = ("meat", "batch", "finished")


def nitrite_ppm(premix_kg, strength_pct, base_kg):
    """ppm NaNO2 of the base; arrays allowed. strength_pct is 6.25 for 6.25 %."""
    return np.multiply(premix_kg, strength_pct) / 100 * 1e6 / base_kg


def premix_kg_for(target_ppm, strength_pct, base_kg):
    """kg of premix for `target_ppm` NaNO2 of the base; arrays allowed. The inverse of `nitrite_ppm`."""
    return np.multiply(target_ppm, base_kg) / 1e6 * 100 / strength_pct


def immersion_ppm(nitrite_kg, meat_kg, pickle_kg):
    """Whole meat left in pickle to equilibrium: the nitrite spreads over meat and pickle. ppm of (meat + pickle)."""
    return nitrite_kg * 1e6 / (np.add(meat_kg, pickle_kg))


def injection_ppm(nitrite_kg, pump_pct, pickle_kg):
    """Whole meat pumped with `pump_pct` (% of green weight) of a pickle that holds nitrite_kg in pickle_kg. ppm of green meat."""
    return nitrite_kg * np.divide(pump_pct, 100) * 1e6 / pickle_kg


@dataclass(frozen=True)
class CureLine:
    """So many kg of one premix. `via` tells a cure of its own from a seasoning blend that carries cure.

    `label_nitrite_pct`: what the bag at the bench says, as read by the person weighing (None: nobody looked).
    """

    premix: Premix
    kg: float
    via: str = "cure"
    label_nitrite_pct: float | None = None

    def __post_init__(self):
        need_between(f"weight of {self.premix.name!r}, kg", self.kg, 0, 1e6)
        if self.via not in ("cure", "blend"):
            raise UnknownName("via", self.via, ("cure", "blend"))
        if self.label_nitrite_pct is not None:
            need_between(
                f"nitrite on the bag of {self.premix.name!r}, %", self.label_nitrite_pct, 0, 100
            )

    @property
    def nitrite_kg(self) -> float:
        """NaNO2, kg. OutOfRange if the source was never assayed."""
        return self.kg * self.premix.strength_pct / 100


@dataclass(frozen=True)
class Dose:
    """Nitrite, nitrate and salt that the cure brings. Masses in kg: nitrite as NaNO2, nitrate as NaNO3 unless `as_used`."""

    lines: tuple[CureLine, ...]
    meat_kg: float
    batch_kg: float
    finished_kg: float | None
    cure_kg: float
    nitrite_kg: float
    nitrite_as_used_kg: float
    nitrate_kg: float
    nitrate_as_used_kg: float
    salt_kg: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    def base_kg(self, basis: str) -> float | None:
        if basis not in BASES:
            raise UnknownName("basis", basis, BASES)
        return {"meat": self.meat_kg, "batch": self.batch_kg, "finished": self.finished_kg}[basis]

    def ppm(self, basis: str = "meat", counted_as: str = "NaNO2") -> float:
        """Ingoing nitrite per million of `basis`, counted as NaNO2, KNO2 or NO2. OutOfRange if the finished weight is not known."""
        base = self.base_kg(basis)
        need(
            base is not None,
            "ppm of the finished product needs finished_kg; weigh the batch after chilling, or give a cook yield",
        )
        return convert(self.nitrite_kg, "NaNO2", counted_as) * 1e6 / base

    @property
    def ppm_of_meat(self) -> float:
        return self.ppm("meat")

    @property
    def ppm_of_batch(self) -> float:
        return self.ppm("batch")

    @property
    def ppm_of_finished(self) -> float | None:
        return None if self.finished_kg is None else self.ppm("finished")

    @property
    def nitrate_ppm_of_meat(self) -> float:
        return self.nitrate_kg * 1e6 / self.meat_kg

    @property
    def four_ways(self) -> tuple[tuple[str, float], ...]:
        """The same grams under each name, for one picture."""
        bases = [b for b in BASES if self.base_kg(b) is not None]
        words = {
            "meat": "of the meat",
            "batch": "of the batch",
            "finished": "of the finished product",
        }
        return (
            *((f"NaNO2, {words[b]}", self.ppm(b)) for b in bases),
            *((f"NO2 ion, {words[b]}", self.ppm(b, "NO2")) for b in bases),
        )


def need_bases(meat_kg: float, batch_kg: float, finished_kg: float | None) -> None:
    """OutOfRange unless 0 < meat <= batch and finished, if known, is positive."""
    need_between(
        "meat_kg",
        meat_kg,
        1e-6,
        1e6,
        "the meat block is all meat, byproducts and poultry, weighed green",
    )
    need_between("batch_kg", batch_kg, 1e-6, 1e7)
    need(
        meat_kg <= batch_kg * (1 + 1e-9),
        f"meat_kg is {meat_kg:g} and batch_kg is {batch_kg:g}; "
        "the meat is part of the batch and cannot outweigh it; "
        "check which is which",
        OutOfRange,
    )
    if finished_kg is not None:
        need_between("finished_kg", finished_kg, 1e-6, 1e7)


def dose(lines, meat_kg: float, batch_kg: float, finished_kg: float | None = None) -> Dose:
    """What a set of CureLine brings to a batch. Raises OutOfRange for an impossible base or a source without an assay."""
    need_bases(meat_kg, batch_kg, finished_kg)
    lines = tuple(lines)
    nitrite = sum(line.nitrite_kg for line in lines)
    as_used = sum(line.kg * line.premix.nitrite_pct / 100 for line in lines)
    nitrate = sum(
        convert(line.kg * line.premix.nitrate_pct / 100, line.premix.nitrate_salt, "NaNO3")
        for line in lines
    )
    nitrate_used = sum(line.kg * line.premix.nitrate_pct / 100 for line in lines)
    notes = []
    if finished_kg is not None and finished_kg > batch_kg:
        notes.append(
            f"finished weight {finished_kg:g} kg is above the batch weight {batch_kg:g} kg: a cooked batch loses weight"
        )
    if nitrate > 0:
        notes.append(
            "the cure carries nitrate: a cooked sausage gains nothing from it, since nothing turns it into nitrite in so short a "
            "time"
        )
    if any(line.premix.nitrite_salt != "NaNO2" for line in lines):
        notes.append(
            "not all nitrite is the sodium salt; kg and ppm are counted as NaNO2 unless said"
        )
    return Dose(
        lines,
        meat_kg,
        batch_kg,
        finished_kg,
        sum(line.kg for line in lines),
        nitrite,
        as_used,
        nitrate,
        nitrate_used,
        sum(line.kg * line.premix.salt_pct / 100 for line in lines),
        tuple(notes),
        _sources(lines),
        _working(lines, nitrite, meat_kg, batch_kg, finished_kg),
    )


def _sources(lines) -> tuple[str, ...]:
    labels = (
        f"{line.premix.name}: {cite(line.premix.source, line.premix.where, line.premix.status)}"
        for line in lines
    )
    molar = (
        molar_sources("NaNO2", "NO2")
        if any(line.premix.nitrite_salt != "NaNO2" for line in lines)
        else ()
    )
    return tuple(
        dict.fromkeys(
            (cite("fsis_7620_3", "ch. 3, base of cure calculations", "quoted"), *labels, *molar)
        )
    )


def _working(lines, nitrite_kg, meat_kg, batch_kg, finished_kg) -> tuple[Step, ...]:
    steps = [
        step(
            f"nitrite in {line.premix.name}",
            "N = cure × strength / 100",
            line.nitrite_kg,
            "kg NaNO2",
            cure=(line.kg, "kg"),
            strength=(line.premix.strength_pct, "%", "NaNO2 of the premix"),
        )
        for line in lines
    ]
    for name, base in (("meat", meat_kg), ("batch", batch_kg), ("finished product", finished_kg)):
        if base is not None:
            steps.append(
                step(
                    f"ingoing nitrite of the {name}",
                    "ppm = N × 1000000 / base",
                    nitrite_kg * 1e6 / base,
                    "mg/kg",
                    N=(nitrite_kg, "kg", "NaNO2 of all lines"),
                    base=(base, "kg", name),
                )
            )
    return tuple(steps)


def need_hand_dosable(mix: Premix, batch_kg: float) -> None:
    """OutOfRange if pure nitrite (or a near-pure concentrate) would be weighed by hand for so small a batch."""
    row = number("pure_nitrite_smallest_batch_kg")
    need(
        not (mix.concentrated and batch_kg < row.value),
        f"{mix.name!r} is {mix.strength_pct:g} % nitrite and the batch is {batch_kg:g} kg: "
        "the kit refuses hand dosing of pure nitrite below "
        f"{row.value:g} kg ({row.status_in_words}). {row.note}. Use a premix in salt",
        OutOfRange,
    )


def cure_for(
    target_ppm: float,
    mix: Premix,
    *,
    meat_kg: float,
    batch_kg: float,
    finished_kg: float | None = None,
    basis: str = "meat",
    counted_as: str = "NaNO2",
    by_hand: bool = True,
) -> Dose:
    """The dose of `mix` that gives `target_ppm` (counted as NaNO2, KNO2 or NO2) of `basis`. Not rounded to any scale.

    Raises OutOfRange for a mix without nitrite, without an assay, or pure nitrite by hand in a small batch; for "finished" without
    finished_kg. It checks no limit: `limits.judge` does.
    """
    need_bases(meat_kg, batch_kg, finished_kg)
    need_between("target_ppm", target_ppm, 0, 1e6)
    need(mix.strength_pct > 0, f"{mix.name!r} holds no nitrite; choose a premix that does")
    if by_hand:
        need_hand_dosable(mix, batch_kg)
    if basis not in BASES:
        raise UnknownName("basis", basis, BASES)
    base = {"meat": meat_kg, "batch": batch_kg, "finished": finished_kg}[basis]
    need(base is not None, "a target on the finished product needs finished_kg")
    target = convert(target_ppm, counted_as, "NaNO2")
    kg = float(premix_kg_for(target, mix.strength_pct, base))
    need(
        kg <= batch_kg,
        f"{target_ppm:g} ppm of the {basis} would take {kg:g} kg of {mix.name!r}, more than the batch; "
        "check the target and the label",
    )
    found = dose((CureLine(mix, kg),), meat_kg, batch_kg, finished_kg)
    ask = step(
        f"premix for the target of the {basis}",
        "cure = target × base / 1000000 × 100 / strength",
        kg,
        "kg",
        target=(target, "mg/kg NaNO2"),
        base=(base, "kg", basis),
        strength=(mix.strength_pct, "%", "NaNO2 of the premix"),
    )
    return Dose(**{**found.__dict__, "working": (ask, *found.working)})


def premix_mix_up(rate_g_per_kg, used: Premix) -> np.ndarray | float:
    """ppm NaNO2 of the meat when `rate_g_per_kg` (right for some other premix) is weighed from `used`; arrays allowed."""
    return nitrite_ppm(np.divide(rate_g_per_kg, 1000), used.strength_pct, 1.0)

"""How much nitrite goes in, and per kilogram of what?

ppm is mg of nitrite per kg of a base. The same grams are a different ppm of the meat, of the batch, of the finished
product, and as the ion: a figure without its basis and its form says nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from kit.cure.premix import Premix
from kit.cure.salts import convert, molar_sources
from kit.errors import OutOfRange, UnknownName, need, need_between, need_known
from kit.faults import need_said, said
from kit.tables import cite, number
from kit.working import Result, Step, notes_of, working_of

BASES = ("meat", "batch", "finished")


@dataclass(frozen=True)
class Bases:
    """What ppm are counted on, kg: the meat block, weighed green; the whole batch; the finished product (None: not known)."""

    meat_kg: float
    batch_kg: float
    finished_kg: float | None = None

    def __post_init__(self):
        remedy = "the meat block is all meat, byproducts and poultry, weighed green"
        need_between("meat_kg", self.meat_kg, 1e-6, 1e6, remedy)
        need_between("batch_kg", self.batch_kg, 1e-6, 1e7)
        need_said(self.meat_kg <= self.batch_kg * (1 + 1e-9), "meat above batch", one=self)
        if self.finished_kg is not None:
            need_between("finished_kg", self.finished_kg, 1e-6, 1e7)

    @property
    def weights(self) -> tuple[float, float, float | None]:
        return self.meat_kg, self.batch_kg, self.finished_kg

    def base_kg(self, basis: str) -> float | None:
        """One of BASES, kg; None where it is not known."""
        need_known("basis", basis, BASES)
        return dict(zip(BASES, self.weights))[basis]

    def need_base_kg(self, basis: str) -> float:
        """One of BASES, kg. OutOfRange where it is not known."""
        base = self.base_kg(basis)
        if base is None:
            raise OutOfRange(said("no finished weight"))
        return base

    def per_meat(self, kg: float) -> float:
        """So many kg as ppm of the meat."""
        return kg * 1e6 / self.meat_kg


def nitrite_ppm(premix_kg, strength_pct, base_kg):
    """Ingoing nitrite, ppm NaNO2 of the base; arrays allowed.

    premix_kg: weight of the premix, kg, from 0.
    strength_pct: its nitrite as NaNO2, % (6.25 for 6.25 %), 0 to 100.
    base_kg: what is counted on, kg, above 0.
    Returns mg per kg. Mass balance, exact (FSIS Handbook 7620.3).
    """
    return np.multiply(premix_kg, strength_pct) / 100 * 1e6 / base_kg


def premix_kg_for(target_ppm, strength_pct, base_kg):
    """Premix for a dose, kg, not rounded to any scale: the inverse of `nitrite_ppm`; arrays allowed.

    target_ppm: nitrite wanted, mg NaNO2 per kg of the base, from 0.
    strength_pct: nitrite of the premix as NaNO2, %, above 0.
    base_kg: what is counted on, kg.
    """
    return np.multiply(target_ppm, base_kg) / 1e6 * 100 / strength_pct


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
        name = self.premix.name
        need_between(f"weight of {name!r}, kg", self.kg, 0, 1e6)
        if self.via not in ("cure", "blend"):
            raise UnknownName("via", self.via, ("cure", "blend"))
        if self.label_nitrite_pct is not None:
            need_between(f"nitrite on the bag of {name!r}, %", self.label_nitrite_pct, 0, 100)

    @property
    def nitrite_kg(self) -> float:
        """NaNO2, kg. OutOfRange if the source was never assayed."""
        return self.kg * self.premix.strength_pct / 100


@dataclass(frozen=True, kw_only=True)
class Dose(Bases, Result):
    """Nitrite, nitrate and salt that the cure brings. Masses in kg: nitrite as NaNO2, nitrate as NaNO3 unless `as_used`."""

    lines: tuple[CureLine, ...]
    cure_kg: float
    nitrite_kg: float
    nitrite_as_used_kg: float
    nitrate_kg: float
    nitrate_as_used_kg: float
    salt_kg: float

    def ppm(self, basis: str = "meat", counted_as: str = "NaNO2") -> float:
        """Ingoing nitrite per million of `basis`, counted as NaNO2, KNO2 or NO2. OutOfRange if the finished weight is not known."""
        base = self.need_base_kg(basis)
        return convert(self.nitrite_kg, "NaNO2", counted_as) * 1e6 / base

    @property
    def ppm_of_meat(self) -> float:
        return self.ppm("meat")

    @property
    def ppm_of_batch(self) -> float:
        return self.ppm("batch")


def dose(
    lines: Iterable[CureLine], meat_kg: float, batch_kg: float, finished_kg: float | None = None
) -> Dose:
    """What the cure lines bring to a batch.

    lines: the cures and how much of each, kg
    meat_kg: the meat block, green, kg, above 0
    batch_kg: the whole batch, kg, at least the meat
    finished_kg: after cooking and chilling, kg; None if it is not known
    Returns Dose: mg/kg nitrite and nitrate of the meat, of the batch and of the product.
    Raises OutOfRange for an impossible base or a source without an assay.
    Source: mass balance, exact; molar masses of data/reference/cure.csv.
    """
    bases, lines = Bases(meat_kg, batch_kg, finished_kg), tuple(lines)
    mixes = tuple(line.premix for line in lines)

    def held_kg(what: str) -> list[float]:
        return [line.kg * (getattr(line.premix, f"{what}_pct") or 0.0) / 100 for line in lines]

    nitrate = held_kg("nitrate")
    nitrate_kg = sum(convert(kg, mix.nitrate_salt, "NaNO3") for kg, mix in zip(nitrate, mixes))
    other_salt = any(mix.nitrite_salt != "NaNO2" for mix in mixes)
    heavier = finished_kg is not None and finished_kg > batch_kg
    holds = {"heavier": heavier, "nitrate": nitrate_kg > 0, "other salt": other_salt}
    labels = (f"{mix.name}: {cite(mix.source, mix.where, mix.status)}" for mix in mixes)
    nitrite_kg = sum(line.nitrite_kg for line in lines)
    return Dose(
        meat_kg=meat_kg,
        batch_kg=batch_kg,
        finished_kg=finished_kg,
        lines=lines,
        cure_kg=sum(line.kg for line in lines),
        nitrite_kg=nitrite_kg,
        nitrite_as_used_kg=sum(held_kg("nitrite")),
        nitrate_kg=nitrate_kg,
        nitrate_as_used_kg=sum(nitrate),
        salt_kg=sum(held_kg("salt")),
        own_notes=notes_of("dose", holds, finished_kg=finished_kg, batch_kg=batch_kg),
        own_sources=(
            cite("fsis_7620_3", "ch. 3, base of cure calculations", "quoted"),
            *labels,
            *(molar_sources("NaNO2", "NO2") if other_salt else ()),
        ),
        own_working=_working(lines, nitrite_kg, bases),
    )


def _working(lines: Iterable[CureLine], nitrite_kg: float, bases: Bases) -> tuple[Step, ...]:
    steps: tuple[Step, ...] = ()
    for line in lines:
        mix, held = line.premix, {"N": line.nitrite_kg, "cure": line.kg}
        steps += working_of("nitrite of a premix", name=mix.name, strength=mix.strength_pct, **held)
    for name, base in zip(("meat", "batch", "finished product"), bases.weights):
        if base is not None:
            ppm = nitrite_kg * 1e6 / base
            steps += working_of("ppm of a base", name=name, ppm=ppm, N=nitrite_kg, base=base)
    return steps


def need_hand_dosable(mix: Premix, batch_kg: float) -> None:
    """OutOfRange if pure nitrite (or a near-pure concentrate) would be weighed by hand for so small a batch."""
    row = number("pure_nitrite_smallest_batch_kg")
    by_hand = mix.concentrated and batch_kg < row.value
    need_said(not by_hand, "pure nitrite by hand", mix=mix, batch_kg=batch_kg, row=row)


def cure_for(
    target_ppm: float,
    mix: Premix,
    *,
    meat_kg: float,
    batch_kg: float,
    finished_kg: float | None = None,
    basis: str = "meat",
    counted_as: str = "NaNO2",
) -> Dose:
    """How much of a premix a dose takes, as the Dose it gives.

    target_ppm: nitrite wanted, mg/kg, 0 to 1e6
    mix: the premix; it must hold nitrite
    meat_kg: the meat block, green, kg
    batch_kg: the whole batch, kg, at least the meat
    finished_kg: after cooking and chilling, kg; None if it is not known
    basis: what the target is counted on: "meat", "batch" or "finished" (which needs finished_kg)
    counted_as: "NaNO2", "KNO2" or "NO2"
    Returns Dose: kg of premix, and mg/kg on every basis; not rounded to a scale, held against no limit.
    Raises OutOfRange for a mix without nitrite or assay, for pure nitrite in a small batch, for a target beyond the batch.
    Source: mass balance, exact; molar masses of data/reference/cure.csv.
    """
    bases = Bases(meat_kg, batch_kg, finished_kg)
    need_between("target_ppm", target_ppm, 0, 1e6)
    need(mix.strength_pct > 0, f"{mix.name!r} holds no nitrite; choose a premix that does")
    need_hand_dosable(mix, batch_kg)
    base = bases.need_base_kg(basis)
    target = convert(target_ppm, counted_as, "NaNO2")
    kg = float(premix_kg_for(target, mix.strength_pct, base))
    asked_for = {"target_ppm": target_ppm, "basis": basis, "kg": kg, "mix": mix}
    need_said(kg <= batch_kg, "more cure than batch", **asked_for)
    known = {"target": target, "base": base, "strength": mix.strength_pct}
    asked = working_of("premix for a target", cure=kg, basis=basis, **known)
    found = dose((CureLine(mix, kg),), *bases.weights)
    return replace(found, own_working=(*asked, *found.own_working))

"""What was planted, which readings would have told, and how the rooms made the numbers."""

from dataclasses import dataclass, replace

import numpy as np

from kit import chop, tables
from kit.diagnosis.answer import CAUTION, Diagnosis, diagnose
from kit.diagnosis.catalogue import HOW_SURE, Catalogue, catalogue
from kit.diagnosis.planted import SimulatedBatches
from kit.emulsion import hold
from kit.emulsion.batter import NUMBERS
from kit.working import Result, step

SHOWN = 4
"""readings shown at most, the surest first"""


@dataclass(frozen=True)
class Reveal(Result):
    """What was planted, which readings would have told, and how the numbers follow."""

    cause: str
    what_happened: str
    mend: str
    decisive: tuple[str, ...]
    """true values of the readings that this cause moves most surely"""
    diagnosis: Diagnosis
    """from the symptoms and those readings"""
    caution: str


def reveal_of(p: SimulatedBatches, symptoms, truth: dict[str, float]) -> Reveal:
    """Opens one batch: `truth` by reading, without noise."""
    book = catalogue()
    cause = book.causes[p.cause]
    rows = sorted(
        (row for (c, _), row in book.shows.items() if c == p.cause),
        key=lambda row: HOW_SURE.index(row.how_sure),
    )
    readings = [book.readings[row.reading] for row in rows[:SHOWN]]
    decisive = {
        r.key: float(np.clip(round(truth[r.key], r.decimals), r.lowest, r.highest))
        for r in readings
    }
    found = diagnose(symptoms, decisive)
    notes = [f"planted: {cause.name}; how far it went is a teaching assumption"]
    if found.leading.cause.key != p.cause:
        notes.append("even the readings without noise do not put this cause first: a hard case")
    sources = hold(_one(p)).sources if _in_batter(p) else ()
    told = tuple(book.readings[key].text(value) for key, value in decisive.items())
    return Reveal(
        cause.name,
        cause.what_happened,
        cause.mend,
        told,
        found,
        " ".join(filter(None, (cause.caution, CAUTION))),
        own_notes=tuple(notes),
        own_sources=sources,
        own_working=(*_differences(decisive, book), *_room_working(p)),
    )


def _differences(decisive, book: Catalogue):
    """How far each decisive reading lies from the usual of sound batches, in their own spread."""
    for key, found in decisive.items():
        r = book.readings[key]
        spread = float(np.hypot(r.sound_sd, r.noise_sd))
        yield step(
            f"{r.name}: spread of sound readings",
            "s = (b^2 + n^2)^0.5",
            spread,
            r.unit,
            b=(r.sound_sd, r.unit, "between batches"),
            n=(r.noise_sd, r.unit, "between readings"),
        )
        yield step(
            f"{r.name}: how many spreads from the usual",
            "z = (x − u) / s",
            (found - r.usual_value) / spread,
            "",
            x=(found, r.unit, "here, without noise"),
            u=(r.usual_value, r.unit, "usual"),
            s=(spread, r.unit),
        )


def _in_batter(p: SimulatedBatches) -> bool:
    return any(
        reading.startswith("tube_") for (cause, reading) in catalogue().shows if cause == p.cause
    )


def _one(p: SimulatedBatches):
    """The planted batter as one batter of plain numbers."""
    numbers = {name: float(np.ravel(getattr(p.batter, name))[0]) for name in NUMBERS}
    return p.batter.but(**numbers | {"core_C": _core_C()})


def _room_working(p: SimulatedBatches):
    """Where the rooms made the numbers: the bowl's heat balance and the batter in the tube."""
    if not _in_batter(p):
        return ()
    bowl = p.bowl.with_charges(
        replace(c, temperature_C=float(np.ravel(c.temperature_C)[0])) for c in p.bowl.charges
    )
    tube, planned = hold(_one(p)), hold(p.plan.but(core_C=_core_C()))
    over = [
        step(
            f"{name} in the tube over the usual",
            "over = now − plan",
            now - plan,
            "g of 100 g",
            now=(now, "g of 100 g"),
            plan=(plan, "g of 100 g", "the batter as planned"),
        )
        for name, now, plan in (
            ("fat", tube.fat_out_g, planned.fat_out_g),
            ("gel-water", tube.water_out_g, planned.water_out_g),
        )
    ]
    return (*chop.chop(bowl, float(p.energy_kJ_per_kg[0])).working, *tube.working, *over)


def _core_C() -> float:
    return tables.value("emulsion_core_reference_C")

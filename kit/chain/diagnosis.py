"""What do a batch's sheet, weighings, logs and a few readings already say of its possible faults?

In the readings of the catalogue; what counts as evidence is decided in diagnosis_readings.py. Where
the sheet is silent nothing is put in its place.
"""

from dataclasses import dataclass

from kit.chain import diagnosis_readings as of
from kit.chain.chop import guide_of
from kit.chain.diagnosis_logs import ChopLogged, HouseLogged
from kit.chain.diagnosis_readings import LOGGED, MEASURED, Amount, SheetReading, best_end_C
from kit.chain.emulsion import described
from kit.diagnosis import Reading
from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.decision_card import BowlSign, bowl_signs
from kit.errors import need_between
from kit.sheet import Sheet
from kit.units import METRIC
from kit.working import Result


@dataclass(frozen=True)
class SheetEvidence(Result):
    """What one batch already says. `silent`: (reading, what would tell it)."""

    name: str
    best_end_C: float
    told: tuple[SheetReading, ...]
    silent: tuple[tuple[Reading, str], ...]

    @property
    def counting(self) -> tuple[SheetReading, ...]:
        return tuple(one for one in self.told if one.counts)

    @property
    def unusual(self) -> tuple[SheetReading, ...]:
        return tuple(one for one in self.counting if one.unusual)

    @property
    def readings(self) -> dict[str, float]:
        """{reading: value} of what counts, as `diagnose` takes it."""
        return {one.reading.key: one.value for one in self.counting}


def evidence_of(
    sheet: Sheet,
    usual: Sheet | None = None,
    *,
    end_C: float | None = None,
    core_C: float | None = None,
    chop_min: float | None = None,
    chop_log: ChopLogged | None = None,
    house_log: HouseLogged | None = None,
) -> SheetEvidence:
    """What this batch already says.

    usual: the sheet of a batch that went well, to compare with; else the sheet's own plan serves.
    end_C: final chopping temperature measured in the bowl, -10 to 60.
    core_C: core temperature at the end, measured in the smokehouse, 0 to 125.
    chop_min: chopping time by the clock, 0.1 to 240.
    chop_log, house_log: what the logs say; used where nothing was measured, before the plan.

    Raises OutOfRange, and what the models raise for impossible amounts.
    """
    for name, given, low, high in (
        ("final chopping temperature, °C", end_C, -10, 60),
        ("core at the end, °C", core_C, 0, 125),
        ("chopping time, min", chop_min, 0.1, 240),
    ):
        if given is not None:
            need_between(name, given, low, high)
    measured_C = sheet.process.chop_end_measured_C
    best_C = best_end_C(described(sheet).batter)
    ended = _first(
        (end_C, MEASURED, "probe in the bowl"),
        (measured_C, MEASURED, "measured final chopping temperature on the sheet"),
        chop_log and (chop_log.end_C, LOGGED, chop_log.how),
    )
    knives = _first(
        (chop_min, MEASURED, "by the clock"),
        chop_log and (chop_log.knife_min, LOGGED, "from the chopper's log"),
    )
    core = _first(
        (core_C, MEASURED, "probe in the core"),
        (sheet.process.core_measured_C, MEASURED, "measured core on the sheet"),
        house_log and (house_log.core_C, LOGGED, house_log.how),
    )
    told = (
        *of.end_reading(sheet, best_C, ended),
        *of.knife_time_reading(sheet, usual, knives),
        *of.drops_reading(sheet),
        *of.water_reading(sheet),
        *of.pH_reading(sheet),
        *of.collagen_reading(sheet),
        *of.core_reading(sheet, core),
        *of.heating_reading(house_log),
        *of.humidity_reading(sheet),
        *of.house_loss_reading(sheet, usual),
        *of.shower_reading(sheet),
        *of.nitrite_reading(sheet),
    )
    known = {one.reading.key for one in told}
    silent = (
        (r, _what_tells(r, sheet)) for r in catalogue().readings.values() if r.key not in known
    )
    logs = [log for log in (chop_log, house_log) if log]
    return SheetEvidence(
        sheet.name,
        best_C,
        told,
        tuple(silent),
        own_notes=tuple(note for log in logs for note in log.notes),
    )


def bowl_signs_of(sheet: Sheet, system: str = METRIC) -> tuple[BowlSign, ...]:
    """What is seen at the bowl of this batch, and what then; the limits of the final chopping temperature are those of the published guide for its fat."""
    guide, mix = guide_of(sheet), sheet.composition
    held = (float(mix.fat_pct), float(mix.salt_pct), sheet.batch_kg)
    return bowl_signs(guide.low_C, guide.high_C, *held, system)


def _first(*found) -> Amount | None:
    """The first that holds an amount."""
    return next((one for one in found if one and one[0] is not None), None)


def _what_tells(reading: Reading, sheet: Sheet) -> str:
    """The job that would give the reading; for collagen first which meats lack a figure."""
    job = catalogue().jobs[reading.job]
    ask, meats = f"{job.name}, {job.minutes:g} min", sheet.of_kind("meat")
    lacking = [one.name for one in meats if one.material.collagen_pct_of_protein is None]
    if reading.key == "collagen_pct" and lacking:
        return f"no collagen figure for {', '.join(lacking)}; {ask}"
    return ask

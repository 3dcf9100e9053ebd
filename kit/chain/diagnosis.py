"""What do a batch's sheet, weighings, logs and a few readings already say of its possible faults?

What was measured, logged, weighed or written counts as evidence. What was only planned counts where the plan itself is unusual: a usual plan does
not show that it was kept. Where the sheet is silent nothing is put in its place.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from kit import chop
from kit.chain.chop import bowl_of, guide_of
from kit.chain.diagnosis_logs import ChopLogged, HouseLogged
from kit.chain.emulsion import collagen_of, described, meat_pH
from kit.chain.follow import follow
from kit.cook.moist_air import humidity_pct
from kit.diagnosis import Reading
from kit.diagnosis.catalogue import USUAL, catalogue
from kit.diagnosis.decision_card import BowlSign, bowl_signs
from kit.emulsion import Batter
from kit.emulsion.parameters import defaults
from kit.errors import need_between
from kit.sheet import Sheet
from kit.units import METRIC
from kit.working import Result, Step, working_of

MEASURED, LOGGED, WEIGHED, WRITTEN, PLANNED, WORKED_OUT = (
    "measured",
    "logged",
    "weighed",
    "written on the sheet",
    "planned on the sheet",
    "calculated",
)
_SURE = (MEASURED, LOGGED, WEIGHED, WRITTEN)
_BULK = ("meat", "rework", "ice", "water")
"""lines whose temperature decides how warm the bowl ends"""
Amount = tuple[float, str, str]
"""an amount, its origin, and how it was found"""


@dataclass(frozen=True)
class SheetReading(Result):
    """One reading that the batch already gives. `why`: why it counts as evidence, or why not."""

    reading: Reading
    value: float
    origin: str
    how: str
    counts: bool
    why: str

    @property
    def word(self) -> str:
        """The reading's class in its own word: hot, usual, ..."""
        return self.reading.words[int(self.reading.class_of(self.value))]

    @property
    def unusual(self) -> bool:
        return int(self.reading.class_of(self.value)) != USUAL


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


@dataclass(frozen=True)
class _Known:
    """What the readings are read off: the sheets, and what was measured or logged (None: nothing was)."""

    sheet: Sheet
    usual: Sheet | None
    best_C: float
    end: Amount | None
    knives: Amount | None
    core: Amount | None
    house: HouseLogged | None


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
    measured_C, best_C = sheet.process.chop_end_measured_C, best_end_C(described(sheet).batter)
    end = _first(
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
    its = _Known(sheet, usual, best_C, end, knives, core, house_log)
    told = tuple(filter(None, (read(its) for read in READINGS)))
    known = {one.reading.key for one in told}
    silent = (
        (r, _what_tells(r, sheet)) for r in catalogue().readings.values() if r.key not in known
    )
    notes = tuple(note for log in (chop_log, house_log) if log for note in log.notes)
    return SheetEvidence(sheet.name, best_C, told, tuple(silent), own_notes=notes)


def bowl_signs_of(sheet: Sheet, system: str = METRIC) -> tuple[BowlSign, ...]:
    """What is seen at the bowl of this batch, and what then; the limits of the final chopping temperature are those of the published guide for its fat."""
    guide, mix = guide_of(sheet), sheet.composition
    held = (float(mix.fat_pct), float(mix.salt_pct), sheet.batch_kg)
    return bowl_signs(guide.low_C, guide.high_C, *held, system)


def best_end_C(batter: Batter) -> float:
    """Best final chopping temperature for the batter's fat, mixed fats by their shares."""
    fats = defaults().fats
    return float(sum(share * fats[kind].best_end_C for kind, share in batter.fat_shares.items()))


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


# --- one reading each, None where the batch does not give it ---


def _worked(key: str, found: float, origin: str, how: str, **known: Any) -> SheetReading:
    """A reading with the step that gives it, of the same name."""
    return _told(key, found, origin, how, *working_of(key, how=how, **known))


def _told(
    key: str, found: float, origin: str, how: str, *working: Step, against: str = ""
) -> SheetReading:
    """A reading, with the rule for what counts; `against`: what on the sheet contradicts it."""
    reading = catalogue().readings[key]
    amount = float(min(max(found, reading.lowest), reading.highest))
    counts, why = True, f"counts: {origin}"
    if against:
        counts, why = False, f"does not count: {against}"
    elif origin not in _SURE and int(reading.class_of(amount)) != USUAL:
        why = f"counts: {origin}, and unusual already there"
    elif origin not in _SURE:
        counts, why = False, f"does not count: {origin} as usual, which does not show what was done"
    cite = (reading.cite(),)
    return SheetReading(
        reading, amount, origin, how, counts, why, own_sources=cite, own_working=working
    )


def _end(its: _Known) -> SheetReading | None:
    """As found; else as planned; else by the chopping model, where the sheet holds the energy and every temperature that matters."""
    process, known = its.sheet.process, its.end
    energy, planned_C = process.chop_energy_kJ_per_kg, process.chop_end_C
    warm = (line.temperature_C for line in its.sheet.of_kind(*_BULK))
    if known is None and planned_C is not None:
        known = planned_C, PLANNED, "planned final chopping temperature"
    elif known is None and energy is not None and None not in warm:
        how = "by the chopping model, from the sheet's temperatures and energy"
        known = chop.chop(bowl_of(its.sheet), energy).end_C, WORKED_OUT, how
    if known is None:
        return None
    end, origin, how = known
    over = end - its.best_C
    return _worked("end_over_best_K", over, origin, how, d=over, T=end, B=its.best_C)


def _knife_time(its: _Known) -> SheetReading | None:
    planned = its.sheet.process.chop_min
    now, origin, how = its.knives or (planned, PLANNED, "")
    beside, whose = planned if its.knives else None, "the sheet's plan"
    if its.usual:
        beside, whose = its.usual.process.chop_min, "the usual batch"
    if now is None or beside is None:
        return None
    share, how = 100 * now / beside, f"{how + ', ' if how else ''}against {whose}"
    return _worked("chop_time_pct", share, origin, how, s=share, t=now, u=beside, whose=whose)


def _drops(its: _Known) -> SheetReading | None:
    drop_um = its.sheet.process.drop_um
    return (
        None if drop_um is None else _told("drop_um", drop_um, PLANNED, "globule size of the plan")
    )


def _water(its: _Known) -> SheetReading | None:
    """Additions weighed at chop over those of the sheet, taken as water.

    Rework in the bowl has an amount of its own, so then it says nothing.
    """
    sheet, weighed = its.sheet, its.sheet.weighing("chop")
    protein_kg = sheet.composition.protein_pct * sheet.batch_kg / 100
    if weighed is None or weighed.in_kg is None or weighed.additions_kg is None:
        return None
    if weighed.rework_in_kg or sheet.kg_of("rework") or not sheet.meat_kg or not protein_kg:
        return None
    share = weighed.in_kg / sheet.meat_kg
    planned = sheet.batch_kg - sheet.meat_kg
    over = (weighed.additions_kg - planned * share) / (protein_kg * share)
    on_sheet = {"p": planned, "P": protein_kg, "M": sheet.meat_kg}
    on_scale = {"a": weighed.additions_kg, "m": weighed.in_kg}
    how = "additions weighed at chop over the sheet's, taken as water"
    return _worked("water_protein_over", over, WEIGHED, how, w=over, **on_sheet, **on_scale)


def _pH(its: _Known) -> SheetReading | None:
    how = "pH of the meat block; alkaline phosphate lifts that of the batter a little"
    pH = its.sheet.process.meat_pH
    if pH is None:
        pH, how = meat_pH(its.sheet), "mean of the meats by weight"
    return None if pH is None else _told("pH", pH, WRITTEN, how)


def _collagen(its: _Known) -> SheetReading | None:
    pct, assumed = collagen_of(its.sheet)
    if assumed or not its.sheet.of_kind("meat"):
        return None
    return _told("collagen_pct", pct, WRITTEN, "from the tickets or tables of the meats")


def _core(its: _Known) -> SheetReading | None:
    target_C = its.sheet.process.core_target_C
    known = _first(its.core, (target_C, PLANNED, "core temperature aimed at"))
    return _told("core_C", *known) if known else None


def _heating(its: _Known) -> SheetReading | None:
    log, how = its.house, "the smokehouse log, its fastest core"
    if log is None or log.heating_K_per_min is None:
        return None
    return _told("heating_K_per_min", log.heating_K_per_min, LOGGED, how, *log.working)


def _humidity(its: _Known) -> SheetReading | None:
    """The mean of the planned drying steps."""
    minutes = weighted = 0.0
    for each in its.sheet.process.cook:
        if each.kind != "dry":
            continue
        rh_pct = each.rh_pct
        if rh_pct is None and each.wet_bulb_C is not None:
            rh_pct = float(humidity_pct(each.dry_bulb_C, each.wet_bulb_C))
        if rh_pct is None:
            return None
        minutes += each.duration_min
        weighted += each.duration_min * rh_pct
    if not minutes:
        return None
    return _told("house_rh_pct", weighted / minutes, PLANNED, "air of the drying steps")


def _house_loss(its: _Known) -> SheetReading | None:
    """A planned yield is a guess at the usual: near it nothing is shown, far from it something is."""
    now = follow(its.sheet).cook_yield.weighed_pct
    beside, whose, against = its.sheet.cook_yield_pct, "the sheet's plan", ""
    if its.usual:
        beside, whose = follow(its.usual).cook_yield.weighed_pct, "the usual batch, weighed"
    if now is None or beside is None:
        return None
    over = beside - now
    reading = catalogue().readings["house_loss_over_pct"]
    if not its.usual and int(reading.class_of(over)) == USUAL:
        against = (
            "a yield near the one planned does not show that the loss was the usual one; "
            "compare with a batch that went well"
        )
    steps = working_of(reading.key, d=over, u=beside, y=now, whose=whose)
    how = f"cook yield against {whose}"
    return _told(reading.key, over, WEIGHED, how, *steps, against=against)


def _shower(its: _Known) -> SheetReading | None:
    medium, minutes = its.sheet.process.chill_medium, its.sheet.process.chill_min
    if medium == "cold air":
        return _told("shower_min", 0.0, PLANNED, "chilled in cold air, no shower planned")
    if medium == "shower" and minutes is not None:
        return _told("shower_min", minutes, PLANNED, "shower of the plan")
    return None


def _nitrite(its: _Known) -> SheetReading | None:
    """Nitrite as the sheet has it. Whether it went into the bowl, only the weigh ticket shows."""
    meat_kg, cures = its.sheet.meat_kg, its.sheet.of_kind("cure")
    if not meat_kg:
        return None
    nitrite_kg = sum(line.kg * (line.nitrite_pct or 0.0) / 100 for line in cures)
    ppm = 1e6 * nitrite_kg / meat_kg
    how = "cure lines of the sheet" if cures else "no cure line on the sheet"
    return _worked("nitrite_ppm", ppm, PLANNED, how, ppm=ppm, n=nitrite_kg, M=meat_kg)


READINGS: tuple[Callable[[_Known], SheetReading | None], ...] = (
    _end,
    _knife_time,
    _drops,
    _water,
    _pH,
    _collagen,
    _core,
    _heating,
    _humidity,
    _house_loss,
    _shower,
    _nitrite,
)

"""Each reading of the catalogue that a sheet, its weighings or its logs give, with what counts.

What was measured, logged, weighed or written counts as evidence. What was only planned counts where
the plan itself is unusual: a usual plan does not show that it was kept.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from kit import chop
from kit.chain.chop import bowl_of
from kit.chain.diagnosis_logs import HouseLogged
from kit.chain.emulsion import collagen_of, meat_pH
from kit.chain.follow import follow
from kit.cook.moist_air import humidity_pct
from kit.diagnosis import Reading
from kit.diagnosis.catalogue import USUAL, catalogue
from kit.emulsion import Batter
from kit.emulsion.parameters import defaults
from kit.sheet import Sheet
from kit.working import Result, Step, step

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


def best_end_C(batter: Batter) -> float:
    """Best final chopping temperature for the batter's fat, mixed fats by their shares."""
    fats = defaults().fats
    return float(sum(share * fats[kind].best_end_C for kind, share in batter.fat_shares.items()))


def _told(
    key: str, found: float | Step, origin: str, how: str, *working: Step, against: str = ""
) -> SheetReading:
    """A reading, or the step that gives it, with the rule for what counts; `against`: what on the sheet contradicts it."""
    reading = catalogue().readings[key]
    if isinstance(found, Step):
        working, found = (found,), found.answer
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


# --- from the bowl ---


def end_reading(sheet: Sheet, best_C: float, known: Amount | None) -> Iterator[SheetReading]:
    """As found; else as planned; else by the chopping model, where the sheet holds the energy and every temperature that matters."""
    energy, planned_C = sheet.process.chop_energy_kJ_per_kg, sheet.process.chop_end_C
    warm = (line.temperature_C for line in sheet.of_kind(*_BULK))
    if known is None and planned_C is not None:
        known = planned_C, PLANNED, "planned final chopping temperature"
    elif known is None and energy is not None and None not in warm:
        how = "by the chopping model, from the sheet's temperatures and energy"
        known = chop.chop(bowl_of(sheet), energy).end_C, WORKED_OUT, how
    if known is None:
        return
    end, origin, how = known
    T, B = (end, "°C", how), (best_C, "°C", "best, by kind of fat")
    what = "final chopping temperature over the best for its fat"
    over = step(what, "d = T − B", end - best_C, "K", T=T, B=B)
    yield _told("end_over_best_K", over, origin, how)


def knife_time_reading(
    sheet: Sheet, usual: Sheet | None, known: Amount | None
) -> Iterator[SheetReading]:
    now, origin, how = known or (sheet.process.chop_min, PLANNED, "")
    beside = sheet.process.chop_min if known else None
    if usual:
        beside = usual.process.chop_min
    if now is None or beside is None:
        return
    whose = "the usual batch" if usual else "the sheet's plan"
    t, u = (now, "min", "this batch"), (beside, "min", whose)
    what = "chopping time as a share of the usual"
    share = step(what, "s = 100 × t / u", 100 * now / beside, "%", t=t, u=u)
    yield _told("chop_time_pct", share, origin, f"{how + ', ' if how else ''}against {whose}")


def drops_reading(sheet: Sheet) -> Iterator[SheetReading]:
    if sheet.process.drop_um is not None:
        yield _told("drop_um", sheet.process.drop_um, PLANNED, "globule size of the plan")


def water_reading(sheet: Sheet) -> Iterator[SheetReading]:
    """Additions weighed at chop over those of the sheet, taken as water.

    Rework in the bowl has an amount of its own, so then it says nothing.
    """
    weighed = sheet.weighing("chop")
    protein_kg = sheet.composition.protein_pct * sheet.batch_kg / 100
    if weighed is None or weighed.in_kg is None or weighed.additions_kg is None:
        return
    if weighed.rework_in_kg or sheet.kg_of("rework") or not sheet.meat_kg or not protein_kg:
        return
    share = weighed.in_kg / sheet.meat_kg
    planned = sheet.batch_kg - sheet.meat_kg
    over = step(
        "water per protein over the sheet's, for the meat weighed",
        "w = (a − p × m / M) / (P × m / M)",
        (weighed.additions_kg - planned * share) / (protein_kg * share),
        "g/g",
        a=(weighed.additions_kg, "kg", "additions weighed"),
        p=(planned, "kg", "additions on the sheet"),
        P=(protein_kg, "kg", "protein on the sheet"),
        m=(weighed.in_kg, "kg", "meat weighed"),
        M=(sheet.meat_kg, "kg", "meat on the sheet"),
    )
    how = "additions weighed at chop over the sheet's, taken as water"
    yield _told("water_protein_over", over, WEIGHED, how)


# --- from the materials ---


def pH_reading(sheet: Sheet) -> Iterator[SheetReading]:
    if sheet.process.meat_pH is not None:
        how = "pH of the meat block; alkaline phosphate lifts that of the batter a little"
        yield _told("pH", sheet.process.meat_pH, WRITTEN, how)
    elif (mean := meat_pH(sheet)) is not None:
        yield _told("pH", mean, WRITTEN, "mean of the meats by weight")


def collagen_reading(sheet: Sheet) -> Iterator[SheetReading]:
    pct, assumed = collagen_of(sheet)
    if not assumed and sheet.of_kind("meat"):
        yield _told("collagen_pct", pct, WRITTEN, "from the tickets or tables of the meats")


def nitrite_reading(sheet: Sheet) -> Iterator[SheetReading]:
    """Nitrite as the sheet has it. Whether it went into the bowl, only the weigh ticket shows."""
    if not sheet.meat_kg:
        return
    cures = sheet.of_kind("cure")
    nitrite_kg = sum(line.kg * (line.nitrite_pct or 0.0) / 100 for line in cures)
    n, M = (nitrite_kg, "kg", "nitrite in the cure, by its label"), (sheet.meat_kg, "kg", "meat")
    ppm = 1e6 * nitrite_kg / sheet.meat_kg
    dose = step("nitrite of the meat", "ppm = 1000000 × n / M", ppm, "mg/kg", n=n, M=M)
    how = "cure lines of the sheet" if cures else "no cure line on the sheet"
    yield _told("nitrite_ppm", dose, PLANNED, how)


# --- from the smokehouse ---


def core_reading(sheet: Sheet, known: Amount | None) -> Iterator[SheetReading]:
    target = sheet.process.core_target_C
    if known is None and target is not None:
        known = target, PLANNED, "core temperature aimed at"
    if known is not None:
        yield _told("core_C", *known)


def heating_reading(log: HouseLogged | None) -> Iterator[SheetReading]:
    if log is not None and log.heating_K_per_min is not None:
        how = "the smokehouse log, its fastest core"
        yield _told("heating_K_per_min", log.heating_K_per_min, LOGGED, how, *log.working)


def humidity_reading(sheet: Sheet) -> Iterator[SheetReading]:
    """The mean of the planned drying steps."""
    minutes = weighted = 0.0
    for each in sheet.process.cook:
        if each.kind != "dry":
            continue
        rh_pct = each.rh_pct
        if rh_pct is None and each.wet_bulb_C is not None:
            rh_pct = float(humidity_pct(each.dry_bulb_C, each.wet_bulb_C))
        if rh_pct is None:
            return
        minutes += each.duration_min
        weighted += each.duration_min * rh_pct
    if minutes:
        yield _told("house_rh_pct", weighted / minutes, PLANNED, "air of the drying steps")


def house_loss_reading(sheet: Sheet, usual: Sheet | None) -> Iterator[SheetReading]:
    """A planned yield is a guess at the usual: near it nothing is shown, far from it something is."""
    now = follow(sheet).cook_yield.weighed_pct
    beside = follow(usual).cook_yield.weighed_pct if usual else sheet.cook_yield_pct
    if now is None or beside is None:
        return
    whose = "the usual batch, weighed" if usual else "the sheet's plan"
    u, y = (beside, "%", f"cook yield of {whose}"), (now, "%", "cook yield weighed")
    what = "smokehouse loss over the usual"
    over = step(what, "d = u − y", beside - now, "points", u=u, y=y)
    against = ""
    reading = catalogue().readings["house_loss_over_pct"]
    if not usual and int(reading.class_of(beside - now)) == USUAL:
        against = (
            "a yield near the one planned does not show that the loss was the usual one; "
            "compare with a batch that went well"
        )
    how = f"cook yield against {whose}"
    yield _told("house_loss_over_pct", over, WEIGHED, how, against=against)


def shower_reading(sheet: Sheet) -> Iterator[SheetReading]:
    medium, minutes = sheet.process.chill_medium, sheet.process.chill_min
    if medium == "cold air":
        yield _told("shower_min", 0.0, PLANNED, "chilled in cold air, no shower planned")
    elif medium == "shower" and minutes is not None:
        yield _told("shower_min", minutes, PLANNED, "shower of the plan")

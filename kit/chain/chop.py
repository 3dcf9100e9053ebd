"""From a sheet to the bowl that the chop room asks for, and how warm that bowl ends."""
from dataclasses import dataclass, replace

import numpy as np

from kit.chop import (Bowl, Charge, Chopped, EndRange, EnergyFit, Guide, IceAnswer, Machine, chop, end_range, guides, ice, ice_for, machine,
                      of_material,
                      salt, water)
from kit.chop.charge import LIKE_MEAT
from kit.errors import OutOfRange, need, need_between
from kit.sheet import Line, Sheet
from kit.tables import number, value
from kit.working import Step

DRAWS, SEED = 500, 3
USUAL_C = {"meat": "meat_temperature_usual", "rework": "meat_temperature_usual", "ice": "ice_temperature_usual", "water": "water_temperature_usual"}
CUTTERS = {"bowl cutter": ("bowl cutter",), "vacuum bowl cutter": ("bowl cutter",), "emulsion mill": ("emulsifier",),
           "grinder and mixer": ("grinder", "paddle mixer")}
GUIDES = {"pork back": "pork", "soft pork": "pork", "beef": "beef", "poultry": "poultry", "oil": "any"}
SPECIES = {"pork": "pork", "beef": "beef", "chicken": "poultry", "turkey": "poultry"}
BLADES = ("Knives of a chopper cut through a hand without stopping. Guards and lid closed, nothing reaches into a running bowl, no probe is held in by hand; "
          "stop, unplug or lock out, and wait until the knives stand before touching the batter. Only trained people run, open or clean the machine; "
          "local codes and its manual go before this page.")
COLD = ("The end temperature is about how the batter binds; it says nothing about safety. How long raw meat may stand at which temperature is a matter "
        "of local codes.")


@dataclass(frozen=True)
class ChopAnswer:
    """How warm the bowl of one sheet ends. `chopped.end_C` leaves the heat of melting fat out; `range` draws it from none to all.

    `planned_C`: the end the sheet plans, or the guide's; `ice` is None where a note says why no share of ice gives it.
    """

    name: str
    bowl: Bowl
    machine: Machine
    energy_from: str
    chopped: Chopped
    range: EndRange
    guide: Guide
    planned_C: float
    ice: IceAnswer | None
    notes: tuple[str, ...]

    @property
    def end_C(self) -> float:
        return self.chopped.end_C

    @property
    def energy_kJ_per_kg(self) -> float:
        return self.chopped.energy_kJ_per_kg

    @property
    def off_guide_K(self) -> float:
        """How far the end lies outside the guide: above 0 warmer, below 0 colder, 0 inside."""
        return max(self.end_C - self.guide.high_C, 0.0) + min(self.end_C - self.guide.low_C, 0.0)

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((self.guide.cite, self.machine.cite, *self.range.sources, *self.chopped.sources)))

    @property
    def working(self) -> tuple[Step, ...]:
        return (*self.chopped.working, *(self.ice.working if self.ice else ()))


# from the sheet ------------------------------------------------------------------------------------------------------------------------
def bowl_of(sheet: Sheet) -> Bowl:
    """Every line of the sheet as a charge, all in from the start; see `assumed_temperatures` for what the sheet did not say.

    Raises OutOfRange for a line that cannot be what it says, such as ice above 0 °C.
    """
    need(sheet.batch_kg > 0, "the sheet holds nothing to chop; give at least one line a weight")
    return Bowl(tuple(of_material(replace(line.material, name=line.name, kind=line.kind), line.kg, _temperature_C(line)) for line in sheet.lines))


def assumed_temperatures(sheet: Sheet) -> tuple[str, ...]:
    """One note for each kind of line that has no temperature on the sheet."""
    found: dict[str, list[str]] = {}
    for line in sheet.lines:
        if line.temperature_C is None:
            found.setdefault(_usual_row(line), []).append(line.name)
    return tuple(f"No temperature is written for {', '.join(names)}: {value(row):g} °C taken ({number(row).status_in_words})." for row,
                 names in found.items())


def chop_of(sheet: Sheet, energy: float | Machine | None = None, draws: int = DRAWS) -> ChopAnswer:
    """How warm this sheet's batter ends.

    `energy`: kJ per kg of batter; or a Machine, whose range is then drawn from; None takes the sheet's own energy, else the usual one of its
    cutter. Raises OutOfRange for a bowl that would boil or an amount that cannot be.
    """
    if energy is None and sheet.process.chop_energy_kJ_per_kg is not None:
        return chopped_bowl(bowl_of(sheet), _fixed(sheet.process.chop_energy_kJ_per_kg), guide_of(sheet), _planned_C(sheet), name=sheet.name,
                            energy_from="the energy written on the sheet", notes=_notes(sheet), draws=draws)
    if isinstance(energy, Machine):
        source, given = f"a {energy.name}, {energy.status}", energy
    elif energy is None:
        given = machine_of(sheet)
        source = f"the usual energy of a {given.name}, {given.status}"
    else:
        source, given = "the energy asked for", _fixed(need_between("energy in kJ per kg of batter", energy, 0, 1000, "usually 5 to 150"))
    return chopped_bowl(bowl_of(sheet), given, guide_of(sheet), _planned_C(sheet), name=sheet.name, energy_from=source, notes=_notes(sheet),
                        draws=draws)


def chopped_bowl(bowl: Bowl, given: Machine, guide: Guide, planned_C: float, *, name: str = "", energy_from: str = "", notes: tuple[str, ...] = (),
                 draws: int = DRAWS) -> ChopAnswer:
    """`chop_of` for a bowl at hand."""
    found = chop(bowl, given.usual_kJ_per_kg)
    reach = end_range(bowl, given, draws, SEED)
    fixed = given.low_kJ_per_kg == given.high_kJ_per_kg
    about_range = ("The range holds no doubt of the energy, which is taken as given." if fixed else reach.notes[0], *reach.notes[1:])
    needed, why = ice_needed(bowl, planned_C, given.usual_kJ_per_kg)
    return ChopAnswer(name, bowl, given, energy_from, found, reach, guide, planned_C, needed,
                      tuple(dict.fromkeys((*notes, *found.notes, *about_range, *why,
                                           *((f"{guide.name} guide: {guide.note}.",) if guide.note else ())))))


def machine_of(sheet: Sheet) -> Machine:
    """The sheet's cutter as a range of energy; a bowl cutter where none is named. A grinder and mixer is one pass of the meat alone and one mix of all."""
    *before, last = (machine(name) for name in CUTTERS[sheet.process.cutter or "bowl cutter"])
    if not before:
        return last
    meat = sheet.kg_of("meat", "rework") / sheet.batch_kg
    low, usual, high = (sum(meat * getattr(part, name) for part in before) + getattr(last, name) for name in ("low_kJ_per_kg", "usual_kJ_per_kg", "high_kJ_per_kg"))
    return Machine(sheet.process.cutter, low, usual, high, "of batter: one pass of the meat alone and one mix of all", last.status, last.cite, "the two ranges added")


def guide_of(sheet: Sheet) -> Guide:
    """The printed end temperature for the sheet's fat: as the sheet says, else that of the animal with most of the fat."""
    if sheet.process.fat:
        return guides()[GUIDES[sheet.process.fat]]
    fat: dict[str, float] = {}
    for line in sheet.of_kind("meat"):
        kind = SPECIES.get(line.material.species, "any")
        fat[kind] = fat.get(kind, 0.0) + line.kg * line.material.fat_pct
    return guides()[max(fat, key=fat.get, default="any")]


def machine_of_fit(fit: EnergyFit) -> Machine:
    """A log's fitted energy in the place of a machine's range."""
    return Machine("your own machine", fit.energy_low_kJ_per_kg, fit.energy_kJ_per_kg, fit.energy_high_kJ_per_kg, "of what was in the bowl",
                   "fitted to your log", "fitted to the log of this machine, 90 % interval", "")


# changing a bowl -----------------------------------------------------------------------------------------------------------------------
def with_meat_at(bowl: Bowl, t_C) -> Bowl:
    """All meat and rework at one temperature (a float or an array)."""
    return bowl.with_charges(replace(c, temperature_C=t_C) if c.kind in LIKE_MEAT else c for c in bowl.charges)


def with_added_water(bowl: Bowl, ice_kg, water_kg, ice_C: float | None = None, water_C: float | None = None) -> Bowl:
    """Other ice and water (floats or arrays) in the place of all ice and water of the bowl; their temperatures kept unless given."""
    def kept(kind):
        return next((charge.temperature_C for charge in bowl.of_kind(kind)), None)

    ice_C, water_C = kept("ice") if ice_C is None else ice_C, kept("water") if water_C is None else water_C
    return bowl.with_charges((*(c for c in bowl.charges if c.kind not in ("ice", "water")), *((ice(ice_kg, ice_C),) if np.any(ice_kg) else ()),
                              *((water(water_kg, water_C),) if np.any(water_kg) else ())))


def with_salt_pct(bowl: Bowl, pct_of_batch: float) -> Bowl:
    """Salt lines replaced by one of `pct_of_batch` of the whole bowl; the rest keeps its weight."""
    share = need_between("salt in percent of the batch", pct_of_batch, 0, 30) / 100
    rest = tuple(c for c in bowl.charges if c.kind != "salt")
    kg = share / (1 - share) * float(sum(c.kg for c in rest))
    return bowl.with_charges((*rest, *((salt(kg),) if kg else ())))


# asking a bowl -------------------------------------------------------------------------------------------------------------------------
def taken_kJ(bowl: Bowl, chopped: Chopped) -> dict[str, float]:
    """Where the knives' heat went, by kind of charge, read off the working; sums to all the heat put in. "melting fat" and "salt dissolving" apart."""
    by_symbol = {step.formula.split(" =")[0]: step.answer for step in chopped.working}
    found: dict[str, float] = {}
    for n, charge in enumerate(bowl.charges, 1):
        kind = "meat" if charge.kind in LIKE_MEAT else charge.kind if charge.kind in ("ice", "water") else "dry goods"
        found[kind] = found.get(kind, 0.0) + by_symbol[f"Q{n}"]
    found["ice"] = found.get("ice", 0.0) - by_symbol.get("Q_ice", 0.0)
    return found | {name: by_symbol[symbol] for symbol, name in (("Q_salt", "salt dissolving"), ("Q_fat", "melting fat"),
                                                                 ("Q_steel", "steel")) if symbol in by_symbol}


# parts ---------------------------------------------------------------------------------------------------------------------------------
def _usual_row(line: Line) -> str:
    return USUAL_C.get(line.kind, "dry_temperature_usual")


def _temperature_C(line: Line) -> float:
    return value(_usual_row(line)) if line.temperature_C is None else line.temperature_C


def _fixed(energy: float) -> Machine:
    return Machine("machine", energy, energy, energy, "of what is in the bowl", "taken as given", "energy as given", "")


def _planned_C(sheet: Sheet) -> float:
    planned = sheet.process.chop_end_C
    return value(f"end_guide_{guide_of(sheet).name.replace(' ', '_')}") if planned is None else planned


def _notes(sheet: Sheet) -> tuple[str, ...]:
    notes = list(assumed_temperatures(sheet))
    if sheet.process.chop_end_C is None:
        notes.append(f"The sheet plans no end temperature; the guide for {guide_of(sheet).name} fat stands in.")
    if sheet.process.cutter == "vacuum bowl cutter":
        notes.append("Vacuum is taken to change nothing in the heat.")
    if not sheet.of_kind("phosphate"):
        without = guides()["without phosphate"]
        notes.append(f"No phosphate on the sheet: one summary then asks for an end not above {without.low_C:g} to {without.high_C:g} °C ({without.cite}).")
    return tuple(notes)


def ice_needed(bowl: Bowl, planned_C: float, energy: float) -> tuple[IceAnswer | None, tuple[str, ...]]:
    """The share of ice that ends at `planned_C`, or a note why none does."""
    try:
        return ice_for(bowl, planned_C, energy), ()
    except OutOfRange as error:
        return None, (f"Ice for {planned_C:g} °C: {error}.",)

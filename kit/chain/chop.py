"""From a sheet to the bowl that the chop room asks for, and how warm that bowl ends."""

from dataclasses import dataclass, replace

import numpy as np

from kit.chop import (
    Bowl,
    Chopped,
    EndRange,
    EnergyFit,
    Guide,
    IceAnswer,
    Machine,
    chop,
    end_range,
    energy_to_reach,
    guides,
    ice,
    ice_for,
    machine,
    of_material,
    salt,
    water,
)
from kit.chop.charge import LIKE_MEAT
from kit.errors import OutOfRange, need, need_between
from kit.sheet import Line, Sheet
from kit.tables import number, value
from kit.working import Step

DRAWS, SEED = 500, 3
USUAL_C = {
    "meat": "meat_temperature_usual",
    "rework": "meat_temperature_usual",
    "ice": "ice_temperature_usual",
    "water": "water_temperature_usual",
}
MEASURED, PLANNED, PREDICTED = "measured", "planned", "predicted"
CUTTERS = {
    "bowl cutter": ("bowl cutter",),
    "vacuum bowl cutter": ("bowl cutter",),
    "emulsion mill": ("grinder", "paddle mixer", "emulsifier"),
    "grinder and mixer": ("grinder", "paddle mixer"),
    "kneader": ("grinder", "kneader"),
    "food processor": ("food processor",),
}
"""the machines that a sheet's cutter stands for; a grinder works on the meat alone, before anything else is in"""
GUIDES = {
    "pork back": "pork",
    "soft pork": "pork",
    "beef": "beef",
    "poultry": "poultry",
    "oil": "any",
}
SPECIES = {"pork": "pork", "beef": "beef", "chicken": "poultry", "turkey": "poultry"}
BLADES = (
    "Knives of a chopper cut through a hand without stopping. Guards and lid closed, nothing reaches into a running bowl, no probe is held in by hand; "
    "stop, unplug or lock out, and wait until the knives stand before touching the batter. Only trained people run, open or clean the machine; "
    "local codes and its manual go before this page."
)
COLD = (
    "The end temperature is about how the batter binds; it says nothing about safety. How long raw meat may stand at which temperature is a matter "
    "of local codes."
)


@dataclass(frozen=True)
class ChopAnswer:
    """How warm the bowl of one sheet ends, and the specific mechanical energy that it takes to end there.

    `end_from`: which end `chopped` holds: measured, planned, or predicted from `estimate_kJ_per_kg`, which ends at `estimate_C`. `range` is the doubt of that
    estimate, with the heat of melting fat drawn from none to all; `chopped` leaves it out.
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
    end_from: str = PREDICTED
    estimate_C: float = float("nan")
    estimate_kJ_per_kg: float = float("nan")

    @property
    def end_C(self) -> float:
        return self.chopped.end_C

    @property
    def energy_kJ_per_kg(self) -> float:
        """Energy that takes the bowl to `end_C`; negative where the bowl goes in warmer than that."""
        return self.chopped.energy_kJ_per_kg + self.chopped.gained_kJ / self.chopped.kg

    @property
    def off_guide_K(self) -> float:
        """How far the end lies outside the guide: above 0 warmer, below 0 colder, 0 inside."""
        return max(self.end_C - self.guide.high_C, 0.0) + min(self.end_C - self.guide.low_C, 0.0)

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(
            dict.fromkeys(
                (self.guide.cite, self.machine.cite, *self.range.sources, *self.chopped.sources)
            )
        )

    @property
    def working(self) -> tuple[Step, ...]:
        return (*self.chopped.working, *(self.ice.working if self.ice else ()))


# from the sheet ------------------------------------------------------------------------------------------------------------------------
def bowl_of(sheet: Sheet) -> Bowl:
    """Every line of the sheet as a charge, all in from the start; see `assumed_temperatures` for what the sheet did not say.

    Raises OutOfRange for a line that cannot be what it says, such as ice above 0 °C.
    """
    need(sheet.batch_kg > 0, "the sheet holds nothing to chop; give at least one line a weight")
    return Bowl(
        tuple(
            of_material(
                replace(line.material, name=line.name, kind=line.kind),
                line.kg,
                _temperature_C(line),
            )
            for line in sheet.lines
        )
    )


def assumed_temperatures(sheet: Sheet) -> tuple[str, ...]:
    """One note for each kind of line that has no temperature on the sheet."""
    found: dict[str, list[str]] = {}
    for line in sheet.lines:
        if line.temperature_C is None:
            found.setdefault(_usual_row(line), []).append(line.name)
    return tuple(
        f"No temperature is written for {', '.join(names)}: {value(row):g} °C taken ({number(row).status_in_words})."
        for row, names in found.items()
    )


def chop_of(sheet: Sheet, energy: float | Machine | None = None, draws: int = DRAWS) -> ChopAnswer:
    """How warm this sheet's batter ends: as measured, else as planned, else as predicted from the energy.

    `energy`: what if: kJ per kg of batter, or a Machine, whose range is then drawn from, whatever end the sheet holds. None takes the sheet's end, and for the
    estimate beside it the sheet's own energy, else the usual one of its cutter. Raises OutOfRange for a bowl that would boil or an amount that cannot be.
    """
    if energy is None and sheet.process.chop_energy_kJ_per_kg is not None:
        source, given = (
            "the energy written on the sheet",
            _fixed(sheet.process.chop_energy_kJ_per_kg),
        )
    elif isinstance(energy, Machine):
        source, given = f"{energy.name}, {energy.status}", energy
    elif energy is None:
        given = machine_of(sheet)
        source = f"the usual energy ({given.name}: {given.status})"
    else:
        source, given = (
            "the energy asked for",
            _fixed(
                need_between("energy in kJ per kg of batter", energy, 0, 1000, "usually 5 to 150")
            ),
        )
    written_C, words = (None, PREDICTED) if energy is not None else end_of(sheet)
    answer = chopped_bowl(
        bowl_of(sheet),
        given,
        guide_of(sheet),
        _planned_C(sheet),
        name=sheet.name,
        energy_from=source,
        notes=_notes(sheet),
        draws=draws,
    )
    if energy is None and written_C is None and sheet.process.chop_energy_kJ_per_kg is None:
        stops = (
            f"The sheet gives neither a final chopping temperature nor an energy, so the usual energy of the machine is used, whatever the ice. A plant stops by the thermometer: "
            f"{answer.planned_C:.3g} °C takes {float(answer.bowl.energy_to_kJ_per_kg(answer.planned_C)):.0f} kJ/kg here. Write the planned or measured temperature."
        )
        answer = replace(answer, notes=(stops, *answer.notes))
    return answer if written_C is None else _ended(answer, written_C, words)


def end_of(sheet: Sheet) -> tuple[float | None, str]:
    """The end of chopping that the sheet holds, and which it is: measured before planned; (None, "predicted") where it holds neither."""
    plan = sheet.process
    return (
        plan.written_end_C,
        PREDICTED
        if plan.written_end_C is None
        else PLANNED
        if plan.chop_end_measured_C is None
        else MEASURED,
    )


def chopped_bowl(
    bowl: Bowl,
    given: Machine,
    guide: Guide,
    planned_C: float,
    *,
    name: str = "",
    energy_from: str = "",
    notes: tuple[str, ...] = (),
    draws: int = DRAWS,
) -> ChopAnswer:
    """`chop_of` for a bowl at hand and an energy."""
    found = chop(bowl, given.usual_kJ_per_kg)
    reach = end_range(bowl, given, draws, SEED)
    fixed = given.low_kJ_per_kg == given.high_kJ_per_kg
    about_range = (
        "The range holds no doubt of the energy, which is taken as given."
        if fixed
        else reach.notes[0],
        *reach.notes[1:],
    )
    needed, why = ice_needed(bowl, planned_C, given.usual_kJ_per_kg)
    return ChopAnswer(
        name,
        bowl,
        given,
        energy_from,
        found,
        reach,
        guide,
        planned_C,
        needed,
        tuple(
            dict.fromkeys(
                (
                    *notes,
                    *found.notes,
                    *about_range,
                    *why,
                    *((f"{guide.name} guide: {guide.note}.",) if guide.note else ()),
                )
            )
        ),
        PREDICTED,
        found.end_C,
        given.usual_kJ_per_kg,
    )


def _ended(predicted: ChopAnswer, end_C: float, words: str) -> ChopAnswer:
    """The answer whose end is written: the balance then says which energy it took, and its own estimate stands beside."""
    bowl, before = predicted.bowl, float(predicted.bowl.end_C(0.0))
    took = float(bowl.energy_to_kJ_per_kg(end_C))
    found = chop(bowl, max(took, 0.0), min(took, 0.0) * float(bowl.kg))
    said = [
        f"The final chopping temperature is the {words} one, {end_C:g} °C; it takes a specific mechanical energy of {took:.0f} kJ/kg. The estimate of the chopping "
        f"model, from {predicted.energy_from} ({predicted.estimate_kJ_per_kg:.0f} kJ/kg), is {predicted.estimate_C:.1f} °C.".replace(
            "-", "−"
        )
    ]
    if words == MEASURED and predicted.planned_C != end_C:
        said.append(
            f"The measured final chopping temperature differs by {end_C - predicted.planned_C:+.1f} K from the target of {predicted.planned_C:.3g} °C.".replace(
                "-", "−"
            )
        )
    if took < 0:
        said.append(
            f"The ingredients mix to {before:.1f} °C before the knives start, warmer than the final temperature on the sheet: something that is not on the sheet cools the "
            "batter, or one of the temperatures is wrong."
        )
    needed, why = (
        ice_needed(bowl, predicted.planned_C, took) if words == MEASURED else (predicted.ice, ())
    )
    kept = [
        note
        for note in predicted.notes
        if note not in predicted.chopped.notes
        and not (words == MEASURED and note.startswith("Ice for "))
    ]
    first = energy_to_reach(bowl, end_C).working if took >= 0 else ()
    return replace(
        predicted,
        chopped=replace(found, working=(*first, *found.working)),
        ice=needed,
        notes=tuple(dict.fromkeys((*said, *kept, *found.notes, *why))),
        end_from=words,
    )


def machine_of(sheet: Sheet) -> Machine:
    """The sheet's cutter as a range of energy, a bowl cutter where none is named: its machines one after the other, the grinder on the meat alone."""
    parts = [machine(name) for name in CUTTERS[sheet.process.cutter or "bowl cutter"]]
    if len(parts) == 1:
        return parts[0]
    meat = sheet.kg_of("meat", "rework") / sheet.batch_kg
    low, usual, high = (
        sum((meat if part.name == "grinder" else 1.0) * getattr(part, name) for part in parts)
        for name in ("low_kJ_per_kg", "usual_kJ_per_kg", "high_kJ_per_kg")
    )
    return Machine(
        sheet.process.cutter,
        low,
        usual,
        high,
        f"of batter: {', '.join(part.name for part in parts)}, the grinder on the meat alone",
        parts[-1].status,
        parts[-1].cite,
        "the ranges added",
    )


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
    return Machine(
        "your own machine",
        fit.energy_low_kJ_per_kg,
        fit.energy_kJ_per_kg,
        fit.energy_high_kJ_per_kg,
        "of what was in the bowl",
        "fitted to your log",
        "fitted to the log of this machine, 90 % interval",
        "",
    )


# changing a bowl -----------------------------------------------------------------------------------------------------------------------
def with_meat_at(bowl: Bowl, t_C) -> Bowl:
    """All meat and rework at one temperature (a float or an array)."""
    return bowl.with_charges(
        replace(c, temperature_C=t_C) if c.kind in LIKE_MEAT else c for c in bowl.charges
    )


def with_added_water(
    bowl: Bowl, ice_kg, water_kg, ice_C: float | None = None, water_C: float | None = None
) -> Bowl:
    """Other ice and water (floats or arrays) in the place of all ice and water of the bowl; their temperatures kept unless given."""

    def kept(kind):
        return next((charge.temperature_C for charge in bowl.of_kind(kind)), None)

    ice_C, water_C = (
        kept("ice") if ice_C is None else ice_C,
        kept("water") if water_C is None else water_C,
    )
    return bowl.with_charges(
        (
            *(c for c in bowl.charges if c.kind not in ("ice", "water")),
            *((ice(ice_kg, ice_C),) if np.any(ice_kg) else ()),
            *((water(water_kg, water_C),) if np.any(water_kg) else ()),
        )
    )


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
        kind = (
            "meat"
            if charge.kind in LIKE_MEAT
            else charge.kind
            if charge.kind in ("ice", "water")
            else "dry goods"
        )
        found[kind] = found.get(kind, 0.0) + by_symbol[f"Q{n}"]
    found["ice"] = found.get("ice", 0.0) - by_symbol.get("Q_ice", 0.0)
    return found | {
        name: by_symbol[symbol]
        for symbol, name in (
            ("Q_salt", "salt dissolving"),
            ("Q_fat", "melting fat"),
            ("Q_steel", "steel"),
        )
        if symbol in by_symbol
    }


# parts ---------------------------------------------------------------------------------------------------------------------------------
def _usual_row(line: Line) -> str:
    return USUAL_C.get(line.kind, "dry_temperature_usual")


def _temperature_C(line: Line) -> float:
    return value(_usual_row(line)) if line.temperature_C is None else line.temperature_C


def _fixed(energy: float) -> Machine:
    return Machine(
        "machine",
        energy,
        energy,
        energy,
        "of what is in the bowl",
        "taken as given",
        "energy as given",
        "",
    )


def _planned_C(sheet: Sheet) -> float:
    planned = sheet.process.chop_end_C
    return (
        value(f"end_guide_{guide_of(sheet).name.replace(' ', '_')}") if planned is None else planned
    )


def _notes(sheet: Sheet) -> tuple[str, ...]:
    notes = list(assumed_temperatures(sheet))
    if sheet.process.chop_end_C is None:
        notes.append(
            f"The sheet plans no end temperature; the guide for {guide_of(sheet).name} fat stands in."
        )
    if sheet.process.cutter == "vacuum bowl cutter":
        notes.append("Vacuum is taken to change nothing in the heat.")
    if not sheet.of_kind("phosphate"):
        without = guides()["without phosphate"]
        notes.append(
            f"No phosphate on the sheet: one summary then asks for an end not above {without.low_C:g} to {without.high_C:g} °C ({without.cite})."
        )
    return tuple(notes)


def ice_needed(
    bowl: Bowl, planned_C: float, energy: float
) -> tuple[IceAnswer | None, tuple[str, ...]]:
    """The share of ice that ends at `planned_C`, or a note why none does."""
    try:
        return ice_for(bowl, planned_C, energy), ()
    except OutOfRange as error:
        return None, (f"Ice for {planned_C:g} °C: {error}.",)

"""From a sheet to the bowl that the chopping model asks for, and how warm that bowl ends."""

from dataclasses import dataclass, replace

from kit.chop import Bowl, chop
from kit.chop.charge import of_material
from kit.chop.fit import EnergyFit
from kit.chop.inverse import IceAnswer, energy_to_reach, ice_or_why
from kit.chop.machines import Guide, Machine, guides, machine
from kit.chop.result import Chopped, EndRange, end_range
from kit.errors import need, need_between
from kit.sheet import Line, Sheet
from kit.tables import number, value
from kit.working import Result, notes_of

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
    "stop, unplug or lock out, and wait until the knives have stopped turning before touching the batter. Only trained people run, open or clean the "
    "machine; its manual and your local safety code take precedence over this page."
)
COLD = (
    "The final chopping temperature is about how the batter binds; it says nothing about safety. How long raw meat may stand at which temperature is a matter "
    "of local codes."
)


@dataclass(frozen=True)
class ChopAnswer(Result):
    """How warm the bowl of one sheet ends, and the specific mechanical energy that it takes to end there.

    `end_from`: which end `chopped` holds: measured, planned, or predicted from `estimate_kJ_per_kg`, which ends at `estimate_C`.
    `range` is that of the estimate, with the heat of melting fat drawn from none to all; `chopped` leaves it out.
    `planned_C`: the end the sheet plans, or the guide's; `ice` is None where a note says why no share of ice gives it.
    """

    bowl: Bowl
    machine: Machine
    energy_from: str
    chopped: Chopped
    range: EndRange
    guide: Guide
    planned_C: float
    ice: IceAnswer | None
    estimate_C: float
    end_from: str = PREDICTED

    @property
    def estimate_kJ_per_kg(self) -> float:
        return self.machine.usual_kJ_per_kg

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
        return self.guide.off_K(self.end_C)


def bowl_of(sheet: Sheet) -> Bowl:
    """Every line of the sheet as a charge, all in from the start; see `assumed_temperatures` for what the sheet did not say.

    Raises OutOfRange for a line that cannot be what it says, such as ice above 0 °C.
    """
    need(sheet.batch_kg > 0, "the sheet holds nothing to chop; give at least one line a weight")
    charges = []
    for line in sheet.lines:
        made = replace(line.material, name=line.name, kind=line.kind)
        usual_C = value(_usual_row(line)) if line.temperature_C is None else line.temperature_C
        charges.append(of_material(made, line.kg, usual_C))
    return Bowl(tuple(charges))


def assumed_temperatures(sheet: Sheet) -> tuple[str, ...]:
    """One note for each kind of line that has no temperature on the sheet."""
    found: dict[str, list[str]] = {}
    for line in sheet.lines:
        if line.temperature_C is None:
            found.setdefault(_usual_row(line), []).append(line.name)
    return tuple(
        f"No temperature is written for {', '.join(names)}: {value(row):g} °C assumed ({number(row).status_in_words})."
        for row, names in found.items()
    )


def chop_of(sheet: Sheet, energy: float | Machine | None = None) -> ChopAnswer:
    """How warm this sheet's batter ends: as measured, else as planned, else as predicted from the energy.

    energy: what if: kJ per kg of batter, or a Machine, whose range is then drawn from, whatever end the sheet holds. None takes
    the sheet's end, and for the estimate beside it the sheet's own energy, else the usual one of its cutter.
    Raises OutOfRange for a bowl that would boil or an amount that cannot be.
    """
    given, source = _energy(sheet, energy)
    written_C = sheet.process.written_end_C if energy is None else None
    bowl, guide, notes = bowl_of(sheet), guide_of(sheet), _notes(sheet)
    planned_C = sheet.process.chop_end_C
    if planned_C is None:
        planned_C = value(f"end_guide_{guide.name.replace(' ', '_')}")
    guessed = energy is None and written_C is None
    if guessed and sheet.process.chop_energy_kJ_per_kg is None:
        takes = float(bowl.energy_to_kJ_per_kg(planned_C))
        notes = (*notes_of("nothing written", {}, planned_C=planned_C, takes=takes), *notes)
    answer = chopped_bowl(bowl, given, guide, planned_C, source, notes)
    if written_C is None:
        return answer
    measured = sheet.process.chop_end_measured_C is not None
    return _ended(answer, written_C, MEASURED if measured else PLANNED)


def end_C_of(sheet: Sheet) -> float:
    """The final chopping temperature of `chop_of` alone, without its range: for a slider."""
    if (written_C := sheet.process.written_end_C) is not None:
        return written_C
    return float(bowl_of(sheet).end_C(_energy(sheet, None)[0].usual_kJ_per_kg))


def chopped_bowl(
    bowl: Bowl,
    given: Machine,
    guide: Guide,
    planned_C: float,
    energy_from: str,
    notes: tuple[str, ...],
) -> ChopAnswer:
    """`chop_of` for a bowl at hand and an energy."""
    found = chop(bowl, given.usual_kJ_per_kg)
    ice, why = ice_or_why(bowl, planned_C, given.usual_kJ_per_kg)
    about_guide = (f"{guide.name} guide: {guide.note}.",) if guide.note else ()
    return ChopAnswer(
        bowl,
        given,
        energy_from,
        found,
        end_range(bowl, given),
        guide,
        planned_C,
        ice,
        found.end_C,
        own_notes=(*notes, *why, *about_guide),
        own_sources=(guide.cite, given.cite),
    )


def _ended(predicted: ChopAnswer, end_C: float, words: str) -> ChopAnswer:
    """The answer whose end is written: the balance then says which energy it took, and its own estimate stands beside."""
    bowl, planned_C = predicted.bowl, predicted.planned_C
    took = float(bowl.energy_to_kJ_per_kg(end_C))
    holds = {"off target": words == MEASURED and planned_C != end_C, "warm before": took < 0}
    known = {
        "words": words,
        "end_C": end_C,
        "took": took,
        "source": predicted.energy_from,
        "usual": predicted.estimate_kJ_per_kg,
        "estimate_C": predicted.estimate_C,
        "off_K": end_C - planned_C,
        "planned_C": planned_C,
        "before_C": float(bowl.end_C(0.0)),
    }
    said = (text.replace("-", "−") for text in notes_of("written end", holds, **known))
    ice, kept = predicted.ice, predicted.own_notes
    if words == MEASURED:
        ice, why = ice_or_why(bowl, predicted.planned_C, took)
        kept = (*(note for note in kept if not note.startswith("Ice for ")), *why)
    return replace(
        predicted,
        chopped=chop(bowl, max(took, 0.0), min(took, 0.0) * float(bowl.kg)),
        ice=ice,
        end_from=words,
        own_notes=(*said, *kept),
        own_working=(energy_to_reach(bowl, end_C)[1],) if took >= 0 else (),
    )


def _energy(sheet: Sheet, asked: float | Machine | None) -> tuple[Machine, str]:
    """The energy to calculate with, and where it comes from."""
    if isinstance(asked, Machine):
        return asked, f"{asked.name}, {asked.status}"
    source, energy = "the energy written on the sheet", sheet.process.chop_energy_kJ_per_kg
    if asked is not None:
        source, hint = "the energy asked for", "usually 5 to 150"
        energy = need_between("energy in kJ per kg of batter", asked, 0, 1000, hint)
    if energy is None:
        cutter = machine_of(sheet)
        return cutter, f"the usual energy ({cutter.name}: {cutter.status})"
    told = ("of what is in the bowl", "taken as given", "energy as given", "")
    return Machine("machine", energy, energy, energy, *told), source


def machine_of(sheet: Sheet) -> Machine:
    """The sheet's cutter as a range of energy, a bowl cutter where none is named: its machines one after the other, the grinder on the meat alone, as often as it passes."""
    cutter = sheet.process.cutter or "bowl cutter"
    parts = [machine(name) for name in CUTTERS[cutter]]
    if len(parts) == 1:
        return parts[0]
    passes = sheet.process.grind_passes or 1.0
    share = {"grinder": passes * sheet.kg_of("meat", "rework") / sheet.batch_kg}
    low, usual, high = (
        sum(share.get(part.name, 1.0) * part.range_kJ_per_kg[end] for part in parts)
        for end in range(3)
    )
    basis = f"of batter: {', '.join(part.name for part in parts)}, the grinder on the meat alone"
    last, note = parts[-1], "the ranges added"
    return Machine(cutter, low, usual, high, basis, last.status, last.cite, note)


def guide_of(sheet: Sheet) -> Guide:
    """The published final chopping temperature for the sheet's fat: as the sheet says, else that of the animal with most of the fat."""
    if sheet.process.fat:
        return guides()[GUIDES[sheet.process.fat]]
    fat: dict[str, float] = {}
    for line in sheet.of_kind("meat"):
        kind = SPECIES.get(line.material.species, "any")
        fat[kind] = fat.get(kind, 0.0) + line.kg * line.material.fat_pct
    return guides()[max(fat, key=fat.__getitem__, default="any")]


def machine_of_fit(fit: EnergyFit) -> Machine:
    """A log's fitted energy in the place of a machine's range."""
    said = ("fitted to your log", "fitted to the log of this machine, 90 % interval", "")
    return Machine("your own machine", *fit.energy_kJ_per_kg, "of what was in the bowl", *said)


def _usual_row(line: Line) -> str:
    return USUAL_C.get(line.kind, "dry_temperature_usual")


def _notes(sheet: Sheet) -> tuple[str, ...]:
    holds = {
        "no end": sheet.process.chop_end_C is None,
        "vacuum": sheet.process.cutter == "vacuum bowl cutter",
        "no phosphate": not sheet.of_kind("phosphate"),
    }
    guide, without = guide_of(sheet), guides()["without phosphate"]
    said = notes_of("chop of a sheet", holds, guide=guide, without=without)
    return (*assumed_temperatures(sheet), *said)

"""What a sheet and its weighings already say, what they leave open, and which causes that leaves."""
from dataclasses import dataclass

from kit import units
from kit.chain.diagnosis import Evidence, diagnosis_of, evidence_of
from kit.charts import diagnosis as charts
from kit.diagnosis import Diagnosis
from kit.errors import Faulty
from kit.panels.diagnosis.words import (amount, be_sure, cautions, causes_table, in_system, names, next_table,
                                        next_words, plain_notes, reading_words, seen_choices, seen_of, stands_words, temperature)
from kit.panels.panel import Entry, File, Panel, Row, Table, View
from kit.panels.sheets import demo_sheet, read_uploaded

RULE = ("Measured, weighed and written readings count. A plan counts only where it is unusual itself: a usual plan does not show that it was kept. Nothing is put in where the "
        "sheet is silent.")


@dataclass(frozen=True)
class Told:
    """What the sheet says, and the diagnosis where there is anything to weigh."""

    evidence: Evidence
    seen: tuple[str, ...]
    diagnosis: Diagnosis | None
    own: bool


def own_sheet_panel() -> Panel:
    """A sheet of one's own, perhaps a good batch beside it, and what was measured."""
    controls = (File("file", "Your sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "The batch"),
                File("usual", "A batch that went well", ".toml,.csv,.xlsx", "The batch"),
                *seen_choices("greasy_skin"),
                Entry("end", "End of chopping, measured", "", "16 °C or 61 °F", "What was measured"),
                Entry("chop_min", "Knife time, measured", "", "11 min", "What was measured"),
                Entry("core", "Core at the end, measured", "", "71 °C or 160 °F", "What was measured"))

    def compute(values) -> Told | Faulty:
        try:
            sheet = read_uploaded(*values["file"]) if values["file"] else demo_sheet()
            usual = read_uploaded(*values["usual"]) if values["usual"] else None
        except Faulty as error:
            return error
        minutes = amount(values["chop_min"], "s", "knife time")
        found = evidence_of(sheet, usual, end_C=temperature(values["end"], "end of chopping"),
                            core_C=temperature(values["core"], "core at the end"),
                            chop_min=None if minutes is None else minutes / 60)
        seen = seen_of(values)
        return Told(found, seen, diagnosis_of(found, seen) if seen or found.readings else None, values["file"] is not None)

    return Panel("What your sheet already says", controls, compute, own_view,
                 lambda system: {"readings": charts.readings_chart(system), "standing": charts.standing_chart(system),
                                                                                            "next": charts.next_chart(system)},
                 {"The probe read 19 °C": {"end": "19 °C"}, "Hot, and chopped too long": {"end": "66 °F", "chop_min": "14 min"},
                  "A probe with its units mixed up": {"end": "61 °C"}})


def own_view(told: Told | Faulty, values, system) -> View:
    if isinstance(told, Faulty):
        rows = tuple(Row((fault.where or "the file", fault.what, fault.remedy), "fails") for fault in told.faults)
        return View(f"This sheet cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend, listed below. Nothing was changed in the file.",
                    {}, {}, (Table("What to mend", ("where", "what is wrong", "what to try"), rows),))
    found, evidence = told.diagnosis, told.evidence
    counting, unusual = [one for one in evidence.told if one.counts], evidence.unusual
    whose = evidence.name if told.own else f"{evidence.name} (invented; choose your own on the left)"
    said = "all as in sound batches" if not unusual else "unusual: " + "; ".join(f"{one.reading.name} {reading_words(one.reading, one.value, system)}" for one in unusual)
    sentence = (f"{whose}: {len(counting)} reading{'s' if len(counting) != 1 else ''} count, {said}. The best end for its fat is {units.show(evidence.best_end_C, '°C', system)}. "
                if counting else f"{whose}: nothing on it counts as a reading. ")
    if found:
        sentence += f"With {names(told.seen)}: {stands_words(found, system)} {next_words(found)}" if told.seen else "Choose what was seen."
    shown = [(one.reading, one.value, reading_words(one.reading, one.value, system)) for one in evidence.told if one.counts]
    data, text = {}, {}
    if shown:
        data["readings"], text["readings"] = charts.readings_data(shown), charts.readings_text(shown)
    if found and told.seen:
        data["standing"], text["standing"] = charts.standing_data(found), charts.standing_text(found)
        if found.next_jobs:
            data["next"], text["next"] = charts.next_data(found), charts.next_text(found)
    says = Table("What the sheet and the weighings say", ("reading", "value", "from", "does it count as evidence?"), tuple(
        Row((one.reading.name, reading_words(one.reading, one.value, system), f"{one.origin}: {one.how}", in_system(one.why, system)), "fails"
            if one.counts and one.unusual else "strong" if one.counts else "")
        for one in evidence.told))
    silent = Table("Where it is silent", ("reading", "what would tell"), tuple(Row((reading.name, ask)) for reading, ask in evidence.silent),
                   folded=True)
    weighed = () if not (found and told.seen) else (causes_table(found, system), *((next_table(found),) if found.next_jobs else ()),
                                                    be_sure(told.seen))
    return View(sentence, data, text, (says, *weighed, silent),
                (RULE, *(in_system(note, system) for note in evidence.notes), *(plain_notes(found, system) if found else ())),
                (*evidence.working, *(found.working if found else ())),
                tuple(dict.fromkeys((*evidence.sources, *(found.sources if found else ())))), cautions(found))

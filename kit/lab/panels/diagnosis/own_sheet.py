"""What a sheet, its weighings and its logs already say, what they leave open, and which causes that leaves."""

import re
from dataclasses import dataclass
from functools import lru_cache

from kit import units
from kit.chain.diagnosis import SheetEvidence, evidence_of
from kit.chain.diagnosis_logs import chop_logged, house_logged
from kit.diagnosis import Diagnosis, diagnose
from kit.errors import Faulty, OutOfRange
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.diagnosis.words import (
    amount,
    be_sure,
    causes_table,
    cautions,
    in_system,
    names,
    next_table,
    next_words,
    plain_notes,
    reading_words,
    seen_choices,
    seen_of,
    stands_words,
    temperature,
)
from kit.lab.panels.panel import Choice, Entry, File, Panel, Row, Table, View
from kit.lab.panels.sheets import demo_sheet, read_uploaded
from kit.reading.logs import LogReading, read_log
from kit.tables import data_path

LOGS = ".csv,.txt,.tsv,.xlsx"

RULE = (
    "Measured, logged, weighed and written readings count. A plan counts only where it is unusual itself: a usual plan does not show that it was kept. Nothing is put in where the "
    "sheet is silent."
)


@dataclass(frozen=True)
class Told:
    """What the sheet says, and the diagnosis where there is anything to weigh."""

    evidence: SheetEvidence
    seen: tuple[str, ...]
    diagnosis: Diagnosis | None
    own: bool
    understood: tuple[tuple[str, str], ...] = ()
    """(log, line) of what was understood of each log, and what to look at in it"""


def own_sheet_panel() -> Panel:
    """A sheet of one's own, perhaps a good batch beside it, and what was measured."""
    controls = (
        File("file", "Your sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "The batch"),
        File("usual", "A batch that went well", ".toml,.csv,.xlsx", "The batch"),
        File("chop_log", "The chopper's log", LOGS, "The batch"),
        File("house_log", "The house's log", LOGS, "The batch"),
        Choice(
            "unit",
            "Logs are in",
            (("as the file says", ""), ("°C", "°C"), ("°F", "°F")),
            "",
            "The batch",
        ),
        *seen_choices("greasy_skin"),
        Entry("end", "End of chopping, measured", "", "16 °C or 61 °F", "What was measured"),
        Entry("chop_min", "Knife time, measured", "", "11 min", "What was measured"),
        Entry("core", "Core at the end, measured", "", "71 °C or 160 °F", "What was measured"),
        Entry("knives", "Knives ran, minutes of the log", "", "0 to 9", "What was measured"),
        Entry(
            "cores",
            "Core columns of the house's log",
            "",
            "only if not called core",
            "What was measured",
        ),
    )

    def compute(values) -> Told | Faulty:
        try:
            sheet = read_uploaded(*values["file"]) if values["file"] else demo_sheet()
            usual = read_uploaded(*values["usual"]) if values["usual"] else None
            chopper, house = (
                _log(values[key][1], values["unit"]) if values[key] else None
                for key in ("chop_log", "house_log")
            )
        except Faulty as error:
            return error
        minutes = amount(values["chop_min"], "s", "knife time")
        found = evidence_of(
            sheet,
            usual,
            end_C=temperature(values["end"], "end of chopping"),
            core_C=temperature(values["core"], "core at the end"),
            chop_min=None if minutes is None else minutes / 60,
            chop_log=chop_logged(chopper, None, *_span(values["knives"])) if chopper else None,
            house_log=house_logged(house, sheet, names_in(values["cores"])) if house else None,
        )
        seen = seen_of(values)
        return Told(
            found,
            seen,
            diagnose(seen, found.readings) if seen or found.readings else None,
            values["file"] is not None,
            tuple(
                (name, line)
                for name, log in (("chopper", chopper), ("house", house))
                if log
                for line in (*log.understood, *(each.says for each in log.issues))
            ),
        )

    return Panel(
        "What your sheet already says",
        controls,
        compute,
        own_view,
        lambda system: {
            "readings": charts.readings_chart(system),
            "standing": charts.standing_chart(system),
            "next": charts.next_chart(system),
        },
        {
            "The probe read 19 °C": {"end": "19 °C"},
            "Hot, and chopped too long": {"end": "66 °F", "chop_min": "14 min"},
            "A probe with its units mixed up": {"end": "61 °C"},
            "With the demo's logs": {
                "chop_log": _demo("chopper_log.csv"),
                "knives": "0 to 9",
                "house_log": _demo("cook_log.csv"),
            },
        },
    )


def _demo(name: str) -> tuple[str, bytes]:
    return name, data_path("demo", name).read_bytes()


@lru_cache(maxsize=8)
def _log(content: bytes, unit: str) -> LogReading:
    return read_log(content, unit=unit or None)


def names_in(written: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in written.split(",") if name.strip())


def _span(written: str) -> tuple[float | None, float | None]:
    """'0 to 9', in minutes of the log; empty: not known."""
    if not written.strip():
        return None, None
    ends = re.split(r"\s*(?:to|until|–|;)\s*", written.strip())
    if len(ends) != 2:
        raise OutOfRange(
            f"minutes of the knives are {written!r}; give two with 'to' between them, such as 0 to 9"
        )
    first, last = (units.read(end, "min", "minutes of the knives", bare="min") for end in ends)
    return first, last


def own_view(told: Told | Faulty, values, system) -> View:
    if isinstance(told, Faulty):
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in told.faults
        )
        return View(
            f"This file cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend, listed below. Nothing was changed in the file.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
        )
    found, evidence = told.diagnosis, told.evidence
    counting, unusual = evidence.counting, evidence.unusual
    whose = (
        evidence.name if told.own else f"{evidence.name} (invented; choose your own on the left)"
    )
    said = (
        "all as in sound batches"
        if not unusual
        else "unusual: "
        + "; ".join(
            f"{one.reading.name} {reading_words(one.reading, one.value, system)}" for one in unusual
        )
    )
    sentence = (
        f"{whose}: {len(counting)} reading{'s' if len(counting) != 1 else ''} count, {said}. The best end for its fat is {units.show(evidence.best_end_C, '°C', system)}. "
        if counting
        else f"{whose}: nothing on it counts as a reading. "
    )
    if found:
        sentence += (
            f"With {names(told.seen)}: {stands_words(found, system)} {next_words(found)}"
            if told.seen
            else "Choose what was seen."
        )
    shown = [
        (one.reading, one.value, reading_words(one.reading, one.value, system))
        for one in evidence.told
        if one.counts
    ]
    data, text = {}, {}
    if shown:
        data["readings"], text["readings"] = (
            charts.readings_data(shown),
            charts.readings_text(shown),
        )
    if found and told.seen:
        data["standing"], text["standing"] = (
            charts.standing_data(found),
            charts.standing_text(found),
        )
        if found.next_jobs:
            data["next"], text["next"] = charts.next_data(found), charts.next_text(found)
    says = Table(
        "What the sheet, the weighings and the logs say",
        ("reading", "value", "from", "does it count as evidence?"),
        tuple(
            Row(
                (
                    one.reading.name,
                    reading_words(one.reading, one.value, system),
                    f"{one.origin}: {one.how}",
                    in_system(one.why, system),
                ),
                "fails" if one.counts and one.unusual else "strong" if one.counts else "",
            )
            for one in evidence.told
        ),
    )
    silent = Table(
        "Where it is silent",
        ("reading", "what would tell"),
        tuple(Row((reading.name, ask)) for reading, ask in evidence.silent),
        folded=True,
    )
    weighed = (
        ()
        if not (found and told.seen)
        else (
            causes_table(found, system),
            *((next_table(found),) if found.next_jobs else ()),
            be_sure(told.seen),
        )
    )
    logs = (
        (
            Table(
                "What was understood of the logs",
                ("log", "understood"),
                tuple(Row(line) for line in told.understood),
                folded=True,
            ),
        )
        if told.understood
        else ()
    )
    return View(
        sentence,
        data,
        text,
        (says, *weighed, silent, *logs),
        (
            RULE,
            *(in_system(note, system) for note in evidence.notes),
            *(plain_notes(found, system) if found else ()),
        ),
        (*evidence.working, *(found.working if found else ())),
        tuple(dict.fromkeys((*evidence.sources, *(found.sources if found else ())))),
        cautions(found),
    )

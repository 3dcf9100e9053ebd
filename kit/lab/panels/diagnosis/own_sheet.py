"""What a sheet, its weighings and its logs already say, what they leave open, and which causes that leaves."""

import re
from dataclasses import dataclass
from functools import lru_cache

from kit import reading, units
from kit.chain.diagnosis import SheetEvidence, evidence_of
from kit.chain.diagnosis_logs import chop_logged, house_logged
from kit.diagnosis import Diagnosis, diagnose
from kit.errors import OutOfRange
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.diagnosis.words import (
    PICTURES,
    amount,
    cautions,
    diagnosis_tables,
    names,
    next_words,
    reading_words,
    readings_rows,
    seen_of,
    stands_words,
    symptoms,
    temperature,
)
from kit.lab.panels.log_controls import UNITS, names_in
from kit.lab.panels.panel import Panel, Row, Table, View
from kit.lab.panels.sheets import read_uploaded, starting_sheet
from kit.logs import LogReading
from kit.tables import data_path

RULE = (
    "Measured, logged, weighed and recorded readings are evidence. A planned value is evidence only where the plan itself is unusual. Missing values are not "
    "assumed."
)


@dataclass(frozen=True)
class OwnBatch:
    """What the sheet says, and the diagnosis where there is anything to weigh."""

    evidence: SheetEvidence
    diagnosis: Diagnosis | None
    own: bool
    understood: tuple[tuple[str, str], ...] = ()
    """(log, line) of what was understood of each log, and what to look at in it"""


def own_sheet_panel() -> Panel:
    """A sheet of one's own, perhaps a good batch beside it, and what was measured."""
    options = {"unit": UNITS, "seen": symptoms(), "also": symptoms("no other symptom")}

    def compute(values) -> OwnBatch:
        sheet = read_uploaded(*values["file"]) if values["file"] else starting_sheet()
        usual = read_uploaded(*values["usual"]) if values["usual"] else None
        chopper, house = (
            _log(values[key][1], values["unit"]) if values[key] else None
            for key in ("chop_log", "house_log")
        )
        minutes = amount(values["chop_min"], "s", "chopping time")
        found = evidence_of(
            sheet,
            usual,
            end_C=temperature(values["end"], "final chopping temperature"),
            core_C=temperature(values["core"], "core temperature at the end of the cook"),
            chop_min=None if minutes is None else minutes / 60,
            chop_log=chop_logged(chopper, *_span(values["knives"])) if chopper else None,
            house_log=house_logged(house, sheet, names_in(values["cores"])) if house else None,
        )
        seen, understood = seen_of(values), []
        for name, log in (("chopper", chopper), ("smokehouse", house)):
            if log:
                lines = (*log.understood, *(issue.says for issue in log.issues))
                understood += [(name, line) for line in lines]
        weighed = diagnose(seen, found.readings) if seen or found.readings else None
        return OwnBatch(found, weighed, values["file"] is not None, tuple(understood))

    return Panel(
        "Evidence in your batch sheet",
        controls_of("evidence", options=options, seen="greasy_skin"),
        compute,
        own_view,
        PICTURES,
        {
            "Final chopping temperature 19 °C": {"end": "19 °C"},
            "Too hot, chopped too long": {"end": "66 °F", "chop_min": "14 min"},
            "Celsius and Fahrenheit confused": {"end": "61 °C"},
            "With the demo's logs": {
                "chop_log": _demo("chopper_log.csv"),
                "knives": "0 to 9",
                "house_log": _demo("cook_log.csv"),
            },
        },
        faulty=("This file",),
    )


def _demo(name: str) -> tuple[str, bytes]:
    return name, data_path("demo", name).read_bytes()


@lru_cache(maxsize=8)
def _log(content: bytes, unit: str) -> LogReading:
    return reading.read_log(content, unit=unit or None)


def _span(written: str) -> tuple[float | None, float | None]:
    """'0 to 9', in minutes of the log; empty: not known."""
    if not written.strip():
        return None, None
    ends = re.split(r"\s*(?:to|until|–|;)\s*", written.strip())
    if len(ends) != 2:
        raise OutOfRange(
            f"chopping minutes are {written!r}; give the first and the last with 'to' between them, such as 0 to 9"
        )
    first, last = (units.read(end, "min", "chopping minutes", bare="min") for end in ends)
    return first, last


def own_view(told: OwnBatch, values, system) -> View:
    found, evidence = told.diagnosis, told.evidence
    data = readings_rows(((one.reading, one.value) for one in evidence.counting), system)
    tables = [_says(evidence, system)]
    if found and found.seen:
        data["standing"] = charts.standing_data(found)
        tables += diagnosis_tables(found)
    silent = ((reading.name, ask) for reading, ask in evidence.silent)
    missing = ("reading", "measurement that gives it")
    tables.append(Table("Missing readings", missing, silent, folded=True))
    if told.understood:
        title = "How the logs were read"
        tables.append(Table(title, ("log", "read as"), told.understood, folded=True))
    return View(
        _sentence(told, system), data, tables=tuple(tables), notes=(RULE,), cautions=cautions(found)
    ).of(evidence, found)


def _sentence(told: OwnBatch, system: str) -> str:
    found, evidence = told.diagnosis, told.evidence
    whose = (
        evidence.name if told.own else f"{evidence.name} (invented; choose your own on the left)"
    )
    if evidence.counting:
        count = len(evidence.counting)
        unusual = "; ".join(
            f"{one.reading.name} {reading_words(one.reading, one.value, system)}"
            for one in evidence.unusual
        )
        said = f"unusual: {unusual}" if unusual else "all as in normal batches"
        best = units.show(evidence.best_end_C, "°C", system)
        sentence = (
            f"{whose}: {count} reading{'s' if count != 1 else ''} used as evidence, {said}. "
            f"The optimum final chopping temperature for its fat is {best}. "
        )
    else:
        sentence = f"{whose}: nothing on it is a reading. "
    if found and found.seen:
        stands = f"{stands_words(found)} {next_words(found)}"
        return f"{sentence}With {names(found.seen)}: {stands}"
    return f"{sentence}Choose a symptom." if found else sentence


def _says(evidence: SheetEvidence, system: str) -> Table:
    rows = []
    for one in evidence.told:
        words = reading_words(one.reading, one.value, system)
        mark = "fails" if one.unusual else "strong"
        cells = (one.reading.name, words, f"{one.origin}: {one.how}", one.why)
        rows.append(Row(cells, mark if one.counts else ""))
    columns = ("reading", "value", "from", "used as evidence?")
    return Table("Readings from the sheet, the weighings and the logs", columns, tuple(rows))

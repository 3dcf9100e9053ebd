"""Symptoms and readings: which causes are possible, with the evidence for and against, and what to measure next."""

from kit import units
from kit.diagnosis import Diagnosis, diagnose
from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.evidence import above_best_K
from kit.emulsion import FAT_KINDS
from kit.errors import OutOfRange
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.diagnosis.words import (
    NONE,
    cautions,
    diagnosis_tables,
    figure_of,
    names,
    next_words,
    readings_rows,
    seen_of,
    stands_words,
    symptoms,
    typed_reading,
)
from kit.lab.panels.panel import Panel, View

ENTRIES = 3
END = "end_over_best_K"


def standing_panel() -> Panel:
    """Symptoms and measurements, against every cause of the catalogue."""
    book = catalogue()
    others = [reading for key, reading in book.readings.items() if key != END]
    options = (("none", NONE), *((f"{one.name} ({one.unit})", one.key) for one in others))
    choices = {
        "seen": symptoms(),
        "also": symptoms("no other symptom"),
        "absent": symptoms("none"),
        "fat_kind": FAT_KINDS,
        **{f"reading {n}": options for n in range(1, ENTRIES + 1)},
    }

    def compute(values) -> Diagnosis:
        evidence = {}
        if values["end_known"]:
            evidence[END] = above_best_K(values["end_C"], values["fat_kind"])
        for n in range(1, ENTRIES + 1):
            key = values[f"reading {n}"]
            if key in evidence:
                raise OutOfRange(
                    f"{book.readings[key].name} is chosen twice; write repeated readings in one line, with spaces between them"
                )
            if key:
                evidence[key] = typed_reading(book.readings[key], values[f"said {n}"])
        absent = (values["absent"],) if values["absent"] else ()
        return diagnose(seen_of(values), evidence, absent)

    start = dict(seen="fat_cap", also=NONE, absent=NONE, fat_kind="pork back", end_known=False)

    def preset(*readings: tuple[str, str], **values) -> dict:
        filled = [*readings, *[("", "")] * (ENTRIES - len(readings))]
        for n, (key, said) in enumerate(filled, 1):
            values |= {f"reading {n}": key, f"said {n}": said}
        return start | values

    hot, best = dict(end_known=True, end_C=20.0), dict(end_known=True, end_C=13.0)
    rim, trim = ("green_rim_pct", "40"), ("fat_over_sheet_pct", "6.1 5.4")
    return Panel(
        "Possible causes of a defect",
        controls_of("causes", options=choices, seen="fat_cap", fat_kind="pork back"),
        compute,
        standing_view,
        {"standing": charts.standing_chart, "readings": charts.readings_chart},
        {
            "Final chopping temperature too high": preset(**hot),
            "Temperature right, trim too fat": preset(("chop_time_pct", "103"), trim, **best),
            "A contradicting reading": preset(("chop_time_pct", "100"), ("pH", "5.45"), **hot),
            "Green rim": preset(rim, ("count_log", "6.2"), seen="green"),
        },
    )


def standing_view(found: Diagnosis, values, system) -> View:
    seen = names(found.seen)
    seen = f"{seen[0].upper()}{seen[1:]}" if seen else "No symptom"
    end_C, fat = values["end_C"], values["fat_kind"]
    over_K = above_best_K(end_C, fat)
    if values["end_known"]:
        off = figure_of(catalogue().readings[END], abs(over_K), system)
        side = "above" if over_K >= 0 else "below"
        ended = units.show(end_C, "°C", system)
        seen += f"; final chopping temperature {ended}, {off} {side} the optimum for {fat} fat"
    else:
        best = units.show(end_C - over_K, "°C", system)
        seen += f"; final chopping temperature not known (optimum for {fat} fat: {best})"
    return View(
        f"{seen}. {stands_words(found)} {next_words(found)}",
        {"standing": charts.standing_data(found)} | readings_rows(found.measured, system),
        tables=diagnosis_tables(found),
        cautions=cautions(found),
    ).of(found)

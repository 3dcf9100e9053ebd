"""Symptoms and readings: which causes still stand, with the evidence for and against, and what to measure next."""

from dataclasses import dataclass

from kit import units
from kit.diagnosis import Diagnosis, Reading, above_best_K, catalogue, diagnose
from kit.emulsion import FAT_KINDS
from kit.errors import OutOfRange
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.diagnosis.words import (
    NONE,
    be_sure,
    causes_table,
    cautions,
    figure_of,
    names,
    next_table,
    next_words,
    plain_notes,
    reading_words,
    seen_choices,
    seen_of,
    stands_words,
    symptom_options,
    typed_reading,
)
from kit.lab.panels.panel import Choice, Entry, Panel, Slider, Switch, View

ENTRIES = 3
END = "end_over_best_K"
HOT, BEST = {"end_known": True, "end_C": 20.0}, {"end_known": True, "end_C": 13.0}


@dataclass(frozen=True)
class Weighed:
    """A diagnosis, what was said to be seen, and the readings that have a value: (reading, mean)."""

    diagnosis: Diagnosis
    seen: tuple[str, ...]
    readings: tuple[tuple[Reading, float], ...]


def standing_panel() -> Panel:
    """What is seen and what was measured, against every cause of the catalogue."""
    book = catalogue()
    options = (
        ("nothing yet", NONE),
        *(
            (f"{reading.name} ({reading.unit})", key)
            for key, reading in book.readings.items()
            if key != END
        ),
    )
    controls = (
        *seen_choices("fat_cap"),
        Choice(
            "absent", "Looked for, not there", symptom_options("nothing"), NONE, "What was seen"
        ),
        Choice("fat_kind", "Main fat", FAT_KINDS, "pork back", "The chopper's log"),
        Switch("end_known", "Use the end of chopping below", False, "The chopper's log"),
        Slider("end_C", "It ended at", "°C", -4, 30, 0.5, 13, "The chopper's log"),
        *(
            control
            for n in range(1, ENTRIES + 1)
            for control in (
                Choice(f"reading {n}", f"Reading {n}", options, NONE, "Other readings"),
                Entry(
                    f"said {n}",
                    f"It said ({n})",
                    "",
                    "a number, several, or a word",
                    "Other readings",
                ),
            )
        ),
    )

    def compute(values) -> Weighed:
        evidence = (
            {END: above_best_K(values["end_C"], values["fat_kind"])} if values["end_known"] else {}
        )
        for n in range(1, ENTRIES + 1):
            key = values[f"reading {n}"]
            if key in evidence:
                raise OutOfRange(
                    f"{book.readings[key].name} is chosen twice; write repeated readings in one line, with spaces between them"
                )
            if key:
                evidence[key] = typed_reading(book.readings[key], values[f"said {n}"])
        absent = (values["absent"],) if values["absent"] else ()
        found = diagnose(seen_of(values), evidence, absent)
        means = [
            (book.readings[key], sum(given) / len(given) if isinstance(given, list) else given)
            for key, given in evidence.items()
            if not isinstance(given, str)
        ]
        return Weighed(found, seen_of(values), tuple(means))

    none = {f"{kind} {n}": "" for kind in ("reading", "said") for n in range(1, ENTRIES + 1)}
    start = {
        "seen": "fat_cap",
        "also": NONE,
        "absent": NONE,
        "fat_kind": "pork back",
        "end_known": False,
    } | none
    return Panel(
        "Which causes still stand?",
        controls,
        compute,
        standing_view,
        lambda system: {
            "standing": charts.standing_chart(system),
            "next": charts.next_chart(system),
            "readings": charts.readings_chart(system),
        },
        {
            "The bowl ended hot": start | HOT,
            "It ended right; the trim was fat": start
            | BEST
            | {
                "reading 1": "chop_time_pct",
                "said 1": "103",
                "reading 2": "fat_over_sheet_pct",
                "said 2": "6.1 5.4",
            },
            "A reading that does not fit": start
            | HOT
            | {"reading 1": "chop_time_pct", "said 1": "100", "reading 2": "pH", "said 2": "5.45"},
            "Green rim": start
            | {
                "seen": "green",
                "reading 1": "green_rim_pct",
                "said 1": "40",
                "reading 2": "count_log",
                "said 2": "6.2",
            },
        },
    )


def standing_view(answer: Weighed, values, system) -> View:
    found = answer.diagnosis
    seen = (
        f"{names(answer.seen)[0].upper()}{names(answer.seen)[1:]}"
        if answer.seen
        else "Nothing seen"
    )
    if values["end_known"]:
        over = above_best_K(values["end_C"], values["fat_kind"])
        seen += (
            f", and the bowl ended at {units.show(values['end_C'], '°C', system)}, {figure_of(catalogue().readings[END], abs(over), system)} "
            f"{'over' if over >= 0 else 'under'} the best for {values['fat_kind']} fat"
        )
    else:
        seen += f", end of chopping not known (best for {values['fat_kind']} fat: {units.show(values['end_C'] - above_best_K(values['end_C'], values['fat_kind']), '°C', system)})"
    shown = [
        (reading, amount, reading_words(reading, amount, system))
        for reading, amount in answer.readings
    ]
    data, text = (
        {"standing": charts.standing_data(found)},
        {"standing": charts.standing_text(found)},
    )
    if found.next_jobs:
        data["next"], text["next"] = charts.next_data(found), charts.next_text(found)
    if shown:
        data["readings"], text["readings"] = (
            charts.readings_data(shown),
            charts.readings_text(shown),
        )
    tables = (
        causes_table(found, system),
        *((next_table(found),) if found.next_jobs else ()),
        *((be_sure(answer.seen),) if answer.seen else ()),
    )
    return View(
        f"{seen}. {stands_words(found, system)} {next_words(found)}",
        data,
        text,
        tables,
        plain_notes(found, system),
        found.working,
        found.sources,
        cautions(found),
    )

"""A class's own tube tests or cook losses set the two levels; before and after, for the rows and for the batch."""

from typing import NamedTuple

from kit import tables
from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.emulsion.calibrate import Calibration, FittedLoss, calibrate
from kit.lab.charts import emulsion as charts
from kit.lab.charts.emulsion import signed
from kit.lab.panels.emulsion.words import before_after_table, cautions, kilograms, plain_notes
from kit.lab.panels.panel import Entry, File, Panel, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.lab.panels.view import row
from kit.sheet import Sheet

HIGH = 25.0
ENTRIES = 4
TITLE = "Your tubes beside the model"
SUBTITLE = "ring: measured; square: model before; disc: model after your rows"
GROUP, EXAMPLE = "Your tube tests", "name, g=30, fat=0.4, water=1.5, end=13"
QUANTITIES = {"water_out_g": "exudate", "fat_out_g": "fat", "total_out_g": "all"}


class Set(NamedTuple):
    """A calibration, and the batch's answer without it and with it."""

    calibration: Calibration
    before: EmulsionAnswer
    after: EmulsionAnswer


def class_tests_panel(sheet: Sheet | None = None) -> Panel:
    """Four typed rows or a file of rows, on the batter of a sheet."""
    from kit.reading.tubes import as_typed, from_csv, measured_rows, typed

    sheet = sheet or starting_sheet()
    plain = emulsion_of(sheet)
    stations = [f"row {n}" for n in range(1, ENTRIES + 1)]
    demo = tables.data_path("demo", "demo_tube_test.csv").read_bytes()
    start = dict.fromkeys(stations, "")
    start |= zip(stations, (as_typed(found) for _, found in from_csv("demo", demo)))

    def compute(values) -> Set:
        file, name = values["file"], values["name"].strip() or "own measurements"
        rows = from_csv(*file) if file else typed([values[station] for station in stations])
        found = calibrate(measured_rows(rows, plain.batter), name)
        return Set(found, plain, emulsion_of(sheet, found))

    entries = (
        Entry(station, f"Station {n}", start[station], EXAMPLE, GROUP)
        for n, station in enumerate(stations, 1)
    )
    controls = (
        Entry("name", "Name of this calibration", "invented class", "your plant or class", GROUP),
        *entries,
        File("file", "Or a table of them (.csv)", ".csv", GROUP),
    )
    return Panel(
        "Your tube tests set the levels",
        controls,
        compute,
        set_view,
        lambda system: {"tubes": charts.beside_chart(TITLE, SUBTITLE, HIGH)},
        {
            "One tube only": dict.fromkeys(stations[1:], ""),
            "A tube that leaks": {"row 1": start["row 1"].replace("water=1.1", "water=9")},
        },
    )


def set_view(answer: Set, values, system) -> View:
    c, before, after = answer
    far = c.furthest
    density = tables.value("emulsion_fat_density_kg_per_L")
    about_rows = "A cook loss by weight holds drying too, unless drying_pct takes it off."
    if any(f.quantity == "fat_out_g" for f in c.fitted):
        about_rows = f"A tube test read in ml: fat counts {density:g} g/ml, exudate 1 g/ml, of the grams that went into the tube."
    notes = (
        *plain_notes(c.notes),
        "Write a name, then g (batter in the tube), fat and water (ml read off), and what was different: end (°C), salt (%), core (°C), or any column of the CSV.",
        "The levels shift the whole model up or down; no slope, limit or direction changes. The water margin moves with its level; the fat margins do not.",
        about_rows,
    )
    names = [f"{f.label}: {QUANTITIES[f.quantity]}" for f in c.fitted]
    grams = zip(*((f.measured_g, f.before_g, f.after_g) for f in c.fitted))
    rows = []
    for f in c.fitted:
        figures = (f"{grams:.2f}" for grams in (f.measured_g, f.before_g, f.after_g))
        name, mark = (f"✗ {f.label}", "fails") if f is far else (f.label, "")
        rows.append(row(name, QUANTITIES[f.quantity], *figures, mark=mark))
    measured = Table(
        "Each measurement, before and after, g of 100 g raw batter",
        ("row", "what", "measured", "model before", "model after"),
        tuple(rows),
    )
    return View(
        _sentence(answer, far, system),
        {"tubes": charts.beside_data(names, *grams, HIGH)},
        tables=(_levels(c), measured, before_after_table(before.name, before, after, system)),
        notes=notes,
        steps=c.working,
        sources=c.sources,
        cautions=cautions(),
    )


def _sentence(answer: Set, far: FittedLoss | None, system: str) -> str:
    c, before, after = answer
    (b_low, _, b_high), (a_low, _, a_high) = (
        each.cook_out_range_g["all"] for each in (before, after)
    )
    out_before, out_after = (
        kilograms(each, each.held.total_out_g, system) for each in (before, after)
    )
    said = (
        f"{len(c.rows)} measured {'row moves' if len(c.rows) == 1 else 'rows move'} the model's mean miss from {c.error_before_g:.1f} to {c.error_after_g:.1f} g in 100 g. "
        f"For {before.name} the predicted cook-out is now {out_after} instead of {out_before} "
        f"(90 % interval {a_low:.1f} to {a_high:.1f} %, before {b_low:.1f} to {b_high:.1f} %)."
    )
    if not far:
        return said
    return (
        f"{said} ✗ {far.label}, {QUANTITIES[far.quantity]}: {far.measured_g:.1f} g of 100 g measured where the fitted model says {far.after_g:.1f}. Did it leak, or was it misread? "
        "Repeat it or leave it out: it pulls the levels."
    )


def _levels(c: Calibration) -> Table:
    rows = (
        row(name, signed(level), " to ".join(signed(x) for x in interval), f"{told:.0f} %")
        for name, level, interval, told in (
            ("water", c.water_level, c.water_level_90, c.told_pct[0]),
            ("fat", c.fat_level, c.fat_level_90, c.told_pct[1]),
        )
    )
    return Table(
        "The two levels (log-odds: 0 is even, up means more is released)",
        ("level", "value", "90 % interval", "the rows narrowed the uncertainty by"),
        tuple(rows),
    )

"""Calibration of the two levels on a class's own tube tests or cook losses; before and after, for the rows and for the batch."""

from typing import NamedTuple

from kit import tables
from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.emulsion.calibrate import Calibration, FittedLoss, calibrate
from kit.lab.charts import emulsion as charts
from kit.lab.charts.emulsion import signed
from kit.lab.panels.controls import controls_of
from kit.lab.panels.emulsion.words import before_after_table, cautions, kilograms, plain_notes
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.sheet import Sheet
from kit.working import notes_of

HIGH = 25.0
ENTRIES = 4
TITLE = "Measured and predicted cook-out"
SUBTITLE = "ring: measured; square: model before calibration; disc: after"
QUANTITIES = {"water_out_g": "exudate", "fat_out_g": "fat", "total_out_g": "total"}


class Set(NamedTuple):
    """A calibration, and the batch's answer without it and with it."""

    calibration: Calibration
    before: EmulsionAnswer
    after: EmulsionAnswer


def class_tests_panel(sheet: Sheet | None = None) -> Panel:
    """Four typed tube tests or a file of them, on the batter of a sheet."""
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

    return Panel(
        "Calibration on your own tube tests",
        controls_of("tube tests", **start),
        compute,
        set_view,
        {"tubes": lambda system: charts.beside_chart(TITLE, SUBTITLE, HIGH)},
        {
            "Only one tube test": dict.fromkeys(stations[1:], ""),
            "A leaking tube": {"row 1": start["row 1"].replace("water=1.1", "water=9")},
        },
    )


def set_view(answer: Set, values, system) -> View:
    c, before, after = answer
    far = c.furthest
    tubes = any(f.quantity == "fat_out_g" for f in c.fitted)
    density = tables.value("emulsion_fat_density_kg_per_L")
    own = notes_of("class tests", {"tubes": tubes, "cooks": not tubes}, density=density)
    names = [f"{f.label}: {QUANTITIES[f.quantity]}" for f in c.fitted]
    grams = zip(*((f.measured_g, f.before_g, f.after_g) for f in c.fitted))
    rows = (
        (
            f"{'✗ ' * (f is far)}{f.label}",
            QUANTITIES[f.quantity],
            *(f"{grams:.2f}" for grams in (f.measured_g, f.before_g, f.after_g)),
        )
        for f in c.fitted
    )
    measured = Table(
        "Measured and predicted cook-out (g per 100 g raw batter)",
        ("tube test", "part", "measured", "before calibration", "after calibration"),
        rows,
    )
    return View(
        _sentence(answer, far, system),
        {"tubes": charts.beside_data(names, *grams, HIGH)},
        tables=(_levels(c), measured, before_after_table(before.name, before, after, system)),
        notes=(*plain_notes(c.notes), *own),
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
        f"Calibration {c.name!r} on {len(c.rows)} tube test{'' if len(c.rows) == 1 else 's'} changes the model's mean error from {c.error_before_g:.1f} to {c.error_after_g:.1f} g per 100 g. "
        f"For {before.name} the predicted cook-out is {out_after} instead of {out_before} "
        f"(90 % interval {a_low:.1f} to {a_high:.1f} %, before {b_low:.1f} to {b_high:.1f} %)."
    )
    if not far:
        return said
    return (
        f"{said} ✗ {far.label}, {QUANTITIES[far.quantity]}: {far.measured_g:.1f} g of 100 g measured, {far.after_g:.1f} predicted after calibration. Check for a leak or a misreading: "
        "repeat it or leave it out, it distorts the calibration."
    )


def _levels(c: Calibration) -> Table:
    rows = (
        (name, signed(level), " to ".join(signed(x) for x in interval), f"{told:.0f} %")
        for name, level, interval, told in (
            ("water", c.water_level, c.water_level_90, c.told_pct[0]),
            ("fat", c.fat_level, c.fat_level_90, c.told_pct[1]),
        )
    )
    return Table(
        "Calibration offsets (log-odds; positive: more cook-out)",
        ("offset", "value", "90 % interval", "uncertainty reduced by"),
        rows,
    )

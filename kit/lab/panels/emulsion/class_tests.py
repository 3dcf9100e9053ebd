"""A class's own tube tests or cook losses set the two levels; before and after, for the rows and for the batch."""

from dataclasses import dataclass

from kit import tables, units
from kit.chain.emulsion import Holds, holds_of
from kit.chain.tube import as_typed, class_calibration, from_csv, typed
from kit.emulsion import Calibration, Fitted
from kit.lab.charts import emulsion as charts
from kit.lab.charts.emulsion import signed
from kit.lab.panels.emulsion.words import before_after_table, cautions, plain_notes
from kit.lab.panels.panel import Choice, Entry, File, Panel, Row, Table, View
from kit.lab.panels.sheets import demo_sheet
from kit.sheet import Sheet

HIGH = 25.0
ENTRIES = 4
beside_chart = charts.beside_chart(
    "Your tubes beside the model",
    "ring: measured; square: model before; disc: model after your rows",
    HIGH,
)


@dataclass(frozen=True)
class Set:
    """A calibration, and the batch's answer without it and with it."""

    calibration: Calibration
    before: Holds
    after: Holds


def demo_rows() -> str:
    """The invented class's tube tests as CSV text."""
    return tables.data_path("demo", "demo_tube_test.csv").read_text(encoding="utf-8")


def _typed_start() -> list[str]:
    return [as_typed(row) for _, row in from_csv("demo", demo_rows().encode())]


def class_tests_panel(sheet: Sheet | None = None) -> Panel:
    """Four typed rows or a file of rows, on the batter of a sheet."""
    sheet = sheet or demo_sheet()
    plain = holds_of(sheet)

    def compute(values) -> Set:
        rows = (
            from_csv(*values["file"])
            if values["file"]
            else typed([values[f"row {n}"] for n in range(1, ENTRIES + 1)])
        )
        found = class_calibration(rows, plain.batter, values["name"].strip() or "own measurements")
        return Set(found, plain, holds_of(sheet, found))

    start = _typed_start()
    controls = (
        Entry(
            "name",
            "Name of this calibration",
            "invented class",
            "your plant or class",
            "Your tube tests",
        ),
        *(
            Entry(
                f"row {n}",
                f"Station {n}",
                start[n - 1] if n <= len(start) else "",
                "name, g=30, fat=0.4, water=1.5, end=13",
                "Your tube tests",
            )
            for n in range(1, ENTRIES + 1)
        ),
        File("file", "Or a table of them (.csv)", ".csv", "Your tube tests"),
        Choice(
            "shown",
            "Show",
            (("each tube, before and after", "parts"), ("the batch with your rows", "batch")),
            "parts",
            "What is shown",
        ),
    )
    one = {f"row {n}": "" for n in range(2, ENTRIES + 1)}
    return Panel(
        "Your tube tests set the levels",
        controls,
        compute,
        set_view,
        lambda system: {"tubes": beside_chart(system), "leaves": charts.leaves_chart(system)},
        {
            "One tube only": one,
            "A tube that leaks": {"row 1": start[0].replace("water=1.1", "water=9")},
        },
    )


def set_view(answer: Set, values, system) -> View:
    c, before, after = answer.calibration, answer.before, answer.after
    (b_low, _, b_high), (a_low, _, a_high) = before.spread.total_out_g, after.spread.total_out_g
    out_before, out_after = (
        units.show(h.kg(h.held.total_out_g), "kg", system, 1) for h in (before, after)
    )
    sentence = (
        f"{len(c.rows)} measured {'row moves' if len(c.rows) == 1 else 'rows move'} the model's mean miss from {c.error_before_g:.1f} to {c.error_after_g:.1f} g in 100 g. "
        f"For {before.name} the teaching model now lets {out_after} leave instead of {out_before} "
        f"(80 of 100 draws: {a_low:.1f} to {a_high:.1f} %, before {b_low:.1f} to {b_high:.1f} %)."
    )
    far = c.furthest
    if far:
        sentence += (
            f" ✗ {far.label}, {_what(far)}: {far.measured_g:.1f} g of 100 g measured where the fitted model says {far.after_g:.1f}. Did it leak, or was it misread? "
            "Repeat it or leave it out: it pulls the levels."
        )
    tables_ = (
        _levels(c),
        Table(
            "Each measurement, before and after, g of 100 g raw batter",
            ("row", "what", "measured", "model before", "model after"),
            tuple(
                Row(
                    (
                        f"{'✗ ' if f is far else ''}{f.label}",
                        _what(f),
                        f"{f.measured_g:.2f}",
                        f"{f.before_g:.2f}",
                        f"{f.after_g:.2f}",
                    ),
                    "fails" if f is far else "",
                )
                for f in c.fitted
            ),
        ),
        before_after_table(before.name, before, after, system),
    )
    notes = (
        *plain_notes(c.notes),
        "Write a name, then g (batter in the tube), fat and water (ml read off), and what was different: end (°C), salt (%), core (°C), or any column of the CSV.",
        "The levels shift the whole model up or down; no slope, limit or direction changes. The water margin moves with its level; the fat margins do not.",
        f"A tube test read in ml: fat counts {tables.value('emulsion_fat_density_kg_per_L'):g} g/ml, gel-water 1 g/ml, of the grams that went into the tube."
        if any(f.quantity == "fat_out_g" for f in c.fitted)
        else "A cook loss by weight holds drying too, unless drying_pct takes it off.",
    )
    data = (
        {
            "tubes": charts.beside_data(
                [f"{f.label}: {_what(f)}" for f in c.fitted],
                *(
                    [getattr(f, name) for f in c.fitted]
                    for name in ("measured_g", "before_g", "after_g")
                ),
                HIGH,
            )
        }
        if values["shown"] == "parts"
        else {"leaves": charts.leaves_data(after)}
    )
    text = {
        "tubes": "Measured against modelled. "
        + " ".join(
            f"{f.label}, {_what(f)}: measured {f.measured_g:.1f}, before {f.before_g:.1f}, after {f.after_g:.1f}."
            for f in c.fitted
        ),
        "leaves": charts.leaves_text(after),
    }
    return View(sentence, data, text, tables_, notes, c.working, c.sources, cautions())


def _levels(c: Calibration) -> Table:
    return Table(
        "The two levels (log-odds: 0 is even, up means more leaves)",
        ("level", "value", "90 % of the doubt", "the rows narrowed the doubt by"),
        (
            Row(
                (
                    "water",
                    signed(c.water_level),
                    " to ".join(signed(x) for x in c.water_level_90),
                    f"{c.told_pct[0]:.0f} %",
                )
            ),
            Row(
                (
                    "fat",
                    signed(c.fat_level),
                    " to ".join(signed(x) for x in c.fat_level_90),
                    f"{c.told_pct[1]:.0f} %",
                )
            ),
        ),
    )


def _what(fitted: Fitted) -> str:
    return {"water_out_g": "gel-water", "fat_out_g": "fat", "total_out_g": "all"}[fitted.quantity]

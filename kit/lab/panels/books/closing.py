"""Do the books close? Plant a hole, a weight or a whole scale that reads wrong, and see which of them the balances can tell apart."""

from dataclasses import replace

from scipy.special import ndtri

from kit.chain import follow, ledger_of
from kit.chain.closing import Checked, checks_of
from kit.chain.yields import USUAL, books_of
from kit.lab.charts import books as charts
from kit.lab.lessons.books import SCALE_SD_KG, demo_sheet
from kit.lab.panels.books.pieces import (
    HEAVY,
    INVENTED,
    cause_table,
    closing_sentence,
    next_table,
    turn_table,
    weight_table,
)
from kit.lab.panels.panel import Choice, Panel, Slider, View
from kit.sheet import Sheet
from kit.yields import Entry, leaked, misread, points
from kit.yields.ledger import IN, place_of

CLOSED, AS_WEIGHED = "a batch with usual losses", "the demo batch as weighed"
OPEN, ON_THE_BOOKS = "left open", "put down as usual"
APART, SHARED = "not written down", "written: cold side, cook side"
RAW, COOKED = "the cold side's scale", "the cook side's scale"
HOLE_KG = 1.5


def closing_panel(sheet: Sheet | None = None) -> Panel:
    """A hole at one place, a weight that reads wrong at another; what is missing where, and which cause explains it."""
    sheet = sheet or demo_sheet()
    usual = books_of(sheet, follow(sheet), cook_by=USUAL).expected_entries
    starts = {CLOSED: usual, AS_WEIGHED: ledger_of(sheet)}
    stream = points(usual)
    stages = tuple(dict.fromkeys(p.stage for p in stream))
    places = tuple(
        word
        for a, b in zip(stages, (*stages[1:], ""))
        for word in ((a, f"{a} to {b}") if b else (a,))
    )

    def compute(values) -> Checked:
        entries = starts[values["start"]]
        entries = (
            leaked(entries, values["where"], values["hole_kg"]) if values["hole_kg"] else entries
        )
        entries = (
            misread(entries, values["weight"], values["wrong_kg"])
            if values["wrong_kg"]
            else entries
        )
        scales = _scales(entries)
        entries = tuple(
            replace(
                e,
                sd_kg=values["scale_sd_g"] / 1000,
                kg=e.kg * (1 + values["raw_pct"] / 100) if _raw(e) else e.kg,
            )
            for e in entries
        )
        return checks_of(
            entries,
            usual_losses=values["open"] == ON_THE_BOOKS,
            casing=sheet.process.casing,
            stuffed_mm=sheet.process.stuffed_mm,
            scales=scales if values["scales"] == SHARED else None,
        )

    controls = (
        Choice("start", "Start from", tuple(starts), CLOSED, "Process"),
        Choice("where", "A hole at", places, "chop to stuff", "Process"),
        Slider("hole_kg", "Gone there, unwritten", "kg", 0, 4, 0.1, HOLE_KG, "Process"),
        Choice(
            "weight",
            "One weight that reads wrong",
            tuple(p.label for p in stream),
            "out of cook",
            "Process",
        ),
        Slider("wrong_kg", "It reads too high by", "kg", -3, 3, 0.1, 0.0, "Process"),
        Slider("raw_pct", "The cold side's scale too high, %", "", -3, 3, 0.1, 0.0, "Process"),
        Slider(
            "scale_sd_g",
            "Doubt of every scale, 1 sd",
            "g",
            20,
            600,
            10,
            1000 * SCALE_SD_KG,
            "Process",
        ),
        Choice("scales", "Which weight on which scale", (APART, SHARED), APART, "What is shown"),
        Choice(
            "open",
            "A loss that nobody weighed is",
            (ON_THE_BOOKS, OPEN),
            ON_THE_BOOKS,
            "What is shown",
        ),
    )
    clean = {
        "start": CLOSED,
        "hole_kg": 0,
        "wrong_kg": 0,
        "raw_pct": 0,
        "scales": APART,
        "open": ON_THE_BOOKS,
    }
    return Panel(
        f"{sheet.name}: do the books close?",
        controls,
        compute,
        lambda checked, values, system: closing_view(checked, system, (INVENTED,)),
        closing_charts,
        {
            "Books that close": clean,
            "The scale at the bowl reads high": clean
            | {"weight": "out of chop", "wrong_kg": HOLE_KG},
            "The scale after the cook reads high": clean
            | {"weight": "out of cook", "wrong_kg": HOLE_KG},
            "Hole or scale? Nobody can tell": clean
            | {"where": "stuff to rest", "hole_kg": HOLE_KG},
            "Where two scales meet": clean | {"raw_pct": 1.5, "scales": SHARED},
            "Two at once: the demo batch": clean | {"start": AS_WEIGHED},
        },
    )


def _raw(entry) -> bool:
    """Weighed on the cold side's scale, up to where the batch leaves the rest."""
    return place_of(entry.stage, entry.kind) < place_of("cook", IN)


def _scales(entries: tuple[Entry, ...]) -> dict[str, str]:
    sides = [e for e in entries if e.kind not in ("in", "out", "giveaway")]
    return {weight.label: RAW if _raw(weight) else COOKED for weight in (*points(entries), *sides)}


def closing_charts(system: str) -> dict[str, dict]:
    return {"balances": charts.balances_chart(system), "suspects": charts.suspects_chart(system)}


def closing_view(checked: Checked, system: str, notes: tuple[str, ...] = ()) -> View:
    found = checked.found
    limit = float(-ndtri(found.alpha / 2))
    data, text = (
        {"balances": charts.balances_data(found, limit, system)},
        {"balances": charts.balances_text(found)},
    )
    if found.closes is False:
        data["suspects"], text["suspects"] = (
            charts.suspects_data(checked, system),
            charts.suspects_text(found),
        )
    return View(
        closing_sentence(checked, system),
        data,
        text,
        (
            *next_table(checked),
            *turn_table(checked, system),
            *cause_table(checked, system),
            weight_table(checked, system),
        ),
        (*notes, *checked.notes),
        checked.working,
        checked.sources,
        (HEAVY,),
    )

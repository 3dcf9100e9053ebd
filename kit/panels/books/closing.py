"""Do the books close? Plant a hole or a scale that reads wrong, and see which of them the balances can tell apart."""
from dataclasses import replace

from scipy.special import ndtri

from kit import units
from kit.chain import follow, ledger_of
from kit.chain.yields import USUAL, Checked, books_of, checks_of
from kit.charts import books as charts
from kit.lessons.books import SCALE_SD_KG, demo_sheet
from kit.panels.books.pieces import HEAVY, INVENTED, cause_table, closing_sentence, turn_table, weight_table
from kit.panels.panel import Choice, Panel, Slider, View
from kit.sheet import Sheet
from kit.yields import leaked, misread, points

CLOSED, AS_WEIGHED = "a batch with usual losses", "the demo batch as weighed"
OPEN, ON_THE_BOOKS = "left open", "put down as usual"
HOLE_KG = 1.5


def closing_panel(sheet: Sheet | None = None) -> Panel:
    """A hole at one place, a scale that reads wrong at another; what is missing where, and which cause explains it."""
    sheet = sheet or demo_sheet()
    weighed = ledger_of(sheet)
    usual = books_of(sheet, follow(sheet), cook_by=USUAL).expected_entries
    starts = {CLOSED: usual, AS_WEIGHED: weighed}
    stream = points(usual)
    stages = tuple(dict.fromkeys(p.stage for p in stream))
    places = tuple(word for a, b in zip(stages, (*stages[1:], "")) for word in ((a, f"{a} to {b}") if b else (a,)))

    def compute(values) -> Checked:
        entries = starts[values["start"]]
        entries = leaked(entries, values["where"], values["hole_kg"]) if values["hole_kg"] else entries
        entries = misread(entries, values["weight"], values["wrong_kg"]) if values["wrong_kg"] else entries
        return checks_of(_with_doubt(entries, values["scale_sd_kg"]), usual_losses=values["open"] == ON_THE_BOOKS, casing=sheet.process.casing)

    controls = (
        Choice("start", "Start from", tuple(starts), CLOSED, "Process"),
        Choice("where", "A hole at", places, "chop to stuff", "Process"),
        Slider("hole_kg", "Gone there, unwritten", "kg", 0, 4, 0.1, HOLE_KG, "Process"),
        Choice("weight", "A scale that reads wrong", tuple(p.label for p in stream), "out of cook", "Process"),
        Slider("wrong_kg", "It reads too high by", "kg", -3, 3, 0.1, 0.0, "Process"),
        Slider("scale_sd_kg", "Doubt of every scale (1 sd)", "kg", 0.02, 0.6, 0.02, SCALE_SD_KG, "Process"),
        Choice("open", "A loss that nobody weighed is", (ON_THE_BOOKS, OPEN), ON_THE_BOOKS, "What is shown"),
    )
    return Panel(f"{sheet.name}: do the books close?", controls, compute, lambda checked, values, system: closing_view(checked, system, (INVENTED,)),
                 closing_charts,
                 {"Books that close": {"hole_kg": 0, "wrong_kg": 0, "start": CLOSED, "open": ON_THE_BOOKS},
                  "The scale at the bowl reads high": {"weight": "out of chop", "wrong_kg": HOLE_KG, "hole_kg": 0, "start": CLOSED, "open": ON_THE_BOOKS},
                  "The scale after the cook reads high": {"weight": "out of cook", "wrong_kg": HOLE_KG, "hole_kg": 0, "start": CLOSED, "open": ON_THE_BOOKS},
                  "Hole or scale? Nobody can tell": {"where": "stuff to rest", "hole_kg": HOLE_KG, "wrong_kg": 0, "start": CLOSED, "open": ON_THE_BOOKS},
                  "Two at once: the demo batch": {"start": AS_WEIGHED, "hole_kg": 0, "wrong_kg": 0, "open": ON_THE_BOOKS}})


def _with_doubt(entries, sd_kg: float):
    return tuple(replace(entry, sd_kg=sd_kg) for entry in entries)


def closing_charts(system: str) -> dict[str, dict]:
    return {"balances": charts.balances_chart(system), "suspects": charts.suspects_chart(system)}


def closing_view(checked: Checked, system: str, notes: tuple[str, ...] = ()) -> View:
    found = checked.found
    limit = float(-ndtri(found.alpha / 2))
    data, text = {"balances": charts.balances_data(found, limit, system)}, {"balances": charts.balances_text(found)}
    if found.closes is False:
        data["suspects"], text["suspects"] = charts.suspects_data(checked, system), charts.suspects_text(found)
    after = f" Next: {found.suspects.next_step}" if found.closes is not True else ""
    return View(f"{closing_sentence(checked, system)}{after}", data, text,
                (*turn_table(checked, system), *((cause_table(checked, system),) if found.closes is False else ()), weight_table(checked, system)),
                (*notes, *checked.notes), checked.working, checked.sources, (HEAVY,))

"""One batch's books: change what was weighed, make a mistake on purpose, and see every yield beside what was expected."""

from kit import units
from kit.chain import follow, ledger_of
from kit.chain.yields import CHAIN, COOK_WAYS, LOSS, BooksOf, books_of
from kit.errors import need
from kit.lab.charts import books as charts
from kit.lab.charts import yields as yield_charts
from kit.lab.lessons.books import SCALE_SD_KG, demo_sheet
from kit.lab.panels.books.pieces import (
    HEAVY,
    INVENTED,
    NET_WEIGHT,
    base_table,
    look_at,
    percent,
    rests_table,
    stage_table,
)
from kit.lab.panels.panel import Choice, Panel, Slider, View
from kit.sheet import Sheet
from kit.yields import Entry, books, counted_twice, leaked, misread, with_side
from kit.yields.mistakes import POUNDS

NO_MISTAKE, TWICE, POUNDS_TYPED = (
    "none",
    "rework written as scrap as well",
    "the weight out of the cook typed in lb",
)
WAY = "chop to stuff"


def ledger_panel(sheet: Sheet | None = None) -> Panel:
    """The demo batch's ledger, stage by stage, on every base, beside what the chain and the trade led one to expect."""
    sheet = sheet or demo_sheet()
    followed, start = follow(sheet), ledger_of(sheet)
    kept = books(start)
    way = next((line.unexplained_kg for line in kept.handovers if line.name == WAY), None)
    need(
        way is not None,
        f"this panel needs the weights out of chop and into stuff; {sheet.name} lacks one of them",
    )
    chop, stuff, cook = (kept.stage(name) for name in ("chop", "stuff", "cook"))
    low, high = yield_charts.waterfall_range(kept)

    def compute(values) -> BooksOf:
        entries = with_side(start, "chop", "addition", values["added_kg"])
        entries = with_side(entries, "chop", "rework in", values["rework_in_kg"], SCALE_SD_KG)
        entries = leaked(entries, WAY, values["astray_kg"] - way)
        entries = with_side(entries, "stuff", "rework out", values["rework_out_kg"], SCALE_SD_KG)
        entries = leaked(entries, "cook", values["cook_lost_kg"] - cook.lost_kg)
        return books_of(
            sheet,
            followed,
            cook_by=values["cook_by"],
            entries=_mistaken(entries, values["mistake"]),
        )

    controls = (
        Slider(
            "rework_in_kg",
            "Rework of an earlier batch put in",
            "kg",
            0,
            10,
            0.1,
            chop.rework_in_kg,
            "Meat block",
        ),
        Slider("added_kg", "Ice and dry goods put in", "kg", 10, 45, 0.5, chop.added_kg, "Ice"),
        Slider(
            "astray_kg", "Gone unwritten, chop to stuff", "kg", 0, 6, 0.1, round(way, 6), "Process"
        ),
        Slider(
            "rework_out_kg",
            "Ends sent back at stuffing",
            "kg",
            0,
            6,
            0.1,
            stuff.rework_out_kg,
            "Process",
        ),
        Slider(
            "cook_lost_kg", "Lost in the cook", "kg", 3, 24, 0.1, round(cook.lost_kg, 6), "Process"
        ),
        Choice(
            "mistake",
            "A mistake in the records",
            (NO_MISTAKE, TWICE, POUNDS_TYPED),
            NO_MISTAKE,
            "Process",
        ),
        Choice("cook_by", "The cook is expected by", COOK_WAYS, CHAIN, "What is shown"),
        Choice(
            "base",
            "Yield is reckoned on the weight of",
            tuple(y.base for y in books_of(sheet, followed).yields),
            "meat block",
            "What is shown",
        ),
    )
    high += 0.2 * (high - low)
    return Panel(
        f"{sheet.name}: the books of one batch",
        controls,
        compute,
        lambda found, values, system: ledger_view(
            found, values["base"], system, high - 0.2 * (high - low), (INVENTED,)
        ),
        lambda system: ledger_charts(system, low, high, len(kept.rows)),
        {
            "Rework counted twice": {"mistake": TWICE},
            "Pounds typed as kilograms": {"mistake": POUNDS_TYPED},
            "A leak nobody wrote down": {"astray_kg": 4.5},
        },
    )


def _mistaken(entries: tuple[Entry, ...], mistake: str) -> tuple[Entry, ...]:
    if mistake == TWICE:
        return counted_twice(entries)
    if mistake == POUNDS_TYPED:
        out = sum(e.kg for e in entries if (e.stage, e.kind) == ("cook", "out"))
        return misread(entries, "out of cook", out * (POUNDS - 1))
    return entries


def ledger_charts(system: str, low: float, high: float, count: int) -> dict[str, dict]:
    return {
        "waterfall": yield_charts.waterfall_chart(system, low, high, count, clamp=True),
        "losses": charts.losses_chart(system),
        "yields": charts.yields_chart(system),
    }


def ledger_view(
    found: BooksOf,
    base: str,
    system: str,
    words_below_kg: float = float("inf"),
    notes: tuple[str, ...] = (),
) -> View:
    """The books of a BooksOf whose weighed books are there."""
    data = {
        "waterfall": yield_charts.waterfall_data(found.weighed, system, words_below_kg),
        "losses": charts.losses_data(found),
        "yields": charts.yields_data(found, base),
    }
    text = {
        "waterfall": yield_charts.waterfall_text(found.weighed),
        "losses": charts.losses_text(found),
        "yields": charts.yields_text(found),
    }
    return View(
        ledger_sentence(found, base, system),
        data,
        text,
        (
            *look_at(found, system),
            base_table(found),
            stage_table(found, system),
            rests_table(found),
        ),
        (*notes, *found.notes),
        found.working,
        found.sources,
        (HEAVY, NET_WEIGHT),
    )


def ledger_sentence(found: BooksOf, base: str, system: str) -> str:
    """The yield on the chosen base, the largest loss, and what nothing explains. A slip of unit comes first: after it no figure means anything."""
    books = found.weighed
    if found.slips:
        return (
            f"{found.slips[0].words(system)} Until that is settled no yield of this batch means anything"
            + (
                f"; {len(found.slips) - 1} other reading{'s' if len(found.slips) > 2 else ''} would fit as well."
                if len(found.slips) > 1
                else "."
            )
        )
    chosen = found.yield_on(base)
    largest = max((b for b in found.beside if b.kind == LOSS), key=lambda b: b.kg)
    expected = (
        f" ({percent(chosen.expected_pct)} expected, {chosen.low_pct:.1f} to {chosen.high_pct:.1f})"
        if chosen.expected_pct is not None
        else ""
    )
    unexplained = books.unexplained_kg
    words = (
        f"{units.show(unexplained, 'kg', system)} went where nobody wrote it down"
        if unexplained > 1e-6
        else f"{units.show(-unexplained, 'kg', system)} came from where nobody wrote it down"
        if unexplained < -1e-6
        else "every kilogram is written down"
    )
    gains = (
        f" ✗ {len(books.faults)} place{'s' if len(books.faults) > 1 else ''} gained weight with nothing added: look there first."
        if books.faults
        else ""
    )
    return (
        f"{chosen.of.capitalize()} weight is {percent(chosen.pct)} of the {base} weight{expected}. Most is lost in {largest.stage}: {units.show(largest.kg, 'kg', system)}; "
        f"{words}.{gains}"
    )

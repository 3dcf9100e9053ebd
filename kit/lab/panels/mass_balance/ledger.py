"""One batch's mass balance: change the weights, make a mistake, and see every yield."""

from kit import units
from kit.chain import follow
from kit.chain.expected_loss import COOK_WAYS, MODEL
from kit.chain.follow import ledger_of
from kit.chain.mass_balance import LOSS, SheetBalance, mass_balance_of
from kit.lab.charts import mass_balance as charts
from kit.lab.lessons.mass_balance import SCALE_SD_KG
from kit.lab.panels.controls import controls_of
from kit.lab.panels.mass_balance.pieces import (
    HEAVY,
    INVENTED,
    NET_WEIGHT,
    balance_tables,
    percent,
    plural,
)
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.sheets import demo_sheet
from kit.yields import WeightEntry, mass_balance
from kit.yields.ledger import REWORK_IN, REWORK_OUT
from kit.yields.mistakes import POUNDS, counted_twice, leaked, misread, with_side

NO_MISTAKE, TWICE = "none", "rework recorded as scrap as well"
POUNDS_TYPED = "weight out of the cook typed in lb"
WAY = "chop to stuff"


def ledger_panel() -> Panel:
    """The demo batch, stage by stage and on every basis, with the expected losses."""
    sheet = demo_sheet()
    followed, start = follow(sheet), ledger_of(sheet)
    kept = mass_balance(start)
    way = next(line.lost_kg for line in kept.transfers if line.stage == WAY)
    chop, stuff, cook = (kept.stage(name) for name in ("chop", "stuff", "cook"))
    low, high = charts.waterfall_range(kept)
    # room for what a slider drives out of the frame, whose words end inside it
    wide, words_below_kg = high + 0.2 * (high - low), high - 0.04 * (high - low)

    def compute(values) -> SheetBalance:
        entries = with_side(start, "chop", "addition", values["added_kg"])
        entries = with_side(entries, "chop", "rework in", values["rework_in_kg"], SCALE_SD_KG)
        entries = leaked(entries, WAY, values["astray_kg"] - way)
        entries = with_side(entries, "stuff", "rework out", values["rework_out_kg"], SCALE_SD_KG)
        entries = leaked(entries, "cook", values["cook_lost_kg"] - cook.lost_kg)
        entries = _mistaken(entries, values["mistake"])
        return mass_balance_of(sheet, followed, cook_by=values["cook_by"], entries=entries)

    def view(found: SheetBalance, values, system: str) -> View:
        return View(
            ledger_sentence(found, values["base"], system),
            {
                "waterfall": charts.waterfall_data(found.weighed, system, words_below_kg),
                "yields": charts.yields_data(found, values["base"]),
            },
            tables=balance_tables(found, system),
            notes=(INVENTED,),
            cautions=(HEAVY, NET_WEIGHT),
        ).of(found)

    bases = tuple(y.base for y in mass_balance_of(sheet, followed).yields)
    mistakes = NO_MISTAKE, TWICE, POUNDS_TYPED
    return Panel(
        f"{sheet.name}: mass balance of one batch",
        controls_of(
            "ledger",
            options={"mistake": mistakes, "cook_by": COOK_WAYS, "base": bases},
            rework_in_kg=chop.kg_of(REWORK_IN),
            added_kg=chop.added_kg,
            astray_kg=round(way, 6),
            rework_out_kg=stuff.kg_of(REWORK_OUT),
            cook_lost_kg=round(cook.lost_kg, 6),
            cook_by=MODEL,
            base="meat block",
        ),
        compute,
        view,
        {
            "waterfall": lambda system: charts.waterfall_chart(system, low, wide),
            "yields": charts.yields_chart,
        },
        {
            "Rework counted twice": {"mistake": TWICE},
            "Pounds typed as kilograms": {"mistake": POUNDS_TYPED},
            "An unrecorded loss": {"astray_kg": 4.5},
        },
    )


def _mistaken(entries: tuple[WeightEntry, ...], mistake: str) -> tuple[WeightEntry, ...]:
    if mistake == TWICE:
        return counted_twice(entries)
    if mistake == POUNDS_TYPED:
        out = sum(e.kg for e in entries if (e.stage, e.kind) == ("cook", "out"))
        return misread(entries, "out of cook", out * (POUNDS - 1))
    return entries


def ledger_sentence(found: SheetBalance, base: str, system: str) -> str:
    """Yield, largest loss, unrecorded loss. A wrong unit first: with it no figure is valid."""

    def shown(kg: float) -> str:
        return units.show(kg, "kg", system)

    balance, slips = found.weighed, found.slips
    if slips:
        said = "Until this is corrected, no yield of this batch is valid"
        others = f"; {plural(len(slips) - 1, 'other explanation')} would also fit"
        return f"{slips[0].words(system)} {said}{others if len(slips) > 1 else ''}."
    chosen, expected = found.yield_on(base), ""
    if chosen.expected:
        reach = f"{chosen.low_pct:.1f} to {chosen.high_pct:.1f}"
        expected = f" (expected {percent(chosen.expected.pct)}, range {reach})"
    largest = max((b for b in found.compared if b.kind == LOSS), key=lambda b: b.kg)
    gone = balance.unrecorded_kg
    words = "no unrecorded loss"
    if abs(gone) > 1e-6:
        words = f"unrecorded {'loss' if gone > 0 else 'gain'}: {shown(abs(gone))}"
    gains = f" ✗ {plural(len(balance.faults), 'place')} gained weight without an addition"
    return (
        f"{chosen.of.capitalize()} weight is {percent(chosen.weighed.pct)} of the {base} weight{expected}. "
        f"Largest loss: {largest.stage}, {shown(largest.kg)}; {words}."
        f"{f'{gains}: check these first.' if balance.faults else ''}"
    )

"""Words and rows that several panels of this lesson share."""

from kit import allergens, units
from kit.chain.chop import end_C_of
from kit.chain.emulsion import EmulsionAnswer, described
from kit.emulsion.calibrate import Calibration
from kit.emulsion.held import CAUTION, HeldBatter
from kit.emulsion.model import LIMITS, work_out
from kit.emulsion.parameters import defaults
from kit.errors import KitError
from kit.lab.charts import section
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.lessons.emulsion import BINDER
from kit.lab.panels.view import Row, Table, row
from kit.sheet import Sheet

TEACHING = "teaching model"
ONLY_TEACHING = (
    "A teaching model with a wide uncertainty: it gives margins, shares and ranges, and says of no batter that it will or will not hold. "
    "Published data support its sizes for salt, core temperature, phosphate and pH, only the order for fat against water and for collagen, and nothing for the "
    "kind of binder or oil. Cook and chill by your local code and a validated process."
)


def cautions() -> tuple[str, ...]:
    return ONLY_TEACHING, allergens.caution((BINDER,))


def limits_in_words(names) -> str:
    return _listed([LIMIT_WORDS[name] for name in names])


def _listed(words) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def kilograms(answer: EmulsionAnswer, grams: float, system: str, places: int | None = 1) -> str:
    """Grams of 100 g raw batter as kilograms of the batch, in words."""
    return units.show(answer.kg(grams), "kg", system, places)


def cook_out_words(answer: EmulsionAnswer, system: str) -> str:
    low, _, high = answer.cook_out_range_g["all"]
    out, water, fat, solids, low, high = (
        kilograms(answer, grams, system) for grams in (*answer.cook_out_g.values(), low, high)
    )
    batch = units.show(answer.batch_kg, "kg", system, 1)
    return (
        f"Of {batch} batter the predicted cook-out is {out} in the teaching model (90 % interval {low} to "
        f"{high}): {water} water, {fat} fat, {solids} solids."
    )


def margins_words(answer: EmulsionAnswer) -> str:
    held = answer.held
    margins, first = held.margins, held.fails_first
    if not held.below_edge:
        return f"Every margin is above 0; the first to go would be {LIMIT_WORDS[first]}, with {signed(margins[first])} in hand."
    worst_first = sorted(held.below_edge, key=margins.__getitem__)
    below = (f"{LIMIT_WORDS[limit]} ({signed(margins[limit])})" for limit in worst_first)
    return f"Past the edge: {', '.join(below)}."


def _compared(answer: EmulsionAnswer, system: str) -> dict[str, str]:
    """What each limit compares."""
    held, b = answer.held, answer.batter
    p = held.parameters
    best = [p.fats[kind].best_end_C for kind in b.fat_kind]
    ends = dict.fromkeys(units.show(t, "°C", system) for t in (min(best), max(best)))
    load, end = b.fat_pct / held.functional_protein_g, units.show(b.end_C, "°C", system)
    water = "this cook hardly sets the gel"
    if held.water_ratio_at_edge < 99:
        water = f"the edge is {held.water_ratio_at_edge:.2f}"
    return {
        "coverage": f"{held.dissolved_protein_g:.2f} g protein in solution; the drops ask for {held.film_protein_g:.2f} g",
        "temperature": f"chopping ends at {end}; best for {_listed(tuple(b.fat_kind))} fat: {' to '.join(ends)}",
        "fat load": f"{load:.2f} g fat on each g of protein that binds; the edge is {p.fat_load_limit:g}",
        "water": f"{held.water_ratio:.2f} g water on each g of meat protein; {water}",
    }


def margins_table(answer: EmulsionAnswer, system: str) -> Table:
    compared, spread, rows = _compared(answer, system), answer.spread, []
    for limit, margin in answer.held.margins.items():
        low, _, high = spread.margins[limit]
        rows.append(
            row(
                LIMIT_WORDS[limit],
                compared[limit],
                f"{signed(margin)} {'past the edge' if margin < 0 else 'in hand'}",
                f"{signed(low)} to {signed(high)}",
                f"{spread.below_edge_pct[limit]:.0f} of 100",
                mark="fails" if margin < 0 else "strong" if limit == answer.fails_first else "",
            )
        )
    return Table(
        "The four limits (margins have no unit; 0 is the edge of the model)",
        (
            "limit",
            "what is compared, in 100 g batter",
            "margin",
            "90 % interval",
            "draws past the edge",
        ),
        tuple(rows),
    )


def before_after_table(
    name: str, before: EmulsionAnswer, after: EmulsionAnswer, system: str
) -> Table:
    """One batch without and with a calibration."""
    both, rows = (before, after), []
    for words, part in (("cook-out", "all"), ("of that, fat", "fat")):
        rows.append(row(words, *(kilograms(each, each.cook_out_g[part], system) for each in both)))
    spans = (each.cook_out_range_g["all"] for each in both)
    rows.insert(1, row("90 % interval", *(f"{low:.1f} to {high:.1f} %" for low, _, high in spans)))
    for limit in LIMITS:
        margins = (signed(each.held.margins[limit]) for each in both)
        rows.append(row(f"margin of {LIMIT_WORDS[limit]}", *margins))
    return Table(f"{name}: before and after", ("", "before", "after"), tuple(rows))


def emulsion_rows(answer: EmulsionAnswer, system: str) -> tuple[Row, ...]:
    """Rows for an outcome table (what, value, limit, margin, source): cook-out, and the four margins."""
    rows = []
    for words, part in (("cook-out, before drying", "all"), ("of that, fat", "fat")):
        grams, (low, _, high) = answer.cook_out_g[part], answer.cook_out_range_g[part]
        kg, span = kilograms(answer, grams, system), f"90 % interval {low:.1f} to {high:.1f} %"
        rows.append(row(words, f"{kg} ({grams:.1f} %)", "", span, TEACHING))
    end = units.show(answer.batter.end_C, "°C", system)
    rows.append(row("chopping ends at", end, "", "", "sheet or slider"))
    for limit, margin in answer.held.margins.items():
        low, _, high = (signed(x) for x in answer.spread.margins[limit])
        first = ", first to go" if limit == answer.fails_first else ""
        state = "✗ past the edge" if margin < 0 else "in hand"
        rows.append(
            row(
                f"emulsion: {LIMIT_WORDS[limit]}{first}",
                signed(margin),
                "0 is the edge",
                f"{state}; 90 % interval {low} to {high}",
                TEACHING,
                mark="fails" if margin < 0 else "",
            )
        )
    return tuple(rows)


def section_of_held(held: HeldBatter) -> tuple[dict, dict[str, str]]:
    """Rows of the section through the heated gel, and the same in words, for the chart "section"."""
    return _section(held.batter, held, held.parameters)


def section_of_sheet(sheet: Sheet, calibration: Calibration | None) -> tuple[dict, dict[str, str]]:
    """The same for a slider that needs neither ranges nor steps; nothing where the sheet is no batter."""
    p = calibration.settle(defaults()) if calibration else defaults()
    try:
        batter = described(sheet, end_C=end_C_of(sheet)).batter
    except KitError:
        return {}, {}
    return _section(batter, work_out(batter, p), p)


def _section(batter, state, parameters) -> tuple[dict, dict[str, str]]:
    shown = section.section_of(batter, state, parameters)
    text = section.section_text(shown, LIMIT_WORDS[shown.first])
    return {"section": section.one_section_data(shown)}, {"section": text}


def plain_notes(notes) -> tuple[str, ...]:
    """Notes without the caution, which has a place of its own."""
    return tuple(note for note in notes if note != CAUTION)

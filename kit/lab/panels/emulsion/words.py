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
    "A teaching model with a wide uncertainty: it gives margins, shares and ranges; it does not predict whether a given batter will be stable. "
    "Published data support the size of its effects for salt, core temperature, phosphate and pH, only the order for fat in place of water and for collagen, and nothing for the "
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
        f"Predicted cook-out, teaching model: {out} of {batch} batter (90 % interval {low} to {high}): "
        f"{water} water, {fat} fat, {solids} solids."
    )


def margins_words(answer: EmulsionAnswer) -> str:
    held = answer.held
    margins, first = held.margins, held.fails_first
    if not held.below_edge:
        return f"All margins are positive; the smallest is {LIMIT_WORDS[first]}, {signed(margins[first])}."
    worst_first = sorted(held.below_edge, key=margins.__getitem__)
    below = (f"{LIMIT_WORDS[limit]} ({signed(margins[limit])})" for limit in worst_first)
    return f"Margin below 0: {', '.join(below)}."


def _compared(answer: EmulsionAnswer, system: str) -> dict[str, str]:
    """What each limit compares."""
    held, b = answer.held, answer.batter
    p = held.parameters
    best = [p.fats[kind].best_end_C for kind in b.fat_kind]
    ends = dict.fromkeys(units.show(t, "°C", system) for t in (min(best), max(best)))
    load, end = b.fat_pct / held.functional_protein_g, units.show(b.end_C, "°C", system)
    water = "limit undefined: the gel hardly sets in this cook"
    if held.water_ratio_at_edge < 99:
        water = f"limit {held.water_ratio_at_edge:.2f}"
    return {
        "coverage": f"dissolved protein {held.dissolved_protein_g:.2f} % of batter; needed for the film {held.film_protein_g:.2f} %",
        "temperature": f"final chopping temperature {end}; optimum for {_listed(tuple(b.fat_kind))} fat {' to '.join(ends)}",
        "fat load": f"fat : functional protein {load:.2f}; limit {p.fat_load_limit:g}",
        "water": f"water : meat protein {held.water_ratio:.2f}; {water}",
    }


def margins_table(answer: EmulsionAnswer, system: str) -> Table:
    compared, spread, rows = _compared(answer, system), answer.spread, []
    for limit, margin in answer.held.margins.items():
        low, _, high = spread.margins[limit]
        rows.append(
            row(
                LIMIT_WORDS[limit],
                compared[limit],
                f"✗ {signed(margin)}, below 0" if margin < 0 else signed(margin),
                f"{signed(low)} to {signed(high)}",
                f"{spread.below_edge_pct[limit]:.0f} %",
                mark="fails" if margin < 0 else "strong" if limit == answer.fails_first else "",
            )
        )
    return Table(
        "Margins of the four limits (no unit; 0 is the limit of the model)",
        ("limit", "compared values", "margin", "90 % interval", "samples below 0"),
        rows,
    )


def before_after_table(
    name: str, before: EmulsionAnswer, after: EmulsionAnswer, system: str
) -> Table:
    """One batch without and with a calibration."""

    def of(each: EmulsionAnswer) -> dict[str, str]:
        low, _, high = each.cook_out_range_g["all"]
        return {
            "cook-out": kilograms(each, each.cook_out_g["all"], system),
            "cook-out, 90 % interval (% of raw batter)": f"{low:.1f} to {high:.1f} %",
            "fat in the cook-out": kilograms(each, each.cook_out_g["fat"], system),
        } | {f"margin, {LIMIT_WORDS[limit]}": signed(each.held.margins[limit]) for limit in LIMITS}

    first, second = of(before), of(after)
    rows = ((what, said, second[what]) for what, said in first.items())
    return Table(f"{name}: before and after calibration", ("quantity", "before", "after"), rows)


def emulsion_rows(answer: EmulsionAnswer, system: str) -> tuple[Row, ...]:
    """Rows for an outcome table (what, value, limit, margin, source): cook-out, and the four margins."""
    rows = []
    for words, part in (
        ("predicted cook-out, without drying", "all"),
        ("fat in the cook-out", "fat"),
    ):
        grams, (low, _, high) = answer.cook_out_g[part], answer.cook_out_range_g[part]
        kg, span = kilograms(answer, grams, system), f"90 % interval {low:.1f} to {high:.1f} %"
        rows.append(row(words, f"{kg} ({grams:.1f} %)", "", span, TEACHING))
    end = units.show(answer.batter.end_C, "°C", system)
    rows.append(row("final chopping temperature", end, "", "", "sheet or slider"))
    for limit, margin in answer.held.margins.items():
        low, _, high = (signed(x) for x in answer.spread.margins[limit])
        first = " (smallest)" if limit == answer.fails_first else ""
        state = "✗ below 0" if margin < 0 else "above 0"
        rows.append(
            row(
                f"margin, {LIMIT_WORDS[limit]}{first}",
                signed(margin),
                "at least 0",
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
    return {"section": section.section_data(shown)}, {"section": text}


def plain_notes(notes) -> tuple[str, ...]:
    """Notes without the caution, which has a place of its own."""
    return tuple(note for note in notes if note != CAUTION)

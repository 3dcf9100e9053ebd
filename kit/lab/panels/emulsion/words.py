"""Words and rows that several panels of this lesson share."""

from kit import allergens, units
from kit.chain.emulsion import Holds
from kit.emulsion import CAUTION, LIMITS
from kit.emulsion.model import most_lost
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.lessons.emulsion import BINDER
from kit.lab.panels.view import Row, Table

TEACHING = "teaching model"
ONLY_TEACHING = (
    "A teaching model with a wide doubt: it gives margins, shares and ranges, and says of no batter that it will or will not hold. "
    "Published data support its sizes for salt, core temperature, phosphate and pH, only the order for fat against water and for collagen, and nothing for the "
    "kind of binder or oil. Cook and chill by your local code and a validated process."
)


def cautions() -> tuple[str, ...]:
    return ONLY_TEACHING, allergens.caution((BINDER,))


def limits_in_words(names) -> str:
    return _listed([LIMIT_WORDS[name] for name in names])


def _listed(words) -> str:
    return (
        "none"
        if not words
        else words[0]
        if len(words) == 1
        else ", ".join(words[:-1]) + " and " + words[-1]
    )


def leaves_words(holds: Holds, system: str) -> str:
    held, (low, _, high) = holds.held, (holds.kg(g) for g in holds.spread.total_out_g)
    batch, out, water, fat, solids = (
        units.show(kg, "kg", system, 1)
        for kg in (
            holds.batch_kg,
            *(
                holds.kg(g)
                for g in (held.total_out_g, held.water_out_g, held.fat_out_g, held.solids_out_g)
            ),
        )
    )
    return (
        f"Of {batch} batter the teaching model lets {out} leave in the cook (80 of 100 draws: {units.show(low, 'kg', system, 1)} to "
        f"{units.show(high, 'kg', system, 1)}): {water} water, {fat} fat, {solids} solids."
    )


def margins_words(holds: Holds) -> str:
    below, margins = holds.below_edge, holds.held.margins
    if below:
        return (
            "Past the edge: "
            + ", ".join(
                f"{LIMIT_WORDS[limit]} ({signed(margins[limit])})"
                for limit in sorted(below, key=margins.get)
            )
            + "."
        )
    return f"Every margin is above 0; the first to go would be {LIMIT_WORDS[holds.fails_first]}, with {signed(margins[holds.fails_first])} in hand."


def _compared(holds: Holds, limit: str, system: str) -> str:
    held, b = holds.held, holds.batter
    fats, p = _listed(tuple(b.fat_kind)), held.parameters
    best = [p.fats[kind].best_end_C for kind in b.fat_kind]
    best_words = " to ".join(
        dict.fromkeys(units.show(t, "°C", system) for t in (min(best), max(best)))
    )
    return {
        "coverage": f"{held.dissolved_protein_g:.2f} g protein in solution; the drops ask for {held.film_protein_g:.2f} g",
        "temperature": f"chopping ends at {units.show(b.end_C, '°C', system)}; best for {fats} fat: {best_words}",
        "fat load": f"{b.fat_pct / held.functional_protein_g:.2f} g fat on each g of protein that binds; the edge is {p.fat_load_limit:g}",
        "water": (
            f"{held.water_ratio:.2f} g water on each g of meat protein; the edge is {held.water_ratio_at_edge:.2f}"
            if held.water_ratio_at_edge < 99
            else f"{held.water_ratio:.2f} g water on each g of meat protein; this cook hardly sets the gel"
        ),
    }[limit]


def margins_table(holds: Holds, system: str) -> Table:
    rows = []
    for limit in LIMITS:
        margin, (low, _, high) = holds.held.margins[limit], holds.spread.margins[limit]
        rows.append(
            Row(
                (
                    LIMIT_WORDS[limit],
                    _compared(holds, limit, system),
                    f"{signed(margin)} past the edge"
                    if margin < 0
                    else f"{signed(margin)} in hand",
                    f"{signed(low)} to {signed(high)}",
                    f"{holds.spread.below_edge_pct[limit]:.0f} of 100",
                    f"{holds.spread.weakest_pct[limit]:.0f} of 100",
                ),
                "fails" if margin < 0 else "strong" if limit == holds.fails_first else "",
            )
        )
    return Table(
        "The four limits (margins have no unit; 0 is the edge of the model)",
        (
            "limit",
            "what is compared, in 100 g batter",
            "margin",
            "10 to 90 %",
            "draws past the edge",
            "draws where it is first",
        ),
        tuple(rows),
    )


def leaves_table(holds: Holds, system: str) -> Table:
    held, spread = holds.held, holds.spread
    parts = (
        ("water", held.water_out_g, spread.water_out_g, holds.batter.water_pct),
        ("fat", held.fat_out_g, spread.fat_out_g, holds.batter.fat_pct),
        ("solids", held.solids_out_g, spread.solids_out_g, None),
        ("all", held.total_out_g, spread.total_out_g, 100.0),
    )
    rows = tuple(
        Row(
            (
                what,
                f"{grams:.2f} %",
                units.show(holds.kg(grams), "kg", system),
                f"{low:.1f} to {high:.1f} %",
                f"{100 * grams / of:.1f} % of the {what if what != 'all' else 'batter'}"
                if of
                else "",
            ),
            "strong" if what == "all" else "",
        )
        for what, grams, (low, _, high), of in parts
    )
    rows += (
        Row(
            (
                "fat that would leave if nothing held it",
                f"{holds.batter.fat_pct * float(most_lost(holds.batter, held.parameters)):.1f} %",
                "",
                "",
                "",
            )
        ),
    )
    return Table(
        "What leaves in the cook, without what the house dries",
        ("what", "of the batter", "of this batch", "10 to 90 %", "share of what is there"),
        rows,
    )


def before_after_table(name: str, before: Holds, after: Holds, system: str) -> Table:
    """One batch without and with a calibration."""

    def pair(words, of):
        return Row((words, of(before), of(after)))

    def span(holds):
        low, _, high = holds.spread.total_out_g
        return f"{low:.1f} to {high:.1f} %"

    return Table(
        f"{name}: before and after",
        ("", "before", "after"),
        (
            pair(
                "leaves in the cook",
                lambda h: units.show(h.kg(h.held.total_out_g), "kg", system, 1),
            ),
            pair("10 to 90 % of the draws", span),
            pair("of that, fat", lambda h: units.show(h.kg(h.held.fat_out_g), "kg", system, 1)),
            *(
                pair(
                    f"margin of {LIMIT_WORDS[limit]}",
                    lambda h, limit=limit: signed(h.held.margins[limit]),
                )
                for limit in LIMITS
            ),
        ),
    )


def emulsion_rows(answer: Holds, system: str) -> tuple[Row, ...]:
    """Rows for an outcome table (what, value, limit, margin, source): what leaves, and the four margins."""
    held, (low, _, high) = answer.held, answer.spread.total_out_g
    rows = [
        Row(
            (
                "what leaves in the cook, before drying",
                f"{units.show(answer.kg(held.total_out_g), 'kg', system, 1)} ({held.total_out_g:.1f} %)",
                "",
                f"10 to 90 %: {low:.1f} to {high:.1f} %",
                TEACHING,
            )
        ),
        Row(
            (
                "of that, fat",
                f"{units.show(answer.kg(held.fat_out_g), 'kg', system, 1)} ({held.fat_out_g:.1f} %)",
                "",
                f"10 to 90 %: {answer.spread.fat_out_g[0]:.1f} to {answer.spread.fat_out_g[2]:.1f} %",
                TEACHING,
            )
        ),
        Row(
            (
                "chopping ends at",
                units.show(answer.batter.end_C, "°C", system),
                "",
                "",
                "sheet or slider",
            )
        ),
    ]
    for limit in LIMITS:
        margin, (low, _, high) = held.margins[limit], answer.spread.margins[limit]
        first = ", first to go" if limit == answer.fails_first else ""
        rows.append(
            Row(
                (
                    f"emulsion: {LIMIT_WORDS[limit]}{first}",
                    signed(margin),
                    "0 is the edge",
                    f"{'✗ past the edge' if margin < 0 else 'in hand'}; 10 to 90 %: {signed(low)} to {signed(high)}",
                    TEACHING,
                ),
                "fails" if margin < 0 else "",
            )
        )
    return tuple(rows)


def assumed_notes(holds: Holds) -> tuple[str, ...]:
    return tuple(f"assumed: {what}" for what in holds.described.assumed)


def plain_notes(notes) -> tuple[str, ...]:
    """Notes without the caution, which has a place of its own."""
    return tuple(note for note in notes if note != CAUTION)

"""What each loss of one batch costs, at the person's own prices."""

from dataclasses import dataclass, replace

from kit import units
from kit.chain import follow, ledger_of
from kit.chain.yields import BooksOf, books_of
from kit.lab.charts import books as charts
from kit.lab.lessons.books import PRICES, demo_sheet
from kit.lab.panels.books.pieces import HEAVY, INVENTED, NET_WEIGHT
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.sheet import Sheet
from kit.yields import Money, carried_prices, money

WATER, COST = "water: it costs nothing, the rest gets dearer", "batter: at what it has cost so far"


@dataclass(frozen=True)
class Valued:
    found: BooksOf
    money: Money
    sold_per_kg: float


def worth_panel(sheet: Sheet | None = None) -> Panel:
    """Money lost at each place. A lost kilogram has cost what was put in by then; a kilogram given away could have been sold."""
    sheet = sheet or demo_sheet()
    followed, start = follow(sheet), ledger_of(sheet)
    given = sum(e.kg for e in start if e.kind == "giveaway")

    def compute(values) -> Valued:
        entries = tuple(
            replace(e, kg=values["giveaway_kg"]) if e.kind == "giveaway" else e for e in start
        )
        found = books_of(sheet, followed, entries=entries)
        books = found.weighed
        steamed = (
            ["lost in cook"]
            if values["steam"] == WATER and any(row.label == "lost in cook" for row in books.rows)
            else []
        )
        prices = carried_prices(
            books,
            {
                "start": values["meat"],
                "addition": values["added"],
                "rework in": values["meat"],
                "giveaway": values["sold"],
            },
            free=steamed,
        )
        for row in books.rows:
            if row.kind == "scrap" and row.stage == "trim":
                prices[row.label] = max(prices[row.label] - values["scrap"], 0.0)
        priced = {
            label: price for label, price in prices.items() if not label.startswith("rework out")
        }
        return Valued(
            found,
            money(books, {k: v for k, v in priced.items() if k in _labels(books)}, sheet.currency),
            values["sold"],
        )

    controls = (
        Slider(
            "meat",
            "Meat at the door, per kg",
            "",
            0.5,
            12,
            0.1,
            PRICES["meat"],
            "Prices of your own",
        ),
        Slider(
            "added",
            "Ice and dry goods, per kg",
            "",
            0,
            4,
            0.1,
            PRICES["added"],
            "Prices of your own",
        ),
        Slider(
            "scrap",
            "What trimmings still fetch, per kg",
            "",
            0,
            4,
            0.1,
            PRICES["scrap"],
            "Prices of your own",
        ),
        Slider(
            "sold", "Product sold, per kg", "", 1, 25, 0.1, PRICES["sold"], "Prices of your own"
        ),
        Slider("giveaway_kg", "Above the labels, all packs", "kg", 0, 4, 0.1, given, "Giveaway"),
        Choice("steam", "What the cook drives off counts as", (COST, WATER), COST, "What is shown"),
    )
    return Panel(
        f"{sheet.name}: what the losses cost",
        controls,
        compute,
        worth_view,
        lambda system: {"worth": charts.worth_chart(system)},
        {
            "Packs four grams heavier each": {
                "giveaway_kg": round(given + 0.004 * _packs(sheet, start), 1)
            },
            "Steam counts as water": {"steam": WATER},
        },
    )


def _labels(books) -> set[str]:
    return {
        row.label
        for row in books.rows
        if row.kind
        in ("lost", "scrap", "sample", "unexplained", "giveaway", "start", "addition", "rework in")
    }


def _packs(sheet: Sheet, entries) -> float:
    packed = sum(e.kg for e in entries if (e.stage, e.kind) == ("pack", "out"))
    return packed / (sheet.process.pack_g / 1000) if sheet.process.pack_g else 0.0


def worth_view(valued: Valued, values, system) -> View:
    found, books, cost = valued.found, valued.found.weighed, valued.money
    ranked = sorted((w for w in cost.losses if w.money), key=lambda w: -w.money)
    first, total = ranked[0] if ranked else None, sum(w.money for w in ranked)
    grams = found.giveaway_g_per_pack
    per_pack = (
        f", {units.show(grams, 'g', system)} on every pack of {units.show(found.pack_g, 'g', system)}"
        if grams is not None
        else ""
    )
    share = (
        f"Dearest is {first.label}: {first.money:.2f}, {100 * first.money / total:.0f} % of all the money lost. "
        if first
        else "Nothing lost carries a price. "
    )
    sentence = (
        f"{share}Inputs cost {cost.input_money_per_packed_kg:.2f} for every kilogram packed. "
        f"Given away: {units.show(books.giveaway_kg or 0, 'kg', system)}{per_pack}."
    )
    rows = tuple(
        Row(
            (
                w.label,
                units.show(w.kg, "kg", system),
                "" if w.price_per_kg is None else f"{w.price_per_kg:.2f}",
                "no price" if w.money is None else f"{w.money:.2f}".replace("-", "−"),
                ""
                if w.money is None or not total
                else f"{100 * w.money / total:.1f} %".replace("-", "−"),
            ),
            "strong" if w is first else "",
        )
        for w in cost.losses
        if abs(w.kg) > 1e-9
    )
    inputs = tuple(
        Row(
            (w.label, units.show(w.kg, "kg", system), f"{w.price_per_kg:.2f}", f"{w.money:.2f}", "")
        )
        for w in cost.inputs
    )
    total_row = Row(
        (
            "all losses",
            units.show(sum(w.kg for w in cost.losses), "kg", system),
            "",
            f"{cost.lost_money:.2f}",
            "",
        ),
        "strong",
    )
    ask = (
        INVENTED,
        "Prices are where the sliders stand, invented and in no currency: put in your own.",
        "Rework sent back is good batter and costs nothing here but the work of doing it twice, which is not counted.",
        "Kilograms are not money: a kilogram lost late has cost more than one lost early, and one that steams off was partly ice.",
        *cost.notes,
    )
    return View(
        sentence,
        {"worth": charts.worth_data(cost, system)},
        {"worth": charts.worth_text(cost)},
        (
            Table(
                "What each loss cost",
                ("loss", "weight", "per kg", "money", "share"),
                (*rows, total_row),
            ),
            Table("What was paid for", ("input", "weight", "per kg", "money", ""), inputs),
        ),
        ask,
        cost.working,
        (*cost.sources, *found.sources),
        (NET_WEIGHT, HEAVY),
    )

"""What each loss of one batch costs, at the person's own prices."""

from dataclasses import replace

from kit import units
from kit.chain import follow
from kit.chain.follow import ledger_of
from kit.chain.mass_balance import SheetBalance, mass_balance_of
from kit.lab.charts import mass_balance as charts
from kit.lab.lessons.mass_balance import PRICES
from kit.lab.panels.mass_balance.pieces import HEAVY, INVENTED, NET_WEIGHT
from kit.lab.panels.panel import Choice, Panel, Slider, View
from kit.lab.panels.sheets import demo_sheet
from kit.yields import worth
from kit.yields.worth import Worth

WATER = "water: costs nothing, the rest gets dearer"
COST = "batter: at its cost so far"
STEAM = "lost in cook"
NOTES = (
    INVENTED,
    "Prices are where the sliders stand, invented and in no currency: put in your own.",
    "Rework sent back is good batter and costs nothing here but the work of doing it twice, "
    "which is not counted.",
    "Kilograms are not money: a kilogram lost late has cost more than one lost early, "
    "and one that steams off was partly ice.",
)


Valued = tuple[SheetBalance, Worth]


def worth_panel() -> Panel:
    """A lost kilogram has cost what was put in by then; one given away could have been sold."""
    sheet = demo_sheet()
    followed, start = follow(sheet), ledger_of(sheet)
    given = sum(e.kg for e in start if e.kind == "giveaway")
    packed = sum(e.kg for e in start if (e.stage, e.kind) == ("pack", "out"))
    packs = packed / (sheet.process.pack_g / 1000) if sheet.process.pack_g else 0.0

    def compute(values) -> Valued:
        kg = values["giveaway_kg"]
        entries = (replace(e, kg=kg) if e.kind == "giveaway" else e for e in start)
        found = mass_balance_of(sheet, followed, entries=entries)
        labels = [row.label for row in found.weighed.rows]
        free = [STEAM] if STEAM in labels and values["steam"] == WATER else []
        own = {"start": values["meat"], "addition": values["added"]}
        own |= {"rework in": values["meat"], "giveaway": values["sold"]}
        for w in worth(found.weighed, own, free).losses:
            if w.kind == "scrap" and w.label.endswith("trim"):
                own[w.label] = max(w.price_per_kg - values["scrap"], 0.0)
        return found, worth(found.weighed, own, free)

    own, fetch, sold = "Prices of your own", "What trimmings still fetch, per kg", PRICES["sold"]
    heavier = {"giveaway_kg": round(given + 0.004 * packs, 1)}
    drives_off = "What the cook drives off counts as"
    return Panel(
        f"{sheet.name}: what the losses cost",
        (
            Slider("meat", "Meat at the door, per kg", "", 0.5, 12, 0.1, PRICES["meat"], own),
            Slider("added", "Ice and dry goods, per kg", "", 0, 4, 0.1, PRICES["added"], own),
            Slider("scrap", fetch, "", 0, 4, 0.1, PRICES["scrap"], own),
            Slider("sold", "Product sold, per kg", "", 1, 25, 0.1, sold, own),
            Slider(
                "giveaway_kg", "Above the labels, all packs", "kg", 0, 4, 0.1, given, "Giveaway"
            ),
            Choice("steam", drives_off, (COST, WATER), COST, "What is shown"),
        ),
        compute,
        worth_view,
        lambda system: {"worth": charts.worth_chart(system)},
        {
            "Packs four grams heavier each": heavier,
            "Steam counts as water": {"steam": WATER},
        },
    )


def worth_view(valued: Valued, values, system: str) -> View:
    found, cost = valued
    ranked = sorted((w for w in cost.losses if w.money), key=lambda w: -w.money)
    first, total = ranked[0] if ranked else None, sum(w.money for w in ranked)

    def shown(kg: float) -> str:
        return units.show(kg, "kg", system)

    dearest = "No loss carries a price."
    if first:
        share = f"{100 * first.money / total:.0f} % of the cost of all losses"
        dearest = f"Costliest: {first.label}, {first.money:.2f} ({share})."
    grams, per_pack = found.giveaway_g_per_pack, ""
    if grams is not None:
        pack = units.show(found.pack_g, "g", system)
        per_pack = f", {units.show(grams, 'g', system)} on every pack of {pack}"
    return View(
        f"{dearest} All losses: {cost.lost_money:.2f}. Inputs cost {cost.input_money_per_packed_kg:.2f} for every kilogram packed. "
        f"Given away: {shown(found.weighed.giveaway_kg or 0)}{per_pack}.",
        {"worth": charts.worth_data(cost, system)},
        {},
        (),
        (*NOTES, *cost.notes),
        cost.working,
        (*cost.sources, *found.sources),
        (NET_WEIGHT, HEAVY),
    )

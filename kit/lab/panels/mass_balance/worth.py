"""What each loss of one batch costs, at the person's own prices."""

from dataclasses import replace

from kit import units
from kit.chain import follow
from kit.chain.follow import ledger_of
from kit.chain.mass_balance import SheetBalance, mass_balance_of
from kit.lab.charts import mass_balance as charts
from kit.lab.lessons.mass_balance import PRICES
from kit.lab.panels.controls import controls_of
from kit.lab.panels.mass_balance.pieces import HEAVY, INVENTED, NET_WEIGHT
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.sheets import demo_sheet
from kit.yields import worth
from kit.yields.worth import Worth

WATER = "water without value; the cost moves to the rest"
COST = "batter at its cost so far"
STEAM = "lost in cook"
NOTES = (
    INVENTED,
    "The starting prices are invented: enter your own, in your currency.",
    "Returned rework is good batter; its repeated labour is not counted.",
    "Weight is not cost: product lost late has cost more than product lost early, "
    "and evaporated water was partly ice.",
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

    heavier = {"giveaway_kg": round(given + 0.004 * packs, 1)}
    return Panel(
        f"{sheet.name}: cost of the losses",
        controls_of("worth", options={"steam": (COST, WATER)}, giveaway_kg=given, **PRICES),
        compute,
        worth_view,
        {"worth": charts.worth_chart},
        {"Each pack 4 g heavier": heavier, "Evaporation counts as water": {"steam": WATER}},
    )


def worth_view(valued: Valued, values, system: str) -> View:
    found, cost = valued
    ranked = sorted((w for w in cost.losses if w.money), key=lambda w: -w.money)
    first, total = ranked[0] if ranked else None, sum(w.money for w in ranked)

    def shown(kg: float) -> str:
        return units.show(kg, "kg", system)

    dearest = "No loss has a price."
    if first:
        share = f"{100 * first.money / total:.0f} % of the cost of all losses"
        dearest = f"Costliest loss: {first.label}, {first.money:,.2f} (your currency; {share})."
    inputs = float(units.to_shown(cost.input_money_per_packed_kg, "money/kg", system))
    grams, per_pack = found.giveaway_g_per_pack, ""
    if grams is not None:
        pack = units.show(found.pack_g, "g", system)
        per_pack = f", {units.show(grams, 'g', system)} in each pack of {pack}"
    return View(
        f"{dearest} All losses: {cost.lost_money:,.2f}. Inputs: {inputs:.2f} per {units.shown_unit('kg', system)} packed. "
        f"Giveaway: {shown(found.weighed.giveaway_kg or 0)}{per_pack}.",
        {"worth": charts.worth_data(cost, system)},
        notes=NOTES,
        sources=found.sources,
        cautions=(NET_WEIGHT, HEAVY),
    ).of(cost)

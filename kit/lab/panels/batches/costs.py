"""What it costs, at the person's own prices, and what this plant has already shown it can do without."""

from dataclasses import dataclass

from kit import units
from kit.batches.costs import Pareto, Recoverable, pareto, recoverable
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import CAUTION, INVENTED, table, weight_range
from kit.lab.panels.panel import Panel, Slider, View
from kit.reading.plant import demo_analysis

WATER, MEAT = ("rest", "cook", "chill"), ("receive", "thaw", "trim", "grind")
"""stages that lose mostly water, and stages that lose meat; every other line loses batter or product"""
NO_PRICES = "There are no prices in the kit. Those at the start are invented: put in your own. What a lost kilogram is worth depends on what it was when it was lost."
PRICES = (
    ("meat", "A kg lost as meat (trim, grind)", 4),
    ("product", "A kg lost as batter or product", 5),
    ("water", "A kg that dries off (cook, chill)", 0.8),
)


@dataclass(frozen=True)
class Costed:
    bars: Pareto
    back: tuple[Recoverable, ...]
    prices: dict[str, float]


def costs_panel() -> Panel:
    """Kilograms lost per line beside money lost, and each stage against its own best quarter."""
    weighed = demo_analysis().analysis.findings.cleaned
    back = tuple(recoverable(weighed, stage) for stage in weighed.stages)

    def compute(values) -> Costed:
        prices = {
            line: values["water" if line in WATER else "meat" if line in MEAT else "product"]
            for line in (*weighed.stages, *weighed.handovers())
        }
        return Costed(pareto(weighed, prices), back, prices)

    return Panel(
        "What does it cost?",
        tuple(
            Slider(key, label, "", 0, 20, 0.1, start, "Prices of your own, your money")
            for key, label, start in PRICES
        ),
        compute,
        costs_view,
        lambda system: {
            "weight": charts.pareto_chart(
                "By weight", "dark: 90 % interval; so far: with those above"
            ),
            "money": charts.pareto_chart("By money, at your prices", "amounts in your money"),
        },
        {
            "Every kilogram alike": {"meat": 3, "product": 3, "water": 3},
            "Water costs nothing": {"water": 0},
            "It is sold by weight": {"water": 6},
        },
    )


def costs_view(found: Costed, values, system) -> View:
    bars, by_kg = found.bars.bars, max(found.bars.bars, key=lambda b: b.kg)
    by_money = max(bars, key=lambda b: b.money)
    sentence = f"By weight {by_kg.name} comes first, with {units.show(by_kg.kg, 'kg', system, 0)}"
    worth = f"with {by_money.money:,.0f} of {found.bars.total_money:,.0f}."
    if by_money.money <= 0:
        sentence += "; at these prices nothing costs anything."
    elif by_money is by_kg:
        sentence += f", and by money too, {worth}"
    else:
        sentence += f"; by money it is {by_money.name}, {worth}"
    ranked = sorted(found.back, key=lambda r: -r.kg * found.prices[r.stage])
    sentence += f" Most to win back: {ranked[0].stage}, {units.show(ranked[0].kg, 'kg', system, 0)} beyond its own best quarter."
    quarters = table(
        "Beside this plant's own best stable quarter, the recipe's part taken off",
        (
            "stage",
            "mean loss",
            "best quarter",
            "beyond luck (90 % interval)",
            "in your money",
            "which quarter",
        ),
        (_line(r, found.prices[r.stage], system) for r in ranked),
    )
    of_quarters = (n for r in found.back for n in r.notes if not n.startswith("best stable run"))
    return View(
        sentence,
        {
            "weight": charts.pareto_data(found.bars, system, False),
            "money": charts.pareto_data(found.bars, system, True),
        },
        {},
        (quarters,),
        (*found.bars.notes, *of_quarters, NO_PRICES, INVENTED),
        (*found.bars.working[:3], *ranked[0].working),
        (*found.bars.sources, *(s for r in found.back for s in r.sources)),
        (CAUTION,),
    )


def _line(r: Recoverable, price: float, system: str) -> tuple[str, ...]:
    if r.best_pct is None:
        return (r.stage, f"{r.mean_pct:.2f} %", "none", "no quarter is stable", "", "")
    low, high = (end * price for end in r.kg_interval)
    return (
        r.stage,
        f"{r.mean_pct:.2f} %",
        f"{r.best_pct:.2f} %",
        weight_range(r.kg, r.kg_interval, system),
        f"{r.kg * price:,.0f} ({low:,.0f} to {high:,.0f})",
        f"batches {r.best_first + 1} to {r.best_last + 1}",
    )

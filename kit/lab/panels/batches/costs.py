"""What it costs, at the person's own prices, and what this plant has already shown it can do without."""

from dataclasses import dataclass
from functools import lru_cache

from kit import units
from kit.batches import Pareto, Recoverable, pareto, recoverable
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import CAUTIONS, INVENTED, weight_range
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.reading.plant import demo_analysis

WATER, MEAT = ("rest", "cook", "chill"), ("receive", "thaw", "trim", "grind")
"""stages that lose mostly water, and stages that lose meat; every other line loses batter or product"""
NO_PRICES = "There are no prices in the kit. Those at the start are invented: put in your own. What a lost kilogram is worth depends on what it was when it was lost."


@dataclass(frozen=True)
class Costed:
    bars: Pareto
    back: tuple[Recoverable, ...]
    prices: dict[str, float]


@lru_cache(maxsize=1)
def _back() -> tuple[Recoverable, ...]:
    table = demo_analysis().analysis.findings.cleaned
    return tuple(recoverable(table, stage) for stage in table.stages)


def costs_panel() -> Panel:
    """Kilograms lost per line beside money lost, and each stage against its own best quarter."""
    table = demo_analysis().analysis.findings.cleaned

    def compute(values) -> Costed:
        prices = {
            line: values["water" if line in WATER else "meat" if line in MEAT else "product"]
            for line in (*table.stages, *table.handovers())
        }
        return Costed(pareto(table, prices), _back(), prices)

    controls = (
        Slider(
            "meat",
            "A kg lost as meat (trim, grind)",
            "",
            0,
            20,
            0.1,
            4,
            "Prices of your own, your money",
        ),
        Slider(
            "product",
            "A kg lost as batter or product",
            "",
            0,
            20,
            0.1,
            5,
            "Prices of your own, your money",
        ),
        Slider(
            "water",
            "A kg that dries off (cook, chill)",
            "",
            0,
            20,
            0.1,
            0.8,
            "Prices of your own, your money",
        ),
    )
    return Panel(
        "What does it cost?",
        controls,
        compute,
        costs_view,
        lambda system: {
            "weight": charts.pareto_chart(
                "By weight", "dark: 95 % interval; so far: with those above"
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
    if by_money.money <= 0:
        sentence += "; at these prices nothing costs anything."
    else:
        sentence += (
            f", and by money too, with {by_money.money:,.0f} of {found.bars.total_money:,.0f}."
            if by_money is by_kg
            else f"; by money it is {by_money.name}, with {by_money.money:,.0f} of {found.bars.total_money:,.0f}."
        )
    ranked = sorted(found.back, key=lambda r: -r.kg * found.prices[r.stage])
    sentence += f" Most to win back: {ranked[0].stage}, {units.show(ranked[0].kg, 'kg', system, 0)} beyond its own best quarter."
    data = {
        "weight": charts.pareto_data(found.bars, system, False),
        "money": charts.pareto_data(found.bars, system, True),
    }
    text = {
        "weight": charts.pareto_text(found.bars, system, False),
        "money": charts.pareto_text(found.bars, system, True),
    }
    table = Table(
        "Beside this plant's own best stable quarter, the recipe's part taken off",
        (
            "stage",
            "mean loss",
            "best quarter",
            "beyond luck (90 % interval)",
            "in your money",
            "which quarter",
        ),
        tuple(_row(r, found.prices[r.stage], system) for r in ranked),
    )
    notes = dict.fromkeys(
        (
            *found.bars.notes,
            *(note for r in found.back for note in r.notes if not note.startswith("best quarter")),
            NO_PRICES,
            INVENTED,
        )
    )
    steps = (*found.bars.working[:3], *ranked[0].working)
    return View(
        sentence,
        data,
        text,
        (table,),
        tuple(notes),
        steps,
        tuple(dict.fromkeys((*found.bars.sources, *(s for r in found.back for s in r.sources)))),
        CAUTIONS,
    )


def _row(r: Recoverable, price: float, system: str) -> Row:
    if r.best_pct is None:
        return Row((r.stage, f"{r.mean_pct:.2f} %", "none", "no quarter is stable", "", ""))
    low, high = (end * price for end in r.kg_interval)
    money = f"{r.kg * price:,.0f} ({low:,.0f} to {high:,.0f})"
    return Row(
        (
            r.stage,
            f"{r.mean_pct:.2f} %",
            f"{r.best_pct:.2f} %",
            weight_range(r.kg, r.kg_interval, system),
            money,
            f"batches {r.best_first + 1} to {r.best_last + 1}",
        )
    )

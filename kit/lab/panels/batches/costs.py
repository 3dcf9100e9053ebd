"""What it costs, at the person's own prices, and what this plant has already shown it can do without."""

from dataclasses import dataclass, replace
from functools import partial

from kit import units
from kit.batches.costs import Pareto, Recoverable, pareto
from kit.batches.findings import priced
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import following, weight_range
from kit.lab.panels.batches.printed import findings_of
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.view import listing
from kit.reading.plant import Analysed

WATER, MEAT = ("rest", "cook", "chill"), ("receive", "thaw", "trim", "grind")
"""stages that lose mostly water, and stages that lose meat; every other line loses batter or product"""
NO_PRICES = "The starting prices are invented: enter your own, in your currency. The value of a loss depends on the stage at which it occurs."
FIRST = 4
"""stages shown unfolded"""


@dataclass(frozen=True, eq=False)
class Costed:
    """The records at the person's prices."""

    answer: Analysed
    prices: dict[str, float]

    @property
    def bars(self) -> Pareto:
        return self.answer.analysis.pareto


def at_prices(answer: Analysed, prices: dict[str, float]) -> Analysed:
    """The same records and findings, at these prices of a kilogram lost."""
    analysis, found = answer.analysis, answer.analysis.findings
    found = replace(found, findings=priced(found.findings, prices))
    cost = pareto(found.cleaned, prices)
    return replace(answer, analysis=replace(analysis, findings=found, pareto=cost))


def costs_panel(look: Panel | None = None) -> Panel:
    """Weight and cost lost per line of the records that `look` holds (none: the demo), and each stage against its own best stable run."""

    def compute(answer: Analysed, values) -> Costed:
        prices = {
            line: values["water" if line in WATER else "meat" if line in MEAT else "product"]
            for line in answer.table.lines()
        }
        return Costed(at_prices(answer, prices), prices)

    interval = "dark bar: 90 % interval; total: with those above"
    return following(
        look,
        "Cost of losses",
        lambda answer: controls_of("loss prices"),
        compute,
        costs_view,
        {
            "weight": lambda system: charts.pareto_chart("Losses by weight", interval),
            "money": lambda system: charts.pareto_chart(
                "Losses by cost, at your prices", "amounts in your currency"
            ),
        },
        {
            "Same price for every loss": {"meat": 3, "product": 3, "water": 3},
            "Water without value": {"water": 0},
            "Water sold as product": {"water": 6},
        },
    )


def costs_view(found: Costed, values, system) -> View:
    bars, by_kg = found.bars.bars, max(found.bars.bars, key=lambda b: b.kg)
    by_money = max(bars, key=lambda b: b.money)
    sentence = f"Largest loss by weight: {by_kg.name}, {units.show(by_kg.kg, 'kg', system, 0)}"
    worth = f"{by_money.money:,.0f} of {found.bars.total_money:,.0f} (your currency)."
    if by_money.money <= 0:
        sentence += "; at these prices no loss has a cost."
    elif by_money is by_kg:
        sentence += f"; also by cost, {worth}"
    else:
        sentence += f"; by cost: {by_money.name}, {worth}"
    back = found.answer.analysis.recoverable
    ranked = sorted(back, key=lambda r: -r.kg * found.prices[r.stage])
    if ranked and ranked[0].kg > 0:
        most = units.show(ranked[0].kg, "kg", system, 0)
        sentence += f" Largest recoverable loss: {ranked[0].stage}, {most} against its own best stable run; a finding compares before and after a change, this compares a stage with itself."

    def recovered(r: Recoverable) -> str:
        if r.best_pct is None:
            return "no stable run"
        return weight_range(r.kg, r.kg_interval, system)

    def money(r: Recoverable) -> str:
        cost, low, high = (kg * found.prices[r.stage] for kg in (r.kg, *r.kg_interval))
        return "" if r.best_pct is None else f"{cost:,.0f} ({low:,.0f} to {high:,.0f})"

    columns = {
        "stage": lambda r: r.stage,
        "mean loss": lambda r: f"{r.mean_pct:.2f} %",
        "loss of best stable run": lambda r: (
            "none" if r.best_pct is None else f"{r.best_pct:.2f} %"
        ),
        "recoverable (90 % interval)": recovered,
        "cost (your currency)": money,
        "best stable run": lambda r: (
            "" if r.best_pct is None else f"batches {r.best_first + 1} to {r.best_last + 1}"
        ),
    }
    caption = "Recoverable loss against the best stable run (25 % of batches), corrected for recipe"
    none = ("no stage has the batches that this takes",)
    quarters = [listing(caption, columns, ranked[:FIRST], none)]
    if ranked[FIRST:]:
        others = "Recoverable loss of the other stages"
        quarters.append(listing(others, columns, ranked[FIRST:], folded=True))
    of_quarters = (n for r in back for n in r.notes if not n.startswith("best stable run"))
    return View(
        sentence,
        {
            "weight": charts.pareto_data(found.bars, system, False),
            "money": charts.pareto_data(found.bars, system, True),
        },
        tables=tuple(quarters),
        notes=(*found.bars.notes, *of_quarters, NO_PRICES),
        steps=(*found.bars.working[:3], *(r for one in ranked[:1] for r in one.working)),
        sources=(*found.bars.sources, *(s for r in back for s in r.sources)),
        page=("findings_with_costs.html", partial(findings_of, found.answer, system)),
    )

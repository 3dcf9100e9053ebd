"""What it costs, at the person's own prices, and what this plant has already shown it can do without."""

from dataclasses import dataclass, replace
from functools import partial

from kit import units
from kit.batches.costs import Pareto, Recoverable, pareto
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import (
    CAUTION,
    records_of,
    weight_range,
    with_origin,
)
from kit.lab.panels.batches.printed import findings_of
from kit.lab.panels.panel import Panel, Slider, Table, View
from kit.reading.plant import Analysed

WATER, MEAT = ("rest", "cook", "chill"), ("receive", "thaw", "trim", "grind")
"""stages that lose mostly water, and stages that lose meat; every other line loses batter or product"""
NO_PRICES = "The starting prices are invented: enter your own, in your currency. The value of a loss depends on the stage at which it occurs."
FIRST = 4
"""stages shown unfolded"""
PRICES = (
    ("meat", "Price of meat lost (trim, grind)", 4),
    ("product", "Price of batter or product lost", 5),
    ("water", "Price of water lost (cook, chill)", 0.8),
)


@dataclass(frozen=True, eq=False)
class Costed:
    """The records at the person's prices."""

    answer: Analysed
    back: tuple[Recoverable, ...]
    prices: dict[str, float]

    @property
    def bars(self) -> Pareto:
        return self.answer.analysis.pareto


def priced(answer: Analysed, prices: dict[str, float]) -> Analysed:
    """The same records and findings, at these prices of a kilogram lost."""
    analysis = answer.analysis
    found = tuple(
        one
        if one.is_record_fault or one.stage not in prices
        else replace(one, money=one.kg * prices[one.stage])
        for one in analysis.findings.findings
    )
    cost = pareto(analysis.findings.cleaned, prices)
    findings = replace(analysis.findings, findings=found)
    return replace(answer, analysis=replace(analysis, findings=findings, pareto=cost))


def costs_panel(look: Panel | None = None) -> Panel:
    """Weight and cost lost per line of the records that `look` holds (none: the demo), and each stage against its own best stable run."""

    def compute(values) -> Costed:
        answer = records_of(look)
        analysis, weighed = answer.analysis, answer.table
        prices = {
            line: values["water" if line in WATER else "meat" if line in MEAT else "product"]
            for line in (*weighed.stages, *weighed.handovers())
        }
        back = tuple(line.recoverable for line in analysis.lines[:-1] if line.recoverable)
        return Costed(priced(answer, prices), back, prices)

    return Panel(
        "Cost of losses",
        tuple(
            Slider(key, label, "money/kg", 0, 20, 0.1, start, "Your prices")
            for key, label, start in PRICES
        ),
        compute,
        with_origin(look, costs_view),
        {
            "weight": lambda system: charts.pareto_chart(
                "Losses by weight", "dark bar: 90 % interval; total: with those above"
            ),
            "money": lambda system: charts.pareto_chart(
                "Losses by cost, at your prices", "amounts in your currency"
            ),
        },
        {
            "Same price for every loss": {"meat": 3, "product": 3, "water": 3},
            "Water without value": {"water": 0},
            "Water sold as product": {"water": 6},
        },
        follows=look,
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
    ranked = sorted(found.back, key=lambda r: -r.kg * found.prices[r.stage])
    if ranked and ranked[0].kg > 0:
        back = units.show(ranked[0].kg, "kg", system, 0)
        sentence += f" Largest recoverable loss: {ranked[0].stage}, {back} against its own best stable run; a finding compares before and after a change, this compares a stage with itself."
    columns = (
        "stage",
        "mean loss",
        "loss of best stable run",
        "recoverable (90 % interval)",
        "cost (your currency)",
        "best stable run",
    )
    lines = [_line(r, found.prices[r.stage], system) for r in ranked]
    caption = "Recoverable loss against the best stable run (25 % of batches), corrected for recipe"
    none = [("no stage has the batches that this takes", "", "", "", "", "")]
    quarters = [Table(caption, columns, lines[:FIRST] or none)]
    if lines[FIRST:]:
        quarters.append(
            Table("Recoverable loss of the other stages", columns, lines[FIRST:], folded=True)
        )
    of_quarters = (n for r in found.back for n in r.notes if not n.startswith("best stable run"))
    return View(
        sentence,
        {
            "weight": charts.pareto_data(found.bars, system, False),
            "money": charts.pareto_data(found.bars, system, True),
        },
        {},
        tuple(quarters),
        (*found.bars.notes, *of_quarters, NO_PRICES),
        (*found.bars.working[:3], *(r for one in ranked[:1] for r in one.working)),
        (*found.bars.sources, *(s for r in found.back for s in r.sources)),
        (CAUTION,),
        ("findings_with_costs.html", partial(findings_of, found.answer, system)),
    )


def _line(r: Recoverable, price: float, system: str) -> tuple[str, ...]:
    if r.best_pct is None:
        return (r.stage, f"{r.mean_pct:.2f} %", "none", "no stable run", "", "")
    low, high = (end * price for end in r.kg_interval)
    return (
        r.stage,
        f"{r.mean_pct:.2f} %",
        f"{r.best_pct:.2f} %",
        weight_range(r.kg, r.kg_interval, system),
        f"{r.kg * price:,.0f} ({low:,.0f} to {high:,.0f})",
        f"batches {r.best_first + 1} to {r.best_last + 1}",
    )

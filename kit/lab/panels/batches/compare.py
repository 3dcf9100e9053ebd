"""Two periods, smokehouses, suppliers or products side by side, and a target for one stage."""

import re

import numpy as np

from kit import units
from kit.batches.compare import COST, OTHERS, OVERALL, Compared, Comparison, compare
from kit.batches.groups import offered
from kit.batches.target import LossTarget, Met, met
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.costs import NO_PRICES, costs_panel
from kit.lab.panels.batches.pieces import first_stage, following, minus, records_of
from kit.lab.panels.batches.varies import VARY
from kit.lab.panels.panel import Choice, Panel, Slider, Table, View, row
from kit.lab.panels.view import listing
from kit.reading.plant import Analysed

ENOUGH = "Batches needed: so many in each group show a difference of this size in 80 of 100 comparisons, with a t test at 5 %."

PRICED = "Costs are at the prices set in the panel of costs."


Held = tuple[Comparison, Met]
"""two groups compared, and the target held against the records"""


def compare_panel(look: Panel | None = None, costs: Panel | None = None) -> Panel:
    """Two groups of batches of the records that `look` holds (none: the demo), line by line at the prices of `costs`, and a target for one stage."""
    priced = costs or costs_panel(look)

    def controls(answer: Analysed) -> tuple:
        weighed, start = answer.analysis.findings.cleaned, first_stage(answer)
        named = offered(weighed).items()
        groups = tuple((f"{name} ({count} batches)", name) for name, count in named)
        others = (("all others", OTHERS), *groups)
        lost = round(answer.analysis.line(start).mean_pct)
        return (
            Choice("first", "First group", groups, groups[0][1], "Groups compared"),
            Choice("second", "Second group", others, OTHERS, "Groups compared"),
            Choice("stage", "Stage", (*weighed.stages, OVERALL), start, "Target"),
            Slider("target", "Target loss", "%", 0, 40, 0.1, min(max(lost, 0), 40), "Target"),
        )

    def compute(answer: Analysed, values) -> Held:
        weighed, prices = answer.analysis.findings.cleaned, priced.result.prices
        return (
            compare(weighed, values["first"], values["second"], price_per_kg=prices),
            met(weighed, LossTarget(values["stage"], values["target"])),
        )

    return following(
        look,
        "Two groups compared, and a target",
        controls,
        compute,
        compare_view,
        {"differences": charts.differences_chart},
        lambda values: presets_of(records_of(look)),
        priced,
    )


def presets_of(answer: Analysed) -> dict[str, dict[str, str]]:
    """Comparisons that these records allow: the first and the last month (the halves where there is but one), the label of the first finding that names one against all others, and two groups of another label."""
    weighed = answer.analysis.findings.cleaned
    groups = [name for name, count in offered(weighed).items() if count > 1]
    if len(groups) < 2:
        return {}
    months = [name for name in groups if re.fullmatch(r"\d{4}-\d\d", name)]
    pairs = [(months[0], months[-1]) if len(months) > 1 else tuple(groups[:2])]
    first = dict.fromkeys((*VARY, *weighed.labels))
    named = (
        [f"{label} {one}" for one in np.unique(weighed.labels[label])]
        for label in first
        if label in weighed.labels
    )
    labelled = [held for one in named if len(held := [name for name in one if name in groups]) > 1]
    told = (" ".join(f.who) for f in answer.analysis.findings.findings if f.who)
    one = next((name for name in told if name in groups), labelled[0][0] if labelled else "")
    pairs += [(one, OTHERS)] if one else []
    pairs += [(held[0], held[1]) for held in labelled if one not in held][:1]
    said = ((a, b, "the others" if b == OTHERS else b) for a, b in pairs)
    return {
        f"{a[0].upper()}{a[1:]} against {other}": {"first": a, "second": b} for a, b, other in said
    }


def compare_view(held: Held, values, system) -> View:
    found, goal = held
    first, second = found.groups
    lines = {line.line: line for line in found.lines}
    total, cost, year = found.line(OVERALL), lines.pop(COST, None), found.batches_per_year
    many = found.in_second if year is None else round(year)
    off, target = total.difference.value, goal.target
    clear = [line.line for line in lines.values() if line.clear and line is not total]
    sentence = (
        f"Overall loss of {second}: {abs(off):.2f} percentage points {'above' if off > 0 else 'below'} that of {first} "
        f"({_interval(total, '90 % interval ')}), {units.show(abs(total.over()[0]), 'kg', system, 1)} per batch. "
        + (f"Clear differences: {', '.join(clear)}. " if clear else "No line differs clearly. ")
        + f"Target of {target.loss_pct:g} % at {target.name}: {goal.chance_in_words}."
    )

    def difference(line: Compared) -> str:
        clear = ", clear" if line.clear else ""
        return minus(f"{line.difference.value:+.2f} ({_interval(line)}){clear}")

    def money(line: Compared) -> str:
        if line is total and cost:
            return minus(f"{cost.over(many)[0]:,.0f}")
        price = line.price_per_kg
        return "" if price is None else minus(f"{line.over(many)[0] * price:,.0f}")

    def needed(line: Compared) -> str:
        n = line.batches_needed
        return "more than can be weighed" if n is None else f"{n:,}"

    def kilograms(line: Compared, batches: int, digits: int) -> str:
        return minus(units.show(line.over(batches)[0], "kg", system, digits))

    long = f"in {many:,} batches" if year is None else f"per year ({many:,} batches)"
    columns = {
        f"{first}; {second}": lambda line: minus("{:.2f}; {:.2f}".format(*line.means)),
        "difference (90 % interval)": difference,
        "per batch": lambda line: kilograms(line, 1, 2),
        long: lambda line: kilograms(line, many, 0),
        "cost of that (your currency)": money,
        "batches needed": needed,
    }

    def lines_of(caption: str, kind: str, kept, folded: bool) -> Table:
        return listing(
            caption,
            {kind: lambda line: line.line, **columns},
            kept,
            folded=folded,
            mark=lambda line: "strong" if line.clear or line is total else "",
        )

    between = [line for name, line in lines.items() if " to " in name]
    stages = [line for line in lines.values() if line not in between]
    losses = "Losses of two groups (%); difference: second less first, percentage points"
    folds = [lines_of("Transfers between stages", "transfer", between, True)] if between else []
    return View(
        sentence,
        {"differences": charts.differences_data(found)},
        tables=(
            lines_of(losses, "stage", stages, False),
            Table("Target", ("result",), (row(goal.sentence, mark="strong"),)),
            *folds,
        ),
        notes=(ENOUGH, PRICED, NO_PRICES),
    ).of(found, goal)


def _interval(line: Compared, named: str = "") -> str:
    if not line.difference.dof > 0:
        return f"no interval from one {line.unit}"
    return minus("{}{:+.2f} to {:+.2f}".format(named, *line.difference.interval))

"""Words and tables that several panels of the batches share."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from kit import units
from kit.batches.analysis import Analysis
from kit.batches.costs import Pareto, Recoverable
from kit.batches.expected import NEAR, counted
from kit.batches.findings import Finding, odds
from kit.errors import KitError, need
from kit.lab.panels.panel import Panel, Table, View
from kit.reading.plant import Analysed, demo_analysis

CAUTION = (
    "Statistics of losses only: they do not show that a product is safe or a process valid. Change no cook, chill, cure or cleaning step because of a yield "
    "finding without your validated process, your local code and licensed practice."
)
INVENTED = "The demo records are invented: 120 batches of a plant that does not exist, with two simulated causes and one change of recipe."


def view(sentence: str, data, text, tables, results, notes=()) -> View:
    """The view of these results, with what they were made from."""
    return View(
        sentence,
        data,
        text,
        tables,
        (*(note for one in results for note in one.notes), *notes),
        tuple(line for one in results for line in one.working),
        tuple(source for one in results for source in one.sources),
        (CAUTION,),
    )


def minus(text: str) -> str:
    return text.replace("-", "−")


def recipe_starts(analysis: Analysis) -> dict[str, tuple[int, ...]]:
    """{stage: batches (0-based) at which its yield changed together with the recipe's expected yield}."""
    return {r.of: r.recipe_changes for r in analysis.residuals}


def largest_recoverable(analysis: Analysis) -> Recoverable | None:
    """The stage that is farthest above its own best stable run, in kilograms."""
    found = [line.recoverable for line in analysis.lines[:-1] if line.recoverable]
    most = max(found, key=lambda one: one.kg, default=None)
    return most if most and most.kg > 0 else None


def records_of(look: Panel | None) -> Analysed:
    """The records chosen in the panel at the top of the page, or the demo where there is none. KitError where they cannot be used yet."""
    if look is None:
        return demo_analysis()
    answer = None if look.error else look.result.answer
    need(
        isinstance(answer, Analysed),
        "the records chosen at the top of the page cannot be used yet; see there what is asked or wrong",
        KitError,
    )
    return answer


def first_stage(answer: Analysed) -> str:
    """The stage of the first finding, else the cook, else the last."""
    stages = answer.table.stages
    named = (*(f.stage for f in answer.analysis.findings.findings), "cook")
    return next((stage for stage in named if stage in stages), stages[-1])


def with_origin(look: Panel | None, view: Callable[[Any, Mapping, str], View]):
    """The view, and that the records are invented where they are the demo's."""

    def shown(found, values, system) -> View:
        seen = view(found, values, system)
        own = look is not None and look.result.asked is not None
        return seen if own else replace(seen, notes=(*seen.notes, INVENTED))

    return shown


def is_recipe(start: int, starts) -> bool:
    """Whether a new level from this batch (0-based) is where the recipe changed."""
    return any(abs(start - k) <= NEAR for k in starts)


def weight_range(kg: float, interval, system: str) -> str:
    low, high = (f"{units.to_shown(end, 'kg', system):,.0f}" for end in interval)
    return minus(f"{units.show(kg, 'kg', system, 0)} ({low} to {high})")


def _lost(finding: Finding, system: str) -> str:
    if finding.is_record_fault:
        return f"mass balance wrong by {units.show(abs(finding.kg), 'kg', system, 0)}"
    low, high = sorted(finding.kg_interval or (finding.kg, finding.kg))
    if finding.kg <= 0:
        low, high = -high, -low
    lost = f"{weight_range(abs(finding.kg), (low, high), system)} {'more' if finding.kg > 0 else 'less'}"
    return lost if finding.money is None else minus(f"{lost}; {finding.money:,.0f} (your currency)")


def report_tables(analysis: Analysis, system: str, recipes=None) -> tuple[Table, ...]:
    """Findings, evidence, recipes where their sheets were given, and every stage in one line.

    `recipes`: what `recipe_starts` gives, to mark a change of recipe that was taken for one of the process.
    """
    found = analysis.findings
    first, evidence = [], []
    for n, f in enumerate(found.findings, 1):
        named = "" if f.start is None else analysis.table.own_name(f.start)
        sentence = f"{f.sentence} ({named[0].upper()}{named[1:]}.)" if named else f.sentence
        if recipes and f.cause == "step" and is_recipe(f.start, recipes.get(f.stage, ())):
            sentence = f"✗ {sentence} The recipe changed at this batch."
        first.append((str(n), sentence, _lost(f, system), odds(f.chance), f.next_measurement))
        evidence.append((str(n), minus(f.evidence), f.uncertainty))
    stages = [
        (
            line.name,
            f"{line.mean_pct:.2f} %",
            f"{line.sd_points:.2f}",
            "" if line.chart is None else str(len({a.at for a in line.chart.alarms})),
            line.new_levels,
            ""
            if line.recoverable is None
            else weight_range(line.recoverable.kg, line.recoverable.kg_interval, system),
        )
        for line in analysis.lines
    ]
    beside = [
        (
            r.of,
            minus(f"{r.bias:+.1f}"),
            f"{max(r.explained_pct, 0):.0f} %",
            counted(r.recipe_changes),
            counted(r.process_changes),
        )
        for r in analysis.residuals
    ]
    return (
        Table(
            "Findings, largest first",
            (
                "number",
                "finding",
                "loss (90 % interval)",
                "chance from random variation",
                "next measurement",
            ),
            first or [("", found.verdict, "", "", "Continue weighing.")],
        ),
        Table(
            "Evidence and uncertainty",
            ("number", "evidence", "uncertainty"),
            evidence or [("", "no finding", "")],
            folded=True,
        ),
        Table(
            "Yields corrected for recipe changes",
            (
                "yield of",
                "weighed less expected (percentage points)",
                "variation explained by recipes",
                "recipe change at batch",
                "process change at batch",
            ),
            beside or [("", "no recipe sheet given", "", "", "")],
            folded=True,
        ),
        Table(
            "Losses by stage",
            (
                "stage",
                "mean loss",
                "standard deviation (percentage points)",
                "points out of control",
                "new level from batch",
                "recoverable (90 % interval)",
            ),
            stages,
            folded=True,
        ),
    )


def kilograms_table(found: Pareto, system: str) -> Table:
    """Every line that lost or gained weight, largest first; money where a price was given."""
    columns = ["stage", "loss (90 % interval)", f"share by {found.by}"]
    lines = [
        [b.name, weight_range(b.kg, b.kg_interval, system), f"{b.pct_of_all:.1f} %"]
        for b in found.bars
    ]
    if found.total_money is not None:
        columns.append("cost (your currency)")
        for line, b in zip(lines, found.bars):
            line.append("" if b.money is None else minus(f"{b.money:,.0f}"))
    return Table("Losses by stage and transfer", tuple(columns), lines)

"""Words and tables that several panels of the batches share."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from kit import units
from kit.batches.analysis import Analysis, StageReport
from kit.batches.costs import Bar, Pareto, Recoverable
from kit.batches.expected import NEAR, counted
from kit.batches.findings import Finding, odds
from kit.errors import KitError, need
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.view import listing
from kit.reading.plant import Analysed, demo_analysis

CAUTION = (
    "Statistics of losses only: they do not show that a product is safe or a process valid. Change no cook, chill, cure or cleaning step because of a yield "
    "finding without your validated process, your local code and licensed practice."
)
INVENTED = "The demo records are invented: 120 batches of a plant that does not exist, with two simulated causes and one change of recipe."


def minus(text: str) -> str:
    return text.replace("-", "−")


def recipe_starts(analysis: Analysis) -> dict[str, tuple[int, ...]]:
    """{stage: batches (0-based) at which its yield changed together with the recipe's expected yield}."""
    return {r.of: r.recipe_changes for r in analysis.residuals}


def largest_recoverable(analysis: Analysis) -> Recoverable | None:
    """The stage that is farthest above its own best stable run, in kilograms."""
    most = max(analysis.recoverable, key=lambda one: one.kg, default=None)
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


def following(
    look: Panel | None,
    title: str,
    controls: Callable[[Analysed], Sequence],
    compute: Callable[[Analysed, Mapping], Any],
    view: Callable[[Any, Mapping, str], View],
    charts: Mapping[str, Callable[[str], dict]],
    presets: Mapping[str, Mapping] | Callable[[Mapping], Mapping[str, Mapping]] | None = None,
    after: Panel | None = None,
) -> Panel:
    """A panel on the records that `look` holds (none: the demo, which it then says), with the caution of all of them.

    after: a panel that follows `look` itself, where this one follows that.
    """

    def shown(found, values, system) -> View:
        seen = view(found, values, system)
        own = look is not None and look.result.asked is not None
        notes = seen.notes if own else (*seen.notes, INVENTED)
        return replace(seen, notes=notes, cautions=(CAUTION,))

    return Panel(
        title,
        lambda values: controls(records_of(look)),
        lambda values: compute(records_of(look), values),
        shown,
        charts,
        presets,
        follows=after or look,
    )


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

    def said(f: Finding) -> str:
        named = "" if f.start is None else analysis.table.own_name(f.start)
        sentence = f"{f.sentence} ({named[0].upper()}{named[1:]}.)" if named else f.sentence
        if recipes and f.cause == "step" and is_recipe(f.start, recipes.get(f.stage, ())):
            return f"✗ {sentence} The recipe changed at this batch."
        return sentence

    def out_of_control(line: StageReport) -> str:
        return "" if line.chart is None else str(len({a.at for a in line.chart.alarms}))

    def new_levels(line: StageReport) -> str:
        found = line.changes
        return "not looked for" if found is None else counted(line.rows[list(found.starts)])

    def recovered(line: StageReport) -> str:
        back = line.recoverable
        return "" if back is None else weight_range(back.kg, back.kg_interval, system)

    return (
        listing(
            "Findings, largest first",
            {
                "finding": said,
                "loss (90 % interval)": lambda f: _lost(f, system),
                "chance from random variation": lambda f: odds(f.chance),
                "next measurement": lambda f: f.next_measurement,
            },
            found.findings,
            (found.verdict, "", "", "Continue weighing."),
            numbered=True,
        ),
        listing(
            "Evidence and uncertainty",
            {"evidence": lambda f: minus(f.evidence), "uncertainty": lambda f: f.uncertainty},
            found.findings,
            ("no finding",),
            numbered=True,
            folded=True,
        ),
        listing(
            "Yields corrected for recipe changes",
            {
                "yield of": lambda r: r.of,
                "weighed less expected (percentage points)": lambda r: minus(f"{r.bias:+.1f}"),
                "variation explained by recipes": lambda r: f"{max(r.explained_pct, 0):.0f} %",
                "recipe change at batch": lambda r: counted(r.recipe_changes),
                "process change at batch": lambda r: counted(r.process_changes),
            },
            analysis.residuals,
            ("no recipe sheet given",),
            folded=True,
        ),
        listing(
            "Losses by stage",
            {
                "stage": lambda line: line.name,
                "mean loss": lambda line: f"{line.mean_pct:.2f} %",
                "standard deviation (percentage points)": lambda line: f"{line.sd_points:.2f}",
                "points out of control": out_of_control,
                "new level from batch": new_levels,
                "recoverable (90 % interval)": recovered,
            },
            analysis.lines,
            folded=True,
        ),
    )


def kilograms_table(found: Pareto, system: str) -> Table:
    """Every line that lost or gained weight, largest first; money where a price was given."""
    columns: dict[str, Callable[[Bar], str]] = {
        "stage": lambda bar: bar.name,
        "loss (90 % interval)": lambda bar: weight_range(bar.kg, bar.kg_interval, system),
        f"share by {found.by}": lambda bar: f"{bar.pct_of_all:.1f} %",
    }
    if found.total_money is not None:
        columns["cost (your currency)"] = lambda bar: (
            "" if bar.money is None else minus(f"{bar.money:,.0f}")
        )
    return listing("Losses by stage and transfer", columns, found.bars)

"""Words and tables that several panels of the batches share."""

import numpy as np

from kit import units
from kit.batches import Analysis, Finding
from kit.batches.page import CAUTION
from kit.lab.panels.panel import Row, Table
from kit.reading.plant import Analysed, demo_analysis

CAUTIONS = (CAUTION,)
INVENTED = "The demo records are invented: 120 batches of a plant that does not exist, with two planted causes and one change of recipe."
NAMES = {
    "fat_pct": "fat, %",
    "water_pct": "water, %",
    "binder_pct": "binder, %",
    "chop_end_C": "end of chopping",
    "cook_C": "air of the house",
    "cook_end_C": "core at the end",
    "humidity_pct": "humidity of the house, %",
    "diameter_mm": "diameter",
    "chill_C": "air of the chill",
}
"""process columns as a person calls them"""
UNITS = {"_C": "K", "_mm": "mm"}


def unit_of(column: str) -> str:
    """The kit's unit of a step in this column; '' for a share."""
    return next((unit for end, unit in UNITS.items() if column.endswith(end)), "")


def stepped(column: str, step: float, system: str) -> str:
    unit = unit_of(column)
    return units.show(step, unit, system) if unit else f"{step:.2g} points"


def demo_stages() -> tuple[str, ...]:
    return demo_analysis().table.stages


def recipe_starts(answer: Analysed) -> dict[str, tuple[int, ...]]:
    """{stage: batches (0-based) at which its yield stepped together with what the recipe lets expect}."""
    return {r.of: r.recipe_changes for r in answer.analysis.residuals}


def is_recipe(finding: Finding, starts, near: int = 3) -> bool:
    """Whether a lasting step found without the yardstick is where the recipe changed."""
    return finding.cause == "step" and any(
        abs(finding.start - k) <= near for k in starts.get(finding.stage, ())
    )


def kilograms(finding: Finding, system: str) -> str:
    if finding.is_record_fault:
        return f"books wrong by {units.show(abs(finding.kg), 'kg', system, 0)}"
    more = "more" if finding.kg > 0 else "less"
    low, high = sorted(finding.kg_interval or (finding.kg, finding.kg))
    return f"{weight_range(abs(finding.kg), (low, high) if finding.kg > 0 else (-high, -low), system)} {more}"


def weight_range(kg: float, interval, system: str) -> str:
    low, high = (f"{units.to_shown(end, 'kg', system):,.0f}" for end in interval)
    return f"{units.show(kg, 'kg', system, 0)} ({low} to {high})".replace("-", "−")


def noise(chance: float) -> str:
    return "less than 1 in 10,000" if chance < 1e-4 else f"1 in {1 / chance:,.0f}"


def findings_table(analysis: Analysis, system: str, recipes=None) -> Table:
    """Look here first. `recipes`: what `recipe_starts` gives, to mark a change of recipe that was taken for one of the process."""
    rows = []
    for n, f in enumerate(analysis.findings.findings, 1):
        wrong = recipes is not None and is_recipe(f, recipes)
        named = "" if f.start is None else analysis.table.own_name(f.start)
        sentence = f"{f.sentence} ({named[0].upper()}{named[1:]}.)" if named else f.sentence
        rows.append(
            Row(
                (
                    str(n),
                    f"✗ {sentence} The recipe changed there." if wrong else sentence,
                    kilograms(f, system),
                    noise(f.chance),
                    f.next_measurement,
                ),
                "fails" if wrong else "",
            )
        )
    if not rows:
        rows = [Row(("", analysis.findings.verdict, "", "", "Weigh on."))]
    return Table(
        "Look here first",
        (
            "",
            "finding",
            "lost by it (95 % interval)",
            "noise alone does as well",
            "what to measure next",
        ),
        tuple(rows),
    )


def evidence_table(analysis: Analysis) -> Table:
    return Table(
        "Evidence and doubt",
        ("", "evidence", "doubt"),
        tuple(
            Row((str(n), f.evidence, f.doubt)) for n, f in enumerate(analysis.findings.findings, 1)
        ),
        folded=True,
    )


def stages_table(analysis: Analysis, system: str) -> Table:
    """Every stage in one line."""
    rows = []
    for line in analysis.lines:
        moved = (
            "not looked for"
            if line.changes is None
            else ", ".join(str(int(line.rows[k]) + 1) for k in line.changes.starts) or "none"
        )
        back = (
            ""
            if line.recoverable is None
            else weight_range(line.recoverable.kg, line.recoverable.kg_interval, system)
        )
        rows.append(
            Row(
                (
                    line.name,
                    f"{line.mean_pct:.2f} %",
                    f"{line.sd_points:.2f}",
                    "" if line.chart is None else str(len({a.at for a in line.chart.alarms})),
                    moved,
                    back,
                )
            )
        )
    return Table(
        "Stage by stage",
        (
            "stage",
            "mean loss",
            "scatter, points",
            "batches with an alarm",
            "new level from batch",
            "beyond the best quarter (90 % interval)",
        ),
        tuple(rows),
        folded=True,
    )


def recipes_table(answer: Analysed) -> tuple[Table, ...]:
    """Weighed beside expected yields; empty where no sheet was given."""
    rows = tuple(
        Row(
            (
                r.of,
                f"{r.bias:+.1f}".replace("-", "−"),
                f"{max(r.explained_pct, 0):.0f} %",
                *(
                    ", ".join(str(k + 1) for k in starts) or "none"
                    for starts in (r.recipe_changes, r.process_changes)
                ),
            )
        )
        for r in answer.analysis.residuals
    )
    return (
        (
            Table(
                "Beside what the recipes let expect",
                (
                    "yield of",
                    "weighed less expected, points",
                    "of the variation, explained by recipes",
                    "recipe changed at batch",
                    "process changed at batch",
                ),
                rows,
            ),
        )
        if rows
        else ()
    )


def marks(analysis: Analysis) -> list[tuple[int, int]]:
    """(number of the finding, batch at which it begins), for those that have a beginning."""
    return [
        (n, f.start) for n, f in enumerate(analysis.findings.findings, 1) if f.start is not None
    ]


def span_words(table) -> str:
    dates = table.dates
    if dates is None or np.isnat(dates).all():
        return f"{table.n} batches"
    return f"{table.n} batches, {np.nanmin(dates).astype('datetime64[D]')} to {np.nanmax(dates).astype('datetime64[D]')}"

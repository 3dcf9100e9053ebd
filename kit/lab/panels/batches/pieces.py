"""Words and tables that several panels of the batches share."""

from kit import units
from kit.batches.analysis import Analysis
from kit.batches.findings import Finding
from kit.batches.page import CAUTION
from kit.lab.panels.panel import Row, Table, View
from kit.reading.plant import Analysed

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


def table(caption: str, columns: tuple[str, ...], lines, folded: bool = False) -> Table:
    """A table of plain lines. One with a cell that begins with ✗ is drawn strong."""
    rows = (
        Row(tuple(line), "fails" if any(cell.startswith("✗") for cell in line) else "")
        for line in lines
    )
    return Table(caption, columns, tuple(rows), folded)


def view(sentence: str, data, text, tables, results, notes=(INVENTED,)) -> View:
    """The view of these results, with what they were made from."""
    return View(
        sentence,
        data,
        text,
        tables,
        (*(note for one in results for note in one.notes), *notes),
        tuple(line for one in results for line in one.working),
        tuple(source for one in results for source in one.sources),
        CAUTIONS,
    )


def minus(text: str) -> str:
    return text.replace("-", "−")


def unit_of(column: str) -> str:
    """The kit's unit of a step in this column; '' for a share."""
    return "K" if column.endswith("_C") else "mm" if column.endswith("_mm") else ""


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
        return f"mass balance wrong by {units.show(abs(finding.kg), 'kg', system, 0)}"
    more = "more" if finding.kg > 0 else "less"
    low, high = sorted(finding.kg_interval or (finding.kg, finding.kg))
    return f"{weight_range(abs(finding.kg), (low, high) if finding.kg > 0 else (-high, -low), system)} {more}"


def weight_range(kg: float, interval, system: str) -> str:
    low, high = (f"{units.to_shown(end, 'kg', system):,.0f}" for end in interval)
    return minus(f"{units.show(kg, 'kg', system, 0)} ({low} to {high})")


def noise(chance: float) -> str:
    return "less than 1 in 10,000" if chance < 1e-4 else f"1 in {1 / chance:,.0f}"


def findings_table(analysis: Analysis, system: str, recipes=None) -> Table:
    """Look here first. `recipes`: what `recipe_starts` gives, to mark a change of recipe that was taken for one of the process."""
    lines = []
    for n, f in enumerate(analysis.findings.findings, 1):
        wrong = recipes is not None and is_recipe(f, recipes)
        named = "" if f.start is None else analysis.table.own_name(f.start)
        sentence = f"{f.sentence} ({named[0].upper()}{named[1:]}.)" if named else f.sentence
        sentence = f"✗ {sentence} The recipe changed there." if wrong else sentence
        lines.append((str(n), sentence, kilograms(f, system), noise(f.chance), f.next_measurement))
    columns = (
        "",
        "finding",
        "lost by it (95 % interval)",
        "noise alone does as well",
        "what to measure next",
    )
    nothing = ("", analysis.findings.verdict, "", "", "Weigh on.")
    return table("Look here first", columns, lines or [nothing])


def evidence_table(analysis: Analysis) -> Table:
    found = enumerate(analysis.findings.findings, 1)
    lines = [(str(n), f.evidence, f.uncertainty) for n, f in found]
    return table("Evidence and doubt", ("", "evidence", "uncertainty"), lines, folded=True)


def stages_table(analysis: Analysis, system: str) -> Table:
    """Every stage in one line."""
    columns = (
        "stage",
        "mean loss",
        "scatter, points",
        "batches with an alarm",
        "new level from batch",
        "beyond the best quarter (90 % interval)",
    )
    lines = [
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
    return table("Stage by stage", columns, lines, folded=True)


def recipes_table(answer: Analysed) -> tuple[Table, ...]:
    """Weighed beside expected yields; empty where no sheet was given."""
    if not answer.analysis.residuals:
        return ()
    lines = [
        (r.of, minus(f"{r.bias:+.1f}"), f"{max(r.explained_pct, 0):.0f} %", *r.told_starts)
        for r in answer.analysis.residuals
    ]
    columns = (
        "yield of",
        "weighed less expected, points",
        "of the variation, explained by recipes",
        "recipe changed at batch",
        "process changed at batch",
    )
    return (table("Beside what the recipes let expect", columns, lines),)


def marks(analysis: Analysis) -> list[tuple[int, int]]:
    """(number of the finding, batch at which it begins), for those that have a beginning."""
    return [
        (n, f.start) for n, f in enumerate(analysis.findings.findings, 1) if f.start is not None
    ]

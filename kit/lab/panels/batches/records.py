"""Records of many batches: what was understood of them, what is wrong with them, what each stage loses, and where to look first."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from kit import units
from kit.batches import i_mr
from kit.batches.analysis import Analysis, StageReport
from kit.errors import Faulty, OutOfRange
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import (
    CAUTION,
    INVENTED,
    recipe_starts,
    report_tables,
    table,
)
from kit.lab.panels.panel import File, Panel, Slider, Switch, View
from kit.lab.panels.sheets import faults_view, read_uploaded
from kit.reading.plant import Analysed, analysed, demo_analysis
from kit.reading.records import Mapping, draft_mapping, read_mapping, read_records

SHEETS = ("sheet_1", "sheet_2")
SHOWN = 12
"""faults and findings of the records listed at most; a set-aside file holds them all"""


@dataclass(frozen=True, eq=False)
class Opened:
    mapping: Mapping
    answer: Analysed | Faulty


@lru_cache(maxsize=8)
def opened(
    content: bytes, name: str, mapping: bytes | None, sheets: tuple[tuple[str, bytes], ...]
) -> Opened:
    """One file with its mapping (drafted if None) and sheets, each named as the recipe it holds.

    Faults of the file as a whole come back instead of an answer, so that they can be listed.
    """
    drafted = draft_mapping(content, name)
    if mapping is not None:
        drafted = read_mapping(mapping.decode("utf-8", "replace") + "\n")
    if drafted.questions:
        return Opened(drafted, Faulty(name, [asked.fault for asked in drafted.questions]))
    recipes = {Path(file).stem: read_uploaded(file, held) for file, held in sheets}
    try:
        return Opened(drafted, analysed(read_records(content, drafted, name=name), recipes=recipes))
    except Faulty as error:
        return Opened(drafted, error)


def records_panel() -> Panel:
    """What each stage loses over time, and where to look first: the invented records, or a file of the person's own.

    A mapping and the sheets of one or two recipes may be chosen beside the file; those of the invented records are in place.
    """

    def compute(values) -> Opened:
        mapping = values["mapping"] and values["mapping"][1]
        sheets = tuple(values[key] for key in SHEETS if values[key])
        if values["records"]:
            name, content = values["records"]
            return opened(content, name, mapping, sheets)
        if mapping or sheets:
            raise OutOfRange(
                "a mapping and sheets belong to a file of your own; choose your records first"
            )
        answer = demo_analysis(values["recipe"])
        return Opened(answer.records.mapping, answer)

    files, shown, records = "Your files", "What is shown", ".csv,.tsv,.txt,.xlsx,.parquet"
    return Panel(
        "Losses across batches: findings",
        (
            Switch("recipe", "Correct the demo for recipe changes", True, shown),
            Slider("over", "Batches averaged in the chart", "", 1, 30, 1, 8, shown),
            File("records", "Plant records (CSV, XLSX, Parquet)", records, files),
            File("mapping", "Edited mapping (TOML)", ".toml", files),
            *(
                File(key, f"Recipe sheet {n} (TOML, CSV, XLSX)", group=files)
                for n, key in enumerate(SHEETS, 1)
            ),
        ),
        compute,
        records_view,
        lambda system: {
            "share": charts.share_chart(system),
            "control": charts.control_chart(system),
        },
        {
            "Ignore the recipe change": {"recipe": False},
            "Single batches": {"over": 1},
        },
    )


def records_view(found: Opened, values, system) -> View:
    answer, own = found.answer, bool(values["records"])
    mapped = table(
        "How the columns were read (write_mapping writes a file to edit)",
        ("column", "read as", "reason"),
        found.mapping.lines(),
        folded=True,
    )
    if isinstance(answer, Faulty):
        return faults_view(answer, "These records", (CAUTION,), (mapped,))
    analysis, weighed, report = answer.analysis, answer.table, answer.records.report
    recipes = None
    if not own and not values["recipe"]:
        recipes = recipe_starts(demo_analysis().analysis)
    first, *others = report_tables(analysis, system, recipes)
    lost = units.show(float(np.nansum(weighed.lost_kg)), "kg", system, 0)
    share = float(np.nansum(weighed.loss_share_pct, axis=1).mean())
    sentence = (
        f"{'' if own else 'Demo records, invented: '}{report.rows_used:,} of {report.rows_read:,} rows used, {report.rows_set_aside:,} set aside; "
        f"{weighed.span}: loss {lost}, {share:.1f} % of the weight in. First finding: {analysis.findings.verdict}"
    )
    if any(row.mark for row in first.rows):
        sentence += " The recipe changed at this batch."
    told = enumerate(analysis.findings.findings, 1)
    marks = [(n, f.start) for n, f in told if f.start is not None]
    data = {"share": charts.share_data(weighed, int(values["over"]), marks)}
    text = {"share": charts.share_text(weighed)}
    line = _worth_a_chart(analysis)
    if line:
        starts = line.changes.starts if line.changes else ()
        chart = i_mr(line.loss_pct[line.rows], phase_starts=starts, unit="percentage points")
        data["control"] = charts.control_data(chart, line.changes, line.rows, weighed.batches)
        text["control"] = f"{line.name}: {charts.control_text(chart, line.changes, line.rows)}"
        sentence += f" Second chart: loss of {line.name}, with control limits for each level."
    wrong = table(
        "Faults and suspect values in the records",
        ("row", "fault", "remedy"),
        _wrong(answer.records) or [("", "none found", "")],
    )
    understood = table(
        "How the file was read",
        ("read as",),
        ((line,) for line in (*str(report).splitlines(), *answer.notes)),
        folded=True,
    )
    return View(
        sentence,
        data,
        text,
        (first, wrong, *others, understood, mapped),
        (*analysis.notes, *(() if own else (INVENTED,))),
        answer.working[:40],
        answer.sources,
        (CAUTION,),
    )


def _wrong(records) -> list[tuple[str, ...]]:
    """Faults of rows, then findings, at most SHOWN of each."""
    lines = [
        (f"row {one.row}, {one.column}" if one.column else f"row {one.row}", one.what, one.remedy)
        for one in records.faults[:SHOWN]
    ]
    odd = _gathered(records.findings)
    lines += odd[:SHOWN]
    more = max(len(records.faults) - SHOWN, 0) + max(len(odd) - SHOWN, 0)
    if more:
        how = "write_set_aside writes the rows set aside into a file of their own"
        lines.append(("", f"{more:,} more", how))
    return lines


def _gathered(findings) -> list[tuple[str, ...]]:
    """One line for each batch and kind of finding: a row that was copied whole would else be told once for every weight in it."""
    by: dict[tuple, list] = {}
    for one in findings:
        by.setdefault((one.batch, one.kind, one.remedy), []).append(one.what)
    lines = []
    for (batch, kind, remedy), what in by.items():
        more = f"; and {len(what) - 3} more like it" if len(what) > 3 else ""
        lines.append((f"batch {batch}", f"{kind}: {'; '.join(what[:3])}{more}", remedy))
    return lines


def _worth_a_chart(analysis: Analysis) -> StageReport | None:
    """The stage of the first finding that has a chart; else everything together."""
    lines = {line.name: line for line in analysis.lines if line.chart is not None}
    wanted = (*(f.stage for f in analysis.findings.findings), "overall")
    return next((lines[name] for name in wanted if name in lines), None)

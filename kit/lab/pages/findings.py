"""The findings across batches on one page that stands alone and prints: HTML without script, link or font. Everything a person wrote is escaped."""

from collections.abc import Iterable
from html import escape

import numpy as np

from kit.batches import BatchTable
from kit.batches.analysis import Analysis
from kit.batches.findings import Finding
from kit.lab import pages
from kit.lab.pages import Markup, filled, listed
from kit.lab.panels.batches.pieces import CAUTION, kilograms_table, report_tables
from kit.lab.panels.view import Table
from kit.stages import STAGES
from kit.units import METRIC

TITLE = "Findings across batches"
LINES, LONGEST = 8, 240
"""notes and lines of a table printed at most, and signs of one of them, so that two sheets hold the page"""
_WIDE, _HIGH, _LEFT, _TOP, _FOOT = 340, 112, 34, 8, 16
"""a chart, its room for figures at the left, and above and below the dots; px"""
DOT = 25
"""radius of a dot times the root of the batches: many batches get small dots"""


def findings_html(
    analysis: Analysis, title: str = TITLE, notes: Iterable[str] = (), system: str = METRIC
) -> str:
    """The page as text: findings, stages, weight and cost, notes and sources. `notes`: of the reading, beside those of the analysis."""
    table, found = analysis.table, analysis.findings.findings
    charts = Markup("".join(_chart(n, one, table) for n, one in enumerate(found, 1)))
    grids = [*map(_grid, report_tables(analysis, system))]
    grids.append(_grid(kilograms_table(analysis.pareto, system), LINES))
    return filled(
        "findings.html",
        title=title,
        head=_cut(title),
        table=table,
        stages=", ".join(table.stages),
        last=table.batches[-1],
        caution=CAUTION,
        verdict=_cut(analysis.findings.verdict),
        charts=filled("findings_charts.html", charts=charts) if found else "",
        tables=Markup("\n".join(grids)),
        notes=listed("Notes", _few(dict.fromkeys((*notes, *analysis.notes)))),
        sources=listed("Sources", _few(analysis.sources)),
    )


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} …"


def _few(lines: Iterable[str]) -> list[str]:
    lines = list(lines)
    return [*map(_cut, lines[:LINES]), *_more(len(lines) - LINES)]


def _more(rest: int) -> list[str]:
    return [f"{rest} more, in the tables that are saved"] if rest > 0 else []


def series_of(finding: Finding, table: BatchTable) -> tuple[str, np.ndarray]:
    """What shows a finding batch by batch: its name, and a value in % for each batch."""
    places = [at for at, scale in table.scales.items() if scale == finding.scale]
    stage, side = places[0] if places else (finding.stage, "out")
    between = finding.scale or finding.cause.endswith("on the way")
    j = table.place(stage) - (side == "in")
    if between and 0 <= j < len(table.stages) - 1:
        return f"missing from {table.handovers()[j]}, %", table.missing_pct[:, j]
    j = table.place(stage)
    corrected = ", corrected for recipe" if j in table.expected_stages() else ""
    return f"loss at {stage}, %{corrected}", table.judged_loss_pct[:, j]


def _chart(number: int, finding: Finding, table: BatchTable) -> str:
    """A dot for each batch, those of the finding filled; the mean of both kinds."""
    name, y = series_of(finding, table)
    seen = np.isfinite(y)
    touched = np.isin(np.arange(table.n), finding.touched_batches)
    low, high = (float(end) for end in (y[seen].min(), y[seen].max())) if seen.any() else (0.0, 1.0)
    high += (high == low) * 1.0

    def across(k: float) -> str:
        return f"{_LEFT + 4 + (_WIDE - _LEFT - 8) * k / max(table.n - 1, 1):.1f}"

    def up(value: float) -> str:
        return f"{_HIGH - _FOOT - (_HIGH - _FOOT - _TOP) * (value - low) / (high - low):.1f}"

    dots = [
        f"<circle cx='{across(k)}' cy='{up(y[k])}' r='{DOT / max(table.n, 120) ** 0.5:.1f}' fill='{'#c8551b' if touched[k] else 'white'}' stroke='#5b6470' stroke-width='.8'/>"
        for k in np.flatnonzero(seen)
    ]
    means = []
    for kind in (touched, ~touched) if touched.sum() > 1 else ():
        at = np.flatnonzero(kind & seen)
        if at.size:
            level = up(float(y[at].mean()))
            means.append(
                f"<line x1='{across(at[0])}' x2='{across(at[-1])}' y1='{level}' y2='{level}' stroke='#111' stroke-width='1.5'/>"
            )
    ends = "".join(
        f"<text x='{_LEFT - 4}' y='{up(value)}' dy='3' text-anchor='end'>{f'{value:.1f}'.replace('-', '−')}</text>"
        for value in (low, high)
    )
    days = table.dates is not None and not np.isnat(table.dates[[0, -1]]).any()
    names = (
        [str(day)[:10] for day in table.dates[[0, -1]]] if days else ["batch 1", f"batch {table.n}"]
    )
    ends += f"<text x='{_LEFT}' y='{_HIGH - 3}'>{names[0]}</text><text x='{_WIDE}' y='{_HIGH - 3}' text-anchor='end'>{names[1]}</text>"
    frame = f"<path d='M{_LEFT} {_TOP - 4}V{_HIGH - _FOOT + 4}H{_WIDE}' fill='none' stroke='#888'/>"
    said = escape(f"{number}. {name}")
    return f"<figure><figcaption>{said}</figcaption><svg viewBox='0 0 {_WIDE} {_HIGH}' role='img' aria-label='{said}'>{frame}{''.join((*means, *dots))}{ends}</svg></figure>"


def _grid(table: Table, most: int = len(STAGES) + 1) -> str:
    lines = [row.cells for row in table.rows[:most]]
    lines += [(line,) for line in _more(len(table.rows) - most)]
    head, *rows = ([_cut(cell) for cell in cells] for cells in (table.columns, *lines))
    return f"<h2>{escape(table.caption)}</h2>{pages.table(head, rows)}"

"""The findings on one page that stands alone and prints: HTML without script, link or font. Everything a person wrote is escaped."""

from html import escape
from pathlib import Path

import numpy as np

from kit.batches.analysis import Analysis, StageReport
from kit.files import put

CAUTION = (
    "Statistics of losses only. Nothing here says that a product is safe or a process valid. Change no cook, chill, cure or cleaning step because of a yield "
    "finding without your validated process, your local code and licensed practice."
)
_STYLE = """
@page { size: A4; margin: 12mm } body { font: 11px/1.35 sans-serif; color: #111; max-width: 190mm; margin: 10px auto; padding: 0 8px }
h1 { font-size: 19px; margin: 0 } h2 { font-size: 14px; margin: 12px 0 3px; border-bottom: 1px solid #999; break-after: avoid } p { margin: 3px 0 }
table { border-collapse: collapse; width: 100% } td, th { text-align: left; vertical-align: top; padding: 2px 8px 2px 0; border-bottom: 1px dotted #bbb }
td.n, th.n { text-align: right } li { margin: 3px 0; break-inside: avoid } .first { font-size: 13px; font-weight: bold }
.caution { border: 2px solid #111; padding: 4px 8px; margin: 6px 0; font-weight: bold } .small { font-size: 9.5px; color: #333 } svg { width: 100%; height: auto }
"""
_W, _H, _L, _B = 720, 118, 44, 18


def findings_html(analysis: Analysis, title: str = "Findings across batches", notes=()) -> str:
    """The page as text: findings first, then each stage, money, what was tried and what it rests on. `notes`: of the reading, beside those of the analysis."""
    table, found, bars = analysis.table, analysis.findings, analysis.pareto
    first = "".join(
        f"<li><span class='first'>{escape(f.sentence)}</span>{escape(_named(f, table))}<br>Evidence: {escape(f.evidence)}.<br>{escape(_cost(f))}<br>Doubt: {escape(f.uncertainty)}.<br>"
        f"Next: {escape(f.next_measurement)}</li>"
        for f in found.findings
    )
    touched = {f.stage for f in found.findings}
    drawn = "".join(
        _drawing(line) for line in analysis.lines if line.name in touched and line.chart
    ) or "".join(_drawing(line) for line in analysis.lines if line.name == "overall" and line.chart)
    return (
        "\n".join(
            (
                f"<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'><title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
                f"<h1>{escape(title)}</h1><p>{escape(_span(table))}</p><p class='caution'>{escape(CAUTION)}</p>",
                "<h2>Look here first</h2>"
                + (
                    f"<ol>{first}</ol>"
                    if first
                    else f"<p class='first'>{escape(found.verdict)}</p>"
                ),
                drawn,
                "<h2>Stage by stage</h2>"
                + _grid(
                    (
                        "stage",
                        "mean loss, %",
                        "scatter, points",
                        "alarms on its chart",
                        "level changes at batch",
                        "beyond the best quarter, kg",
                    ),
                    [_line(line) for line in analysis.lines],
                ),
                f"<h2>Where the kilograms go{'' if bars.by == 'kg' else ', by money'}</h2>"
                + _grid(
                    (
                        "where",
                        "kg lost",
                        "95 % interval, kg",
                        "share, %",
                        *(("at your price",) if bars.total_money is not None else ()),
                    ),
                    [_bar(b, bars.total_money is not None) for b in bars.bars if abs(b.kg) > 1e-9],
                ),
                _recipes(analysis),
                _list("What to keep in mind", dict.fromkeys((*notes, *analysis.notes))),
                _list("Sources", analysis.sources),
                "</body></html>",
            )
        )
        + "\n"
    )


def findings_page(
    analysis: Analysis,
    path,
    *,
    title: str = "Findings across batches",
    notes=(),
    overwrite: bool = False,
) -> Path:
    """Write the page as .html, whole or not at all. KitError if the file exists and `overwrite` is not True, or if it cannot be written there."""
    return put(path, findings_html(analysis, title, notes), (".html", ".htm"), overwrite)


def _span(table) -> str:
    return (
        f"{table.span}; stages weighed: {', '.join(table.stages)}; last batch {table.batches[-1]}"
    )


def _named(f, table) -> str:
    said = "" if f.start is None else table.own_name(f.start)
    return f" ({said})" if said else ""


def _cost(f) -> str:
    if f.is_record_fault:
        return f"The mass balance is wrong by {abs(f.kg):,.1f} kg because of it."
    low, high = f.kg_interval or (f.kg, f.kg)
    money = "" if f.money is None else f"; {f.money:,.0f} at your price"
    return f"{f.kg:,.0f} kg {'more' if f.kg > 0 else 'less'} than otherwise over {len(f.touched_batches)} batches (95 % interval {low:,.0f} to {high:,.0f}){money}.".replace(
        "-", "−"
    )


def _line(line: StageReport) -> tuple[str, ...]:
    alarms = "no chart" if line.chart is None else str(len(line.chart.alarms))
    back = ""
    if line.recoverable is not None:
        low, high = line.recoverable.kg_interval
        back = f"{line.recoverable.kg:,.0f} ({low:,.0f} to {high:,.0f})"
    return (
        line.name,
        f"{line.mean_pct:.2f}",
        f"{line.sd_points:.2f}",
        alarms,
        line.new_levels,
        back,
    )


def _recipes(analysis: Analysis) -> str:
    """Weighed beside expected yields, where the chain's expectation of each recipe was given."""
    if not analysis.residuals:
        return ""
    head = (
        "yield of",
        "weighed less expected, points",
        "variation that recipes explain, %",
        "recipe changed at batch",
        "process changed at batch",
    )
    lines = [
        (r.of, f"{r.bias:+.1f}".replace("-", "−"), f"{max(r.explained_pct, 0):.0f}", *r.told_starts)
        for r in analysis.residuals
    ]
    return "<h2>Beside what the recipes let expect</h2>" + _grid(head, lines)


def _bar(b, priced: bool) -> tuple[str, ...]:
    low, high = b.kg_interval
    uncertainty = "one batch only" if not np.isfinite(low) else f"{low:,.1f} to {high:,.1f}"
    return tuple(
        t.replace("-", "−")
        for t in (
            b.name,
            f"{b.kg:,.1f}",
            uncertainty,
            f"{b.pct_of_all:.1f}",
            *((("" if b.money is None else f"{b.money:,.0f}"),) if priced else ()),
        )
    )


def _grid(head, lines) -> str:
    def row(cells, tag):
        return (
            "<tr>"
            + "".join(
                f"<{tag}{'' if n == 0 else ' class=n'}>{escape(cell)}</{tag}>"
                for n, cell in enumerate(cells)
            )
            + "</tr>"
        )

    return f"<table>{row(head, 'th')}{''.join(row(line, 'td') for line in lines)}</table>"


def _list(heading: str, items) -> str:
    items = list(items)
    return (
        f"<h2>{escape(heading)}</h2><ul class='small'>{''.join(f'<li>{escape(item)}</li>' for item in items)}</ul>"
        if items
        else ""
    )


def _drawing(line: StageReport) -> str:
    """The chart of one line: losses as dots, centre and limits as lines, batches with an alarm as rings, levels found as a thick line."""
    chart, n = line.chart, len(line.rows)
    assert chart is not None
    low, high = min(chart.values.min(), chart.low.min()), max(chart.values.max(), chart.high.max())
    span = high - low or 1.0

    def x(at):
        return _L + (at + 0.5) / n * (_W - _L - 6)

    def y(pct):
        return _H - _B - (pct - low) / span * (_H - _B - 8)

    words = f"{line.name}: loss of {n} batches in % of what went in, mean {line.mean_pct:.2f}, limits {chart.low[0]:.2f} and {chart.high[0]:.2f}"
    parts = [
        f'<h2>{escape(line.name.capitalize())}: loss in %, batch by batch</h2><p class="small">Ring: a rule spoke. Thick line: a level found. Dashed: limits from all batches.</p><svg viewBox="0 0 {_W} {_H}" role="img" aria-label="{escape(words, quote=True)}">'
    ]
    for p in chart.phases:
        for level, dash in ((p.low, "5 4"), (p.centre, ""), (p.high, "5 4")):
            parts.append(
                f'<line x1="{x(p.first):.1f}" x2="{x(p.last):.1f}" y1="{y(level):.1f}" y2="{y(level):.1f}" stroke="#555" stroke-dasharray="{dash}"/>'
            )
    if line.changes and line.changes.starts:
        edges = [0, *line.changes.starts, n]
        parts += [
            f'<line x1="{x(a):.1f}" x2="{x(b - 1):.1f}" y1="{y(line.changes.fitted[a]):.1f}" y2="{y(line.changes.fitted[a]):.1f}" stroke="#c8551b" stroke-width="3"/>'
            for a, b in zip(edges, edges[1:])
        ]
    spoke = {a.at for a in chart.alarms}
    parts += [
        f'<circle cx="{x(i):.1f}" cy="{y(v):.1f}" r="{4 if i in spoke else 2}" fill="{"white" if i in spoke else "#111"}" stroke="#111" stroke-width="1.5"/>'
        for i, v in enumerate(chart.values)
    ]
    parts += [
        f'<text x="{_L - 4}" y="{y(level) + 3:.1f}" font-size="9" text-anchor="end">{level:.1f}</text>'
        for level in (chart.low[0], chart.centre[0], chart.high[0])
    ]
    parts += [
        f'<text x="{x(i):.1f}" y="{_H - 4}" font-size="9" text-anchor="middle">{line.rows[i] + 1}</text>'
        for i in sorted({0, *range(9, n, 10 if n <= 150 else 50)})
    ]
    return "".join(parts) + "</svg>"

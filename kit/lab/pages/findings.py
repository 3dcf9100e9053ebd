"""The findings across batches on one page that stands alone and prints: HTML without script, link or font. Everything a person wrote is escaped."""

from collections.abc import Iterable
from html import escape
from pathlib import Path

from kit.batches.analysis import Analysis
from kit.files import put
from kit.lab.pages import listed
from kit.lab.panels.batches.pieces import CAUTION, kilograms_table, report_tables
from kit.lab.panels.view import Table
from kit.units import METRIC

TITLE = "Findings across batches"
_STYLE = """
@page { size: A4; margin: 12mm } body { font: 11px/1.35 sans-serif; color: #111; max-width: 190mm; margin: 10px auto; padding: 0 8px }
h1 { font-size: 19px; margin: 0 } h2 { font-size: 14px; margin: 12px 0 3px; border-bottom: 1px solid #999; break-after: avoid } p { margin: 3px 0 }
table { border-collapse: collapse; width: 100% } tr { break-inside: avoid }
td, th { text-align: left; vertical-align: top; padding: 2px 8px 2px 0; border-bottom: 1px dotted #bbb } .first { font-size: 13px; font-weight: bold }
.caution { border: 2px solid #111; padding: 4px 8px; margin: 6px 0; font-weight: bold } li { font-size: 9.5px; color: #333 }
"""


def findings_page(
    analysis: Analysis,
    path,
    *,
    title: str = TITLE,
    notes: Iterable[str] = (),
    system: str = METRIC,
    overwrite: bool = False,
) -> Path:
    """Write the page as .html, whole or not at all. KitError if the file exists and `overwrite` is not True, or if it cannot be written there."""
    return put(path, findings_html(analysis, title, notes, system), (".html", ".htm"), overwrite)


def findings_html(
    analysis: Analysis, title: str = TITLE, notes: Iterable[str] = (), system: str = METRIC
) -> str:
    """The page as text: findings, stages, weight and cost, notes and sources. `notes`: of the reading, beside those of the analysis."""
    table, tables = analysis.table, report_tables(analysis, system)
    about = (
        f"{table.span}; stages weighed: {', '.join(table.stages)}; last batch {table.batches[-1]}"
    )
    parts = (
        f"<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'><title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1><p>{escape(about)}</p><p class='caution'>{escape(CAUTION)}</p>",
        f"<p class='first'>{escape(analysis.findings.verdict)}</p>",
        *(_grid(one) for one in (*tables, kilograms_table(analysis.pareto, system))),
        listed("Notes", dict.fromkeys((*notes, *analysis.notes))),
        listed("Sources", analysis.sources),
        "</body></html>\n",
    )
    return "\n".join(parts)


def _grid(table: Table) -> str:
    lines = [("th", table.columns), *(("td", row.cells) for row in table.rows)]
    rows = ("".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in cells) for tag, cells in lines)
    body = "".join(f"<tr>{row}</tr>" for row in rows)
    return f"<h2>{escape(table.caption)}</h2><table>{body}</table>"

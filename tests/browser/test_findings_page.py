"""The findings print on two sheets of A4 or of Letter at most, with a chart for each finding, and stand alone."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from batch_plant import plant
from pypdf import PdfReader

from kit.batches.analysis import analyse
from kit.lab.pages.findings import findings_html, series_of
from kit.reading.plant import demo_analysis
from kit.stages import STAGES

SMALLEST_PX = """() => Math.min(...[...document.querySelectorAll('body *')].filter(e => e.getClientRects().length && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))
    .map(e => parseFloat(getComputedStyle(e).fontSize) * (e.closest('svg') ? e.getScreenCTM().a : 1)))"""


def fullest():
    """Five findings, every stage of the line, and more notes than a page holds."""
    table = plant(
        3, ("leaking stuffer", "humidity drop"), n=300, size=3.0, stages=tuple(STAGES)[:-1]
    ).table
    found = analyse(table, price_per_kg=dict.fromkeys(table.stages, 5.0))
    five = [replace(found.findings.findings[0], stage=stage) for stage in table.stages[:5]]
    return replace(found, findings=replace(found.findings, findings=tuple(five)))


@pytest.fixture(scope="module")
def analyses():
    """analysis, its notes and its page, by name"""
    quiet = analyse(plant(5, (), n=60).table)
    found = {
        "demo": (demo_analysis().analysis, demo_analysis().notes),
        "demo without sheets": (demo_analysis(False).analysis, demo_analysis(False).notes),
        "nothing found": (quiet, ()),
        "fullest": (fullest(), [f"note {n}: {'word ' * 60}" for n in range(40)]),
    }
    return {
        which: (analysis, findings_html(analysis, notes=notes))
        for which, (analysis, notes) in found.items()
    }


@pytest.fixture
def sheet(page):
    sheet = page.context.new_page()
    yield sheet
    sheet.close()


def printed(sheet, html: str, paper: str) -> PdfReader:
    sheet.set_content(html)
    return PdfReader(BytesIO(sheet.pdf(format=paper)))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("which", ["demo", "demo without sheets", "nothing found", "fullest"])
def test_the_findings_print_on_two_sheets_with_a_chart_each(sheet, analyses, which, paper):
    analysis, html = analyses[which]
    asked = []
    sheet.on("request", lambda request: asked.append(request.url))
    pdf = printed(sheet, html, paper)
    assert len(pdf.pages) <= 2
    found = analysis.findings.findings
    assert sheet.locator("svg").count() == len(found)
    first = " ".join(pdf.pages[0].extract_text().split())
    assert "do not show that a product is safe" in first
    for n, finding in enumerate(found, 1):
        assert f"{n}. {series_of(finding, analysis.table)[0]}" in first
        dots = sheet.locator("svg").nth(n - 1).locator("circle")
        filled = sheet.locator("svg").nth(n - 1).locator("circle[fill='#c8551b']")
        values = series_of(finding, analysis.table)[1]
        assert dots.count() == np.isfinite(values).sum()
        assert filled.count() == np.isfinite(values[list(finding.touched_batches)]).sum()
    assert sheet.evaluate(SMALLEST_PX) >= 9
    assert not [url for url in asked if not url.startswith(("about:", "data:"))]


def test_a_third_sheet_would_be_seen(sheet, analyses):
    html = analyses["demo"][1].replace("</body>", "<p>line</p>" * 80 + "</body>")
    assert len(printed(sheet, html, "A4").pages) == 3

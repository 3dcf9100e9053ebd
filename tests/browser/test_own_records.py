"""A person with a German workbook of 120 batches gets from the file to printed findings in lesson 09, without a line of code."""

from io import BytesIO

import lab
import pytest
from german_book import BAD_FROM, BAD_HOUSE, BATCHES, german_workbook
from pypdf import PdfReader

from kit.reading.plant import analysis_of

TICK = "p => Number(p.dataset.tick)"
LESSON = "09_across_batches.ipynb"


def panel_of(page, title):
    return page.locator(".cb-box").nth(
        ("look", "control", "found", "varies", "costs", "compare").index(title)
    )


def answered(page, act):
    """Until every panel has answered what `act` set off."""
    panels = page.locator(".cb-panel")
    before = [panels.nth(n).evaluate(TICK) for n in range(panels.count())]
    act()
    for n, tick in enumerate(before):
        page.wait_for_function(
            "([p, n]) => Number(p.dataset.tick) > n",
            arg=[panels.nth(n).element_handle(), tick],
            timeout=60000,
        )
    lab.settle(page)


def sentence(page, title):
    return panel_of(page, title).locator(".cb-sentence").text_content()


@pytest.mark.parametrize("opened", [LESSON], indirect=True, ids=[LESSON.removesuffix(".ipynb")])
def test_a_german_workbook_becomes_printed_findings(opened, tmp_path):
    opened.evaluate("() => window.jupyterapp.shell.collapseLeft()")
    book = tmp_path / "Chargen 2026.xlsx"
    book.write_bytes(german_workbook())
    look = panel_of(opened, "look")
    look.scroll_into_view_if_needed()
    with opened.expect_file_chooser() as chooser:
        look.get_by_role("button", name="Plant records").click()
    answered(opened, lambda: chooser.value.set_files(book))
    assert "1 question open" in sentence(opened, "look")
    assert "Kutter Einsatz" in look.locator(".cb-tables").text_content()
    for other in ("control", "found", "varies", "costs", "compare"):
        assert "cannot be used yet" in panel_of(opened, other).locator(".cb-trouble").text_content()
        assert panel_of(opened, other).locator(".cb-chart").count() == 0, other
    unit = look.get_by_label("Unit of the weights")
    answered(opened, lambda: unit.select_option("kg"))
    said = sentence(opened, "look")
    assert f"{BATCHES} batches, 2026-01-07 to 2026-03-01; 1 of 121 rows set aside" in said
    assert "Cook loses" in said and f"smokehouse {BAD_HOUSE} since batch" in said
    assert "Mean loss of cook" in sentence(opened, "control")
    for other in ("control", "found", "varies", "costs", "compare"):
        box = panel_of(opened, other)
        assert box.locator(".cb-trouble").is_hidden() and box.locator(".cb-chart svg").count(), (
            other
        )
        assert "Demo" not in box.text_content() and "invented: 120" not in box.text_content()
    with opened.expect_download() as caught:
        look.get_by_role("button", name="Save this page (HTML)").click()
    caught.value.save_as(tmp_path / "findings.html")
    sheet = opened.context.new_page()
    try:
        sheet.set_content((tmp_path / "findings.html").read_text(encoding="utf-8"))
        pdf = PdfReader(BytesIO(sheet.pdf(format="A4")))
        charts = sheet.locator("figure svg").count()
    finally:
        sheet.close()
    text = " ".join(" ".join(one.extract_text() for one in pdf.pages).split())
    assert len(pdf.pages) <= 2 and charts >= 1 and f"smokehouse {BAD_HOUSE} since batch" in text
    (kept,) = (opened.home / "my_batches" / "mappings").glob("*.toml")
    in_code = analysis_of(book, kept)
    (first, *_) = in_code.analysis.findings.findings
    assert first.sentence in text and abs(first.start - BAD_FROM) <= 12
    answered(opened, lambda: look.get_by_label("Product").select_option("Wiener"))
    assert "96 batches" in sentence(opened, "look")
    save = opened.get_by_role("button", name="Save all tables")
    save.scroll_into_view_if_needed()
    save.click()
    opened.get_by_text("Saved:").wait_for(timeout=60000)
    names = {path.name for path in (opened.folder / "my_losses").rglob("*") if path.is_file()}
    assert {"losses.xlsx", "findings.csv", "losses.csv", "set_aside.csv", "mapping.toml"} <= names
    answered(opened, lambda: look.get_by_role("button", name="Back to the start").click())
    assert sentence(opened, "look").startswith("Demo records")
    assert opened.faults == [] and opened.outside == []

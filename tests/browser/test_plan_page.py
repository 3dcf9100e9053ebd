"""A plan prints on two sheets of A4 and of Letter at 10 point or more, stands alone, and a longer one would be seen."""

import re

import pytest
from test_record_page import FORMATS, SMALLEST_PT

from kit.lab.pages.plan import as_html
from kit.plan import plan_batch
from kit.reading import read_sheet
from kit.tables import data_path


@pytest.fixture
def sheet(page):
    sheet = page.context.new_page()
    yield sheet
    sheet.close()


def pages(sheet, html, paper):
    sheet.set_content(html)
    sheet.emulate_media(media="print")
    return len(re.findall(rb"/Type\s*/Page\b", sheet.pdf(format=paper)))


@pytest.mark.parametrize("name", ["teaching_kitchen", "demo_frankfurter"])
@pytest.mark.parametrize("system", ["metric", "US"])
def test_a_plan_prints_on_two_sheets_at_ten_point(sheet, name, system):
    html = as_html(plan_batch(read_sheet(data_path("demo", f"{name}.toml"))), system)
    asked = []
    sheet.on("request", lambda request: asked.append(request.url))
    assert [pages(sheet, html, paper) for paper in FORMATS] == [2, 2]
    assert sheet.evaluate(SMALLEST_PT) >= 9.99
    assert not [url for url in asked if not url.startswith(("about:", "data:"))]
    assert (
        pages(
            sheet,
            html.replace("</table>", "<tr><td>one more line</td></tr>" * 9 + "</table>"),
            "A4",
        )
        > 2
    )

"""Cards of a class print on two sheets a station, A4 and Letter, at 11 point or more, ask for nothing, and their squares hold their codes."""

import io
import re
from dataclasses import replace

import pytest
import zxingcpp
from PIL import Image
from test_record_page import SMALLEST_PT

from kit.classroom.codes import code
from kit.lab.pages.class_cards import cards_html, labels_html
from kit.lab.pages.class_exercises import exercises_html
from kit.lab.pages.class_teacher import teacher_html
from kit.reading.class_plan import read_plan
from kit.tables import data_path

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
PAGES = (cards_html, 16), (labels_html, 8), (exercises_html, 9), (teacher_html, None)
"""page and its sheets: two of cards, one of labels and one of exercises for each station, one of worked examples"""


@pytest.fixture
def sheet(page):
    sheet = page.context.new_page()
    yield sheet
    sheet.close()


@pytest.mark.parametrize(
    "change", [{"paper": "A4"}, {"paper": "Letter", "units": "US", "cured": True}]
)
def test_cards_print_on_two_sheets_a_station(sheet, change):
    plan, asked = replace(PLAN, **change), []
    sheet.on("request", lambda request: asked.append(request.url))
    for make, sheets in PAGES:
        sheet.set_content(make(plan))
        sheet.emulate_media(media="print")
        whole = sheet.pdf(prefer_css_page_size=True)
        assert sheets is None or len(re.findall(rb"/Type\s*/Page\b", whole)) == sheets
        assert sheet.evaluate(SMALLEST_PT) >= 10.99
        wide = sheet.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, "nothing is cut at the right edge"
    assert not [url for url in asked if not url.startswith(("about:", "data:"))]


def test_squares_hold_their_codes_in_grey(sheet):
    sheet.set_content(labels_html(PLAN))
    sheet.evaluate("document.body.style.zoom = 4")  # the tests' browser draws at half size
    image = Image.open(io.BytesIO(sheet.screenshot(full_page=True))).convert("L")
    found = {one.text for one in zxingcpp.read_barcodes(image)}
    assert found == {code(s, b, t) for s in range(1, 9) for b in (1, 2) for t in (1, 2, 3)}

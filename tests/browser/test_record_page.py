"""The record prints on one page of A4 and of Letter at 9 point or more, stands alone, and is saved and printed from its panel."""

import re
from html.parser import HTMLParser

import numpy as np
import pytest

from kit.lab.pages.record import TITLE, as_html
from kit.lethality import record, trace

T = np.arange(0, 10_501, 30.0)
C = np.interp(T, [0, 1200, 3600, 4100, 6300, 8000, 10_500], [12, 33, 49, 70, 76, 15, 3])
HOUSE = np.interp(
    T,
    [0, 60, 1200, 1300, 3600, 3700, 6300, 6400, 8100, 8200, 10_500],
    [20, 55, 55, 65, 65, 80, 80, 15, 15, 3, 3],
)
UNDERSTOOD = (
    "columns separated by comma",
    "header above row 4",
    "time: column 'Clock', written with colons",
    *(f"temperature: column 'Core {n}' in °C" for n in range(1, 7)),
)
FORMATS = {"A4": (210, 297), "Letter": (215.9, 279.4)}
SMALLEST_PT = """() => Math.min(...[...document.querySelectorAll('body *')].filter(e => e.getClientRects().length && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))
    .map(e => 0.75 * parseFloat(getComputedStyle(e).fontSize) * (e.closest('svg') ? e.getScreenCTM().a : 1)))"""


def made(cores, product="meat", cured=True, **more):
    return record(
        tuple(trace(f"Core {n + 1} (°C)", T, C - n) for n in range(cores)),
        product,
        cured=cured,
        understood=UNDERSTOOD,
        batch="demo, invented",
        file="cook_log.csv",
        start="2031-02-05 09:05:00",
        smokehouse=trace("Smokehouse (°C)", T, HOUSE, core=False),
        **more,
    )


@pytest.fixture
def sheet(page):
    sheet = page.context.new_page()
    yield sheet
    sheet.close()


@pytest.mark.parametrize("paper", FORMATS)
@pytest.mark.parametrize(
    "cores, product, cured, more",
    [
        (3, "meat", True, {}),
        (3, "meat", True, {"plan": ("7 log", "rapid chilling"), "diameter_mm": 26}),
        (1, "meat", True, {}),
        (6, "meat", True, {}),
        (2, "other poultry", False, {}),
    ],
)
def test_a_record_prints_on_one_page_at_nine_point(sheet, paper, cores, product, cured, more):
    made_now = made(cores, product, cured, **more)
    asked = []
    sheet.on("request", lambda request: asked.append(request.url))
    sheet.set_content(as_html(made_now))
    sheet.emulate_media(media="print")
    assert len(re.findall(rb"/Type\s*/Page\b", sheet.pdf(format=paper))) == 1
    width = (FORMATS[paper][0] - 12) / 25.4 * 96
    sheet.set_viewport_size({"width": int(width), "height": 1000})
    assert sheet.evaluate(SMALLEST_PT) >= 8.99
    inside = sheet.evaluate(
        "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )
    assert inside and sheet.locator("svg polyline").count() == cores + 1
    words = sheet.locator("body").inner_text()
    for part in (
        "cook_log.csv",
        "2031-02-05 09:05:00",
        "Probe calibration",
        "Read by (name)",
        "Signature",
        "Smokehouse (°C)",
        "It validates nothing",
        "Missing information",
        "Cautions",
    ):
        assert part in words, part
    assert not [url for url in asked if not url.startswith(("about:", "data:"))]


class Words(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))


def test_a_smaller_letter_or_a_second_page_would_be_seen(sheet):
    """The checks above can fail: the same page in 8 point, and with ten more lines of cautions."""
    html = as_html(made(3))
    sheet.set_content(html.replace("font: 9pt", "font: 8pt"))
    assert sheet.evaluate(SMALLEST_PT) < 8.99
    sheet.set_content(html.replace("</body>", "<p>" + "one more line<br>" * 30 + "</p></body>"))
    sheet.emulate_media(media="print")
    assert len(re.findall(rb"/Type\s*/Page\b", sheet.pdf(format="Letter"))) == 2


def test_the_record_is_saved_and_printed_from_the_panel(page, tmp_path):
    """In a page of its own with the panel's script: what is saved is the record, letter for letter, and the print button prints that record."""
    from pathlib import Path

    from kit import units
    from kit.lab.panels.cook import record_panel

    panel = record_panel()
    name, html = panel.shown.page
    script = (
        Path(__file__).resolve().parents[2] / "kit" / "lab" / "panels" / "panel.js"
    ).read_text(encoding="utf-8")
    sheet = page.context.new_page()
    try:
        sheet.add_init_script(
            "window.print = () => { window.parent.printed = document.querySelector('h1').textContent; }"
        )
        sheet.set_content("<div id='here'></div>")
        sheet.evaluate(
            """async ([script, payload, page]) => {
            const module = await import(URL.createObjectURL(new Blob([script], {type: 'text/javascript'})));
            const state = {...payload, specs: {}, opened: []}, on = {};
            module.default.render({model: {get: key => state[key], set() {}, save_changes() {}, on(what, heard) { on[what] = heard; }, off() {}, send() { on['msg:custom'](page); }}, el: document.getElementById('here')});
        }""",
            [script, panel.picture.payload, {"name": name, "html": html()}],
        )
        with sheet.expect_download() as caught:
            sheet.get_by_role("button", name="Save this page (HTML)").click()
        kept = tmp_path / "kept.html"
        caught.value.save_as(kept)
        assert caught.value.suggested_filename == "record.html" and kept.read_text(
            encoding="utf-8"
        ) == units.in_text(as_html(panel.result.record), panel.system)
        assert not [
            1
            for tag, attrs in Words(kept.read_text(encoding="utf-8")).tags
            if tag in ("script", "link", "img", "iframe") or {"src", "href"} & set(attrs)
        ]
        sheet.get_by_role("button", name="Print this page").click()
        sheet.wait_for_function("window.printed")
        assert sheet.evaluate("window.printed") == TITLE
    finally:
        sheet.close()

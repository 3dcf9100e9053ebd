"""The one-page record prints on one page: a usual one, and one with six cores, stages, history and everything that can be missing."""
import re

import numpy as np
import pytest

from kit.lethality import Mark, record, trace

T = np.arange(0, 10_501, 30.0)
C = np.interp(T, [0, 1200, 3600, 4100, 6300, 8000, 10_500], [12, 33, 49, 70, 76, 15, 3])
STAGES = tuple(Mark(name, start, end) for name, start, end in (("dry", 0, 20), ("smoke", 20, 60), ("cook", 60, 105), ("shower", 105, 135), ("cold room", 135, 175)))
UNDERSTOOD = ("columns separated by comma", "header above row 4", "time: column 'Clock', written with colons", *(f"temperature: column 'Core {n}' in °C" for n in range(1, 7)))


@pytest.mark.parametrize("cores, product, cured", [(1, "meat", True), (6, "meat", True), (4, "chicken", True), (2, "other poultry", False)])
def test_a_record_prints_on_one_page(page, cores, product, cured):
    made = record(tuple(trace(f"core {n + 1}", T, C - n) for n in range(cores)), product, cured=cured, stages=STAGES, understood=UNDERSTOOD, batch="demo, invented")
    sheet = page.context.new_page()
    try:
        sheet.set_content(made.html())
        assert len(re.findall(rb"/Type\s*/Page\b", sheet.pdf(prefer_css_page_size=True))) == 1
        inside = sheet.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        assert inside and sheet.locator("svg polyline").count() == cores
    finally:
        sheet.close()

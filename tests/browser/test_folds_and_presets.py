"""What stands on the page is the answer to where the controls are: with a fold open, and after any preset."""

from itertools import permutations

import lab
import pytest

TICK = "(p) => Number(p.dataset.tick)"


def press(page, box, name):
    """Press a button by its words and wait until the panel has drawn what it gives."""
    panel = box.locator(".cb-panel")
    before = panel.evaluate(TICK)
    box.locator(".cb-presets").get_by_role("button", name=name, exact=True).click()
    page.wait_for_function(
        "([p, n]) => Number(p.dataset.tick) > n",
        arg=[panel.element_handle(), before],
        timeout=20000,
    )
    return panel


def test_too_much_ice_is_said_with_the_cook_unfolded(page):
    lab.open_and_run(page, page.base, "00_start_here.ipynb")
    box = page.locator(".cb-box").first
    box.scroll_into_view_if_needed()
    lab.wait_drawn(page, 0)
    fold = box.locator(
        "details", has=page.locator("summary", has_text="Links, cook and chill")
    ).first
    fold.locator("summary").click()
    page.wait_for_function(
        "p => [...p.querySelectorAll('details[open] td')].length > 5",
        arg=box.locator(".cb-panel").element_handle(),
        timeout=20000,
    )
    assert "Every limit holds" in box.locator(".cb-sentence").text_content()
    panel = press(page, box, "Too much ice")
    said = box.locator(".cb-sentence").text_content()
    assert "fat + added water" in said and "Every limit holds" not in said
    assert fold.evaluate("d => d.open") and fold.locator("td").count() > 0
    assert panel.locator(".cb-trouble").is_hidden() and page.faults == []


@pytest.fixture(scope="module")
def cooked(page):
    page.faults.clear()
    lab.open_and_run(page, page.base, "07_smoke_cook_chill.ipynb")
    return page


def test_presets_of_the_cook_say_the_same_after_every_other(cooked):
    boxes, pairs = cooked.locator(".cb-box"), 0
    for n in range(boxes.count()):
        box = boxes.nth(n)
        box.scroll_into_view_if_needed()
        lab.wait_drawn(cooked, n)
        names = [
            name
            for name in box.locator(".cb-presets button").all_text_contents()
            if name != "Back to the start"
        ]
        alone = {}
        for name in names:
            press(cooked, box, "Back to the start")
            alone[name] = lab.words(press(cooked, box, name))
        for first, then in permutations(names, 2):
            press(cooked, box, first)
            assert lab.words(press(cooked, box, then)) == alone[then], (first, then)
            pairs += 1
    assert pairs > 30 and cooked.faults == []

"""What is checked of every notebook in a real JupyterLab and a real Chromium, offline: it runs, every control works, nothing leaks, nothing leaves.

Each notebook is opened and run once, for all its checks; notebooks are shared out among the workers.
"""

import json
import re
from io import BytesIO
from pathlib import Path

import lab
import pytest
from pypdf import PdfReader

from kit.reading import read_sheet

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted(
    path.name
    for path in (ROOT / "notebooks").glob("*.ipynb")
    if not path.name.startswith("11")  # no slider and no chart: test_your_station.py
)
WATCHED = {
    "test_an_accessibility_violation_would_be_seen_in_every_output": ("00",),
    "test_a_hundred_moves_do_not_leak": ("01",),
    "test_what_is_typed_gets_a_sentence_and_no_key_reaches_the_notebook": ("01",),
    "test_end_and_home_reach_both_ends_after_a_change_of_units": ("08",),
    "test_every_question_answers_a_click_and_moves_its_panel": ("01", "05", "08"),
    "test_too_much_ice_is_said_with_a_fold_open": ("00",),
    "test_presets_of_the_cook_say_the_same_whatever_was_pressed_before": ("07",),
    "test_the_demo_in_every_form_is_planned": ("00",),
    "test_a_decimal_comma_beside_a_slider_is_read_and_thousands_are_refused": ("00",),
    "test_a_bad_sheet_gets_every_fault_beside_its_field_and_no_script_runs": ("00",),
    "test_a_notebook_is_no_sheet_and_the_next_good_file_still_works": ("00",),
    "test_a_batch_is_planned_by_keyboard_saved_and_printed": ("00",),
    "test_words_are_readable_in_a_dark_theme": ("04",),
    "test_no_key_in_a_panel_reaches_the_notebook": ("04",),
    "test_cautions_unfold_or_lead_to_the_list_of_the_page": ("04",),
    "test_a_word_of_the_glossary_shows_its_meaning": ("04",),
}
"""checks of some notebooks only: the panel is one and the same in every notebook"""
BAD = """name = "Bad <script>alert(1)</script>"
[[line]]
name = "prok trim 80"
amount = "-3 kg"
[[line]]
name = "ice"
amount = "10 °C"
"""
TICK = "(p) => Number(p.dataset.tick)"


def pytest_generate_tests(metafunc):
    if "opened" in metafunc.fixturenames:
        watched = WATCHED.get(metafunc.function.__name__, ("",))
        chosen = [
            pytest.param(name, id=Path(name).stem) for name in NOTEBOOKS if name.startswith(watched)
        ]
        metafunc.parametrize("opened", chosen, indirect=True, scope="module")


def moved(page, panel, before, seconds=10):
    """Wait until the panel has drawn something newer than `before`."""
    page.wait_for_function(
        "([p, n]) => Number(p.dataset.tick) > n",
        arg=[panel.element_handle(), before],
        timeout=seconds * 1000,
    )


def test_runs_offline_and_draws_every_panel(opened):
    assert lab.panels(opened).count() >= 1
    assert opened.outside == []
    assert opened.faults == []
    assert (
        opened.locator(
            ".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.stderr']"
        ).count()
        == 0
    )
    for n in range(lab.panels(opened).count()):
        panel = lab.panels(opened).nth(n)
        panel.scroll_into_view_if_needed()
        assert len(panel.locator(".cb-sentence").text_content()) > 20
        told = panel.locator(".vega-embed").evaluate_all(
            "all => all.map(one => one.ariaLabel ?? '')"
        )
        assert all(re.search(r"\w{3}.{15}", one) for one in told), told
        groups = opened.locator(".cb-box").nth(n).locator(".cb-group")
        assert groups.count() == groups.and_(opened.get_by_role("heading")).count()
        rows = panel.locator(".cb-tables > .cb-scroll").evaluate_all(
            "tables => tables.map(t => t.querySelectorAll('tbody tr').length)"
        )
        assert len(rows) <= 1 and max(rows, default=0) <= 8, f"panel {n} opens with {rows} rows"
        assert panel.locator("details[open]").count() == 0


def test_every_slider_moves_by_keyboard_and_by_mouse(opened):
    """Every slider can be focused and hit where it is drawn, and answers a key, in sight with sentence and chart; the first of a panel answers true keys and a true press."""
    moved_sliders = 0
    for n in range(lab.panels(opened).count()):
        panel, box = lab.panels(opened).nth(n), opened.locator(".cb-box").nth(n)
        assert lab.by_hand(box, "hand.everything(box, panel)") == [], f"panel {n}"
        names = lab.by_hand(box, "await hand.sliders(box, panel)")
        assert all(name and len(name) > 2 for name in names)
        moved_sliders += len(names)
        if names:
            handle = box.locator(".widget-hslider .noUi-target:not([disabled]) [role=slider]").first
            for act in (key, click):
                handle.scroll_into_view_if_needed()
                before, value = panel.evaluate(TICK), handle.get_attribute("aria-valuenow")
                act(opened, handle)
                moved(opened, panel, before)
                assert handle.get_attribute("aria-valuenow") != value, names[0]
    assert moved_sliders >= 1 and opened.faults == []


def number(handle, name):
    return float(handle.get_attribute(f"aria-value{name}"))


def key(page, handle):
    handle.focus()
    page.keyboard.press(
        "ArrowLeft" if number(handle, "now") >= number(handle, "max") else "ArrowRight"
    )


def click(page, handle):
    low, high = number(handle, "min"), number(handle, "max")
    aim = 0.75 if (number(handle, "now") - low) / (high - low) < 0.5 else 0.25
    base = handle.locator("xpath=ancestor::*[contains(@class, 'noUi-base')]")
    base.scroll_into_view_if_needed()
    page.evaluate("() => new Promise(requestAnimationFrame)")
    box = base.bounding_box()
    page.mouse.click(box["x"] + aim * box["width"], box["y"] + box["height"] / 2)


METRIC = re.compile(r"\d (?:°C|K|kg|g|mm|m)(?![a-z] )|\((?:°C|K|kg|g|mm|m)\)")
"""an amount or a heading that reads otherwise in US units; ppm and % do not"""


def test_every_button_and_both_unit_systems_answer(opened):
    boxes = opened.locator(".cb-box")
    for n in range(boxes.count()):
        panel = lab.panels(opened).nth(n)
        lab.by_hand(boxes.nth(n), "await hand.press(box, panel)")
        words, stands = (
            lab.words(panel),
            [
                handle.get_attribute("aria-valuenow")
                for handle in boxes.nth(n).locator("[role=slider]").all()
            ],
        )
        for system, changes in (("US", True), ("metric", False)):
            before = panel.evaluate(TICK)
            boxes.nth(n).get_by_role("button", name=system, exact=True).click()
            moved(opened, panel, before)
            lab.wait_drawn(opened, n)
            units = boxes.nth(n).locator(".widget-toggle-button")
            opened.wait_for_function(
                "one => one.ariaPressed === 'true'",
                arg=units.get_by_text(system, exact=True).element_handle(),
            )
            as_before = lab.words(panel) == words
            no_unit = changes and not METRIC.search(" ".join(words))
            assert as_before is not changes or no_unit, f"panel {n} in {system}"
        lab.settle(opened)  # a slider that answers the change of units by itself has done it by now
        assert [
            handle.get_attribute("aria-valuenow")
            for handle in boxes.nth(n).locator("[role=slider]").all()
        ] == stands, f"panel {n}"
    assert opened.faults == []


def test_end_and_home_reach_both_ends_after_a_change_of_units(opened):
    """A slider's own keys keep the ends that it was made with; in lb, 10 kg would be 4.5 and a temperature would fall to its lowest."""
    box, panel = opened.locator(".cb-box").first, lab.panels(opened).first
    handles = box.locator(".widget-hslider .noUi-target:not([disabled]) [role=slider]").all()
    for system, most in (("US", "22."), ("metric", "10.")):
        before = panel.evaluate(TICK)
        box.get_by_role("button", name=system, exact=True).click()
        moved(opened, panel, before)
        lab.settle(opened)
        for end, name in (("End", "max"), ("Home", "min"), ("End", "max")):
            for handle in handles:
                handle.focus()
                opened.keyboard.press(end)
                assert number(handle, "now") == pytest.approx(number(handle, name), abs=0.051), (
                    system,
                    end,
                    handle.get_attribute("aria-label"),
                )
        assert handles[0].get_attribute("aria-valuemax").startswith(most)
        lab.settle(opened)
    box.get_by_role("button", name="Back to the start").click()
    lab.settle(opened)
    assert opened.faults == []


def test_what_is_folded_away_comes_when_it_is_opened_and_stays_open_under_a_slider(opened):
    seen = set()
    for n in range(lab.panels(opened).count()):
        panel = lab.panels(opened).nth(n)
        folds = panel.locator("details:not([hidden])")
        if folds.count():
            folds.first.scroll_into_view_if_needed()
            folds.first.locator("summary").click()
            panel.evaluate(
                "p => p.querySelectorAll('details:not([hidden]):not([open]) > summary').forEach(one => one.click())"
            )
            opened.wait_for_function(
                "p => [...p.querySelectorAll('details:not([hidden])')].every(one => one.open && one.querySelector('li, tbody tr'))",
                arg=panel.element_handle(),
                timeout=20000,
            )
        sliders = (
            opened.locator(".cb-box")
            .nth(n)
            .locator(".widget-hslider .noUi-target:not([disabled]) [role=slider]")
        )
        if sliders.count():
            before, unfolded = (
                panel.evaluate(TICK),
                set(panel.locator("details[open] > summary").all_text_contents()),
            )
            sliders.first.focus()
            opened.keyboard.press("ArrowRight")
            opened.keyboard.press("ArrowLeft")
            moved(opened, panel, before)
            lab.settle(opened)
            shut = set(panel.locator("details:not([open]) > summary").all_text_contents())
            assert not shut & unfolded
            seen |= unfolded
    assert seen and opened.faults == []


def reply(page, item, act):
    """What an item says after `act`."""
    text = item.locator(".cb-ask-reply")
    before = text.text_content()
    act()
    page.wait_for_function(
        "([node, before]) => node.textContent && node.textContent !== before",
        arg=[text.element_handle(), before],
        timeout=10000,
    )
    return text.text_content()


def test_what_is_typed_gets_a_sentence_and_no_key_reaches_the_notebook(opened):
    """A guess, an exercise and a question, by keyboard alone; then letters that would delete, insert and cut cells."""
    guess, *exercises = opened.locator(".cb-ask-item:has(input)").all()
    cells = "() => window.jupyterapp.shell.currentWidget.content.widgets.length"
    count = opened.evaluate(cells)

    def typed(item, text):
        item.locator("input").fill(text)
        return reply(opened, item, lambda: item.locator("input").press("Enter"))

    guess.scroll_into_view_if_needed()
    assert "no number" in typed(guess, "abc")
    assert "Your guess: 27.5" in typed(guess, "27,5")
    compare = guess.get_by_role("button", name="Compare")
    assert "it is" in reply(opened, guess, lambda: compare.press("Enter"))
    first = exercises[0]
    first.scroll_into_view_if_needed()
    assert "comma" in typed(first, "1,200") and "too high" in typed(first, "1/2 t")
    assert typed(first, "121 lb").startswith("Right")
    show = first.get_by_role("button", name="Show the answer")
    for letter in "ddabx":
        show.press(letter)
    first.locator("input").press("d")
    assert opened.evaluate(cells) == count
    assert "Answer: 55 kg" in reply(opened, first, lambda: show.press("Enter"))
    assert opened.faults == []


def test_every_question_answers_a_click_and_moves_its_panel(opened):
    asked = opened.locator(
        ".cb-ask-item:has(.cb-ask-option):has-text('Show it in the panel')"
    ).all()
    assert len(asked) == 5
    for item in asked:
        item.scroll_into_view_if_needed()
        options = item.locator(".cb-ask-option").all()
        said = [reply(opened, item, option.click) for option in options]
        assert sum(text.startswith("Right") for text in said) == 1
        assert sum(text.startswith("Not right") for text in said) == len(options) - 1
        show = item.get_by_role("button", name="Show it in the panel")
        assert "now shows: " in reply(opened, item, show.click)
    assert opened.faults == []


def test_outputs_have_no_accessibility_violations(opened):
    assert lab.axe(opened) == []


CONTRAST = """() => {
    const numbers = colour => colour.match(/[\\d.]+/g).map(Number);
    const light = colour => numbers(colour).slice(0, 3).map(c => c / 255).map(c => c <= .03928 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4)
        .reduce((sum, c, n) => sum + c * [.2126, .7152, .0722][n], 0);
    const back = node => { for (; node; node = node.parentElement) { const c = getComputedStyle(node).backgroundColor; if ((numbers(c)[3] ?? 1) > 0) return c; } };
    const parts = document.querySelectorAll('.cb-box :is(.widget-label, .widget-readout, .cb-sentence, .cb-link, figcaption strong, figcaption span, td, th, caption, summary, button, .cb-group, svg text), .jp-RenderedHTMLCommon :is(p, li, h2)');
    return [...parts].filter(node => node.checkVisibility() && node.textContent.trim()).map(node => {
        const {color, fill} = getComputedStyle(node), drawn = node.matches('svg text');
        if (drawn && (fill === 'none' || fill === 'rgb(255, 255, 255)')) return [99, 'white, on its own bar'];
        const both = [drawn ? fill : color, back(node)].map(light);
        return [(Math.max(...both) + .05) / (Math.min(...both) + .05), drawn ? `chart: ${node.textContent}` : node.className || node.tagName, back(node)]; }) }"""


def test_words_are_readable_in_a_dark_theme(opened):
    change = "name => window.jupyterapp.commands.execute('apputils:change-theme', {theme: name})"
    try:
        opened.evaluate(change, "JupyterLab Dark")
        opened.wait_for_selector("body[data-jp-theme-light='false']", state="attached")
        found = opened.evaluate(CONTRAST)
        assert len(found) > 60 and min(found)[0] >= 4.5, min(found)
        assert sum(one[1].startswith("chart: ") for one in found) > 60
        filters = "all => [...new Set(all.map(one => getComputedStyle(one).filter))]"
        assert opened.locator(".cb-chart svg").evaluate_all(filters) == ["brightness(0.87)"], (
            "a chart's words name its colours: they are dimmed, never turned"
        )
        opened.emulate_media(media="print")
        paper = opened.evaluate(CONTRAST)
        assert min(paper)[0] >= 4.5, min(paper)
        dark = {one[2] for one in paper if one[0] < 99 and one[2] != "rgb(255, 255, 255)"}
        assert dark == set(), "paper is white, whatever the theme of the screen"
    finally:
        opened.emulate_media(media="screen")
        opened.evaluate(change, "JupyterLab Light")
        opened.wait_for_selector("body[data-jp-theme-light='true']", state="attached")


def test_no_key_in_a_panel_reaches_the_notebook(opened):
    state = """() => { const nb = window.jupyterapp.shell.currentWidget.content;
        return JSON.stringify([nb.mode, nb.activeCellIndex, nb.widgets.map(c => [c.model.type, c.model.executionCount])]) }"""
    box = opened.locator(".cb-box").first
    button = box.get_by_role("button", name="Back to the start")
    button.scroll_into_view_if_needed()
    button.click()
    before = opened.evaluate(state)
    for place in (button, box.locator("[role=slider]").first, box.locator("summary").first):
        place.focus()
        for name in ("d", "d", "a", "b", "x", "m", "Shift+Enter", "Escape"):
            opened.keyboard.press(name)
    assert opened.evaluate(state) == before
    opened.evaluate("() => document.activeElement.blur()")


def test_cautions_unfold_or_lead_to_the_list_of_the_page(opened):
    """Without a list on the page they unfold in place; with one, the line leads there, and what the list does not say stays."""
    list_there = "#cautions, [data-jupyter-id=cautions]"
    opened.evaluate("at => document.querySelectorAll(at).forEach(one => one.remove())", list_there)
    box = opened.locator(".cb-box").first
    press(box, "Back to the start")
    line, text = box.locator(".cb-caution button"), box.locator(".cb-caution p")
    box.locator(".cb-panel").evaluate("p => p.querySelector('.cb-caution').look()")
    assert text.first.is_hidden()
    line.click()
    assert text.count() >= 2 and text.first.is_visible()
    said = text.all_text_contents()
    opened.evaluate(
        """text => document.querySelector('.jp-Notebook .jp-Cell').append(
            Object.assign(document.createElement('ul'), {id: 'cautions', textContent: text}))""",
        said[0],
    )
    box.locator(".cb-panel").evaluate("p => p.querySelector('.cb-caution').look()")
    assert line.text_content() == "Cautions for this lesson: top of the page"
    assert text.all_text_contents() == said[1:]
    line.click()
    assert opened.evaluate("() => document.activeElement.id") == "cautions"
    assert opened.locator("#cautions").is_visible()
    opened.evaluate("() => document.getElementById('cautions').remove()")


def test_a_word_of_the_glossary_shows_its_meaning(opened):
    tip = opened.locator("#cb-tip")
    word = opened.locator(".cb-sentence dfn").first
    word.scroll_into_view_if_needed()
    word.hover()
    name = word.get_attribute("data-term")
    assert tip.is_visible() and tip.text_content().startswith(f"{name}: ")
    opened.keyboard.press("Escape")
    assert tip.is_hidden()
    word.focus()
    assert tip.is_visible() and word.get_attribute("aria-describedby") == "cb-tip"
    opened.keyboard.press("Escape")
    assert tip.is_hidden() and word.get_attribute("aria-describedby") is None
    opened.mouse.move(2, 2)


def test_an_accessibility_violation_would_be_seen_in_every_output(opened):
    """The check above can fail, on the screen and off it: a picture without words in each output."""
    outputs = opened.evaluate("""() => {
        const areas = [...document.querySelectorAll('.jp-OutputArea')].filter(a => a.childElementCount);
        for (const area of areas) area.append(Object.assign(document.createElement('img'), {className: 'planted',
            src: 'data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7'}));
        return areas.length }""")
    try:
        found = {name: len(nodes) for name, _, nodes in map(json.loads, lab.axe(opened))}
    finally:
        opened.evaluate(
            "() => { for (const img of document.querySelectorAll('.planted')) img.remove() }"
        )
    assert found == {"image-alt": outputs} and outputs > 3


def test_a_hundred_moves_do_not_leak(opened):
    """Keys from within the page: every move is drawn before the next, and nothing else takes memory."""
    box = opened.locator(".cb-box").first
    box.scroll_into_view_if_needed()
    before = lab.by_hand(box, "await hand.sway(box, panel, 10)")
    assert lab.by_hand(box, "await hand.sway(box, panel, 100)") - before < 20e6
    assert opened.faults == []


def press(box, name):
    """Press a button by its words and wait until the panel has drawn what it gives."""
    lab.by_hand(box, "await hand.press(box, panel, asked)", name)
    return box.locator(".cb-panel")


def test_too_much_ice_is_said_with_a_fold_open(opened):
    box = opened.locator(".cb-box").nth(1)
    box.scroll_into_view_if_needed()
    press(box, "Back to the start")
    fold = box.locator(
        "details", has=opened.locator("summary", has_text="Chopping and emulsion")
    ).first
    if not fold.evaluate("d => d.open"):
        fold.locator("summary").click()
    opened.wait_for_function(
        "p => [...p.querySelectorAll('details[open] td')].length > 5",
        arg=box.locator(".cb-panel").element_handle(),
        timeout=20000,
    )
    assert "Every limit of this rule is met" in box.locator(".cb-sentence").text_content()
    panel = press(box, "Too much ice")
    said = box.locator(".cb-sentence").text_content()
    assert "fat + added water" in said and "Every limit of this rule is met" not in said
    assert fold.evaluate("d => d.open") and fold.locator("td").count() > 0
    assert panel.locator(".cb-trouble").is_hidden() and opened.faults == []


def test_presets_of_the_cook_say_the_same_whatever_was_pressed_before(opened):
    """Each preset after the start and after the one behind it; tests/panels presses each after every other, without a page."""
    boxes, compared = opened.locator(".cb-box"), 0
    for n in range(boxes.count()):
        box = boxes.nth(n)
        box.scroll_into_view_if_needed()
        lab.wait_drawn(opened, n)
        home = "Back to the start"
        names = [
            name for name in box.locator(".cb-presets button").all_text_contents() if name != home
        ]
        said = {}
        for name in (
            *(step for first in names for step in (home, first)),
            *reversed(names[:-1]),
        ):
            words = lab.words(press(box, name))
            assert said.setdefault(name, words) == words, name
            compared += 1
    assert compared > 20 and opened.faults == []


def test_a_decimal_comma_beside_a_slider_is_read_and_thousands_are_refused(opened):
    box = opened.locator(".cb-box").nth(1)
    press(box, "Back to the start")
    salt = box.locator(".widget-hslider", has_text="Salt")
    shown, handle = salt.locator(".widget-readout"), salt.locator("[role=slider]")
    for typed, stands in (("1,8", 1.8), ("1,250", 1.8)):
        shown.click()
        opened.keyboard.press("Control+a")
        opened.keyboard.type(typed)
        opened.keyboard.press("Enter")
        lab.settle(opened)
        assert float(handle.get_attribute("aria-valuenow")) == pytest.approx(stands), typed


def choose(page, path):
    """A person opens a sheet of their own in the form."""
    box = page.locator(".cb-box").first
    form, panel = box.locator(".cb-form"), box.locator(".cb-panel")
    form.scroll_into_view_if_needed()
    before = panel.evaluate(TICK)
    with page.expect_file_chooser() as chooser:
        form.get_by_role("button", name="Open a sheet").click()
    chooser.value.set_files(path)
    page.wait_for_function(
        "([p, f, n, name]) => Number(p.dataset.tick) > n || f.textContent.includes(`Nothing was done: ${name}`)",
        arg=[panel.element_handle(), form.element_handle(), before, Path(path).name],
        timeout=20000,
    )
    return box


@pytest.mark.parametrize(
    "name", ["demo_frankfurter.toml", "demo_frankfurter.csv", "demo_frankfurter.xlsx"]
)
def test_the_demo_in_every_form_is_planned(opened, name):
    box = choose(opened, ROOT / "data" / "demo" / name)
    assert box.locator("[data-place='line.0.name']").input_value() == "beef 90/10"
    box.locator(".cb-fold", has_text="All").first.evaluate("fold => { fold.open = true }")
    opened.wait_for_function(
        "p => p.textContent.includes('41.000 kg')",
        arg=box.locator(".cb-panel").element_handle(),
        timeout=20000,
    )


def test_a_bad_sheet_gets_every_fault_beside_its_field_and_no_script_runs(opened, tmp_path):
    (tmp_path / "bad.toml").write_text(BAD, encoding="utf-8")
    box = choose(opened, tmp_path / "bad.toml")
    opened.wait_for_function(
        "said => said.textContent.includes('problems or questions')",
        arg=box.locator(".cb-sentence").element_handle(),
        timeout=20000,
    )
    words = box.locator(".cb-panel").text_content()
    assert all(part in words for part in ("prok trim 80", "pork trim 80", "-3 kg", "10 °C"))
    faults = box.locator(".cb-fault:not([hidden])").all_text_contents()
    assert len(faults) >= 3 and any("pork trim 80" in fault for fault in faults)
    assert box.locator("script").count() == 0
    assert opened.faults == []


def test_a_notebook_is_no_sheet_and_the_next_good_file_still_works(opened):
    box = choose(opened, ROOT / "notebooks" / "00_start_here.ipynb")
    assert "00_start_here.ipynb" in box.locator(".cb-said").text_content()
    box = choose(opened, ROOT / "data" / "demo" / "demo_frankfurter.toml")
    assert "is in the form" in box.locator(".cb-said").text_content()


def test_a_batch_is_planned_by_keyboard_saved_and_printed(opened, tmp_path):
    """The question of a small maker: 3 kg of trim at about 20 % fat, 25 % fat wanted; what is printed is read back from the PDF."""
    box = opened.locator(".cb-box").first
    box.scroll_into_view_if_needed()
    press(box, "Back to the start")

    def go_to(place):
        for _ in range(90):
            here = opened.evaluate("() => document.activeElement?.dataset?.place ?? ''")
            if here == place:
                return
            opened.keyboard.press("Tab")
        raise AssertionError(f"{place} is not reached by keyboard")

    def fill(place, text):
        go_to(place)
        opened.keyboard.press("Control+a")
        opened.keyboard.type(text)

    box.locator("[data-place='line.0.name']").focus()
    fill("line.0.name", "pork trim")
    fill("line.0.amount", "3 kg")
    fill("line.0.known", "about 20 %")
    opened.keyboard.press("Tab")
    box.get_by_role("button", name="Take line 2 out").focus()
    opened.keyboard.press("Enter")
    box.locator("[data-place='line.1.name']").focus()
    fill("process.fat_target_pct", "25")
    opened.keyboard.press("Tab")
    opened.wait_for_function(
        "p => p.textContent.includes('kg of pork backfat (89 % fat), or accept 17.4 % fat')",
        arg=box.locator(".cb-sentence").element_handle(),
        timeout=30000,
    )
    with opened.expect_download() as caught:
        box.get_by_text("Save, keep or use this batch").press("Enter")
        box.get_by_role("button", name="Save the sheet (TOML)").press("Enter")
    caught.value.save_as(tmp_path / "kept.toml")
    kept = read_sheet(tmp_path / "kept.toml")
    assert kept.process.fat_target_pct == 25 and kept.line("pork trim").kg == 3
    with opened.expect_download() as caught:
        box.get_by_role("button", name="Save this page (HTML)").press("Enter")
    caught.value.save_as(tmp_path / "page.html")
    sheet = opened.context.new_page()
    try:
        sheet.set_content((tmp_path / "page.html").read_text(encoding="utf-8"))
        pdf = PdfReader(BytesIO(sheet.pdf(format="A4")))
    finally:
        sheet.close()
    assert len(pdf.pages) == 2
    words = " ".join(" ".join(page.extract_text().split()) for page in pdf.pages)
    for part in (
        "pork trim 3.000 kg",
        "accept 17.4 % fat",
        "Nitrite is poisonous",
        "final chopping temperature",
    ):
        assert part in words, part
    assert opened.faults == []


LAID = """() => [...document.querySelectorAll('.cb-panel')].every(panel => {
    const [wide, high] = (panel.dataset.laid ?? '').split(',').map(Number), page = panel.closest('.jp-WindowedPanel-outer');
    return Math.abs(wide - panel.querySelector('.cb-charts').clientWidth) <= 8 && Math.abs(high - page.clientHeight) <= 8 })"""
WIDTHS = """box => {
    const panel = box.querySelector('.cb-panel'), right = panel.getBoundingClientRect().right;
    const page = box.closest('.jp-WindowedPanel-outer');
    page.scrollTop += box.getBoundingClientRect().top - page.getBoundingClientRect().top;
    const chart = panel.querySelector('.cb-chart svg'), bottom = page.getBoundingClientRect().bottom;
    return {seen: chart ? bottom - chart.getBoundingClientRect().top : 99,
        below: box.querySelector('.cb-controls').getBoundingClientRect().bottom <= panel.getBoundingClientRect().top,
        cut: Math.max(0, ...[...panel.querySelectorAll('.cb-chart svg, .cb-sentence')].map(one => one.getBoundingClientRect().right - right)),
        slider: Math.min(999, ...[...box.querySelectorAll('.noUi-base')].map(one => one.getBoundingClientRect().width))} }"""
"""in a small page: how many pixels of the first chart are in sight, do the controls stand above, by how much is a chart cut, how wide is the narrowest slider"""


def test_each_control_is_in_sight_with_its_answer_on_a_small_screen_and_a_phone_stacks(opened):
    """With the side bar open at 1280 × 720 (and, in the test of the sliders, at 1366 × 768); at 200 % of that a chart begins beside the controls; at 400 pixels nothing is cut."""
    boxes = opened.locator(".cb-box")
    opened.add_style_tag(content=".jp-Cell { content-visibility: visible !important }")
    for width, height in ((1280, 720), (640, 360), (400, 800)):
        opened.set_viewport_size({"width": width, "height": height})
        if width == 640:
            opened.evaluate("() => window.jupyterapp.shell.collapseLeft()")
        opened.wait_for_function(LAID, timeout=30000)
        opened.wait_for_timeout(500)  # what has grown since is fitted a moment later
        for n in range(boxes.count()):
            if width > 640:
                assert lab.by_hand(boxes.nth(n), "hand.everything(box, panel)") == [], f"panel {n}"
            else:
                wide = boxes.nth(n).evaluate(WIDTHS)
                assert wide["cut"] <= 1 and wide["slider"] >= (90 if width == 400 else 50), (
                    n,
                    wide,
                )
                assert wide["below"] is (width == 400), (n, wide)
                assert width == 400 or wide["seen"] >= 25, (n, wide)
    assert opened.faults == []

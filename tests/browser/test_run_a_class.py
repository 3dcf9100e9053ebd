"""Notebook 10 as a teacher drives it in a real browser: from the question to the printed folder, and from the filled workbooks to the answer."""

import shutil

import lab
import pytest

from kit.lab.pages.class_papers import papers
from kit.reading.class_plan import read_plan

ASK, ROOM, REHEARSAL, PAPERS, RESULTS, ANSWER = range(6)


LESSON = "10_run_a_class.ipynb"
pytestmark = pytest.mark.parametrize(
    "opened", [LESSON], indirect=True, ids=[LESSON.removesuffix(".ipynb")]
)


@pytest.fixture(scope="module")
def walk(opened):
    opened.evaluate("() => window.jupyterapp.shell.collapseLeft()")
    yield opened
    shutil.rmtree(opened.folder / "my_classes", ignore_errors=True)


def says(page, n, words, seconds=30):
    """Wait until panel `n` says `words` in its sentence."""
    page.wait_for_function(
        """([n, words]) => document.querySelectorAll('.cb-panel')[n]
            .querySelector('.cb-sentence').textContent.includes(words)""",
        arg=[n, words],
        timeout=seconds * 1000,
    )


def box(page, n):
    """The panel's box, at the top of the page in sight."""
    found = page.locator(".cb-box").nth(n)
    found.evaluate(
        """box => { const page = box.closest('.jp-WindowedPanel-outer');
            page.scrollTop += box.getBoundingClientRect().top - page.getBoundingClientRect().top; }"""
    )
    return found


def test_a_folder_of_papers_is_made_from_the_question_on(walk):
    ask = box(walk, ASK)
    readout = ask.locator(".widget-hslider", has_text="Stations").locator(".widget-readout")
    readout.fill("6")
    readout.press("Enter")
    says(walk, ASK, "6 stations")
    says(walk, REHEARSAL, "6 stations")  # taken over when the panel above has rested
    room = box(walk, ROOM)
    room.get_by_role("button", name="Calculate the clock times").click()
    says(walk, ROOM, "6 stations end at minute")
    walk.wait_for_function(
        "n => document.querySelectorAll('.cb-panel')[n].querySelectorAll('.cb-chart svg').length === 2",
        arg=ROOM,
        timeout=20000,
    )
    box(walk, ROOM)
    walk.wait_for_timeout(500)  # charts are fitted when the words have come
    head, chart = (room.locator(part).last.bounding_box() for part in (".cb-head", ".cb-chart"))
    assert head["y"] + head["height"] <= chart["y"] + 2, "sentence and clock times in sight"
    assert chart["y"] + chart["height"] <= 768
    sheet = box(walk, PAPERS)
    sheet.get_by_label("Number of the class").fill("41")
    sheet.get_by_label("Number of the class").press("Enter")
    says(walk, PAPERS, "my_classes/class_41")
    sheet.get_by_role("button", name="Make the papers").click()
    says(walk, PAPERS, "files of class 41 are in")
    folder = walk.folder / "my_classes" / "class_41"
    made = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert made == papers(read_plan(folder / "plan.toml"))
    assert sheet.get_by_role("button", name="Print this page").is_visible()
    assert walk.faults == [] and walk.outside == []


def test_a_decision_of_the_teacher_is_stored_and_the_answer_follows(walk):
    says(walk, RESULTS, "each with a decision")
    before = lab.panels(walk).nth(ANSWER).locator(".cb-sentence").text_content()
    results = box(walk, RESULTS)
    results.get_by_label("Finding", exact=True).select_option("3: station 2, two tubes exchanged")
    says(walk, RESULTS, "two tubes exchanged")
    results.get_by_label("Decision", exact=True).select_option("leave out")
    results.get_by_role("button", name="Store this decision").click()
    says(walk, RESULTS, "needs its reason")
    results.get_by_label("Reason", exact=True).fill("nobody knows which is which")
    results.get_by_label("Reason", exact=True).press("Tab")
    results.get_by_role("button", name="Store this decision").click()
    says(walk, RESULTS, "45 of 48 tubes")
    walk.wait_for_function(
        """([n, before]) => document.querySelectorAll('.cb-panel')[n]
            .querySelector('.cb-sentence').textContent !== before""",
        arg=[ANSWER, before],
        timeout=20000,
    )
    answer = box(walk, ANSWER)
    answer.get_by_role("button", name="Write the marks into the folder").click()
    says(walk, ANSWER, "marks.csv")
    kept = {path.name for path in (walk.folder / "my_classes" / "demo_class").iterdir()}
    assert kept == {"decisions.toml", "marks.csv", "marks.html"}
    assert walk.faults == [] and walk.outside == []

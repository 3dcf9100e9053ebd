"""The page of a station, driven as a station does: code, guess, exercises, own losses, hand-in; closed and opened again. What it hands in is marked."""

import os
from pathlib import Path

import lab
from test_lab import reply

from kit.lab.lessons.marks import mark
from kit.lab.lessons.station import exercises
from kit.reading.class_plan import read_plan
from kit.tables import data_path

NAME = "11_your_station.ipynb"
FOLDER = data_path("demo", "class")
PLAN = read_plan(data_path("demo", "class", "plan.toml"))
WIDTH, HEIGHT = 1280, 720  # the smaller of the two screens


def picture(page, name):
    """A screenshot where SCREENSHOTS names a folder."""
    if folder := os.environ.get("SCREENSHOTS"):
        page.screenshot(path=Path(folder) / f"station_{name}.png")


def items(page, cell):
    """What the `cell`-th set of entries asks: 0 guess, 1 exercises, 2 own losses, 3 hand-in."""
    return page.locator(".cb-ask").nth(cell).locator(".cb-ask-item")


def typed(page, item, text, button=None):
    item.scroll_into_view_if_needed()
    item.locator("input").fill(text)
    done = item.get_by_role("button", name=button).click if button else None
    return reply(page, item, done or (lambda: item.locator("input").press("Enter")))


def with_code(page, text):
    entry = page.locator(".cb-controls input[type=text]").first
    entry.scroll_into_view_if_needed()
    entry.fill(text)
    entry.press("Enter")


def test_a_station_works_from_its_code_to_its_hand_in(page):
    page.outside.clear()
    page.faults.clear()
    for old in page.folder.glob("*hand_in_*"):
        old.unlink()
    page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
    lab.open_and_run(page, page.base, NAME)
    lab.panels(page).first.scroll_into_view_if_needed()
    lab.wait_drawn(page)
    for cell in range(4):
        page.locator(".cb-ask").nth(cell).scroll_into_view_if_needed()
    assert items(page, 0).count() == items(page, 1).count() == 0
    with_code(page, "S03C17-8")
    page.wait_for_selector(".cb-panel:has-text('check digit')")
    assert not list(page.folder.glob("*hand_in_*"))

    page.get_by_role("button", name="Station 3 of the invented class").click()
    page.wait_for_selector(".cb-sentence:has-text('Station 3 of the invented demo class')")
    picture(page, "code")
    items(page, 0).first.wait_for()
    assert items(page, 1).count() == 0, "the guess comes first"
    assert "no number" in typed(page, items(page, 0).first, "much")
    assert "kept: 2.5" in typed(page, items(page, 0).first, "2,5")
    page.wait_for_selector(".cb-ask-item.cb-ask-beside")
    assert items(page, 1).count() == 8 and items(page, 2).count() == 6
    for n, one in enumerate(exercises(PLAN.seed, 3)):
        item, answer = items(page, 1).nth(n), one.shown(one.solve()[0])
        aside = item.locator("aside")
        assert aside.count() == 1 and one.question not in aside.text_content()
        if n == 0:
            wrong = typed(page, item, one.shown(one.slips[0][1]()))
            assert wrong == f"Not right: {one.slips[0][0]}"
            shown = item.get_by_role("button", name="Show the answer")
            assert "once you have handed in" in reply(page, item, shown.click)
            continue
        if n == 1:
            hint = item.get_by_role("button", name="Hint")
            assert reply(page, item, hint.click).startswith("Hint 1 of 2")
        assert typed(page, item, answer).startswith("Right")
        if n in (1, 7):
            picture(page, f"exercise_{n + 1}")
    assert items(page, 1).first.locator("input").input_value() != "", "what was typed stays"
    losses = items(page, 2)
    assert typed(page, losses.first, "99").startswith("Not right")
    picture(page, "losses")
    conclude, finish = items(page, 3).all()
    assert typed(page, conclude, "More loss at 18 °C <b>here</b>.", "Keep") == "Kept."

    # closed and opened again, in another kernel
    lab.open_and_run(page, page.base, NAME)
    lab.panels(page).first.scroll_into_view_if_needed()
    with_code(page, "s03 c17 7")
    page.wait_for_selector(".cb-table-box:has-text('7 of 8') , .cb-tables:has-text('8 of 8')")
    for cell in range(4):
        page.locator(".cb-ask").nth(cell).scroll_into_view_if_needed()
    assert items(page, 0).first.locator("input").input_value() == "2.5"
    conclude, finish = items(page, 3).all()
    assert "<b>" in conclude.locator("input").input_value()
    finish.scroll_into_view_if_needed()
    said = reply(page, finish, finish.get_by_role("button", name="Hand in").click)
    assert "invented_hand_in_03.toml" in said and "Blank" not in said
    picture(page, "handed_in")
    first = items(page, 1).first
    first.scroll_into_view_if_needed()
    shown = first.get_by_role("button", name="Show the answer")
    truth = exercises(PLAN.seed, 3)[0]
    assert truth.shown(truth.solve()[0]) in reply(page, first, shown.click)
    assert lab.axe(page) == [] and page.outside == [] and page.faults == []

    held = page.folder / "invented_hand_in_03.toml"
    (found,) = mark([held], PLAN).stations
    assert [one.outcome for one in found.answers] == [
        "usual_error",
        "right_after_hint",
        *["right"] * 6,
    ]
    assert found.marks == 14 and found.guess_points == 2.5 and not found.notes
    assert found.hand_in.conclusion == "More loss at 18 °C <b>here</b>."
    assert len(found.hand_in.tubes) == 1 and found.hand_in.results_file == "station_03.xlsx"

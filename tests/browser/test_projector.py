"""The projector view in a real browser: panels and questions are there, sources are folded, no code and no answer is shown."""

from pathlib import Path

import lab

from kit.lab.lessons import lesson_file, questions

ROOT = Path(__file__).resolve().parents[2]


def test_the_projector_view_asks_and_shows_no_answer(page, tmp_path_factory):
    home = tmp_path_factory.mktemp("projector")
    path = ROOT / "notebooks" / "02b_colour_and_brine.ipynb"
    command = ("-m", "voila", str(path), "--no-browser", "--port={port}", "--Voila.ip=127.0.0.1")
    view = page.context.new_page()
    try:
        with lab.server(ROOT / "notebooks", home, *command) as base:
            view.goto(base, timeout=90000)
            view.wait_for_function(
                "() => document.querySelectorAll('.cb-ask').length === 3", timeout=90000
            )
            words = view.locator("body").inner_text()
            entry = view.locator(".cb-ask input").nth(1)
            entry.fill("4,38")
            entry.press("Enter")
            right = view.get_by_text("Right: 4.382 %.")
            right.wait_for(timeout=10000)
            assert (
                view.locator("details[open]").count() == 0
                and view.locator("#cautions").is_visible()
            )
    finally:
        view.close()
    assert "lesson.exercises()" not in words and "Nitrite is poisonous" in words
    for one in (*lesson_file("02b").exercises(), *questions("02b")):
        assert one.question in words
        for line in one.solution().splitlines()[1:]:
            assert line.strip() not in words

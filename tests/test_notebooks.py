"""The stored notebooks can be compared: nbval passes an empty notebook without looking, so this looks first. Then each page as a learner has it: short, its cautions whole, no answer in it."""

import ast
import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from kit.lab.lessons import LESSONS, answers, choices, lesson_file, questions
from kit.lab.lessons.page import Lesson, cautions_of, glossary
from kit.lab.panels.panel import Panel
from kit.lab.words import terms

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
UNSTABLE = re.compile(r"0x[0-9a-f]{6,}|/tmp/|/home/|site-packages|model_id=")
LESSON = (
    "By the end you can",
    "Guess first",
    "What happened",
    "Break it on purpose",
    "The number that decides",
    "Redo it with a pencil",
    "Exercises",
    "In the room",
    "Your own data",
    "Five quick questions",
    "Sources",
)
STATION = (
    "By the end you can",
    "Your code",
    "Guess first",
    "Exercises",
    "Your own losses",
    "Conclude and hand in",
    "In the room",
    "Sources",
)
"""the parts of 11_your_station, which is a station's own and no lesson"""
MOST_WORDS, MOST_PANELS = 2500, 6
FOLDED = ("Sources", "Glossary")
"""lists to look something up in, not to read: folded, and not counted"""


def load(path):
    return json.loads(path.read_text(encoding="utf-8"))


def code(notebook):
    return [
        cell
        for cell in notebook["cells"]
        if cell["cell_type"] == "code" and "".join(cell["source"]).strip()
    ]


def test_there_are_notebooks():
    assert {"00_start_here.ipynb", "01_meat_block.ipynb"} <= {path.name for path in NOTEBOOKS}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_outputs_are_stored_and_stable(path):
    notebook = load(path)
    assert [cell["execution_count"] for cell in code(notebook)] == list(
        range(1, len(code(notebook)) + 1)
    )
    assert "widgets" not in notebook["metadata"]
    outputs = [output for cell in code(notebook) for output in cell["outputs"]]
    assert all(output["output_type"] != "error" for output in outputs)
    assert all(output.get("name") != "stderr" for output in outputs), "a warning was stored"
    texts = [
        "".join(output.get("text", output.get("data", {}).get("text/plain", "")))
        for output in outputs
    ]
    assert len([text for text in texts if text.strip()]) >= 4, (
        "too little text for nbval to compare"
    )
    assert [text for text in texts if UNSTABLE.search(text)] == []
    assert path.stat().st_size < 400_000


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_cells_are_short_and_hold_no_physics(path):
    for cell in code(load(path)):
        source = "".join(cell["source"])
        assert len(source.splitlines()) <= 8 and max(map(len, source.splitlines())) <= 100, source
        assert not re.search(
            r"\bdef \w+\(|\bclass \w+|import (numpy|scipy|altair|ipywidgets)", source
        ), source


@pytest.mark.parametrize(
    "path", [p for p in NOTEBOOKS if not p.name.startswith("00")], ids=lambda path: path.stem
)
def test_a_lesson_has_its_parts_in_order(path):
    text = "\n".join(
        "".join(cell["source"]) for cell in load(path)["cells"] if cell["cell_type"] == "markdown"
    )
    parts = STATION if number(path) == "11" else LESSON
    places = [text.find(f"## {part}") for part in parts]
    assert -1 not in places, [part for part, place in zip(parts, places, strict=True) if place < 0]
    assert places == sorted(places)


def number(path) -> str:
    return path.name.partition("_")[0]


def markdown(path) -> str:
    cells = load(path)["cells"]
    return "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "markdown")


@cache
def panels_of(path) -> dict[str, Panel]:
    """The panels of a page by their names in the notebook: its imports and the cells that make a panel are run, nothing else."""
    names: dict = {}
    for cell in code(load(path)):
        for node in ast.parse("".join(cell["source"])).body:
            made = isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)
            if isinstance(node, ast.ImportFrom) or (
                made and ast.unparse(node.value.func).endswith("_panel")
            ):
                exec(ast.unparse(node), names)
    return {name: one for name, one in names.items() if isinstance(one, Panel)}


def as_it_opens(panel: Panel) -> str:
    """What a panel says before anything in it is opened: the labels of its controls, its sentence, eight rows of its first table."""
    specs = [held.spec for held in panel.controls.values()]
    groups = dict.fromkeys(getattr(spec, "group", "") for spec in specs)
    labels = [getattr(spec, "label", "") for spec in specs]
    first = [table for table in panel.shown.tables if not table.folded][:1]
    tables = [replace(table, rows=table.rows[:8]).as_text() for table in first]
    return " ".join([panel.title, *groups, *labels, *panel.presets, panel.shown.sentence, *tables])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_button_that_the_text_names_exists(path):
    buttons = {
        "Commit",
        "Compare",
        "Check",
        "Keep",
        "Hand in",
        *(n for p in panels_of(path).values() for n in p.presets),
        *(
            one.description
            for p in panels_of(path).values()
            for one in p.children[0].children
            if hasattr(one, "click")
        ),
    }
    pressed = re.findall(r"(?<=ress )\*\*(.+?)\*\*", markdown(path))
    assert [name for name in pressed if name not in buttons] == []


LESSON_PAGES = [path for path in NOTEBOOKS if number(path) in LESSONS]


def test_every_lesson_has_its_page():
    assert {number(path) for path in NOTEBOOKS} == {"00", "11", *LESSONS}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_page_is_short_and_its_panels_few(path):
    """Everything is open but sources, glossary and the folds of panels; exercises and questions count with their answers to choose from."""
    panels = panels_of(path)
    assert 1 <= len(panels) <= MOST_PANELS
    words = markdown(path).split()
    for cell in code(load(path)):
        for output in cell["outputs"]:
            data = output.get("data", {})
            text = "".join(output.get("text", data.get("text/plain", "")))
            if "Panel: " not in "".join(cell["source"]) and not text.startswith(FOLDED):
                words += text.split()
    words += [word for panel in panels.values() for word in as_it_opens(panel).split()]
    assert len(words) <= MOST_WORDS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_every_caution_of_a_panel_stands_in_full_near_the_top(path):
    page = Lesson(number(path)).cautions()
    assert 'id="cautions"' in page._repr_html_() and repr(page).count("\n") >= 1
    first = next(cell for cell in code(load(path)) if "cautions()" in "".join(cell["source"]))
    assert first["execution_count"] == 1 and "image/png" not in str(first["outputs"])
    said = " ".join(cautions_of(number(path)))
    for name, panel in panels_of(path).items():
        for caution in panel.shown.cautions:
            assert caution in said, (name, caution)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_no_answer_stands_in_a_page_and_run_all_needs_no_edit(path):
    """Not in the stored text, not in what the page is sent: what a teacher reads is worked out when it is asked for."""
    text = path.read_text(encoding="utf-8")
    assert "outputs_hidden" not in text and "Run All Cells" in markdown(path)
    source = "\n".join("".join(cell["source"]) for cell in code(load(path)))
    assert not re.search(r"solution|answers\(|planted|commit\(|= \.\.\.", source)
    if number(path) in LESSONS:
        shown = Lesson(number(path))
        sent = json.dumps(
            [
                one.get_state(["items", "replies"])
                for one in (shown.guess(), shown.exercises(), shown.questions())
            ]
        )
        for one in (
            *lesson_file(number(path)).exercises(),
            *choices(number(path)),
            *questions(number(path)),
        ):
            for line in one.solution().splitlines()[1:]:
                assert line.strip() not in text and line.strip() not in sent


@pytest.mark.parametrize("path", LESSON_PAGES[:5], ids=lambda path: path.stem)
def test_what_a_page_tells_to_press_or_move_is_on_it(path):
    """Words in bold after press, move, lower, tick, choose or open are those of a button, a control, a choice or a fold."""
    names = {"Commit", "Compare", "Check", "Hint", "Show the answer", "Show it in the panel"}
    for panel in panels_of(path).values():
        specs = [held.spec for held in panel.controls.values()]
        names |= {*panel.presets, *(one.label for one in specs if hasattr(one, "label"))}
        names |= {str(option) for one in specs for option in getattr(one, "options", ())}
        names |= {table.caption for table in panel.shown.tables}
        names |= {getattr(one, "description", "") for one in panel.children[0].children}
    told = re.findall(
        r"(?:(?:[Pp]ress|[Mm]ove|[Ll]ower|tick|[Cc]hoose|[Oo]pen) \*\*|then \*\*(?=[A-Z]))([^*]+)\*\*",
        markdown(path),
    )
    assert told and [one for one in told if not any(n.startswith(one) for n in names)] == []


def test_the_first_page_lists_the_glossary_folded():
    shown = glossary()
    page = load(ROOT / "notebooks" / "00_start_here.ipynb")
    assert [c for c in code(page) if "".join(c["source"]).endswith("\nglossary()")]
    assert "<details" in shown._repr_html_() and "<details open" not in shown._repr_html_()
    said = repr(shown)
    assert all(one.meaning in said and one.unit in said for one in terms())


@pytest.mark.parametrize("path", LESSON_PAGES, ids=lambda path: path.stem)
def test_five_questions_whose_panels_show_their_answers(path):
    panels, asked = panels_of(path), questions(number(path))
    passed = re.search(
        r"lesson\.questions\((.*)\)", "".join("".join(c["source"]) for c in code(load(path)))
    )
    assert len(asked) == 5 and passed
    for one in asked:
        judged = [one.judge(option) for option in one.options]
        assert [right for right, *_ in judged].count(True) == 1 and len(one.options) >= 3
        assert all(why.endswith(".") and source for _, why, source in judged)
        assert f"{one.panel}={one.panel}" in passed[1]
        panel = panels[one.panel].reset()
        before = panel.picture.payload
        panel.press(one.state) if isinstance(one.state, str) else panel.set(**one.state)
        assert panel.error is None
        for key, value in {} if isinstance(one.state, str) else one.state.items():
            spec = panel.controls[key].spec
            assert not hasattr(spec, "low") or spec.low <= value <= spec.high, (one.question, key)
        assert (
            panel.picture.payload["data"] != before["data"]
            or panel.picture.payload["sentence"] != before["sentence"]
        ), one.question
        panel.reset()


@pytest.mark.parametrize("number", LESSONS)
def test_a_teacher_gets_every_answer(number):
    said = answers(number)
    for one in (*lesson_file(number).exercises(), *choices(number), *questions(number)):
        assert one.question in said and one.solution() in said
    for one in choices(number):
        judged = [one.judge(option)[0] for option in one.options]
        assert judged.count(True) == 1


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_panel_is_stored_as_picture_and_as_words(path):
    bundles = [
        output["data"]
        for cell in code(load(path))
        for output in cell["outputs"]
        if "# Panel" in "".join(cell["source"])
        and "application/vnd.jupyter.widget-view+json" in output.get("data", {})
    ]
    assert any("image/png" in bundle for bundle in bundles) or number(path) == "11"  # no chart
    for bundle in bundles:
        assert len("".join(bundle["text/plain"])) > 80

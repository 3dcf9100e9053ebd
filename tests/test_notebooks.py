"""The stored notebooks can be compared: nbval passes an empty notebook without looking, so this looks first."""

import json
import re
from pathlib import Path

import pytest

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
    "Sources",
)


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
        assert len(source.splitlines()) <= 14, source
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
    places = [text.find(f"## {part}") for part in LESSON]
    assert -1 not in places, [part for part, place in zip(LESSON, places, strict=True) if place < 0]
    assert places == sorted(places)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_panel_is_stored_as_picture_and_as_words(path):
    bundles = [
        output["data"]
        for cell in code(load(path))
        for output in cell["outputs"]
        if "application/vnd.jupyter.widget-view+json" in output.get("data", {})
    ]
    assert any("image/png" in bundle for bundle in bundles)
    for bundle in bundles:
        assert len("".join(bundle["text/plain"])) > 80

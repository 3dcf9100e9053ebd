"""A person opens a sheet of their own: a good one is followed, a bad one gets all its faults in words, and the panel stays usable."""

import shutil
from pathlib import Path

import lab
import pytest

ROOT = Path(__file__).resolve().parents[2]
BAD = """name = "Bad <script>alert(1)</script>"
[[line]]
name = "prok trim 80"
amount = "-3 kg"
[[line]]
name = "ice"
amount = "10 °C"
"""


@pytest.fixture(scope="module")
def own(page):
    shutil.copy(ROOT / "notebooks" / "00_start_here.ipynb", page.folder / "own_sheet.ipynb")
    page.faults.clear()
    lab.open_and_run(page, page.base, "own_sheet.ipynb")
    box = page.locator(".cb-box").last
    box.scroll_into_view_if_needed()
    return page, box


def choose(page, box, path):
    before = box.locator(".cb-panel").evaluate("p => Number(p.dataset.tick)")
    with page.expect_file_chooser() as chooser:
        box.get_by_role("button", name="Choose a sheet").click()
    chooser.value.set_files(path)
    page.wait_for_function(
        "([p, n]) => Number(p.dataset.tick) > n",
        arg=[box.locator(".cb-panel").element_handle(), before],
        timeout=20000,
    )


@pytest.mark.parametrize(
    "name", ["demo_frankfurter.toml", "demo_frankfurter.csv", "demo_frankfurter.xlsx"]
)
def test_the_demo_in_every_form_is_followed(own, name):
    page, box = own
    choose(page, box, ROOT / "data" / "demo" / name)
    assert "Finished, this mix holds" in box.locator(".cb-sentence").text_content()
    assert box.locator(".cb-chart svg").count() == 2


def test_a_bad_sheet_gets_every_fault_and_no_script_runs(own, tmp_path):
    page, box = own
    (tmp_path / "bad.toml").write_text(BAD, encoding="utf-8")
    choose(page, box, tmp_path / "bad.toml")
    words = box.locator(".cb-panel").text_content()
    assert "things to mend" in words
    assert all(part in words for part in ("prok trim 80", "pork trim 80", "-3 kg", "10 °C"))
    assert box.locator("script").count() == 0
    assert page.faults == []


def test_a_picture_is_no_sheet_and_the_next_good_file_still_works(own):
    page, box = own
    choose(page, box, ROOT / "notebooks" / "00_start_here.ipynb")
    assert "00_start_here.ipynb" in box.locator(".cb-panel").text_content()
    choose(page, box, ROOT / "data" / "demo" / "demo_frankfurter.toml")
    assert "Finished, this mix holds" in box.locator(".cb-sentence").text_content()

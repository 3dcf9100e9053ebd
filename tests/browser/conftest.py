"""One JupyterLab and one Chromium for all browser tests. Without Chromium they are left out, and the run says so."""

import os
import shutil
from pathlib import Path

import lab
import pytest

ROOT = Path(__file__).resolve().parents[2]
if lab.CHROMIUM is None and not os.environ.get("CI"):
    collect_ignore_glob = ["test_*.py"]


@pytest.fixture(scope="session")
def page(tmp_path_factory):
    assert lab.CHROMIUM, "CI needs Debian's chromium: apt-get install chromium"
    home, folder = tmp_path_factory.mktemp("home"), tmp_path_factory.mktemp("lab")
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        shutil.copy(path, folder / path.name)
    with lab.server(folder, home) as base, lab.browser(home) as page:
        page.base, page.folder, page.home, page.lesson = base, folder, home, None
        yield page


@pytest.fixture(scope="module")
def opened(page, request):
    """The notebook that the test is parametrized with, opened and run once for all files that check it."""
    return lab.lesson(page, request.param)

"""One home for how the tests run: hypothesis is deterministic, a skip under CI is a failure, the workers never wait long for each other."""

import gc
import os
import re
import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadScopeScheduling

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")  # each worker has a core, and no more

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent / "browser")]

os.environ.setdefault("COLD_BATTER_PICTURES", "words")  # as notebooks/conftest.py
# a person's own current batch, or class, would move every panel
os.environ["COLD_BATTER_BATCHES"] = str(Path(__file__).parent / "no_batches")
os.environ["COLD_BATTER_CLASSES"] = str(Path(__file__).parent / "none" / "my_classes")

settings.register_profile(
    "house",
    derandomize=True,
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("house")


def pytest_collection_modifyitems(items):
    """What takes longest comes first. Stored notebooks precede the browser's: a kernel is not asked from inside the browser's event loop."""
    rank = {"notebooks": 0, "browser": 1, "panels": 2}
    items.sort(key=lambda item: rank.get(item.path.parent.name, 3))


def pytest_collection_finish():
    """What is loaded by now stays, and need not be looked through for garbage again and again."""
    gc.collect()
    gc.freeze()


class Shares(LoadScopeScheduling):
    """A file stays on one worker; so do a notebook in the browser, a lesson's panels and all outside checks.

    The first worker takes the browser's work first and the others take it last: one server and one
    Chromium serve nearly all of it, and what a page waits for is time for the other worker.
    """

    def _split_scope(self, nodeid: str) -> str:
        part = re.search(
            r"(browser|panels)/test_\w+\.py::.*\[(\d\d\w?_\w+|\w+(?=\.\w+\.?\w*_panel))", nodeid
        )
        if part or "published/" in nodeid:  # outside libraries are loaded once
            return f"{part[1]}/{part[2]}" if part else "published"
        return nodeid.partition("::")[0]

    def _assign_work_unit(self, node) -> None:
        first = node is self.nodes[0]
        scope = min(
            self.workqueue,
            key=lambda scope: (("browser/" in scope) is not first, first and ".ipynb" in scope),
        )
        self.workqueue.move_to_end(scope, last=False)
        super()._assign_work_unit(node)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    return Shares(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and os.environ.get("CI") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = (
            f"{item.nodeid} was skipped; under CI a skipped test is a failure: {report.longrepr}"
        )
    return report


def pytest_terminal_summary(terminalreporter):
    """Say in one line what was left out for want of a browser."""
    if not any(
        shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome")
    ) and not os.environ.get("CI"):
        terminalreporter.write_line(
            "Browser tests left out: no Chromium here. On Debian or Ubuntu: apt-get install chromium"
        )
